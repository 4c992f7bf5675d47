//! Transfer functions: between light and the code values that stand for it.

use crate::engine::num::{self, exact};

/// sRGB decoding (IEC 61966-2-1), extended to negative numbers as an odd
/// function: code value to linear light, in double precision.
pub fn srgb_decode_exact(y: f64) -> f64 {
    let size = y.abs();
    let light = if size <= 0.04045 {
        size / 12.92
    } else {
        exact::pow((size + 0.055) / 1.055, 2.4)
    };
    light.copysign(y)
}

/// sRGB encoding (IEC 61966-2-1), extended as an odd function: linear light to
/// code value, in double precision.
pub fn srgb_encode_exact(light: f64) -> f64 {
    let size = light.abs();
    let code = if size <= 0.003_130_8 {
        size * 12.92
    } else {
        1.055 * exact::pow(size, 1.0 / 2.4) - 0.055
    };
    code.copysign(light)
}

/// sRGB decoding of a pixel, odd: code value to linear light.
#[inline(always)]
pub fn srgb_decode(y: f32) -> f32 {
    let size = y.abs();
    let low = size * (1.0 / 12.92);
    let high = num::exp2(2.4 * num::log2((size + 0.055) * (1.0 / 1.055)));
    let light = if size <= 0.04045 { low } else { high };
    if y < 0.0 { -light } else { light }
}

// s^0.8 for s = sqrt((y + 0.055) / 1.055), y in 0.04045..1, lowest first.
// `tests/support/fit_transfer.py` makes these; error below 7e-8 of a code 0..1.
const DECODE_TERMS: [f32; 8] = [
    2.871_209_2e-2,
    1.421_425,
    -1.223_646_9,
    1.866_557_7,
    -2.100_764_7,
    1.535_756_1,
    -6.467_750_4e-1,
    1.187_359_9e-1,
];

// 1.055 u^(5/3) - 0.055 for u = x^(1/4), x in 0.0031308..1, lowest first.
// `tests/support/fit_transfer.py` makes these; error below 8e-8.
const ENCODE_TERMS: [f32; 9] = [
    -5.771_829_2e-2,
    1.114_586_4e-1,
    1.546_336,
    -1.482_259,
    1.965_437_3,
    -1.981_209,
    1.332_190_6,
    -5.260_365_3e-1,
    9.180_034_4e-2,
];

/// sRGB decoding of a tone in 0..1 (no other values): half the work of
/// [`srgb_decode`], by x^2.4 = x^2 * sqrt(x)^0.8 with a polynomial for the
/// last factor.
#[inline(always)]
pub fn srgb_decode_tone(y: f32) -> f32 {
    let x = (y + 0.055) * (1.0 / 1.055);
    let s = x.sqrt();
    let x2 = x * x;
    let t = DECODE_TERMS;
    let low = (t[0] + t[1] * s) + (t[2] + t[3] * s) * x;
    let high = (t[4] + t[5] * s) + (t[6] + t[7] * s) * x;
    let power = x2 * (low + x2 * high);
    if y <= 0.04045 {
        y * (1.0 / 12.92)
    } else {
        power
    }
}

/// sRGB encoding of a pixel in 0..1 (no other values), by a polynomial in the
/// fourth root.
#[inline(always)]
pub fn srgb_encode(light: f32) -> f32 {
    let v = light.sqrt();
    let u = v.sqrt();
    let t = ENCODE_TERMS;
    let low = (t[0] + t[1] * u) + (t[2] + t[3] * u) * v;
    let mid = (t[4] + t[5] * u) + (t[6] + t[7] * u) * v;
    let high = low + light * (mid + t[8] * light);
    if light <= 0.003_130_8 {
        light * 12.92
    } else {
        high
    }
}

// BT.2020 at full precision: the two pieces meet in value and slope.
const REC2020_ALPHA: f32 = 1.099_296_8;
const REC2020_BETA: f32 = 0.018_053_97;

/// BT.2020 encoding (ITU-R BT.2020-2) of a pixel in 0..1.
#[inline(always)]
pub fn rec2020_encode(light: f32) -> f32 {
    let safe = if light > 0.018 { light } else { 0.018 };
    let high = REC2020_ALPHA * num::exp2(0.45 * num::log2(safe)) - (REC2020_ALPHA - 1.0);
    if light < REC2020_BETA {
        light * 4.5
    } else {
        high
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pixel_functions_follow_the_standard() {
        let mut worst = [0.0_f64; 4];
        for step in 0..=100_000 {
            let x = f64::from(step) / 100_000.0;
            let pixel = x as f32;
            let x = f64::from(pixel);
            worst[0] = worst[0].max((f64::from(srgb_decode(pixel)) - srgb_decode_exact(x)).abs());
            worst[1] = worst[1].max((f64::from(srgb_encode(pixel)) - srgb_encode_exact(x)).abs());
            let slope = 1.055 / 2.4 * libm::pow(srgb_decode_exact(x), 1.0 / 2.4 - 1.0);
            let error = f64::from(srgb_decode_tone(pixel)) - srgb_decode_exact(x);
            // In code values, as an error is worth less in bright light.
            worst[3] = worst[3].max(error.abs() * slope.min(12.92));
            let truth = if x < 0.018_053_968_510_807 {
                4.5 * x
            } else {
                1.099_296_826_809_44 * libm::pow(x, 0.45) - 0.099_296_826_809_44
            };
            worst[2] = worst[2].max((f64::from(rec2020_encode(pixel)) - truth).abs());
        }
        // A code of 16 bits is 1.5e-5: all three stay within a thirtieth of it, as
        // does decoding a tone, counted in codes.
        assert!(worst.iter().all(|&worst| worst < 5e-7), "{worst:?}");
    }

    #[test]
    fn the_ends_of_the_scale_are_met() {
        for (pixel, truth) in [(0.0, 0.0), (1.0, 1.0)] {
            assert!((srgb_decode_tone(pixel) - truth).abs() < 3e-7);
            assert!((srgb_encode(pixel) - truth).abs() < 3e-7);
        }
    }

    #[test]
    fn decoding_is_odd_and_inverts_encoding() {
        assert_eq!(srgb_decode(-0.5), -srgb_decode(0.5));
        for light in [0.0, 0.001, 0.003_130_8, 0.18, 1.0] {
            assert!((srgb_decode_exact(srgb_encode_exact(light)) - light).abs() < 1e-7);
        }
    }
}
