//! How high each star stands: the point's image fitted to it and to what is
//! beside it, above a plane or a curved surface (see `below`).

use rayon::prelude::*;

use super::below::{Below, FAR, Way};
use super::image::{Image, Want};
use super::light::{Drawn, Plate};
use super::noise::Noise;
use super::pixels::{Pixels, Window};

/// A star on the way.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Spot {
    /// Where the list has it, px.
    pub given: [f64; 2],
    /// Whether it is the list's, or was found here.
    pub listed: bool,
    /// Where it is, px.
    pub place: [f64; 2],
    /// Height of its image, file units; 0 where it does not show.
    pub height: f64,
    /// Background at the place, its rise per pixel right and down, and its
    /// curvatures: of u^2, u v, v^2.
    pub background: [f64; CURVED],
    /// Height over its error.
    pub snr: f64,
    /// Radius of the disc of pixels that are full, px; 0 where none is.
    pub plateau_px: f64,
    /// From this value on a pixel says nothing.
    pub full: f32,
    /// What other channels say of its height.
    pub hint: Option<Hint>,
    /// What its fit leaves where its light is low, as sigma, file units: noise and
    /// what the ground has beside a plane; 0 before it was fitted.
    pub rough: f64,
    /// Whether it was told apart from others that it was taken for one with.
    pub group: bool,
}

impl Spot {
    /// One that no list has and no fit has seen, as high as it seems.
    pub fn new(place: [f64; 2], height: f64, full: f32) -> Self {
        Self {
            given: place,
            listed: false,
            place,
            height,
            background: [0.0; CURVED],
            snr: 0.0,
            plateau_px: 0.0,
            full,
            hint: None,
            rough: 0.0,
            group: false,
        }
    }
}

/// A star's height as other channels tell it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hint {
    /// File units.
    pub height: f64,
    /// Its error, file units.
    pub error: f64,
    /// The error of what came out with it; infinite before it was fitted.
    pub both: f64,
}

/// Part of the image's height by which it is taken to be wrong.
const WRONG: f64 = 0.007;

/// Where starlight is below so many sigma, what a fit leaves tells of the ground.
const DIM: f64 = 30.0;

/// From the mean of what is off to sigma: the root of half of pi.
const TO_SIGMA: f64 = 1.253_314;

/// Residuals beyond so many sigma count less (Huber 1964, Ann. Math. Stat. 35, 73).
const HUBER: f64 = 2.0;

/// Stars fitted together with one, at most.
const NEIGHBOURS: usize = 6;

/// Height and two shifts.
const OWN: usize = 3;

/// A level and two slopes; with three curvatures.
const PLANE: usize = 3;
const CURVED: usize = 6;

/// What is fitted together, at most.
pub(super) const MOST: usize = OWN + CURVED + NEIGHBOURS;

/// Below this signal to noise a star stays where the list has it.
const MOVES_SNR: f64 = 15.0;

/// What all fits of a round share.
pub(super) struct Round<'a> {
    pub pixels: Pixels<'a>,
    /// Light of all stars, and how they are drawn.
    pub plate: &'a Plate,
    pub noise: &'a Noise,
    pub image: &'a Image,
    /// Which stars lie beside which, nearest first.
    pub beside: &'a [Vec<u32>],
    /// How to take what lies below; a plane where nothing is known.
    pub below: Option<&'a Below>,
}

impl Round<'_> {
    /// Fits these stars, each against the others as they were before.
    pub fn fit(&self, spots: &mut [Spot], chosen: &[u32]) {
        let energy = self.image.psf.energy();
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

    /// The error of a star's height, file units.
    pub fn error(&self, spot: &Spot) -> f64 {
        let way = self
            .below
            .and_then(|below| below.best(spot.place, spot.height));
        let [x, y] = spot.place.map(|at| at as f32);
        way.map_or_else(|| f64::from(self.noise.at(x, y)), |way| way.error)
    }

    /// How far from the star its fit looks, px.
    fn radius(&self, spot: &Spot, sigma: f32, way: Option<Way>) -> f64 {
        if let Some(taper) = way.and_then(|way| way.taper_px) {
            return FAR * taper;
        }
        let width = self.image.psf.fwhm_px;
        let seen = f64::from(self.image.psf.reach_px(spot.height as f32, 3.0 * sigma));
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
        let way = self
            .below
            .filter(|_| spot.plateau_px == 0.0)
            .and_then(|below| below.best(spot.place, spot.height));
        let curved = way.is_some_and(|way| way.taper_px.is_some());
        let ground = if curved { CURVED } else { PLANE };
        let radius = self.radius(spot, sigma, way);
        let drawn = &self.plate.drawn;
        let beside: Vec<&Drawn> = self.beside[index]
            .iter()
            .filter_map(|other| drawn.get(*other as usize))
            .filter(|other| other.height > 0.0)
            .take(NEIGHBOURS)
            .collect();
        let own = &drawn[index];
        let answer = |beside: &[&Drawn]| {
            const LONE: usize = OWN + PLANE;
            const FULL: usize = LONE + NEIGHBOURS;
            const LONE_CURVED: usize = OWN + CURVED;
            let (mut normal, right, rough) = match (curved, beside.is_empty()) {
                (false, true) => self.sums::<LONE, PLANE>(spot, own, beside, radius, sigma, way),
                (false, false) => self.sums::<FULL, PLANE>(spot, own, beside, radius, sigma, way),
                (true, true) => {
                    self.sums::<LONE_CURVED, CURVED>(spot, own, beside, radius, sigma, way)
                }
                (true, false) => self.sums::<MOST, CURVED>(spot, own, beside, radius, sigma, way),
            }?;
            solve(&mut normal, right, OWN + ground + beside.len()).map(|answer| (answer, rough))
        };
        // Two at one place cannot be told apart.
        let (answer, rough) = answer(&beside).or_else(|| answer(&[]))?;
        let moves = spot.snr > MOVES_SNR;
        let mut height = answer[0];
        let mut next = spot.clone();
        next.rough = rough;
        if let (Some(hint), Some(way)) = (&mut next.hint, way) {
            let (own, told) = (way.error * way.error, hint.error * hint.error);
            // Nothing is known of the ground: what is here counts for nothing.
            let share = if own.is_finite() {
                own / (told + own)
            } else {
                1.0
            };
            height += (hint.height - height) * share;
            hint.both = hint.error * share.sqrt();
        }
        next.snr = height * energy.sqrt() / f64::from(sigma);
        next.background = [0.0; CURVED];
        next.background[..ground].copy_from_slice(&answer[OWN..OWN + ground]);
        next.height = height.max(0.0);
        if moves && height > 0.0 {
            let width = self.image.psf.fwhm_px;
            let most = 0.15 * width;
            let widest = (0.5 * width).max(0.7 * spot.plateau_px);
            for axis in 0..2 {
                let step = answer[1 + axis].clamp(-most, most);
                let from = spot.given[axis];
                next.place[axis] = (spot.place[axis] + step).clamp(from - widest, from + widest);
            }
        }
        Some(next)
    }

    /// The sums of the normal equations; none where too few pixels tell.
    fn sums<const N: usize, const GROUND: usize>(
        &self,
        spot: &Spot,
        own: &Drawn,
        beside: &[&Drawn],
        radius: f64,
        sigma: f32,
        way: Option<Way>,
    ) -> Option<(Box<Matrix>, [f64; MOST], f64)> {
        let [x0, y0] = spot.place;
        let window = Window::around(spot.place, radius, self.pixels.width, self.pixels.height);
        let moves = spot.snr > MOVES_SNR;
        let placed = self.image.place(x0, y0);
        let as_drawn = [own.x, own.y] == [x0, y0];
        let [own_placed, rest @ ..] = &mut [self.image.place(own.x, own.y); 1 + NEIGHBOURS];
        for (place, star) in rest.iter_mut().zip(beside) {
            *place = self.image.place(star.x, star.y);
        }
        let mut lines = vec![vec![0.0_f32; window.width]; 4 + beside.len()];
        let mut normal = [[0.0; N]; N];
        let mut right = [0.0; N];
        let mut used = 0;
        let taper = way.and_then(|way| way.taper_px);
        let bell =
            |off: f64| taper.map_or(1.0, |taper| libm::exp(-0.5 * off * off / (taper * taper)));
        let across: Vec<f64> = (0..window.width)
            .map(|column| bell((window.left + column) as f64 - x0))
            .collect();
        let sigma2 = f64::from(sigma) * f64::from(sigma);
        // A bright star's height comes from where it outshines what the ground has.
        let ground2 = (spot.rough * spot.rough).max(sigma2);
        let mut off_ground = [0.0, 0.0];
        for y in window.top..window.bottom() {
            let left = window.left;
            let row = &self.pixels.row(y)[left..window.right()];
            let light = &self.plate.light[y * self.pixels.width + left..][..window.width];
            self.image
                .row(&placed, Want::Height, y, left, &mut lines[0]);
            if moves {
                self.image.row(&placed, Want::Right, y, left, &mut lines[1]);
                self.image.row(&placed, Want::Down, y, left, &mut lines[2]);
            }
            if as_drawn {
                let (image, light) = lines.split_at_mut(3);
                light[0].copy_from_slice(&image[0]);
                own.shine(self.image, y, left, &mut light[0]);
            } else {
                own.row(self.image, own_placed, y, left, &mut lines[3]);
            }
            for ((line, star), place) in lines[4..].iter_mut().zip(beside).zip(rest.iter()) {
                star.row(self.image, place, y, left, line);
            }
            let v = y as f64 - y0;
            let down = bell(v);
            for (column, value) in row.iter().enumerate() {
                let u = (left + column) as f64 - x0;
                if u * u + v * v > radius * radius || !(*value < spot.full) {
                    continue;
                }
                let mut parts = [0.0; N];
                parts[0] = f64::from(lines[0][column]);
                if moves {
                    parts[1] = f64::from(lines[1][column]) * spot.height;
                    parts[2] = f64::from(lines[2][column]) * spot.height;
                }
                let ground = [1.0, u, v, u * u, u * v, v * v];
                parts[OWN..OWN + GROUND].copy_from_slice(&ground[..GROUND]);
                let mut others = 0.0;
                for ((part, line), star) in parts[OWN + GROUND..]
                    .iter_mut()
                    .zip(&lines[4..])
                    .zip(beside)
                {
                    others += f64::from(line[column]);
                    *part = f64::from(line[column] / star.height);
                }
                // The value without the stars that are not fitted here.
                let light = light[column];
                let target = f64::from(*value) - f64::from(light - lines[3][column]) + others;
                let here = f64::from(light.max(0.0));
                let variance = ground2 + (WRONG * here) * (WRONG * here);
                let below: f64 = spot.background[..GROUND]
                    .iter()
                    .zip(ground)
                    .map(|(share, part)| share * part)
                    .sum();
                let model = below + spot.height * parts[0] + others;
                let mut weight = across[column] * down;
                weight /= variance;
                if spot.snr > 0.0 && here < DIM * f64::from(sigma) {
                    let share = across[column] * down;
                    off_ground[0] += share * (target - model).abs();
                    off_ground[1] += share;
                }
                let off = (target - model) * (target - model) / variance;
                if spot.snr > 0.0 && off > HUBER * HUBER {
                    weight *= HUBER / off.sqrt();
                }
                used += 1;
                for i in 0..N {
                    let part = parts[i] * weight;
                    right[i] += part * target;
                    for j in 0..N {
                        normal[i][j] += part * parts[j];
                    }
                }
            }
        }
        if used < 2 * (OWN + GROUND) {
            return None;
        }
        if !moves {
            (normal[1][1], normal[2][2]) = (1.0, 1.0);
        }
        let [off, share] = off_ground;
        let rough = if share > 0.0 {
            TO_SIGMA * off / share
        } else {
            0.0
        };
        let mut all = (Box::new([[0.0; MOST]; MOST]), [0.0; MOST], rough);
        for i in 0..N {
            all.1[i] = right[i];
            all.0[i][..N].copy_from_slice(&normal[i]);
        }
        Some(all)
    }
}

pub(super) type Matrix = [[f64; MOST]; MOST];

/// Cholesky's way; None where the matrix does not settle the answer.
pub(super) fn solve(
    matrix: &mut Matrix,
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
