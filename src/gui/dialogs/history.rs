//! All steps of the recipe, to go back to any of them.

use egui::{RichText, Ui};

use super::{Next, buttons, heading};
use crate::gui::app::App;

pub(super) fn show(app: &mut App, ui: &mut Ui) -> Next {
    heading(ui, "History");
    let at = app.state.history.at();
    let faint = app.state.theme.colors().faint;
    let labels: Vec<String> = app
        .state
        .history
        .steps()
        .iter()
        .map(|step| step.label.clone())
        .collect();
    let mut go_to = None;
    egui::ScrollArea::vertical()
        .max_height(360.0)
        .auto_shrink([false, true])
        .show(ui, |ui| {
            for (index, label) in labels.iter().enumerate() {
                let text = if index > at {
                    RichText::new(label).color(faint)
                } else {
                    RichText::new(label)
                };
                let row = ui.selectable_label(index == at, text);
                if index == at {
                    row.scroll_to_me(None);
                }
                if row.clicked() {
                    go_to = Some(index);
                }
            }
        });
    if let Some(index) = go_to {
        app.state.history.go_to(index);
        app.mend_view();
    }
    ui.add_space(4.0);
    ui.label(
        RichText::new("Steps below the marked one are undone; a new change replaces them.")
            .small()
            .color(faint),
    );
    let mut next = Next::Stay;
    buttons(ui, |ui| {
        if ui.button("Close").clicked() {
            next = Next::Close;
        }
    });
    next
}
