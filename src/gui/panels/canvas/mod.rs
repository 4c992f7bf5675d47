//! The picture: pan, zoom, probe, comparison.

/// The edge between two renditions.
mod edge;

/// Where the picture lies on the screen.
pub mod geometry;

/// Words and controls that lie over the picture.
mod overlays;

/// What the lines say, instead of the picture.
pub mod maps;

/// A star or a patch is pointed at.
pub mod pick;

/// Which pictures are needed, and those that came.
pub mod pictures;

/// What the channels say at one pixel.
pub mod probe;

/// Pointer and keys on the picture, and its pixels.
mod stage;

/// The renditions and how they are compared.
pub mod tabs;

/// Two renditions one after the other, slowly.
pub mod turns;

use egui::Ui;

use crate::gui::asks::Asks;
use crate::gui::state::State;
use geometry::Pane;

/// What the rest of the window wants to know of the canvas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CanvasOutput {
    /// The pixel under the pointer.
    pub hovered: Option<[usize; 2]>,
    /// Where the picture is shown: what
    /// [`Pictures::requests`](pictures::Pictures::requests) wants.
    pub view: Pane,
}

/// Shows the panel in `ui`.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) -> CanvasOutput {
    if !state.recipe().renditions.is_empty() {
        tabs::show(ui, state, asks);
        if let Some(words) = turns::caution(ui, state) {
            let colors = state.theme.colors();
            egui::Frame::new()
                .fill(colors.panel)
                .inner_margin(egui::Margin::symmetric(12, 4))
                .show(ui, |ui| {
                    ui.set_width(ui.available_width());
                    ui.colored_label(colors.warning, words);
                });
        }
    }
    let rect = ui.available_rect_before_wrap();
    let view = Pane::of(rect, ui.pixels_per_point());
    ui.painter()
        .rect_filled(rect, 0.0, state.theme.colors().canvas);
    let hovered = if state.recipe().channels.is_empty() {
        overlays::empty(ui, state, rect, asks);
        None
    } else {
        stage::show(ui, state, rect, view, asks)
    };
    overlays::drop_target(ui, state, rect);
    ui.advance_cursor_after_rect(rect);
    CanvasOutput { hovered, view }
}
