//! Where the filtered picture has its peaks.

use std::ops::Range;

use super::mesh::{CELL, clipped, sample_cell};
use super::near::Near;
use super::window::Window;

/// A maximum of the filtered picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Peak {
    /// Column in the picture.
    pub x: usize,
    /// Row in the picture.
    pub y: usize,
    /// Filtered value.
    pub height: f64,
    /// Noise of the filtered picture around.
    pub sigma: f64,
    /// Whether it falls off on all sides as a star does.
    pub compact: bool,
}

/// Noise of the filtered picture in each cell of a band, row by row.
#[derive(Debug)]
pub(super) struct Noise {
    first_row: usize,
    columns: usize,
    sigma: Vec<f64>,
}

impl Noise {
    /// Measured where the picture has data. `floor` is the least there can be;
    /// cells in which nothing varies have `fallback`. Where the noise is
    /// `lopsided`, since the sky is cut off below, its upper side counts.
    pub fn new(
        raw: &Window,
        filtered: &Window,
        band: Range<usize>,
        floor: f64,
        fallback: f64,
        lopsided: bool,
    ) -> Self {
        let columns = raw.width.div_ceil(CELL);
        let mut sample = Vec::with_capacity(CELL * CELL / 4);
        let mut sigma = Vec::new();
        for top in band.clone().step_by(CELL) {
            let rows = top..(top + CELL).min(band.end);
            for column in 0..columns {
                let along = column * CELL..((column + 1) * CELL).min(raw.width);
                sample_cell(
                    &mut sample,
                    rows.clone(),
                    along,
                    |y| filtered.row(y),
                    |x, y| !raw.row(y)[x].is_nan(),
                );
                let own = clipped(&mut sample).map_or(0.0, |cell| {
                    let upper = if lopsided { cell.upper } else { 0.0 };
                    cell.sigma.max(upper)
                });
                let own = if own > 0.0 { own } else { fallback };
                sigma.push(own.max(floor));
            }
        }
        Self {
            first_row: band.start,
            columns,
            sigma,
        }
    }

    /// The cells along a row; rows beyond the band have its outermost cells'.
    fn row(&self, y: usize) -> &[f64] {
        let last = self.sigma.len() / self.columns - 1;
        let row = (y.saturating_sub(self.first_row) / CELL).min(last);
        &self.sigma[row * self.columns..(row + 1) * self.columns]
    }
}

/// The maxima of 3 x 3 pixels that stand out of the noise by `threshold`
/// sigma, highest first. `filtered` has one row more on either side of `rows`
/// where the picture has it.
pub(super) fn peaks(
    filtered: &Window,
    rows: Range<usize>,
    noise: &Noise,
    threshold: f64,
) -> Vec<Peak> {
    let width = filtered.width;
    let blank = vec![f32::NEG_INFINITY; width];
    let mut found = Vec::new();
    for y in rows {
        let row = filtered.row(y);
        let above = if y > filtered.first_row {
            filtered.row(y - 1)
        } else {
            &blank
        };
        let below = if y + 1 < filtered.end_row() {
            filtered.row(y + 1)
        } else {
            &blank
        };
        for (column, sigma) in noise.row(y).iter().enumerate() {
            let least = (threshold * sigma) as f32;
            let start = column * CELL;
            let end = (start + CELL).min(width);
            for (x, value) in (start..end).zip(&row[start..end]) {
                let value = *value;
                if value <= least {
                    continue;
                }
                let left = x.saturating_sub(1);
                let right = (x + 1).min(width - 1);
                // Of equal neighbours the first one is the peak.
                let is_peak = above[left..=right].iter().all(|other| value > *other)
                    && (left == x || value > row[left])
                    && (right == x || value >= row[right])
                    && below[left..=right].iter().all(|other| value >= *other);
                if is_peak {
                    found.push(Peak {
                        x,
                        y,
                        height: f64::from(value),
                        sigma: *sigma,
                        compact: true,
                    });
                }
            }
        }
    }
    found.sort_by(|a, b| {
        let places = (a.y, a.x).cmp(&(b.y, b.x));
        b.height.total_cmp(&a.height).then(places)
    });
    found
}

/// Whether the filtered picture falls to about half one width away from the
/// peak. A star falls to a sixth, what is twice as broad to more than half;
/// the texture of a nebula need not be fitted to be told.
fn is_compact(peak: &Peak, filtered: &Window, fwhm_px: f64) -> bool {
    let near = libm::round(fwhm_px).max(2.0) as isize;
    let slant = libm::round(fwhm_px * std::f64::consts::FRAC_1_SQRT_2).max(1.0) as isize;
    let (x, y) = (peak.x as isize, peak.y as isize);
    let at = |u: isize, v: isize| {
        let value = f64::from(filtered.at(x + u, y + v));
        if value.is_nan() { 0.0 } else { value }
    };
    let straight = at(near, 0) + at(-near, 0) + at(0, near) + at(0, -near);
    let slanting = at(slant, slant) + at(-slant, -slant) + at(slant, -slant) + at(-slant, slant);
    let mean = (straight + slanting) / 8.0;
    mean < 0.45 * peak.height + 0.5 * peak.sigma
}

/// Leaves out peaks that no valley parts from a higher one nearby: noise on a
/// bright star's flank. A valley is deeper than the noise and than 3 % of the
/// lower peak.
pub(super) fn parted(peaks: &[Peak], filtered: &Window, fwhm_px: f64) -> Vec<Peak> {
    let distance = 2.5 * fwhm_px;
    let mut near = Near::new(filtered.width, filtered.end_row(), distance);
    let mut kept: Vec<Peak> = Vec::new();
    for peak in peaks {
        let place = [peak.x as f64, peak.y as f64];
        let hidden = near
            .around(place, distance)
            .any(|(index, _)| !has_valley(&kept[index], peak, filtered));
        if !hidden {
            near.push(place);
            kept.push(Peak {
                compact: is_compact(peak, filtered, fwhm_px),
                ..*peak
            });
        }
    }
    kept
}

fn has_valley(high: &Peak, low: &Peak, filtered: &Window) -> bool {
    let (u, v) = (high.x as f64 - low.x as f64, high.y as f64 - low.y as f64);
    let steps = (u.abs().max(v.abs()) as usize).max(2);
    let mut bottom = low.height;
    for step in 1..steps {
        let share = step as f64 / steps as f64;
        let x = libm::round(low.x as f64 + u * share) as isize;
        let y = libm::round(low.y as f64 + v * share) as isize;
        let value = f64::from(filtered.at(x, y));
        if value < bottom {
            bottom = value;
        }
    }
    low.height - bottom > (2.5 * low.sigma).max(0.03 * low.height)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn window(values: &[(usize, usize, f32)]) -> Window {
        let mut window = Window {
            first_row: 0,
            width: 20,
            values: vec![0.0; 400],
        };
        for (x, y, value) in values {
            window.values[y * 20 + x] = *value;
        }
        window
    }

    fn noise() -> Noise {
        Noise {
            first_row: 0,
            columns: 1,
            sigma: vec![1.0],
        }
    }

    #[test]
    fn of_equal_neighbours_one_is_the_peak() {
        let window = window(&[
            (5, 5, 9.0),
            (6, 5, 9.0),
            (5, 6, 9.0),
            (0, 0, 7.0),
            (12, 3, 4.0),
        ]);
        let found = peaks(&window, 0..20, &noise(), 5.0);
        let places: Vec<_> = found.iter().map(|peak| (peak.x, peak.y)).collect();
        assert_eq!(places, [(5, 5), (0, 0)]);
    }

    #[test]
    fn a_flank_is_no_star_but_a_pair_is_two() {
        let flank = window(&[(5, 5, 90.0), (6, 5, 40.0), (7, 5, 39.0), (8, 5, 40.5)]);
        let found = peaks(&flank, 0..20, &noise(), 5.0);
        assert_eq!(found.len(), 2);
        assert_eq!(parted(&found, &flank, 3.0).len(), 1);
        let pair = window(&[(5, 5, 90.0), (6, 5, 40.0), (7, 5, 30.0), (8, 5, 60.0)]);
        let found = peaks(&pair, 0..20, &noise(), 5.0);
        assert_eq!(parted(&found, &pair, 3.0).len(), 2);
    }
}
