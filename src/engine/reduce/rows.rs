//! A whole picture at a smaller size, band by band.

use std::sync::{Arc, Mutex, PoisonError};

use super::{Reducer, Sums, Window, reduced_size};
use crate::engine::frame::{BAND_ROWS, Rows, RowsError, Size};

/// A picture whose longer side is brought to a given length. It holds at most
/// one band of the source at a time, and reads that from the top down.
pub struct Reduced {
    rows: Arc<dyn Rows>,
    size: Size,
    reducer: Reducer,
    held: Mutex<Held>,
}

// Source rows in memory: the last of one output row is the first of the next.
#[derive(Default)]
struct Held {
    first: usize,
    values: Vec<f32>,
}

impl Reduced {
    /// `rows` with a longer side of `long_edge` pixels; `rows` as they are
    /// where they are not larger.
    pub fn within(rows: Arc<dyn Rows>, long_edge: usize) -> Arc<dyn Rows> {
        let picture = rows.size();
        let Some(size) = reduced_size(picture, long_edge) else {
            return rows;
        };
        Arc::new(Self {
            reducer: Reducer::new(&Window::whole(picture, size), picture, 1),
            rows,
            size,
            held: Mutex::default(),
        })
    }
}

impl Rows for Reduced {
    fn size(&self) -> Size {
        self.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let width = self.rows.size().width;
        let count = out.len() / self.size.width;
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        let mut sums = Sums::new(&self.reducer);
        // Source rows beyond this are not needed now.
        let end = (first_row..first_row + count)
            .map(|row| self.reducer.rows.span(row))
            .map(|(first, weights)| first + weights.len())
            .max()
            .unwrap_or(0);
        for (row, out) in (first_row..).zip(out.chunks_exact_mut(self.size.width)) {
            sums.clear();
            let (first, weights) = self.reducer.rows.span(row);
            let mut done = 0;
            while done < weights.len() {
                let at = first + done;
                let rows_held = held.values.len() / width;
                if !(held.first..held.first + rows_held).contains(&at) {
                    let wanted = BAND_ROWS.min(end - at);
                    let mut values = std::mem::take(&mut held.values);
                    values.resize(wanted * width, 0.0);
                    self.rows.read(at, &mut values)?;
                    *held = Held { first: at, values };
                    continue;
                }
                let from = at - held.first;
                let here = (rows_held - from).min(weights.len() - done);
                let values = &held.values[from * width..(from + here) * width];
                sums.add(&self.reducer, values, &weights[done..done + here]);
                done += here;
            }
            sums.means(&self.reducer, out);
        }
        Ok(())
    }
}
