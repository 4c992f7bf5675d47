//! What the other channels of a field say of one channel's stars.
//!
//! A star shines in every channel, and its heights in two of them have much the
//! same ratio as those of the field's other stars.

use rayon::prelude::*;

use super::beside::Cells;
use super::fit::{Hint, Spot};
use super::measure::{Found, Survey};
use super::noise::middle;
use super::together::Probe;
use crate::engine::frame::Size;

/// Stars that tell of the ratio of two channels stand out so many times their
/// error; and there are so many of them.
const CLEAR: f64 = 15.0;
const FEWEST: usize = 12;

/// Where fewer than this part of them lie where they lie in the other channel,
/// the two are not on one grid.
const ALIKE: f64 = 0.8;

/// The least spread of the ratios' logarithm; how much wider than the spread of
/// the middle two thirds it is taken; and how far from the middle no star is.
const SPREAD: f64 = 0.05;
const TAILS: f64 = 1.5;
const FARTHEST: f64 = 4.5;

/// A star of another channel counts here if it is so many times its error high.
const SURE: f64 = 6.0;

/// So many errors is a star missed at most, where it would have to show.
const HIDDEN: f64 = 7.5;

/// How much more a height errs at a place that was not searched for than at the
/// usual one.
const UNSOUGHT: f64 = 1.5;

/// Stars of two channels nearer to each other than this are one, in widths; those
/// that are at most so far tell whether the grids agree.
const SAME: f64 = 0.4;
const FAR: f64 = 1.5;

/// What the other channels say.
#[derive(Debug, Default)]
pub(super) struct Told {
    /// Of the stars, by their spot's number.
    pub hints: Vec<(u32, Hint)>,
    /// Of stars that are not known here.
    pub missing: Vec<([f64; 2], Hint)>,
    /// Spots that are no stars: they would have to show elsewhere.
    pub no_stars: Vec<u32>,
    /// The numbers of the channels that could say anything.
    pub by: Vec<usize>,
}

/// The logarithm of the ratio of two channels' heights.
#[derive(Debug, Clone, Copy)]
struct Ratio {
    log: f64,
    spread: f64,
}

/// Another channel, and how high stars are in the own one beside it.
struct Other<'a> {
    number: usize,
    found: &'a Found,
    ratio: Ratio,
    same_px: f64,
    /// What it has where the own stars are, in their order.
    probes: &'a [Probe],
}

impl Other<'_> {
    /// What a height there says of one here.
    fn hint(&self, height: f64, error: f64) -> Hint {
        let factor = libm::exp(self.ratio.log);
        let (height, error) = (factor * height, factor * error);
        let spread = TAILS * self.ratio.spread * height;
        Hint {
            height,
            error: (error * error + spread * spread).sqrt(),
            both: f64::INFINITY,
        }
    }

    fn twin(&self, place: [f64; 2]) -> Option<&Spot> {
        self.found.star(place, self.same_px)
    }

    /// What the twin of a place's star, if it is not cut off, says of one here.
    fn of_twin(&self, place: [f64; 2]) -> Option<Hint> {
        let twin = self.twin(place).filter(|twin| twin.plateau_px == 0.0)?;
        Some(self.hint(twin.height, self.found.error(twin)))
    }

    /// How low a star of this height here can be there, and the other way round.
    fn least(&self, height: f64, times: f64) -> f64 {
        height * libm::exp(times * self.ratio.log - FARTHEST * self.ratio.spread)
    }
}

/// What the others say of channel `own`: all must know what they have where its
/// stars are.
pub(super) fn told(own: usize, channels: &[Survey]) -> Told {
    let mut told = Told::default();
    let Some(found) = &channels[own].found else {
        return told;
    };
    let mut others = Vec::new();
    for (number, survey) in channels.iter().enumerate() {
        let (Some(other), Some(probes)) = (&survey.found, survey.probes.get(own)) else {
            continue;
        };
        if number == own {
            continue;
        }
        if let Some(ratio) = found.ratio(other) {
            others.push(Other {
                number,
                found: other,
                ratio,
                same_px: found.near(other, SAME),
                probes,
            });
        }
    }
    let numbers = &found.stars.numbers;
    let of_stars: Vec<_> = (0..numbers.len())
        .into_par_iter()
        .filter_map(|index| Some((numbers[index], of_star(found, &others, index)?)))
        .collect();
    for (star, (hint, is_star)) in of_stars {
        if is_star {
            told.hints.push((star, hint));
        } else {
            told.no_stars.push(star);
        }
    }
    told.by = others.iter().map(|other| other.number).collect();
    told.missing = missing(found, &others, &channels[own].probes, channels[own].size);
    told
}

/// The best word on the height of a star, and whether it is one.
fn of_star(found: &Found, others: &[Other<'_>], index: usize) -> Option<(Hint, bool)> {
    let spot = &found.known.spots[found.stars.numbers[index] as usize];
    if spot.plateau_px > 0.0 {
        return None;
    }
    let mut best: Option<Hint> = None;
    let (mut misses, mut shows) = (false, false);
    for other in others {
        let hint = if let Some(twin) = other.twin(spot.place) {
            let error = other.found.error(twin);
            shows |= twin.height > SURE * error;
            match other.of_twin(spot.place) {
                Some(hint) => hint,
                None => continue,
            }
        } else if let Some((height, error)) = other.probes[index].known() {
            misses |= other.least(spot.height, -1.0) > height + HIDDEN * error;
            other.hint(height, UNSOUGHT * error)
        } else {
            continue;
        };
        if hint.error < best.map_or(f64::INFINITY, |best| best.error) {
            best = Some(hint);
        }
    }
    Some((best?, shows || !misses))
}

/// Sure stars of the others that are not known here, the surest first. `here` is
/// what there is where theirs are.
fn missing(
    found: &Found,
    others: &[Other<'_>],
    here: &[Vec<Probe>],
    size: Size,
) -> Vec<([f64; 2], Hint)> {
    let mut all: Vec<(f64, [f64; 2], Hint)> = Vec::new();
    for other in others {
        let probes = here.get(other.number).map_or(&[][..], Vec::as_slice);
        for (star, probe) in other.found.stars.numbers.iter().zip(probes) {
            let spot = &other.found.known.spots[*star as usize];
            let error = other.found.error(spot);
            let sure = spot.plateau_px == 0.0 && spot.height > SURE * error;
            if !sure || found.star(spot.place, other.same_px).is_some() {
                continue;
            }
            let least = other.least(spot.height, 1.0);
            let misses = |(height, error)| least > height + HIDDEN * error;
            if probe.known().is_some_and(misses) {
                continue;
            }
            let thirds = others.iter().filter(|third| third.number != other.number);
            let hint = thirds.filter_map(|third| third.of_twin(spot.place)).fold(
                other.hint(spot.height, error),
                |best, hint| {
                    if hint.error < best.error { hint } else { best }
                },
            );
            let [x, y] = spot.place.map(|at| at as f32);
            if hint.height > f64::from(found.noise.at(x, y)) {
                all.push((spot.height / error, spot.place, hint));
            }
        }
    }
    all.sort_by(|a, b| {
        let places = a.1[1].total_cmp(&b.1[1]).then(a.1[0].total_cmp(&b.1[0]));
        b.0.total_cmp(&a.0).then(places)
    });
    // Of several at one place the first.
    let close = SAME * found.known.psf.fwhm_px;
    let cells = Cells::new(all.iter().map(|star| star.1).collect(), close, size);
    let mut kept: Vec<bool> = Vec::with_capacity(all.len());
    for (_, place, _) in &all {
        let mut near = cells.within(*place, close).into_iter();
        let first = !near.any(|(_, other)| kept.get(other as usize) == Some(&true));
        kept.push(first);
    }
    let stars = all.into_iter().zip(kept).filter(|(_, kept)| *kept);
    stars.map(|((_, place, hint), _)| (place, hint)).collect()
}

impl Found {
    /// The error of a star's height, file units.
    fn error(&self, spot: &Spot) -> f64 {
        let below = self.known.below.as_ref();
        let way = below.and_then(|below| below.best(spot.place, spot.height));
        way.map_or(f64::INFINITY, |way| way.error)
    }

    fn star(&self, place: [f64; 2], distance_px: f64) -> Option<&Spot> {
        let number = self.stars.within(place, distance_px).next()?;
        Some(&self.known.spots[number])
    }

    fn near(&self, other: &Self, widths: f64) -> f64 {
        widths * self.known.psf.fwhm_px.max(other.known.psf.fwhm_px)
    }

    /// How high this channel's stars are beside another's; none where too few
    /// tell, or lie elsewhere.
    fn ratio(&self, other: &Self) -> Option<Ratio> {
        let clear = |channel: &Self, spot: &Spot| {
            spot.plateau_px == 0.0 && spot.height > CLEAR * channel.error(spot)
        };
        let same = self.near(other, SAME);
        let far = self.near(other, FAR);
        let mut pairs = 0;
        let mut logs: Vec<f32> = Vec::new();
        for star in &self.stars.numbers {
            let spot = &self.known.spots[*star as usize];
            let Some(twin) = other.star(spot.place, far) else {
                continue;
            };
            if !(clear(self, spot) && clear(other, twin)) {
                continue;
            }
            pairs += 1;
            let [u, v] = [0, 1].map(|axis| twin.place[axis] - spot.place[axis]);
            if u * u + v * v < same * same {
                logs.push(libm::log(spot.height / twin.height) as f32);
            }
        }
        if logs.len() < FEWEST || (logs.len() as f64) < ALIKE * f64::from(pairs) {
            return None;
        }
        let log = middle(logs.clone())?;
        let off = logs.iter().map(|value| (value - log).abs()).collect();
        let spread = 1.4826 * f64::from(middle(off)?);
        Some(Ratio {
            log: f64::from(log),
            spread: spread.max(SPREAD),
        })
    }
}
