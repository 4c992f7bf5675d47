//! Fine structure of the brightness, brought out without haloes.
//!
//! The lightness (cube root of linear light, as in Oklab) is taken apart by the
//! edge-avoiding a-trous wavelet (Hanika, Dammertz and Lensch 2011, Computer
//! Graphics Forum 30, 1879): a B-spline whose weights fall where lightness
//! differs, so that a star or a bright rim does not spill into the means
//! beside it. What lies between two scales is enlarged, less where it is no
//! larger than noise. Then each pixel is held to what was within [`REACH_PX`] of
//! it: a halo would be lighter or darker than all of that. Where the lightness
//! there differs by `r`, it may go beyond by
//!
//! ```text
//! r / 2 (1 - r / 0.16), nothing where r is 0.16 or more:
//! ```
//!
//! faint filaments grow, at most by 0.02, and beside stars and bright rims nothing
//! does.

use rayon::prelude::*;

use super::frame::Size;
use super::num::cbrt;

/// What lies so near, in pixels of the output, holds a pixel.
pub const REACH_PX: usize = 3;

/// Scales at full size: structure of 1 to some 8 px.
const SCALES: usize = 3;

/// What each scale gains at an amount of 1.
const GAINS: [f32; SCALES] = [1.0, 1.6, 1.8];

/// Lightness that counts as another side of an edge, on the finest scale; half
/// as much on each coarser one.
const EDGE: f32 = 0.16;

/// Lightness that is mostly noise.
const NOISE: f32 = 0.008;

/// The cubic B-spline at -2, -1, 0, 1, 2.
const SPLINE: [f32; 5] = [1.0 / 16.0, 1.0 / 4.0, 3.0 / 8.0, 1.0 / 4.0, 1.0 / 16.0];

/// Rows that one thread takes at a time.
const ROWS_TOGETHER: usize = 16;

/// How much, and of what.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    amount: f32,
    scales: usize,
    // What the scales of a smaller picture are, counted from the finest.
    first: usize,
}

impl Settings {
    /// An amount from 0 (nothing) to 1. `step`, at least 1, is how many pixels of
    /// the whole picture lie along one: in a smaller one the finest structure
    /// is not there.
    pub fn new(amount: f64, step: f64) -> Self {
        let mut first = 0;
        let mut reach = 2.0 / std::f64::consts::SQRT_2;
        while first < SCALES && step > reach {
            first += 1;
            reach *= 2.0;
        }
        Self {
            amount: amount as f32,
            scales: SCALES - first,
            first,
        }
    }

    /// How far around a pixel its value depends on others, px.
    pub fn margin_px(&self) -> usize {
        2 * ((1 << self.scales) - 1) + REACH_PX
    }
}

/// Brightness (linear light, 0 or more; row by row) with its structure brought
/// out. Takes about four planes of memory beside the two.
pub fn brought_out(light: &[f32], size: Size, settings: &Settings) -> Vec<f32> {
    if settings.amount == 0.0 || settings.scales == 0 || light.len() != size.pixels() {
        return light.to_vec();
    }
    let mut own: Vec<f32> = vec![0.0; light.len()];
    own.par_chunks_mut(1 << 14)
        .zip(light.par_chunks(1 << 14))
        .for_each(|(own, light)| {
            let level = fearless_simd::Level::new();
            fearless_simd::dispatch!(level, _simd => {
                for (own, light) in own.iter_mut().zip(light) {
                    *own = cbrt(*light);
                }
            });
        });
    let mut fine = own.clone();
    let mut half = vec![0.0; light.len()];
    let mut out = own.clone();
    for scale in 0..settings.scales {
        let apart = 1 << scale;
        let kind = settings.first + scale;
        let edge = EDGE / (1 << kind) as f32;
        across(&fine, size, apart, edge, &mut half);
        let coarse = down(&half, size, apart, edge);
        let gain = settings.amount * GAINS[kind];
        out.par_chunks_mut(1 << 14)
            .zip(fine.par_chunks(1 << 14).zip(coarse.par_chunks(1 << 14)))
            .for_each(|(out, (fine, coarse))| {
                for (out, (fine, coarse)) in out.iter_mut().zip(fine.iter().zip(coarse)) {
                    let structure = fine - coarse;
                    let square = structure * structure;
                    *out += gain * structure * (square / (square + NOISE * NOISE));
                }
            });
        fine = coarse;
    }
    held(&own, size, &mut out);
    out
}

// How far a pixel may go beyond its neighbours' range.
#[inline(always)]
fn headroom(range: f32) -> f32 {
    let room = 0.5 * range * (1.0 - range / EDGE);
    if room > 0.0 { room } else { 0.0 }
}

#[inline(always)]
fn weight(share: f32, difference: f32, edge: f32) -> f32 {
    // Tukey's biweight: what lies across an edge has no weight at all.
    let far = difference / edge;
    let near = 1.0 - far * far;
    let near = if near > 0.0 { near } else { 0.0 };
    share * near * near
}

fn clamped(at: i64, length: usize) -> usize {
    at.clamp(0, length as i64 - 1) as usize
}

// One way of the transform, along the rows.
fn across(values: &[f32], size: Size, apart: usize, edge: f32, out: &mut [f32]) {
    let (width, room) = (size.width, 2 * apart);
    out.par_chunks_mut(width * ROWS_TOGETHER)
        .zip(values.par_chunks(width * ROWS_TOGETHER))
        .for_each(|(out, values)| {
            let level = fearless_simd::Level::new();
            let mut padded = vec![0.0; width + 2 * room];
            for (out, values) in out.chunks_exact_mut(width).zip(values.chunks_exact(width)) {
                padded[..room].fill(values[0]);
                padded[room..room + width].copy_from_slice(values);
                padded[room + width..].fill(values[width - 1]);
                let taps: [&[f32]; 5] =
                    std::array::from_fn(|tap| &padded[tap * apart..tap * apart + width]);
                fearless_simd::dispatch!(level, _simd => mean(taps, edge, out));
            }
        });
}

// The other way, down the columns.
fn down(values: &[f32], size: Size, apart: usize, edge: f32) -> Vec<f32> {
    let Size { width, height } = size;
    let mut out = vec![0.0; values.len()];
    out.par_chunks_mut(width * ROWS_TOGETHER)
        .enumerate()
        .for_each(|(chunk, out)| {
            let level = fearless_simd::Level::new();
            for (y, out) in (chunk * ROWS_TOGETHER..).zip(out.chunks_exact_mut(width)) {
                let taps: [&[f32]; 5] = std::array::from_fn(|tap| {
                    let y = clamped(y as i64 + (tap as i64 - 2) * apart as i64, height);
                    &values[y * width..(y + 1) * width]
                });
                fearless_simd::dispatch!(level, _simd => mean(taps, edge, out));
            }
        });
    out
}

#[inline(always)]
fn mean(taps: [&[f32]; 5], edge: f32, out: &mut [f32]) {
    for (x, out) in out.iter_mut().enumerate() {
        let own = taps[2][x];
        let (mut sum, mut weights) = (SPLINE[2] * own, SPLINE[2]);
        for tap in [0, 1, 3, 4] {
            let value = taps[tap][x];
            let weight = weight(SPLINE[tap], value - own, edge);
            sum += weight * value;
            weights += weight;
        }
        *out = sum / weights;
    }
}

// Lightness within what was near, back to light.
fn held(own: &[f32], size: Size, out: &mut [f32]) {
    let Size { width, height } = size;
    out.par_chunks_mut(width * ROWS_TOGETHER)
        .enumerate()
        .for_each(|(chunk, out)| {
            let level = fearless_simd::Level::new();
            let mut least = vec![0.0_f32; width + 2 * REACH_PX];
            let mut most = vec![0.0_f32; width + 2 * REACH_PX];
            for (y, out) in (chunk * ROWS_TOGETHER..).zip(out.chunks_exact_mut(width)) {
                let rows: [&[f32]; 2 * REACH_PX + 1] = std::array::from_fn(|tap| {
                    let y = clamped((y + tap) as i64 - REACH_PX as i64, height);
                    &own[y * width..(y + 1) * width]
                });
                fearless_simd::dispatch!(level, _simd => {
                    hold_row(rows, &mut least, &mut most, out);
                });
            }
        });
}

#[inline(always)]
fn hold_row(
    rows: [&[f32]; 2 * REACH_PX + 1],
    least: &mut [f32],
    most: &mut [f32],
    out: &mut [f32],
) {
    let width = out.len();
    for x in 0..width {
        let (mut low, mut high) = (rows[0][x], rows[0][x]);
        for row in &rows[1..] {
            low = low.min(row[x]);
            high = high.max(row[x]);
        }
        least[REACH_PX + x] = low;
        most[REACH_PX + x] = high;
    }
    for ends in [&mut *least, &mut *most] {
        let (first, last) = (ends[REACH_PX], ends[REACH_PX + width - 1]);
        ends[..REACH_PX].fill(first);
        ends[REACH_PX + width..].fill(last);
    }
    for (x, out) in out.iter_mut().enumerate() {
        let (mut low, mut high) = (least[x], most[x]);
        for tap in 1..=2 * REACH_PX {
            low = low.min(least[x + tap]);
            high = high.max(most[x + tap]);
        }
        let room = headroom(high - low);
        let value = out.max(low - room).min(high + room).max(0.0);
        *out = value * value * value;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn size(width: usize, height: usize) -> Size {
        Size { width, height }
    }

    // A filament of half the noise's contrast on a slope, and a star.
    fn scene(width: usize, height: usize) -> Vec<f32> {
        (0..width * height)
            .map(|i| {
                let (x, y) = ((i % width) as f32, (i / width) as f32);
                let wave = (((i / width) % 6) as f32 - 2.5).abs() * 0.008;
                let far = (x - 20.0) * (x - 20.0) + (y - 20.0) * (y - 20.0);
                let star = if far < 9.0 { 0.9 } else { 0.0 };
                0.05 + 0.001 * x + wave + star
            })
            .collect()
    }

    #[test]
    fn a_window_with_its_margin_is_the_whole() {
        let (width, height) = (90, 80);
        let light = scene(width, height);
        for step in [1.0, 2.0, 4.0, 40.0] {
            let settings = Settings::new(0.7, step);
            let whole = brought_out(&light, size(width, height), &settings);
            let margin = settings.margin_px();
            let (left, top, w, h) = (10, 5, 70, 60);
            let part: Vec<f32> = (0..h)
                .flat_map(|y| light[(top + y) * width + left..][..w].to_vec())
                .collect();
            let seen = brought_out(&part, size(w, h), &settings);
            for y in margin..h - margin {
                for x in margin..w - margin {
                    assert_eq!(
                        seen[y * w + x].to_bits(),
                        whole[(top + y) * width + left + x].to_bits()
                    );
                }
            }
        }
    }

    #[test]
    fn filaments_gain_contrast_and_a_plain_sky_none() {
        let (width, height) = (64, 64);
        let light = scene(width, height);
        let settings = Settings::new(1.0, 1.0);
        let out = brought_out(&light, size(width, height), &settings);
        // Beside the star, across the waves.
        let contrast = |light: &[f32]| {
            let row = |y: usize| cbrt(light[y * width + 50]);
            (24..42).map(|y| (row(y) - row(y + 1)).abs()).sum::<f32>()
        };
        let gain = contrast(&out) / contrast(&light);
        assert!(gain > 1.25, "{gain}");
        let flat = vec![0.02; 900];
        let same = brought_out(&flat, size(30, 30), &settings);
        assert!(same.iter().all(|value| (value - 0.02).abs() < 1e-7));
        assert_eq!(
            brought_out(&light, size(width, height), &Settings::new(0.0, 1.0)),
            light
        );
    }

    proptest! {
        /// Protects against haloes: nothing becomes lighter or darker than what
        /// lies near it, whatever the picture.
        #[test]
        fn nothing_goes_beyond_its_neighbours(
            light in proptest::collection::vec(0.0..1.5f32, 400),
            amount in 0.0..1.0f64,
        ) {
            let (width, height) = (25, 16);
            let out = brought_out(&light, size(width, height), &Settings::new(amount, 1.0));
            for (at, value) in out.iter().enumerate() {
                let (x, y) = (at % width, at / width);
                let (mut low, mut high) = (f32::MAX, f32::MIN);
                for row in y.saturating_sub(REACH_PX)..=(y + REACH_PX).min(height - 1) {
                    for column in x.saturating_sub(REACH_PX)..=(x + REACH_PX).min(width - 1) {
                        low = low.min(light[row * width + column]);
                        high = high.max(light[row * width + column]);
                    }
                }
                let (low, high) = (libm::cbrtf(low), libm::cbrtf(high));
                let range = high - low;
                let room = (0.5 * range * (1.0 - range / 0.16)).max(0.0);
                let lightness = libm::cbrtf(*value);
                prop_assert!(room <= 0.0201);
                prop_assert!(lightness >= low - room - 1e-5);
                prop_assert!(lightness <= high + room + 1e-5);
            }
        }

        /// Protects bright rims: an edge stays an edge, rising all the way.
        #[test]
        fn an_edge_stays_monotone(low in 0.0..0.6f32, rise in 0.161..0.5f32, at in 5usize..25) {
            let (width, height) = (30, 8);
            let light: Vec<f32> = (0..width * height)
                .map(|i| if i % width < at { low } else { low + rise })
                .map(|lightness| lightness * lightness * lightness)
                .collect();
            let out = brought_out(&light, size(width, height), &Settings::new(1.0, 1.0));
            for row in out.chunks_exact(width) {
                for pair in row.windows(2) {
                    prop_assert!(pair[1] >= pair[0] - 1e-6);
                }
            }
        }
    }
}
