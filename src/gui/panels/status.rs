//! The line at the bottom: what was said last, jobs, figures of the picture.

use egui::{Align, Layout, ProgressBar, RichText, Ui};

use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::icon::{self, Icon};

/// Shows the line in `ui`.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let faint = state.theme.colors().faint;
    ui.horizontal(|ui| {
        ui.set_min_height(22.0);
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let figures = state.figures();
            if !figures.is_empty() {
                ui.label(RichText::new(figures).small().color(faint));
            }
            if state.parts_pending {
                ui.label(
                    RichText::new("Telling stars apart ...")
                        .small()
                        .color(faint),
                );
            }
            if state.parts_stopped {
                // Words where the cross was: a second click on that goes nowhere.
                let words = "Stars or noise show that an export takes off";
                ui.label(RichText::new(words).small().color(faint));
                if ui.small_button("Take them off here too").clicked() {
                    asks.push(Ask::GoOnWithParts);
                }
            }
            if let Some(job) = state.jobs.first() {
                if icon::button(ui, Icon::Cross, &format!("Stop: {}", job.title), false).clicked() {
                    asks.push(Ask::Cancel(job.ticket));
                }
                ui.add(
                    ProgressBar::new(job.share)
                        .desired_width(120.0)
                        .desired_height(8.0),
                );
                let text = if job.step.is_empty() {
                    job.title.clone()
                } else {
                    format!("{}: {}", job.title, job.step)
                };
                ui.add(
                    egui::Label::new(RichText::new(text).small())
                        .truncate()
                        .halign(Align::RIGHT),
                );
            }
            ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
                let text = match state.notices.last() {
                    _ if !state.said.is_empty() => state.said.clone(),
                    Some(notice) => notice.clone(),
                    None => "Ctrl+K lists all commands".to_owned(),
                };
                if let Some(path) = &state.made {
                    let show = ui
                        .small_button("Show in folder")
                        .on_hover_text(path.display().to_string());
                    if show.clicked() {
                        asks.push(Ask::ShowInFolder(path.clone()));
                    }
                }
                ui.add(egui::Label::new(RichText::new(text).small().color(faint)).truncate());
            });
        });
    });
}
