//! What is drawn on: R G B A, row pieces in parallel.

use std::ops::Range;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use rayon::prelude::*;

use super::maps::Found;
use super::stage::window;
use super::{Grid, Request, common_size};
use crate::engine::compose::{FULL, OUTSIDE};
use crate::engine::reduce::Reducer;

/// Pixels that are drawn in one piece, about.
const PIECE: usize = 1 << 14;

/// Stripes over pixels at full scale, and over those outside the space.
const FULL_MARK: [u8; 3] = [236, 96, 164];
const OUTSIDE_MARK: [u8; 3] = [52, 176, 196];

/// Output pixels along a stripe, across both columns and rows.
const STRIPE: usize = 3;

/// A drawn canvas.
pub(super) struct Drawn {
    pub rgba: Vec<u8>,
    pub clipped: f32,
    pub outside: f32,
    pub found: Option<Found>,
}

/// A piece of the canvas: which pixels of the grid, and what to fill.
pub(super) struct Piece<'a> {
    /// The pixels, counted row by row.
    pub pixels: Range<usize>,
    /// R G B of each.
    pub rgb: &'a mut [u8],
    /// [`FULL`] and [`OUTSIDE`] of each, 0 before.
    pub looks: &'a mut [u8],
}

/// Fills a canvas: `paint` is called for pieces of it, in any order, and the
/// rest is done here. None where `cancel` was set.
pub(super) fn fill(
    request: &Request,
    cancel: &AtomicBool,
    paint: impl Fn(Piece<'_>) + Sync,
) -> Option<Drawn> {
    let grid = request.grid;
    let [columns, rows] = inside(request)?;
    let width = grid.size.width;
    let piece_rows = (PIECE / width).max(1);
    let piece = piece_rows * width;
    let (full, outside) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let mut rgba = vec![0_u8; 4 * grid.size.pixels()];
    rgba.par_chunks_mut(4 * piece).enumerate().for_each_init(
        || (vec![0_u8; 3 * piece], vec![0_u8; piece]),
        |(rgb, looks), (index, rgba)| {
            let first_row = index * piece_rows;
            let beyond = first_row >= rows.end || first_row + piece_rows <= rows.start;
            if beyond || cancel.load(Ordering::Relaxed) {
                return;
            }
            let count = rgba.len() / 4;
            let (rgb, looks) = (&mut rgb[..3 * count], &mut looks[..count]);
            looks.fill(0);
            paint(Piece {
                pixels: index * piece..index * piece + count,
                rgb,
                looks,
            });
            let mut found = [0; 2];
            for (y, row) in (first_row..).zip(0..count / width) {
                if !rows.contains(&y) {
                    continue;
                }
                for x in columns.clone() {
                    let at = row * width + x;
                    let look = looks[at];
                    let mut color = [rgb[3 * at], rgb[3 * at + 1], rgb[3 * at + 2]];
                    if look != 0 {
                        found[0] += usize::from(look & FULL != 0);
                        found[1] += usize::from(look & OUTSIDE != 0);
                        if request.marks {
                            color = marked(color, look, x, y);
                        }
                    }
                    let [r, g, b] = color;
                    rgba[4 * at..4 * at + 4].copy_from_slice(&[r, g, b, 255]);
                }
            }
            full.fetch_add(found[0], Ordering::Relaxed);
            outside.fetch_add(found[1], Ordering::Relaxed);
        },
    );
    if cancel.load(Ordering::Relaxed) {
        return None;
    }
    let over = (columns.len() * rows.len()).max(1) as f32;
    Some(Drawn {
        rgba,
        clipped: full.into_inner() as f32 / over,
        outside: outside.into_inner() as f32 / over,
        found: None,
    })
}

// Slanted stripes: those of full scale rise, those of what is outside fall.
fn marked(color: [u8; 3], look: u8, x: usize, y: usize) -> [u8; 3] {
    let rising = ((x + y) / STRIPE).is_multiple_of(2);
    let falling = ((x + 2 * STRIPE * (y + 1) - y) / STRIPE).is_multiple_of(2);
    if look & FULL != 0 && rising {
        FULL_MARK
    } else if look & OUTSIDE != 0 && falling {
        OUTSIDE_MARK
    } else {
        color
    }
}

// The columns and rows of the grid under which the picture lies.
fn inside(request: &Request) -> Option<[Range<usize>; 2]> {
    let grid: &Grid = &request.grid;
    Some(Reducer::new(&window(grid), common_size(request)?, 1).inside())
}
