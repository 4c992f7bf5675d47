//! One row of packed samples becomes one row of `f32`.
//!
//! Rows hold `texels * samples` values of 1 to 64 bits. Depths of 8, 16, 32 and
//! 64 bits follow the byte order; all others are packed from the most
//! significant bit on, whatever the byte order (TIFF 6.0, BitsPerSample and
//! FillOrder; PNG, section 7.2).

use crate::io::read::{SampleKind, SampleType};

/// What was done to a row before it was packed (TIFF 6.0, section 14, and
/// TIFF Technical Note 3).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Predictor {
    /// Nothing.
    None,
    /// Each value is the difference from the one to its left, same sample.
    Horizontal,
    /// Bytes of floats sorted by significance, then differences of bytes.
    Float,
}

/// How a row is laid out and which of its samples is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RowLayout {
    /// Bits and kind of each sample.
    pub sample: SampleType,
    /// Least significant byte first.
    pub little_endian: bool,
    /// Pixels in the packed row (of a tile: with its padding).
    pub texels: usize,
    /// Samples of one pixel in the row.
    pub samples: usize,
    /// The wanted one, from 0.
    pub wanted: usize,
    /// What must be undone.
    pub predictor: Predictor,
}

impl RowLayout {
    /// Whether this kind of sample can be read at all.
    pub fn is_known(&self) -> bool {
        let bits = self.sample.bits;
        let depth = match self.sample.kind {
            SampleKind::Unsigned | SampleKind::Signed => {
                matches!(bits, 1..=32 | 64)
            }
            SampleKind::Float => matches!(bits, 16 | 32 | 64),
        };
        depth && (self.predictor != Predictor::Float || self.sample.kind == SampleKind::Float)
    }

    /// Bytes of one packed row; None beyond 64 bits.
    pub fn row_bytes(&self) -> Option<u64> {
        (self.texels as u64)
            .checked_mul(self.samples as u64)?
            .checked_mul(u64::from(self.sample.bits))
            .map(|bits| bits.div_ceil(8))
    }

    /// Decodes the first `out.len()` pixels of `row`, which is `row_bytes` long
    /// and may be changed. Integers are rounded to the nearest `f32`;
    /// infinities and what lies beyond the range of `f32` become NaN.
    pub fn decode(&self, row: &mut [u8], out: &mut [f32]) {
        if self.predictor == Predictor::Float {
            self.decode_sorted_bytes(row, out);
            return;
        }
        use SampleKind::{Float, Signed, Unsigned};
        match (self.sample.kind, self.sample.bits) {
            (Unsigned, 8) => self.words(row, out, |[b]: [u8; 1]| b, f32::from),
            (Signed, 8) => self.words(row, out, |[b]: [u8; 1]| b, |v| f32::from(v as i8)),
            (kind, 16) => match (kind, self.little_endian) {
                (Unsigned, true) => self.words(row, out, u16::from_le_bytes, f32::from),
                (Unsigned, false) => self.words(row, out, u16::from_be_bytes, f32::from),
                (Signed, true) => self.words(row, out, u16::from_le_bytes, |v| f32::from(v as i16)),
                (Signed, false) => {
                    self.words(row, out, u16::from_be_bytes, |v| f32::from(v as i16));
                }
                (Float, true) => self.words(row, out, u16::from_le_bytes, half),
                (Float, false) => self.words(row, out, u16::from_be_bytes, half),
            },
            (kind, 32) => match (kind, self.little_endian) {
                (Unsigned, true) => self.words(row, out, u32::from_le_bytes, |v| v as f32),
                (Unsigned, false) => self.words(row, out, u32::from_be_bytes, |v| v as f32),
                (Signed, true) => self.words(row, out, u32::from_le_bytes, |v| v as i32 as f32),
                (Signed, false) => self.words(row, out, u32::from_be_bytes, |v| v as i32 as f32),
                (Float, true) => self.words(row, out, u32::from_le_bytes, single),
                (Float, false) => self.words(row, out, u32::from_be_bytes, single),
            },
            (kind, 64) => match (kind, self.little_endian) {
                (Unsigned, true) => self.words(row, out, u64::from_le_bytes, |v| v as f32),
                (Unsigned, false) => self.words(row, out, u64::from_be_bytes, |v| v as f32),
                (Signed, true) => self.words(row, out, u64::from_le_bytes, |v| v as i64 as f32),
                (Signed, false) => self.words(row, out, u64::from_be_bytes, |v| v as i64 as f32),
                (Float, true) => self.words(row, out, u64::from_le_bytes, double),
                (Float, false) => self.words(row, out, u64::from_be_bytes, double),
            },
            _ => self.decode_bits(row, out),
        }
    }

    /// Whole words of `N` bytes.
    #[inline(always)]
    fn words<const N: usize, W: Word>(
        &self,
        row: &[u8],
        out: &mut [f32],
        word: impl Fn([u8; N]) -> W,
        value: impl Fn(W) -> f32,
    ) {
        let (words, _) = row.as_chunks::<N>();
        let wanted = words.iter().skip(self.wanted).step_by(self.samples);
        if self.predictor == Predictor::Horizontal {
            let mut sum = W::ZERO;
            for (out, bytes) in out.iter_mut().zip(wanted) {
                sum = sum.plus(word(*bytes));
                *out = value(sum);
            }
        } else if self.samples == 1 {
            for (out, bytes) in out.iter_mut().zip(words) {
                *out = value(word(*bytes));
            }
        } else {
            for (out, bytes) in out.iter_mut().zip(wanted) {
                *out = value(word(*bytes));
            }
        }
    }

    /// Integers of any number of bits up to 32.
    fn decode_bits(&self, row: &[u8], out: &mut [f32]) {
        let bits = usize::from(self.sample.bits);
        let mask = (1_u64 << bits) - 1;
        let mut sum = 0;
        for (texel, out) in out.iter_mut().enumerate() {
            let first = (texel * self.samples + self.wanted) * bits;
            let mut value = self.bits_at(row, first, bits);
            if self.predictor == Predictor::Horizontal {
                sum = (sum + value) & mask;
                value = sum;
            }
            *out = match self.sample.kind {
                SampleKind::Signed if value >> (bits - 1) == 1 => {
                    (value as i64 - (1_i64 << bits)) as f32
                }
                _ => value as f32,
            };
        }
    }

    /// The integer in `bits` bits from bit `first` on.
    fn bits_at(&self, row: &[u8], first: usize, bits: usize) -> u64 {
        let bytes = row
            .get(first / 8..(first + bits).div_ceil(8))
            .unwrap_or(&[]);
        let value = bytes
            .iter()
            .fold(0, |value, byte| value << 8 | u64::from(*byte));
        let below = bytes.len() * 8 - (first % 8 + bits).min(bytes.len() * 8);
        (value >> below) & ((1 << bits) - 1)
    }

    /// Floats under the floating point predictor. The sorted bytes are most
    /// significant first whatever the byte order.
    fn decode_sorted_bytes(&self, row: &mut [u8], out: &mut [f32]) {
        for index in self.samples..row.len() {
            row[index] = row[index].wrapping_add(row[index - self.samples]);
        }
        let values = self.texels * self.samples;
        let byte = |part: usize, index: usize| row.get(part * values + index).copied().unwrap_or(0);
        for (texel, out) in out.iter_mut().enumerate() {
            let index = texel * self.samples + self.wanted;
            *out = match self.sample.bits {
                16 => half(u16::from_be_bytes([byte(0, index), byte(1, index)])),
                32 => single(u32::from_be_bytes(std::array::from_fn(|part| {
                    byte(part, index)
                }))),
                _ => double(u64::from_be_bytes(std::array::from_fn(|part| {
                    byte(part, index)
                }))),
            };
        }
    }
}

/// An unsigned integer that wraps.
trait Word: Copy {
    const ZERO: Self;
    fn plus(self, other: Self) -> Self;
}

macro_rules! word {
    ($($kind:ty),*) => {$(
        impl Word for $kind {
            const ZERO: Self = 0;
            #[inline(always)]
            fn plus(self, other: Self) -> Self { self.wrapping_add(other) }
        }
    )*};
}
word!(u8, u16, u32, u64);

/// NaN for all that is not finite.
#[inline(always)]
fn finite(value: f32) -> f32 {
    if value.is_finite() { value } else { f32::NAN }
}

/// The bits of an IEEE 754 binary32.
#[inline(always)]
fn single(bits: u32) -> f32 {
    finite(f32::from_bits(bits))
}

/// The bits of an IEEE 754 binary64, rounded.
#[inline(always)]
fn double(bits: u64) -> f32 {
    finite(f64::from_bits(bits) as f32)
}

/// The bits of an IEEE 754 binary16; all of them are exact in binary32.
#[inline(always)]
fn half(bits: u16) -> f32 {
    let sign = if bits >> 15 == 0 { 1.0 } else { -1.0 };
    let exponent = u32::from(bits >> 10 & 0x1f);
    let fraction = u32::from(bits & 0x3ff);
    match exponent {
        0 => sign * fraction as f32 / 16_777_216.0,
        31 => f32::NAN,
        _ => sign * f32::from_bits((exponent + 112) << 23 | fraction << 13),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layout(bits: u8, kind: SampleKind, texels: usize, samples: usize) -> RowLayout {
        RowLayout {
            sample: SampleType { bits, kind },
            little_endian: true,
            texels,
            samples,
            wanted: 0,
            predictor: Predictor::None,
        }
    }

    fn decode(layout: RowLayout, row: &[u8]) -> Vec<f32> {
        let mut out = vec![-1.0; layout.texels];
        layout.decode(&mut row.to_vec(), &mut out);
        out
    }

    #[test]
    fn halves_follow_ieee_754() {
        // Table of binary16 values: IEEE 754-2019, 3.4 and 3.6.
        let cases = [
            (0x0000, 0.0),
            (0x8000, -0.0),
            (0x0001, 5.960_464_5e-8),
            (0x03ff, 6.097_555e-5),
            (0x0400, 6.103_515_6e-5),
            (0x3555, 0.333_251_95),
            (0x3c00, 1.0),
            (0xc000, -2.0),
            (0x7bff, 65504.0),
        ];
        for (bits, value) in cases {
            assert_eq!(half(bits).to_bits(), f32::to_bits(value), "{bits:#06x}");
        }
        assert!(half(0x7c00).is_nan() && half(0xfc00).is_nan() && half(0x7e00).is_nan());
    }

    #[test]
    fn odd_depths_are_packed_from_the_top_bit() {
        use SampleKind::{Signed, Unsigned};
        assert_eq!(
            decode(layout(1, Unsigned, 3, 1), &[0b1010_0000]),
            [1.0, 0.0, 1.0]
        );
        assert_eq!(
            decode(layout(4, Unsigned, 3, 1), &[0x1f, 0x80]),
            [1.0, 15.0, 8.0]
        );
        assert_eq!(
            decode(layout(4, Signed, 3, 1), &[0x1f, 0x80]),
            [1.0, -1.0, -8.0]
        );
        assert_eq!(
            decode(layout(12, Unsigned, 3, 1), &[0x12, 0x3f, 0xff, 0x80, 0x00]),
            [291.0, 4095.0, 2048.0]
        );
        let second = RowLayout {
            wanted: 1,
            ..layout(12, Unsigned, 1, 2)
        };
        assert_eq!(decode(second, &[0x12, 0x3f, 0xff]), [4095.0]);
        assert_eq!(decode(layout(24, Unsigned, 1, 1), &[1, 2, 3]), [66_051.0]);
    }

    #[test]
    fn differences_are_summed_for_the_wanted_sample_alone() {
        let two = RowLayout {
            predictor: Predictor::Horizontal,
            wanted: 1,
            ..layout(8, SampleKind::Unsigned, 3, 2)
        };
        assert_eq!(decode(two, &[9, 250, 9, 10, 9, 1]), [250.0, 4.0, 5.0]);
        let twelve = RowLayout {
            predictor: Predictor::Horizontal,
            ..layout(12, SampleKind::Unsigned, 2, 1)
        };
        assert_eq!(decode(twelve, &[0xff, 0xf0, 0x02]), [4095.0, 1.0]);
    }

    #[test]
    fn what_is_not_finite_is_no_data() {
        let mut row = Vec::new();
        for value in [1.5_f64, f64::INFINITY, 1e300, f64::NAN] {
            row.extend(value.to_le_bytes());
        }
        let out = decode(layout(64, SampleKind::Float, 4, 1), &row);
        assert_eq!(out[0], 1.5);
        assert!(out[1..].iter().all(|value| value.is_nan()));
    }

    #[test]
    fn large_integers_round_to_nearest() {
        let row: Vec<u8> = [16_777_217_u32, 16_777_219, u32::MAX]
            .iter()
            .flat_map(|v| v.to_le_bytes())
            .collect();
        let out = decode(layout(32, SampleKind::Unsigned, 3, 1), &row);
        assert_eq!(out, [16_777_216.0, 16_777_220.0, 4_294_967_296.0]);
    }

    #[test]
    fn sorted_bytes_are_put_together_again() {
        // 1.0 is 3f800000 and -2.0 is c0000000; sorted 3f c0 | 80 00 | 00 00 | 00 00.
        let sorted = [0x3f_u8, 0xc0, 0x80, 0x00, 0x00, 0x00, 0x00, 0x00];
        let mut row = sorted;
        for index in (1..row.len()).rev() {
            row[index] = sorted[index].wrapping_sub(sorted[index - 1]);
        }
        let layout = RowLayout {
            predictor: Predictor::Float,
            ..layout(32, SampleKind::Float, 2, 1)
        };
        assert_eq!(decode(layout, &row), [1.0, -2.0]);
    }
}
