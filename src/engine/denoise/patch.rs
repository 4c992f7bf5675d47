//! A piece of a picture with a margin, and the smoothing by a B3 spline with
//! holes that every scale is made of (the a-trous algorithm: Holschneider et al.
//! 1989; Starck, Murtagh & Fadili 2010, Sparse Image and Signal Processing).
//!
//! The value of a pixel never depends on how the picture was cut into pieces:
//! taps are added in one order, and where some have no data (beyond the edge, or
//! NaN) the others' weights are divided by their sum.

use crate::engine::frame::Size;

/// A rectangle of pixels on a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rect {
    /// First column.
    pub x: usize,
    /// First row.
    pub y: usize,
    /// Columns and rows.
    pub size: Size,
}

/// Values of a rectangle and `margin` pixels around it, zero where there is no
/// data, in rows of `width`.
pub(in crate::engine) struct Patch {
    pub width: usize,
    pub height: usize,
    pub values: Vec<f32>,
    /// 1 where there is data, 0 where not; empty where all pixels have data.
    pub mask: Vec<f32>,
}

impl Patch {
    /// Cuts a patch out of a picture and takes `base` from its values.
    pub fn cut(picture: &[f32], size: Size, rect: Rect, margin: usize, base: f32) -> Self {
        let (width, height) = (rect.size.width + 2 * margin, rect.size.height + 2 * margin);
        let mut patch = Self {
            width,
            height,
            values: vec![0.0; width * height],
            mask: Vec::new(),
        };
        let left = margin.saturating_sub(rect.x);
        let from = (rect.x + left) - margin;
        let count = (width - left).min(size.width - from);
        let mut whole = left == 0 && count == width;
        for (row, values) in patch.values.chunks_exact_mut(width).enumerate() {
            let y = rect.y + row;
            if y < margin || y - margin >= size.height {
                values.fill(f32::NAN);
                whole = false;
                continue;
            }
            let start = (y - margin) * size.width + from;
            values[..left].fill(f32::NAN);
            values[left + count..].fill(f32::NAN);
            let mut gaps = false;
            for (out, value) in values[left..left + count]
                .iter_mut()
                .zip(&picture[start..start + count])
            {
                *out = value - base;
                gaps |= !value.is_finite();
            }
            whole &= !gaps;
        }
        if !whole {
            let values = &mut patch.values;
            patch.mask = values
                .iter_mut()
                .map(|value| {
                    if value.is_finite() {
                        1.0
                    } else {
                        *value = 0.0;
                        0.0
                    }
                })
                .collect();
        }
        patch
    }
}

/// Smooths `from` by the kernel (1 4 6 4 1) / 16 with `step` pixels between
/// taps, along columns and rows. `inset` pixels at each side of the result are
/// not made; `from` must hold `2 * step` more than that.
#[inline(always)]
pub(in crate::engine) fn spline(
    from: &[f32],
    width: usize,
    step: usize,
    inset: usize,
    out: &mut [f32],
) {
    let height = from.len() / width;
    let reach = 2 * step;
    let mut column = vec![0.0f32; width];
    for y in inset..height - inset {
        let start = inset - reach;
        let count = width - 2 * start;
        let tap = |row: usize| &from[row * width + start..][..count];
        let (a, b, c) = (tap(y - reach), tap(y - step), tap(y));
        let (d, e) = (tap(y + step), tap(y + reach));
        let sums = &mut column[..count];
        for x in 0..count {
            sums[x] = (a[x] + e[x]) * 0.0625 + (b[x] + d[x]) * 0.25 + c[x] * 0.375;
        }
        let count = width - 2 * inset;
        let tap = |tap: usize| &sums[tap * step..][..count];
        let (a, b, c, d, e) = (tap(0), tap(1), tap(2), tap(3), tap(4));
        let out = &mut out[y * width + inset..][..count];
        for x in 0..count {
            out[x] = (a[x] + e[x]) * 0.0625 + (b[x] + d[x]) * 0.25 + c[x] * 0.375;
        }
    }
}

/// Divides smoothed values by the smoothed mask `share`; zero where `mask` is.
#[inline(always)]
pub(in crate::engine) fn renormalise(values: &mut [f32], mask: &[f32], share: &[f32]) {
    for ((value, mask), share) in values.iter_mut().zip(mask).zip(share) {
        *value = if *mask > 0.0 { *value / *share } else { 0.0 };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tent_of_taps_is_the_b3_spline() {
        let mut from = vec![0.0; 11 * 11];
        from[5 * 11 + 5] = 256.0;
        let mut out = vec![0.0; 11 * 11];
        spline(&from, 11, 2, 4, &mut out);
        // Products of 1 4 6 4 1: at the middle 36, and nothing between taps.
        assert_eq!(out[5 * 11 + 5], 36.0);
        assert_eq!(out[5 * 11 + 4], 0.0);
        spline(&from, 11, 1, 2, &mut out);
        assert_eq!(&out[4 * 11 + 3..4 * 11 + 8], [4.0, 16.0, 24.0, 16.0, 4.0]);
    }
}
