//! Points of light that no star explains yet.
//!
//! What is left is smoothed by a bell as wide as a star, less a wider one. A
//! peak of that which stands far out of the noise, and of how rough such
//! differences are around it, is looked at closely.

use rayon::prelude::*;

use super::fit::{Round, Spot};
use super::noise::middle;

/// How far a peak must stand out, in sigma of what is around.
const STANDS_OUT: f32 = 3.0;

/// Signal to noise, against the roughness of the place, of a star that the
/// list does not have.
const NEW_SNR: f64 = 5.0;

/// Beside the light of stars already there a new one has at least this part.
const PART: f32 = 0.06;

/// How much wider the other bell is.
const WIDER: f64 = 2.0;

/// Rows, and columns, of a cell in which roughness is measured.
const CELL: usize = 32;

/// A peak of the smoothed rest.
struct Peak {
    x: usize,
    y: usize,
    top: f32,
}

/// How rough the picture is without its stars, on a coarse mesh.
pub(super) struct Rough {
    /// Row by row of cells: sigma of the difference of the bells.
    cells: Vec<Vec<f32>>,
    /// What that difference is for a star of height 1.
    response: f32,
}

impl Rough {
    fn new(cells: Vec<Vec<f32>>, response: f32) -> Self {
        Self { cells, response }
    }

    fn of_bells(&self, x: usize, y: usize) -> f32 {
        let (column, row) = (x / CELL, y / CELL);
        let mut near = Vec::with_capacity(9);
        for row in row.saturating_sub(1)..(row + 2).min(self.cells.len()) {
            let cells = &self.cells[row];
            near.extend(&cells[column.saturating_sub(1)..(column + 2).min(cells.len())]);
        }
        middle(near).unwrap_or(f32::INFINITY)
    }

    /// How high a star seems that is nothing but roughness, typically; file units.
    pub fn at(&self, [x, y]: [f64; 2]) -> f64 {
        let [x, y] = [x, y].map(|at| at.max(0.0) as usize);
        f64::from(self.of_bells(x, y) / self.response)
    }
}

/// One bell, from the middle outwards; over both sides 1.
fn bell(sigma: f64) -> Vec<f32> {
    let reach = libm::ceil(2.5 * sigma) as usize;
    let half: Vec<f64> = (0..=reach)
        .map(|at| libm::exp(-0.5 * (at as f64 / sigma) * (at as f64 / sigma)))
        .collect();
    let whole = 2.0 * half.iter().sum::<f64>() - half[0];
    half.iter().map(|value| (value / whole) as f32).collect()
}

impl Round<'_> {
    /// Stars that are missing, from the top, then the left; and how rough the
    /// rest is.
    pub fn seek(&self, full: f32) -> (Vec<Spot>, Rough) {
        let (bells, norm) = self.bells();
        let strips: Vec<(Vec<Peak>, Vec<f32>)> = (0..self.pixels.height.div_ceil(CELL))
            .into_par_iter()
            .map(|strip| self.peaks(&bells, norm, strip * CELL))
            .collect();
        let (peaks, rough): (Vec<Vec<Peak>>, Vec<Vec<f32>>) = strips.into_iter().unzip();
        let rough = Rough::new(rough, self.response(&bells));
        let found = peaks
            .into_par_iter()
            .flatten()
            .filter(|peak| peak.top > STANDS_OUT * rough.of_bells(peak.x, peak.y))
            .filter_map(|peak| self.closely(&peak, full))
            .collect();
        (found, rough)
    }

    /// Two bells, and sigma of the difference of what they give for noise of
    /// sigma 1.
    fn bells(&self) -> ([Vec<f32>; 2], f32) {
        let sigma = self.image.psf.fwhm_px / 2.354_82;
        let bells = [bell(sigma), bell(WIDER * sigma)];
        let norm = over(&bells, |_, _, difference| difference * difference);
        (bells, norm.sqrt() as f32)
    }

    /// What the difference of the bells makes of a star of height 1.
    fn response(&self, bells: &[Vec<f32>; 2]) -> f32 {
        let psf = &self.image.psf;
        let at = |x: f32, y: f32| f64::from(psf.at(x, y));
        over(bells, |x, y, difference| {
            difference * at(x as f32, y as f32)
        }) as f32
    }

    fn closely(&self, peak: &Peak, full: f32) -> Option<Spot> {
        let place = [peak.x as f64, peak.y as f64];
        let value = self.pixels.row(peak.y)[peak.x];
        if !(value < full) {
            return None;
        }
        let look = self.look(place, None, full)?;
        let near = (0.4 * self.image.psf.fwhm_px).max(0.8);
        let [u, v] = look.shift;
        let light = self.plate.light[peak.y * self.pixels.width + peak.x];
        let enough = look.height > f64::from(PART * light);
        let is_star = enough && look.snr > NEW_SNR && look.is_star();
        (u.abs().max(v.abs()) < near && is_star).then(|| {
            let place = [place[0] + u, place[1] + v];
            Spot {
                given: place,
                listed: false,
                place,
                height: look.height,
                background: [f64::from(value - light) - look.height, 0.0, 0.0],
                snr: 0.0,
                plateau_px: 0.0,
                full,
            }
        })
    }

    /// The peaks of a strip of rows, and each of its cells' roughness.
    fn peaks(&self, bells: &[Vec<f32>; 2], norm: f32, first: usize) -> (Vec<Peak>, Vec<f32>) {
        let (width, height) = (self.pixels.width, self.pixels.height);
        let near = libm::ceil(0.5 * self.image.psf.fwhm_px) as usize;
        let reach = bells[1].len() - 1;
        let last = (first + CELL).min(height);
        // Rows of the smoothed rest, with `near` more on either side.
        let (top, bottom) = (first.saturating_sub(near), (last + near).min(height));
        let mut rest = vec![0.0_f32; width + 2 * reach];
        let rows = bottom + 2 * reach - top;
        let mut flat = [vec![0.0_f32; rows * width], vec![0.0_f32; rows * width]];
        for row in 0..rows {
            let y = (top + row).saturating_sub(reach).min(height - 1);
            let light = &self.plate.light[y * width..(y + 1) * width];
            for ((rest, value), light) in
                rest[reach..].iter_mut().zip(self.pixels.row(y)).zip(light)
            {
                *rest = value - light;
            }
            let (left, right) = (rest[reach], rest[reach + width - 1]);
            rest[..reach].fill(left);
            rest[reach + width..].fill(right);
            for (flat, bell) in flat.iter_mut().zip(bells) {
                let out = &mut flat[row * width..(row + 1) * width];
                let at = |by: isize| &rest[(reach as isize + by) as usize..][..width];
                sum(bell, out, at);
            }
        }
        let mut smooth = vec![0.0_f32; (bottom - top) * width];
        let mut wide = vec![0.0_f32; width];
        for (row, out) in smooth.chunks_mut(width).enumerate() {
            for (bell, (flat, out)) in bells
                .iter()
                .zip(flat.iter().zip([&mut *out, &mut wide[..]]))
            {
                let at = |by: isize| {
                    let row = (row + reach).wrapping_add_signed(by);
                    &flat[row * width..(row + 1) * width]
                };
                sum(bell, out, at);
            }
            for (out, wide) in out.iter_mut().zip(&wide) {
                *out -= wide;
            }
        }
        let row = |y: usize| &smooth[(y - top) * width..(y - top + 1) * width];
        let mut peaks = Vec::new();
        for y in first..last {
            let here = row(y);
            let least = 4.0 * norm * self.noise.least();
            for x in 0..width {
                let value = here[x];
                if !(value > least && value > 4.0 * norm * self.noise.at(x as f32, y as f32)) {
                    continue;
                }
                let rows = y.saturating_sub(near).max(top)..(y + near + 1).min(bottom);
                let highest = rows.clone().all(|v| {
                    let columns = x.saturating_sub(near)..(x + near + 1).min(width);
                    row(v)[columns].iter().all(|other| !(*other > value))
                });
                if highest {
                    peaks.push(Peak { x, y, top: value });
                }
            }
        }
        let rough = (0..width.div_ceil(CELL))
            .map(|cell| {
                let columns = cell * CELL..((cell + 1) * CELL).min(width);
                let mut values = Vec::with_capacity(CELL * CELL / 4);
                for y in (first..last).step_by(2) {
                    values.extend(row(y)[columns.clone()].iter().step_by(2).map(|v| v.abs()));
                }
                values.retain(|value| !value.is_nan());
                1.4826 * middle(values).unwrap_or(f32::INFINITY)
            })
            .collect();
        (peaks, rough)
    }
}

/// The sum of rows, or of a row's neighbours, with a bell's weights.
fn sum<'a>(bell: &[f32], out: &mut [f32], at: impl Fn(isize) -> &'a [f32]) {
    for (out, value) in out.iter_mut().zip(at(0)) {
        *out = bell[0] * value;
    }
    for (by, weight) in bell.iter().enumerate().skip(1) {
        let by = by as isize;
        for ((out, a), b) in out.iter_mut().zip(at(-by)).zip(at(by)) {
            *out += weight * (a + b);
        }
    }
}

/// Adds something up over the difference of two bells.
fn over(bells: &[Vec<f32>; 2], of: impl Fn(i64, i64, f64) -> f64) -> f64 {
    let part = |bell: &[f32], at: i64| {
        bell.get(at.unsigned_abs() as usize)
            .copied()
            .map_or(0.0, f64::from)
    };
    let reach = bells[1].len() as i64 - 1;
    let mut sum = 0.0;
    for y in -reach..=reach {
        for x in -reach..=reach {
            let both = [0, 1].map(|b: usize| part(&bells[b], x) * part(&bells[b], y));
            sum += of(x, y, both[0] - both[1]);
        }
    }
    sum
}
