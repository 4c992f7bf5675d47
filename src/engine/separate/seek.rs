//! Points of light that no star explains yet.
//!
//! What is left is smoothed by a bell, less a wider one. Where a peak of that
//! stands out of the noise, the height that a star would have there is compared
//! with how such heights err where there is none; what passes is looked at
//! closely.

use rayon::prelude::*;

use super::beside::Cells;
use super::fit::{Round, Spot};
use super::split::{BESIDE, Group};

/// Beside the light of stars already there a new one has at least this part.
const PART: f32 = 0.06;

/// So much of their light may be wrong: what is left of a bright star's flanks would
/// hide another beside it.
const WRONG: f32 = 0.03;

/// So much more light a pixel beside a peak has on the flank of a bright star.
const STEEP: f32 = 1.2;

/// The bells, sigma in those of a star: narrower than it, for stars on structure
/// as fine as they are; not so much that noise makes most of the peaks.
const NARROW: f64 = 0.7;
const WIDE: f64 = 1.12;

/// How far such a peak must stand out of the noise, in sigma.
const PEAK: f32 = 4.0;

/// How far the height of a star there must stand out of its error (see
/// [`super::below`]).
const STANDS_OUT: f64 = 4.0;

/// Height over the error that what is left around a new star gives it.
const NEW_SNR: f64 = 5.0;

/// Rows that are looked through together.
const CELL: usize = 32;

/// A peak of the smoothed rest.
struct Peak {
    x: usize,
    y: usize,
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
    /// Stars that are missing, from the top, then the left.
    pub fn seek(&self, full: f32) -> Vec<Group> {
        let Some(below) = self.below else {
            return Vec::new();
        };
        let (bells, norm) = self.bells();
        let strips: Vec<Vec<Peak>> = (0..self.pixels.height.div_ceil(CELL))
            .into_par_iter()
            .map(|strip| self.peaks(&bells, norm, strip * CELL, full))
            .collect();
        let far = BESIDE * self.image.psf.fwhm_px;
        let places = self.plate.drawn.iter().map(|star| [star.x, star.y]);
        let stars = Cells::new(places.collect(), far, self.pixels.size());
        strips
            .into_par_iter()
            .flatten()
            .filter_map(|peak| {
                let (x, y) = below.stands_out(
                    &self.pixels,
                    &self.plate.light,
                    (peak.x, peak.y),
                    STANDS_OUT,
                )?;
                let at = |x: usize, y: usize| {
                    let near = stars.within([x as f64, y as f64], far).into_iter();
                    let beside: Vec<u32> = near.map(|(_, star)| star).collect();
                    self.closely(x, y, full, &beside)
                };
                // On the flank of a bright star the height rises towards it.
                let light = |x: usize, y: usize| self.plate.light[y * self.pixels.width + x];
                let flank = light(x, y) > STEEP * light(peak.x, peak.y).max(0.0);
                let again = flank && light(peak.x, peak.y) > 0.0;
                at(x, y).or_else(|| again.then(|| at(peak.x, peak.y)).flatten())
            })
            .collect()
    }

    /// Two bells, and sigma of the difference of what they give for noise of
    /// sigma 1.
    fn bells(&self) -> ([Vec<f32>; 2], f32) {
        let sigma = self.image.psf.fwhm_px / 2.354_82;
        let bells = [NARROW, WIDE].map(|widths| bell(widths * sigma));
        let norm = over(&bells, |_, _, difference| difference * difference);
        (bells, norm.sqrt() as f32)
    }

    fn closely(&self, x: usize, y: usize, full: f32, beside: &[u32]) -> Option<Group> {
        let place = [x as f64, y as f64];
        let value = self.pixels.row(y)[x];
        if !(value < full) {
            return None;
        }
        let look = self.look(place, None, full)?;
        let near = (0.4 * self.image.psf.fwhm_px).max(0.8);
        let [u, v] = look.shift;
        let light = self.plate.light[y * self.pixels.width + x];
        let enough = look.height > f64::from(PART * light);
        let error = self.below?.best(place, look.height)?.error;
        let is_star = enough && look.snr > NEW_SNR && look.is_new_star(error, self.cuts(place));
        let spot = |place: [f64; 2]| {
            let level = f64::from(value - light) - look.height;
            Spot {
                background: [level, 0.0, 0.0, 0.0, 0.0, 0.0],
                ..Spot::new(place, look.height, full)
            }
        };
        let group = self.split(&spot(place), None, &look, beside, !is_star);
        if group.is_some() {
            return group;
        }
        if u.abs().max(v.abs()) < near && is_star {
            return Some(Group {
                members: Vec::new(),
                stars: vec![spot([place[0] + u, place[1] + v])],
            });
        }
        None
    }

    /// The peaks of a strip of rows; pixels from `full` on say nothing.
    fn peaks(&self, bells: &[Vec<f32>; 2], norm: f32, first: usize, full: f32) -> Vec<Peak> {
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
                let rise = value - light;
                let wrong = WRONG * light.max(0.0);
                // What is full tells nothing.
                *rest = if *value >= full {
                    0.0
                } else {
                    rise - rise.clamp(-wrong, wrong)
                };
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
            let least = PEAK * norm * self.noise.least();
            for x in 0..width {
                let value = here[x];
                if !(value > least && value > PEAK * norm * self.noise.at(x as f32, y as f32)) {
                    continue;
                }
                let rows = y.saturating_sub(near).max(top)..(y + near + 1).min(bottom);
                let highest = rows.clone().all(|v| {
                    let columns = x.saturating_sub(near)..(x + near + 1).min(width);
                    row(v)[columns].iter().all(|other| !(*other > value))
                });
                if highest {
                    peaks.push(Peak { x, y });
                }
            }
        }
        peaks
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
