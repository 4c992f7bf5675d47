//! The export: what, how, where; then how far it is, and where it lies.

mod choices;

mod draft;

mod outcome;

pub use draft::{ExportDraft, request, requests};

use egui::{Align, Button, Frame, Id, Key, Layout, Modal, Modifiers, RichText, ScrollArea, Ui};

use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::theme::bold;
use crate::gui::widgets::form;

const WIDTH: f32 = 480.0;

/// Shows the dialog over everything else, with the draft that it edits.
pub fn show(ui: &mut Ui, state: &State, draft: &mut ExportDraft, asks: &mut Asks) {
    let colors = state.theme.colors();
    let keys = Keys::new(ui);
    let frame = Frame::new()
        .fill(colors.panel)
        .stroke(egui::Stroke::new(1.0, colors.line))
        .corner_radius(8.0)
        .inner_margin(16.0);
    let window = ui.ctx().content_rect();
    Modal::new(Id::unique("export"))
        .frame(frame)
        .show(ui.ctx(), |ui| {
            ui.set_width(WIDTH.min(window.width() - 64.0));
            form::compact(ui);
            ui.label(RichText::new("Export").family(bold()).size(16.0));
            ui.add_space(4.0);
            if draft.running(state).next().is_some() {
                outcome::progress(ui, state, draft, asks, keys);
            } else if !draft.done.is_empty() {
                outcome::done(ui, state, draft, asks, keys);
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

/// The keys that the dialog itself answers to.
#[derive(Debug, Clone, Copy)]
struct Keys {
    enter: bool,
    escape: bool,
}

impl Keys {
    // Enter belongs to a button or a number that has the focus, Escape to a
    // field that is being edited. The focus is gone already in the frame that
    // sees Escape, so the frame before tells.
    fn new(ui: &Ui) -> Self {
        let id = Id::unique("export edits");
        let before = ui.data(|data| data.get_temp::<bool>(id)).unwrap_or(false);
        let focused = ui.memory(|memory| memory.focused());
        let edits =
            focused.is_some_and(|id| egui::text_edit::TextEditState::load(ui.ctx(), id).is_some());
        ui.data_mut(|data| data.insert_temp(id, edits));
        let own = focused.is_none() || focused == Some(choices::path_id());
        Self {
            enter: own && ui.input(|input| input.key_pressed(Key::Enter)),
            escape: !before
                && ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Escape)),
        }
    }
}

/// The main action, in the accent.
fn main_button(state: &State, text: &str) -> Button<'static> {
    let colors = state.theme.colors();
    Button::new(RichText::new(text).family(bold()).color(colors.on_accent))
        .fill(colors.accent)
        .min_size(egui::vec2(88.0, 28.0))
}

fn footer(ui: &mut Ui, state: &State, draft: &mut ExportDraft, asks: &mut Asks, keys: Keys) {
    let ready = !draft.findings(state).iter().any(|finding| finding.stops);
    ui.add_space(8.0);
    ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
        // As far in as the fields above.
        ui.add_space(4.0);
        ui.spacing_mut().item_spacing.x = 8.0;
        let export = ui
            .add_enabled(ready, main_button(state, "Export"))
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
