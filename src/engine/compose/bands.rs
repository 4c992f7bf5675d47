//! A whole picture, band by band: read, composed and written at once.

use std::num::NonZeroUsize;
use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;

use super::super::frame::{BAND_ROWS, Coded, CodedBand, Depth, Rows, RowsError, Size};
use super::{Codes, Composition};

/// Where finished bands go, in order from the top.
pub trait Sink: Send {
    /// What can go wrong.
    type Error: Send;

    /// Takes the next band.
    ///
    /// # Errors
    /// Whatever the sink meets; composing stops then.
    fn put(&mut self, band: CodedBand) -> Result<(), Self::Error>;
}

/// Someone who watches values go by, band by band: `index` is the channel's
/// place in the recipe.
pub trait Watch: Send + Sync {
    /// Sees the values of rows `first_row..` of one channel.
    fn see(&mut self, first_row: usize, values: &[f32]);
}

/// What composing is told by the outside while it runs.
pub struct Run<'a> {
    /// Set from elsewhere to stop between bands.
    pub cancel: &'a AtomicBool,
    /// Told the rows that are done, after each step forward.
    pub progress: &'a (dyn Fn(usize) + Sync),
}

/// Why composing ended early.
#[derive(Debug)]
pub enum ComposeError<E> {
    /// Someone asked to stop.
    Cancelled,
    /// A source could not be read.
    Rows(RowsError),
    /// The sink could not take a band.
    Sink(E),
}

/// A channel on its way through [`compose`].
pub struct Source<'a> {
    /// Its values.
    pub rows: &'a dyn Rows,
    /// Sees every value that is read.
    pub watch: Option<&'a mut dyn Watch>,
}

/// Rows that are taken in one step, so that everything in flight stays within
/// `memory` bytes: at least one band, and no more than keeps every thread busy.
pub fn rows_in_flight(size: Size, channels: usize, depth: Depth, memory: NonZeroUsize) -> usize {
    // Three steps overlap: one is read, one is composed, one is written.
    let row = size.width * (2 * 4 * channels + 2 * 3 * depth.bytes());
    let bands = (memory.get() / row.max(1) / BAND_ROWS).clamp(1, 8);
    (bands * BAND_ROWS).min(size.height.div_ceil(BAND_ROWS) * BAND_ROWS)
}

/// Makes the whole picture: reads `sources` (one for each of
/// [`Composition::channels`]), and hands finished bands to `sink`. While one
/// step's rows are composed the next are read and the ones before are written.
///
/// # Errors
/// [`ComposeError`]; the sink is left unfinished then.
pub fn compose<S: Sink>(
    composition: &Composition,
    sources: &mut [Source<'_>],
    sink: &mut S,
    step_rows: usize,
    run: &Run<'_>,
) -> Result<(), ComposeError<S::Error>> {
    let Some(first) = sources.first() else {
        return Ok(());
    };
    let size = first.rows.size();
    let mut filled = Step::new(sources.len());
    let mut spare = Step::new(sources.len());
    let mut finished: Option<CodedBand> = None;
    filled
        .fill(sources, size, 0, step_rows)
        .map_err(ComposeError::Rows)?;
    let mut first_row = 0;
    while first_row < size.height {
        if run.cancel.load(Ordering::Relaxed) {
            return Err(ComposeError::Cancelled);
        }
        let next_row = first_row + filled.rows;
        let write = finished.take();
        let ((read, coded), written) = rayon::join(
            || {
                rayon::join(
                    || spare.fill(sources, size, next_row, step_rows),
                    || compose_step(composition, &filled, size.width, first_row),
                )
            },
            || write.map_or(Ok(()), |band| sink.put(band)),
        );
        read.map_err(ComposeError::Rows)?;
        written.map_err(ComposeError::Sink)?;
        finished = Some(coded);
        (run.progress)(first_row);
        first_row = next_row;
        std::mem::swap(&mut filled, &mut spare);
    }
    if let Some(band) = finished {
        sink.put(band).map_err(ComposeError::Sink)?;
    }
    (run.progress)(size.height);
    Ok(())
}

// The rows of all channels that are taken in one step.
struct Step {
    rows: usize,
    values: Vec<Vec<f32>>,
}

impl Step {
    fn new(channels: usize) -> Self {
        Self {
            rows: 0,
            values: vec![Vec::new(); channels],
        }
    }

    fn fill(
        &mut self,
        sources: &mut [Source<'_>],
        size: Size,
        first_row: usize,
        step_rows: usize,
    ) -> Result<(), RowsError> {
        self.rows = step_rows.min(size.height - first_row);
        let pixels = self.rows * size.width;
        self.values
            .par_iter_mut()
            .zip(sources.par_iter_mut())
            .try_for_each(|(values, source)| {
                values.resize(pixels, 0.0);
                if pixels == 0 {
                    return Ok(());
                }
                source.rows.read(first_row, values)?;
                if let Some(watch) = &mut source.watch {
                    watch.see(first_row, values);
                }
                Ok(())
            })
    }
}

fn compose_step(
    composition: &Composition,
    step: &Step,
    width: usize,
    first_row: usize,
) -> CodedBand {
    // Pieces of a few rows: small enough to share out, large enough not to matter.
    const PIECE_ROWS: usize = 16;
    let inputs = |piece: usize| -> Vec<&[f32]> {
        let from = piece * PIECE_ROWS * width;
        let to = ((piece + 1) * PIECE_ROWS).min(step.rows) * width;
        step.values.iter().map(|values| &values[from..to]).collect()
    };
    let (samples, piece) = (step.rows * width * 3, PIECE_ROWS * width * 3);
    let samples = match composition.depth {
        Depth::Eight => {
            let mut out = vec![0; samples];
            out.par_chunks_mut(piece)
                .enumerate()
                .for_each(|(i, out)| composition.run(&inputs(i), Codes::U8(out)));
            Coded::U8(out)
        }
        Depth::Sixteen => {
            let mut out = vec![0; samples];
            out.par_chunks_mut(piece)
                .enumerate()
                .for_each(|(i, out)| composition.run(&inputs(i), Codes::U16(out)));
            Coded::U16(out)
        }
        Depth::Float32 => {
            let mut out = vec![0.0; samples];
            out.par_chunks_mut(piece)
                .enumerate()
                .for_each(|(i, out)| composition.run(&inputs(i), Codes::F32(out)));
            Coded::F32(out)
        }
    };
    CodedBand {
        first_row,
        rows: step.rows,
        samples,
    }
}
