//! What is a star and what is not; and stars that the list does not have.

use rayon::prelude::*;

use super::fit::{MOST, Round, Spot, solve};
use super::pixels::Window;

/// How much wider in area than a point a star may come out, and how much
/// longer one way; each and its error in multiples of this.
const WIDER: f64 = 0.2;
const ERRORS: f64 = 2.5;

/// Signal to noise, against the roughness of the place, of a star that the
/// list does not have.
const NEW_SNR: f64 = 5.5;

/// How far a new star must stand out, over what sixteen places around it do:
/// their middle one, and the third highest.
const MIDDLE: f32 = 5.0;
const MOSTLY: f32 = 2.5;

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
        let error = ERRORS / self.snr.max(1e-9);
        // Closer than a point can be a hot pixel or a ray's track.
        self.height > 0.0 && self.wider.abs() < WIDER + error && self.longer < WIDER + error
    }
}

impl Round<'_> {
    /// Fits the image of a point, its slopes and its curvatures, above a
    /// parabolic background: a slightly wider or longer spot is the image plus
    /// some of its curvature. `own` light is given back to the pixels first.
    pub fn look(&self, place: [f64; 2], own: Option<usize>, full: f32) -> Option<Look> {
        let [x0, y0] = place;
        let width = self.psf.fwhm_px;
        let radius = (2.2 * width).max(3.5);
        let step = (0.25 * width) as f32;
        let sigma = f64::from(self.noise.at(x0 as f32, y0 as f32));
        let window = Window::around(place, radius, self.pixels.width, self.pixels.height);
        let mut lines: Vec<([f64; MOST], f64, f64)> = Vec::with_capacity(256);
        for y in window.top..window.bottom() {
            for x in window.left..window.right() {
                let (u, v) = (x as f64 - x0, y as f64 - y0);
                let value = self.pixels.row(y)[x];
                if u * u + v * v > radius * radius || !(value < full) {
                    continue;
                }
                let light = self.light[y * self.pixels.width + x];
                let mine = own.map_or(0.0, |own| self.drawn[own].at(self.psf, x, y));
                let (dx, dy) = (u as f32, v as f32);
                let at = |a: f32, b: f32| f64::from(self.psf.at(dx - a * step, dy - b * step));
                let (middle, per) = (at(0.0, 0.0), 1.0 / f64::from(step));
                let [left, right, up, down] =
                    [at(-1.0, 0.0), at(1.0, 0.0), at(0.0, -1.0), at(0.0, 1.0)];
                let corners = at(1.0, 1.0) + at(-1.0, -1.0) - at(1.0, -1.0) - at(-1.0, 1.0);
                let parts = [
                    middle,
                    0.5 * per * (right - left),
                    0.5 * per * (down - up),
                    1.0,
                    u,
                    v,
                    u * u,
                    u * v,
                    v * v,
                    0.5 * per * per * (left + right - 2.0 * middle),
                    0.5 * per * per * (up + down - 2.0 * middle),
                    0.25 * per * per * corners,
                ];
                let here = 0.03 * f64::from(light.max(0.0));
                lines.push((
                    parts,
                    f64::from(value - light + mine),
                    sigma * sigma + here * here,
                ));
            }
        }
        if lines.len() < 2 * MOST {
            return None;
        }
        let mut normal = [[0.0; MOST]; MOST];
        let mut right = [0.0; MOST];
        let (mut energy, mut mean) = (0.0, 0.0);
        for (parts, value, variance) in &lines {
            for i in 0..MOST {
                right[i] += parts[i] * value / variance;
                for j in i..MOST {
                    normal[i][j] += parts[i] * parts[j] / variance;
                }
            }
            energy += parts[0] * parts[0];
            mean += parts[0];
        }
        let answer = solve(&mut normal, right, MOST)?;
        let left = lines.iter().map(|(parts, value, variance)| {
            let model: f64 = parts
                .iter()
                .zip(&answer)
                .map(|(part, share)| part * share)
                .sum();
            (value - model) * (value - model) * sigma * sigma / variance
        });
        let rough = (left.sum::<f64>() / (lines.len() - MOST) as f64).sqrt();
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
                // What is too faint to tell is left to its signal to noise.
                look.is_some_and(|look| !look.is_star())
            })
            .collect();
        for (spot, unlike) in spots.iter_mut().zip(&unlike) {
            if *unlike {
                spot.height = 0.0;
            }
        }
        unlike.into_iter().filter(|unlike| *unlike).count()
    }

    /// Points of light that no star explains yet, from the top, then the left.
    pub fn seek(&self, full: f32) -> Vec<Spot> {
        let width = self.psf.fwhm_px;
        let (pixels, wide) = (&self.pixels, pixels_around(1.5 * width));
        let reach = libm::ceil(1.5 * width) as usize + 1;
        let near = libm::ceil(0.5 * width) as i64;
        let left =
            |x: i64, y: i64| pixels.at(x, y) - self.light[y as usize * pixels.width + x as usize];
        let inside = |x: i64, y: i64| {
            x >= 0 && y >= 0 && x < pixels.width as i64 && y < pixels.height as i64
        };
        // How far a place stands above a circle around it; 0 at the rim.
        let bump = |x: i64, y: i64| {
            let mut sum = 0.0;
            for v in -1..=1 {
                for u in -1..=1 {
                    sum += if inside(x + u, y + v) {
                        left(x + u, y + v)
                    } else {
                        f32::NAN
                    };
                }
            }
            let ring: f32 = wide
                .iter()
                .map(|(u, v)| {
                    if inside(x + u, y + v) {
                        left(x + u, y + v)
                    } else {
                        f32::NAN
                    }
                })
                .sum();
            let above = sum / 9.0 - ring / wide.len() as f32;
            if above.is_nan() { 0.0 } else { above }
        };
        let far = pixels_around(2.6 * width);
        if pixels.height <= 2 * reach || pixels.width <= 2 * reach {
            return Vec::new();
        }
        let rows: Vec<Vec<Spot>> = (reach..pixels.height - reach)
            .into_par_iter()
            .map(|y| {
                let row = pixels.row(y);
                let light = &self.light[y * pixels.width..(y + 1) * pixels.width];
                let mut found = Vec::new();
                for x in reach..pixels.width - reach {
                    let here = row[x] - light[x];
                    let beside = (row[x - 1] - light[x - 1]).max(row[x + 1] - light[x + 1]);
                    if !(here >= beside) || row[x] >= full {
                        continue;
                    }
                    let (column, line) = (x as i64, y as i64);
                    if !(here >= left(column, line - 1) && here > left(column, line + 1)) {
                        continue;
                    }
                    let sigma = self.noise.at(x as f32, y as f32);
                    let above = bump(column, line);
                    // Far up a bright star the image's own errors look like this.
                    if !(above > 1.2 * sigma) || above < 0.25 * light[x] {
                        continue;
                    }
                    let top = (-near..=near)
                        .all(|v| (-near..=near).all(|u| !(left(column + u, line + v) > here)));
                    if !top {
                        continue;
                    }
                    let mut others: Vec<f32> = far
                        .iter()
                        .map(|(u, v)| bump(column + u, line + v).abs())
                        .collect();
                    others.sort_by(f32::total_cmp);
                    // Beside a filament every second place looks like this.
                    if above < MIDDLE * others[8] || above < MOSTLY * others[13] {
                        continue;
                    }
                    let place = [x as f64, y as f64];
                    let Some(look) = self.look(place, None, full) else {
                        continue;
                    };
                    let [u, v] = look.shift;
                    let near = u.abs().max(v.abs()) < (0.4 * width).max(0.8);
                    if look.snr > NEW_SNR && near && look.is_star() {
                        let place = [place[0] + u, place[1] + v];
                        found.push(Spot {
                            given: place,
                            place,
                            height: look.height,
                            background: [f64::from(here) - look.height, 0.0, 0.0],
                            snr: 0.0,
                            plateau_px: 0.0,
                            full,
                        });
                    }
                }
                found
            })
            .collect();
        rows.into_iter().flatten().collect()
    }
}

/// Sixteen pixels on a circle.
fn pixels_around(radius: f64) -> Vec<(i64, i64)> {
    (0..16)
        .map(|part| {
            let angle = std::f64::consts::TAU * f64::from(part) / 16.0;
            let at = |share: f64| libm::round(radius * share) as i64;
            (at(libm::cos(angle)), at(libm::sin(angle)))
        })
        .collect()
}
