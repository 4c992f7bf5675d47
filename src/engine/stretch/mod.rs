//! From file units to a tone: black and white points, a shape, a curve.
//!
//! ```text
//! t = clamp((v - black) / (white - black), 0, 1)
//! y = curve(shape(t))
//! ```
//!
//! A tone is display-referred: 0..1 in sRGB's encoding. No data gives tone 0.

pub mod auto;

pub mod curve;

pub mod edit;

use curve::Curve;

use super::num::{self, Block, LANES, exact};
use super::recipe::{Shape, Stretch};

/// A stretch that is ready to run.
#[derive(Debug, Clone)]
pub struct Prepared {
    black: f64,
    scale: f64,
    // The same in single precision, where that is precise enough.
    narrow: Option<Narrow>,
    shape: Shape,
    amount: f64,
    kernel: Kernel,
    curve: Option<Curve>,
    // The steepest part of the chain shape-then-curve is too steep for single
    // precision in between, or the shape's parameter is extreme.
    in_double: bool,
}

// Black in two parts, so that the difference to it is as precise as the value
// is, and the scale.
#[derive(Debug, Clone, Copy)]
struct Narrow {
    black: f32,
    black_rest: f32,
    scale: f32,
}

impl Narrow {
    fn new(black: f64, scale: f64) -> Option<Self> {
        let sound = black.abs() < 1e30 && (1e-30..1e30).contains(&scale.abs());
        sound.then(|| Self {
            black: black as f32,
            black_rest: (black - f64::from(black as f32)) as f32,
            scale: scale as f32,
        })
    }
}

// The shape's constants in single precision.
#[derive(Debug, Clone, Copy)]
enum Kernel {
    Linear,
    Asinh { amount: f32, scale: f32 },
    Log { amount: f32, scale: f32 },
    Power { amount: f32 },
    // y = t / (a + b (1 - t)) with small b, or t / (a' + b' t): whichever form
    // has no cancellation.
    BiasLow { k: f32 },
    BiasHigh { at_black: f32, slope: f32 },
}

impl Prepared {
    /// Sets a checked stretch up.
    pub fn new(stretch: &Stretch) -> Self {
        let amount = stretch.amount.unwrap_or(1.0);
        let kernel = match stretch.shape {
            Shape::Linear => Kernel::Linear,
            // asinh x = ln 2 log2(x + sqrt(x^2 + 1)): ln 2 goes into the scale.
            Shape::Asinh => Kernel::Asinh {
                amount: amount as f32,
                scale: (std::f64::consts::LN_2 / exact::asinh(amount)) as f32,
            },
            Shape::Log => Kernel::Log {
                amount: amount as f32,
                scale: (std::f64::consts::LN_2 / exact::ln_1p(amount)) as f32,
            },
            Shape::Power => Kernel::Power {
                amount: amount as f32,
            },
            Shape::Bias if amount < 0.5 => Kernel::BiasLow {
                k: (1.0 / amount - 2.0) as f32,
            },
            Shape::Bias => Kernel::BiasHigh {
                at_black: (1.0 / amount - 1.0) as f32,
                slope: (2.0 - 1.0 / amount) as f32,
            },
        };
        let tame = match stretch.shape {
            Shape::Linear => true,
            Shape::Asinh | Shape::Log => (0.05..=1e15).contains(&amount),
            Shape::Power => (0.02..=20.0).contains(&amount),
            Shape::Bias => amount >= 0.06,
        };
        let curve = stretch.curve.as_deref().map(Curve::through);
        // A steep curve enlarges the shape's rounding; with a small amount asinh
        // and log have more of it.
        let bearable = match stretch.shape {
            Shape::Asinh | Shape::Log => 12.0 * amount.min(1.0),
            _ => 12.0,
        };
        let gentle = curve
            .as_ref()
            .is_none_or(|curve| curve.steepest() <= bearable);
        // Three roundings instead of one: no matter for a shape that does not
        // enlarge the relative error of its argument.
        let bears = matches!(stretch.shape, Shape::Linear | Shape::Asinh | Shape::Log);
        let scale = 1.0 / (stretch.white - stretch.black);
        Self {
            black: stretch.black,
            scale,
            narrow: Narrow::new(stretch.black, scale).filter(|_| bears && curve.is_none()),
            shape: stretch.shape,
            amount,
            kernel,
            curve,
            in_double: !(tame && gentle),
        }
    }

    /// The tone of one value in file units, in double precision.
    pub fn tone(&self, value: f64) -> f64 {
        if value.is_nan() {
            return 0.0;
        }
        let t = ((value - self.black) * self.scale).clamp(0.0, 1.0);
        let y = shape_exact(self.shape, self.amount, t);
        self.curve.as_ref().map_or(y, |curve| curve.at(y))
    }

    /// Tones of a block of values in file units; NaN gives 0.
    #[inline(always)]
    pub fn tones(&self, values: &Block, tones: &mut Block) {
        if self.in_double {
            self.tones_in_double(values, tones);
            return;
        }
        if let Some(narrow) = self.narrow {
            for i in 0..LANES {
                // Near black, where it matters, the first difference is exact.
                let above = (values[i] - narrow.black) - narrow.black_rest;
                tones[i] = at_most_one(at_least_zero(above * narrow.scale));
            }
        } else {
            for i in 0..LANES {
                // The difference is taken in double precision: black may be
                // large beside the range.
                let t = ((f64::from(values[i]) - self.black) * self.scale) as f32;
                tones[i] = at_most_one(at_least_zero(t));
            }
        }
        match self.kernel {
            Kernel::Linear => {}
            Kernel::Asinh { amount, scale } => {
                for tone in tones.iter_mut() {
                    let x = amount * *tone;
                    *tone = at_most_one(scale * num::log2(x + (x * x + 1.0).sqrt()));
                }
            }
            Kernel::Log { amount, scale } => {
                for tone in tones.iter_mut() {
                    *tone = at_most_one(scale * num::log2(1.0 + amount * *tone));
                }
            }
            Kernel::Power { amount } => {
                for tone in tones.iter_mut() {
                    *tone = at_most_one(num::pow(*tone, amount));
                }
            }
            Kernel::BiasLow { k } => {
                for tone in tones.iter_mut() {
                    *tone /= k * (1.0 - *tone) + 1.0;
                }
            }
            Kernel::BiasHigh { at_black, slope } => {
                for tone in tones.iter_mut() {
                    *tone = at_most_one(*tone / (at_black + slope * *tone));
                }
            }
        }
        if let Some(curve) = &self.curve {
            for (tone, value) in tones.iter_mut().zip(values) {
                let y = curve.at(f64::from(*tone)) as f32;
                *tone = if value.is_nan() { 0.0 } else { y };
            }
        }
    }

    #[inline(never)]
    fn tones_in_double(&self, values: &Block, tones: &mut Block) {
        for (tone, value) in tones.iter_mut().zip(values) {
            *tone = self.tone(f64::from(*value)) as f32;
        }
    }
}

/// NaN becomes 0.
#[inline(always)]
fn at_least_zero(t: f32) -> f32 {
    if t > 0.0 { t } else { 0.0 }
}

#[inline(always)]
fn at_most_one(y: f32) -> f32 {
    if y < 1.0 { y } else { 1.0 }
}

/// The shape at t in 0..1, in double precision.
pub fn shape_exact(shape: Shape, amount: f64, t: f64) -> f64 {
    match shape {
        Shape::Linear => t,
        Shape::Asinh => exact::asinh(amount * t) / exact::asinh(amount),
        Shape::Log => exact::ln_1p(amount * t) / exact::ln_1p(amount),
        Shape::Power => exact::pow(t, amount),
        // The same twice, each without cancellation at its end.
        Shape::Bias if amount < 0.5 => t / ((1.0 / amount - 2.0) * (1.0 - t) + 1.0),
        Shape::Bias => t / ((1.0 / amount - 1.0) + (2.0 - 1.0 / amount) * t),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stretch(shape: Shape, amount: f64, curve: Option<Vec<[f64; 2]>>) -> Stretch {
        Stretch {
            black: 100.0,
            white: 1100.0,
            shape,
            amount: Some(amount),
            curve,
        }
    }

    #[test]
    fn blocks_follow_the_formulas() {
        let shapes = [
            (Shape::Linear, vec![1.0]),
            (Shape::Asinh, vec![1e-4, 0.05, 1.0, 80.0, 5e3, 1e9, 1e20]),
            (Shape::Log, vec![1e-4, 0.05, 1.0, 100.0, 1e6, 1e20]),
            (Shape::Power, vec![0.01, 0.2, 0.4545, 1.0, 2.2, 19.0, 60.0]),
            (Shape::Bias, vec![0.001, 0.06, 0.3, 0.5, 0.7, 0.98, 0.9999]),
        ];
        for (shape, amounts) in shapes {
            for amount in amounts {
                let plain = stretch(shape, amount, None);
                let prepared = Prepared::new(&plain);
                let mut worst = 0.0_f64;
                for start in 0..200 {
                    let values: Block =
                        std::array::from_fn(|i| 90.0 + (start * LANES + i) as f32 * 0.08);
                    let mut tones = [0.0; LANES];
                    prepared.tones(&values, &mut tones);
                    for (value, tone) in values.iter().zip(tones) {
                        let t = ((f64::from(*value) - 100.0) / 1000.0).clamp(0.0, 1.0);
                        let truth = shape_exact(shape, amount, t);
                        worst = worst.max((f64::from(tone) - truth).abs());
                    }
                }
                // A fifth of a 16-bit code.
                assert!(worst < 3e-6, "{shape:?} {amount}: {worst}");
            }
        }
    }

    #[test]
    fn ends_are_met_and_no_data_is_dark() {
        for shape in [
            Shape::Linear,
            Shape::Asinh,
            Shape::Log,
            Shape::Power,
            Shape::Bias,
        ] {
            let curve = Some(vec![[0.0, 0.2], [1.0, 0.9]]);
            for (curve, low, high) in [(None, 0.0, 1.0), (curve, 0.2, 0.9)] {
                let prepared = Prepared::new(&stretch(shape, 0.4, curve));
                let mut values = [1100.0; LANES];
                values[0] = f32::NAN;
                values[1] = 100.0;
                values[2] = -1e30;
                values[3] = 1e30;
                let mut tones = [0.0; LANES];
                prepared.tones(&values, &mut tones);
                assert_eq!(tones[0], 0.0, "{shape:?}: no data");
                for (tone, wanted) in tones[1..5].iter().zip([low, low, high, high]) {
                    assert!(
                        (tone - wanted).abs() < 3e-7 && *tone <= 1.0,
                        "{shape:?}: {tone}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_narrow_range_far_from_zero_keeps_its_precision() {
        let narrow = Stretch {
            black: 1000.1,
            white: 1000.6,
            shape: Shape::Linear,
            amount: None,
            curve: None,
        };
        let mut tones = [0.0; LANES];
        Prepared::new(&narrow).tones(&[1000.25; LANES], &mut tones);
        assert!((f64::from(tones[0]) - 0.3).abs() < 1e-6, "{}", tones[0]);
    }
}
