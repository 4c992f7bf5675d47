//! Which part of the grid is kept, and what a picture covers of it.

use std::sync::Arc;

use super::frame::{BAND_ROWS, Rows, RowsError, Size};

/// A rectangle of a grid: the first pixel kept, and how many.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rectangle {
    /// Column and row of its first pixel.
    pub origin: [usize; 2],
    /// Width and height.
    pub size: Size,
}

/// A part of a picture.
pub struct Cropped {
    rows: Arc<dyn Rows>,
    part: Rectangle,
}

impl Cropped {
    /// The part of `rows`; None where it reaches beyond the picture.
    pub fn new(rows: Arc<dyn Rows>, part: Rectangle) -> Option<Self> {
        let size = rows.size();
        let fits = |origin: usize, part: usize, whole: usize| {
            part > 0 && origin.checked_add(part).is_some_and(|end| end <= whole)
        };
        (fits(part.origin[0], part.size.width, size.width)
            && fits(part.origin[1], part.size.height, size.height))
        .then_some(Self { rows, part })
    }
}

impl Rows for Cropped {
    fn size(&self) -> Size {
        self.part.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let [left, top] = self.part.origin;
        let (width, whole) = (self.part.size.width, self.rows.size().width);
        let count = out.len() / width;
        let mut rows = vec![0.0; count * whole];
        self.rows.read(top + first_row, &mut rows)?;
        for (out, row) in out.chunks_exact_mut(width).zip(rows.chunks_exact(whole)) {
            out.copy_from_slice(&row[left..left + width]);
        }
        Ok(())
    }
}

/// Runs of nothing at a row's ends count as empty from this length on.
const EMPTY_RUN: usize = 8;

/// This part of a row's highest value is no light but a rounding error.
const NOTHING: f32 = 1e-9;

/// A picture whose empty rim (zeros or rounding errors in runs from the left
/// or right edge, as aligning leaves them where a frame did not reach) is no
/// data.
pub struct Rimless(pub Arc<dyn Rows>);

impl Rows for Rimless {
    fn size(&self) -> Size {
        self.0.size()
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        self.0.read(first_row, out)?;
        out.chunks_exact_mut(self.0.size().width)
            .for_each(strip_rim);
        Ok(())
    }
}

/// Makes the empty rim of one row no data, as [`Rimless`] does.
pub fn strip_rim(row: &mut [f32]) {
    let highest = row
        .iter()
        .filter(|value| value.is_finite())
        .fold(0.0_f32, |highest, value| highest.max(value.abs()));
    let empty = |value: &&mut f32| value.is_nan() || value.abs() <= highest * NOTHING;
    let from_left = row.iter_mut().take_while(empty).count();
    let from_right = row.iter_mut().rev().take_while(empty).count();
    if from_left >= EMPTY_RUN || from_left == row.len() {
        row[..from_left].fill(f32::NAN);
    }
    if from_right >= EMPTY_RUN {
        let start = row.len() - from_right;
        row[start..].fill(f32::NAN);
    }
}

/// The columns of a row from the first to beyond the last that hold data; `(0, 0)`
/// where there is none.
pub fn span_of(row: &[f32]) -> (usize, usize) {
    let first = row.iter().position(|value| !value.is_nan());
    let last = row.iter().rposition(|value| !value.is_nan());
    match (first, last) {
        (Some(first), Some(last)) => (first, last + 1),
        _ => (0, 0),
    }
}

/// For each row of a picture the columns from the first to beyond the last
/// that hold data; `(0, 0)` for a row without any. Gaps inside do not count.
///
/// # Errors
/// What the source meets.
pub fn covered(rows: &dyn Rows) -> Result<Vec<(usize, usize)>, RowsError> {
    let size = rows.size();
    let mut all = Vec::with_capacity(size.height);
    let mut band = vec![0.0; size.width * BAND_ROWS.min(size.height)];
    for first_row in (0..size.height).step_by(BAND_ROWS) {
        let count = BAND_ROWS.min(size.height - first_row) * size.width;
        rows.read(first_row, &mut band[..count])?;
        all.extend(band[..count].chunks_exact(size.width).map(span_of));
    }
    Ok(all)
}

/// The columns that both cover, row by row.
pub fn both(one: &[(usize, usize)], other: &[(usize, usize)]) -> Vec<(usize, usize)> {
    one.iter()
        .zip(other)
        .map(|(a, b)| {
            let (from, to) = (a.0.max(b.0), a.1.min(b.1));
            if from < to { (from, to) } else { (0, 0) }
        })
        .collect()
}

/// The largest rectangle inside what is covered, the topmost and leftmost of
/// several; None where nothing is covered. Works through the rows with the
/// usual stack of rising heights, in time proportional to the pixels.
pub fn largest(covered: &[(usize, usize)], width: usize) -> Option<Rectangle> {
    let mut heights = vec![0_usize; width + 1];
    let mut best: Option<(usize, Rectangle)> = None;
    let mut rising: Vec<(usize, usize)> = Vec::new();
    for (row, (from, to)) in covered.iter().enumerate() {
        for (column, height) in heights[..width].iter_mut().enumerate() {
            *height = if (*from..*to).contains(&column) {
                *height + 1
            } else {
                0
            };
        }
        rising.clear();
        for (column, &height) in heights.iter().enumerate() {
            let mut start = column;
            while let Some(&(left, tall)) = rising.last() {
                if tall < height {
                    break;
                }
                rising.pop();
                start = left;
                let area = tall * (column - left);
                if area > best.as_ref().map_or(0, |(area, _)| *area) {
                    let size = Size {
                        width: column - left,
                        height: tall,
                    };
                    best = Some((
                        area,
                        Rectangle {
                            origin: [left, row + 1 - tall],
                            size,
                        },
                    ));
                }
            }
            if height > 0 {
                rising.push((start, height));
            }
        }
    }
    best.map(|(_, rectangle)| rectangle)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Plane;
    use ndarray::Array2;
    use proptest::prelude::*;

    #[test]
    fn parts_are_cut_out() {
        let plane: Arc<dyn Rows> = Arc::new(Plane::new(Array2::from_shape_fn((9, 7), |(y, x)| {
            (y * 10 + x) as f32
        })));
        let part = Rectangle {
            origin: [2, 3],
            size: Size {
                width: 3,
                height: 4,
            },
        };
        let cropped = Cropped::new(Arc::clone(&plane), part).expect("inside");
        let mut out = [0.0; 6];
        cropped.read(1, &mut out).expect("reads");
        assert_eq!(out, [42.0, 43.0, 44.0, 52.0, 53.0, 54.0]);
        for origin in [[5, 3], [2, 6], [usize::MAX, 0]] {
            assert!(Cropped::new(Arc::clone(&plane), Rectangle { origin, ..part }).is_none());
        }
    }

    #[test]
    fn an_empty_rim_is_no_data_and_a_dark_pixel_is() {
        let mut row = vec![0.0_f32; 40];
        row[10..30].fill(5.0);
        row[20] = 0.0;
        row[35] = f32::NAN;
        let mut rows = Array2::from_elem((2, 40), 3.0_f32);
        rows.row_mut(0)
            .iter_mut()
            .zip(&row)
            .for_each(|(out, value)| *out = *value);
        rows[[1, 0]] = 0.0;
        let plane: Arc<dyn Rows> = Arc::new(Plane::new(rows));
        let covered = covered(&Rimless(plane)).expect("reads");
        assert_eq!(covered, [(10, 30), (0, 40)]);
    }

    #[test]
    fn the_largest_rectangle_of_a_slanted_field() {
        let covered: Vec<_> = (0..10).map(|row| (row, 20)).collect();
        // h rows from the top leave 20 - (h - 1) columns: 10 x 11 is the most.
        let best = largest(&covered, 20).expect("covered");
        assert_eq!(
            best,
            Rectangle {
                origin: [9, 0],
                size: Size {
                    width: 11,
                    height: 10
                }
            }
        );
        assert_eq!(largest(&[(0, 0), (0, 0)], 5), None);
    }

    proptest! {
        #[test]
        fn no_rectangle_is_larger(rows in prop::collection::vec((0_usize..9, 0_usize..9), 1..9)) {
            let rows: Vec<(usize, usize)> =
                rows.into_iter().map(|(a, b)| if a < b { (a, b) } else { (0, 0) }).collect();
            let mut most = 0;
            for top in 0..rows.len() {
                let mut common = (0, usize::MAX);
                for (bottom, row) in rows.iter().enumerate().skip(top) {
                    common = (common.0.max(row.0), common.1.min(row.1));
                    if common.0 < common.1 {
                        most = most.max((common.1 - common.0) * (bottom + 1 - top));
                    }
                }
            }
            let found = largest(&rows, 9).map_or(0, |part| part.size.pixels());
            prop_assert_eq!(found, most);
        }
    }
}
