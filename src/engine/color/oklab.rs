//! Oklab (Ottosson 2020), for set-up in double precision and for pixels.
//!
//! The matrices are those of CSS Color 4, recomputed there to 64 bits.

use palette::{FromColor, LinSrgb, Oklch};

use super::space::{Matrix, inverse};
use crate::engine::num;

/// Linear sRGB to the cone-like LMS of Oklab.
pub const LMS_OF_SRGB: Matrix = [
    [
        0.412_221_469_470_762_9,
        0.536_332_537_261_734_8,
        0.051_445_993_267_502_2,
    ],
    [
        0.211_903_495_817_825_2,
        0.680_699_550_645_234_4,
        0.107_396_953_536_940_6,
    ],
    [
        0.088_302_459_190_056_4,
        0.281_718_839_136_121_5,
        0.629_978_701_673_822_2,
    ],
];

/// Cube roots of LMS to L, a, b.
pub const LAB_OF_ROOTS: Matrix = [
    [
        0.210_454_268_309_314_0,
        0.793_617_774_702_305_4,
        -0.004_072_043_011_619_3,
    ],
    [
        1.977_998_532_431_168_4,
        -2.428_592_242_048_579_9,
        0.450_593_709_617_411_0,
    ],
    [
        0.025_904_042_465_547_8,
        0.782_771_712_457_529_6,
        -0.808_675_754_923_077_4,
    ],
];

/// Lightness, chroma and hue in degrees (0..360) of linear sRGB; components may
/// lie outside 0..1. Black has hue 0.
pub fn oklch(linear_srgb: [f64; 3]) -> [f64; 3] {
    let [r, g, b] = linear_srgb;
    let color = Oklch::from_color(LinSrgb::new(r, g, b));
    [color.l, color.chroma, color.hue.into_positive_degrees()]
}

/// Linear sRGB of lightness, chroma and hue in degrees, unbounded.
pub fn linear_srgb_of_oklch([l, chroma, hue_deg]: [f64; 3]) -> [f64; 3] {
    let color: LinSrgb<f64> = LinSrgb::from_color(Oklch::new(l, chroma, hue_deg));
    [color.red, color.green, color.blue]
}

/// The matrices in single precision, for pixels.
#[derive(Debug, Clone, Copy)]
pub struct PixelOklab {
    lms_of_srgb: [[f32; 3]; 3],
    lab_of_roots: [[f32; 3]; 3],
    roots_of_lab: [[f32; 3]; 3],
    srgb_of_lms: [[f32; 3]; 3],
}

impl PixelOklab {
    /// Rounds the matrices and their inverses.
    pub fn new() -> Self {
        Self {
            lms_of_srgb: narrow(&LMS_OF_SRGB),
            lab_of_roots: narrow(&LAB_OF_ROOTS),
            roots_of_lab: narrow(&inverse(&LAB_OF_ROOTS)),
            srgb_of_lms: narrow(&inverse(&LMS_OF_SRGB)),
        }
    }

    /// Cube roots of the cone signals of a linear sRGB colour.
    #[inline(always)]
    fn roots(&self, c: [f32; 3]) -> [f32; 3] {
        let [l, m, s] = rows(&self.lms_of_srgb, c);
        [num::cbrt(l), num::cbrt(m), num::cbrt(s)]
    }

    /// Oklab lightness of a linear sRGB colour.
    #[inline(always)]
    pub fn lightness(&self, c: [f32; 3]) -> f32 {
        let [l, m, s] = self.roots(c);
        let row = self.lab_of_roots[0];
        row[0] * l + row[1] * m + row[2] * s
    }

    /// The colour with a and b times `factor`; lightness and hue stay.
    #[inline(always)]
    pub fn saturate(&self, c: [f32; 3], factor: f32) -> [f32; 3] {
        let [l, a, b] = rows(&self.lab_of_roots, self.roots(c));
        let [l, m, s] = rows(&self.roots_of_lab, [l, a * factor, b * factor]);
        rows(&self.srgb_of_lms, [l * l * l, m * m * m, s * s * s])
    }
}

impl Default for PixelOklab {
    fn default() -> Self {
        Self::new()
    }
}

/// Rounds a matrix to single precision.
pub fn narrow(matrix: &Matrix) -> [[f32; 3]; 3] {
    matrix.map(|row| row.map(|value| value as f32))
}

/// Matrix times column for one pixel.
#[inline(always)]
pub fn rows(m: &[[f32; 3]; 3], [a, b, c]: [f32; 3]) -> [f32; 3] {
    [
        m[0][0] * a + m[0][1] * b + m[0][2] * c,
        m[1][0] * a + m[1][1] * b + m[1][2] * c,
        m[2][0] * a + m[2][1] * b + m[2][2] * c,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn primaries_have_their_published_coordinates() {
        // CSS Color 4's reference values for the sRGB primaries.
        let published = [
            ([1.0, 0.0, 0.0], [0.627_96, 0.257_68, 29.234]),
            ([0.0, 1.0, 0.0], [0.866_44, 0.294_83, 142.495]),
            ([0.0, 0.0, 1.0], [0.452_01, 0.313_21, 264.052]),
        ];
        for (rgb, [l, c, h]) in published {
            let computed = oklch(rgb);
            assert!((computed[0] - l).abs() < 1e-4, "{computed:?}");
            assert!((computed[1] - c).abs() < 1e-4, "{computed:?}");
            assert!((computed[2] - h).abs() < 3e-2, "{computed:?}");
        }
    }

    #[test]
    fn pixels_agree_with_the_library() {
        let pixel = PixelOklab::new();
        for rgb in [
            [0.2, 0.5, 0.9],
            [1.0, 0.001, 0.0],
            [-0.3, 0.8, 0.2],
            [1e-6, 2e-6, 0.0],
        ] {
            let [l, c, h] = oklch(rgb);
            let narrow = rgb.map(|v| v as f32);
            assert!((f64::from(pixel.lightness(narrow)) - l).abs() < 1e-5);
            let half = linear_srgb_of_oklch([l, c * 0.5, h]);
            for (a, b) in pixel.saturate(narrow, 0.5).iter().zip(half) {
                assert!((f64::from(*a) - b).abs() < 3e-6, "{a} {b}");
            }
        }
    }
}
