//! Changes to a stretch, one at a time: whatever goes in, what comes out of
//! here is a stretch that a recipe may hold.

pub mod points;

use super::{Prepared, shape_exact};
use crate::engine::measure::{Histogram, Levels};
use crate::engine::recipe::{Shape, Stretch};

/// Black and white lie apart by this share of the larger of them at least.
const LEAST_SPAN: f64 = 1e-6;

/// Numbers are kept to this share of the span that they divide.
const KEPT: i32 = 4;

/// The amounts of a shape that are of use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Amounts {
    /// The least.
    pub low: f64,
    /// The most.
    pub high: f64,
    /// One to start from.
    pub start: f64,
    /// Whether they run over so many powers of ten that a scale should follow
    /// their logarithm.
    pub wide: bool,
}

/// The useful amounts of a shape; None for `linear`, which has none.
pub fn amounts(shape: Shape) -> Option<Amounts> {
    let range = |low, high, start, wide| {
        Some(Amounts {
            low,
            high,
            start,
            wide,
        })
    };
    match shape {
        Shape::Linear => None,
        Shape::Asinh => range(0.1, 1e5, 100.0, true),
        Shape::Log => range(0.1, 1e6, 300.0, true),
        Shape::Power => range(0.05, 5.0, 0.45, true),
        Shape::Bias => range(0.01, 0.99, 0.85, false),
    }
}

/// The tone over the scale of a histogram: `steps + 1` points from position
/// `from` to position `to`, each (position, tone), and the corners at black and
/// white among them, so that a line through them is true.
pub fn sampled(
    stretch: &Stretch,
    histogram: &Histogram,
    [from, to]: [f64; 2],
    steps: u32,
) -> Vec<[f64; 2]> {
    let prepared = Prepared::new(stretch);
    let mut positions: Vec<f64> = (0..=steps)
        .map(|step| from + (to - from) * f64::from(step) / f64::from(steps.max(1)))
        .chain([stretch.black, stretch.white].map(|value| histogram.position(value)))
        .filter(|position| (from..=to).contains(position))
        .collect();
    positions.sort_by(f64::total_cmp);
    positions
        .into_iter()
        .map(|position| [position, prepared.tone(histogram.value(position))])
        .collect()
}

/// With another black point, below white.
pub fn with_black(stretch: &Stretch, black: f64) -> Stretch {
    let black = rounded(black, stretch.white - black);
    let highest = stretch.white - least_span(stretch.white);
    Stretch {
        black: if black.is_finite() {
            black.min(highest)
        } else {
            stretch.black
        },
        ..stretch.clone()
    }
}

/// With another white point, above black.
pub fn with_white(stretch: &Stretch, white: f64) -> Stretch {
    let white = rounded(white, white - stretch.black);
    let lowest = stretch.black + least_span(stretch.black);
    Stretch {
        white: if white.is_finite() {
            white.max(lowest)
        } else {
            stretch.white
        },
        ..stretch.clone()
    }
}

/// With another amount, brought to where the shape is defined.
pub fn with_amount(stretch: &Stretch, amount: f64) -> Stretch {
    let Some(range) = amounts(stretch.shape).filter(|_| amount.is_finite()) else {
        return stretch.clone();
    };
    let amount = match stretch.shape {
        Shape::Bias => amount.clamp(range.low, range.high),
        _ => amount.clamp(1e-6, 1e12),
    };
    Stretch {
        amount: Some(rounded(amount, amount)),
        ..stretch.clone()
    }
}

/// With another shape, whose amount gives the value `keep` (file units; the sky,
/// say) the tone that the old shape gave it, as near as useful amounts come.
/// From `linear` on, or where `keep` is not between black and white, the amount
/// is the one to start from.
pub fn with_shape(stretch: &Stretch, shape: Shape, keep: Option<f64>) -> Stretch {
    if shape == stretch.shape {
        return stretch.clone();
    }
    let amount = amounts(shape).map(|range| {
        let t = keep
            .map(|value| (value - stretch.black) / (stretch.white - stretch.black))
            .filter(|t| *t > 0.0 && *t < 1.0 && stretch.shape != Shape::Linear);
        t.map_or(range.start, |t| {
            let tone = shape_exact(stretch.shape, stretch.amount.unwrap_or(1.0), t);
            let amount = amount_for(shape, range, t, tone);
            rounded(amount, amount)
        })
    });
    Stretch {
        shape,
        amount,
        ..stretch.clone()
    }
}

/// The same look for another channel: shape, amount and curve as they are,
/// black and white as far from its sky, in sigma of its noise, as they lie in
/// the channel it comes from. None where either has no noise to count by.
pub fn carried_over(stretch: &Stretch, from: &Levels, to: &Levels) -> Option<Stretch> {
    let scale = to.noise / from.noise;
    if !(from.noise > 0.0 && scale > 0.0 && scale.is_finite()) {
        return None;
    }
    let carried = |value: f64| to.sky + (value - from.sky) * scale;
    let (black, white) = (carried(stretch.black), carried(stretch.white));
    let black = rounded(black, white - black);
    let like_it = Stretch {
        black,
        ..stretch.clone()
    };
    black
        .is_finite()
        .then(|| with_white(&like_it, white))
        .filter(|carried| carried.white.is_finite())
}

/// `value` as a short decimal, about one part in 10^4 of `span` away at most.
pub fn rounded(value: f64, span: f64) -> f64 {
    let Some(exponent) = exponent(span) else {
        return value;
    };
    format!("1e{exponent}")
        .parse::<f64>()
        .ok()
        .map(|step| libm::round(value / step))
        // Beyond 2^53 the steps are finer than the number itself.
        .filter(|steps| steps.abs() < 9e15)
        .and_then(|steps| format!("{}e{exponent}", steps as i64).parse().ok())
        .unwrap_or(value)
}

/// How many decimals show `value`s that divide `span`, 0 to 12.
pub fn decimals(span: f64) -> usize {
    exponent(span).map_or(3, |exponent| {
        usize::try_from(-exponent).unwrap_or(0).min(12)
    })
}

fn exponent(span: f64) -> Option<i32> {
    let span = span.abs();
    (span > 0.0 && span.is_finite()).then(|| libm::floor(libm::log10(span)) as i32 - KEPT)
}

fn least_span(beside: f64) -> f64 {
    (beside.abs() * LEAST_SPAN).max(1e-9)
}

// Tones rise with the amount of every shape but `power`, where they fall.
fn amount_for(shape: Shape, range: Amounts, t: f64, tone: f64) -> f64 {
    let (mut low, mut high) = (range.low, range.high);
    for _ in 0..80 {
        let middle = f64::sqrt(low * high);
        let below = shape_exact(shape, middle, t) < tone;
        if below == (shape != Shape::Power) {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::sqrt(low * high)
}

#[cfg(test)]
mod tests;
