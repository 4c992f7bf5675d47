//! The colours that channels have in the shown rendition, as marks and lines.

use egui::Color32;

use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::mix::assign;
use crate::gui::state::State;
use crate::gui::theme::Theme;

/// The colour of each channel, at full brightness; None where it is left out.
pub fn all(state: &State) -> Vec<Option<Color32>> {
    let rendition = state.rendition();
    state
        .recipe()
        .channels
        .iter()
        .map(|channel| {
            let value = rendition?.colors.get(&channel.id)?;
            let vector = assign::vector(value, &channel.line, channel.center_nm).ok()??;
            Some(in_theme(state.theme, full(vector)))
        })
        .collect()
}

// The largest component at full scale: the hue counts here, not the strength.
fn full(vector: [f64; 3]) -> Color32 {
    let most = vector.into_iter().fold(0.0, f64::max);
    if most <= 0.0 {
        return Color32::BLACK;
    }
    let [r, g, b] = vector.map(|component| {
        (srgb_encode_exact((component / most).clamp(0.0, 1.0)) * 255.0).round() as u8
    });
    Color32::from_rgb(r, g, b)
}

// At night nothing but red is shown.
fn in_theme(theme: Theme, color: Color32) -> Color32 {
    if theme == Theme::Night {
        let bright = 0.55 + 0.45 * brightness(color);
        Color32::from_rgb((bright * 255.0) as u8, 0, 0)
    } else {
        color
    }
}

fn brightness(color: Color32) -> f32 {
    let [r, g, b, _] = color.to_array().map(f32::from);
    (0.30 * r + 0.59 * g + 0.11 * b) / 255.0
}

/// The colour as a thin line on a well: towards white on dark, towards black on
/// light, until it can be seen.
pub fn line(theme: Theme, color: Option<Color32>) -> Color32 {
    let Some(color) = color else {
        return theme.colors().text;
    };
    let (aim, far) = match theme {
        Theme::Night => return color,
        Theme::Dark => (255.0, brightness(color) < 0.42),
        Theme::Light => (0.0, brightness(color) > 0.48),
    };
    if !far {
        return color;
    }
    let now = brightness(color);
    let share = if theme == Theme::Dark {
        (0.42 - now) / (1.0 - now)
    } else {
        1.0 - 0.48 / now
    };
    let [r, g, b, _] = color
        .to_array()
        .map(|part| (f32::from(part) + (aim - f32::from(part)) * share) as u8);
    Color32::from_rgb(r, g, b)
}
