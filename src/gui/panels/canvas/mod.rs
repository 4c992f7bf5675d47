//! The picture: pan, zoom, probe, comparison.

/// Where the picture lies on the screen.
pub mod geometry;

/// Which pictures are needed, and those that came.
pub mod pictures;

use egui::Ui;

use crate::gui::asks::Asks;
use crate::gui::state::State;

/// Shows the panel in `ui`.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let _ = (ui, state, asks);
}
