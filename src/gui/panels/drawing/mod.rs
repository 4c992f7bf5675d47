//! Drawings about the picture: the key, a sheet of palettes, a comparison. What,
//! how and where; then how far it is, and where it lies.

mod choices;

mod draft;

mod findings;

mod kinds;

mod maps;

mod preview;

mod request;

pub use draft::DrawingDraft;
pub use kinds::{Kind, What};
pub use request::request;

use egui::Ui;

use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::dialog::{self, Keys, Written};
use crate::gui::widgets::output::{self, Wish};

/// Shows the dialog over everything else, with the draft that it edits.
pub fn show(ui: &mut Ui, state: &State, draft: &mut DrawingDraft, asks: &mut Asks) {
    let keys = Keys::new(ui, choices::path_id());
    dialog::show(ui, state, "drawing", draft.what.title(), |ui| {
        if draft.running(state).next().is_some() {
            let running = draft.running(state);
            dialog::progress(ui, state, running, Ask::CloseDrawing, asks, keys);
        } else if !draft.done.is_empty() {
            done(ui, state, draft, asks, keys);
        } else {
            let findings = draft.findings(state);
            let failed = draft.failed.clone();
            output::scrolled(ui, "drawing choices", &findings, failed.as_ref(), |ui| {
                choices::show(ui, state, draft, asks);
                if draft.what == What::Key {
                    preview::show(ui, state, draft);
                }
            });
            output::findings(ui, state, &findings, failed.as_ref());
            let words = ("Save", "Writes the file (Enter)");
            match output::footer(ui, state, words, &findings, keys) {
                Some(Wish::Make) => {
                    draft.failed = None;
                    asks.push(Ask::Draw(Box::new(draft.clone())));
                }
                Some(Wish::Leave) => asks.push(Ask::CloseDrawing),
                None => {}
            }
        }
    });
}

fn done(ui: &mut Ui, state: &State, draft: &mut DrawingDraft, asks: &mut Asks, keys: Keys) {
    let written = Written {
        said: match draft.what {
            What::Key => "The key is written.",
            What::Sheet => "The sheet is written.",
            What::Comparison => "The comparison is written.",
            What::Page => "The page is written.",
            What::Leading | What::Ratio => "The map is written.",
        }
        .to_owned(),
        paths: &draft.done,
        notices: &draft.notices,
        failed: draft.failed.as_ref(),
        another: "Save another",
        close: Ask::CloseDrawing,
    };
    if dialog::written(ui, state, written, asks, keys) {
        draft.done.clear();
        draft.notices.clear();
        draft.ticket = None;
        draft.look_again();
    }
}
