//! Area means of a channel over ever larger cells.

use std::sync::Arc;

use ndarray::Array2;
use rayon::prelude::*;

use crate::engine::frame::{Plane, Rows as _, Size};

/// Means are made until the longer side has at most so many.
const SMALL: usize = 400;

/// The side of the first cells, in pixels; each further step doubles it.
pub const FIRST_CELL: usize = 4;

/// Means over 4 x 4, 8 x 8, ... pixels from the upper left corner on, while the
/// longer side is above some 400. No data is left out of a mean; a cell without
/// any is NaN; cells cut off by the right or lower edge average what is there.
pub fn pyramid(plane: &Plane) -> Vec<Arc<Plane>> {
    let size = plane.size();
    let mut steps = Vec::new();
    let Some(values) = plane.values().as_slice() else {
        return steps;
    };
    if size.width.max(size.height) <= SMALL {
        return steps;
    }
    let mut sums = Sums::of(values, size);
    loop {
        steps.push(Arc::new(sums.means()));
        if sums.size.width.max(sums.size.height) <= SMALL {
            return steps;
        }
        sums = sums.halved();
    }
}

// The valid values of each cell: their sum and their number.
struct Sums {
    size: Size,
    cells: Vec<(f64, u32)>,
}

impl Sums {
    fn of(values: &[f32], size: Size) -> Self {
        let cells_size = Size {
            width: size.width.div_ceil(FIRST_CELL),
            height: size.height.div_ceil(FIRST_CELL),
        };
        let mut cells = vec![(0.0, 0); cells_size.pixels()];
        cells
            .par_chunks_mut(cells_size.width)
            .zip(values.par_chunks(size.width * FIRST_CELL))
            .for_each(|(cells, rows)| {
                let level = fearless_simd::Level::new();
                fearless_simd::dispatch!(level, _simd => add_rows(cells, rows, size.width));
            });
        Self {
            size: cells_size,
            cells,
        }
    }

    // Cells twice as long.
    fn halved(&self) -> Self {
        let size = Size {
            width: self.size.width.div_ceil(2),
            height: self.size.height.div_ceil(2),
        };
        let mut cells = vec![(0.0, 0); size.pixels()];
        let rows = self.cells.chunks(self.size.width);
        for (y, row) in rows.enumerate() {
            let out = &mut cells[y / 2 * size.width..][..size.width];
            for (x, (sum, count)) in row.iter().enumerate() {
                out[x / 2].0 += sum;
                out[x / 2].1 += count;
            }
        }
        Self { size, cells }
    }

    fn means(&self) -> Plane {
        let mean = |&(sum, count): &(f64, u32)| match count {
            0 => f32::NAN,
            count => (sum / f64::from(count)) as f32,
        };
        let width = self.size.width;
        Plane::new(Array2::from_shape_fn(
            (self.size.height, width),
            |(y, x)| mean(&self.cells[y * width + x]),
        ))
    }
}

#[inline(always)]
fn add_rows(cells: &mut [(f64, u32)], rows: &[f32], width: usize) {
    for row in rows.chunks_exact(width) {
        for (cell, values) in cells.iter_mut().zip(row.chunks(FIRST_CELL)) {
            let (mut sum, mut count) = (0.0, 0);
            for value in values {
                let valid = !value.is_nan();
                sum += if valid { f64::from(*value) } else { 0.0 };
                count += u32::from(valid);
            }
            cell.0 += sum;
            cell.1 += count;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_average_what_is_there() {
        let (width, height) = (1603, 13);
        let plane = Plane::new(Array2::from_shape_fn((height, width), |(y, x)| {
            match (x, y) {
                (..=3, ..=3) => f32::NAN,
                (5, 0) => f32::NAN,
                _ => (x + 10 * y) as f32,
            }
        }));
        let steps = pyramid(&plane);
        let sizes: Vec<Size> = steps.iter().map(|step| step.size()).collect();
        let size = |width, height| Size { width, height };
        assert_eq!(sizes, [size(401, 4), size(201, 2)]);
        for (step, cell) in steps.iter().zip([4, 8]) {
            for ((y, x), mean) in step.values().indexed_iter() {
                let (mut sum, mut count) = (0.0, 0.0);
                for row in y * cell..((y + 1) * cell).min(height) {
                    for column in x * cell..((x + 1) * cell).min(width) {
                        let value = plane.values()[[row, column]];
                        if !value.is_nan() {
                            sum += f64::from(value);
                            count += 1.0;
                        }
                    }
                }
                let truth = (sum / count) as f32;
                assert!(truth == *mean || truth.is_nan() && mean.is_nan(), "{x} {y}");
            }
        }
        let small = Plane::new(Array2::zeros((400, 300)));
        assert!(pyramid(&small).is_empty());
    }
}
