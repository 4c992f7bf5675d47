//! Finished light becomes code values: the space's transfer function, then
//! `code = floor(x * max + 0.5)`. Float output keeps linear light.

use super::color::space::Space;
use super::color::transfer::{rec2020_encode, srgb_encode};
use super::finish::gamut::clip;
use super::mix::LightBlock;
use super::num::LANES;

/// Encodes a block in place: linear light of `space` to 0..1 in its encoding.
#[inline(always)]
pub fn encode(light: &mut LightBlock, space: Space) {
    for component in light.iter_mut() {
        match space {
            Space::Srgb | Space::DisplayP3 => {
                for value in component.iter_mut() {
                    *value = srgb_encode(clip(*value));
                }
            }
            Space::Rec2020 => {
                for value in component.iter_mut() {
                    *value = rec2020_encode(clip(*value));
                }
            }
        }
    }
}

/// Code values 0..max of encoded components, interleaved R G B. `out` holds
/// three samples for each pixel, at most [`LANES`] pixels.
#[inline(always)]
pub fn quantise_u16(encoded: &LightBlock, out: &mut [u16]) {
    let mut codes = [[0_u16; LANES]; 3];
    for component in 0..3 {
        for i in 0..LANES {
            codes[component][i] = whole(encoded[component][i] * 65535.0 + 0.5) as u16;
        }
    }
    for (i, pixel) in out.chunks_exact_mut(3).enumerate() {
        pixel[0] = codes[0][i];
        pixel[1] = codes[1][i];
        pixel[2] = codes[2][i];
    }
}

/// As [`quantise_u16`], for 0..255.
#[inline(always)]
pub fn quantise_u8(encoded: &LightBlock, out: &mut [u8]) {
    let mut codes = [[0_u8; LANES]; 3];
    for component in 0..3 {
        for i in 0..LANES {
            codes[component][i] = whole(encoded[component][i] * 255.0 + 0.5) as u8;
        }
    }
    for (i, pixel) in out.chunks_exact_mut(3).enumerate() {
        pixel[0] = codes[0][i];
        pixel[1] = codes[1][i];
        pixel[2] = codes[2][i];
    }
}

/// sRGB codes 0..255 of linear light, one sample each.
pub fn srgb_codes(light: &[f32], out: &mut [u8]) {
    let level = fearless_simd::Level::new();
    fearless_simd::dispatch!(level, _simd => srgb_codes_of(light, out));
}

#[inline(always)]
fn srgb_codes_of(light: &[f32], out: &mut [u8]) {
    for (value, code) in light.iter().zip(out) {
        *code = (srgb_encode(clip(*value)) * 255.0 + 0.5) as i32 as u8;
    }
}

// The whole part of a number in 0..2^22. Rust's own conversion also looks for
// NaN and for what lies out of range, which costs several times the rest of
// this file; neither comes here. Adding 2^23 rounds to whole numbers, and the
// whole number stands in the lowest bits then.
#[inline(always)]
fn whole(x: f32) -> u32 {
    const ROUND: f32 = 8_388_608.0;
    let shifted = x + ROUND;
    let above = if shifted - ROUND > x { 1 } else { 0 };
    shifted.to_bits().wrapping_sub(above)
}

/// Linear light as it is, interleaved R G B.
#[inline(always)]
pub fn interleave(light: &LightBlock, out: &mut [f32]) {
    for (i, pixel) in out.chunks_exact_mut(3).enumerate() {
        pixel[0] = light[0][i];
        pixel[1] = light[1][i];
        pixel[2] = light[2][i];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_rounded_to_nearest_and_clamped() {
        let mut light = [[0.0; LANES]; 3];
        light[0][0] = 1.0;
        light[1][0] = 7.0;
        light[2][0] = -3.0;
        light[0][1] = 0.214_041_14; // E(0.5)
        light[1][1] = f32::NAN;
        light[2][1] = 0.001;
        encode(&mut light, Space::Srgb);
        let mut wide = [0_u16; 6];
        quantise_u16(&light, &mut wide);
        // 0.001 * 12.92 * 65535 = 846.7
        assert_eq!(wide, [65535, 65535, 0, 32768, 0, 847]);
        let mut narrow = [0_u8; 6];
        quantise_u8(&light, &mut narrow);
        assert_eq!(narrow, [255, 255, 0, 128, 0, 3]);
    }

    #[test]
    fn whole_parts_are_cut_off() {
        let mut x = 0.0_f32;
        while x < 70_000.0 {
            for x in [x, x.next_up(), x.next_down().max(0.0)] {
                assert_eq!(whole(x) & 0x3f_ffff, x as u32, "{x}");
            }
            x += 0.125;
        }
    }

    #[test]
    fn rec2020_has_its_own_curve() {
        let mut light = [[0.01; LANES]; 3];
        encode(&mut light, Space::Rec2020);
        assert!((light[0][0] - 0.045).abs() < 1e-7);
    }
}
