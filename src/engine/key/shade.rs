//! A colour vector as hue, saturation and strength, and back.

use crate::engine::color::oklab::oklch;
use crate::engine::mix::assign::hue_vector;
use crate::engine::recipe::ColorValue;

/// Below this saturation a colour counts as white: its hue cannot be seen.
pub const WHITE_BELOW: f64 = 0.02;

/// The three numbers that a hand changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shade {
    /// Oklch hue angle in degrees, 0..360; for white what it was or would be.
    pub hue: f64,
    /// 0 is white, 1 the pure colour of that hue.
    pub saturation: f64,
    /// Factor on the vector, at least 0.
    pub strength: f64,
}

impl Shade {
    /// Of a colour that a recipe holds; `linear_srgb` is its vector.
    pub fn of(value: &ColorValue, linear_srgb: [f64; 3]) -> Self {
        match *value {
            ColorValue::Hue {
                hue,
                saturation,
                strength,
            } => Self {
                hue: hue.rem_euclid(360.0),
                saturation,
                strength,
            },
            _ => Self::of_vector(linear_srgb),
        }
    }

    /// Of a vector. One with components of one sign comes back from
    /// [`Self::vector`] as it was; one outside the gamut keeps its hue and
    /// becomes the pure colour.
    pub fn of_vector(linear_srgb: [f64; 3]) -> Self {
        let most = linear_srgb.iter().copied().fold(f64::MIN, f64::max);
        let least = linear_srgb.iter().copied().fold(f64::MAX, f64::min);
        if most <= 0.0 {
            return Self {
                hue: 0.0,
                saturation: 0.0,
                strength: 0.0,
            };
        }
        let spread = most - least;
        if spread <= 1e-9 * most {
            return Self {
                hue: 0.0,
                saturation: 0.0,
                strength: most,
            };
        }
        if least < 0.0 {
            return Self {
                hue: oklch(linear_srgb)[2],
                saturation: 1.0,
                strength: most,
            };
        }
        let pure = linear_srgb.map(|component| (component - least) / spread);
        Self {
            hue: oklch(pure)[2],
            saturation: 1.0 - least / most,
            strength: most,
        }
    }

    /// The vector that it stands for.
    pub fn vector(self) -> [f64; 3] {
        hue_vector(self.hue, self.saturation, self.strength)
    }

    /// As a recipe writes it, rounded to what a hand can set.
    pub fn value(self) -> ColorValue {
        let round = |value: f64, steps: f64| (value * steps).round() / steps;
        ColorValue::Hue {
            hue: round(self.hue.rem_euclid(360.0), 100.0).rem_euclid(360.0),
            saturation: round(self.saturation.max(0.0), 1e4),
            strength: round(self.strength.max(0.0), 1e4),
        }
    }

    /// Whether no hue can be seen in it.
    pub fn is_white(self) -> bool {
        self.saturation < WHITE_BELOW
    }
}

/// A colour as a screen can show it: white is added until no component is below
/// zero, then all are scaled down to full scale.
pub fn shown(linear_srgb: [f64; 3]) -> [f64; 3] {
    let least = linear_srgb.iter().copied().fold(0.0, f64::min);
    let lifted = linear_srgb.map(|component| component - least);
    let most = lifted.iter().copied().fold(1.0, f64::max);
    lifted.map(|component| component / most)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colors_inside_the_gamut_come_back() {
        for vector in [
            [1.0, 0.023, 0.012],
            [0.2, 0.9, 0.4],
            [0.0, 0.1, 1.4],
            [0.7, 0.7, 0.2],
        ] {
            let back = Shade::of_vector(vector).vector();
            for (a, b) in back.iter().zip(vector) {
                assert!((a - b).abs() < 1e-6, "{vector:?} came back as {back:?}");
            }
        }
    }

    #[test]
    fn lines_keep_their_hue_and_greys_have_none() {
        let oxygen = Shade::of_vector([-0.997, 1.0, 0.332]);
        assert!((oxygen.hue - 176.0).abs() < 1.0, "{oxygen:?}");
        assert_eq!((oxygen.saturation, oxygen.strength), (1.0, 1.0));
        assert!(Shade::of_vector([0.5; 3]).is_white());
        assert!(Shade::of_vector([0.0; 3]).is_white());
        assert_eq!(Shade::of_vector([0.5; 3]).strength, 0.5);
    }

    #[test]
    fn what_a_recipe_says_is_kept() {
        let value = ColorValue::Hue {
            hue: 233.0,
            saturation: 0.0,
            strength: 1.1,
        };
        let shade = Shade::of(&value, [1.1; 3]);
        assert_eq!(shade.hue, 233.0);
        assert_eq!(shade.value(), value);
    }

    #[test]
    fn a_screen_can_show_what_is_shown() {
        for vector in [[1.0, -0.1, -0.008], [3.0, 0.5, 0.1], [0.2, 0.1, 0.0]] {
            let shown = shown(vector);
            assert!(shown.iter().all(|c| (0.0..=1.0).contains(c)), "{shown:?}");
        }
        assert_eq!(shown([0.2, 0.1, 0.0]), [0.2, 0.1, 0.0]);
    }
}
