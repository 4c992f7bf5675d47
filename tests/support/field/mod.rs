//! An invented night sky: the Lantern Shell and the stars around it.
//!
//! [`render`] makes the stack that an imaginary camera would bring home through
//! one filter: gas and stars above a glowing sky, blurred by the air, with
//! photon and read noise, saturated where a real one would be. Values are
//! camera units (ADU) of one averaged sub-exposure.
//!
//! Every pixel depends on its place alone, in a fixed order of operations, with
//! basic arithmetic and `libm` for the rest: the same bits on any machine, with
//! any number of threads and in bands of any height.
//!
//! Pixel coordinates: x right, y down in file order, the first pixel's centre
//! is (0, 0). The *reference grid* is the frame that the scene is composed for;
//! a [`Grid`] says how a camera's own pixels lie on it.
#![expect(
    dead_code,
    reason = "tests, benches and the example each use a part of it"
)]

pub mod dust;
pub mod files;
pub mod filters;
pub mod knots;
pub mod nebula;
pub mod noise;
pub mod optics;
pub mod random;
pub mod sets;
pub mod shell;
pub mod stars;

use core::ops::Range;

use rayon::prelude::*;

pub use filters::Filter;
use nebula::{Emission, Nebula};
use optics::Psf;
use random::Stream;
use stars::Star;

/// A projective map of the plane as three rows: target = M source.
pub type Matrix = [[f64; 3]; 3];

/// The map that moves nothing.
pub const IDENTITY: Matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

/// A camera's pixels on the reference grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    pub width: usize,
    pub height: usize,
    /// Pixel of this grid -> pixel of the reference grid; affine.
    pub to_reference: Matrix,
}

impl Grid {
    /// The reference grid itself.
    pub fn reference(width: usize, height: usize) -> Self {
        Self {
            width,
            height,
            to_reference: IDENTITY,
        }
    }

    /// Where a place on this grid lies on the reference grid.
    pub fn on_reference(&self, x: f64, y: f64) -> (f64, f64) {
        let m = &self.to_reference;
        (
            m[0][0] * x + m[0][1] * y + m[0][2],
            m[1][0] * x + m[1][1] * y + m[1][2],
        )
    }

    /// Where a place on the reference grid lies on this grid.
    pub fn from_reference(&self, x: f64, y: f64) -> (f64, f64) {
        let m = &self.to_reference;
        let (dx, dy) = (x - m[0][2], y - m[1][2]);
        let det = self.area();
        (
            (m[1][1] * dx - m[0][1] * dy) / det,
            (m[0][0] * dy - m[1][0] * dx) / det,
        )
    }

    /// Reference pixels to one pixel of this grid, by area; negative if mirrored.
    fn area(&self) -> f64 {
        let m = &self.to_reference;
        m[0][0] * m[1][1] - m[0][1] * m[1][0]
    }
}

/// The scene: what there is to see, whatever the camera.
#[derive(Clone, Debug)]
pub struct Scene {
    /// Size of the reference grid, px.
    pub size: (usize, usize),
    pub nebula: Nebula,
    /// All stars, the central star first; places on the reference grid.
    pub stars: Vec<Star>,
}

impl Scene {
    /// The scene composed for a frame of this size.
    pub fn new(width: usize, height: usize, seed: u64) -> Self {
        let nebula = Nebula::new(width, height, seed);
        let stars = stars::catalogue(&nebula, width, height, seed);
        Self {
            size: (width, height),
            nebula,
            stars,
        }
    }
}

/// Which parts of the picture are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parts {
    pub gas: bool,
    pub stars: bool,
    pub noise: bool,
    /// Cut at 65535.
    pub saturation: bool,
}

/// Everything: what a camera sees.
pub const ALL_PARTS: Parts = Parts {
    gas: true,
    stars: true,
    noise: true,
    saturation: true,
};

/// One observation.
#[derive(Clone, Copy, Debug)]
pub struct Spec {
    pub grid: Grid,
    pub filter: Filter,
    /// Seed of the noise (the scene has its own).
    pub seed: u64,
    /// Length of one sub-exposure, s.
    pub exposure_s: f64,
    /// Sub-exposures averaged.
    pub frames: u32,
    /// Electrons to one camera unit.
    pub gain: f64,
    /// Read noise of one sub-exposure, electrons.
    pub read_noise: f64,
    /// Sky glow in the middle of the frame, camera units.
    pub sky: f64,
    /// The glow's change per half width in x and y, then the terms x^2, xy, y^2.
    pub gradient: [f64; 5],
    /// Full width at half maximum of a star, px of this grid.
    pub fwhm_px: f64,
    pub parts: Parts,
}

/// Camera units where the converter ends.
pub const SATURATION: f32 = 65_535.0;

/// Electrons per second and reference pixel at emission 1.
const GAS_RATE: f64 = 5.6;

/// Stars are drawn out to where they fall below this, camera units.
const FAINT: f32 = 0.04;

impl Spec {
    /// A good night on the reference grid through this filter.
    pub fn new(width: usize, height: usize, filter: Filter) -> Self {
        let (exposure_s, frames, sky, fwhm_px) = match filter {
            Filter::Ha => (300.0, 80, 46.0, 2.6),
            Filter::Oiii => (300.0, 96, 52.0, 3.1),
            Filter::Sii => (300.0, 100, 41.0, 2.8),
            Filter::L => (60.0, 120, 410.0, 2.2),
            Filter::R => (60.0, 60, 138.0, 2.4),
            Filter::G => (60.0, 60, 151.0, 2.5),
            Filter::B => (60.0, 60, 126.0, 2.9),
        };
        Self {
            grid: Grid::reference(width, height),
            filter,
            seed: filter as u64 + 1,
            exposure_s,
            frames,
            gain: 0.78,
            read_noise: 1.6,
            sky,
            gradient: [0.0; 5],
            fwhm_px,
            parts: ALL_PARTS,
        }
    }

    /// The same observation with other parts.
    pub fn with_parts(self, parts: Parts) -> Self {
        Self { parts, ..self }
    }

    /// Variance of a pixel whose noiseless value is `value`, squared camera
    /// units: photons are Poisson distributed, the read noise is added once for
    /// each frame.
    pub fn variance(&self, value: f64) -> f64 {
        let electrons = value * self.gain + self.read_noise * self.read_noise;
        electrons / (self.gain * self.gain * f64::from(self.frames))
    }

    /// Light of a star in this observation, camera units over all its pixels.
    pub fn star_light(&self, star: &Star) -> f64 {
        star.electrons_per_s(self.filter) * self.exposure_s / self.gain
    }

    /// The glow of the sky at a pixel, camera units.
    pub fn sky_at(&self, x: usize, y: usize) -> f64 {
        let along = |at: usize, size: usize| 2.0 * (at as f64 + 0.5) / size as f64 - 1.0;
        let (u, v) = (along(x, self.grid.width), along(y, self.grid.height));
        let g = &self.gradient;
        self.sky + g[0] * u + g[1] * v + g[2] * u * u + g[3] * u * v + g[4] * v * v
    }
}

/// The gas on a grid, made once and looked at through several filters.
#[derive(Clone, Debug)]
pub struct Backdrop {
    grid: Grid,
    margin: usize,
    light: Vec<Emission>,
}

impl Backdrop {
    /// The gas on this grid and a little beyond, pixel by pixel.
    pub fn new(scene: &Scene, grid: Grid) -> Self {
        let margin = 8;
        let wide = grid.width + 2 * margin;
        let mut light = vec![Emission::default(); wide * (grid.height + 2 * margin)];
        light
            .par_chunks_mut(wide)
            .enumerate()
            .for_each(|(row, out)| {
                for (column, out) in out.iter_mut().enumerate() {
                    let (x, y) = grid
                        .on_reference(column as f64 - margin as f64, row as f64 - margin as f64);
                    *out = scene.nebula.at_px(x, y);
                }
            });
        Self {
            grid,
            margin,
            light,
        }
    }
}

/// A whole observation, row by row.
pub fn render(scene: &Scene, spec: &Spec) -> Vec<f32> {
    render_rows(scene, spec, 0..spec.grid.height)
}

/// Some rows of an observation: the same values as in the whole.
pub fn render_rows(scene: &Scene, spec: &Spec, rows: Range<usize>) -> Vec<f32> {
    render_from(scene, None, spec, rows)
}

/// As [`render`], with the gas already made for this grid.
pub fn render_over(scene: &Scene, backdrop: &Backdrop, spec: &Spec) -> Vec<f32> {
    render_from(scene, Some(backdrop), spec, 0..spec.grid.height)
}

fn render_from(
    scene: &Scene,
    backdrop: Option<&Backdrop>,
    spec: &Spec,
    rows: Range<usize>,
) -> Vec<f32> {
    const STRIP: usize = 48;
    let width = spec.grid.width;
    let mut out = vec![0.0; width * rows.len()];
    let stamps = if spec.parts.stars {
        Stamp::all(scene, spec)
    } else {
        Vec::new()
    };
    out.par_chunks_mut(width * STRIP)
        .enumerate()
        .for_each(|(index, strip)| {
            let first = rows.start + index * STRIP;
            if spec.parts.gas {
                add_gas(scene, backdrop, spec, first, strip);
            }
            for stamp in &stamps {
                stamp.add(width, first, strip);
            }
            expose(spec, first, strip);
        });
    out
}

/// Adds the gas to a strip of rows, blurred by the air.
fn add_gas(
    scene: &Scene,
    backdrop: Option<&Backdrop>,
    spec: &Spec,
    first: usize,
    strip: &mut [f32],
) {
    let width = spec.grid.width;
    let weights = optics::blur_weights(spec.fwhm_px);
    let radius = weights.len() - 1;
    let rows = strip.len() / width;
    let wide = width + 2 * radius;
    let sharp = match backdrop {
        Some(backdrop) => kept_gas(backdrop, spec, first, rows, radius),
        None => live_gas(scene, spec, first, rows, radius),
    };
    let scale = (GAS_RATE * spec.exposure_s / spec.gain * spec.grid.area().abs()) as f32;
    let mut across = vec![0.0f32; width * (rows + 2 * radius)];
    for (from, to) in sharp.chunks(wide).zip(across.chunks_mut(width)) {
        for (x, to) in to.iter_mut().enumerate() {
            let mut sum = from[x + radius] * weights[0];
            for (k, weight) in weights.iter().enumerate().skip(1) {
                sum += (from[x + radius - k] + from[x + radius + k]) * weight;
            }
            *to = sum;
        }
    }
    for (y, to) in strip.chunks_mut(width).enumerate() {
        for (x, to) in to.iter_mut().enumerate() {
            let at = |row: usize| across[row * width + x];
            let mut sum = at(y + radius) * weights[0];
            for (k, weight) in weights.iter().enumerate().skip(1) {
                sum += (at(y + radius - k) + at(y + radius + k)) * weight;
            }
            *to += sum * scale;
        }
    }
}

/// Unblurred gas of a strip and `radius` pixels around it, from a backdrop.
fn kept_gas(
    backdrop: &Backdrop,
    spec: &Spec,
    first: usize,
    rows: usize,
    radius: usize,
) -> Vec<f32> {
    assert_eq!(backdrop.grid, spec.grid, "the backdrop is for another grid");
    assert!(
        radius <= backdrop.margin,
        "the backdrop's margin is too small"
    );
    let wide = spec.grid.width + 2 * backdrop.margin;
    let inset = backdrop.margin - radius;
    let mut out = Vec::with_capacity((spec.grid.width + 2 * radius) * (rows + 2 * radius));
    for row in 0..rows + 2 * radius {
        let start = (first + row + inset) * wide + inset;
        let line = &backdrop.light[start..start + spec.grid.width + 2 * radius];
        out.extend(line.iter().map(|light| light.through(spec.filter)));
    }
    out
}

/// The same, computed. In large frames the finest structure spans many pixels:
/// the gas is computed on every second to fourth pixel of the grid and drawn
/// through those with cubics (Catmull and Rom 1974).
fn live_gas(scene: &Scene, spec: &Spec, first: usize, rows: usize, radius: usize) -> Vec<f32> {
    let pace = ((scene.nebula.unit_px() / 450.0) as usize).clamp(1, 4) as i64;
    let wide = spec.grid.width + 2 * radius;
    let high = rows + 2 * radius;
    let (left, top) = (-(radius as i64), first as i64 - radius as i64);
    let light = |column: i64, row: i64| {
        let (x, y) = spec.grid.on_reference(column as f64, row as f64);
        scene.nebula.at_px(x, y).through(spec.filter)
    };
    let mut out = Vec::with_capacity(wide * high);
    if pace == 1 {
        for row in 0..high as i64 {
            out.extend((0..wide as i64).map(|column| light(left + column, top + row)));
        }
        return out;
    }
    let nodes = |from: i64, count: usize| {
        let low = from.div_euclid(pace) - 1;
        let high = (from + count as i64 - 1).div_euclid(pace) + 2;
        (low, (high - low + 1) as usize)
    };
    let (node_left, node_wide) = nodes(left, wide);
    let (node_top, node_high) = nodes(top, high);
    let cubic = |at: i64| {
        let t = at.rem_euclid(pace) as f32 / pace as f32;
        let (t2, t3) = (t * t, t * t * t);
        [
            0.5 * (-t + 2.0 * t2 - t3),
            0.5 * (2.0 - 5.0 * t2 + 3.0 * t3),
            0.5 * (t + 4.0 * t2 - 3.0 * t3),
            0.5 * (t3 - t2),
        ]
    };
    let mut lines = Vec::with_capacity(wide * node_high);
    for row in 0..node_high as i64 {
        let line: Vec<f32> = (0..node_wide as i64)
            .map(|column| light((node_left + column) * pace, (node_top + row) * pace))
            .collect();
        lines.extend((0..wide as i64).map(|x| {
            let node = ((left + x).div_euclid(pace) - 1 - node_left) as usize;
            let w = cubic(left + x);
            line[node] * w[0]
                + line[node + 1] * w[1]
                + line[node + 2] * w[2]
                + line[node + 3] * w[3]
        }));
    }
    for y in 0..high as i64 {
        let node = ((top + y).div_euclid(pace) - 1 - node_top) as usize;
        let w = cubic(top + y);
        out.extend((0..wide).map(|x| {
            let at = |k: usize| lines[(node + k) * wide + x];
            (at(0) * w[0] + at(1) * w[1] + at(2) * w[2] + at(3) * w[3]).max(0.0)
        }));
    }
    out
}

/// A star ready to be drawn on a grid.
struct Stamp {
    x: f64,
    y: f64,
    light: f32,
    reach: f32,
    psf: Psf,
}

impl Stamp {
    fn all(scene: &Scene, spec: &Spec) -> Vec<Self> {
        // Vanes are fixed to the mount, so spikes keep their direction on the sky.
        let (x0, y0) = spec.grid.from_reference(0.0, 0.0);
        let (x1, y1) = spec.grid.from_reference(0.92, 0.39);
        let psf = Psf::new(spec.fwhm_px, [x1 - x0, y1 - y0]);
        scene
            .stars
            .iter()
            .filter_map(|star| {
                let light = spec.star_light(star) as f32;
                let (x, y) = spec.grid.from_reference(star.x, star.y);
                let reach = psf.reach_px(light, FAINT);
                let far = f64::from(reach);
                let seen = x > -far
                    && y > -far
                    && x < spec.grid.width as f64 + far
                    && y < spec.grid.height as f64 + far;
                seen.then_some(Self {
                    x,
                    y,
                    light,
                    reach,
                    psf,
                })
            })
            .collect()
    }

    /// Adds the star to the rows of a strip that it reaches.
    fn add(&self, width: usize, first: usize, strip: &mut [f32]) {
        let far = f64::from(self.reach);
        let rows = strip.len() / width;
        let low = |at: f64| libm::ceil(at - far).max(0.0) as usize;
        let top = low(self.y).max(first);
        let bottom = (libm::floor(self.y + far) + 1.0).max(0.0) as usize;
        let left = low(self.x);
        let right = ((libm::floor(self.x + far) + 1.0).max(0.0) as usize).min(width);
        let reach2 = self.reach * self.reach;
        let floor = self.psf.round(reach2);
        let spiked = self.light > 40_000.0;
        for y in top..bottom.min(first + rows) {
            let dy = (y as f64 - self.y) as f32;
            let row = &mut strip[(y - first) * width..][..width];
            for (x, out) in row.iter_mut().enumerate().take(right).skip(left) {
                let dx = (x as f64 - self.x) as f32;
                let distance2 = dx * dx + dy * dy;
                if distance2 < reach2 {
                    let mut image = self.psf.round(distance2) - floor;
                    if spiked {
                        image += self.psf.spikes(dx, dy);
                    }
                    *out += self.light * image;
                }
            }
        }
    }
}

/// Sky, noise and saturation: light becomes camera units.
fn expose(spec: &Spec, first: usize, strip: &mut [f32]) {
    let draw = Stream::new(spec.seed, 0x0e15e);
    let width = spec.grid.width;
    for (row, line) in strip.chunks_mut(width).enumerate() {
        let y = first + row;
        for (x, out) in line.iter_mut().enumerate() {
            let mut value = *out + spec.sky_at(x, y) as f32;
            if spec.parts.noise {
                let sigma = libm::sqrt(spec.variance(f64::from(value))) as f32;
                value += sigma * draw.normal((y * width + x) as u64);
            }
            *out = if spec.parts.saturation {
                value.min(SATURATION)
            } else {
                value
            };
        }
    }
}
