//! Channels on the grid of the screen, kept while grid and channel stay.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Weak};

use rayon::prelude::*;

use super::Grid;
use super::moved::Moved;
use super::pyramid::FIRST_CELL;
use crate::engine::denoise;
use crate::engine::frame::{Plane, Rows as _, Size};
use crate::engine::reduce::{Reducer, Window};
use crate::work::desk::{Layer, Means};

/// Values that are kept: 48 million, of four bytes each.
const MOST_KEPT: usize = 48 << 20;

/// Means over cells stand for pixels where they tile the output pixels, or
/// where so many lie along one that what the border ones blur does not matter.
const CELLS_ALONG: f64 = 64.0;

/// Rows that are made in one piece.
const PIECE_ROWS: usize = 8;

/// A plane and its means over 4 x 4, 8 x 8, ... pixels.
#[derive(Clone, Copy)]
pub(super) struct Source<'a> {
    pub plane: &'a Arc<Plane>,
    pub reduced: &'a [Arc<Plane>],
}

impl<'a> From<&'a Layer> for Source<'a> {
    fn from(layer: &'a Layer) -> Self {
        Self {
            plane: &layer.plane,
            reduced: &layer.reduced,
        }
    }
}

impl<'a> From<&'a Means> for Source<'a> {
    fn from(means: &'a Means) -> Self {
        Self {
            plane: &means.plane,
            reduced: &means.reduced,
        }
    }
}

/// Keeps channels as they were brought onto a grid.
#[derive(Default)]
pub(super) struct Stage {
    // The latest used last.
    kept: Vec<Kept>,
}

struct Kept {
    // As long as these live no other plane can have the same address.
    plane: Weak<Plane>,
    towards: Option<(Weak<Plane>, u64)>,
    grid: Grid,
    values: Arc<Vec<f32>>,
}

impl Kept {
    fn is(&self, grid: &Grid, plane: &Arc<Plane>, towards: Option<(&Arc<Plane>, f64)>) -> bool {
        let same = |weak: &Weak<Plane>, plane: &Arc<Plane>| {
            std::ptr::eq(weak.as_ptr(), Arc::as_ptr(plane))
        };
        let both = match (&self.towards, towards) {
            (None, None) => true,
            (Some((weak, bits)), Some((plane, share))) => {
                same(weak, plane) && *bits == share.to_bits()
            }
            _ => false,
        };
        self.grid == *grid && same(&self.plane, plane) && both
    }

    fn alive(&self) -> bool {
        let towards = self.towards.as_ref();
        self.plane.strong_count() > 0 && towards.is_none_or(|(weak, _)| weak.strong_count() > 0)
    }
}

impl Stage {
    /// The values of a plane on a grid; NaN where there are none. None where
    /// `cancel` was set.
    pub fn of<'a>(
        &mut self,
        source: impl Into<Source<'a>>,
        grid: &Grid,
        cancel: &AtomicBool,
    ) -> Option<Arc<Vec<f32>>> {
        let source = source.into();
        self.kept(source.plane, None, grid, |stage| {
            match stage.moved(source.plane, grid) {
                Some(moved) => moved.completed(source, grid, cancel),
                None => staged(source, grid, cancel),
            }
        })
    }

    /// The values of a plane, moved by a share (0..1) towards those of another.
    pub fn between(
        &mut self,
        [from, to]: [Source<'_>; 2],
        share: f64,
        grid: &Grid,
        cancel: &AtomicBool,
    ) -> Option<Arc<Vec<f32>>> {
        if share == 0.0 {
            return self.of(from, grid, cancel);
        }
        self.kept(from.plane, Some((to.plane, share)), grid, |stage| {
            let mut values = Vec::clone(&*stage.of(from, grid, cancel)?);
            let smooth = stage.of(to, grid, cancel)?;
            denoise::blend(&mut values, &smooth, share as f32);
            Some(values)
        })
    }

    fn kept(
        &mut self,
        plane: &Arc<Plane>,
        towards: Option<(&Arc<Plane>, f64)>,
        grid: &Grid,
        make: impl FnOnce(&mut Self) -> Option<Vec<f32>>,
    ) -> Option<Arc<Vec<f32>>> {
        let found = self
            .kept
            .iter()
            .position(|kept| kept.is(grid, plane, towards));
        let kept = match found {
            Some(index) => self.kept.remove(index),
            None => Kept {
                values: Arc::new(make(self)?),
                plane: Arc::downgrade(plane),
                towards: towards.map(|(plane, share)| (Arc::downgrade(plane), share.to_bits())),
                grid: *grid,
            },
        };
        let values = Arc::clone(&kept.values);
        self.kept.push(kept);
        self.forget();
        Some(values)
    }

    // The values of a plane on a grid that was moved from this one by whole
    // output pixels, the latest where there are several: most of what a pan
    // shows was there before.
    fn moved(&self, plane: &Arc<Plane>, grid: &Grid) -> Option<Moved> {
        self.kept.iter().rev().find_map(|kept| {
            let is_it = kept.towards.is_none() && std::ptr::eq(kept.plane.as_ptr(), &**plane);
            if !is_it {
                return None;
            }
            Moved::between(&kept.grid, grid, &kept.values)
        })
    }

    // Drops what belongs to planes that are gone, then what was used longest ago.
    fn forget(&mut self) {
        self.kept.retain(Kept::alive);
        let mut held: usize = self.kept.iter().map(|kept| kept.values.len()).sum();
        while held > MOST_KEPT && self.kept.len() > 1 {
            held -= self.kept.remove(0).values.len();
        }
    }
}

/// A grid as the reduction takes it.
pub(super) fn window(grid: &Grid) -> Window {
    Window {
        corner: grid.corner,
        step: [grid.step; 2],
        size: grid.size,
    }
}

/// The values of a plane on a grid, made anew.
pub(super) fn staged(source: Source<'_>, grid: &Grid, cancel: &AtomicBool) -> Option<Vec<f32>> {
    let picture = source.plane.size();
    let (source, cell) = coarsest(source, grid, picture);
    let source = source.values().as_slice()?;
    let whole = grid.corner.iter().all(|edge| edge.fract() == 0.0);
    let plain = grid.step == 1.0 && whole;
    let reducer = Reducer::new(&window(grid), picture, cell);
    let mut values = vec![f32::NAN; grid.size.pixels()];
    values
        .par_chunks_mut((grid.size.width * PIECE_ROWS).max(1))
        .enumerate()
        .for_each(|(piece, out)| {
            if cancel.load(Ordering::Relaxed) {
                return;
            }
            let first_row = piece * PIECE_ROWS;
            if plain {
                copy(source, picture, grid, first_row, out);
            } else {
                reducer.rows(source, first_row, out);
            }
        });
    (!cancel.load(Ordering::Relaxed)).then_some(values)
}

// The plane, or the coarsest means of it that give the same.
fn coarsest<'a>(source: Source<'a>, grid: &Grid, picture: Size) -> (&'a Plane, usize) {
    let mut best: (&Plane, usize) = (source.plane, 1);
    let mut cell = FIRST_CELL;
    for means in source.reduced {
        let side = cell as f64;
        let tiles = |length: f64| (length / side).fract() == 0.0;
        let exact = tiles(grid.step) && grid.corner.iter().all(|edge| tiles(*edge));
        let size = Size {
            width: picture.width.div_ceil(cell),
            height: picture.height.div_ceil(cell),
        };
        if means.size() == size && (exact || side * CELLS_ALONG <= grid.step) {
            best = (means, cell);
        }
        cell *= 2;
    }
    best
}

// One output pixel is one pixel.
fn copy(source: &[f32], picture: Size, grid: &Grid, first_row: usize, out: &mut [f32]) {
    let [left, top] = grid.corner.map(|edge| edge as i64);
    let width = grid.size.width;
    let from = (-left).clamp(0, width as i64) as usize;
    let to = (picture.width as i64 - left).clamp(from as i64, width as i64) as usize;
    for (row, out) in (first_row..).zip(out.chunks_exact_mut(width)) {
        let y = top + row as i64;
        if from < to && (0..picture.height as i64).contains(&y) {
            let start = y as usize * picture.width + (left + from as i64) as usize;
            out[from..to].copy_from_slice(&source[start..start + to - from]);
        }
    }
}
