//! How high each star stands: the point's image fitted to it and to what is
//! beside it, above a sloping background.

use rayon::prelude::*;

use super::light::Drawn;
use super::noise::Noise;
use super::pixels::{Pixels, Window};
use super::psf::Psf;

/// A star on the way.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Spot {
    /// Where the list has it, px.
    pub given: [f64; 2],
    /// Where it is, px.
    pub place: [f64; 2],
    /// Height of its image, file units; 0 where it does not show.
    pub height: f64,
    /// Background at the place, and its rise per pixel right and down.
    pub background: [f64; 3],
    /// Height over its error.
    pub snr: f64,
    /// Radius of the disc of pixels that are full, px; 0 where none is.
    pub plateau_px: f64,
    /// From this value on a pixel says nothing.
    pub full: f32,
}

/// Part of the image's height by which it is taken to be wrong.
const WRONG: f64 = 0.03;

/// Residuals beyond so many sigma count less (Huber 1964, Ann. Math. Stat. 35, 73).
const HUBER: f64 = 2.0;

/// Stars fitted together with one, at most.
const NEIGHBOURS: usize = 6;

/// Height, two shifts, level and two slopes, neighbours.
pub(super) const MOST: usize = 6 + NEIGHBOURS;

/// Below this signal to noise a star stays where the list has it.
const MOVES_SNR: f64 = 15.0;

/// What all fits of a round share.
pub(super) struct Round<'a> {
    pub pixels: Pixels<'a>,
    /// Light of all stars as `drawn` has them, the whole picture.
    pub light: &'a [f32],
    pub drawn: &'a [Drawn],
    pub noise: &'a Noise,
    pub psf: &'a Psf,
    /// Which stars lie beside which, nearest first.
    pub beside: &'a [Vec<u32>],
}

impl Round<'_> {
    /// Fits these stars, each against the others as they were before.
    pub fn fit(&self, spots: &mut [Spot], chosen: &[u32]) {
        let energy = self.psf.energy();
        let fitted: Vec<Option<Spot>> = chosen
            .par_iter()
            .map(|index| self.one(&spots[*index as usize], *index as usize, energy))
            .collect();
        for (index, fitted) in chosen.iter().zip(fitted) {
            if let Some(fitted) = fitted {
                spots[*index as usize] = fitted;
            }
        }
    }

    /// How far from the star its fit looks, px.
    fn radius(&self, spot: &Spot, sigma: f32) -> f64 {
        let width = self.psf.fwhm_px;
        let seen = f64::from(self.psf.reach_px(spot.height as f32, 3.0 * sigma));
        if spot.plateau_px > 0.0 {
            let least = spot.plateau_px + 1.5 * width;
            seen.clamp(least, least + 8.0 * width)
        } else {
            seen.clamp((2.2 * width).max(3.5), 4.0 * width)
        }
    }

    fn one(&self, spot: &Spot, index: usize, energy: f64) -> Option<Spot> {
        let [x0, y0] = spot.place;
        let sigma = self.noise.at(x0 as f32, y0 as f32);
        let radius = self.radius(spot, sigma);
        let own = Drawn {
            reach: (radius as f32 + 4.0).max(self.drawn[index].reach),
            ..self.drawn[index]
        };
        let shape = Drawn {
            height: 1.0,
            reach: super::psf::FARTHEST_PX,
            ..own
        };
        let moves = spot.snr > MOVES_SNR;
        let beside: Vec<&Drawn> = self.beside[index]
            .iter()
            .map(|other| &self.drawn[*other as usize])
            .filter(|other| other.height > 0.0)
            .take(NEIGHBOURS)
            .collect();
        let count = 6 + beside.len();
        let window = Window::around(spot.place, radius, self.pixels.width, self.pixels.height);
        let mut normal = [[0.0; MOST]; MOST];
        let mut right = [0.0; MOST];
        let mut used = 0;
        let sigma2 = f64::from(sigma) * f64::from(sigma);
        for y in window.top..window.bottom() {
            let row = self.pixels.row(y);
            for x in window.left..window.right() {
                let (u, v) = (x as f64 - x0, y as f64 - y0);
                let value = row[x];
                if u * u + v * v > radius * radius || !(value < spot.full) {
                    continue;
                }
                let (dx, dy) = (u as f32, v as f32);
                let light = self.light[y * self.pixels.width + x];
                let drawn = self.drawn[index].beside(self.psf, dx, dy);
                let mut parts = [0.0; MOST];
                parts[0] = f64::from(shape.beside(self.psf, dx, dy));
                if moves {
                    let slope = |a: f32, b: f32| f64::from(a - b) * spot.height;
                    parts[1] = slope(self.psf.at(dx - 0.25, dy), self.psf.at(dx + 0.25, dy)) / 0.5;
                    parts[2] = slope(self.psf.at(dx, dy - 0.25), self.psf.at(dx, dy + 0.25)) / 0.5;
                }
                (parts[3], parts[4], parts[5]) = (1.0, u, v);
                let mut others = 0.0;
                for (part, star) in parts[6..].iter_mut().zip(&beside) {
                    let light = star.at(self.psf, x, y);
                    others += f64::from(light);
                    *part = f64::from(light / star.height);
                }
                // The value without the stars that are not fitted here.
                let target = f64::from(value) - f64::from(light - drawn) + others;
                let here = f64::from(light.max(0.0));
                let variance = sigma2 + (WRONG * here) * (WRONG * here);
                let model = spot.background[0]
                    + spot.background[1] * u
                    + spot.background[2] * v
                    + spot.height * parts[0]
                    + others;
                let off = (target - model).abs();
                let scaled = off / variance.sqrt();
                let mut weight = 1.0 / variance;
                if spot.snr > 0.0 && scaled > HUBER {
                    weight *= HUBER / scaled;
                }
                used += 1;
                for i in 0..count {
                    let part = parts[i] * weight;
                    right[i] += part * target;
                    for j in i..count {
                        normal[i][j] += part * parts[j];
                    }
                }
            }
        }
        if used < 12 {
            return None;
        }
        if !moves {
            (normal[1][1], normal[2][2]) = (1.0, 1.0);
        }
        let answer = solve(&mut normal, right, count)?;
        let height = answer[0];
        let mut next = spot.clone();
        next.snr = height * energy.sqrt() / f64::from(sigma);
        next.background = [answer[3], answer[4], answer[5]];
        next.height = height.max(0.0);
        if moves && height > 0.0 {
            let most = 0.15 * self.psf.fwhm_px;
            let widest = (0.5 * self.psf.fwhm_px).max(0.7 * spot.plateau_px);
            for axis in 0..2 {
                let step = answer[1 + axis].clamp(-most, most);
                let from = spot.given[axis];
                next.place[axis] = (spot.place[axis] + step).clamp(from - widest, from + widest);
            }
        }
        Some(next)
    }
}

/// Cholesky's way; None where the matrix does not settle the answer.
pub(super) fn solve(
    matrix: &mut [[f64; MOST]; MOST],
    mut right: [f64; MOST],
    count: usize,
) -> Option<[f64; MOST]> {
    for i in 0..count {
        let floor = 1e-9 * matrix[i][i];
        for k in 0..i {
            for j in i..count {
                matrix[i][j] -= matrix[k][i] * matrix[k][j];
            }
        }
        let pivot = matrix[i][i];
        if !(pivot > floor && pivot.is_finite()) {
            return None;
        }
        let root = pivot.sqrt();
        for value in &mut matrix[i][i..count] {
            *value /= root;
        }
    }
    for i in 0..count {
        for k in 0..i {
            right[i] -= matrix[k][i] * right[k];
        }
        right[i] /= matrix[i][i];
    }
    for i in (0..count).rev() {
        for k in i + 1..count {
            right[i] -= matrix[i][k] * right[k];
        }
        right[i] /= matrix[i][i];
    }
    Some(right)
}
