//! Work that an earlier window left behind, after a crash or a power cut.

use egui::Ui;

use super::{Next, heading};
use crate::gui::app::App;

pub(super) fn show(app: &mut App, ui: &mut Ui) -> Next {
    let _ = app;
    heading(ui, "Unsaved work from an earlier window");
    Next::Close
}
