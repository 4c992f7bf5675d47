//! Noise, smoothed away scale by scale.
//!
//! A channel is taken apart into scales by the isotropic undecimated wavelet
//! transform with the cubic B-spline, the starlet (Starck, Murtagh and Bertero
//! 2011, in: Handbook of Mathematical Methods in Imaging; Starck and Murtagh
//! 1994, A&A 288, 342). On each scale a coefficient keeps the share that its
//! neighbourhood stands out of that scale's noise:
//!
//! ```text
//! m  = mean of w^2 over 3 x 3 coefficients, 2^j px apart
//! w' = w max(0, 1 - T s^2 / m)
//! ```
//!
//! which is the shrinkage of Cai and Silverman (2001, Sankhya B 63, 127). The
//! noise `s` of each scale, and how it changes over the field, is measured from
//! the channel itself ([`NoiseModel`]): stacks that were resampled have
//! correlated noise, bright parts have more. What is no data stays so and takes no
//! part.

mod noise;

mod starlet;

pub use noise::NoiseModel;

use std::ops::ControlFlow;

use rayon::prelude::*;

use super::frame::{Plane, Rows as _, Size};
use starlet::{Field, ROWS_TOGETHER, smoother};

/// What a record says of it.
pub const METHOD: &str = "starlet of 5 scales, shrunk by neighbourhoods of 3 x 3";

/// Scales that noise is taken out of: structure of 1 to some 30 px.
pub const SCALES: usize = 5;

/// `T` on each scale. The finest has the most coefficients that chance makes
/// large, and the least of the light.
const THRESHOLDS: [f32; SCALES] = [4.0, 3.2, 2.6, 2.2, 2.0];

/// The job was stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("stopped")]
pub struct Stopped;

/// A channel with its noise smoothed away as far as can be told from light. Takes
/// about four planes of memory beside the two. `tick` hears what is done, of how
/// much, and may stop it.
///
/// # Errors
/// [`Stopped`].
pub fn smoothed(
    plane: &Plane,
    tick: &dyn Fn(usize, usize) -> ControlFlow<()>,
) -> Result<Plane, Stopped> {
    let size = plane.size();
    let Some(values) = plane.values().as_slice() else {
        return Ok(plane.clone());
    };
    let stop = |done: usize| match tick(done, 2 * SCALES + 1) {
        ControlFlow::Continue(()) => Ok(()),
        ControlFlow::Break(()) => Err(Stopped),
    };
    stop(0)?;
    let mut field = Field::new(values, size);
    let mut coarse = vec![0.0; values.len()];
    let mut removed = vec![0.0; values.len()];
    let mut model: Option<NoiseModel> = None;
    for scale in 0..SCALES {
        smoother(&field, scale, &mut coarse);
        stop(2 * scale + 1)?;
        match &mut model {
            None => {
                let Some(first) = NoiseModel::finest(&field, &coarse) else {
                    // No noise at all: nothing to smooth.
                    return Ok(plane.clone());
                };
                model = Some(first);
            }
            Some(model) => model.add_scale(&field, &coarse),
        }
        if let Some(model) = &model {
            remove(&field, &coarse, scale, model, &mut removed);
        }
        stop(2 * scale + 2)?;
        field.take(&mut coarse);
    }
    removed
        .par_chunks_mut(1 << 16)
        .zip(values.par_chunks(1 << 16))
        .for_each(|(removed, values)| {
            for (removed, value) in removed.iter_mut().zip(values) {
                *removed = value - *removed;
            }
        });
    Plane::from_vec(size, removed).ok_or(Stopped)
}

/// Moves values by a share (0..1) towards smooth ones: `v + k (d - v)`.
pub fn blend(values: &mut [f32], smooth: &[f32], share: f32) {
    for (value, smooth) in values.iter_mut().zip(smooth) {
        *value += share * (smooth - *value);
    }
}

// Adds what a scale loses. `field` is the scale above, `coarse` the one below.
fn remove(
    field: &Field<'_>,
    coarse: &[f32],
    scale: usize,
    model: &NoiseModel,
    removed: &mut [f32],
) {
    let Size { width, height } = field.size();
    let apart = 1_usize << scale;
    let threshold = THRESHOLDS[scale];
    removed
        .par_chunks_mut(width * ROWS_TOGETHER)
        .enumerate()
        .for_each(|(chunk, removed)| {
            let level = fearless_simd::Level::new();
            let mut work = Work::new(width, apart);
            for (y, removed) in (chunk * ROWS_TOGETHER..).zip(removed.chunks_exact_mut(width)) {
                let rows = [y.saturating_sub(apart), y, (y + apart).min(height - 1)];
                fearless_simd::dispatch!(level, _simd => {
                    work.sums(field, coarse, rows);
                    model.variances(scale, y, &mut work.noise);
                    work.shrink(threshold, removed);
                });
            }
        });
}

// What one row needs; sums have `apart` columns more at both ends.
struct Work {
    apart: usize,
    own: Vec<f32>,
    sums: Vec<f32>,
    noise: Vec<f32>,
}

impl Work {
    fn new(width: usize, apart: usize) -> Self {
        Self {
            apart,
            own: vec![0.0; width],
            sums: vec![0.0; width + 2 * apart],
            noise: vec![0.0; width],
        }
    }

    // Squares of three rows, summed; the middle row's own coefficients.
    #[inline(always)]
    fn sums(&mut self, field: &Field<'_>, coarse: &[f32], rows: [usize; 3]) {
        let (width, apart) = (self.own.len(), self.apart);
        let row = |y: usize| {
            (
                &field.values()[y * width..(y + 1) * width],
                &coarse[y * width..(y + 1) * width],
            )
        };
        let [(a, a2), (b, b2), (c, c2)] = rows.map(row);
        let sums = &mut self.sums[apart..apart + width];
        for x in 0..width {
            let (above, own, below) = (a[x] - a2[x], b[x] - b2[x], c[x] - c2[x]);
            self.own[x] = own;
            sums[x] = known(above * above) + known(own * own) + known(below * below);
        }
        let (first, last) = (sums[0], sums[width - 1]);
        self.sums[..apart].fill(first);
        self.sums[apart + width..].fill(last);
    }

    #[inline(always)]
    fn shrink(&self, threshold: f32, removed: &mut [f32]) {
        let (width, apart) = (self.own.len(), self.apart);
        let left = &self.sums[..width];
        let middle = &self.sums[apart..apart + width];
        let right = &self.sums[2 * apart..2 * apart + width];
        for x in 0..width {
            let mean = (left[x] + middle[x] + right[x]) * (1.0 / 9.0);
            let limit = threshold * self.noise[x];
            let lost = if mean > limit { limit / mean } else { 1.0 };
            removed[x] += lost * self.own[x];
        }
    }
}

// What is no data says nothing of its neighbours.
#[inline(always)]
fn known(value: f32) -> f32 {
    if value.is_nan() { 0.0 } else { value }
}

#[cfg(test)]
mod tests;
