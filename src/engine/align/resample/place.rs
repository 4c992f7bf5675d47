//! Where the pixels of a row lie in the source.

use super::pixel::Place;
use super::six;
use super::tile::TILE;
use super::window::View;
use crate::engine::align::transform::Map;

// What `split` gives for positions outside the source.
const OUTSIDE: i32 = i32::MIN;

/// A part of the source: `width` x `height` pixels from (x, y) on.
pub(super) struct Patch<'a> {
    pub values: &'a [f32],
    pub x: usize,
    pub y: usize,
    pub width: usize,
    pub height: usize,
}

/// Positions of a row of pixels in the source.
#[derive(Debug)]
pub(super) struct Row {
    pub xs: [f64; TILE],
    pub ys: [f64; TILE],
    pub whole_x: [i32; TILE],
    pub whole_y: [i32; TILE],
    pub part_x: [f32; TILE],
    pub part_y: [f32; TILE],
}

impl Default for Row {
    fn default() -> Self {
        Self {
            xs: [0.0; TILE],
            ys: [0.0; TILE],
            whole_x: [0; TILE],
            whole_y: [0; TILE],
            part_x: [0.0; TILE],
            part_y: [0.0; TILE],
        }
    }
}

impl Row {
    /// Looks up the pixels from (x, y) of the result on.
    #[inline(always)]
    pub fn locate(&mut self, map: &Map, x: usize, y: usize, view: &View<'_>) {
        positions(map, x, y as f64, &mut self.xs, &mut self.ys);
        split(&self.xs, view.width, &mut self.whole_x, &mut self.part_x);
        split(&self.ys, view.height, &mut self.whole_y, &mut self.part_y);
    }

    /// Index in the patch of pixel `i`'s first tap; NONE where not all taps
    /// (and the rest of the last group of eight) are in it.
    #[inline(always)]
    pub fn start(
        &self,
        i: usize,
        lead: [i64; 2],
        stride: usize,
        taps_y: usize,
        patch: &Patch<'_>,
    ) -> usize {
        let left = i64::from(self.whole_x[i]) - lead[0] - patch.x as i64;
        let top = i64::from(self.whole_y[i]) - lead[1] - patch.y as i64;
        let last_left = patch.width as i64 - stride as i64;
        let last_top = patch.height as i64 - taps_y as i64;
        if left >= 0 && left <= last_left && top >= 0 && top <= last_top {
            top as usize * patch.width + left as usize
        } else {
            six::NONE
        }
    }

    /// Where pixel `i` is; None outside the source.
    pub fn place(&self, i: usize) -> Option<Place> {
        place(
            (self.whole_x[i], self.part_x[i]),
            (self.whole_y[i], self.part_y[i]),
        )
    }
}

pub(super) fn place((x, part_x): (i32, f32), (y, part_y): (i32, f32)) -> Option<Place> {
    (x != OUTSIDE && y != OUTSIDE).then(|| Place {
        x: i64::from(x),
        y: i64::from(y),
        part_x,
        part_y,
    })
}

// Positions in the source of a row of pixels, from `x` on.
#[inline(always)]
fn positions(map: &Map, x: usize, y: f64, xs: &mut [f64; TILE], ys: &mut [f64; TILE]) {
    let [[a, b, c], [d, e, f], [g, h, k]] = map.matrix;
    let x = x as f64;
    for i in 0..TILE {
        let x = x + i as f64;
        xs[i] = a * x + b * y + c;
        ys[i] = d * x + e * y + f;
    }
    if !is_affine(map) {
        for i in 0..TILE {
            let w = g * (x + i as f64) + h * y + k;
            xs[i] /= w;
            ys[i] /= w;
        }
    }
    if let Some(correction) = &map.correction {
        let v = (y - correction.center[1]) / correction.scale;
        // In powers of u, with v worked in.
        let powers = |c: &[f64; 7]| {
            [
                v * v * (c[2] + v * c[6]),
                v * (c[1] + v * c[5]),
                c[0] + v * c[4],
                c[3],
            ]
        };
        let (cx, cy) = (powers(&correction.x), powers(&correction.y));
        for i in 0..TILE {
            let u = (x + i as f64 - correction.center[0]) / correction.scale;
            xs[i] += cx[0] + u * (cx[1] + u * (cx[2] + u * cx[3]));
            ys[i] += cy[0] + u * (cy[1] + u * (cy[2] + u * cy[3]));
        }
    }
}

/// Whole pixels and the rest; positions outside 0..length give OUTSIDE, where
/// half a pixel beyond the first and last centre still counts as inside.
#[inline(always)]
pub(super) fn split(
    positions: &[f64; TILE],
    length: usize,
    whole: &mut [i32; TILE],
    part: &mut [f32; TILE],
) {
    let end = (length as f64 - 0.5).min(f64::from(i32::MAX / 2));
    for i in 0..TILE {
        let position = positions[i];
        let inside = position >= -0.5 && position <= end;
        let position = if inside { position } else { 0.0 };
        let floor = position.floor();
        whole[i] = if inside { floor as i32 } else { OUTSIDE };
        part[i] = (position - floor) as f32;
    }
}

pub(super) fn is_affine(map: &Map) -> bool {
    map.matrix[2] == [0.0, 0.0, 1.0]
}
