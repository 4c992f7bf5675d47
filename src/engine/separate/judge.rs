//! What is a star and what is not.

use rayon::prelude::*;

use super::fit::{MOST, Round, Spot, solve};
use super::image::Want;
use super::pixels::Window;
use super::split::Group;

/// How much wider in area than a point a star may come out, how much less wide,
/// and how much longer one way.
const WIDER: f64 = 0.22;
const SHARPER: f64 = 0.3;
const LONGER: f64 = 0.8;

/// So many times its error a new star may be a little wider.
const SURE: f64 = 30.0;
const SURE_WIDER: f64 = 0.05;

/// So many times its error nothing but stars is listed; a second star beside one
/// may make it seem so much wider.
const CLEAR: f64 = 60.0;
const CLEAR_WIDER: f64 = 0.8;

/// So many times the error of its shape a spot may look otherwise than a point where
/// the ground is calm: where heights above a plane err by the first of these times
/// what noise alone makes; ever less up to the second.
const EASE: f64 = 2.5;
const CALM: (f64, f64) = (1.7, 4.0);

/// Sigma of the bell with which pixels count less outwards, in widths: or what
/// lies around a star would pass for its shape.
const TAPER: f64 = 0.6;

/// Height, two shifts, a curved ground of six, three curvatures of the image.
const TERMS: usize = 12;

/// How a spot looks beside the image of a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Look {
    /// Height of the image, file units.
    pub height: f64,
    /// Where it is, px from where it was sought.
    pub shift: [f64; 2],
    /// Growth of the variance over that of the image, mean of both axes.
    pub wider: f64,
    /// Half the difference of the growth along and across.
    pub longer: f64,
    /// Height over the error that the noise and the roughness of what is left
    /// around give it.
    pub snr: f64,
    /// Error of `wider` that the noise makes.
    pub unsure: f64,
    /// Which way it is longest, radians from right to down.
    pub angle: f64,
    /// How far its shape is eased: see [`CALM`].
    pub calm: f64,
}

impl Look {
    /// Whether it is as wide as a star, give or take so much.
    fn is_star(&self, longer: f64, wider: f64) -> bool {
        let ease = EASE * self.calm * self.unsure;
        // Closer than a point can be a hot pixel or a ray's track.
        let sharp = self.wider < -(SHARPER + 3.0 / self.snr).max(ease);
        let narrow = self.wider < (WIDER + wider).max(ease);
        let short = self.longer < (LONGER + longer).max(ease);
        self.height > 0.0 && !sharp && narrow && short
    }

    /// Whether it is a star where the list has none, and structure and noise make
    /// stars of height `error`. One that the picture's border `cuts` seems wider.
    pub fn is_new_star(&self, error: f64, cuts: bool) -> bool {
        let sure = self.height > SURE * error;
        let wider = if sure { SURE_WIDER } else { 0.0 };
        self.is_star(0.0, wider) || cuts && self.is_listed_star(error)
    }

    /// The same for a star of the list.
    fn is_listed_star(&self, error: f64) -> bool {
        let by = error / self.height;
        let wider = if self.height > CLEAR * error {
            CLEAR_WIDER - WIDER
        } else {
            by
        };
        self.is_star(by, wider)
    }
}

impl Round<'_> {
    /// Whether the border is so near that much of a star is beyond it.
    pub fn cuts(&self, [x, y]: [f64; 2]) -> bool {
        let near = 0.5 * self.image.psf.fwhm_px;
        let (width, height) = (self.pixels.width as f64, self.pixels.height as f64);
        x.min(y) < near || x > width - 1.0 - near || y > height - 1.0 - near
    }

    /// How calm the ground is, 0..1: see [`CALM`].
    fn calm(&self, place: [f64; 2], sigma: f64) -> f64 {
        let (all, none) = CALM;
        let unrest = self.below.map_or(none, |below| below.unrest(place, sigma));
        ((none - unrest) / (none - all)).clamp(0.0, 1.0)
    }

    /// Fits the image of a point, its slopes and its curvatures, above a
    /// parabolic background: a slightly wider or longer spot is the image plus
    /// some of its curvature. `own` light is given back to the pixels first.
    pub fn look(&self, place: [f64; 2], own: Option<usize>, full: f32) -> Option<Look> {
        let [x0, y0] = place;
        let width = self.image.psf.fwhm_px;
        let taper = TAPER * width;
        // Half of the pixels may be beyond the border.
        let least = if self.cuts(place) { 5.0 } else { 3.5 };
        let radius = (3.0 * taper).max(least);
        let less = |off: f64| libm::exp(0.5 * off * off / (taper * taper));
        let step = 0.25 * width;
        let per = 1.0 / step;
        let sigma = f64::from(self.noise.alone(x0 as f32, y0 as f32));
        let window = Window::around(place, radius, self.pixels.width, self.pixels.height);
        let own = own.map(|own| &self.plate.drawn[own]);
        let own_placed = own.map(|own| self.image.place(own.x, own.y));
        // Row by row: above, level with and below the place; left, here, right.
        let places: Vec<_> = (0..9)
            .map(|part| {
                let by = |part: usize| step * (part as f64 - 1.0);
                self.image.place(x0 + by(part % 3), y0 + by(part / 3))
            })
            .collect();
        let mut images = vec![vec![0.0_f32; window.width]; 9];
        let across: Vec<f64> = (0..window.width)
            .map(|column| less((window.left + column) as f64 - x0))
            .collect();
        let mut mine = vec![0.0_f32; window.width];
        let mut lines: Vec<([f64; TERMS], f64, f64)> = Vec::with_capacity(256);
        for y in window.top..window.bottom() {
            let left = window.left;
            for (line, place) in images.iter_mut().zip(&places) {
                self.image.row(place, Want::Height, y, left, line);
            }
            if let (Some(own), Some(placed)) = (own, &own_placed) {
                own.row(self.image, placed, y, left, &mut mine);
            }
            let light = &self.plate.light[y * self.pixels.width + left..][..window.width];
            let row = &self.pixels.row(y)[left..window.right()];
            let v = y as f64 - y0;
            let down = less(v);
            for (column, value) in row.iter().enumerate() {
                let u = (left + column) as f64 - x0;
                if u * u + v * v > radius * radius || !(*value < full) {
                    continue;
                }
                let at = |part: usize| f64::from(images[part][column]);
                let middle = at(4);
                let corners = at(8) + at(0) - at(2) - at(6);
                let parts = [
                    middle,
                    0.5 * per * (at(5) - at(3)),
                    0.5 * per * (at(7) - at(1)),
                    1.0,
                    u,
                    v,
                    u * u,
                    u * v,
                    v * v,
                    0.5 * per * per * (at(3) + at(5) - 2.0 * middle),
                    0.5 * per * per * (at(1) + at(7) - 2.0 * middle),
                    0.25 * per * per * corners,
                ];
                let here = 0.03 * f64::from(light[column].max(0.0));
                lines.push((
                    parts,
                    f64::from(value - light[column] + mine[column]),
                    (sigma * sigma + here * here) * across[column] * down,
                ));
            }
        }
        if lines.len() < 2 * TERMS {
            return None;
        }
        let mut normal = [[0.0; MOST]; MOST];
        let mut right = [0.0; MOST];
        let (mut energy, mut mean) = (0.0, 0.0);
        for (parts, value, variance) in &lines {
            for i in 0..TERMS {
                let part = parts[i] / variance;
                right[i] += part * value;
                for j in 0..TERMS {
                    normal[i][j] += part * parts[j];
                }
            }
            energy += parts[0] * parts[0];
            mean += parts[0];
        }
        let mut ask = [0.0; MOST];
        (ask[9], ask[10]) = (0.5, 0.5);
        let growth = solve(&mut normal.clone(), ask, TERMS)?;
        let answer = solve(&mut normal, right, TERMS)?;
        let left = lines.iter().map(|(parts, value, variance)| {
            let model: f64 = parts
                .iter()
                .zip(&answer)
                .map(|(part, share)| part * share)
                .sum();
            (value - model) * (value - model) * sigma * sigma / variance
        });
        let weights: f64 = lines
            .iter()
            .map(|(_, _, variance)| sigma * sigma / variance)
            .sum();
        let rough =
            (left.sum::<f64>() / (weights * (1.0 - TERMS as f64 / lines.len() as f64))).sqrt();
        let growth: f64 = lines
            .iter()
            .map(|(parts, _, variance)| {
                let share: f64 = parts
                    .iter()
                    .zip(&growth)
                    .map(|(part, share)| part * share)
                    .sum();
                (share / variance) * (share / variance)
            })
            .sum();
        let height = answer[0];
        let variance = (width / 2.354_82) * (width / 2.354_82);
        let scale = 1.0 / (height * variance);
        let (along, across, both) = (answer[9] * scale, answer[10] * scale, answer[11] * scale);
        let half = 0.5 * (along - across);
        // The level below takes part of the energy away.
        let free = (energy - mean * mean / lines.len() as f64).max(0.0);
        Some(Look {
            height,
            shift: [answer[1] / height, answer[2] / height],
            wider: 0.5 * (along + across),
            longer: (half * half + both * both).sqrt(),
            snr: height * free.sqrt() / rough.max(sigma),
            angle: 0.5 * libm::atan2(2.0 * both, along - across),
            unsure: growth.sqrt() * sigma * scale.abs(),
            calm: self.calm(place, sigma),
        })
    }

    /// Sets those spots to nothing that are wider or longer than a point and no
    /// group of points. How many there were, and the groups.
    pub fn leave_out_unlike(&self, spots: &mut [Spot]) -> (usize, Vec<Group>) {
        let unlike: Vec<Option<Unlike>> = spots
            .par_iter()
            .enumerate()
            .map(|(index, spot)| self.unlike(spot, index))
            .collect();
        let mut count = 0;
        let mut groups = Vec::new();
        for (spot, unlike) in spots.iter_mut().zip(unlike) {
            match unlike {
                Some(Unlike::Nothing) => {
                    spot.height = 0.0;
                    count += 1;
                }
                Some(Unlike::Group(group)) => groups.push(group),
                None => {}
            }
        }
        (count, groups)
    }

    fn unlike(&self, spot: &Spot, index: usize) -> Option<Unlike> {
        if spot.height <= 0.0 || spot.plateau_px > 0.0 || spot.group {
            return None;
        }
        // What is too faint to tell is left to its signal to noise.
        let look = self.look(spot.place, Some(index), spot.full)?;
        let error = self.error(spot);
        let new = look.is_new_star(error, self.cuts(spot.place));
        if new || spot.listed && look.is_listed_star(error) {
            return None;
        }
        let group = self.split(spot, Some(index), &look, &self.beside[index], true);
        Some(group.map_or(Unlike::Nothing, Unlike::Group))
    }
}

/// What does not look like a star.
enum Unlike {
    Nothing,
    Group(Group),
}
