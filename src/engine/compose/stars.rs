//! Stars made finer, or dimmer, in the channels' own light.

use super::super::num::{self, Block, LANES};
use super::super::recipe::StarLook;

/// How the light of a star is scaled:
///
/// ```text
/// s' = b p (s / p)^(1 / size^2)
/// ```
///
/// where `p` is the most light of the star. A Gaussian profile becomes one of
/// `size` times the width; any other stays a profile that falls from the same
/// centre. Light that is no star's (p = 0), above the peak or below 0 is scaled
/// by `b` alone.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scaling {
    exponent: f32,
    brightness: f32,
}

impl Scaling {
    pub fn new(look: StarLook) -> Self {
        Self {
            exponent: (1.0 / (look.size * look.size)) as f32,
            brightness: look.brightness as f32,
        }
    }

    /// Scales a block of star light, given the peaks.
    #[inline(always)]
    pub fn scale(&self, light: &mut Block, peaks: &Block) {
        for i in 0..LANES {
            let (s, p) = (light[i], peaks[i]);
            let within = s > 0.0 && s < p;
            let share = if within { s / p } else { 1.0 };
            let finer = p * num::pow(share, self.exponent);
            light[i] = self.brightness * if within { finer } else { s };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::ShowStars;

    fn scaled(size: f64, brightness: f64, light: f32, peak: f32) -> f32 {
        let look = StarLook {
            show: ShowStars::AsMixed,
            size,
            brightness,
        };
        let mut block = [light; LANES];
        Scaling::new(look).scale(&mut block, &[peak; LANES]);
        block[7]
    }

    #[test]
    fn a_gaussian_becomes_a_narrower_one() {
        // exp(-r^2 / 2 s^2) at r = 1.5 s, made 0.6 times as wide.
        let profile = |r: f64, s: f64| libm::exp(-r * r / (2.0 * s * s));
        let narrow = scaled(0.6, 2.0, (100.0 * profile(1.5, 1.0)) as f32, 100.0);
        assert!((f64::from(narrow) - 200.0 * profile(1.5, 0.6)).abs() < 1e-3);
    }

    #[test]
    fn what_is_no_star_is_scaled_alone() {
        assert_eq!(scaled(0.5, 1.0, -3.0, 0.0), -3.0);
        assert_eq!(scaled(0.5, 0.5, 4.0, 0.0), 2.0);
        assert_eq!(scaled(0.5, 1.0, 7.0, 5.0), 7.0);
        assert_eq!(scaled(0.5, 1.0, 5.0, 5.0), 5.0);
    }
}
