//! The picture of who leads: hue says which line, lightness how clearly.

use super::Line;
use crate::engine::color::oklab::{linear_srgb_of_oklch, oklch};
use crate::engine::color::space::Space;
use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::finish::gamut::hold_hue;

/// Oklab lightness where nothing leads for certain: a neutral grey.
const UNDECIDED: f64 = 0.32;

/// Oklab lightness of a lead of nothing and of a line that is alone.
const LIGHTNESS: [f64; 2] = [0.38, 0.86];

/// Enough to tell hues, little enough for most of the gamut.
const CHROMA: f64 = 0.15;

/// The grey (linear sRGB) where no line leads for certain.
pub fn undecided_color() -> [f64; 3] {
    linear_srgb_of_oklch([UNDECIDED, 0.0, 0.0])
}

const STEPS: usize = 256;

/// What there is to say of a pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Point {
    /// Below 3 sigma in every line, or no data.
    Nothing,
    /// This line leads for certain.
    Led { line: usize, clearness: f32 },
    /// This line leads by less than the uncertainty.
    Leaning { line: usize },
}

/// The colour (linear sRGB, 0..1) of a line whose light alone is shown as
/// `shown`, where it leads with this clearness, 0..1.
pub fn line_color(shown: [f64; 3], clearness: f64) -> [f64; 3] {
    let [_, chroma, hue] = oklch(shown);
    let [low, high] = LIGHTNESS;
    let lightness = low + (high - low) * clearness.clamp(0.0, 1.0);
    let color = linear_srgb_of_oklch([lightness, chroma.min(CHROMA), hue]);
    let weights = Space::Srgb.luminance_weights().map(|weight| weight as f32);
    hold_hue(color.map(|part| part as f32), weights).map(f64::from)
}

/// Codes of every line and clearness, made once.
pub(super) struct Painter {
    lines: Vec<Vec<[u16; 3]>>,
    undecided: [u16; 3],
}

impl Painter {
    pub(super) fn new(lines: &[Line<'_>]) -> Self {
        let ramp = |line: &Line<'_>| {
            let at = |step: usize| line_color(line.shown, step as f64 / (STEPS - 1) as f64);
            (0..STEPS).map(|step| code(at(step))).collect()
        };
        Self {
            lines: lines.iter().map(ramp).collect(),
            undecided: code(undecided_color()),
        }
    }

    pub(super) fn code(&self, point: Point) -> [u16; 3] {
        match point {
            Point::Nothing => [0; 3],
            Point::Leaning { .. } => self.undecided,
            Point::Led { line, clearness } => {
                let step = (clearness * (STEPS - 1) as f32 + 0.5) as usize;
                self.lines[line][step.min(STEPS - 1)]
            }
        }
    }
}

fn code(light: [f64; 3]) -> [u16; 3] {
    light.map(|part| (srgb_encode_exact(part.clamp(0.0, 1.0)) * 65535.0 + 0.5) as u16)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clearer_lead_is_lighter_in_every_hue() {
        for shown in [
            [1.0, 0.0, 0.0],
            [0.1, 0.9, 0.2],
            [0.0, 0.1, 1.0],
            [1.0, 0.8, 0.0],
        ] {
            let lightness: Vec<f64> = (0..=10)
                .map(|step| oklch(line_color(shown, f64::from(step) / 10.0))[0])
                .collect();
            assert!(
                lightness.is_sorted_by(|a, b| a < b),
                "{shown:?} {lightness:?}"
            );
            assert!(lightness[0] > UNDECIDED);
        }
    }

    #[test]
    fn the_hue_is_the_lines_own() {
        for shown in [[1.0, 0.2, 0.0], [0.0, 0.7, 0.9]] {
            let hue = oklch(line_color(shown, 0.5))[2];
            assert!((hue - oklch(shown)[2]).abs() < 8.0, "{shown:?}: {hue}");
        }
    }
}
