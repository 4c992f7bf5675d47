//! From peaks to stars: where they are, how wide, and which are none.

use std::ops::Range;

use super::Star;
use super::fit::{Bell, Plane, Shape, Task};
use super::near::Near;
use super::peaks::Peak;
use super::plateau::Plateau;
use super::ring::{Sky, sky};
use super::window::Window;

/// What is known about the whole field.
#[derive(Debug, Clone)]
pub(super) struct Field {
    /// The stars' common shape.
    pub shape: Shape,
    /// Its width, px.
    pub fwhm_px: f64,
    /// From this value on the detector is full.
    pub ceiling: f32,
    /// Least signal to noise.
    pub threshold: f64,
    /// Filtered noise for pixel noise 1.
    pub noise_gain: f64,
}

/// How far around a star its measurement looks, in its widths.
const SKY_INNER: f64 = 2.2;
const SKY_OUTER: f64 = 3.2;

/// Neighbours up to this many widths away are taken off.
const NEIGHBOUR: f64 = 3.0;

impl Field {
    /// Rows above and below a band in which peaks matter to it.
    pub fn peak_margin(&self) -> usize {
        libm::ceil(NEIGHBOUR * self.fwhm_px) as usize + 1
    }

    /// Rows above and below a peak that its measurement needs.
    pub fn star_margin(&self) -> usize {
        libm::ceil(self.sky_outer()) as usize + 2
    }

    fn sky_inner(&self) -> f64 {
        (SKY_INNER * self.fwhm_px).max(3.5)
    }

    fn sky_outer(&self) -> f64 {
        (SKY_OUTER * self.fwhm_px).max(6.5)
    }

    fn radius(&self) -> f64 {
        (1.2 * self.fwhm_px).max(2.5)
    }

    /// Pixels that no star's plateau reaches: a disc twelve widths across.
    fn most(&self) -> usize {
        (36.0 * std::f64::consts::PI * self.fwhm_px * self.fwhm_px) as usize
    }

    /// Sky around a place.
    fn sky(&self, window: &Window, x: usize, y: usize) -> Option<Sky> {
        // Wide stars: some hundred pixels of the ring are enough.
        let step = ((self.fwhm_px / 3.0) as usize).max(1);
        sky(window, [x, y], self.sky_inner(), self.sky_outer(), step)
    }

    /// Whether the pixels that make the star are there.
    fn complete(&self, window: &Window, x: usize, y: usize) -> bool {
        let radius = self.fwhm_px.max(1.5);
        let reach = radius as isize;
        let (mut present, mut all) = (0, 0);
        for v in -reach..=reach {
            for u in -reach..=reach {
                if ((u * u + v * v) as f64) > radius * radius {
                    continue;
                }
                let missing = window.at(x as isize + u, y as isize + v).is_nan();
                if missing && u.abs() <= 1 && v.abs() <= 1 {
                    return false;
                }
                all += 1;
                present += usize::from(!missing);
            }
        }
        present * 20 >= all * 17
    }

    fn task<'a>(
        &self,
        window: &'a Window,
        peak: &Peak,
        start: [f64; 2],
        sky: Sky,
        neighbours: &'a [Bell],
    ) -> Task<'a> {
        Task {
            window,
            start,
            radius_px: self.radius(),
            background: Plane {
                level: sky.level,
                slope: sky.slope,
                origin: [peak.x as f64, peak.y as f64],
            },
            ceiling: self.ceiling,
            neighbours,
        }
    }

    /// The stars among the peaks of a band, in no particular order. Peaks
    /// outside of the band only lend their light.
    pub fn stars(&self, window: &Window, band: Range<usize>, peaks: &[Peak]) -> Vec<Star> {
        let distance = NEIGHBOUR * self.fwhm_px;
        let mut near = Near::new(window.width, window.end_row(), distance);
        for peak in peaks {
            near.push([peak.x as f64, peak.y as f64]);
        }
        let beside: Vec<Vec<usize>> = peaks
            .iter()
            .enumerate()
            .map(|(own, peak)| {
                near.around([peak.x as f64, peak.y as f64], distance)
                    .filter(|(other, _)| *other != own)
                    .map(|(other, _)| other)
                    .collect()
            })
            .collect();
        let skies: Vec<Option<Sky>> = peaks
            .iter()
            .map(|peak| {
                let whole = || self.complete(window, peak.x, peak.y);
                (peak.compact && whole())
                    .then(|| self.sky(window, peak.x, peak.y))
                    .flatten()
            })
            .collect();
        let mut bells: Vec<Option<Bell>> = vec![None; peaks.len()];
        // Lone stars are done in the first round.
        for round in 0..3 {
            for index in 0..peaks.len() {
                let Some(sky) = skies[index].filter(|_| round == 0 || !beside[index].is_empty())
                else {
                    continue;
                };
                let others = light(&beside[index], &bells);
                let start = [peaks[index].x as f64, peaks[index].y as f64];
                let task = self.task(window, &peaks[index], start, sky, &others);
                bells[index] = task.fit(self.shape, false);
            }
        }
        let mut stars = Vec::new();
        let mut plateaus: Vec<Plateau> = Vec::new();
        for (index, peak) in peaks.iter().enumerate() {
            if !band.contains(&peak.y) {
                continue;
            }
            let reach = self.fwhm_px as isize / 2 + 1;
            if let Some(at) = Plateau::near(window, peak.x, peak.y, reach, self.ceiling) {
                if plateaus.iter().any(|known| known.contains(at)) {
                    continue;
                }
                if let Some(plateau) = Plateau::around(window, at, self.ceiling, self.most()) {
                    let top = f64::from(self.ceiling);
                    stars.extend(self.full_star(window, &plateau, peak, top));
                    plateaus.push(plateau);
                }
                continue;
            }
            if plateaus
                .iter()
                .any(|known| known.contains((peak.y as isize, peak.x as isize)))
            {
                continue;
            }
            if let Some((plateau, top)) = self.flat_top(window, peak) {
                stars.extend(self.full_star(window, &plateau, peak, top));
                plateaus.push(plateau);
                continue;
            }
            let (Some(sky), Some(bell)) = (skies[index], bells[index]) else {
                continue;
            };
            let others = light(&beside[index], &bells);
            stars.extend(self.star(window, peak, sky, bell, &others));
        }
        stars
    }

    fn star(
        &self,
        window: &Window,
        peak: &Peak,
        sky: Sky,
        fixed: Bell,
        others: &[Bell],
    ) -> Option<Star> {
        let noise = peak.sigma / self.noise_gain;
        let gain = (0.5 * self.shape.area()).sqrt();
        let snr = fixed.amplitude * gain / noise;
        let among = fixed.amplitude * gain / sky.sigma.max(1e-300);
        if snr < 0.8 * self.threshold || among < 0.7 * self.threshold {
            return None;
        }
        let start = [fixed.x, fixed.y];
        let free = self
            .task(window, peak, start, sky, others)
            .fit(self.shape, true)?;
        let apart = |bell: &Bell| {
            let (u, v) = (bell.x - peak.x as f64, bell.y - peak.y as f64);
            (u * u + v * v).sqrt()
        };
        let strays = apart(&free).max(apart(&fixed)) > (0.75 * self.fwhm_px).max(1.2);
        let loose = 1.0 / snr;
        let width = free.shape.fwhm_px() / self.fwhm_px;
        let (thin, long) = (free.shape.short_fwhm_px(), self.shape.short_fwhm_px());
        let too_sharp = width < 0.72 - loose || thin < (0.6 - loose) * long;
        // Among the texture of a nebula less is let pass.
        let widest = if sky.sigma > 2.0 * noise { 1.3 } else { 1.5 };
        let too_broad = width > widest * (1.0 + 1.5 * loose);
        let stretched = free.shape.elongation()
            > (1.35 * self.shape.elongation()).max(1.7) * (1.0 + 3.0 * loose);
        let rough = free.residual > 0.12 * free.amplitude + 2.0 * noise.max(sky.sigma);
        // The shoulder of an edge: the sky rises by as much as the star.
        let [right, down] = sky.slope;
        let rise = (right * right + down * down).sqrt() * self.fwhm_px;
        let shoulder = rise > 0.7 * fixed.amplitude;
        if shoulder || strays || too_sharp || too_broad || stretched || rough {
            return None;
        }
        let (u, v) = (libm::round(free.x) as isize, libm::round(free.y) as isize);
        let mut top = f64::NEG_INFINITY;
        for y in v - 1..=v + 1 {
            for x in u - 1..=u + 1 {
                top = top.max(f64::from(window.at(x, y)));
            }
        }
        let bell = if snr < 20.0 { fixed } else { free };
        Some(Star {
            x: bell.x,
            y: bell.y,
            flux: bell.flux(),
            peak: top - sky.level,
            fwhm_px: free.shape.fwhm_px(),
            elongation: free.shape.elongation(),
            snr,
            saturated: false,
        })
    }

    /// A top that is much flatter than the field's stars' above sides that are
    /// as steep: clipped before the frames were averaged. With its level.
    fn flat_top(&self, window: &Window, peak: &Peak) -> Option<(Plateau, f64)> {
        let noise = peak.sigma / self.noise_gain;
        let (mut x, mut y) = (peak.x as isize, peak.y as isize);
        let (x0, y0) = (x, y);
        for v in -1..=1 {
            for u in -1..=1 {
                if window.at(x0 + u, y0 + v) > window.at(x, y) {
                    (x, y) = (x0 + u, y0 + v);
                }
            }
        }
        let top = f64::from(window.at(x, y));
        let sides = [(1, 0), (-1, 0), (0, 1), (0, -1)];
        let drop = sides.map(|(u, v)| top - f64::from(window.at(x + u, y + v)));
        let drop = drop.iter().sum::<f64>() / 4.0;
        let [xx, _, yy] = self.shape.inverse();
        // Mean drop one pixel from a bell's top.
        let expected = 1.0 - 0.5 * (libm::exp(-0.5 * xx) + libm::exp(-0.5 * yy));
        // The filter shows less than the height above the sky, and cheaply.
        if peak.height * expected < 20.0 * noise || drop > 2.0 * expected * peak.height {
            return None;
        }
        let sky = self.sky(window, peak.x, peak.y)?;
        let height = top - sky.level;
        let dim = height * expected < 40.0 * noise || height < 4.0 * sky.sigma;
        if dim || drop > 0.3 * expected * height || !self.is_steep(window, (x, y), top, height) {
            return None;
        }
        let plateau = |share: f64| {
            let level = (sky.level + share * height) as f32;
            Plateau::around(window, (y, x), level, self.most())
        };
        let (high, half) = (plateau(0.93)?, plateau(0.5)?);
        // A bell of any width has 0.105 times as much area above 0.93.
        (high.pixels() * 4 > half.pixels()).then_some((high, top))
    }

    /// Whether the sides of a top are steep: 0.93 of the height reaches at
    /// least 0.45 as far as half of it, along the four axes. 0.32 for a bell.
    fn is_steep(&self, window: &Window, (x, y): (isize, isize), top: f64, height: f64) -> bool {
        let most = (6.0 * self.fwhm_px) as isize;
        let (mut high, mut half) = (0, 0);
        for (u, v) in [(1, 0), (-1, 0), (0, 1), (0, -1)] {
            let below = |step: isize, share: f64| {
                let value = f64::from(window.at(x + u * step, y + v * step));
                value < top - (1.0 - share) * height
            };
            let first = |share| (1..=most).find(|step| below(*step, share));
            let (Some(near), Some(far)) = (first(0.93), first(0.5)) else {
                return false;
            };
            high += near;
            half += far;
        }
        high * 20 >= half * 9
    }

    /// A star whose top is cut off at a level.
    fn full_star(&self, window: &Window, plateau: &Plateau, peak: &Peak, top: f64) -> Option<Star> {
        let [x, y] = plateau.center();
        let place = [x, y].map(|place| libm::round(place).max(0.0) as usize);
        let inner = self
            .sky_inner()
            .max(0.5 * plateau.diameter_px() + 1.5 * self.fwhm_px);
        let step = ((inner / 7.0) as usize).max(1);
        let sky = sky(window, place, inner, inner + self.fwhm_px + 3.0, step)?;
        let height = top - sky.level;
        if height <= 0.0
            || plateau.elongation() > 2.5
            || plateau.rim(window) - sky.level < 0.06 * height
        {
            return None;
        }
        let noise = peak.sigma / self.noise_gain;
        let fwhm_px = plateau.diameter_px() + self.fwhm_px;
        let shape = Shape::round(fwhm_px);
        let flux = height * shape.area();
        Some(Star {
            x,
            y,
            flux,
            peak: height,
            fwhm_px,
            elongation: plateau.elongation(),
            snr: height * (0.5 * shape.area()).sqrt() / noise,
            saturated: true,
        })
    }
}

fn light(beside: &[usize], bells: &[Option<Bell>]) -> Vec<Bell> {
    beside.iter().filter_map(|index| bells[*index]).collect()
}
