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

pub mod backdrop;
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
pub mod stamp;
pub mod stars;

use core::ops::Range;

use rayon::prelude::*;

pub use backdrop::Backdrop;
pub use filters::Filter;
use nebula::Nebula;
use random::Stream;
use stamp::Stamp;
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
    pub fn on_grid(&self, x: f64, y: f64) -> (f64, f64) {
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

    /// The true stars of an observation, those inside its frame, in the order of
    /// the catalogue.
    pub fn stars_on(&self, spec: &Spec) -> Vec<Placed> {
        let inside = |at: f64, size: usize| at > -0.5 && at < size as f64 - 0.5;
        self.stars
            .iter()
            .map(|star| {
                let (x, y) = spec.grid.on_grid(star.x, star.y);
                let light = spec.star_light(star);
                Placed { x, y, light }
            })
            .filter(|star| inside(star.x, spec.grid.width) && inside(star.y, spec.grid.height))
            .collect()
    }
}

/// A star as an observation has it.
#[derive(Clone, Copy, Debug)]
pub struct Placed {
    /// Place on the observation's grid, px.
    pub x: f64,
    /// Place on the observation's grid, px.
    pub y: f64,
    /// All its light, camera units.
    pub light: f64,
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

/// The truth behind a starless picture: gas and sky, no noise.
pub const GAS_ALONE: Parts = Parts {
    gas: true,
    stars: false,
    noise: false,
    saturation: false,
};

/// The truth behind a picture of stars: stars and sky, no noise, no cut.
pub const STARS_ALONE: Parts = Parts {
    gas: false,
    stars: true,
    noise: false,
    saturation: false,
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

/// A whole observation, row by row.
pub fn render(scene: &Scene, spec: &Spec) -> Vec<f32> {
    render_rows(scene, spec, 0..spec.grid.height)
}

/// Some rows of an observation: the same values as in the whole.
pub fn render_rows(scene: &Scene, spec: &Spec, rows: Range<usize>) -> Vec<f32> {
    let backdrop = Backdrop::new(scene, spec.grid, rows.clone());
    render_over(scene, &backdrop, spec, rows)
}

/// As [`render_rows`], with the gas already made for these rows of this grid: it
/// serves several filters.
pub fn render_over(
    scene: &Scene,
    backdrop: &Backdrop,
    spec: &Spec,
    rows: Range<usize>,
) -> Vec<f32> {
    const STRIP: usize = 64;
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
                backdrop.add(spec, first, strip);
            }
            for stamp in &stamps {
                stamp.add(width, first, strip);
            }
            expose(spec, first, strip);
        });
    out
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
