//! The export: what, how, where; then how far it is, and where it lies.

mod choices;

mod draft;

pub use draft::{ExportDraft, request, requests};

use egui::Ui;

use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::dialog::{self, Keys, Written};
use crate::gui::widgets::output::{self, Wish};

/// Shows the dialog over everything else, with the draft that it edits.
pub fn show(ui: &mut Ui, state: &State, draft: &mut ExportDraft, asks: &mut Asks) {
    let keys = Keys::new(ui, choices::path_id());
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
            let findings = draft.findings(state).to_vec();
            let failed = draft.failed.clone();
            output::scrolled(ui, "export choices", &findings, failed.as_ref(), |ui| {
                choices::show(ui, state, draft, asks);
            });
            let findings = draft.findings(state).to_vec();
            output::findings(ui, state, &findings, failed.as_ref());
            let words = ("Export", "Writes the picture and its record (Enter)");
            match output::footer(ui, state, words, &findings, keys) {
                Some(Wish::Make) => {
                    draft.failed = None;
                    asks.push(Ask::Export(Box::new(draft.clone())));
                }
                Some(Wish::Leave) => asks.push(Ask::CloseExport),
                None => {}
            }
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
