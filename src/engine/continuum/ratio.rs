//! How much of the broad channel's starlight is in the narrow one.

use std::ops::ControlFlow;

use super::{ContinuumError, Matched};
use crate::engine::align::stars::Stars;
use crate::engine::balance::photometry::{Field, Refusal, Table, count, table};
use crate::engine::balance::robust;

/// Least stars for a ratio.
pub const LEAST_STARS: usize = 8;

/// Least signal to noise of a star in each channel.
pub const LEAST_SNR: f64 = 10.0;

/// Beyond so many sigma a star is an outlier.
const CLIP: f64 = 2.5;

/// Spread of a star when the commonest ratio is sought, natural logarithm.
const SMOOTH: f64 = 0.05;

/// The ratio of starlight, narrow over broad.
#[derive(Debug, Clone, PartialEq)]
pub struct Ratio {
    /// The factor.
    pub k: f64,
    /// Its standard error.
    pub error: f64,
    /// Standard deviation of the stars about it, as a share of it.
    pub scatter: f64,
    /// Stars that took part.
    pub used: usize,
    /// Stars that did not, most frequent reason first.
    pub refused: Vec<(Refusal, usize)>,
}

/// Compares the stars that the narrow channel shows in both channels: where the
/// logarithms of their ratios lie densest, then the weighted mean about that
/// place, outliers of 2.5 sigma left out on both sides. Stars with emission
/// lines and very red ones are a minority on one side; they do not pull.
///
/// `narrow` and `broad` are the channels as they stand, with the stars found
/// there; `matched` is what became of them in
/// [`match_widths`](super::match_widths). Light is taken from the matched rows,
/// in both within the common width. What is full, and how large the noise is,
/// is told by the rows as they stand: a blurred top is no longer full, and
/// neighbours in a blurred sky share their noise.
///
/// # Errors
/// [`ContinuumError`]: sizes differ, too few stars, all saturated.
pub fn ratio(
    narrow: Field<'_>,
    broad: Field<'_>,
    matched: &Matched,
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Ratio, ContinuumError> {
    let sizes = [matched.narrow.size(), matched.broad.size()];
    if sizes[0] != sizes[1] {
        return Err(ContinuumError::Sizes {
            narrow: sizes[0],
            broad: sizes[1],
        });
    }
    let table = compared(narrow, broad, matched, tick)?;
    let too_few = |used: usize, refused: Vec<(Refusal, usize)>| match refused.as_slice() {
        [(Refusal::Saturated, stars)] | [(Refusal::Saturated, stars), (Refusal::Faint, _)]
            if used == 0 =>
        {
            ContinuumError::AllSaturated { stars: *stars }
        }
        _ => ContinuumError::TooFewStars {
            used,
            needed: LEAST_STARS,
            refused,
        },
    };
    if table.stars.len() < LEAST_STARS {
        return Err(too_few(table.stars.len(), table.reasons()));
    }
    let (mut logs, mut errors) = (Vec::new(), Vec::new());
    for star in &table.stars {
        let [a, b] = [star.flux[0], star.flux[1]];
        let (x, y) = (1.0 / a.snr(), 1.0 / b.snr());
        logs.push(libm::log(a.light / b.light));
        errors.push((x * x + y * y).sqrt());
    }
    let start = robust::mode(&logs, &errors, SMOOTH);
    let mean =
        robust::mean(&logs, &errors, CLIP, start).ok_or_else(|| too_few(0, table.reasons()))?;
    let used = mean.kept.iter().filter(|keep| **keep).count();
    let outliers = std::iter::repeat_n(Refusal::Outlier, mean.kept.len() - used);
    let refused = count(table.refused.iter().map(|(_, why)| *why).chain(outliers));
    if used < LEAST_STARS {
        return Err(too_few(used, refused));
    }
    let k = libm::exp(mean.value);
    Ok(Ratio {
        k,
        error: k * mean.error,
        scatter: mean.scatter,
        used,
        refused,
    })
}

/// The stars of the narrow channel, narrow and broad, each light with the
/// error that it has before blurring.
fn compared(
    narrow: Field<'_>,
    broad: Field<'_>,
    matched: &Matched,
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Table, ContinuumError> {
    let Some(fwhm_px) = matched.fwhm_px else {
        return Ok(table(&[narrow, broad], 0, LEAST_SNR, tick)?);
    };
    let [own, theirs] = [narrow, broad].map(|field| Stars {
        fwhm_px: Some(fwhm_px),
        ..field.stars.clone()
    });
    let field = |rows, stars| Field { rows, stars };
    let (blurred, sharp) = if matched.narrow_blur_px2 > 0.0 {
        (0, field(narrow.rows, &own))
    } else {
        (1, field(broad.rows, &theirs))
    };
    let fields = [
        field(&*matched.narrow, &own),
        field(&*matched.broad, &theirs),
        sharp,
    ];
    let mut table = table(&fields, 0, LEAST_SNR, tick)?;
    for star in &mut table.stars {
        star.flux[blurred].error = star.flux[2].error;
    }
    Ok(table)
}
