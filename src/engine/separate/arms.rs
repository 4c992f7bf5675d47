//! Straight arms of light that struts and edges in front of a telescope give
//! to bright stars.
//!
//! An arm falls exponentially outwards and is a bell across. It is looked for by
//! what bright stars have along a direction more than beside it, each as surely as
//! it tells of that; angle, height, length and width come from all of them
//! together, beyond what the table of the point's image holds.

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

/// Directions looked into, how many times the scatter of all of them an arm must
/// stand out, and where another channel has one.
const DIRECTIONS: usize = 480;
const STANDS_OUT: f64 = 3.0;
const TOLD: f64 = 1.5;

/// Directions on either side that a direction is compared with, and that it must
/// outshine.
const TURN: usize = 30;
const PEAK: usize = 6;

/// Directions nearer to each other than this, radians, are one arm's.
const SAME: f64 = 0.035;

/// A side of an arm has at least this part of the other side's light.
const ALIKE: f64 = 0.3;

/// How far across an arm is looked for, and what lies beside it, in widths.
const ON: [f64; 3] = [-0.22, 0.0, 0.22];
const OFF: [f64; 3] = [1.1, 1.5, 1.9];

/// How fast an arm may fall, in widths, and how many lengths are tried.
const SHORTEST: f64 = 3.0;
const LONGEST: f64 = 15.0;
const LENGTHS: u32 = 32;

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

/// What one bright star shows: what the round image leaves, over its height.
struct Seen {
    /// By the offset from the star, px.
    left: Vec<[f32; 3]>,
    patch: Patch,
}

/// A square around a star, NaN where nothing is known.
struct Patch {
    side: usize,
    /// The star's place in it.
    place: [f64; 2],
    values: Vec<f32>,
}

impl Patch {
    /// The pixel at an offset from the star.
    fn at(&self, u: f64, v: f64) -> f32 {
        let [x, y] = [self.place[0] + u, self.place[1] + v].map(|at| libm::round(at) as usize);
        if x < self.side && y < self.side {
            self.values[y * self.side + x]
        } else {
            f32::NAN
        }
    }
}

/// How much more a star shows along a direction than beside it.
#[derive(Clone, Copy)]
struct Shine {
    more: f64,
    error: f64,
}

/// The arms of a picture's bright stars; none where they show none. Where other
/// channels have arms, in directions `told`, radians, less light is enough.
pub(super) fn arms(
    psf: &Psf,
    pixels: &Pixels<'_>,
    light: &[f32],
    spots: &[Spot],
    chosen: &[u32],
    noise: &Noise,
    told: &[f64],
) -> Vec<Arm> {
    let sigma = |spot: &Spot| noise.at(spot.place[0] as f32, spot.place[1] as f32);
    let mut bright: Vec<&Spot> = chosen.iter().map(|index| &spots[*index as usize]).collect();
    bright.retain(|spot| spot.height > LEAST_SIGMA * f64::from(sigma(spot)));
    bright.sort_by(|a, b| b.height.total_cmp(&a.height));
    bright.truncate(STARS);
    let seen: Vec<Seen> = bright
        .into_par_iter()
        .map(|spot| see(psf, pixels, light, spot))
        .collect();
    if seen.is_empty() {
        return Vec::new();
    }
    let directions = strongest(&seen, psf.fwhm_px, told);
    if 2 * directions.len() > MOST {
        return Vec::new();
    }
    directions
        .into_iter()
        .filter_map(|angle| arm(&seen, psf.fwhm_px, angle))
        .flat_map(|arm| {
            let back = arm.along.map(|part| -part);
            [arm, Arm { along: back, ..arm }]
        })
        .collect()
}

/// The angle between two lines, radians.
fn apart(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(std::f64::consts::PI);
    turn.min(std::f64::consts::PI - turn)
}

/// The directions of arms, radians from 0 to pi.
pub(super) fn directions(arms: &[Arm]) -> impl Iterator<Item = f64> {
    arms.iter().step_by(2).map(|arm| {
        let [c, s] = arm.along.map(f64::from);
        libm::atan2(s, c).rem_euclid(std::f64::consts::PI)
    })
}

/// Those of some that are none of the known ones.
pub(super) fn new_directions(some: impl Iterator<Item = f64>, known: &[Arm]) -> Vec<f64> {
    let known: Vec<f64> = directions(known).collect();
    some.filter(|new| known.iter().all(|known| apart(*known, *new) > SAME))
        .collect()
}

fn see(psf: &Psf, pixels: &Pixels<'_>, light: &[f32], spot: &Spot) -> Seen {
    let far = 4.0 * SOUGHT * psf.fwhm_px;
    let near = FROM * psf.fwhm_px;
    let [x0, y0] = spot.place;
    let window = Window::around(spot.place, far, pixels.width, pixels.height);
    let mut left = Vec::new();
    let half = libm::ceil((SOUGHT + OFF[2]) * psf.fwhm_px) + 2.0;
    let [left0, top0] = [x0, y0].map(|at| libm::floor(at) - half);
    let side = 2 * half as usize + 2;
    let mut patch = Patch {
        side,
        place: [x0 - left0, y0 - top0],
        values: vec![f32::NAN; side * side],
    };
    let per = 1.0 / spot.height as f32;
    for y in window.top..window.bottom() {
        for x in window.left..window.right() {
            let (u, v) = (x as f64 - x0, y as f64 - y0);
            let value = pixels.row(y)[x];
            let square = u * u + v * v;
            if square > far * far || !(value < spot.full) {
                continue;
            }
            let value = (value - light[y * pixels.width + x]) * per;
            let [column, row] = [x as f64 - left0, y as f64 - top0].map(|at| at as usize);
            if x as f64 >= left0 && y as f64 >= top0 && column < side && row < side {
                patch.values[row * side + column] = value;
            }
            if square >= near * near {
                left.push([u as f32, v as f32, value]);
            }
        }
    }
    Seen { left, patch }
}

/// What a star shows along every direction, from the right by way of below.
fn shines(patch: &Patch, fwhm_px: f64) -> Vec<Option<Shine>> {
    let (from, to) = (FROM * fwhm_px, SOUGHT * fwhm_px);
    let steps = libm::ceil(to - from) as usize;
    let raw: Vec<Option<Shine>> = (0..DIRECTIONS)
        .map(|direction| {
            let angle = std::f64::consts::TAU * direction as f64 / DIRECTIONS as f64;
            let (c, s) = (libm::cos(angle), libm::sin(angle));
            let at = |r: f64, across: f64| {
                let across = across * fwhm_px;
                patch.at(r * c - across * s, r * s + across * c)
            };
            let more = |step: usize| {
                let r = from + step as f64;
                let on = ON.map(|across| at(r, across)).iter().sum::<f32>() / ON.len() as f32;
                let beside = |sign: f64| middle(OFF.map(|off| at(r, sign * off)).to_vec());
                Some(on - 0.5 * (beside(1.0)? + beside(-1.0)?)).filter(|more| !more.is_nan())
            };
            let mut values: Vec<f32> = (0..steps).filter_map(more).collect();
            if 2 * values.len() < steps {
                return None;
            }
            // Stars that lie on it are no part of an arm.
            values.sort_by(f32::total_cmp);
            let kept = &values[values.len() / 4..values.len() - values.len() / 4];
            let more = kept.iter().copied().map(f64::from).sum::<f64>() / kept.len() as f64;
            let off = values.iter().map(|value| (value - more as f32).abs());
            // 1.4826: from the median to sigma; 1.25: a trimmed mean's error.
            let spread = 1.4826 * f64::from(middle(off.collect())?);
            let error = 1.25 * spread / (values.len() as f64).sqrt();
            Some(Shine { more, error })
        })
        .collect();
    // Nor is it known better than its neighbours in angle are alike.
    (0..DIRECTIONS)
        .map(|direction| {
            let near = (PEAK..=TURN).flat_map(|by| [DIRECTIONS - by, by]);
            let near: Vec<f32> = near
                .filter_map(|by| raw[(direction + by) % DIRECTIONS])
                .map(|shine| shine.more.abs() as f32)
                .collect();
            let spread = 1.4826 * f64::from(middle(near).unwrap_or(0.0));
            let Shine { more, error } = raw[direction]?;
            Some(Shine {
                more,
                error: error.max(spread).max(1e-12),
            })
        })
        .collect()
}

/// Directions in which bright stars shine, and opposite, radians.
fn strongest(seen: &[Seen], fwhm_px: f64, told: &[f64]) -> Vec<f64> {
    let shines: Vec<Vec<Option<Shine>>> = seen
        .par_iter()
        .map(|star| shines(&star.patch, fwhm_px))
        .collect();
    let per = DIRECTIONS as f64 / std::f64::consts::TAU;
    let half = DIRECTIONS / 2;
    // Every direction's weighted sum, and its weight.
    let sums: Vec<[f64; 2]> = (0..DIRECTIONS)
        .map(|direction| {
            let mut sums = [0.0; 2];
            for shine in shines.iter().filter_map(|star| star[direction]) {
                let weight = 1.0 / (shine.error * shine.error);
                sums[0] += weight * shine.more;
                sums[1] += weight;
            }
            sums
        })
        .collect();
    // How far a direction and its opposite stand out together, in their error.
    let all: Vec<f64> = (0..half)
        .map(|direction| {
            let [a, b] = [sums[direction], sums[direction + half]];
            (a[0] + b[0]) / (a[1] + b[1]).max(f64::MIN_POSITIVE).sqrt()
        })
        .collect();
    let spread = middle(all.iter().map(|clear| clear.abs() as f32).collect());
    let spread = (1.4826 * f64::from(spread.unwrap_or(0.0))).max(1.0);
    let mut found = Vec::new();
    for direction in 0..half {
        let at = |step: usize| all[(direction + half + step - PEAK) % half];
        let top = (0..PEAK).all(|step| at(PEAK) > at(step))
            && (PEAK + 1..=2 * PEAK).all(|step| at(PEAK) >= at(step));
        // A filament that ends at a star is no arm: both sides must shine.
        let sides = [sums[direction], sums[direction + half]];
        let [one, other] = sides.map(|side| side[0] / side[1].max(f64::MIN_POSITIVE));
        let alike = one.min(other) > ALIKE * one.max(other);
        let angle = direction as f64 / per;
        let known = told.iter().any(|told| apart(*told, angle) < SAME);
        let least = if known { TOLD } else { STANDS_OUT };
        if top && alike && at(PEAK) > least * spread {
            let weights = [PEAK - 1, PEAK, PEAK + 1].map(|step| at(step).max(0.0));
            let shift = (weights[2] - weights[0]) / (weights[0] + weights[1] + weights[2]);
            found.push((direction as f64 + shift) / per);
        }
    }
    found
}

/// An arm near this direction: its angle by the strongest line of light, its
/// fall by medians along it. None where it does not fall.
fn arm(seen: &[Seen], fwhm_px: f64, angle: f64) -> Option<Arm> {
    let step = 0.15_f64.to_radians();
    let mut best = (f64::NEG_INFINITY, angle);
    for turn in -8..=8 {
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
    let widths = (0..=40).map(|step| fwhm_px * (0.15 + 0.01 * f64::from(step)));
    let width = widths.min_by(|a, b| {
        let off = |width: f64| (part(0.5, width) / part(1.5, width) - narrow / wide).abs();
        off(*a).total_cmp(&off(*b))
    })?;
    let share = 0.5 * part(1.0, width) * width * (2.0 * std::f64::consts::PI).sqrt();
    let shine = along(seen, angle, 1.0, (FROM * fwhm_px, 4.0 * SOUGHT * fwhm_px));
    // Least absolute differences: stars that lie on it are few.
    let mut fall = (f64::INFINITY, 0.0, 0.0);
    for step in 0..=LENGTHS {
        let part = f64::from(step) / f64::from(LENGTHS);
        let length = fwhm_px * SHORTEST * libm::pow(LONGEST / SHORTEST, part);
        let form = |radius: f64| share * libm::exp(-radius / length);
        let ratios = shine.iter().map(|(radius, value)| {
            let form = form(*radius);
            ((value / form) as f32, form as f32)
        });
        let Some(height) = super::rings::weighted(ratios.collect()) else {
            continue;
        };
        let height = f64::from(height);
        let off = |(radius, value): &(f64, f64)| (value - height * form(*radius)).abs();
        let off = shine.iter().map(off).sum();
        if off < fall.0 {
            fall = (off, height, length);
        }
    }
    let (_, height, length) = fall;
    let sound = height > 0.0 && height < 0.05;
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
            let shine: Vec<f32> = on
                .into_iter()
                .zip(off)
                .map(|((sum, count), off)| sum / count - middle(off).unwrap_or(f32::NAN))
                .collect();
            let steps = shine.windows(2).map(|pair| (pair[1] - pair[0]).abs());
            let error = middle(steps.filter(|step| !step.is_nan()).collect());
            let weight = 1.0 / error.unwrap_or(f32::INFINITY).max(1e-12);
            shine.into_iter().map(|value| (value, weight)).collect()
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::separate::noise::Texture;

    const WIDTH: f64 = 3.0;

    /// Of a star of height 1.
    const NOISE: f32 = 1e-4;

    /// What a star leaves 24 px beside a bright, round edge: arms of so
    /// many times the noise at 40 and 130 degrees.
    fn seen(high: f32) -> Vec<Seen> {
        let arms = [40.0_f64, 130.0].map(f64::to_radians).map(|angle| Arm {
            along: [libm::cos(angle) as f32, libm::sin(angle) as f32],
            height: high * NOISE,
            length: 27.0,
            width: 0.9,
        });
        let half = 112;
        let side = 2 * half + 1;
        let values: Vec<f32> = (0..side * side)
            .map(|index| {
                let [u, v] = [index % side, index / side].map(|at| at as f32 - half as f32);
                let edge = ((u + 90.0) * (u + 90.0) + v * v).sqrt() - 66.0;
                let shell = 15.0 * libm::expf(-edge * edge / 18.0);
                let light = |arm: &Arm| arm.at(u, v) + arm.at(-u, -v);
                let arms: f32 = arms.iter().map(light).sum();
                arms + NOISE * (shell + Texture::new(0.0).at(index % side, index / side))
            })
            .collect();
        let left = values.iter().enumerate().map(|(index, value)| {
            let [u, v] = [index % side, index / side].map(|at| at as f32 - half as f32);
            [u, v, *value]
        });
        vec![Seen {
            left: left.filter(|[u, v, _]| u * u + v * v > 110.0).collect(),
            patch: Patch {
                side,
                place: [half as f64; 2],
                values,
            },
        }]
    }

    #[test]
    fn arms_beside_a_bright_edge_are_measured() {
        let seen = seen(8.0);
        for angle in [40.4_f64, 129.7].map(f64::to_radians) {
            let arm = arm(&seen, WIDTH, angle).expect("an arm");
            for r in [12.0_f32, 24.0] {
                let [there, got] = [
                    8.0 * NOISE * libm::expf(-r / 27.0),
                    arm.height * libm::expf(-r / arm.length),
                ];
                assert!((got / there - 1.0).abs() < 0.35, "{r}: {got} of {there}");
            }
        }
    }

    #[test]
    fn without_arms_an_edge_is_none() {
        assert_eq!(strongest(&seen(0.0), WIDTH, &[]), [0.0; 0]);
    }
}
