//! Gains that make the mean star or one star neutral.

use std::ops::ControlFlow;

use super::photometry::{Measured, Refusal, Table, count, measure, table};
use super::{Balance, BalanceError, Broadband, Field, Gains, robust};

/// Least signal to noise of a star in each channel.
pub const LEAST_SNR: f64 = 20.0;

/// Least stars for a mean.
pub const LEAST_STARS: usize = 8;

/// A star is sought this many of its widths about the place pointed at, and at
/// least this many px.
const REACH: f64 = 2.0;

/// Beyond so many sigma a star is an outlier.
pub(super) const CLIP: f64 = 3.0;

/// Natural logarithms of red and blue over green with their errors.
pub(super) fn colors(star: &Measured) -> [[f64; 2]; 2] {
    let green = star.flux[1];
    [0, 2].map(|i| {
        let one = star.flux[i];
        let (a, b) = (1.0 / one.snr(), 1.0 / green.snr());
        [libm::log(one.light / green.light), (a * a + b * b).sqrt()]
    })
}

/// The robust means of red and blue offsets; a star that is an outlier in one
/// is none in the other either. Returns both means and what is kept.
pub(super) fn both(values: &[[[f64; 2]; 2]]) -> Option<([robust::Mean; 2], Vec<bool>)> {
    let mut kept = vec![true; values.len()];
    let mut means = None;
    for _ in 0..5 {
        let of = |i: usize| {
            let part = |k: usize| -> Vec<f64> {
                let stars = values.iter().zip(&kept).filter(|(_, keep)| **keep);
                stars.map(|(value, _)| value[i][k]).collect()
            };
            robust::mean(&part(0), &part(1), CLIP, None)
        };
        let pair = [of(0)?, of(1)?];
        let before = kept.iter().filter(|keep| **keep).count();
        for (at, keep) in kept.iter_mut().filter(|keep| **keep).enumerate() {
            *keep = pair[0].kept[at] && pair[1].kept[at];
        }
        means = Some(pair);
        if kept.iter().filter(|keep| **keep).count() == before {
            break;
        }
    }
    means.map(|means| (means, kept))
}

/// All stars of the three channels, or why there are too few.
pub(super) fn stars(
    fields: &[Field<'_>; 3],
    needed: usize,
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Table, BalanceError> {
    let table = table(fields, 1, LEAST_SNR, tick)?;
    if table.stars.len() < needed {
        return Err(too_few(table.stars.len(), needed, table.reasons()));
    }
    Ok(table)
}

pub(super) fn too_few(used: usize, needed: usize, refused: Vec<(Refusal, usize)>) -> BalanceError {
    match refused.as_slice() {
        [(Refusal::Saturated, stars)] | [(Refusal::Saturated, stars), (Refusal::Faint, _)]
            if used == 0 =>
        {
            BalanceError::AllSaturated { stars: *stars }
        }
        _ => BalanceError::TooFewStars {
            used,
            needed,
            refused,
        },
    }
}

/// The mean star becomes neutral: gains from the mean colours (means of the
/// logarithms, as magnitudes are) of the stars that are neither saturated nor
/// blended and have a signal to noise of `LEAST_SNR` in each channel,
/// weighted by their errors and their scatter, outliers of 3 sigma left out.
///
/// # Errors
/// [`BalanceError`].
pub fn by_stars(
    channels: &Broadband<'_>,
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Balance, BalanceError> {
    let fields = channels.complete()?;
    let table = stars(&fields, LEAST_STARS, tick)?;
    let values: Vec<_> = table.stars.iter().map(colors).collect();
    finish(&table, &values, -1.0, LEAST_STARS, None)
}

/// Gains from offsets in logarithms; `sign` tells whether they are those of the
/// gains (1) or of the stars (-1).
pub(super) fn finish(
    table: &Table,
    values: &[[[f64; 2]; 2]],
    sign: f64,
    needed: usize,
    moved_px: Option<f64>,
) -> Result<Balance, BalanceError> {
    let none = || too_few(values.len(), needed, table.reasons());
    let ([red, blue], kept) = both(values).ok_or_else(none)?;
    let used = kept.iter().filter(|keep| **keep).count();
    let outliers = std::iter::repeat_n(Refusal::Outlier, kept.len() - used);
    let refused = count(table.refused.iter().map(|(_, why)| *why).chain(outliers));
    if used < needed {
        return Err(too_few(used, needed, refused));
    }
    Ok(Balance {
        gains: Gains::from_logs(
            [sign * red.value, red.error],
            [sign * blue.value, blue.error],
        ),
        used,
        refused,
        scatter: [red.scatter, blue.scatter],
        moved_px,
    })
}

/// The star at a place (px on the common grid) becomes neutral: the nearest one
/// that green shows within two star widths.
///
/// # Errors
/// [`BalanceError::NoStar`], [`BalanceError::StarRefused`] and those of the
/// channels.
pub fn by_star(channels: &Broadband<'_>, place: [f64; 2]) -> Result<Balance, BalanceError> {
    let fields = channels.complete()?;
    let listed = fields[1].stars;
    let reach_px = (REACH * listed.fwhm_px.unwrap_or(3.0)).max(4.0);
    let apart = |x: f64, y: f64| {
        let (u, v) = (x - place[0], y - place[1]);
        (u * u + v * v).sqrt()
    };
    let nearest = listed
        .stars
        .iter()
        .filter(|star| apart(star.x, star.y) <= reach_px)
        .min_by(|a, b| apart(a.x, a.y).total_cmp(&apart(b.x, b.y)))
        .ok_or(BalanceError::NoStar { place, reach_px })?;
    let place = [nearest.x, nearest.y];
    let refused = |why| BalanceError::StarRefused { place, why };
    if nearest.saturated {
        return Err(refused(Refusal::Saturated));
    }
    let mut flux = Vec::with_capacity(3);
    for field in &fields {
        let found = measure(field, &[place], &mut |_| ControlFlow::Continue(()))?;
        flux.push(found[0].map_err(refused)?);
    }
    if flux.iter().any(|one| one.snr() < LEAST_SNR) {
        return Err(refused(Refusal::Faint));
    }
    let [red, blue] = colors(&Measured { place, flux });
    Ok(Balance {
        gains: Gains::from_logs([-red[0], red[1]], [-blue[0], blue[1]]),
        used: 1,
        refused: Vec::new(),
        scatter: [0.0; 2],
        moved_px: None,
    })
}
