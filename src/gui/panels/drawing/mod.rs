//! Drawings about the picture: the key, a sheet of palettes, a comparison. What,
//! how and where; then how far it is, and where it lies.

mod choices;

mod draft;

mod maps;

mod preview;

pub use draft::{DrawingDraft, What, request};

use egui::{Button, ScrollArea, Ui, vec2};

use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::dialog::{self, Keys, Written};
use crate::gui::widgets::form;

/// Shows the dialog over everything else, with the draft that it edits.
pub fn show(ui: &mut Ui, state: &State, draft: &mut DrawingDraft, asks: &mut Asks) {
    let keys = Keys::new(ui, choices::path_id());
    let window = ui.ctx().content_rect();
    dialog::show(ui, state, "drawing", draft.what.title(), |ui| {
        if draft.running(state).next().is_some() {
            let running = draft.running(state);
            dialog::progress(ui, state, running, Ask::CloseDrawing, asks, keys);
        } else if !draft.done.is_empty() {
            done(ui, state, draft, asks, keys);
        } else {
            let findings = draft.findings(state);
            let said = findings.len() + usize::from(draft.failed.is_some());
            let most = (window.height() - 160.0 - 42.0 * said as f32).max(120.0);
            ScrollArea::vertical()
                .id_salt("drawing choices")
                .max_height(most)
                .auto_shrink([false, true])
                .show(ui, |ui| {
                    ui.set_max_width(ui.available_width() - 4.0);
                    choices::show(ui, state, draft, asks);
                    if draft.what == What::Key {
                        preview::show(ui, state, draft);
                    }
                });
            let colors = state.theme.colors();
            for finding in &findings {
                let color = if finding.stops {
                    colors.error
                } else {
                    colors.warning
                };
                form::problem(ui, color, &finding.what, &finding.hint);
            }
            if let Some((what, hint)) = &draft.failed {
                form::problem(ui, colors.error, what, hint);
            }
            let ready = !findings.iter().any(|finding| finding.stops);
            footer(ui, state, draft, ready, asks, keys);
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

fn footer(
    ui: &mut Ui,
    state: &State,
    draft: &mut DrawingDraft,
    ready: bool,
    asks: &mut Asks,
    keys: Keys,
) {
    ui.add_space(8.0);
    dialog::buttons(ui, |ui| {
        // As far in as the fields above.
        ui.add_space(4.0);
        ui.spacing_mut().item_spacing.x = 8.0;
        let save = ui
            .add_enabled(ready, dialog::main_button(state, "Save"))
            .on_hover_text("Writes the file (Enter)");
        if ready && (save.clicked() || keys.enter) {
            draft.failed = None;
            asks.push(Ask::Draw(Box::new(draft.clone())));
        }
        let cancel = Button::new("Cancel").min_size(vec2(72.0, 28.0));
        let cancel = ui.add(cancel).on_hover_text("Writes nothing (Escape)");
        if cancel.clicked() || keys.escape {
            asks.push(Ask::CloseDrawing);
        }
    });
}
