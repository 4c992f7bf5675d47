//! The export: what, how, where; then how far it is, and where it lies.

mod choices;

mod draft;

pub use draft::{ExportDraft, request, requests};

use egui::{Button, ScrollArea, Ui};

use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::dialog::{self, Keys, Written};

/// Shows the dialog over everything else, with the draft that it edits.
pub fn show(ui: &mut Ui, state: &State, draft: &mut ExportDraft, asks: &mut Asks) {
    let keys = Keys::new(ui, choices::path_id());
    let window = ui.ctx().content_rect();
    dialog::show(ui, state, "export", "Export", |ui| {
        if draft.running(state).next().is_some() {
            dialog::progress(
                ui,
                state,
                draft.running(state),
                Ask::CloseExport,
                asks,
                keys,
            );
        } else if !draft.done.is_empty() {
            done(ui, state, draft, asks, keys);
        } else {
            let said = draft.findings(state).len() + usize::from(draft.failed.is_some());
            let most = (window.height() - 160.0 - 42.0 * said as f32).max(120.0);
            ScrollArea::vertical()
                .id_salt("export choices")
                .max_height(most)
                .auto_shrink([false, true])
                .show(ui, |ui| {
                    ui.set_max_width(ui.available_width() - 4.0);
                    choices::show(ui, state, draft, asks);
                });
            choices::findings(ui, state, draft);
            footer(ui, state, draft, asks, keys);
        }
    });
}

fn done(ui: &mut Ui, state: &State, draft: &mut ExportDraft, asks: &mut Asks, keys: Keys) {
    let written = Written {
        said: match draft.done.len() {
            1 => "The picture is written, its record beside it.".to_owned(),
            count => format!("{count} pictures are written, their records beside them."),
        },
        paths: &draft.done,
        notices: &[],
        failed: draft.failed.as_ref(),
        another: "Export another",
        close: Ask::CloseExport,
    };
    if dialog::written(ui, state, written, asks, keys) {
        draft.done.clear();
        draft.tickets.clear();
        draft.failed = None;
        draft.look_again();
    }
}

fn footer(ui: &mut Ui, state: &State, draft: &mut ExportDraft, asks: &mut Asks, keys: Keys) {
    let ready = !draft.findings(state).iter().any(|finding| finding.stops);
    ui.add_space(8.0);
    dialog::buttons(ui, |ui| {
        // As far in as the fields above.
        ui.add_space(4.0);
        ui.spacing_mut().item_spacing.x = 8.0;
        let export = ui
            .add_enabled(ready, dialog::main_button(state, "Export"))
            .on_hover_text("Writes the picture and its record (Enter)");
        if ready && (export.clicked() || keys.enter) {
            draft.failed = None;
            asks.push(Ask::Export(Box::new(draft.clone())));
        }
        let cancel = Button::new("Cancel").min_size(egui::vec2(72.0, 28.0));
        let cancel = ui.add(cancel).on_hover_text("Writes nothing (Escape)");
        if cancel.clicked() || keys.escape {
            asks.push(Ask::CloseExport);
        }
    });
}
