//! Parts of legends: colours in cells, a line with its figure.

use egui::{Color32, Mesh, Rect, RichText, Sense, Stroke, Ui, pos2, vec2};

use crate::gui::panels::canvas::pictures::in_red;
use crate::gui::state::State;
use crate::gui::theme::Theme;
use crate::gui::widgets::form;

pub(super) fn row(
    ui: &mut Ui,
    state: &State,
    ramp: &[[u8; 3]],
    name: &str,
    figure: &str,
) -> egui::Response {
    ui.horizontal(|ui| {
        let (chip, _) = ui.allocate_exact_size(vec2(54.0, 14.0), Sense::hover());
        colored(ui, state, chip, ramp.len(), |cell| ramp[cell]);
        form::word(ui, 110.0, RichText::new(name));
        ui.label(figure);
    })
    .response
}

/// Colours at even steps from left to right, running into each other, with an
/// edge about them.
pub(super) fn colored(
    ui: &Ui,
    state: &State,
    rect: Rect,
    steps: usize,
    color: impl Fn(usize) -> [u8; 3],
) {
    let painter = ui.painter();
    let mut mesh = Mesh::default();
    // One colour alone fills all of it.
    let last = steps.max(2) - 1;
    for step in 0..=last {
        let [r, g, b] = tinted(state.theme, color(step.min(steps - 1)));
        let x = rect.left() + rect.width() * step as f32 / last as f32;
        for y in [rect.top(), rect.bottom()] {
            mesh.colored_vertex(pos2(x, y), Color32::from_rgb(r, g, b));
        }
        if step > 0 {
            let at = 2 * step as u32;
            mesh.add_triangle(at - 2, at - 1, at);
            mesh.add_triangle(at - 1, at, at + 1);
        }
    }
    painter.add(mesh);
    let stroke = Stroke::new(1.0, state.theme.colors().line);
    painter.rect_stroke(rect, 0.0, stroke, egui::StrokeKind::Outside);
}

// A colour as the theme shows pictures.
pub(super) fn tinted(theme: Theme, [r, g, b]: [u8; 3]) -> [u8; 3] {
    if theme == Theme::Night {
        let red = in_red(&[r, g, b, 255]);
        [red[0], red[1], red[2]]
    } else {
        [r, g, b]
    }
}

pub(super) fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}
