//! What the channels say at one pixel, on a card beside it.

use std::sync::Arc;

use egui::{Align2, Color32, Rect, Stroke, Ui, Vec2, pos2, vec2};

use crate::gui::names;
use crate::gui::panels::channels::hue;
use crate::gui::state::State;
use crate::gui::theme::{Colors, bold};

use crate::work::preview::probe::{Over, probe, sky_words};

/// One channel at the pixel.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelReading {
    /// What it is called in little room.
    pub name: String,
    /// File units; None where nothing was measured.
    pub value: Option<f64>,
    /// Its share in this pixel's colour, 0 to 1; None where it has none.
    pub share: Option<f64>,
    /// The colour it has in the rendition.
    pub color: Option<Color32>,
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
    /// Ratios of lines with their uncertainty, as they are written.
    pub ratios: Vec<String>,
}

/// Reads the channels at a pixel; None outside of the grid.
pub fn reading(state: &State, at: [usize; 2]) -> Option<Reading> {
    let recipe = state.recipe();
    let layers: Vec<_> = recipe
        .channels
        .iter()
        .map(|channel| state.layers.get(&channel.id).map(Arc::clone))
        .collect();
    let rendition = state.rendition()?;
    let hues = hue::all(state);
    let read = probe(recipe, &layers, &rendition.id, at, Over::Pixel)?;
    let channels = recipe
        .channels
        .iter()
        .zip(&read.channels)
        .zip(hues)
        .filter_map(|((channel, measured), color)| {
            let measured = measured.as_ref()?;
            Some(ChannelReading {
                name: names::short(recipe, channel),
                value: measured.value,
                share: measured.share,
                color,
            })
        })
        .collect();
    let ratios = read
        .ratios
        .iter()
        .map(|ratio| format!("{} {}", ratio.title, plus_minus(ratio.value, ratio.sigma)))
        .collect();
    Some(Reading {
        at,
        sky: read.sky.map(sky_words),
        channels,
        ratios,
    })
}

/// A number with its uncertainty, to the first two digits of the latter.
pub fn plus_minus(value: f64, sigma: f64) -> String {
    let places = if sigma > 0.0 && sigma.is_finite() {
        (1 - libm::log10(sigma).floor() as i32).clamp(0, 6) as usize
    } else {
        3
    };
    format!("{value:.places$} \u{b1} {sigma:.places$}")
}

/// A value in file units with five figures, whatever its size.
pub fn figures(value: f64) -> String {
    let size = value.abs();
    if size != 0.0 && !(1e-4..1e7).contains(&size) {
        return format!("{value:.3e}");
    }
    let whole = if size < 1.0 {
        0
    } else {
        libm::log10(size).floor() as usize + 1
    };
    let places = 5_usize.saturating_sub(whole);
    format!("{value:.places$}")
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
    let font = egui::TextStyle::Small.resolve(ui.style());
    let strong = egui::FontId::new(font.size, bold());
    let words = |text: &str, color| painter.layout_no_wrap(text.to_owned(), font.clone(), color);
    let place = words(
        &format!("x {}   y {}", reading.at[0], reading.at[1]),
        colors.text,
    );
    let foot: Vec<_> = reading
        .sky
        .iter()
        .chain(&reading.ratios)
        .map(|text| words(text, colors.faint))
        .collect();
    let note = (!reading.ratios.is_empty())
        .then(|| words("ratios of file units, sky taken off", colors.faint));
    let row = place.size().y + 4.0;
    let rows: Vec<_> = reading
        .channels
        .iter()
        .map(|channel| {
            let value = channel.value.map_or("no data".to_owned(), figures);
            let share = channel
                .share
                .map_or(String::new(), |share| format!("{:.0} %", 100.0 * share));
            (
                painter.layout_no_wrap(channel.name.clone(), strong.clone(), colors.text),
                words(&value, colors.text),
                words(&share, colors.text),
                channel,
            )
        })
        .collect();
    let widest = |of: &dyn Fn(usize) -> f32| (0..rows.len()).map(of).fold(0.0, f32::max);
    let name_width = widest(&|i| rows[i].0.size().x);
    let value_width = widest(&|i| rows[i].1.size().x);
    let share_width = widest(&|i| rows[i].2.size().x);
    let (bar, gap, margin) = (64.0, 10.0, 10.0);
    let shares = if share_width > 0.0 {
        2.0 * gap + bar + share_width
    } else {
        0.0
    };
    let width = (name_width + gap + value_width + shares)
        .max(place.size().x)
        .max(
            foot.iter()
                .chain(&note)
                .map(|g| g.size().x)
                .fold(0.0, f32::max),
        )
        + 2.0 * margin;
    let lines = 1 + rows.len() + foot.len() + usize::from(note.is_some());
    let height = lines as f32 * row + 2.0 * margin + 2.0;
    let card = card_rect(view, pixel, vec2(width, height));
    painter.rect(
        card,
        6.0,
        colors.card.gamma_multiply(0.96),
        Stroke::new(1.0, colors.line),
        egui::StrokeKind::Inside,
    );
    let left = card.left() + margin;
    let mut y = card.top() + margin;
    painter.galley(pos2(left, y), place, colors.text);
    y += row + 2.0;
    for (name, value, share, channel) in rows {
        painter.galley(pos2(left, y), name, colors.text);
        let x = left + name_width + gap;
        let value_at = x + value_width - value.size().x;
        painter.galley(pos2(value_at, y), value, colors.text);
        if let Some(part) = channel.share {
            let whole = Rect::from_min_size(
                pos2(x + value_width + gap, y + row * 0.5 - 6.0),
                vec2(bar, 8.0),
            );
            paint_bar(&painter, &colors, whole, part, channel.color);
        }
        let right = card.right() - margin - share.size().x;
        painter.galley(pos2(right, y), share, colors.text);
        y += row;
    }
    for galley in foot.into_iter().chain(note) {
        painter.galley(pos2(left, y), galley, colors.faint);
        y += row;
    }
}

fn paint_bar(
    painter: &egui::Painter,
    colors: &Colors,
    whole: Rect,
    part: f64,
    color: Option<Color32>,
) {
    painter.rect_filled(whole, 2.0, colors.well);
    let width = whole.width() * part.clamp(0.0, 1.0) as f32;
    let filled = Align2::LEFT_CENTER.align_size_within_rect(vec2(width, whole.height()), whole);
    painter.rect_filled(filled, 2.0, color.unwrap_or(colors.faint));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_the_digits_they_deserve() {
        assert_eq!(plus_minus(0.4712, 0.038), "0.471 \u{b1} 0.038");
        assert_eq!(plus_minus(12.0, 3.4), "12.0 \u{b1} 3.4");
        assert_eq!(figures(146.0), "146.00");
        assert_eq!(figures(0.004_123_4), "0.00412");
        assert_eq!(figures(-54_321.6), "-54322");
        assert_eq!(figures(1.5e-17), "1.500e-17");
        assert_eq!(figures(0.0), "0.00000");
    }
}
