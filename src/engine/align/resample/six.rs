//! Rows of pixels under the plain kernel: six rows of six taps each.
//!
//! The sums are those of [`super::pixel::sum_six`], in the same order and so
//! with the same bits, written for vector units: eight taps at a time down the
//! rows, then four pixels at a time across.

use fearless_simd::{Simd, SimdBase, f32x8};

use super::kernel::Kernel;
use super::tile::TILE;

/// Where a pixel's taps are not all in the window.
pub(super) const NONE: usize = usize::MAX;

/// A row of pixels of a tile.
#[derive(Debug)]
pub(super) struct Taps<'a> {
    /// Source rows.
    pub values: &'a [f32],
    /// Pixels of a source row.
    pub width: usize,
    /// Index of each pixel's first tap, or [`NONE`].
    pub starts: &'a [usize; TILE],
    /// The way from pixel to position, 0..1.
    pub parts: [&'a [f32; TILE]; 2],
    /// Weights along x and y.
    pub kernels: [&'a Kernel; 2],
}

type Quarters = [[f32; 4]; TILE];

/// Fills `out` with the plain sums and `is_calm` with whether each can stand:
/// not NaN, and taps no farther apart than `calm`.
#[inline(always)]
pub(super) fn row<S: Simd>(
    simd: S,
    taps: &Taps<'_>,
    calm: f32,
    out: &mut [f32; TILE],
    is_calm: &mut [bool; TILE],
) {
    let mut sums: Quarters = [[f32::NAN; 4]; TILE];
    let mut lows: Quarters = [[0.0; 4]; TILE];
    let mut highs: Quarters = [[0.0; 4]; TILE];
    let width = taps.width;
    for i in 0..TILE {
        let start = taps.starts[i];
        let Some(end) = start.checked_add(5 * width + 8) else {
            continue;
        };
        let Some(values) = taps.values.get(start..end) else {
            continue;
        };
        let across = taps.kernels[0].six_lanes(simd, taps.parts[0][i]);
        let down: [f32; 8] = taps.kernels[1].six_lanes(simd, taps.parts[1][i]).into();
        let first = f32x8::from_slice(simd, &values[..8]);
        let mut lanes = first * f32x8::splat(simd, down[0]);
        let (mut low, mut high) = (first, first);
        for j in 1..6 {
            let row = f32x8::from_slice(simd, &values[j * width..j * width + 8]);
            lanes += row * f32x8::splat(simd, down[j]);
            low = simd.min_f32x8(low, row);
            high = simd.max_f32x8(high, row);
        }
        let (left, right) = simd.split_f32x8(lanes * across);
        sums[i] = (left + right).into();
        let (left, right) = simd.split_f32x8(low);
        lows[i] = simd.min_f32x4(left, right).into();
        let (left, right) = simd.split_f32x8(high);
        highs[i] = simd.max_f32x4(left, right).into();
    }
    for i in (0..TILE).step_by(4) {
        let [a, b, c, d] = simd.load_four_interleaved_f32x4(&four(&sums, i));
        let sum = (a + c) + (b + d);
        let [a, b, c, d] = simd.load_four_interleaved_f32x4(&four(&lows, i));
        let low = simd.min_f32x4(simd.min_f32x4(a, c), simd.min_f32x4(b, d));
        let [a, b, c, d] = simd.load_four_interleaved_f32x4(&four(&highs, i));
        let high = simd.max_f32x4(simd.max_f32x4(a, c), simd.max_f32x4(b, d));
        let sum: [f32; 4] = sum.into();
        let range: [f32; 4] = (high - low).into();
        for k in 0..4 {
            out[i + k] = sum[k];
            is_calm[i + k] = sum[k].abs() < f32::INFINITY && range[k] <= calm;
        }
    }
}

#[inline(always)]
fn four(quarters: &Quarters, i: usize) -> [f32; 16] {
    let mut sixteen = [0.0; 16];
    for k in 0..4 {
        sixteen[4 * k..4 * k + 4].copy_from_slice(&quarters[i + k]);
    }
    sixteen
}
