//! How bright the same stars are in several channels on one grid.
//!
//! The light within a round aperture above the sky in a ring around it. The
//! aperture's radius is a fixed number of each channel's own star widths, so
//! that it holds the same share of the light in each, and ratios of channels
//! are free of it as long as the profiles are alike. Pixels at the aperture's
//! edge count by the part that lies within (from 5 x 5 points).

use std::ops::ControlFlow;

use rayon::prelude::*;

use super::super::align::stars::Stars;
use super::super::frame::{Rows, RowsError};

/// Radius of the aperture in full widths at half maximum.
pub const APERTURE_FWHM: f64 = 1.5;

/// Inner and outer radius of the ring of sky in full widths at half maximum.
pub const RING_FWHM: [f64; 2] = [2.5, 4.5];

/// From this share of the ceiling on (above 0) a pixel counts as saturated:
/// resampling rounds the tops, and detectors bend before they are full.
pub const FULL_SHARE: f64 = 0.95;

/// A neighbour within the aperture and a half width spoils a star from this
/// share of its light on.
pub const NEIGHBOUR_SHARE: f64 = 0.005;

/// No more stars are measured than this, the brightest.
pub const MOST_STARS: usize = 4000;

/// Rows that are in memory together, beside the margins.
const BAND: usize = 256;

/// One channel with its stars, found by [`find`](super::super::align::stars::find).
#[derive(Clone, Copy)]
pub struct Field<'a> {
    /// Linear values.
    pub rows: &'a dyn Rows,
    /// Its stars.
    pub stars: &'a Stars,
}

/// The light of a star in one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flux {
    /// Above the sky, file units times px^2.
    pub light: f64,
    /// Its standard error from the noise of the sky.
    pub error: f64,
    /// The sky around it, file units.
    pub sky: f64,
}

impl Flux {
    /// Light over its error.
    pub fn snr(&self) -> f64 {
        self.light / self.error.max(1e-300)
    }
}

/// Why a star takes no part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Refusal {
    /// A channel is saturated there.
    Saturated,
    /// Another star shines into the aperture.
    Blended,
    /// The aperture leaves the picture or meets pixels without data.
    NoData,
    /// Too little signal to noise in a channel.
    Faint,
    /// Its colour lies far from the others'.
    Outlier,
    /// The catalogue has no star there.
    Unmatched,
    /// More than one star of the catalogue may be meant.
    Ambiguous,
    /// The catalogue's colour has no temperature.
    NoTemperature,
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Saturated => "saturated",
            Self::Blended => "blended with a neighbour",
            Self::NoData => "at an edge or without data",
            Self::Faint => "too faint",
            Self::Outlier => "of another colour than the rest",
            Self::Unmatched => "not in the catalogue",
            Self::Ambiguous => "ambiguous in the catalogue",
            Self::NoTemperature => "of a colour without temperature",
        })
    }
}

/// Why nothing could be measured.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PhotometryError {
    /// The rows could not be read.
    #[error(transparent)]
    Rows(#[from] RowsError),
    /// `tick` asked to stop.
    #[error("stopped before all stars were measured")]
    Stopped,
}

/// A star that is good in all channels.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Place, px.
    pub place: [f64; 2],
    /// One for each channel, in their order.
    pub flux: Vec<Flux>,
}

/// The stars of some channels, measured.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    /// Good ones, brightest first in the leading channel.
    pub stars: Vec<Measured>,
    /// Where the others are, and why they are others.
    pub refused: Vec<([f64; 2], Refusal)>,
}

impl Table {
    /// How many were refused for each reason, most frequent first.
    pub fn reasons(&self) -> Vec<(Refusal, usize)> {
        count(self.refused.iter().map(|(_, why)| *why))
    }
}

/// Counts reasons, most frequent first.
pub(crate) fn count(reasons: impl Iterator<Item = Refusal>) -> Vec<(Refusal, usize)> {
    let mut counts = std::collections::BTreeMap::new();
    for why in reasons {
        *counts.entry(why).or_insert(0) += 1;
    }
    let mut counts: Vec<_> = counts.into_iter().collect();
    counts.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
    counts
}

/// Measures the stars that the channel `lead` shows in all channels, which
/// must be of one size. `least_snr` is asked of each star in each channel.
/// `tick` hears rows done, of how many, over all channels.
///
/// # Errors
/// A source fails, or `tick` breaks off.
pub fn table(
    fields: &[Field<'_>],
    lead: usize,
    least_snr: f64,
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Table, PhotometryError> {
    let listed = &fields[lead].stars.stars;
    let chosen: Vec<_> = listed.iter().take(MOST_STARS).collect();
    let places: Vec<[f64; 2]> = chosen.iter().map(|star| [star.x, star.y]).collect();
    let mut columns = Vec::with_capacity(fields.len());
    for (index, field) in fields.iter().enumerate() {
        let (height, all) = (field.rows.size().height, fields.len());
        let mut step = |row: usize| tick(index * height + row, all * height);
        columns.push(measure(field, &places, &mut step)?);
    }
    let mut table = Table::default();
    for (index, place) in places.iter().enumerate() {
        let found: Result<Vec<Flux>, Refusal> = if chosen[index].saturated {
            Err(Refusal::Saturated)
        } else {
            let all: Vec<_> = columns.iter().map(|column| column[index]).collect();
            // The gravest reason of all channels is the one that is told.
            match all.iter().filter_map(|one| one.err()).min() {
                Some(why) => Err(why),
                None => Ok(all.into_iter().flatten().collect()),
            }
        };
        match found {
            Ok(flux) if flux.iter().all(|one| one.snr() >= least_snr) => {
                table.stars.push(Measured {
                    place: *place,
                    flux,
                });
            }
            Ok(_) => table.refused.push((*place, Refusal::Faint)),
            Err(why) => table.refused.push((*place, why)),
        }
    }
    Ok(table)
}

/// The light at some places in one channel. Neighbours are those of the
/// channel's own list.
///
/// # Errors
/// The source fails, or `tick`, which hears the rows done, breaks off.
pub fn measure(
    field: &Field<'_>,
    places: &[[f64; 2]],
    tick: &mut dyn FnMut(usize) -> ControlFlow<()>,
) -> Result<Vec<Result<Flux, Refusal>>, PhotometryError> {
    let size = field.rows.size();
    let fwhm = field.stars.fwhm_px.unwrap_or(3.0).clamp(1.2, 20.0);
    let margin = (RING_FWHM[1] * fwhm) as usize + 2;
    let task = Task {
        fwhm,
        ceiling: field.stars.ceiling.map_or(f64::INFINITY, |top| {
            if top > 0.0 { top * FULL_SHARE } else { top }
        }),
        stars: field.stars,
    };
    let mut order: Vec<usize> = (0..places.len()).collect();
    order.sort_by(|a, b| places[*a][1].total_cmp(&places[*b][1]).then(a.cmp(b)));
    let mut answers = vec![Err(Refusal::NoData); places.len()];
    let mut values = Vec::new();
    let mut next = 0;
    for first in (0..size.height).step_by(BAND) {
        let end = (first + BAND).min(size.height);
        let below = |index: &usize| places[*index][1] < end as f64 - 0.5;
        let here = order[next..]
            .iter()
            .take_while(|index| below(index))
            .count();
        let inside = &order[next..next + here];
        next += here;
        if !inside.is_empty() {
            let top = first.saturating_sub(margin);
            let bottom = (end + margin).min(size.height);
            values.resize((bottom - top) * size.width, 0.0);
            field.rows.read(top, &mut values)?;
            let piece = Piece {
                top,
                width: size.width,
                values: &values,
            };
            let found: Vec<_> = inside
                .par_iter()
                .with_min_len(16)
                .map(|index| (*index, task.star(&piece, places[*index])))
                .collect();
            for (index, answer) in found {
                answers[index] = answer;
            }
        }
        if tick(end).is_break() {
            return Err(PhotometryError::Stopped);
        }
    }
    Ok(answers)
}

/// Some whole rows.
struct Piece<'a> {
    top: usize,
    width: usize,
    values: &'a [f32],
}

impl Piece<'_> {
    fn at(&self, x: isize, y: isize) -> f64 {
        let row = y - self.top as isize;
        if x < 0 || row < 0 || x >= self.width as isize {
            return f64::NAN;
        }
        let value = self.values.get(row as usize * self.width + x as usize);
        value.map_or(f64::NAN, |value| f64::from(*value))
    }
}

struct Task<'a> {
    fwhm: f64,
    ceiling: f64,
    stars: &'a Stars,
}

impl Task<'_> {
    fn star(&self, piece: &Piece<'_>, [x, y]: [f64; 2]) -> Result<Flux, Refusal> {
        let radius = APERTURE_FWHM * self.fwhm;
        let reach = radius as isize + 2;
        let (column, line) = (libm::round(x) as isize, libm::round(y) as isize);
        let (mut sum, mut area, mut squares) = (0.0, 0.0, 0.0);
        let (mut missing, mut full) = (false, false);
        for v in line - reach..=line + reach {
            for u in column - reach..=column + reach {
                let part = covered(u as f64 - x, v as f64 - y, radius);
                if part > 0.0 {
                    let value = piece.at(u, v);
                    missing |= value.is_nan();
                    full |= value >= self.ceiling;
                    sum += part * value;
                    area += part;
                    squares += part * part;
                }
            }
        }
        if full {
            return Err(Refusal::Saturated);
        }
        if missing {
            return Err(Refusal::NoData);
        }
        let (sky, sigma, count) = self.ring(piece, [x, y]).ok_or(Refusal::NoData)?;
        let light = sum - area * sky;
        let spoil = self.stars.stars.iter().any(|other| {
            let (u, v) = (other.x - x, other.y - y);
            let apart = u * u + v * v;
            let far = radius + 0.5 * self.fwhm;
            // Nearer than half a width it is the star itself.
            apart < far * far
                && apart > 0.25 * self.fwhm * self.fwhm
                && other.flux > NEIGHBOUR_SHARE * light
        });
        if spoil {
            return Err(Refusal::Blended);
        }
        // The sky's own error, 1.25 sigma over the root of the count, is common
        // to the whole aperture.
        let of_sky = 1.25 * sigma * area / (count as f64).sqrt();
        Ok(Flux {
            light,
            error: (sigma * sigma * squares + of_sky * of_sky).sqrt(),
            sky,
        })
    }

    /// Level, sigma and pixels of the ring, after leaving out what lies more
    /// than 2.5 sigma off the median until nothing more falls out.
    fn ring(&self, piece: &Piece<'_>, [x, y]: [f64; 2]) -> Option<(f64, f64, usize)> {
        let [inner, outer] = RING_FWHM.map(|part| part * self.fwhm);
        let reach = outer as isize + 1;
        let (column, line) = (libm::round(x) as isize, libm::round(y) as isize);
        let mut ring = Vec::with_capacity((4.0 * outer * outer) as usize);
        for v in line - reach..=line + reach {
            for u in column - reach..=column + reach {
                let (a, b) = (u as f64 - x, v as f64 - y);
                let square = a * a + b * b;
                let value = piece.at(u, v);
                if square >= inner * inner && square <= outer * outer && !value.is_nan() {
                    ring.push(value);
                }
            }
        }
        ring.sort_unstable_by(f64::total_cmp);
        let mut part = &ring[..];
        for _ in 0..12 {
            if part.len() < 20 {
                return None;
            }
            let middle = part[part.len() / 2];
            let sigma = super::robust::spread(part, middle);
            let low = part.partition_point(|value| *value < middle - 2.5 * sigma);
            let high = part.partition_point(|value| *value <= middle + 2.5 * sigma);
            if high - low == part.len() {
                break;
            }
            part = &part[low..high];
        }
        let count = part.len() as f64;
        let mean = part.iter().sum::<f64>() / count;
        let middle = 0.5 * (part[(part.len() - 1) / 2] + part[part.len() / 2]);
        let squares: f64 = part.iter().map(|v| (v - mean) * (v - mean)).sum();
        // A bell cut at 2.5 sigma has 0.9546 of its standard deviation.
        Some((middle, (squares / count).sqrt() / 0.9546, part.len()))
    }
}

/// The part of a pixel, its centre at (u, v) from the middle, within `radius`.
fn covered(u: f64, v: f64, radius: f64) -> f64 {
    let apart = (u * u + v * v).sqrt();
    if apart < radius - 0.75 {
        return 1.0;
    }
    if apart > radius + 0.75 {
        return 0.0;
    }
    let mut inside = 0;
    for j in -2..=2 {
        for i in -2..=2 {
            let (a, b) = (u + 0.2 * f64::from(i), v + 0.2 * f64::from(j));
            inside += u32::from(a * a + b * b <= radius * radius);
        }
    }
    f64::from(inside) / 25.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_aperture_has_its_area() {
        for (x, y) in [(0.0, 0.0), (0.3, -0.4), (0.5, 0.5)] {
            let mut area = 0.0;
            for v in -8..=8 {
                for u in -8..=8 {
                    area += covered(f64::from(u) - x, f64::from(v) - y, 4.5);
                }
            }
            let truth = std::f64::consts::PI * 4.5 * 4.5;
            assert!((area / truth - 1.0).abs() < 0.01, "{area} {truth}");
        }
    }
}
