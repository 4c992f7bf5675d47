//! A stretch to start from, chosen from what a stack holds.
//!
//! The sky becomes a dark tone that is still a tone, so that what is faint
//! lies above it and the noise below it is not cut off; the shape is the
//! inverse hyperbolic sine of Lupton, Gunn & Szalay (1999, AJ 118, 1406),
//! linear for what is faint and logarithmic for what is bright.

use crate::engine::measure::{Levels, Survey};
use crate::engine::recipe::{Shape, Stretch};

/// The tone of the sky.
pub const SKY_TONE: f64 = 0.10;

/// At most this share of the valid pixels may lie below black: 0.5 %, of which
/// a fifth is kept for what a sample may miss.
const BELOW_BLACK: f64 = 0.004;

/// At most this share of the valid pixels may lie above white: 0.1 %, of which
/// three tenths are kept for what a sample may miss.
const ABOVE_WHITE: f64 = 0.0007;

/// Black lies so many sigma of the noise below the sky, if that is lower than
/// what [`BELOW_BLACK`] asks for: a normal sky loses 0.13 % of its pixels.
const NOISE_BELOW_SKY: f64 = 3.0;

/// The sky's part of the way from black to white, at least. Less would need an
/// amount beyond any use.
const LEAST_SKY: f64 = 1e-4;

/// Significant figures of the numbers in the recipe, counted from the span
/// that they divide.
const FIGURES: i32 = 5;

/// Why no stretch could be chosen.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum AutoError {
    /// There is nothing to look at.
    #[error("no pixel holds data: all are missing or part of an empty border")]
    NoData,
    /// There is nothing to tell apart.
    #[error("every pixel is {0}: there is nothing to stretch")]
    Constant(f64),
}

impl AutoError {
    /// What to do about it.
    pub fn hint(self) -> &'static str {
        match self {
            Self::NoData => "check that this is the stack itself, and that the right plane is read",
            Self::Constant(_) => {
                "check that this is the stack itself, or write black and white by hand"
            }
        }
    }
}

/// Chooses a stretch such that
///
/// - the sky comes to a tone of [`SKY_TONE`], within 0.02,
/// - at most 0.5 % of the valid pixels lie below black,
/// - at most 0.1 % of the valid pixels lie above white.
///
/// The sky is the clipped median of the survey; where the plain median is near
/// it (no nebula to speak of), the middle of the two.
///
/// ```text
/// black = the lower of sky - 3 noise and the 0.4 % quantile, or lower still
///         where sky and plain median lie apart
/// white = the 99.93 % quantile
/// asinh(a t) / asinh(a) = 0.10      t = (sky - black) / (white - black)
/// ```
///
/// solved for the amount `a` by bisection. Where `t` is 0.10 or more, as in
/// fields of noise alone, the shape is linear and white moves up until the sky
/// has its tone. Numbers are rounded, black down and white up, to what the
/// span between them needs.
///
/// # Errors
/// Where no pixel holds data, or all hold the same.
pub fn auto(survey: &Survey) -> Result<Stretch, AutoError> {
    let levels = survey.levels.ok_or(AutoError::NoData)?;
    if levels.min >= levels.max {
        return Err(AutoError::Constant(levels.min));
    }
    let low = ranked(survey.sample(), BELOW_BLACK);
    let high = ranked(survey.sample(), 1.0 - ABOVE_WHITE).max(levels.sky);

    let three_sigma = (levels.sky - NOISE_BELOW_SKY * levels.noise).max(levels.min);
    let room = room_below(&levels, high);
    let black = low.min(three_sigma).min(levels.sky - room);
    let black = rounded(black, levels.sky - black, Round::Down);
    let sky = levels.sky + glow(&levels) / 2.0;
    let white = rounded(high, (high - black).max(sky - black), Round::Up);

    let t = (sky - black) / (white - black);
    // Just below the sky's tone, straight is near enough.
    if t >= 0.98 * SKY_TONE {
        let span = (sky - black) / SKY_TONE;
        let white = rounded((black + span).max(high), span, Round::Up);
        return Ok(Stretch {
            black,
            white,
            shape: Shape::Linear,
            amount: None,
            curve: None,
        });
    }
    let amount = amount_for(t);
    Ok(Stretch {
        black,
        white,
        shape: Shape::Asinh,
        amount: Some(rounded(amount, amount, Round::Down)),
        curve: None,
    })
}

/// The sample at the share `q`: at most that share lies strictly below it, and
/// at most the rest strictly above.
fn ranked(sample: &[f32], q: f64) -> f64 {
    let last = sample.len().saturating_sub(1);
    // Rounded towards the nearer end, so that the smaller share holds exactly.
    let rank = if q < 0.5 {
        (q * sample.len() as f64) as usize
    } else {
        last - ((1.0 - q) * sample.len() as f64) as usize
    };
    sample
        .get(rank.min(last))
        .map_or(0.0, |value| f64::from(*value))
}

/// How far the plain median lies from the sky, where a glow or a gradient can
/// account for it rather than a nebula: then both are to become dark tones.
fn glow(levels: &Levels) -> f64 {
    let apart = levels.median - levels.sky;
    if apart.abs() <= 2.0 * levels.spread {
        apart
    } else {
        0.0
    }
}

/// How far black must lie below the sky at least: once the noise, where the
/// sky is itself the lowest value, as in data with a floor; far enough for sky
/// and plain median to lie within a sixth of the middle between them; and
/// never so near that the sky could have no tone at all.
fn room_below(levels: &Levels, high: f64) -> f64 {
    if high > levels.sky {
        (LEAST_SKY * (high - levels.sky))
            .max(levels.noise)
            .max(2.5 * glow(levels).abs())
    } else {
        // All but a few pixels are sky: a straight line up to the highest.
        let reach = (levels.max - levels.sky).max(levels.sky - levels.min);
        reach * SKY_TONE / (1.0 - SKY_TONE)
    }
}

/// The `a` with asinh(a t) / asinh(a) = [`SKY_TONE`], for t below it: the left
/// side rises from t to 1 as a does.
fn amount_for(t: f64) -> f64 {
    let (mut low, mut high) = (1e-3, 1e7);
    for _ in 0..100 {
        let middle = f64::sqrt(low * high);
        if libm::asinh(middle * t) < SKY_TONE * libm::asinh(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Round {
    Down,
    Up,
}

/// `value` as a short decimal, at most one part in 10^5 of `span` away.
fn rounded(value: f64, span: f64, round: Round) -> f64 {
    if !(span > 0.0 && span.is_finite()) {
        return value;
    }
    let exponent = libm::floor(libm::log10(span)) as i32 - FIGURES;
    let Ok(step) = format!("1e{exponent}").parse::<f64>() else {
        return value;
    };
    let steps = match round {
        Round::Down => libm::floor(value / step),
        Round::Up => libm::ceil(value / step),
    };
    // Beyond 2^53 the steps are finer than the number itself.
    if !(steps.abs() < 9e15 && step > 0.0) {
        return value;
    }
    let short = format!("{}e{exponent}", steps as i64)
        .parse()
        .unwrap_or(value);
    let on_the_right_side = match round {
        Round::Down => short <= value,
        Round::Up => short >= value,
    };
    if on_the_right_side { short } else { value }
}

#[cfg(test)]
mod tests;
