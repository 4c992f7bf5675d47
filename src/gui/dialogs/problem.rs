//! Something failed: what, and the next step.

use egui::{RichText, Ui};

use super::{Next, buttons, heading};
use crate::gui::words::sentence;

pub(super) fn show(ui: &mut Ui, what: &str, hint: &str) -> Next {
    heading(ui, "That did not work");
    egui::ScrollArea::vertical()
        .max_height(260.0)
        .show(ui, |ui| {
            ui.label(sentence(what));
            if !hint.is_empty() {
                ui.add_space(4.0);
                ui.label(RichText::new(sentence(hint)).color(ui.visuals().hyperlink_color));
            }
        });
    let mut next = Next::Stay;
    buttons(ui, |ui| {
        let close = ui.button("Close");
        if ui.memory(|memory| memory.focused().is_none()) {
            close.request_focus();
        }
        if close.clicked() {
            next = Next::Close;
        }
        if ui.button("Copy the message").clicked() {
            let text = if hint.is_empty() {
                what.to_owned()
            } else {
                format!("{what}\n{hint}")
            };
            ui.copy_text(text);
        }
    });
    next
}
