//! Smaller, larger, dimmer or brighter stars from a layer of starlight, pixel
//! by pixel.

use crate::engine::num;

/// Relative heights count as at least this: where `size` is above 1 the faint
/// rim of a star must not become all noise.
const LEAST: f32 = 1.0 / 512.0;

/// The light of a pixel with its stars made `size` times as wide and
/// `brightness` times as bright.
///
/// `light` is the original less the nebula, file units; `height` is how high on
/// its stars' image the pixel lies, 1 on top and 0 far out, as
/// [`Footprint`](super::Footprint) carries it.
///
/// ```text
/// new = brightness * light * height^(1 / size^2 - 1)
/// ```
///
/// A star f = peak * g(r) with height = g becomes peak * g^(1 / size^2), which
/// for a bell is a bell `size` times as wide; the peak stays. Continuous and
/// monotone in every argument (in `light` a straight line through 0, so that
/// noise keeps both its signs); exactly `light` at 1, 1. `size` is used within
/// 0.1..2, `brightness` from 0 on.
pub fn star_scale(light: f32, height: f32, size: f32, brightness: f32) -> f32 {
    light * Scale::new(size, brightness).gain(height)
}

/// A size and a brightness made ready for many pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    power: f32,
    brightness: f32,
}

impl Scale {
    /// See [`star_scale`].
    pub fn new(size: f32, brightness: f32) -> Self {
        let size = if size.is_nan() {
            1.0
        } else {
            size.clamp(0.1, 2.0)
        };
        Self {
            power: 1.0 / (size * size) - 1.0,
            brightness: brightness.max(0.0),
        }
    }

    /// What the light of a pixel at this relative height is multiplied by.
    #[inline]
    pub fn gain(self, height: f32) -> f32 {
        if self.power == 0.0 {
            return self.brightness;
        }
        let least = if self.power < 0.0 { LEAST } else { 0.0 };
        self.brightness * num::pow(height.clamp(least, 1.0), self.power)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bell_becomes_a_narrower_or_wider_bell() {
        for size in [0.5_f32, 0.8, 1.25] {
            for step in 0..30 {
                let r = step as f32 * 0.1;
                let bell = |sigma: f32| libm::expf(-0.5 * r * r / (sigma * sigma));
                let new = star_scale(900.0 * bell(1.3), bell(1.3), size, 2.0);
                let expected = 1800.0 * bell(1.3 * size);
                assert!(
                    (new - expected).abs() < 2e-3 * expected + 1e-3,
                    "{size} {r} {new} {expected}"
                );
            }
        }
    }

    #[test]
    fn neutral_settings_change_no_bit() {
        for light in [0.0_f32, -3.7, 1e-30, 12.345, 65_535.0] {
            for height in [0.0, 1e-6, 0.3, 1.0] {
                assert_eq!(
                    star_scale(light, height, 1.0, 1.0).to_bits(),
                    light.to_bits()
                );
            }
        }
    }

    #[test]
    fn monotone_and_without_steps() {
        for size in [0.3_f32, 0.7, 1.0, 1.4] {
            let scale = Scale::new(size, 0.8);
            let mut last = scale.gain(0.0);
            for step in 1..=4096 {
                let gain = scale.gain(step as f32 / 4096.0);
                // Narrower: dimmer outside. Wider: brighter outside.
                let rise = gain - last;
                assert!(if size < 1.0 {
                    rise >= -1e-6
                } else {
                    rise <= 1e-6
                });
                assert!(
                    rise.abs() < 0.08 * last.abs().max(0.1),
                    "{size} {step} {rise}"
                );
                last = gain;
            }
            assert!((last - 0.8).abs() < 1e-6);
            assert!(star_scale(5.0, 0.2, size, 1.0) > star_scale(4.0, 0.2, size, 1.0));
            assert!(star_scale(5.0, 0.2, size * 1.1, 1.0) > star_scale(5.0, 0.2, size, 1.0));
        }
        assert_eq!(star_scale(7.0, 0.5, f32::NAN, 1.0), 7.0);
        assert_eq!(star_scale(7.0, 0.0, 0.5, 1.0), 0.0);
    }
}
