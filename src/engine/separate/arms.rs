//! Straight arms of light that struts and edges in front of a telescope give
//! to bright stars.
//!
//! An arm falls exponentially outwards and is a bell across. Angle, height,
//! length and width come from the brightest stars together, beyond what the
//! table of the point's image holds.

use rayon::prelude::*;

use super::fit::Spot;
use super::noise::{Noise, middle};
use super::pixels::{Pixels, Window};
use super::psf::Psf;

/// Stars that arms are sought on, at most, and their least height in sigma.
const STARS: usize = 24;
const LEAST_SIGMA: f64 = 2500.0;

/// Arms begin to be seen and are sought up to here, in widths.
const FROM: f64 = 3.5;
const SOUGHT: f64 = 9.0;

/// Directions looked into, and how far an arm must stand out of their scatter.
const DIRECTIONS: usize = 240;
const STANDS_OUT: f32 = 6.0;

/// Fewer stars than this must show an arm so many times as clearly, and on both
/// sides.
const ENOUGH: usize = 3;
const FEW: f32 = 2.0;

/// Directions on either side that a direction is compared with.
const TURN: usize = 15;

/// What falls more slowly, in widths, is nebula along the way.
const LONGEST: f64 = 15.0;

/// So many times what an arm has fallen to before it may seem to have, for noise.
const RISES: f64 = 1.2;

/// More than so many are no arms.
const MOST: usize = 12;

/// One arm, of a star of height 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arm {
    /// Its direction, a unit vector.
    pub(super) along: [f32; 2],
    /// Height it would have at the star's place.
    pub(super) height: f32,
    /// Distance over which it falls by e, px.
    pub(super) length: f32,
    /// Standard deviation across, px.
    pub(super) width: f32,
}

impl Arm {
    /// Its light at an offset from the star, px.
    pub(super) fn at(&self, dx: f32, dy: f32) -> f32 {
        let across = dy * self.along[0] - dx * self.along[1];
        let t = across / self.width;
        if t * t > 16.0 {
            return 0.0;
        }
        let along = dx * self.along[0] + dy * self.along[1];
        if along <= 0.0 {
            return 0.0;
        }
        const LOG2_E: f32 = std::f32::consts::LOG2_E;
        self.height * crate::engine::num::exp2(-LOG2_E * (along / self.length + 0.5 * t * t))
    }

    /// How far from a star of this height it stays above `floor`, px.
    pub(super) fn reach_px(&self, height: f32, floor: f32) -> f32 {
        let ratio = height * self.height / floor;
        if ratio > 1.0 {
            self.length * libm::logf(ratio)
        } else {
            0.0
        }
    }
}

/// What one bright star shows: residuals over its height.
struct Seen {
    /// Offset, px, and what the round image leaves over the star's height.
    left: Vec<[f32; 3]>,
    weight: f32,
}

/// The arms of a picture's bright stars; none where they show none.
pub(super) fn arms(
    psf: &Psf,
    pixels: &Pixels<'_>,
    light: &[f32],
    spots: &[Spot],
    chosen: &[u32],
    noise: &Noise,
) -> Vec<Arm> {
    let sigma = |spot: &Spot| noise.at(spot.place[0] as f32, spot.place[1] as f32);
    let mut bright: Vec<&Spot> = chosen.iter().map(|index| &spots[*index as usize]).collect();
    bright.retain(|spot| spot.height > LEAST_SIGMA * f64::from(sigma(spot)));
    bright.sort_by(|a, b| b.height.total_cmp(&a.height));
    bright.truncate(STARS);
    let seen: Vec<Seen> = bright
        .into_par_iter()
        .map(|spot| see(psf, pixels, light, spot, sigma(spot)))
        .collect();
    if seen.is_empty() {
        return Vec::new();
    }
    // In a small field few stars are so bright that their arms show, and the
    // others hide them: whoever shows the most tells.
    let mut best = (&seen[..], Vec::new());
    for count in [seen.len(), 3, 2, 1] {
        let seen = &seen[..count.min(seen.len())];
        let directions = strongest(seen, psf.fwhm_px);
        if directions.len() > best.1.len() && 2 * directions.len() <= MOST {
            best = (seen, directions);
        }
    }
    let (seen, directions) = best;
    directions
        .into_iter()
        .filter_map(|angle| arm(seen, psf.fwhm_px, angle))
        .flat_map(|arm| {
            let back = arm.along.map(|part| -part);
            [arm, Arm { along: back, ..arm }]
        })
        .collect()
}

fn see(psf: &Psf, pixels: &Pixels<'_>, light: &[f32], spot: &Spot, sigma: f32) -> Seen {
    let far = 4.0 * SOUGHT * psf.fwhm_px;
    let near = FROM * psf.fwhm_px;
    let [x0, y0] = spot.place;
    let window = Window::around(spot.place, far, pixels.width, pixels.height);
    let mut left = Vec::new();
    let mut levels = Vec::new();
    for y in window.top..window.bottom() {
        for x in window.left..window.right() {
            let (u, v) = (x as f64 - x0, y as f64 - y0);
            let value = pixels.row(y)[x];
            let square = u * u + v * v;
            if square > far * far || square < near * near || !(value < spot.full) {
                continue;
            }
            let value = value - light[y * pixels.width + x];
            left.push([u as f32, v as f32, value]);
            if square < 4.0 * SOUGHT * SOUGHT {
                levels.push(value);
            }
        }
    }
    let level = middle(levels).unwrap_or(spot.background[0] as f32);
    let per = 1.0 / spot.height as f32;
    left.iter_mut()
        .for_each(|entry| entry[2] = (entry[2] - level) * per);
    Seen {
        left,
        weight: spot.height as f32 / sigma,
    }
}

fn angle_of(entry: &[f32; 3]) -> f64 {
    libm::atan2(f64::from(entry[1]), f64::from(entry[0])).rem_euclid(std::f64::consts::TAU)
}

/// Directions in which most bright stars shine, and opposite, radians.
fn strongest(seen: &[Seen], fwhm_px: f64) -> Vec<f64> {
    let far = (SOUGHT * fwhm_px) as f32;
    let per = DIRECTIONS as f64 / std::f64::consts::TAU;
    let rays: Vec<Vec<f32>> = seen
        .par_iter()
        .map(|star| {
            let mut rays = vec![Vec::new(); DIRECTIONS];
            for entry in &star.left {
                if entry[0] * entry[0] + entry[1] * entry[1] < far * far {
                    rays[((angle_of(entry) * per) as usize).min(DIRECTIONS - 1)].push(entry[2]);
                }
            }
            let rays: Vec<f32> = rays
                .into_iter()
                .map(|ray| middle(ray).unwrap_or(0.0))
                .collect();
            // Slopes of the nebula turn slowly.
            let sharp: Vec<f32> = (0..DIRECTIONS)
                .map(|ray| {
                    let near = (DIRECTIONS - TURN..=DIRECTIONS + TURN)
                        .map(|step| rays[(ray + step) % DIRECTIONS]);
                    rays[ray] - middle(near.collect()).unwrap_or(0.0)
                })
                .collect();
            let spread = middle(sharp.iter().map(|ray| ray.abs()).collect()).unwrap_or(0.0);
            sharp
                .into_iter()
                .map(|ray| ray / spread.max(1e-12))
                .collect()
        })
        .collect();
    // How far a direction stands out: mean over the middle half of the stars.
    let sharp: Vec<f32> = (0..DIRECTIONS)
        .map(|ray| {
            let mut values: Vec<f32> = rays.iter().map(|star| star[ray]).collect();
            values.sort_by(f32::total_cmp);
            let cut = values.len() / 4;
            let kept = &values[cut..values.len() - cut];
            kept.iter().sum::<f32>() / kept.len() as f32
        })
        .collect();
    // Both sides of an arm shine alike.
    let half = DIRECTIONS / 2;
    let both = |ray: usize| sharp[ray % DIRECTIONS] + sharp[(ray + half) % DIRECTIONS];
    let pairs: Vec<f32> = (0..half)
        .map(|ray| both(ray + half - 1) + both(ray) + both(ray + 1))
        .collect();
    let spread = 1.4826 * middle(pairs.iter().map(|pair| pair.abs()).collect()).unwrap_or(0.0);
    let least = if seen.len() < ENOUGH { FEW } else { 1.0 };
    let mut found = Vec::new();
    for ray in 0..half {
        let at = |step: usize| pairs[(ray + half + step - 4) % half];
        let top = (0..4).all(|step| at(4) > at(step)) && (5..9).all(|step| at(4) >= at(step));
        // A filament that ends at a star is no arm: both sides must shine.
        let side = |ray: usize| {
            let near = |step: usize| sharp[(ray + step + DIRECTIONS - 1) % DIRECTIONS];
            near(0) + near(1) + near(2)
        };
        let alike = side(ray).min(side(ray + half)) > 0.25 * at(4);
        let clear = at(4) > least * STANDS_OUT * spread && (least == 1.0 || alike);
        if top && clear {
            let weights = [3, 4, 5].map(|step| at(step).max(0.0));
            let shift = (weights[2] - weights[0]) / (weights[0] + weights[1] + weights[2]);
            found.push((ray as f64 + 0.5 + f64::from(shift)) / per);
        }
    }
    found
}

/// An arm near this direction: its angle by the strongest line of light, its
/// fall by medians along it. None where it does not fall.
fn arm(seen: &[Seen], fwhm_px: f64, angle: f64) -> Option<Arm> {
    let step = 0.15_f64.to_radians();
    let mut best = (f64::NEG_INFINITY, angle);
    for turn in -20..=20 {
        let tried = angle + f64::from(turn) * step;
        let shine = along(seen, tried, 0.8, (FROM * fwhm_px, 2.0 * SOUGHT * fwhm_px));
        let score: f64 = shine.iter().map(|(_, value)| *value).sum();
        if score > best.0 {
            best = (score, tried);
        }
    }
    let angle = best.1;
    // Across: where a line beside the middle has fallen to.
    let within = (FROM * fwhm_px, SOUGHT * fwhm_px);
    let mean = |half: f64| {
        let shine = along(seen, angle, half, within);
        shine.iter().map(|(_, value)| value).sum::<f64>() / shine.len().max(1) as f64
    };
    let (narrow, wide) = (mean(0.5), mean(1.5));
    // The mean of a bell over -h..h: narrow over wide tells its width.
    let part = |half: f64, width: f64| libm::erf(half / (width * std::f64::consts::SQRT_2)) / half;
    let width = (4..60).map(|index| 0.1 * f64::from(index)).min_by(|a, b| {
        let off = |width: f64| (part(0.5, width) / part(1.5, width) - narrow / wide).abs();
        off(*a).total_cmp(&off(*b))
    })?;
    let share = 0.5 * part(1.0, width) * width * (2.0 * std::f64::consts::PI).sqrt();
    let shine = along(seen, angle, 1.0, (FROM * fwhm_px, 4.0 * SOUGHT * fwhm_px));
    // A straight line through the logarithms, the stronger parts first.
    let top = shine.iter().map(|(_, value)| *value).fold(0.0, f64::max);
    let mut sums = [0.0; 5];
    // An arm only falls: what rises again is a star that lies on it.
    let mut least = top;
    for (index, (radius, value)) in shine.iter().enumerate() {
        if *value <= 0.03 * top {
            break;
        }
        let near = index.saturating_sub(2)..(index + 3).min(shine.len());
        let mut around: Vec<f64> = shine[near].iter().map(|(_, value)| *value).collect();
        around.sort_by(f64::total_cmp);
        least = least.min(around[around.len() / 2]);
        let value = value.min(RISES * least);
        let (weight, log) = (value / top, libm::log(value / share));
        for (sum, term) in sums
            .iter_mut()
            .zip([1.0, *radius, radius * radius, log, radius * log])
        {
            *sum += weight * term;
        }
    }
    let [n, x, xx, y, xy] = sums;
    let slope = (n * xy - x * y) / (n * xx - x * x);
    let height = libm::exp((y - slope * x) / n);
    let length = -1.0 / slope;
    let sound =
        length > 0.5 * fwhm_px && length < LONGEST * fwhm_px && height > 0.0 && height < 0.05;
    sound.then_some(Arm {
        along: [libm::cos(angle) as f32, libm::sin(angle) as f32],
        height: height as f32,
        length: length as f32,
        width: width as f32,
    })
}

/// What stands along a line, on both sides, from bin to bin: the weighted median over the
/// stars of the mean within `half` px of it less the middle of what lies beside.
fn along(seen: &[Seen], angle: f64, half: f64, (from, to): (f64, f64)) -> Vec<(f64, f64)> {
    let (c, s) = (libm::cos(angle) as f32, libm::sin(angle) as f32);
    let wide = ((to - from) / 24.0).max(2.0);
    let bins = libm::ceil((to - from) / wide) as usize;
    let told: Vec<Vec<(f32, f32)>> = seen
        .par_iter()
        .map(|star| {
            let mut on = vec![(0.0_f32, 0.0_f32); bins];
            let mut off = vec![Vec::new(); bins];
            for [u, v, value] in &star.left {
                let along = f64::from(u * c + v * s).abs();
                let across = f64::from(v * c - u * s).abs();
                if along < from || across > 8.0 {
                    continue;
                }
                let bin = ((along - from) / wide) as usize;
                if bin >= bins {
                    continue;
                }
                if across <= half {
                    on[bin].0 += value;
                    on[bin].1 += 1.0;
                } else if across > 4.0 {
                    off[bin].push(*value);
                }
            }
            on.into_iter()
                .zip(off)
                .map(|((sum, count), off)| {
                    let off = middle(off).unwrap_or(f32::NAN);
                    (sum / count - off, star.weight)
                })
                .collect()
        })
        .collect();
    (0..bins)
        .map(|bin| {
            let values = told
                .iter()
                .map(|star| star[bin])
                .filter(|(value, _)| value.is_finite());
            let value = super::rings::weighted(values.collect()).unwrap_or(0.0);
            (from + (bin as f64 + 0.5) * wide, f64::from(value))
        })
        .collect()
}
