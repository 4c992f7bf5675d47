//! What is a star and what is not.

use rayon::prelude::*;

use super::fit::{MOST, Round, Spot, solve};
use super::image::Want;
use super::pixels::Window;

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
}

impl Look {
    /// Whether it is as wide as a star.
    pub fn is_star(&self) -> bool {
        // Closer than a point can be a hot pixel or a ray's track.
        let sharp = self.wider < -SHARPER - 3.0 / self.snr;
        self.height > 0.0 && !sharp && self.wider < WIDER && self.longer < LONGER
    }

    /// The same for one that the list does not have, where structure and noise
    /// make stars of height `error`. One that the picture's border `cuts` seems
    /// wider.
    pub fn is_new_star(&self, error: f64, cuts: bool) -> bool {
        let sure = self.height > SURE * error;
        let wider = if sure { SURE_WIDER } else { 0.0 };
        self.eased(0.0, wider).is_star() || cuts && self.is_listed_star(error)
    }

    /// Less long, and less wide, by so much.
    fn eased(self, longer: f64, wider: f64) -> Self {
        Self {
            wider: self.wider - wider,
            longer: self.longer - longer,
            ..self
        }
    }

    /// The same for a star of the list.
    fn is_listed_star(&self, error: f64) -> bool {
        let by = error / self.height;
        let wider = if self.height > CLEAR * error {
            CLEAR_WIDER - WIDER
        } else {
            by
        };
        self.is_star() || self.eased(by, wider).is_star()
    }
}

impl Round<'_> {
    /// Whether the border is so near that much of a star is beyond it.
    pub fn cuts(&self, [x, y]: [f64; 2]) -> bool {
        let near = 0.5 * self.image.psf.fwhm_px;
        let (width, height) = (self.pixels.width as f64, self.pixels.height as f64);
        x.min(y) < near || x > width - 1.0 - near || y > height - 1.0 - near
    }

    /// Fits the image of a point, its slopes and its curvatures, above a
    /// parabolic background: a slightly wider or longer spot is the image plus
    /// some of its curvature. `own` light is given back to the pixels first.
    pub fn look(&self, place: [f64; 2], own: Option<usize>, full: f32) -> Option<Look> {
        let [x0, y0] = place;
        let width = self.image.psf.fwhm_px;
        let taper = TAPER * width;
        let radius = (3.0 * taper).max(3.5);
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
        })
    }

    /// Sets those spots to nothing that are wider or longer than a point. How
    /// many there were.
    pub fn leave_out_unlike(&self, spots: &mut [Spot]) -> usize {
        let unlike: Vec<bool> = spots
            .par_iter()
            .enumerate()
            .map(|(index, spot)| {
                if spot.height <= 0.0 || spot.plateau_px > 0.0 {
                    return false;
                }
                let look = self.look(spot.place, Some(index), spot.full);
                let way = self
                    .below
                    .and_then(|below| below.best(spot.place, spot.height));
                let error = way.map_or(0.0, |way| way.error);
                // What is too faint to tell is left to its signal to noise.
                look.is_some_and(|look| {
                    !(look.is_new_star(error, self.cuts(spot.place))
                        || spot.listed && look.is_listed_star(error))
                })
            })
            .collect();
        for (spot, unlike) in spots.iter_mut().zip(&unlike) {
            if *unlike {
                spot.height = 0.0;
            }
        }
        unlike.into_iter().filter(|unlike| *unlike).count()
    }
}
