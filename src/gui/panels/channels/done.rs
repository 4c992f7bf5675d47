//! What preparing did, step by step, with figures.

use egui::{CollapsingHeader, Label, RichText, Ui};

use crate::gui::names;
use crate::gui::state::State;
use crate::gui::theme::bold;

/// Lists the steps of the last preparing, folded away until asked for.
pub fn show(ui: &mut Ui, state: &State) {
    if state.prepared.is_empty() {
        return;
    }
    let colors = state.theme.colors();
    let title = format!("Prepared in {} steps", state.prepared.len());
    CollapsingHeader::new(title)
        .id_salt("prepared")
        .show(ui, |ui| {
            let mut last = "";
            for step in &state.prepared {
                if step.channel != last {
                    last = &step.channel;
                    let name = names::of_id(state.recipe(), last);
                    ui.label(RichText::new(name).family(bold()).small());
                }
                let text = format!("{}: {}", step.step, step.outcome);
                ui.add(Label::new(RichText::new(text).small().color(colors.faint)).wrap());
            }
        });
    ui.add_space(4.0);
}
