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

/// sRGB encoding of a pixel in 0..1.
#[inline(always)]
pub fn srgb_encode(light: f32) -> f32 {
    let safe = if light > 0.003 { light } else { 0.003 };
    let high = 1.055 * num::exp2((1.0 / 2.4) * num::log2(safe)) - 0.055;
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
        let mut worst = [0.0_f64; 3];
        for step in 0..=100_000 {
            let x = f64::from(step) / 100_000.0;
            let pixel = x as f32;
            let x = f64::from(pixel);
            worst[0] = worst[0].max((f64::from(srgb_decode(pixel)) - srgb_decode_exact(x)).abs());
            worst[1] = worst[1].max((f64::from(srgb_encode(pixel)) - srgb_encode_exact(x)).abs());
            let truth = if x < 0.018_053_968_510_807 {
                4.5 * x
            } else {
                1.099_296_826_809_44 * libm::pow(x, 0.45) - 0.099_296_826_809_44
            };
            worst[2] = worst[2].max((f64::from(rec2020_encode(pixel)) - truth).abs());
        }
        // A code of 16 bits is 1.5e-5: all three stay within a thirtieth of it.
        assert!(worst.iter().all(|&worst| worst < 5e-7), "{worst:?}");
    }

    #[test]
    fn decoding_is_odd_and_inverts_encoding() {
        assert_eq!(srgb_decode(-0.5), -srgb_decode(0.5));
        for light in [0.0, 0.001, 0.003_130_8, 0.18, 1.0] {
            assert!((srgb_decode_exact(srgb_encode_exact(light)) - light).abs() < 1e-7);
        }
    }
}
