//! Less noise in a linear picture, and nothing else less.
//!
//! The picture is taken apart by the starlet transform (isotropic, undecimated;
//! Starck, Murtagh & Fadili 2010), in each scale what does not stand out of that
//! scale's own noise is taken away, and the rest stays to the bit: what comes out
//! is the picture minus its noise. The noise is measured for each scale on the
//! picture itself ([`NoiseModel`]).
//!
//! Works in pieces with a margin: memory beside the two planes is about 20 MB a
//! thread. The same bits with any number of threads, and for any window.

mod noise;
mod patch;
mod scales;
mod shrink;
#[cfg(test)]
mod tests;

pub use noise::NoiseModel;
use patch::Patch;
pub use patch::Rect;
pub use scales::{MARGIN, SCALES};

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::frame::{Plane, Rows, Size};
use rayon::prelude::*;

/// What a record says of it.
pub const METHOD: &str =
    "starlet of 5 scales, each shrunk by its own noise in neighbourhoods of 3 x 3";

/// `tick` asked to stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("stopped before the noise was taken away")]
pub struct Stopped;

/// Hears how many rows are done, of how many; may stop.
pub type Tick<'a> = &'a (dyn Fn(usize, usize) -> ControlFlow<()> + Sync);

// Pieces that are worked on at a time.
const TILE: Size = Size {
    width: 832,
    height: 256,
};

/// The picture without its noise, in file units; NaN stays NaN.
///
/// # Errors
/// [`Stopped`] where `tick` breaks off.
pub fn smoothed(plane: &Plane, model: &NoiseModel, tick: Tick<'_>) -> Result<Plane, Stopped> {
    let size = plane.size();
    let whole = Rect { x: 0, y: 0, size };
    let values = smoothed_in(plane, model, whole, tick)?;
    Plane::from_vec(size, values).ok_or(Stopped)
}

/// A window of what [`smoothed`] gives, to the bit: rows of `window.size.width`
/// values. The window must lie on the picture; [`MARGIN`] pixels around it are
/// read too.
///
/// # Errors
/// [`Stopped`] where `tick` breaks off.
pub fn smoothed_in(
    plane: &Plane,
    model: &NoiseModel,
    window: Rect,
    tick: Tick<'_>,
) -> Result<Vec<f32>, Stopped> {
    let size = plane.size();
    let picture = plane.values().as_slice().unwrap_or(&[]);
    let done = AtomicUsize::new(0);
    let mut values = vec![0.0f32; window.size.pixels()];
    let rows = tile_rows(window.size);
    values
        .par_chunks_mut(window.size.width * rows)
        .enumerate()
        .try_for_each(|(index, band)| {
            let height = band.len() / window.size.width;
            for x in (0..window.size.width).step_by(TILE.width) {
                let width = TILE.width.min(window.size.width - x);
                let rect = Rect {
                    x: window.x + x,
                    y: window.y + index * rows,
                    size: Size { width, height },
                };
                let patch = Patch::cut(picture, size, rect, MARGIN, model.sky);
                let level = fearless_simd::Level::new();
                let noise =
                    fearless_simd::dispatch!(level, _simd => shrink::noise_of(&patch, model));
                for row in 0..height {
                    let from = (rect.y + row) * size.width + rect.x;
                    let at = (row + MARGIN) * patch.width + MARGIN;
                    let out = &mut band[row * window.size.width + x..][..width];
                    for ((out, value), noise) in
                        out.iter_mut().zip(&picture[from..]).zip(&noise[at..])
                    {
                        *out = value - noise;
                    }
                }
            }
            let done = done.fetch_add(height, Ordering::Relaxed) + height;
            match tick(done, window.size.height) {
                ControlFlow::Continue(()) => Ok(()),
                ControlFlow::Break(()) => Err(Stopped),
            }
        })?;
    Ok(values)
}

// Bands of the usual height, or lower ones where a window is small, so that
// several threads have work.
fn tile_rows(size: Size) -> usize {
    TILE.height.min(size.height.div_ceil(4)).max(64)
}

/// Goes the share `strength` (0..1) of the way from `values` to the smoothed
/// ones. 0 changes no bit.
pub fn blend(values: &mut [f32], smoothed: &[f32], strength: f32) {
    for (value, smooth) in values.iter_mut().zip(smoothed) {
        *value += strength * (smooth - *value);
    }
}
