//! Mixed light becomes light of the output space: luminance, saturation,
//! conversion, gamut, each optional and in this order.

pub mod gamut;

use super::color::oklab::{PixelOklab, narrow, rows};
use super::color::space::Space;
use super::mix::LightBlock;
use super::num::{self, Block, LANES};
use super::recipe::{Gamut, Rendition};

/// The finish of one rendition in one output space, ready to run.
#[derive(Debug, Clone)]
pub struct Prepared {
    luminance_amount: Option<f32>,
    saturation: Option<f32>,
    to_space: Option<[[f32; 3]; 3]>,
    gamut: Option<Gamut>,
    luminance_weights: [f32; 3],
    oklab: PixelOklab,
}

impl Prepared {
    /// Sets a checked rendition up.
    pub fn new(rendition: &Rendition, space: Space) -> Self {
        Self {
            luminance_amount: rendition.luminance.as_ref().map(|l| l.amount as f32),
            saturation: rendition.saturation.filter(|s| *s != 1.0).map(|s| s as f32),
            to_space: (space != Space::Srgb).then(|| narrow(&space.from_linear_srgb())),
            gamut: rendition.gamut,
            luminance_weights: space.luminance_weights().map(|w| w as f32),
            oklab: PixelOklab::new(),
        }
    }

    /// Finishes a block in place. `brightness` is the weighted mean light of
    /// the luminance sources, if the rendition has any.
    #[inline(always)]
    pub fn run(&self, light: &mut LightBlock, brightness: &Block) {
        self.before_gamut(light, brightness);
        self.hold(light);
    }

    /// The steps of [`Self::run`] before the last: light of the output space,
    /// unbounded.
    #[inline(always)]
    pub fn before_gamut(&self, light: &mut LightBlock, brightness: &Block) {
        if let Some(amount) = self.luminance_amount {
            for i in 0..LANES {
                put(
                    light,
                    i,
                    take_brightness(&self.oklab, get(light, i), brightness[i], amount),
                );
            }
        }
        if let Some(factor) = self.saturation {
            for i in 0..LANES {
                put(light, i, self.oklab.saturate(get(light, i), factor));
            }
        }
        if let Some(matrix) = &self.to_space {
            for i in 0..LANES {
                put(light, i, rows(matrix, get(light, i)));
            }
        }
    }

    /// Whether nothing of the mixed light's own brightness remains.
    pub fn takes_all_brightness(&self) -> bool {
        self.luminance_amount == Some(1.0)
    }

    /// The last step of [`Self::run`]: what happens outside the output space.
    #[inline(always)]
    pub fn hold(&self, light: &mut LightBlock) {
        match self.gamut {
            Some(Gamut::HoldHue) => {
                for i in 0..LANES {
                    put(
                        light,
                        i,
                        gamut::hold_hue(get(light, i), self.luminance_weights),
                    );
                }
            }
            Some(Gamut::Clip) => {
                for component in light.iter_mut() {
                    for value in component.iter_mut() {
                        *value = gamut::clip(*value);
                    }
                }
            }
            None => {}
        }
    }
}

#[inline(always)]
fn get(light: &LightBlock, i: usize) -> [f32; 3] {
    [light[0][i], light[1][i], light[2][i]]
}

#[inline(always)]
fn put(light: &mut LightBlock, i: usize, [r, g, b]: [f32; 3]) {
    light[0][i] = r;
    light[1][i] = g;
    light[2][i] = b;
}

/// Gives each pixel the Oklab lightness of another; hue and saturation stay.
#[inline(always)]
pub fn lightness_of(oklab: &PixelOklab, light: &mut LightBlock, other: &LightBlock) {
    for i in 0..LANES {
        let lightness = oklab.lightness(get(other, i));
        let g = lightness * lightness * lightness;
        put(light, i, take_brightness(oklab, get(light, i), g, 1.0));
    }
}

/// Lightness from `g` (linear light), hue and saturation from `c`:
///
/// ```text
/// L' = (1 - k) L + k cbrt(g);  c := c * (L'/L)^3, or (g, g, g) * k^3 where L = 0
/// ```
#[inline(always)]
fn take_brightness(oklab: &PixelOklab, c: [f32; 3], g: f32, k: f32) -> [f32; 3] {
    // The colour is scaled to a largest component of 1 first: Oklab is
    // homogeneous of degree 1/3, and nothing under- or overflows that way.
    let size = c[0].abs().max(c[1].abs()).max(c[2].abs());
    let scale = if size > 0.0 { 1.0 / size } else { 0.0 };
    let unit = [c[0] * scale, c[1] * scale, c[2] * scale];
    let unit_lightness = oklab.lightness(unit);
    let wanted = (1.0 - k) * num::cbrt(size) * unit_lightness + k * num::cbrt(g);
    let colored = unit_lightness != 0.0 && scale < f32::INFINITY;
    let ratio = if colored {
        wanted / unit_lightness
    } else {
        1.0
    };
    let factor = ratio * ratio * ratio;
    let grey = g * (k * k * k);
    [
        if colored { unit[0] * factor } else { grey },
        if colored { unit[1] * factor } else { grey },
        if colored { unit[2] * factor } else { grey },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::color::oklab::oklch;

    #[test]
    fn brightness_is_taken_and_hue_stays() {
        let oklab = PixelOklab::new();
        for c in [
            [0.4, 0.1, 0.02],
            [1e-12, 3e-12, 0.0],
            [2.0, -0.2, 0.1],
            [1e-30, 0.0, 0.0],
        ] {
            for k in [0.0_f32, 0.5, 1.0] {
                let g = 0.3_f32;
                let out = take_brightness(&oklab, c, g, k);
                let before = oklch(c.map(f64::from));
                let after = oklch(out.map(f64::from));
                let wanted =
                    (1.0 - f64::from(k)) * before[0] + f64::from(k) * libm::cbrt(f64::from(g));
                assert!(
                    (after[0] - wanted).abs() < 2e-6,
                    "{c:?} {k}: {after:?} {wanted}"
                );
                if wanted > 1e-3 {
                    assert!(
                        (after[2] - before[2]).abs() < 1e-2,
                        "{c:?}: {before:?} {after:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn black_takes_grey() {
        let out = take_brightness(&PixelOklab::new(), [0.0; 3], 0.3, 0.5);
        assert_eq!(out, [0.3 * 0.125; 3]);
    }
}
