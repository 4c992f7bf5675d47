//! What the channels say at one pixel, on a card beside it.

use egui::{Color32, Rect, Stroke, Ui, Vec2, pos2, vec2};

use crate::engine::lines::line;
use crate::gui::state::State;

/// One channel at the pixel.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelReading {
    /// Its line's symbol.
    pub symbol: String,
    /// File units; None where nothing was measured.
    pub value: Option<f64>,
}

/// What the channels say at one pixel.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Column and row, counted from 0 at the upper left.
    pub at: [usize; 2],
    /// Where it lies on the sky.
    pub sky: Option<String>,
    /// The channels in memory, in the recipe's order.
    pub channels: Vec<ChannelReading>,
    /// Ratios of lines, as they are written.
    pub ratios: Vec<String>,
}

/// Reads the channels at a pixel; None outside of the grid.
pub fn reading(state: &State, at: [usize; 2]) -> Option<Reading> {
    let size = state.size()?;
    if at[0] >= size.width || at[1] >= size.height {
        return None;
    }
    let channels = state.recipe().channels.iter().filter_map(|channel| {
        let layer = state.layers.get(&channel.id)?;
        let value = layer.plane.values().get([at[1], at[0]]).copied();
        let symbol = line(&channel.line).map_or(&channel.id, |line| &line.symbol);
        Some(ChannelReading {
            symbol: symbol.clone(),
            value: value.filter(|v| v.is_finite()).map(f64::from),
        })
    });
    Some(Reading {
        at,
        sky: None,
        channels: channels.collect(),
        ratios: Vec::new(),
    })
}

/// Where a card of this size goes: beside `pixel`, not over it, inside `view`.
pub fn card_rect(view: Rect, pixel: Rect, size: Vec2) -> Rect {
    let gap = 14.0;
    let x_right = pixel.right() + gap;
    let x_left = pixel.left() - gap - size.x;
    let y_below = pixel.bottom() + gap;
    let y_above = pixel.top() - gap - size.y;
    let fit = |v: f32, low: f32, high: f32| v.min(high).max(low);
    let x_in = |x| fit(x, view.left(), view.right() - size.x);
    let y_in = |y| fit(y, view.top(), view.bottom() - size.y);
    let min = if x_right + size.x <= view.right() {
        pos2(x_right, y_in(y_below))
    } else if x_left >= view.left() {
        pos2(x_left, y_in(y_below))
    } else if y_above >= view.top() {
        pos2(x_in(x_right), y_above)
    } else {
        pos2(x_in(x_right), y_in(y_below))
    };
    Rect::from_min_size(min, size)
}

/// Paints the ring and the card.
pub fn show(ui: &Ui, state: &State, view: Rect, pixel: Rect, reading: &Reading) {
    let colors = state.theme.colors();
    let painter = ui.painter().with_clip_rect(view);
    let radius = (pixel.width() / 2.0 + 3.0).max(6.0);
    painter.circle_stroke(pixel.center(), radius, Stroke::new(3.0, Color32::BLACK));
    painter.circle_stroke(pixel.center(), radius, Stroke::new(1.5, colors.accent));
    let mut lines = vec![(
        format!("x {}  y {}", reading.at[0], reading.at[1]),
        String::new(),
    )];
    lines.extend(reading.sky.iter().map(|sky| (sky.clone(), String::new())));
    lines.extend(reading.channels.iter().map(|channel| {
        let value = channel
            .value
            .map_or("not measured".into(), |v| format!("{v:.4}"));
        (channel.symbol.clone(), value)
    }));
    lines.extend(reading.ratios.iter().map(|r| (r.clone(), String::new())));
    let font = egui::TextStyle::Small.resolve(ui.style());
    let rows: Vec<_> = lines
        .into_iter()
        .map(|(left, right)| {
            let layout = |text| painter.layout_no_wrap(text, font.clone(), colors.text);
            (layout(left), layout(right))
        })
        .collect();
    let height = rows
        .iter()
        .map(|(left, _)| left.size().y + 3.0)
        .sum::<f32>()
        + 13.0;
    let width = rows
        .iter()
        .map(|(left, right)| left.size().x + right.size().x)
        .fold(110.0, f32::max)
        + 32.0;
    let card = card_rect(view, pixel, vec2(width, height));
    painter.rect(
        card,
        4.0,
        colors.card,
        Stroke::new(1.0, colors.line),
        egui::StrokeKind::Inside,
    );
    let mut y = card.top() + 8.0;
    for (left, right) in rows {
        let step = left.size().y + 3.0;
        let x = card.right() - 8.0 - right.size().x;
        painter.galley(pos2(card.left() + 8.0, y), left, colors.text);
        painter.galley(pos2(x, y), right, colors.text);
        y += step;
    }
}
