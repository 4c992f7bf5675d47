//! Rows on their way past: read once from the top, worked on in bands.

use std::ops::{ControlFlow, Range};

use rayon::prelude::*;

use super::FindError;
use crate::engine::frame::Rows;

/// Rows of one band: what one thread works on at a time. A whole number of
/// mesh cells, so that no cell lies in two bands.
pub(super) const BAND: usize = 128;

/// Bands that are in memory together.
const BANDS_AT_ONCE: usize = 4;

/// From this length on a run of zeros at a row's end is empty.
const EMPTY_RUN: usize = 8;

/// Some whole rows of a picture; NaN where there is no data.
#[derive(Debug)]
pub(super) struct Window {
    /// The picture's row that comes first here.
    pub first_row: usize,
    /// Pixels in a row.
    pub width: usize,
    /// Whole rows.
    pub values: Vec<f32>,
}

impl Window {
    /// The row below the last one, counted in the picture.
    pub fn end_row(&self) -> usize {
        self.first_row + self.values.len() / self.width
    }

    /// A row of the picture, which must be among these.
    pub fn row(&self, y: usize) -> &[f32] {
        let start = (y - self.first_row) * self.width;
        &self.values[start..start + self.width]
    }

    /// A pixel; NaN outside.
    pub fn at(&self, x: isize, y: isize) -> f32 {
        let row = y - self.first_row as isize;
        if x < 0 || x >= self.width as isize || row < 0 {
            return f32::NAN;
        }
        let index = row as usize * self.width + x as usize;
        self.values.get(index).copied().unwrap_or(f32::NAN)
    }
}

/// Turns runs of zeros at both ends of a row into missing pixels: what
/// alignment leaves where a frame did not reach.
fn blank_ends(row: &mut [f32]) {
    let blank = |value: &f32| *value == 0.0 || value.is_nan();
    let start = row.iter().take_while(|value| blank(value)).count();
    if start >= EMPTY_RUN {
        row[..start].fill(f32::NAN);
    }
    if start == row.len() {
        return;
    }
    let end = row.iter().rev().take_while(|value| blank(value)).count();
    if end >= EMPTY_RUN {
        let from = row.len() - end;
        row[from..].fill(f32::NAN);
    }
}

/// Reads the picture once from the top and gives each band to `visit`, with a
/// window that holds at least `margin` rows more above and below where the
/// picture has them. While bands are worked on, the next rows are read. The
/// answers come back in the order of the bands.
///
/// `zeros_are_data` keeps runs of zeros at the rows' ends.
pub(super) fn walk<T: Send>(
    rows: &dyn Rows,
    margin: usize,
    zeros_are_data: bool,
    visit: &(dyn Fn(&Window, Range<usize>) -> T + Sync),
    tick: &mut dyn FnMut(usize) -> ControlFlow<()>,
) -> Result<Vec<T>, FindError> {
    let size = rows.size();
    let step = BAND * BANDS_AT_ONCE;
    let fetch = |core: usize, above: Option<&Window>| -> Result<Window, FindError> {
        let first_row = core.saturating_sub(margin);
        let end_row = (core + step + margin).min(size.height);
        let mut values = vec![0.0; (end_row - first_row) * size.width];
        // What the window above already holds is not read again.
        let known = above.map_or(first_row, Window::end_row);
        if let Some(above) = above {
            let skip = (first_row - above.first_row) * size.width;
            let kept = &above.values[skip..];
            values[..kept.len()].copy_from_slice(kept);
        }
        if known < end_row {
            let fresh = &mut values[(known - first_row) * size.width..];
            rows.read(known, fresh)?;
            if !zeros_are_data {
                fresh
                    .par_chunks_mut(size.width)
                    .with_min_len(32)
                    .for_each(blank_ends);
            }
        }
        Ok(Window {
            first_row,
            width: size.width,
            values,
        })
    };
    let mut answers = Vec::new();
    let mut window = fetch(0, None)?;
    let mut core = 0;
    loop {
        let end = (core + step).min(size.height);
        let bands: Vec<_> = (core..end)
            .step_by(BAND)
            .map(|first| first..(first + BAND).min(end))
            .collect();
        let (mut done, next) = rayon::join(
            || {
                bands
                    .into_par_iter()
                    .map(|band| visit(&window, band))
                    .collect::<Vec<_>>()
            },
            || (end < size.height).then(|| fetch(end, Some(&window))),
        );
        answers.append(&mut done);
        if tick(end).is_break() {
            return Err(FindError::Stopped);
        }
        match next {
            Some(next) => window = next?,
            None => return Ok(answers),
        }
        core = end;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Plane;
    use ndarray::Array2;

    #[test]
    fn bands_cover_the_picture_once_with_their_margins() {
        let height = 2 * BAND * BANDS_AT_ONCE + 37;
        let picture = Plane::new(Array2::from_shape_fn((height, 9), |(y, x)| {
            (y * 9 + x + 1) as f32
        }));
        let seen = walk(
            &picture,
            50,
            false,
            &|window, band| {
                let top = band.start.saturating_sub(50);
                let bottom = (band.end + 50).min(height);
                for y in top..bottom {
                    assert_eq!(window.row(y)[3], (y * 9 + 4) as f32);
                }
                assert!(window.at(-1, 0).is_nan());
                band
            },
            &mut |_| ControlFlow::Continue(()),
        )
        .expect("in memory");
        assert_eq!(seen[0].start, 0);
        for pair in seen.windows(2) {
            assert_eq!(pair[0].end, pair[1].start);
        }
        assert_eq!(seen.last().map(|band| band.end), Some(height));
    }

    #[test]
    fn only_long_runs_of_zeros_at_the_ends_are_empty() {
        let mut row = [1.0; 40];
        row[..8].fill(0.0);
        row[15..30].fill(0.0);
        row[35..].fill(0.0);
        blank_ends(&mut row);
        assert!(row[..8].iter().all(|value| value.is_nan()));
        assert_eq!(row[8], 1.0);
        assert_eq!(row[20], 0.0);
        assert_eq!(row[39], 0.0);
        let mut row = [0.0; 5];
        blank_ends(&mut row);
        assert_eq!(row, [0.0; 5]);
    }
}
