//! The histogram of a channel with its stretch drawn over it.

use egui::epaint::Mesh;
use egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, StrokeKind, Ui, pos2};

use crate::engine::measure::Histogram;
use crate::engine::recipe::Stretch;
use crate::engine::stretch::edit;
use crate::gui::theme::{Colors, Theme};

use super::hue;

/// Which positions of the histogram's scale are drawn, left and right.
pub type View = [f64; 2];

/// All of the histogram, and black and white where they lie beyond it.
pub fn view(histogram: &Histogram, stretch: &Stretch) -> View {
    let (black, white) = (
        histogram.position(stretch.black),
        histogram.position(stretch.white),
    );
    let (low, high) = (black.min(0.0), white.max(1.0));
    let margin = 0.03 * (high - low);
    [low - margin, high + margin]
}

/// Where a position lies on the screen.
pub fn x_of(rect: Rect, [from, to]: View, position: f64) -> f32 {
    let share = (position - from) / (to - from);
    rect.left() + rect.width() * share as f32
}

/// The position under a place on the screen.
pub fn position_at(rect: Rect, [from, to]: View, x: f32) -> f64 {
    let share = f64::from((x - rect.left()) / rect.width()).clamp(0.0, 1.0);
    from + share * (to - from)
}

/// Paints histogram and curve; `hue` is the channel's, None where it is left out.
pub fn paint(
    ui: &Ui,
    rect: Rect,
    (histogram, stretch): (&Histogram, &Stretch),
    view: View,
    theme: Theme,
    hue: Option<Color32>,
) {
    let colors = theme.colors();
    well(ui, rect, &colors);
    let painter = ui.painter().with_clip_rect(rect.shrink(1.0));
    let inner = inside(rect);
    painter.add(Shape::mesh(bars(inner, histogram, view, colors)));
    let points = edit::sampled(stretch, histogram, view, inner.width().max(16.0) as u32)
        .into_iter()
        .map(|[position, tone]| {
            let y = inner.bottom() - inner.height() * tone as f32;
            pos2(x_of(inner, view, position), y)
        })
        .collect();
    line(&painter, points, theme, hue);
}

/// Where things lie in a well: its edge is kept free.
pub fn inside(rect: Rect) -> Rect {
    rect.shrink2(egui::vec2(1.0, 5.0))
}

/// A sunken ground.
pub fn well(ui: &Ui, rect: Rect, colors: &Colors) {
    ui.painter().rect(
        rect,
        3.0,
        colors.well,
        Stroke::new(1.0, colors.line),
        StrokeKind::Inside,
    );
}

/// A curve in a channel's hue, seen on any ground.
pub fn line(painter: &Painter, points: Vec<Pos2>, theme: Theme, hue: Option<Color32>) {
    let under = Stroke::new(4.0, theme.colors().well.gamma_multiply(0.75));
    painter.line(points.clone(), under);
    painter.line(points, Stroke::new(1.75, hue::line(theme, hue)));
}

fn bars(rect: Rect, histogram: &Histogram, view: View, colors: Colors) -> Mesh {
    let color = colors.faint.gamma_multiply(0.55);
    let heights = histogram.heights();
    let cells = heights.len().max(1) as f64;
    let mut mesh = Mesh::default();
    for (cell, height) in heights.iter().enumerate() {
        if *height <= 0.0 {
            continue;
        }
        let left = x_of(rect, view, cell as f64 / cells);
        let right = x_of(rect, view, (cell + 1) as f64 / cells);
        let top = rect.bottom() - rect.height() * *height as f32;
        let bar = Rect::from_min_max(pos2(left, top), pos2(right, rect.bottom() + 4.0));
        mesh.add_colored_rect(bar, color);
    }
    mesh
}
