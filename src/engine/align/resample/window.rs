//! The source rows that are held at a time.

use crate::engine::frame::{Rows, RowsError};

/// A run of whole source rows that moves down the source.
#[derive(Debug, Default)]
pub(super) struct Window {
    values: Vec<f32>,
    // Rows at the front of `values` that are no longer wanted.
    stale: usize,
    first: usize,
    rows: usize,
}

/// What a window shows: source rows `first..first + rows`.
#[derive(Debug, Clone, Copy)]
pub(super) struct View<'a> {
    pub values: &'a [f32],
    /// Pixels in a row.
    pub width: usize,
    /// Rows of the whole source.
    pub height: usize,
    pub first: usize,
    pub rows: usize,
}

impl Window {
    /// Moves to rows `first..end` of the source, reading those that are not
    /// there yet, from the top down.
    ///
    /// # Errors
    /// Whatever the source meets; the window is empty then.
    pub fn move_to(
        &mut self,
        source: &dyn Rows,
        first: usize,
        end: usize,
    ) -> Result<(), RowsError> {
        let width = source.size().width;
        let held_end = self.first + self.rows;
        if first < self.first || first > held_end {
            self.clear(first);
        }
        self.stale += first - self.first;
        self.rows -= first - self.first;
        self.first = first;
        let held_end = self.first + self.rows;
        if end <= held_end {
            return Ok(());
        }
        // Rows move to the front only after as many have gone by: each row is
        // moved once at the most.
        if self.stale >= self.rows {
            let from = self.stale * width;
            self.values.copy_within(from..from + self.rows * width, 0);
            self.stale = 0;
        }
        let from = (self.stale + self.rows) * width;
        let to = (self.stale + end - first) * width;
        if self.values.len() < to {
            self.values.resize(to, 0.0);
        }
        if let Err(error) = source.read(held_end, &mut self.values[from..to]) {
            self.clear(0);
            return Err(error);
        }
        self.rows = end - first;
        Ok(())
    }

    fn clear(&mut self, first: usize) {
        (self.stale, self.rows, self.first) = (0, 0, first);
    }

    pub fn view(&self, source: &dyn Rows) -> View<'_> {
        let size = source.size();
        let from = self.stale * size.width;
        View {
            values: &self.values[from..from + self.rows * size.width],
            width: size.width,
            height: size.height,
            first: self.first,
            rows: self.rows,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Plane;
    use ndarray::Array2;

    #[test]
    fn a_window_shows_the_rows_it_was_moved_to() {
        let plane = Plane::new(Array2::from_shape_fn((90, 3), |(y, x)| (10 * y + x) as f32));
        let mut window = Window::default();
        for (first, end) in [
            (0, 10),
            (4, 12),
            (5, 30),
            (5, 6),
            (29, 40),
            (60, 61),
            (60, 90),
            (2, 5),
            (5, 5),
        ] {
            window.move_to(&plane, first, end).expect("reads");
            let view = window.view(&plane);
            assert!(view.first == first && view.first + view.rows >= end);
            for y in first..end {
                let row = &view.values[3 * (y - first)..][..3];
                let y = y as f32;
                assert_eq!(row, [10.0 * y, 10.0 * y + 1.0, 10.0 * y + 2.0]);
            }
        }
    }
}
