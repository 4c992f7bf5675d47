//! Stored samples to physical values.
//!
//! ```text
//! physical = BZERO + BSCALE * stored        (FITS standard 4.0, section 4.4.2.5)
//! ```
//!
//! computed in double precision and rounded once to f32. `BLANK` is compared
//! with the stored integer; it, NaN, infinities and values beyond the range of
//! f32 become NaN. Numbers too small for the normal range keep their value.

/// What one stored sample is; all are big-endian.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stored {
    U8,
    I16,
    I32,
    I64,
    F32,
    F64,
}

impl Stored {
    /// By the value of BITPIX.
    pub fn from_bitpix(bitpix: i64) -> Option<Self> {
        Some(match bitpix {
            8 => Self::U8,
            16 => Self::I16,
            32 => Self::I32,
            64 => Self::I64,
            -32 => Self::F32,
            -64 => Self::F64,
            _ => return None,
        })
    }

    /// Bytes of one sample.
    pub fn bytes(self) -> usize {
        match self {
            Self::U8 => 1,
            Self::I16 => 2,
            Self::I32 | Self::F32 => 4,
            Self::I64 | Self::F64 => 8,
        }
    }

    /// Whether it is a floating-point type.
    pub fn is_float(self) -> bool {
        matches!(self, Self::F32 | Self::F64)
    }
}

/// How samples are stored and what they mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Coding {
    /// The type.
    pub stored: Stored,
    /// BSCALE.
    pub scale: f64,
    /// BZERO.
    pub zero: f64,
    /// BLANK, for integers.
    pub blank: Option<i64>,
}

/// 2^63, the BZERO of unsigned 64-bit integers.
const HALF_U64: f64 = 9_223_372_036_854_775_808.0;

impl Coding {
    /// Fills `out` from `out.len()` stored samples.
    pub fn decode(&self, bytes: &[u8], out: &mut [f32]) {
        match self.stored {
            Stored::U8 => self.integers(bytes, out, u8::from_be_bytes, f64::from, f32::from),
            Stored::I16 => {
                self.integers(bytes, out, i16::from_be_bytes, f64::from, f32::from);
            }
            Stored::I32 => self.integers(bytes, out, i32::from_be_bytes, f64::from, |v| v as f32),
            // Flipping the sign bit adds 2^63 without loss.
            Stored::I64 if self.scale == 1.0 && self.zero == HALF_U64 => {
                let blank = self.blank;
                each(bytes, out, |raw| {
                    let stored = i64::from_be_bytes(raw);
                    let value = (stored.cast_unsigned() ^ (1 << 63)) as f32;
                    if blank == Some(stored) {
                        f32::NAN
                    } else {
                        value
                    }
                });
            }
            Stored::I64 => {
                self.integers(bytes, out, i64::from_be_bytes, |v| v as f64, |v| v as f32);
            }
            Stored::F32 if self.is_unscaled() => {
                each(bytes, out, |raw| {
                    finite(f32::from_bits(u32::from_be_bytes(raw)))
                });
            }
            Stored::F32 => {
                let (scale, zero) = (self.scale, self.zero);
                each(bytes, out, |raw| {
                    finite((f64::from(f32::from_be_bytes(raw)) * scale + zero) as f32)
                });
            }
            Stored::F64 if self.is_unscaled() => {
                each(bytes, out, |raw| finite(f64::from_be_bytes(raw) as f32));
            }
            Stored::F64 => {
                let (scale, zero) = (self.scale, self.zero);
                each(bytes, out, |raw| {
                    finite((f64::from_be_bytes(raw) * scale + zero) as f32)
                });
            }
        }
    }

    fn is_unscaled(&self) -> bool {
        self.scale == 1.0 && self.zero == 0.0
    }

    /// Integers of one type: `wide` for the scaling, `direct` where there is none.
    fn integers<const N: usize, T: Copy + PartialEq + TryFrom<i64>>(
        &self,
        bytes: &[u8],
        out: &mut [f32],
        read: impl Fn([u8; N]) -> T,
        wide: impl Fn(T) -> f64,
        direct: impl Fn(T) -> f32,
    ) {
        let (scale, zero) = (self.scale, self.zero);
        let scaled = |v: T| finite((wide(v) * scale + zero) as f32);
        // A BLANK outside the type's range matches nothing.
        let blank = self.blank.and_then(|blank| T::try_from(blank).ok());
        match (blank, self.is_unscaled()) {
            (None, true) => each(bytes, out, |raw| direct(read(raw))),
            (None, false) => each(bytes, out, |raw| scaled(read(raw))),
            (Some(blank), unscaled) => each(bytes, out, |raw| {
                let stored = read(raw);
                let value = if unscaled {
                    direct(stored)
                } else {
                    scaled(stored)
                };
                if stored == blank { f32::NAN } else { value }
            }),
        }
    }
}

/// One value out of every `N` bytes, in a form that compiles to vector code.
fn each<const N: usize>(bytes: &[u8], out: &mut [f32], value: impl Fn([u8; N]) -> f32) {
    let (samples, _) = bytes.as_chunks::<N>();
    for (out, raw) in out.iter_mut().zip(samples) {
        *out = value(*raw);
    }
}

/// The value itself, or NaN for an infinity.
fn finite(value: f32) -> f32 {
    if value.is_finite() { value } else { f32::NAN }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(coding: Coding, bytes: &[u8]) -> Vec<f32> {
        let mut out = vec![-1.0; bytes.len() / coding.stored.bytes()];
        coding.decode(bytes, &mut out);
        out
    }

    fn plain(stored: Stored) -> Coding {
        Coding {
            stored,
            scale: 1.0,
            zero: 0.0,
            blank: None,
        }
    }

    /// The worked example: BLANK -32768, BSCALE 0.5, BZERO 10.
    #[test]
    fn blank_is_compared_before_scaling() {
        let coding = Coding {
            scale: 0.5,
            zero: 10.0,
            blank: Some(-32768),
            ..plain(Stored::I16)
        };
        let values = decoded(coding, &[0, 1, 0, 2, 0x80, 0]);
        assert_eq!(values[..2], [10.5, 11.0]);
        assert!(values[2].is_nan());
    }

    #[test]
    fn unsigned_integers_come_by_their_zero() {
        let u16s = Coding {
            zero: 32768.0,
            ..plain(Stored::I16)
        };
        assert_eq!(
            decoded(u16s, &[0x80, 0, 0x7f, 0xff, 0, 0]),
            [0.0, 65535.0, 32768.0]
        );
        let i8s = Coding {
            zero: -128.0,
            ..plain(Stored::U8)
        };
        assert_eq!(decoded(i8s, &[0, 128, 255]), [-128.0, 0.0, 127.0]);
        let u64s = Coding {
            zero: HALF_U64,
            ..plain(Stored::I64)
        };
        let bytes = [i64::MIN.to_be_bytes(), (i64::MIN + 77).to_be_bytes()].concat();
        assert_eq!(decoded(u64s, &bytes), [0.0, 77.0]);
    }

    #[test]
    fn nothing_infinite_comes_out() {
        let bytes: Vec<u8> = [f32::INFINITY, f32::NEG_INFINITY, f32::NAN, f32::MAX, -0.5]
            .iter()
            .flat_map(|v| v.to_be_bytes())
            .collect();
        let values = decoded(plain(Stored::F32), &bytes);
        assert!(values[..3].iter().all(|v| v.is_nan()));
        assert_eq!(values[3..], [f32::MAX, -0.5]);
        let scaled = decoded(
            Coding {
                scale: 4.0,
                ..plain(Stored::F32)
            },
            &bytes,
        );
        assert!(scaled[..4].iter().all(|v| v.is_nan()));
        assert!(decoded(plain(Stored::F64), &1e300_f64.to_be_bytes())[0].is_nan());
    }

    #[test]
    fn a_blank_out_of_range_matches_nothing() {
        let coding = Coding {
            blank: Some(-1),
            ..plain(Stored::U8)
        };
        assert_eq!(decoded(coding, &[0, 255]), [0.0, 255.0]);
    }
}
