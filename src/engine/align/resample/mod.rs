//! A source seen on the reference's grid.
//!
//! Each pixel of the result looks its position up in the source and takes a
//! weighted mean of the pixels around it: Lanczos with three lobes, its weights
//! normalised, widened where the source is finer than the result. Surface
//! brightness is kept: a constant stays the same constant at any scale. Each
//! channel is meant to go through once, straight from its file.
//!
//! - No data stays no data: missing pixels are left out of the mean, and where
//!   they would have had more than half of the weight there is no result.
//!   Outside the source (beyond half a pixel from the outermost centres) there
//!   is none either.
//! - Stars leave no rings; see [`Aligned::new`] for how they are told from noise.
//! - Shifts by whole pixels, quarter and half turns and mirror images copy
//!   values bit for bit.
//! - The same bits come out for any number of threads and any division of the
//!   result into bands.

mod kernel;
mod pixel;
mod place;
mod six;
mod tile;
mod window;

use std::num::NonZeroUsize;
use std::sync::{Arc, Mutex, PoisonError};

use rayon::prelude::*;

use super::transform::Transform;
use crate::engine::frame::{BAND_ROWS, Rows, RowsError, Size};
use pixel::Limit;
use tile::{Rect, TILE, Work};
use window::Window;

/// A source on another grid. Values are in the source's units.
///
/// # How the source is read
/// Always in runs of whole rows from the top down, each row once in a pass.
/// Where the result runs down the source and a band of it needs no more source
/// rows than half the memory holds, reading the result from the top is one pass
/// in all. Else (half turns, and steep turns of pictures that do not fit) the
/// result is made in blocks that fill half the memory, one pass for each: a
/// source that is slow to go back in, such as a compressed file, is started
/// over once for a block, not once for a band. Reading the result backwards
/// costs a pass for each band.
///
/// # Threads
/// `read` shares its work out over the current thread pool. Calls that overlap
/// in time do not wait for one another; all but one of them start with nothing
/// held, and need the memory once more.
pub struct Aligned {
    source: Arc<dyn Rows>,
    size: Size,
    work: Work,
    // Rows of a block, a multiple of BAND_ROWS.
    block_rows: usize,
    // Source rows held while a block is made.
    window_rows: usize,
    state: Mutex<Option<Box<State>>>,
}

#[derive(Default)]
struct State {
    window: Window,
    block: Option<usize>,
    values: Vec<f32>,
}

impl std::fmt::Debug for Aligned {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Aligned")
            .field("source", &self.source.size())
            .field("size", &self.size)
            .field("work", &self.work)
            .finish_non_exhaustive()
    }
}

impl Aligned {
    /// Sees `source` through `transform` on a reference grid of `size`.
    ///
    /// `noise` is the sigma of the source's noise in its own units. Beside
    /// pixels that stand out by more than ten times as much (six, to begin
    /// with) the kernel's overshoots are replaced by bilinear interpolation;
    /// below that they stay under the noise. 0 replaces every overshoot; None
    /// (or a value that is not a number) replaces none.
    ///
    /// `memory` is what may be held, bytes: half for source rows, half for
    /// finished ones. At least what one band of tiles needs is always taken.
    pub fn new(
        source: Arc<dyn Rows>,
        transform: &Transform,
        size: Size,
        noise: Option<f32>,
        memory: NonZeroUsize,
    ) -> Self {
        let limit = Limit(noise.filter(|sigma| *sigma >= 0.0));
        let work = Work::new(transform, size, limit);
        let from = source.size();
        let half = memory.get() / 2;
        let window_rows = (half / 4 / from.width).max(1);
        let steepest = (0..size.height)
            .step_by(BAND_ROWS)
            .filter_map(|y| {
                let rect = Rect {
                    x: 0,
                    y,
                    width: size.width,
                    height: BAND_ROWS.min(size.height - y),
                };
                work.rows(rect, from).map(|(first, end)| end - first)
            })
            .max()
            .unwrap_or(0);
        let block_rows = if work.descends(size) && steepest <= window_rows {
            BAND_ROWS
        } else {
            let bands = (half / 4 / size.width / BAND_ROWS).max(1);
            bands.min(size.height.div_ceil(BAND_ROWS)) * BAND_ROWS
        };
        Self {
            source,
            size,
            work,
            block_rows,
            window_rows,
            state: Mutex::new(None),
        }
    }

    // Makes the block's rows into `state.values`.
    fn make(&self, state: &mut State, block: usize) -> Result<(), RowsError> {
        let first_row = block * self.block_rows;
        let rows = self.block_rows.min(self.size.height - first_row);
        let width = self.size.width;
        state.block = None;
        state.values.clear();
        state.values.resize(rows * width, f32::NAN);
        // Tiles in the order of the source rows that they need.
        let source_size = self.source.size();
        let mut tiles: Vec<(usize, usize, Rect)> = (0..rows)
            .step_by(TILE)
            .flat_map(|y| (0..width).step_by(TILE).map(move |x| (x, y)))
            .filter_map(|(x, y)| {
                let rect = Rect {
                    x,
                    y: first_row + y,
                    width: TILE.min(width - x),
                    height: TILE.min(rows - y),
                };
                let (first, end) = self.work.rows(rect, source_size)?;
                Some((first, end, rect))
            })
            .collect();
        tiles.sort_by_key(|(first, end, rect)| (*first, *end, rect.y, rect.x));
        let level = fearless_simd::Level::new();
        let mut rest = &tiles[..];
        while let Some((first, mut end, _)) = rest.first().copied() {
            // As many tiles as the window has room for.
            let mut count = 0;
            for (_, tile_end, _) in rest {
                if count > 0 && tile_end.max(&end) - first > self.window_rows {
                    break;
                }
                end = end.max(*tile_end);
                count += 1;
            }
            let (now, later) = rest.split_at(count);
            rest = later;
            state.window.move_to(&*self.source, first, end)?;
            let view = state.window.view(&*self.source);
            let made: Vec<_> = now
                .par_iter()
                .map(|(_, _, rect)| {
                    let mut values = vec![f32::NAN; rect.width * rect.height];
                    self.work
                        .fill(level, &view, *rect, &mut values)
                        .map(|()| values)
                })
                .collect();
            for ((_, _, rect), made) in now.iter().zip(made) {
                let made = made.map_err(|_| bent(rect))?;
                for (j, row) in made.chunks_exact(rect.width).enumerate() {
                    let from = (rect.y - first_row + j) * width + rect.x;
                    state.values[from..from + rect.width].copy_from_slice(row);
                }
            }
        }
        state.block = Some(block);
        Ok(())
    }
}

fn bent(rect: &Rect) -> RowsError {
    RowsError {
        message: format!(
            "the alignment bends too sharply near x {}, y {} of the reference to be followed",
            rect.x, rect.y
        ),
        hint: "align this channel by stars with a simpler model, or check its coordinates"
            .to_owned(),
    }
}

impl Rows for Aligned {
    fn size(&self) -> Size {
        self.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        // What is held is taken out while it is worked with: no lock is held
        // while the thread pool works, so no thread can wait for itself.
        let held = self
            .state
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .take();
        let mut state = held.unwrap_or_default();
        let width = self.size.width;
        let mut row = first_row;
        let mut rest = out;
        while !rest.is_empty() {
            let block = row / self.block_rows;
            if state.block != Some(block) {
                self.make(&mut state, block)?;
            }
            let from = (row - block * self.block_rows) * width;
            let length = rest.len().min(state.values.len() - from);
            let (now, later) = rest.split_at_mut(length);
            now.copy_from_slice(&state.values[from..from + length]);
            rest = later;
            row += length / width;
        }
        *self.state.lock().unwrap_or_else(PoisonError::into_inner) = Some(state);
        Ok(())
    }
}

#[cfg(test)]
mod tests;
