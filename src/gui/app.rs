//! The window as eframe sees it: events in, panels out, asks carried out.

use egui::Ui;

use super::asks::Asks;
use super::panels;
use super::state::State;
use crate::work::desk::Worker;

/// The window.
pub struct App {
    /// What it knows.
    pub state: State,
    worker: Worker,
}

impl App {
    /// With an empty desk.
    pub fn new(worker: Worker) -> Self {
        Self {
            state: State::empty(),
            worker,
        }
    }
}

impl eframe::App for App {
    fn logic(&mut self, _context: &egui::Context, _frame: &mut eframe::Frame) {
        self.worker.events();
    }

    fn ui(&mut self, ui: &mut Ui, _frame: &mut eframe::Frame) {
        let mut asks = Asks::default();
        egui::Panel::left("channels")
            .show(ui, |ui| panels::channels::show(ui, &self.state, &mut asks));
        egui::Panel::right("mix").show(ui, |ui| panels::mix::show(ui, &self.state, &mut asks));
        egui::Panel::bottom("line map")
            .show(ui, |ui| panels::line_map::show(ui, &self.state, &mut asks));
        egui::CentralPanel::default()
            .show(ui, |ui| panels::canvas::show(ui, &self.state, &mut asks));
    }
}
