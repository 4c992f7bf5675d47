//! Rows from sources that can only be decoded from the top down.
//!
//! A decoder runs forward as far as somebody asks. The rows that it passed are
//! kept for a while, so that several threads that read neighbouring bands, or
//! one that reads overlapping ones, need no new start.

use std::sync::{Mutex, PoisonError};

use crate::engine::frame::{BAND_ROWS, Rows, RowsError, Size};

/// Rows that are kept behind the decoder, unless they would be too many bytes.
const KEPT_ROWS: usize = 8 * BAND_ROWS;

/// Bytes that the kept rows may take.
const KEPT_BYTES: usize = 64 << 20;

/// A decoder at some row of its picture.
pub(super) trait Decoder: Send {
    /// The next rows, as many as fit into `out` (whole rows, never beyond the last).
    fn next_rows(&mut self, out: &mut [f32]) -> Result<(), RowsError>;
}

/// Starts a decoder at the first row.
pub(super) type Start = Box<dyn Fn() -> Result<Box<dyn Decoder>, RowsError> + Send + Sync>;

/// Rows behind a decoder.
pub(super) struct InOrder {
    size: Size,
    start: Start,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    decoder: Option<Box<dyn Decoder>>,
    /// The next row of the decoder.
    next: usize,
    /// What a decoder failed with: another start would fail in the same way.
    failed: Option<RowsError>,
    /// Row `r` lies in slot `r % slots`.
    kept: Vec<f32>,
}

impl InOrder {
    /// Nothing is started before the first row is asked for.
    pub fn new(size: Size, start: Start) -> Self {
        Self {
            size,
            start,
            state: Mutex::default(),
        }
    }

    fn slots(&self) -> usize {
        (KEPT_BYTES / 4 / self.size.width)
            .clamp(1, KEPT_ROWS)
            .min(self.size.height)
    }
}

impl Rows for InOrder {
    fn size(&self) -> Size {
        self.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let width = self.size.width;
        let slots = self.slots();
        let mut guard = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        let state = &mut *guard;
        if let Some(error) = &state.failed {
            return Err(error.clone());
        }
        for (row, out) in (first_row..).zip(out.chunks_exact_mut(width)) {
            if state.decoder.is_none() || row + slots < state.next {
                state.decoder = Some((self.start)()?);
                state.next = 0;
                state.kept.resize(slots * width, 0.0);
            }
            while row >= state.next {
                let slot = state.next % slots;
                // Up to a band at a time, to the end of the ring, and not past the last row.
                let count = BAND_ROWS
                    .min(slots - slot)
                    .min(self.size.height - state.next);
                let rows = &mut state.kept[slot * width..(slot + count) * width];
                let decoded = match &mut state.decoder {
                    Some(decoder) => decoder.next_rows(rows),
                    None => return Ok(()),
                };
                if let Err(error) = decoded {
                    state.decoder = None;
                    state.failed = Some(error.clone());
                    return Err(error);
                }
                state.next += count;
            }
            let slot = row % slots;
            out.copy_from_slice(&state.kept[slot * width..(slot + 1) * width]);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;

    struct Counting(f32);

    impl Decoder for Counting {
        fn next_rows(&mut self, out: &mut [f32]) -> Result<(), RowsError> {
            for value in out {
                *value = self.0;
                self.0 += 1.0;
            }
            Ok(())
        }
    }

    fn counting(size: Size) -> (InOrder, Arc<AtomicUsize>) {
        let starts = Arc::new(AtomicUsize::new(0));
        let seen = Arc::clone(&starts);
        let start = move || {
            seen.fetch_add(1, Ordering::SeqCst);
            Ok(Box::new(Counting(0.0)) as Box<dyn Decoder>)
        };
        (InOrder::new(size, Box::new(start)), starts)
    }

    #[test]
    fn rows_are_the_same_in_any_order() {
        let size = Size {
            width: 3,
            height: 2000,
        };
        let (rows, starts) = counting(size);
        for first in [0, 64, 1000, 950, 700, 1999, 10, 1994] {
            let count = 6.min(size.height - first);
            let mut out = vec![-1.0; count * size.width];
            rows.read(first, &mut out).expect("the source is sound");
            for (index, value) in out.iter().enumerate() {
                assert_eq!(*value, (first * size.width + index) as f32, "row {first}");
            }
        }
        // Only the step from 1999 back to 10 lay out of reach.
        assert_eq!(starts.load(Ordering::SeqCst), 2);
    }

    struct Failing;

    impl Decoder for Failing {
        fn next_rows(&mut self, _: &mut [f32]) -> Result<(), RowsError> {
            Err(RowsError {
                message: "no".to_owned(),
                hint: String::new(),
            })
        }
    }

    #[test]
    fn a_failure_is_final() {
        let starts = Arc::new(AtomicUsize::new(0));
        let seen = Arc::clone(&starts);
        let start = move || {
            seen.fetch_add(1, Ordering::SeqCst);
            Ok(Box::new(Failing) as Box<dyn Decoder>)
        };
        let rows = InOrder::new(
            Size {
                width: 2,
                height: 2,
            },
            Box::new(start),
        );
        for _ in 0..3 {
            assert!(
                rows.read(0, &mut [0.0; 4])
                    .is_err_and(|error| error.message == "no")
            );
        }
        assert_eq!(starts.load(Ordering::SeqCst), 1);
    }
}
