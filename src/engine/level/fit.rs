//! The sky under the nebula: fits that hold on to the lower edge of the samples.
//!
//! Light only ever adds. A fit takes the scatter of the sky from the samples
//! below it; what stands out above is no sky, with all around it that still
//! rises. The rest is fitted anew, until nothing changes. Where that ends
//! depends on where it starts, so it starts at several heights, and the end
//! that explains most of the samples best is taken.

use rayon::prelude::*;

use super::polynomial::{DEGREE_MAX, Point, Polynomial, terms};
use super::samples::Grid;
use super::spline::{Spline, lambda};

/// Shares of the samples that lie below the surface at the start.
const STARTS: [f64; 4] = [0.5, 0.3, 0.15, 0.06];

/// Parts of the picture that make one more start each.
const PARTS: usize = 5;

/// A sample so many scatters above the surface is no sky.
const HIGH: f64 = 3.0;

/// One so far above is nebula for sure; its neighbours are none either, from
/// so many scatters on.
const NEBULA: f64 = 5.0;

/// See [`NEBULA`].
const RISING: f64 = 1.5;

/// Nor is anything near a sample that stands out so far,
const BRIGHT: f64 = 8.0;

/// up to so many boxes away: wings.
const WINGS: usize = 2;

/// Nor a sample so many scatters below: dark borders.
const LOW: f64 = 5.0;

/// From a median absolute deviation to sigma, 1 / Phi^-1(3/4).
const SIGMA_PER_MAD: f64 = 1.482_602_218_505_602;

/// Sigma of a median over sigma of a mean, `sqrt(pi / 2)`.
const MEDIAN_SIGMA: f64 = 1.253_314_137_315_500_3;

/// Samples that each term of a polynomial needs.
const SAMPLES_PER_TERM: usize = 3;

/// Rounds of the regression that makes a start.
const START_ROUNDS: usize = 16;

/// Enough rounds for any field; most stop after ten.
const ROUNDS: usize = 40;

/// Boxes along each side of a cell whose samples make one knot.
const CELL: usize = 3;

/// So much more must a higher degree explain to be the base of a spline.
const WORTH: f64 = 1.05;

/// Samples of the sky scatter less than this share of a pixel's noise.
const FINE: f64 = 0.25;

/// So much of the field a fine surface must hold.
const FINE_SHARE: f64 = 0.05;

/// A surface, the samples that count as sky, and their scatter about it.
#[derive(Debug, Clone)]
pub(super) struct Fitted<S> {
    pub surface: S,
    pub kept: Vec<bool>,
    pub scatter: f64,
}

/// A spline over the polynomial that it departs from.
#[derive(Debug, Clone)]
pub(super) struct Bent {
    pub base: Polynomial,
    pub spline: Spline,
}

impl Bent {
    /// The value at a position in px.
    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        self.base.at(x, y) + self.spline.at(x, y)
    }
}

/// One of several fits of the same samples.
#[derive(Debug, Clone)]
struct Candidate {
    fitted: Fitted<Polynomial>,
    /// Its samples lie on the surface as closely as sky does.
    fine: bool,
    score: f64,
}

impl Candidate {
    /// What a fit explains. To tell a sample that counts as a departure from
    /// the surface, not as a place in the samples' whole range, saves the
    /// logarithm of range over scatter. Many samples on a rough surface may
    /// weigh as much as fewer on a finer one. Surfaces as fine as sky stand
    /// above all others; among them the scatter tells more than the count.
    fn new(grid: &Grid, noise: f64, fitted: Fitted<Polynomial>) -> Self {
        let samples = grid.samples.iter().flatten();
        let mut values: Vec<f64> = samples.map(|sample| sample.value).collect();
        values.sort_unstable_by(f64::total_cmp);
        let quantile = |q: f64| values[(q * (values.len() - 1) as f64) as usize];
        let range = quantile(0.98) - quantile(0.02);
        let count = fitted.kept.iter().filter(|kept| **kept).count() as f64;
        let scatter = fitted.scatter.max(1e-9 * range).max(f64::MIN_POSITIVE);
        let saved = libm::log(1.0 + range / scatter);
        let limit = (FINE * noise).max(2.0 * floor(grid, noise));
        let fine = fitted.scatter <= limit && count >= FINE_SHARE * values.len() as f64;
        Self {
            fitted,
            fine,
            score: count * saved * if fine { saved } else { 1.0 },
        }
    }

    /// Whether this one is to be taken, where `worth` says how much more it
    /// has to explain.
    fn beats(&self, other: &Self, worth: f64) -> bool {
        match (self.fine, other.fine) {
            (true, false) => true,
            (false, true) => false,
            _ => self.score > worth * other.score,
        }
    }
}

/// Fits a polynomial; None where the samples do not settle one of this degree.
pub(super) fn polynomial(grid: &Grid, noise: f64, degree: usize) -> Option<Fitted<Polynomial>> {
    let best = ladder(grid, noise, degree).pop()?;
    best.map(|candidate| candidate.fitted)
}

/// The best fit of each degree from 1 up to `highest`.
fn ladder(grid: &Grid, noise: f64, highest: usize) -> Vec<Option<Candidate>> {
    let mut ladder: Vec<Option<Candidate>> = Vec::new();
    for degree in 1..=highest {
        // What is sky to a stiffer surface makes one more start.
        let below = ladder.last().and_then(Option::as_ref);
        let stiffer = below.and_then(|below| {
            Polynomial::fit(grid.size, degree, &points(grid, &below.fitted.kept))
        });
        let parts = if degree == 1 { PARTS } else { 0 };
        let found: Vec<_> = (0..STARTS.len() + 1 + parts)
            .into_par_iter()
            .map(|start| {
                let start = match (STARTS.get(start), start - STARTS.len().min(start)) {
                    (Some(share), _) => low_surface(grid, noise, degree, *share),
                    (None, 0) => stiffer.clone(),
                    (None, part) => part_surface(grid, degree, part - 1),
                };
                let fitted = settle(grid, noise, start?)?;
                Some(Candidate::new(grid, noise, fitted))
            })
            .collect();
        let found = found.into_iter().flatten();
        ladder.push(found.reduce(|best, next| if next.beats(&best, 1.0) { next } else { best }));
    }
    ladder
}

/// Fits and sorts out by turns, until nothing changes.
fn settle(grid: &Grid, noise: f64, start: Polynomial) -> Option<Fitted<Polynomial>> {
    let degree = start.degree;
    let mut surface = start;
    let mut kept = Vec::new();
    let mut scatter = 0.0;
    for _ in 0..ROUNDS {
        let last = kept;
        (kept, scatter) = classify(grid, noise, &residuals(grid, |x, y| surface.at(x, y)));
        if kept == last {
            break;
        }
        let points = points(grid, &kept);
        if points.len() < SAMPLES_PER_TERM * terms(degree) {
            return None;
        }
        surface = Polynomial::fit(grid.size, degree, &points)?;
    }
    Some(Fitted {
        surface,
        kept,
        scatter,
    })
}

/// Fits a spline to what a polynomial leaves. The spline gives way step by
/// step, so that it has no time to climb the nebula.
pub(super) fn spline(grid: &Grid, noise: f64, smooth: f64) -> Option<Fitted<Bent>> {
    let mut base: Option<Candidate> = None;
    for found in ladder(grid, noise, DEGREE_MAX).into_iter().flatten() {
        if base.as_ref().is_none_or(|base| found.beats(base, WORTH)) {
            base = Some(found);
        }
    }
    let Fitted {
        surface: base,
        mut kept,
        ..
    } = base?.fitted;
    let rest = residuals(grid, |x, y| base.at(x, y));
    let long = grid.size.width.max(grid.size.height) as f64;
    let area = grid.size.width as f64 / long * (grid.size.height as f64 / long);
    let density = (grid.across * grid.down) as f64 / area;
    let mut length = 1.0;
    let mut final_rounds = 0;
    loop {
        length = f64::max(length * 0.7, smooth);
        let knots = knots(grid, &rest, &kept);
        let spline = Spline::fit(grid.size, lambda(length, density), &knots)?;
        let bent = residuals(grid, |x, y| base.at(x, y) + spline.at(x, y));
        let (now, scatter) = classify(grid, noise, &bent);
        if now.iter().filter(|kept| **kept).count() < SAMPLES_PER_TERM * terms(1) {
            return None;
        }
        let settled = now == kept;
        kept = now;
        if length <= smooth {
            final_rounds += 1;
            if settled || final_rounds == 4 {
                return Some(Fitted {
                    surface: Bent { base, spline },
                    kept,
                    scatter,
                });
            }
        }
    }
}

/// Each sample less the surface; NaN where there is no sample.
fn residuals(grid: &Grid, surface: impl Fn(f64, f64) -> f64 + Sync) -> Vec<f64> {
    let samples = grid.samples.par_iter();
    samples
        .map(|sample| sample.map_or(f64::NAN, |s| s.value - surface(s.x, s.y)))
        .collect()
}

fn points(grid: &Grid, kept: &[bool]) -> Vec<Point> {
    let samples = grid.samples.iter().zip(kept);
    samples
        .filter_map(|(sample, kept)| {
            let sample = sample.filter(|_| *kept)?;
            Some(Point {
                x: sample.x,
                y: sample.y,
                value: sample.value,
                weight: 1.0,
            })
        })
        .collect()
}

/// The means of `values` of the samples that count, cell by cell.
fn knots(grid: &Grid, values: &[f64], kept: &[bool]) -> Vec<Point> {
    let mut knots = Vec::new();
    for top in (0..grid.down).step_by(CELL) {
        for left in (0..grid.across).step_by(CELL) {
            let (mut x, mut y, mut value, mut count) = (0.0, 0.0, 0.0, 0.0);
            for row in top..(top + CELL).min(grid.down) {
                for column in left..(left + CELL).min(grid.across) {
                    let index = row * grid.across + column;
                    if let Some(sample) = grid.samples[index].filter(|_| kept[index]) {
                        x += sample.x;
                        y += sample.y;
                        value += values[index];
                        count += 1.0;
                    }
                }
            }
            if count > 0.0 {
                knots.push(Point {
                    x: x / count,
                    y: y / count,
                    value: value / count,
                    weight: count,
                });
            }
        }
    }
    knots
}

/// The polynomial that the share `start` of the samples lies under: quantile regression
/// (Koenker & Bassett 1978) by reweighted least squares.
fn low_surface(grid: &Grid, noise: f64, degree: usize, start: f64) -> Option<Polynomial> {
    let mut points = points(grid, &vec![true; grid.samples.len()]);
    if points.len() < SAMPLES_PER_TERM * terms(degree) {
        return None;
    }
    let mut surface = Polynomial::fit(grid.size, degree, &points)?;
    for _ in 0..START_ROUNDS {
        let offsets: Vec<f64> = points
            .iter()
            .map(|point| point.value - surface.at(point.x, point.y))
            .collect();
        let mut sizes: Vec<f64> = offsets.iter().map(|offset| offset.abs()).collect();
        sizes.sort_unstable_by(f64::total_cmp);
        let near = (0.02 * sizes[sizes.len() / 2])
            .max(floor(grid, noise))
            .max(f64::MIN_POSITIVE);
        for (point, offset) in points.iter_mut().zip(&offsets) {
            let side = if *offset > 0.0 { start } else { 1.0 - start };
            point.weight = side * near / offset.abs().max(near);
        }
        surface = Polynomial::fit(grid.size, degree, &points)?;
    }
    Some(surface)
}

/// The polynomial through the samples of one part of the picture: the left,
/// right, upper or lower third, or the rim.
fn part_surface(grid: &Grid, degree: usize, part: usize) -> Option<Polynomial> {
    let within = |index: usize| {
        let (column, row) = (index % grid.across, index / grid.across);
        let (right, below) = (grid.across - 1 - column, grid.down - 1 - row);
        match part {
            0 => 3 * column < grid.across,
            1 => 3 * right < grid.across,
            2 => 3 * row < grid.down,
            3 => 3 * below < grid.down,
            _ => column.min(right).min(row).min(below) < 2,
        }
    };
    let kept: Vec<bool> = (0..grid.samples.len()).map(within).collect();
    Polynomial::fit(grid.size, degree, &points(grid, &kept))
}

/// The least scatter to believe in: what the noise gives to the level of a box,
/// and no less than what 32-bit floats resolve.
fn floor(grid: &Grid, noise: f64) -> f64 {
    let samples = || grid.samples.iter().flatten();
    let count = samples().count().max(1);
    let pixels = samples().map(|sample| sample.pixels).sum::<usize>() / count;
    let largest = samples().fold(0.0f64, |top, sample| top.max(sample.value.abs()));
    let of_noise = MEDIAN_SIGMA * noise / (pixels.max(1) as f64).sqrt();
    of_noise.max(1e-7 * largest)
}

/// Which samples are sky, and the scatter of the sky.
fn classify(grid: &Grid, noise: f64, residuals: &[f64]) -> (Vec<bool>, f64) {
    let mut below: Vec<f64> = residuals.iter().copied().filter(|r| *r < 0.0).collect();
    below.sort_unstable_by(f64::total_cmp);
    let middle = below.get(below.len() / 2).map_or(0.0, |r| -r);
    let scatter = (SIGMA_PER_MAD * middle).max(floor(grid, noise));
    let around = |index: usize, reach: usize| {
        let (row, column) = (index / grid.across, index % grid.across);
        let rows = row.saturating_sub(reach)..(row + reach + 1).min(grid.down);
        let columns = column.saturating_sub(reach)..(column + reach + 1).min(grid.across);
        rows.flat_map(move |row| {
            columns
                .clone()
                .map(move |column| row * grid.across + column)
        })
    };
    let mut kept: Vec<bool> = residuals
        .iter()
        .map(|r| *r <= HIGH * scatter && *r >= -LOW * scatter)
        .collect();
    let nebula = |index: &usize| residuals[*index] > NEBULA * scatter;
    let mut growing: Vec<usize> = (0..residuals.len()).filter(nebula).collect();
    for index in growing.clone() {
        if residuals[index] > BRIGHT * scatter {
            around(index, WINGS).for_each(|near| kept[near] = false);
        }
    }
    let mut rising = vec![false; kept.len()];
    while let Some(index) = growing.pop() {
        for near in around(index, 1) {
            let beside = near / grid.across == index / grid.across
                || near % grid.across == index % grid.across;
            if beside && !rising[near] && residuals[near] > RISING * scatter {
                rising[near] = true;
                kept[near] = false;
                growing.push(near);
            }
        }
    }
    (kept, scatter)
}

#[cfg(test)]
mod tests {
    use super::super::samples::Sample;
    use super::*;
    use crate::engine::frame::Size;

    /// 20 by 10 boxes of 10 px with what `value` says of column and row.
    fn grid(value: impl Fn(usize, usize) -> Option<f64>) -> Grid {
        let samples = (0..200).map(|index| {
            let (column, row) = (index % 20, index / 20);
            value(column, row).map(|value| Sample {
                x: 10.0 * column as f64 + 4.5,
                y: 10.0 * row as f64 + 4.5,
                value,
                pixels: 100,
                noise: 1.0,
            })
        });
        Grid {
            size: Size {
                width: 200,
                height: 100,
            },
            across: 20,
            down: 10,
            samples: samples.collect(),
        }
    }

    #[test]
    fn a_bright_block_goes_with_its_wings() {
        // Scatter is the floor: 1.2533 / 10 of the noise.
        let block = |column: usize, row: usize| match (column, row) {
            (5..=7, 3..=5) => 50.0,
            (8, 4) => 0.3,
            (15, 4) => 0.3,
            _ => 0.0,
        };
        let grid = grid(|column, row| Some(block(column, row)));
        let residuals = residuals(&grid, |_, _| 0.0);
        let (kept, scatter) = classify(&grid, 1.0, &residuals);
        assert!((scatter - 0.125_331_413_731_55).abs() < 1e-12);
        for index in 0..200 {
            let (column, row) = (index % 20, index / 20);
            // Two boxes around the block; a lone 2.4 scatters is sky.
            let wings = (3..=9).contains(&column) && (1..=7).contains(&row);
            assert_eq!(kept[index], !wings, "{column} {row}");
        }
    }

    #[test]
    fn a_plane_under_a_bright_half_is_found() {
        let grid = grid(|column, row| {
            let plane = 7.0 + 0.5 * column as f64 - 0.25 * row as f64;
            match (column, row) {
                (0, 0) => None,
                (9..20, _) => Some(plane + 100.0 + 3.0 * (column * row % 7) as f64),
                _ => Some(plane),
            }
        });
        let found = polynomial(&grid, 0.01, 1).unwrap();
        assert!((found.surface.at(104.5, 44.5) - 11.0).abs() < 1e-6);
        assert!(!found.kept[0] && found.kept[1] && !found.kept[10]);
    }

    #[test]
    fn few_samples_settle_nothing() {
        let grid = grid(|column, row| (column < 2 && row < 4).then_some(1.0));
        assert!(polynomial(&grid, 0.1, 1).is_none());
        assert!(spline(&grid, 0.1, 0.5).is_none());
    }
}
