//! The channels: histograms, stretches, files that are being opened.

use egui::Ui;

use crate::gui::asks::Asks;
use crate::gui::state::State;

/// Shows the panel in `ui`.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let _ = (ui, state, asks);
}
