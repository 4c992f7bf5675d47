//! The window as eframe sees it: events in, panels out, asks carried out.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use egui::{Context, Frame, Margin, Panel, Ui};

use super::asks::{Ask, Asks};
use super::dialogs::Dialog;
use super::files::Pickers;
use super::habits::Habits;
use super::layers::Parted;
use super::panels;
use super::panels::drawing::DrawingDraft;
use super::panels::export::ExportDraft;
use super::pictures::Thumbnails;
use super::state::{Picking, State};
use crate::engine::recipe::Recipe;
use crate::work::desk::{LayerKey, Ticket, Worker};
use crate::work::estimate::Shape;

/// What the window begins with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Opening {
    /// These files; where there are none, the sample field.
    Files(Vec<PathBuf>),
    /// An empty desk.
    Nothing,
}

/// What is done once unsaved changes are dealt with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum After {
    /// The window closes.
    Quit,
    /// These are opened.
    Open(Vec<PathBuf>),
}

/// The window.
pub struct App {
    /// What it knows.
    pub state: State,
    pub(super) worker: Worker,
    pub(super) pickers: Pickers,
    pub(super) dialog: Option<Dialog>,
    pub(super) export: Option<ExportDraft>,
    pub(super) drawing: Option<DrawingDraft>,
    /// Layers that running jobs will bring.
    pub(super) coming: BTreeMap<String, (LayerKey, Ticket)>,
    /// What could not be had is not asked for again while it stays the same.
    pub(super) refused: BTreeMap<String, LayerKey>,
    /// What each running job is for.
    pub(super) purposes: BTreeMap<Ticket, Purpose>,
    /// What follows a save.
    pub(super) after_save: Option<After>,
    pub(super) opening: Option<Opening>,
    pub(super) may_close: bool,
    /// The program is asked to stop, by the system or the terminal.
    pub(super) stop: Arc<AtomicBool>,
    /// The recipe that layers were last asked for.
    pub(super) reconciled: Option<Recipe>,
    pub(super) parted: Option<Parted>,
    pub(super) thumbnails: Thumbnails,
    pub(super) habits: Option<Habits>,
    // What the export dialog was last told the size of.
    pub(super) estimated: Option<(Vec<String>, Shape)>,
}

/// What a job is for.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Purpose {
    Open {
        onto: bool,
    },
    Load,
    Prepare,
    /// How, in words, and what was pointed at for it.
    Balance(&'static str, Option<Picking>),
    Suggest,
    Parts,
    Export,
    Draw,
}

impl App {
    /// A window that begins with `opening` and keeps nothing of the user's.
    pub fn new(worker: Worker, opening: Opening) -> Self {
        Self {
            state: State::empty(),
            worker,
            pickers: Pickers::default(),
            dialog: None,
            export: None,
            drawing: None,
            coming: BTreeMap::new(),
            refused: BTreeMap::new(),
            purposes: BTreeMap::new(),
            after_save: None,
            opening: Some(opening),
            may_close: false,
            stop: Arc::default(),
            reconciled: None,
            parted: None,
            thumbnails: Thumbnails::default(),
            habits: None,
            estimated: None,
        }
    }

    /// What is set, from any thread, to close the window without a question:
    /// unsaved work is kept for the next time.
    pub fn stop(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.stop)
    }

    /// Opens the dialog that takes a path to save under, as where the system
    /// shows no dialog of its own.
    pub fn type_path_to_save(&mut self, path: &str) {
        self.dialog = Some(Dialog::path(super::files::Purpose::SaveAs, path.to_owned()));
    }

    fn begin(&mut self, context: &Context) {
        if self.opening.is_some() {
            self.read_palettes();
        }
        match self.opening.take() {
            Some(Opening::Files(files)) if files.is_empty() => {
                self.carry_out(context, vec![Ask::Run(super::command::Command::OpenSample)]);
            }
            Some(Opening::Files(files)) => self.open(files),
            Some(Opening::Nothing) | None => {}
        }
    }

    fn drops(&mut self, context: &Context) -> Vec<PathBuf> {
        context.input(|input| {
            input
                .raw
                .dropped_files
                .iter()
                .map(|file| file.path().to_owned())
                .collect()
        })
    }
}

impl eframe::App for App {
    fn logic(&mut self, context: &Context, _frame: &mut eframe::Frame) {
        self.begin(context);
        self.take_events(context);
        self.take_picked(context);
        self.reconcile();
        self.mind_stop(context);
        self.mind_closing(context);
    }

    fn ui(&mut self, ui: &mut Ui, _frame: &mut eframe::Frame) {
        let context = ui.ctx().clone();
        let mut asks = Asks::default();
        let dropped = self.drops(&context);
        if !dropped.is_empty() {
            asks.push(Ask::Open(dropped));
        }
        if self.dialog.is_none() && self.export.is_none() && self.drawing.is_none() {
            for command in super::keys::pressed(&context) {
                asks.run(command);
            }
        }
        let colors = self.state.theme.colors();
        let state = &self.state;
        let bar = |margin| Frame::new().fill(colors.panel).inner_margin(margin);
        Panel::top("top")
            .frame(bar(Margin::symmetric(10, 6)))
            .show(ui, |ui| panels::top::show(ui, state, &mut asks));
        Panel::bottom("status")
            .frame(bar(Margin::symmetric(10, 3)))
            .show(ui, |ui| panels::status::show(ui, state, &mut asks));
        Panel::bottom("line map")
            .frame(bar(Margin::symmetric(10, 6)))
            .resizable(true)
            .show(ui, |ui| panels::line_map::show(ui, state, &mut asks));
        Panel::left("channels")
            .frame(bar(Margin::symmetric(8, 6)))
            .default_size(296.0)
            .size_range(250.0..=420.0)
            .show(ui, |ui| panels::channels::show(ui, state, &mut asks));
        Panel::right("mix")
            .frame(bar(Margin::symmetric(8, 6)))
            .default_size(304.0)
            .size_range(264.0..=420.0)
            .show(ui, |ui| panels::mix::show(ui, state, &mut asks));
        let canvas = egui::CentralPanel::default()
            .frame(Frame::new().fill(colors.canvas))
            .show(ui, |ui| panels::canvas::show(ui, state, &mut asks));
        if let Some(answer) = panels::hints::show(ui, state) {
            self.state.hint = match answer {
                panels::hints::Answer::Show(next) => Some(next),
                panels::hints::Answer::Done => None,
            };
            self.hints_seen();
        }
        self.estimate_export();
        if let Some(draft) = &mut self.export {
            panels::export::show(ui, &self.state, draft, &mut asks);
        }
        if let Some(draft) = &mut self.drawing {
            panels::drawing::show(ui, &self.state, draft, &mut asks);
        }
        super::dialogs::show(self, ui, &mut asks);
        self.state.pane = Some(canvas.inner.view);
        self.state.hovered = canvas.inner.hovered;
        self.carry_out(&context, asks.take());
        self.reconcile();
        self.ask_for_pictures();
        self.keep_copy();
    }
}
