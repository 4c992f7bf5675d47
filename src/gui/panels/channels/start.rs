//! How to begin: what an empty desk shows.

use egui::{Button, RichText, Ui};

use super::elide;
use super::head;
use crate::gui::asks::{Ask, Asks};
use crate::gui::command::Command;
use crate::gui::state::State;
use crate::gui::theme::bold;

/// Three steps, the buttons that do the first, and the files of last time.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let colors = state.theme.colors();
    ui.add_space(4.0);
    for (number, text) in [
        (
            "1",
            "Open the stacks of one field, a file for each filter, or drop them on the window.",
        ),
        (
            "2",
            "Prepare aligns, crops and stretches them and takes out the sky glow.",
        ),
        (
            "3",
            "Give each line its colour on the line map below, and export.",
        ),
    ] {
        ui.horizontal_top(|ui| {
            let number = RichText::new(number).family(bold()).color(colors.accent);
            ui.label(number);
            ui.add(egui::Label::new(text).wrap());
        });
    }
    ui.add_space(8.0);
    let width = ui.available_width();
    ui.spacing_mut().interact_size.y = 30.0;
    for (command, main) in [(Command::Open, true), (Command::OpenSample, false)] {
        ui.vertical_centered_justified(|ui| head::command(ui, state, asks, command, main));
    }
    ui.spacing_mut().interact_size.y = 24.0;
    if state.recent.is_empty() {
        return;
    }
    ui.add_space(10.0);
    ui.label(RichText::new("Lately").family(bold()));
    for path in &state.recent {
        let whole = path.display().to_string();
        let name = path
            .file_name()
            .map_or_else(|| whole.clone(), |name| name.to_string_lossy().into_owned());
        let font = egui::TextStyle::Button.resolve(ui.style());
        let name = elide::middle(ui, &name, &font, width - 20.0);
        let button = Button::new(name).frame_when_inactive(false);
        if ui.add(button).on_hover_text(&whole).clicked() {
            asks.push(Ask::Open(vec![path.clone()]));
        }
    }
}
