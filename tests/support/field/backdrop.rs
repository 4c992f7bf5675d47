//! The gas on a camera's pixels, before and after the air has blurred it.

use core::ops::Range;

use rayon::prelude::*;

use super::nebula::Emission;
use super::optics::blur_weights;
use super::{Grid, Scene, Spec};

/// Electrons per second and reference pixel at emission 1.
const GAS_RATE: f64 = 5.6;

/// Pixels around the rows that the blur may ask for.
const MARGIN: usize = 10;

/// The gas on some rows of a grid, made once and seen through several filters.
///
/// In large frames the finest structure spans many pixels: there the gas is
/// computed at every second to fourth pixel and drawn through those points with
/// cubics (Catmull and Rom 1974).
#[derive(Clone, Debug)]
pub struct Backdrop {
    grid: Grid,
    /// Every how manyth pixel of the grid is a node.
    pace: i64,
    columns: Nodes,
    rows: Nodes,
    light: Vec<Emission>,
}

/// A run of nodes along one axis, counted in paces from pixel 0.
#[derive(Clone, Copy, Debug)]
struct Nodes {
    first: i64,
    count: usize,
}

impl Nodes {
    /// Those that pixels `from..to` need.
    fn around(from: i64, to: i64, pace: i64) -> Self {
        let first = from.div_euclid(pace) - 1;
        let last = (to - 1).div_euclid(pace) + 2;
        Self {
            first,
            count: (last - first + 1) as usize,
        }
    }
}

impl Backdrop {
    /// The gas on these rows, at the pace that suits the scene.
    pub fn new(scene: &Scene, grid: Grid, rows: Range<usize>) -> Self {
        let pace = (scene.nebula.unit_px() / 450.0) as i64;
        Self::at_pace(scene, grid, rows, pace.clamp(1, 4))
    }

    /// The gas on these rows, computed at every pixel.
    pub fn exact(scene: &Scene, grid: Grid, rows: Range<usize>) -> Self {
        Self::at_pace(scene, grid, rows, 1)
    }

    fn at_pace(scene: &Scene, grid: Grid, rows: Range<usize>, pace: i64) -> Self {
        let margin = MARGIN as i64;
        let columns = Nodes::around(-margin, grid.width as i64 + margin, pace);
        let rows = Nodes::around(rows.start as i64 - margin, rows.end as i64 + margin, pace);
        let mut light = vec![Emission::default(); columns.count * rows.count];
        light
            .par_chunks_mut(columns.count)
            .enumerate()
            .for_each(|(row, out)| {
                let y = (rows.first + row as i64) * pace;
                for (column, out) in out.iter_mut().enumerate() {
                    let x = (columns.first + column as i64) * pace;
                    let (x, y) = grid.on_reference(x as f64, y as f64);
                    *out = scene.nebula.at_px(x, y);
                }
            });
        Self {
            grid,
            pace,
            columns,
            rows,
            light,
        }
    }

    /// Adds the gas to a strip of rows, blurred by the air.
    ///
    /// # Panics
    /// If the backdrop was made for another grid, or does not reach the strip.
    pub fn add(&self, spec: &Spec, first: usize, strip: &mut [f32]) {
        assert_eq!(self.grid, spec.grid, "the backdrop is for another grid");
        let weights = blur_weights(spec.fwhm_px);
        let radius = weights.len() - 1;
        assert!(radius <= MARGIN, "the blur is wider than the margin");
        let width = spec.grid.width;
        let rows = strip.len() / width;
        let wide = width + 2 * radius;
        let sharp = self.sharp(spec, first as i64, rows, radius as i64);
        let mut across = vec![0.0f32; width * (rows + 2 * radius)];
        for (from, to) in sharp.chunks(wide).zip(across.chunks_mut(width)) {
            for (x, to) in to.iter_mut().enumerate() {
                let mut sum = from[x + radius] * weights[0];
                for (k, weight) in weights.iter().enumerate().skip(1) {
                    sum += (from[x + radius - k] + from[x + radius + k]) * weight;
                }
                *to = sum;
            }
        }
        let area = spec.grid.area().abs();
        let scale = (GAS_RATE * spec.exposure_s / spec.gain * area) as f32;
        for (y, to) in strip.chunks_mut(width).enumerate() {
            for (x, to) in to.iter_mut().enumerate() {
                let at = |row: usize| across[row * width + x];
                let mut sum = at(y + radius) * weights[0];
                for (k, weight) in weights.iter().enumerate().skip(1) {
                    sum += (at(y + radius - k) + at(y + radius + k)) * weight;
                }
                *to += sum * scale;
            }
        }
    }

    /// Unblurred gas through a filter on a strip and `radius` pixels around it.
    fn sharp(&self, spec: &Spec, first: i64, rows: usize, radius: i64) -> Vec<f32> {
        let (wide, high) = (
            spec.grid.width as i64 + 2 * radius,
            rows as i64 + 2 * radius,
        );
        let (left, top) = (-radius, first - radius);
        let row_of = |y: i64| (y.div_euclid(self.pace) - self.rows.first) as usize;
        let line = |row: usize| {
            let start = row * self.columns.count;
            self.light[start..start + self.columns.count]
                .iter()
                .map(|light| light.through(spec.filter))
        };
        if self.pace == 1 {
            let inset = (left - self.columns.first) as usize;
            return (0..high)
                .flat_map(|y| line(row_of(top + y)).skip(inset).take(wide as usize))
                .collect();
        }
        // Along the rows of nodes first, then between them.
        let (low, last) = (row_of(top) - 1, row_of(top + high - 1) + 2);
        let mut lines = Vec::with_capacity(wide as usize * (last - low + 1));
        for row in low..=last {
            let line: Vec<f32> = line(row).collect();
            lines.extend((left..left + wide).map(|x| {
                let node = (x.div_euclid(self.pace) - 1 - self.columns.first) as usize;
                let w = self.cubic(x);
                line[node] * w[0]
                    + line[node + 1] * w[1]
                    + line[node + 2] * w[2]
                    + line[node + 3] * w[3]
            }));
        }
        let wide = wide as usize;
        let mut out = Vec::with_capacity(wide * high as usize);
        for y in top..top + high {
            let node = row_of(y) - 1 - low;
            let w = self.cubic(y);
            out.extend((0..wide).map(|x| {
                let at = |k: usize| lines[(node + k) * wide + x];
                (at(0) * w[0] + at(1) * w[1] + at(2) * w[2] + at(3) * w[3]).max(0.0)
            }));
        }
        out
    }

    /// Weights of the four nodes around a pixel.
    fn cubic(&self, at: i64) -> [f32; 4] {
        let t = at.rem_euclid(self.pace) as f32 / self.pace as f32;
        let (t2, t3) = (t * t, t * t * t);
        [
            0.5 * (-t + 2.0 * t2 - t3),
            0.5 * (2.0 - 5.0 * t2 + 3.0 * t3),
            0.5 * (t + 4.0 * t2 - 3.0 * t3),
            0.5 * (t3 - t2),
        ]
    }
}
