//! How large the noise is, on each scale and all over the field.

use rayon::prelude::*;

use super::SCALES;
use super::starlet::Field;
use crate::engine::frame::Size;

/// The side of the tiles that noise is measured in, px.
const TILE: usize = 64;

/// Standard deviation of a Gaussian over its median absolute deviation.
const OF_MAD: f32 = 1.482_602_2;

/// Standard deviation of white noise on each scale over that on the finest
/// (Starck and Murtagh 2006, Astronomical Image and Data Analysis, section 2.3:
/// 0.890, 0.201, 0.0856, 0.0413, 0.0205).
const WHITE: [f32; SCALES] = [1.0, 0.2256, 0.0961, 0.0463, 0.0230];

/// Correlated noise has more on coarse scales, but not any amount: what is
/// beyond is the nebula's.
const MOST_OVER_WHITE: f32 = 2.0;

/// The noise of a channel: its variance on each scale, and all over the field as
/// the finest scale shows it, where light hardly plays a part.
#[derive(Debug, Clone)]
pub struct NoiseModel {
    size: Size,
    columns: usize,
    rows: usize,
    // Variance on the finest scale, tile by tile.
    finest: Vec<f32>,
    // Of each scale that is known, variance over the finest's.
    over_finest: Vec<f32>,
}

impl NoiseModel {
    /// From the finest scale; None where there is none.
    pub fn finest(field: &Field<'_>, coarse: &[f32]) -> Option<Self> {
        let size = field.size();
        let (columns, rows) = (size.width.div_ceil(TILE), size.height.div_ceil(TILE));
        let deviations: Vec<f32> = (0..columns * rows)
            .into_par_iter()
            .map(|tile| deviation(field, coarse, size, tile % columns, tile / columns))
            .collect();
        let typical = middle(&mut deviations.iter().copied().filter(|d| *d > 0.0).collect())?;
        // A tile of its own is measured to some 4 %: its neighbours steady it.
        let around = |tile: usize| {
            let (x, y) = (tile % columns, tile / columns);
            let mut near: Vec<f32> = Vec::with_capacity(9);
            for row in y.saturating_sub(1)..=(y + 1).min(rows - 1) {
                for column in x.saturating_sub(1)..=(x + 1).min(columns - 1) {
                    let one = deviations[row * columns + column];
                    if one > 0.0 {
                        near.push(one);
                    }
                }
            }
            let steady = middle(&mut near).unwrap_or(typical);
            steady * steady
        };
        Some(Self {
            size,
            columns,
            rows,
            finest: (0..columns * rows).map(around).collect(),
            over_finest: vec![1.0],
        })
    }

    /// The next scale: quiet tiles tell its noise.
    pub fn add_scale(&mut self, field: &Field<'_>, coarse: &[f32]) {
        let scale = self.over_finest.len().min(SCALES - 1);
        let mut ratios: Vec<f32> = (0..self.finest.len())
            .into_par_iter()
            .map(|tile| {
                let (x, y) = (tile % self.columns, tile / self.columns);
                deviation(field, coarse, self.size, x, y) / self.finest[tile].sqrt()
            })
            .filter(|ratio| *ratio > 0.0)
            .collect();
        let white = WHITE[scale];
        let place = ratios.len() * 3 / 10;
        let quiet = match ratios.is_empty() {
            true => white,
            false => *ratios.select_nth_unstable_by(place, f32::total_cmp).1,
        };
        let ratio = quiet.clamp(white, MOST_OVER_WHITE * white);
        self.over_finest.push(ratio * ratio);
    }

    /// The variances of a row on a scale, linear between the tiles' centres.
    #[inline(always)]
    pub fn variances(&self, scale: usize, y: usize, out: &mut [f32]) {
        let factor = self.over_finest[scale];
        let (row, next_row, down) = between(y, self.rows);
        let at = |row: usize, column: usize| self.finest[row * self.columns + column];
        let mut x = 0;
        while x < out.len() {
            // From one tile's centre to the next.
            let (column, next, _) = between(x, self.columns);
            let until = ((x + TILE / 2) / TILE * TILE + TILE / 2).clamp(x + 1, out.len());
            let left = at(row, column) + down * (at(next_row, column) - at(row, column));
            let right = at(row, next) + down * (at(next_row, next) - at(row, next));
            for (place, out) in (x..).zip(&mut out[x..until]) {
                let (_, _, across) = between(place, self.columns);
                *out = factor * (left + across * (right - left));
            }
            x = until;
        }
    }
}

// The tiles on both sides of a place, and how far it is from one to the other.
#[inline(always)]
fn between(place: usize, tiles: usize) -> (usize, usize, f32) {
    let from_first = place as f32 / TILE as f32 - 0.5 + 0.5 / TILE as f32;
    let from_first = if from_first > 0.0 { from_first } else { 0.0 };
    let tile = (from_first as usize).min(tiles - 1);
    let next = (tile + 1).min(tiles - 1);
    (tile, next, from_first - tile as f32)
}

// Of the coefficients in a tile, every other one each way; 0 where there are
// too few.
fn deviation(field: &Field<'_>, coarse: &[f32], size: Size, column: usize, row: usize) -> f32 {
    let mut sizes: Vec<f32> = Vec::with_capacity(TILE * TILE / 4);
    let rows = row * TILE..((row + 1) * TILE).min(size.height);
    let columns = column * TILE..((column + 1) * TILE).min(size.width);
    for y in rows.step_by(2) {
        for x in columns.clone().step_by(2) {
            let at = y * size.width + x;
            let coefficient = field.values()[at] - coarse[at];
            if !coefficient.is_nan() {
                sizes.push(coefficient.abs());
            }
        }
    }
    if sizes.len() < 32 {
        return 0.0;
    }
    middle(&mut sizes).map_or(0.0, |median| OF_MAD * median)
}

fn middle(values: &mut Vec<f32>) -> Option<f32> {
    let place = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(place, f32::total_cmp).1)
}
