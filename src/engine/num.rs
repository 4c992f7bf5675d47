//! Every transcendental function that pixels or their set-up go through.
//!
//! The standard library gives no fixed precision for `powf`, `ln` and their
//! kin, so two machines may differ in the last bit. Here a set-up value comes
//! from the `libm` crate, and a pixel from the polynomials below: additions,
//! multiplications, divisions and square roots only, which IEEE 754 rounds
//! alike everywhere, and no fused multiply-add. Blocks have a fixed length, so
//! that plain loops become vector code at whatever width the machine has, with
//! the same bits at every width.

/// Pixels that are worked on together.
pub const LANES: usize = 256;

/// One component of [`LANES`] pixels.
pub type Block = [f32; LANES];

/// Set-up arithmetic in double precision: the same bits on every machine.
pub mod exact {
    /// Natural logarithm of 1 + x.
    pub fn ln_1p(x: f64) -> f64 {
        libm::log1p(x)
    }

    /// Inverse hyperbolic sine, accurate for small arguments too.
    pub fn asinh(x: f64) -> f64 {
        libm::asinh(x)
    }

    /// x to the power y.
    pub fn pow(x: f64, y: f64) -> f64 {
        libm::pow(x, y)
    }

    /// Cube root, sign kept.
    pub fn cbrt(x: f64) -> f64 {
        libm::cbrt(x)
    }

    /// Angle of the point (x, y) in degrees, 0..360.
    pub fn angle_deg(y: f64, x: f64) -> f64 {
        let degrees = libm::atan2(y, x).to_degrees();
        if degrees < 0.0 {
            degrees + 360.0
        } else {
            degrees
        }
    }
}

// log2(1 + f) / f for f in [-1/3, 1/3), lowest first; relative error below 1e-8.
const LOG2_TERMS: [f32; 9] = [
    1.442_695_1,
    -0.721_345_54,
    0.480_890_65,
    -0.360_843_74,
    0.288_896_4,
    -0.235_947_66,
    0.199_488_89,
    -0.226_145_22,
    0.212_265_22,
];

// 2^f for f in [-1/2, 1/2], lowest first; relative error below 3e-9.
const EXP2_TERMS: [f32; 7] = [
    1.0,
    std::f32::consts::LN_2,
    0.240_226_47,
    0.055_503_29,
    0.009_618_489,
    0.001_339_993_1,
    0.000_153_458_12,
];

/// Binary logarithm of a positive, normal number.
#[inline(always)]
pub fn log2(x: f32) -> f32 {
    let bits = x.to_bits() as i32;
    let exponent = (bits - 0x3f2a_aaab) >> 23;
    let mantissa = f32::from_bits((bits - (exponent << 23)) as u32);
    let f = mantissa - 1.0;
    // Pairs, then pairs of pairs (Estrin): a short chain of dependent steps.
    let t = LOG2_TERMS;
    let f2 = f * f;
    let f4 = f2 * f2;
    let low = (t[0] + t[1] * f) + (t[2] + t[3] * f) * f2;
    let high = (t[4] + t[5] * f) + (t[6] + t[7] * f) * f2;
    let sum = low + f4 * (high + t[8] * f4);
    sum * f + exponent as f32
}

/// 2 to the power x, for x in -126..127; smaller arguments give 2^-126.
#[inline(always)]
pub fn exp2(x: f32) -> f32 {
    const ROUND: f32 = 12_582_912.0; // 1.5 * 2^23: adding it rounds to whole numbers
    let x = if x > -126.0 { x } else { -126.0 };
    let x = if x < 127.0 { x } else { 127.0 };
    let shifted = x + ROUND;
    let whole = shifted - ROUND;
    let f = x - whole;
    let t = EXP2_TERMS;
    let f2 = f * f;
    let low = (t[0] + t[1] * f) + (t[2] + t[3] * f) * f2;
    let sum = low + (f2 * f2) * ((t[4] + t[5] * f) + t[6] * f2);
    let scale = (shifted.to_bits() << 23).wrapping_add(0x3f80_0000);
    sum * f32::from_bits(scale)
}

/// x to the power y for x >= 0; 0 for x below 2^-126.
#[inline(always)]
pub fn pow(x: f32, y: f32) -> f32 {
    let safe = if x > f32::MIN_POSITIVE { x } else { 1.0 };
    let value = exp2(y * log2(safe));
    if x > f32::MIN_POSITIVE { value } else { 0.0 }
}

/// Cube root, sign kept; magnitudes below 1e-36 give 0.
#[inline(always)]
pub fn cbrt(x: f32) -> f32 {
    let size = x.abs();
    let safe = if size > 1e-36 { size } else { 1.0 };
    // A first guess within 4 %, from a third of the exponent; two Halley steps
    // then reach the last bit.
    let mut y = f32::from_bits((safe.to_bits() / 3).wrapping_add(0x2a51_2ce3));
    let cube = y * y * y;
    y *= (cube + 2.0 * safe) / (2.0 * cube + safe);
    let cube = y * y * y;
    y *= (cube + 2.0 * safe) / (2.0 * cube + safe);
    let root = if size > 1e-36 { y } else { 0.0 };
    if x < 0.0 { -root } else { root }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative or absolute distance, whichever is smaller.
    fn distance(value: f32, truth: f64) -> f64 {
        let difference = (f64::from(value) - truth).abs();
        difference.min(difference / truth.abs().max(1e-300))
    }

    #[test]
    fn pixel_functions_follow_libm() {
        let mut worst = [0.0_f64; 4];
        let mut x = 1e-7_f32;
        while x < 1e12 {
            worst[0] = worst[0].max(distance(log2(x), libm::log2(f64::from(x))));
            worst[1] = worst[1].max(distance(cbrt(x), libm::cbrt(f64::from(x))));
            x *= 1.001_7;
        }
        let mut x = -40.0_f32;
        while x < 40.0 {
            let truth = libm::exp2(f64::from(x));
            worst[2] = worst[2].max((f64::from(exp2(x)) - truth).abs() / truth);
            x += 0.003_7;
        }
        let mut x = 1e-4_f32;
        while x < 1.0 {
            worst[3] = worst[3].max(distance(pow(x, 2.4), libm::pow(f64::from(x), 2.4)));
            x += 0.000_17;
        }
        assert!(worst[0] < 3e-7, "log2 {}", worst[0]);
        assert!(worst[1] < 3e-7, "cbrt {}", worst[1]);
        assert!(worst[2] < 3e-7, "exp2 {}", worst[2]);
        assert!(worst[3] < 6e-7, "pow {}", worst[3]);
    }

    #[test]
    fn edges_hold() {
        assert_eq!(pow(0.0, 2.4), 0.0);
        assert_eq!(pow(1.0, 2.4), 1.0);
        assert_eq!(cbrt(0.0), 0.0);
        assert_eq!(cbrt(-8.0), -2.0);
        assert_eq!(cbrt(27.0), 3.0);
        assert_eq!(exp2(0.0), 1.0);
        assert_eq!(exp2(-500.0), f32::MIN_POSITIVE);
        assert_eq!(log2(1.0), 0.0);
    }
}
