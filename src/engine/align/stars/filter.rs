//! The matched filter: a bell less the mean around it.
//!
//! A bell a little narrower than the field's stars costs 4 % of the signal to
//! noise and keeps close pairs apart. The mean over a square around each pixel
//! is taken away, so that level and slope of whatever lies below a star cancel
//! (Stetson 1987, PASP 99, 191, lowers a bell likewise).

use std::ops::Range;

use super::fit::FWHM_PER_SIGMA;
use super::window::Window;

/// Width of the filter's bell over the stars' own.
const NARROWER: f64 = 0.75;

/// The filter for stars of one width.
#[derive(Debug)]
pub(super) struct Filter {
    /// The bell from its middle outwards; both sides add up to 1.
    weights: Vec<f32>,
    /// The square reaches this far from its middle, px.
    reach: usize,
}

impl Filter {
    /// For stars of this full width at half maximum, px.
    pub fn new(fwhm_px: f64) -> Self {
        let sigma = NARROWER * fwhm_px / FWHM_PER_SIGMA;
        let radius = libm::ceil(2.8 * sigma).max(1.0) as usize;
        let raw: Vec<f64> = (0..=radius)
            .map(|i| libm::exp(-0.5 * (i * i) as f64 / (sigma * sigma)))
            .collect();
        let total = raw[0] + 2.0 * raw[1..].iter().sum::<f64>();
        let reach = libm::round(2.0 * fwhm_px).max(3.0) as usize;
        Self {
            weights: raw.into_iter().map(|w| (w / total) as f32).collect(),
            reach: reach.max(radius),
        }
    }

    /// How far from a pixel the filter looks, px.
    pub fn reach(&self) -> usize {
        self.reach
    }

    /// Noise of a filtered pixel where each pixel has noise 1 by itself.
    pub fn noise_gain(&self) -> f64 {
        let side = 2 * self.reach + 1;
        let line = |i: usize| {
            let i = i.abs_diff(self.reach);
            f64::from(self.weights.get(i).copied().unwrap_or(0.0))
        };
        let mean = 1.0 / (side * side) as f64;
        let mut sum = 0.0;
        for y in 0..side {
            for x in 0..side {
                let weight = line(x) * line(y) - mean;
                sum += weight * weight;
            }
        }
        sum.sqrt()
    }

    /// Filters rows of the picture. `window` holds values above the sky, 0
    /// where there is none; beyond its rows everything is 0.
    pub fn apply(&self, window: &Window, rows: Range<usize>) -> Window {
        let width = window.width;
        let zeros = vec![0.0_f32; width];
        let line = |y: isize| {
            let inside = y >= window.first_row as isize && y < window.end_row() as isize;
            if inside {
                window.row(y as usize)
            } else {
                &zeros
            }
        };
        let reach = self.reach as isize;
        let pad = self.reach;
        let mean = 1.0 / ((2 * self.reach + 1) * (2 * self.reach + 1)) as f64;
        let mut values = vec![0.0; rows.len() * width];
        // One padded row: first summed down the columns, then along.
        let mut down = vec![0.0_f32; width + 2 * pad];
        let mut columns = vec![0.0_f32; width + 2 * pad];
        let mut sums = vec![0.0_f64; width + 2 * pad];
        let top = rows.start as isize;
        for y in top - reach..top + reach {
            add(&mut columns[pad..pad + width], line(y));
        }
        for (y, out) in (top..).zip(values.chunks_exact_mut(width)) {
            let inner = &mut down[pad..pad + width];
            scale(inner, line(y), self.weights[0]);
            for (distance, weight) in self.weights.iter().enumerate().skip(1) {
                let distance = distance as isize;
                add_pair(inner, line(y - distance), line(y + distance), *weight);
            }
            let square = &mut columns[pad..pad + width];
            add(square, line(y + reach));

            scale(out, &down[pad..pad + width], self.weights[0]);
            for (distance, weight) in self.weights.iter().enumerate().skip(1) {
                let left = &down[pad - distance..];
                let right = &down[pad + distance..];
                add_pair(out, left, right, *weight);
            }
            running(&columns, &mut sums);
            let side = 2 * pad + 1;
            // sums[i] covers columns 0..=i; a square ends at x + 2 pad.
            out[0] -= (mean * sums[side - 1]) as f32;
            for (x, value) in out.iter_mut().enumerate().skip(1) {
                *value -= (mean * (sums[x + side - 1] - sums[x - 1])) as f32;
            }
            let square = &mut columns[pad..pad + width];
            subtract(square, line(y - reach));
        }
        Window {
            first_row: rows.start,
            width,
            values,
        }
    }
}

fn add(out: &mut [f32], values: &[f32]) {
    for (o, v) in out.iter_mut().zip(values) {
        *o += v;
    }
}

fn subtract(out: &mut [f32], values: &[f32]) {
    for (o, v) in out.iter_mut().zip(values) {
        *o -= v;
    }
}

fn scale(out: &mut [f32], values: &[f32], weight: f32) {
    for (o, v) in out.iter_mut().zip(values) {
        *o = v * weight;
    }
}

fn add_pair(out: &mut [f32], a: &[f32], b: &[f32], weight: f32) {
    for ((o, a), b) in out.iter_mut().zip(a).zip(b) {
        *o += (a + b) * weight;
    }
}

/// Sums from the left up to each place.
fn running(values: &[f32], sums: &mut [f64]) {
    let mut sum = 0.0_f64;
    for (o, v) in sums.iter_mut().zip(values) {
        sum += f64::from(*v);
        *o = sum;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_lit_pixel_gives_the_filter_itself() {
        let mut values = vec![0.0; 60 * 50];
        values[25 * 60 + 30] = 100.0;
        let window = Window {
            first_row: 0,
            width: 60,
            values,
        };
        let filter = Filter::new(3.0);
        let out = filter.apply(&window, 10..40);
        // sigma 0.9555: the middle weight is 1 over the sum of bells at
        // 0, 1, 2, 3: 1 + 2 (0.57829 + 0.11183 + 0.00723) = 2.39470.
        // The square is 13 by 13.
        let middle = 100.0 * (1.0 / (2.39470 * 2.39470) - 1.0 / 169.0);
        assert!((f64::from(out.row(25)[30]) - middle).abs() < 1e-2);
        assert!((out.row(25)[36] + 100.0 / 169.0).abs() < 1e-3);
        assert!(out.row(25)[37].abs() < 1e-3);
        assert!(out.row(32)[30].abs() < 1e-3);
        let sum: f32 = out.values.iter().sum();
        assert!(sum.abs() < 1e-2, "{sum}");
        let squares: f32 = out.values.iter().map(|v| v * v).sum();
        assert!((f64::from(squares.sqrt()) / 100.0 - filter.noise_gain()).abs() < 1e-4);
    }

    #[test]
    fn a_slope_cancels_and_bands_agree() {
        let values = (0..80 * 70)
            .map(|i| ((i % 80) * 3 + i / 80) as f32)
            .collect();
        let window = Window {
            first_row: 0,
            width: 80,
            values,
        };
        let filter = Filter::new(2.5);
        let whole = filter.apply(&window, 0..70);
        for y in 20..50 {
            for value in &whole.row(y)[20..60] {
                assert!(value.abs() < 1e-3, "{value}");
            }
        }
        let part = filter.apply(&window, 33..44);
        for y in 33..44 {
            for (a, b) in part.row(y).iter().zip(whole.row(y)) {
                assert!((a - b).abs() < 1e-3);
            }
        }
    }
}
