//! A channel on a coarser grid: area-true means in its own units.
//!
//! An output pixel is the mean of what lies under it, each source pixel
//! weighted with the area that they share. No data is left out of the mean;
//! where there is nothing else, the mean is no data too. Sums run over the rows
//! from the top, then over the columns from the left, in double precision, so
//! that any division of the work gives the same bits.

mod axis;

mod rows;

pub use rows::Reduced;

use std::ops::Range;

use axis::Axis;

use super::frame::Size;

/// The size of a picture whose longer side is brought to `long_edge` pixels,
/// the other in proportion, rounded, at least 1. None where the picture is not
/// larger than that: nothing is ever enlarged.
pub fn reduced_size(size: Size, long_edge: usize) -> Option<Size> {
    let longest = size.width.max(size.height);
    if long_edge == 0 || long_edge >= longest {
        return None;
    }
    let scaled = |side: usize| {
        let exact = side as f64 * long_edge as f64 / longest as f64;
        (exact.round() as usize).clamp(1, long_edge)
    };
    Some(Size {
        width: scaled(size.width),
        height: scaled(size.height),
    })
}

/// Which part of a picture lies under which output pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// The upper left corner of output pixel (0, 0), in pixels of the picture
    /// from the upper left corner of its first pixel.
    pub corner: [f64; 2],
    /// Pixels of the picture along one output pixel, right and down.
    pub step: [f64; 2],
    /// Output pixels.
    pub size: Size,
}

impl Window {
    /// A whole picture at another size.
    pub fn whole(picture: Size, size: Size) -> Self {
        Self {
            corner: [0.0; 2],
            step: [
                picture.width as f64 / size.width as f64,
                picture.height as f64 / size.height as f64,
            ],
            size,
        }
    }
}

/// Brings one picture, or means of it over square cells, onto a [`Window`].
#[derive(Debug, Clone)]
pub struct Reducer {
    columns: Axis,
    rows: Axis,
    // Values in a row of the source.
    width: usize,
}

impl Reducer {
    /// Sets up for a picture of the size `picture`. The source holds its
    /// pixels where `cell` is 1, else their means over `cell` x `cell` pixels
    /// from the upper left corner on; the last ones may be cut off.
    pub fn new(window: &Window, picture: Size, cell: usize) -> Self {
        let ([x, y], [right, down]) = (window.corner, window.step);
        Self {
            columns: Axis::new(x, right, window.size.width, picture.width, cell),
            rows: Axis::new(y, down, window.size.height, picture.height, cell),
            width: picture.width.div_ceil(cell.max(1)),
        }
    }

    /// The output columns and rows under which some of the picture lies.
    pub fn inside(&self) -> [Range<usize>; 2] {
        [self.columns.inside(), self.rows.inside()]
    }

    /// Fills whole output rows from `first_row` on. `source` is the whole
    /// source, row by row.
    pub fn rows(&self, source: &[f32], first_row: usize, out: &mut [f32]) {
        let width = self.columns.len().max(1);
        let mut sums = Sums::new(self);
        for (row, out) in (first_row..).zip(out.chunks_exact_mut(width)) {
            sums.clear();
            let (first, weights) = self.rows.span(row);
            let used = &source[first * self.width..(first + weights.len()) * self.width];
            sums.add(self, used, weights);
            sums.means(self, out);
        }
    }
}

/// Columns that are summed together, so that their sums stay near.
const PIECE: usize = 1024;

/// Weighted sums of source rows, column by column.
struct Sums {
    values: Vec<f64>,
    weights: Vec<f64>,
}

impl Sums {
    fn new(reducer: &Reducer) -> Self {
        let columns = reducer.columns.source().len();
        Self {
            values: vec![0.0; columns],
            weights: vec![0.0; columns],
        }
    }

    fn clear(&mut self) {
        self.values.fill(0.0);
        self.weights.fill(0.0);
    }

    // Adds whole source rows, each with its weight.
    fn add(&mut self, reducer: &Reducer, rows: &[f32], weights: &[f64]) {
        let level = fearless_simd::Level::new();
        fearless_simd::dispatch!(level, _simd => self.add_rows(reducer, rows, weights));
    }

    #[inline(always)]
    fn add_rows(&mut self, reducer: &Reducer, rows: &[f32], weights: &[f64]) {
        let used = reducer.columns.source();
        let mut start = 0;
        while start < used.len() {
            let end = (start + PIECE).min(used.len());
            let sums = &mut self.values[start..end];
            let totals = &mut self.weights[start..end];
            for (row, weight) in rows.chunks_exact(reducer.width).zip(weights) {
                let values = &row[used.start + start..used.start + end];
                for ((sum, total), value) in sums.iter_mut().zip(totals.iter_mut()).zip(values) {
                    let valid = !value.is_nan();
                    *sum += if valid {
                        weight * f64::from(*value)
                    } else {
                        0.0
                    };
                    *total += if valid { *weight } else { 0.0 };
                }
            }
            start = end;
        }
    }

    // The means of one output row.
    fn means(&self, reducer: &Reducer, out: &mut [f32]) {
        let from = reducer.columns.source().start;
        for (column, out) in out.iter_mut().enumerate() {
            let (first, weights) = reducer.columns.span(column);
            let (mut sum, mut total) = (0.0, 0.0);
            if !weights.is_empty() {
                let under = first - from..first - from + weights.len();
                let sums = self.values[under.clone()].iter().zip(&self.weights[under]);
                for (weight, (value, share)) in weights.iter().zip(sums) {
                    sum += weight * value;
                    total += weight * share;
                }
            }
            *out = if total > 0.0 {
                (sum / total) as f32
            } else {
                f32::NAN
            };
        }
    }
}

#[cfg(test)]
mod tests;
