//! A view that was moved: what it shows again, and what comes in at its edges.

use std::ops::Range;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::Grid;
use super::stage::{Source, staged};
use crate::engine::frame::Size;

/// Parts of an output pixel by which two grids may miss each other.
const TOLERANCE: f64 = 1e-6;

/// Less of a view is not worth the copying.
const LEAST_SHARE: f64 = 0.25;

/// Values on a grid, and where those of another grid lie among them.
pub(super) struct Moved {
    // On the grid from which the view was moved.
    values: Arc<Vec<f32>>,
    width: usize,
    // Columns and rows of the new grid that the old one has, and how far right
    // and down of them the same ones lie there.
    columns: Range<usize>,
    rows: Range<usize>,
    by: [i64; 2],
}

impl Moved {
    /// How a view was moved that has these values; None where the grids differ in
    /// more than a move by whole output pixels, or share little.
    pub fn between(from: &Grid, to: &Grid, values: &Arc<Vec<f32>>) -> Option<Self> {
        if from.step != to.step {
            return None;
        }
        let by = [0, 1].map(|i: usize| (to.corner[i] - from.corner[i]) / to.step);
        let whole = by.map(f64::round);
        let misses = |i: usize| (by[i] - whole[i]).abs() > TOLERANCE || whole[i].abs() > 1e9;
        if misses(0) || misses(1) {
            return None;
        }
        let by = whole.map(|part| part as i64);
        let shared = |i: usize, old: usize, new: usize| {
            let first = (-by[i]).clamp(0, new as i64) as usize;
            let end = (old as i64 - by[i]).clamp(first as i64, new as i64) as usize;
            first..end
        };
        let columns = shared(0, from.size.width, to.size.width);
        let rows = shared(1, from.size.height, to.size.height);
        let share = (columns.len() * rows.len()) as f64;
        (share >= LEAST_SHARE * to.size.pixels() as f64).then_some(Self {
            values: Arc::clone(values),
            width: from.size.width,
            columns,
            rows,
            by,
        })
    }

    /// The values on the new grid; None where `cancel` was set.
    pub fn completed(
        &self,
        source: Source<'_>,
        grid: &Grid,
        cancel: &AtomicBool,
    ) -> Option<Vec<f32>> {
        let Size { width, height } = grid.size;
        let mut values = vec![f32::NAN; grid.size.pixels()];
        for row in self.rows.clone() {
            let old = (row as i64 + self.by[1]) as usize * self.width;
            let from = old + (self.columns.start as i64 + self.by[0]) as usize;
            values[row * width..][self.columns.clone()]
                .copy_from_slice(&self.values[from..from + self.columns.len()]);
        }
        // Above, below, left and right of what was there.
        let strips = [
            (0..width, 0..self.rows.start),
            (0..width, self.rows.end..height),
            (0..self.columns.start, self.rows.clone()),
            (self.columns.end..width, self.rows.clone()),
        ];
        for (columns, rows) in strips {
            if columns.is_empty() || rows.is_empty() {
                continue;
            }
            let strip = Grid {
                corner: [
                    grid.corner[0] + columns.start as f64 * grid.step,
                    grid.corner[1] + rows.start as f64 * grid.step,
                ],
                step: grid.step,
                size: Size {
                    width: columns.len(),
                    height: rows.len(),
                },
            };
            let new = staged(source, &strip, cancel)?;
            for (row, new) in rows.zip(new.chunks_exact(columns.len())) {
                values[row * width..][columns.clone()].copy_from_slice(new);
            }
        }
        Some(values)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(x: f64, y: f64, step: f64, width: usize, height: usize) -> Grid {
        Grid {
            corner: [x, y],
            step,
            size: Size { width, height },
        }
    }

    #[test]
    fn what_both_views_show_is_found() {
        let (from, to) = (grid(0.0, 9.0, 3.0, 40, 20), grid(15.0, 0.0, 3.0, 40, 30));
        let moved = Moved::between(&from, &to, &Arc::default()).expect("they overlap");
        assert_eq!((moved.columns, moved.rows), (0..35, 3..23));
        assert_eq!(moved.by, [5, -3]);
    }

    #[test]
    fn other_steps_parts_of_pixels_and_distant_views_share_nothing() {
        let from = grid(0.0, 0.0, 2.0, 40, 20);
        for to in [
            grid(0.0, 0.0, 2.5, 40, 20),
            grid(1.0, 0.0, 2.0, 40, 20),
            grid(70.0, 0.0, 2.0, 40, 20),
            grid(1e12, 0.0, 2.0, 40, 20),
        ] {
            assert!(Moved::between(&from, &to, &Arc::default()).is_none());
        }
    }
}
