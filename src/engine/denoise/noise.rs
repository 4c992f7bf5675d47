//! How much noise each scale holds, measured on the picture itself.
//!
//! Resampling correlates the noise of neighbours, so white noise's share of each
//! scale would be wrong: too much at the finest, too little beyond. Photon noise
//! grows with the light: variance = sky's variance x (1 + growth x signal).

use super::patch::{Patch, Rect};
use super::scales::{MARGIN, SCALES, each_scale};
use crate::engine::frame::{Plane, Rows, Size};
use rayon::prelude::*;

/// The noise of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseModel {
    /// Level of the sky, file units: what the signal is counted from.
    pub sky: f32,
    /// Standard deviation of the coefficients of each scale on the sky, file
    /// units, the finest scale first. All 0 where there is no noise to be found.
    pub scales: [f32; SCALES],
    /// Growth of the variance for one file unit of signal above the sky, as a
    /// share of the sky's variance; at least 0.
    pub growth: f32,
}

// Columns and rows of a piece that is looked at; pieces, at most, along a side.
const PIECE: usize = 192;
const ALONG: usize = 8;

// Side of the blocks that are told apart by their brightness, px.
const BLOCK: usize = 64;

// Share of the blocks, the darkest, that the noise is measured on.
const DARKEST: f64 = 0.35;

// White noise: the share of a scale's noise in that of the finer one.
const WHITE: [f32; SCALES] = [1.0, 0.2253, 0.4265, 0.4815, 0.4995];

// How much more than that is still noise: more is nebula, or a gradient.
const MORE: f32 = 1.06;

// Correlated noise falls more slowly; by how much, at most.
const CORRELATED: f32 = 1.3;

// 1 / Phi^-1(3/4): from the median of a normal variable's size to its sigma.
const TO_SIGMA: f32 = 1.482_602_2;

// Bins of signal, each from 2^n to 2^(n+1) sigma of the finest scale; fewest
// pixels that count.
const BINS: usize = 12;
const FEWEST: usize = 400;

struct Block {
    level: f32,
    sizes: [Vec<f32>; SCALES],
}

struct Look {
    blocks: Vec<Block>,
    // Signal over the base and size of the finest coefficient, where the picture is smooth.
    smooth: Vec<(f32, f32)>,
}

impl NoiseModel {
    /// Measures the noise on up to 64 evenly spaced pieces of 192 x 192 pixels.
    pub fn measure(plane: &Plane) -> Self {
        let size = plane.size();
        let Some(picture) = plane.values().as_slice() else {
            return Self::NONE;
        };
        let base = middle_of(picture);
        let places = pieces(size);
        let looks: Vec<Look> = places
            .par_iter()
            .map(|rect| {
                let patch = Patch::cut(picture, size, *rect, MARGIN, base);
                let level = fearless_simd::Level::new();
                fearless_simd::dispatch!(level, _simd => look_at(&patch, *rect))
            })
            .collect();
        let mut blocks: Vec<Block> = Vec::new();
        let mut smooth = Vec::new();
        for look in looks {
            blocks.extend(look.blocks);
            smooth.extend(look.smooth);
        }
        blocks.sort_by(|a, b| a.level.total_cmp(&b.level));
        let dark = ((blocks.len() as f64 * DARKEST) as usize).max(1);
        blocks.truncate(dark);
        let mut scales = [0.0f32; SCALES];
        for index in 0..SCALES {
            let mut sizes: Vec<f32> = blocks
                .iter()
                .flat_map(|block| block.sizes[index].iter().copied())
                .collect();
            scales[index] = middle(&mut sizes) * TO_SIGMA;
            if index >= 2 && scales[0] > 0.0 {
                let slower = (scales[1] / (scales[0] * WHITE[1])).sqrt();
                let most = WHITE[index] * MORE * slower.clamp(1.0, CORRELATED);
                scales[index] = scales[index].min(scales[index - 1] * most);
            }
        }
        let mut levels: Vec<f32> = blocks.iter().map(|block| block.level).collect();
        let sky = middle(&mut levels);
        let growth = growth(&smooth, sky, scales[0]);
        Self {
            sky: base + sky,
            scales,
            growth,
        }
    }

    /// No noise at all: nothing is taken away.
    pub const NONE: Self = Self {
        sky: 0.0,
        scales: [0.0; SCALES],
        growth: 0.0,
    };

    /// Standard deviation of one pixel of sky, file units, as far as these
    /// scales hold it.
    pub fn sigma(&self) -> f32 {
        self.scales.iter().map(|s| s * s).sum::<f32>().sqrt()
    }
}

// Evenly spaced pieces; small pictures are covered once.
fn pieces(size: Size) -> Vec<Rect> {
    let along = |length: usize| -> Vec<(usize, usize)> {
        let count = length.div_ceil(PIECE).min(ALONG);
        let extent = PIECE.min(length);
        let room = length - extent;
        (0..count)
            .map(|n| (if count > 1 { room * n / (count - 1) } else { 0 }, extent))
            .collect()
    };
    let columns = along(size.width);
    along(size.height)
        .into_iter()
        .flat_map(|(y, height)| {
            columns.iter().map(move |(x, width)| Rect {
                x: *x,
                y,
                size: Size {
                    width: *width,
                    height,
                },
            })
        })
        .collect()
}

#[inline(always)]
fn look_at(patch: &Patch, rect: Rect) -> Look {
    let (columns, rows) = (rect.size.width, rect.size.height);
    let width = patch.width;
    let has_data = |at: usize| patch.mask.is_empty() || patch.mask[at] > 0.0;
    let inside = |x: usize, y: usize| (y + MARGIN) * width + x + MARGIN;
    let across = columns.div_ceil(BLOCK);
    let mut blocks: Vec<Block> = (0..across * rows.div_ceil(BLOCK))
        .map(|_| Block {
            level: 0.0,
            sizes: Default::default(),
        })
        .collect();
    let mut first = vec![0.0f32; columns * rows];
    let mut smooth = Vec::new();
    each_scale(patch, |scale| {
        for y in 0..rows {
            for x in 0..columns {
                let at = inside(x, y);
                if !has_data(at) {
                    continue;
                }
                let w = scale.fine[at] - scale.coarse[at];
                blocks[y / BLOCK * across + x / BLOCK].sizes[scale.index].push(w.abs());
                match scale.index {
                    0 => first[y * columns + x] = w.abs(),
                    // Stars change as much as they shine; gas is smooth.
                    2 if w.abs() < 0.02 * scale.coarse[at].abs() => {
                        smooth.push((scale.coarse[at], first[y * columns + x]));
                    }
                    _ => {}
                }
            }
        }
        if scale.index + 1 == SCALES {
            for (n, block) in blocks.iter_mut().enumerate() {
                let (left, top) = (n % across * BLOCK, n / across * BLOCK);
                let mut levels = Vec::new();
                for y in (top..rows.min(top + BLOCK)).step_by(4) {
                    for x in (left..columns.min(left + BLOCK)).step_by(4) {
                        let at = inside(x, y);
                        if has_data(at) {
                            levels.push(scale.coarse[at]);
                        }
                    }
                }
                block.level = middle(&mut levels);
            }
        }
    });
    blocks.retain(|block| block.sizes[0].len() * 2 > BLOCK * BLOCK || columns.min(rows) < BLOCK);
    Look { blocks, smooth }
}

// How the variance of the finest scale grows with the signal: what a third
// of the bins, each counted by its pixels, say or less. Structure only adds.
fn growth(smooth: &[(f32, f32)], sky: f32, sigma: f32) -> f32 {
    if sigma <= 0.0 {
        return 0.0;
    }
    let mut bins: Vec<(f64, Vec<f32>)> = vec![(0.0, Vec::new()); BINS];
    for (signal, size) in smooth {
        let above = (signal - sky) / sigma;
        if above >= 4.0 {
            let bin = (libm::log2(f64::from(above)) as usize).min(BINS - 1);
            bins[bin].0 += f64::from(signal - sky);
            bins[bin].1.push(*size);
        }
    }
    let mut says: Vec<(f64, usize)> = Vec::new();
    for (sum, sizes) in &mut bins {
        let count = sizes.len();
        if count >= FEWEST {
            let ratio = f64::from(middle(sizes) * TO_SIGMA / sigma);
            let mean = *sum / count as f64;
            says.push(((ratio * ratio - 1.0) / mean, count));
        }
    }
    says.sort_by(|a, b| a.0.total_cmp(&b.0));
    let third = says
        .iter()
        .map(|(_, count)| count)
        .sum::<usize>()
        .div_ceil(3);
    let mut seen = 0;
    for (growth, count) in says {
        seen += count;
        if seen >= third {
            return growth.max(0.0) as f32;
        }
    }
    0.0
}

// The median; 0 of nothing. The lower one of two.
fn middle(values: &mut [f32]) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let at = (values.len() - 1) / 2;
    *values.select_nth_unstable_by(at, f32::total_cmp).1
}

// A rough median: numbers near the sky lose the fewest digits.
fn middle_of(picture: &[f32]) -> f32 {
    let step = (picture.len() / 65_536).max(1);
    let mut some: Vec<f32> = picture
        .iter()
        .step_by(step)
        .copied()
        .filter(|value| value.is_finite())
        .collect();
    middle(&mut some)
}
