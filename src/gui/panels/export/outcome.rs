//! How far an export is, and where it lies when it is done.

use egui::{Align, Button, Label, Layout, ProgressBar, RichText, Ui, vec2};

use super::{ExportDraft, Keys, main_button};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;

pub(super) fn progress(
    ui: &mut Ui,
    state: &State,
    draft: &ExportDraft,
    asks: &mut Asks,
    keys: Keys,
) {
    let colors = state.theme.colors();
    for job in draft.running(state) {
        ui.add(Label::new(&job.title).truncate());
        ui.horizontal(|ui| {
            let stop = 64.0;
            let width = ui.available_width() - stop - ui.spacing().item_spacing.x;
            let bar = ProgressBar::new(job.share)
                .desired_width(width)
                .desired_height(10.0)
                .fill(colors.accent);
            ui.add(bar)
                .accessible_name(format!("Progress of {}", job.title));
            let response = ui
                .add_sized([stop, 24.0], Button::new("Stop"))
                .on_hover_text("Nothing will be left half-written");
            if response.clicked() {
                asks.push(Ask::Cancel(job.ticket));
            }
        });
        let step = format!("{} {:.0} %", job.step, job.share * 100.0);
        ui.label(RichText::new(step).small().color(colors.faint));
        ui.add_space(6.0);
    }
    ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
        let hide = Button::new("Hide").min_size(vec2(72.0, 28.0));
        let hide = ui
            .add(hide)
            .on_hover_text("The export goes on; the status line tells how far it is");
        if hide.clicked() || keys.escape {
            asks.push(Ask::CloseExport);
        }
    });
}

pub(super) fn done(
    ui: &mut Ui,
    state: &State,
    draft: &mut ExportDraft,
    asks: &mut Asks,
    keys: Keys,
) {
    let faint = state.theme.colors().faint;
    ui.label(match draft.done.len() {
        1 => "The picture is written, its record beside it.".to_owned(),
        count => format!("{count} pictures are written, their records beside them."),
    });
    for path in &draft.done {
        ui.add_space(4.0);
        let text = path.display().to_string();
        ui.add(
            Label::new(RichText::new(&text).color(faint))
                .wrap()
                .selectable(true),
        );
        let name = path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default();
        ui.horizontal(|ui| {
            let show = ui
                .button("Show in folder")
                .on_hover_text(format!("Opens the folder of {name}"));
            if show.clicked() {
                asks.push(Ask::ShowInFolder(path.clone()));
            }
            let copy = ui
                .button("Copy path")
                .on_hover_text("Puts the path on the clipboard");
            if copy.clicked() {
                ui.copy_text(text);
                asks.push(Ask::Say("The path is copied".to_owned()));
            }
        });
    }
    if let Some((what, hint)) = &draft.failed {
        ui.add_space(4.0);
        crate::gui::widgets::form::problem(ui, state.theme.colors().error, what, hint);
    }
    ui.add_space(10.0);
    ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
        if ui.add(main_button(state, "Close")).clicked() || keys.enter || keys.escape {
            asks.push(Ask::CloseExport);
        }
        let more = Button::new("Export another").min_size(vec2(72.0, 28.0));
        if ui.add(more).clicked() {
            draft.done.clear();
            draft.tickets.clear();
            draft.failed = None;
            draft.look_again();
        }
    });
}
