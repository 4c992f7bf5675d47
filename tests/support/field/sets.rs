//! The two sets of stacks that come with the project.
//!
//! `lantern/`: seven filters on one grid, ready to compose. `lantern-raw/`: the
//! same sky as it comes home: turned, shifted, scaled, with sky gradients, empty
//! borders and headers of every habit; [`RAW`] has the truth.

use std::io;
use std::path::Path;

use rayon::prelude::*;

use super::files::{self, Card, Samples, Value};
use super::filters::{self, Filter};
use super::{Backdrop, Grid, Matrix, Scene, Spec, render_over, render_rows};

/// Columns of `lantern/`.
pub const WIDTH: usize = 864;

/// Rows of `lantern/`.
pub const HEIGHT: usize = 576;

/// The seed of the sky above both sets.
pub const SEED: u64 = 20;

/// The scene of both sets.
pub fn scene() -> Scene {
    Scene::new(WIDTH, HEIGHT, SEED)
}

/// Right ascension of the middle of the reference frame, degrees.
pub const RA_DEG: f64 = 293.4125;

/// Declination of the middle of the reference frame, degrees.
pub const DEC_DEG: f64 = 19.0650;

/// Focal length, mm.
const FOCAL_MM: f64 = 800.0;

/// Pixel pitch, micrometres.
const PIXEL_UM: f64 = 4.63;

/// Position angle of the second axis of the reference grid, degrees.
const AXIS_DEG: f64 = 12.0;

/// Degrees of sky to one pixel of the reference grid.
pub fn scale_deg() -> f64 {
    (PIXEL_UM / 1000.0 / FOCAL_MM).to_degrees()
}

/// Pixel offsets on the reference grid -> degrees on the tangent plane (east,
/// north): the CD matrix. Its determinant is negative, as on the sky.
pub fn reference_cd() -> [[f64; 2]; 2] {
    let (sin, cos) = sin_cos(AXIS_DEG);
    let s = scale_deg();
    [[-s * cos, s * sin], [s * sin, s * cos]]
}

fn sin_cos(degrees: f64) -> (f64, f64) {
    let radians = degrees.to_radians();
    (libm::sin(radians), libm::cos(radians))
}

/// The tangent-plane cards of a grid.
fn wcs(grid: &Grid) -> Vec<Card> {
    let (x, y) = grid.on_grid(0.5 * (WIDTH - 1) as f64, 0.5 * (HEIGHT - 1) as f64);
    let cd = reference_cd();
    let m = &grid.to_reference;
    let on = |row: usize, column: usize| cd[row][0] * m[0][column] + cd[row][1] * m[1][column];
    vec![
        Card::new("CTYPE1", "RA---TAN", "Gnomonic projection"),
        Card::new("CTYPE2", "DEC--TAN", "Gnomonic projection"),
        Card::new("CUNIT1", "deg", ""),
        Card::new("CUNIT2", "deg", ""),
        Card::new("CRVAL1", RA_DEG, "[deg] Right ascension at CRPIX"),
        Card::new("CRVAL2", DEC_DEG, "[deg] Declination at CRPIX"),
        Card::new("CRPIX1", x + 1.0, "[px] First pixel's centre is 1"),
        Card::new("CRPIX2", y + 1.0, "[px] First pixel's centre is 1"),
        Card::new("CD1_1", on(0, 0), "[deg/px]"),
        Card::new("CD1_2", on(0, 1), "[deg/px]"),
        Card::new("CD2_1", on(1, 0), "[deg/px]"),
        Card::new("CD2_2", on(1, 1), "[deg/px]"),
        Card::new("RADESYS", "ICRS", ""),
        Card::new("EQUINOX", 2000.0, ""),
    ]
}

/// One file of `lantern/`.
pub fn aligned_name(filter: Filter) -> String {
    format!("lantern-{}.fits", filter.id())
}

/// How a file of `lantern/` is stored: one is float, to have both.
pub fn aligned_samples(filter: Filter) -> Samples {
    match filter {
        Filter::Ha => Samples::Float,
        _ => Samples::Unsigned16,
    }
}

/// The observation behind a file of `lantern/`.
pub fn aligned(filter: Filter) -> Spec {
    Spec::new(WIDTH, HEIGHT, filter)
}

/// Name as in a header, and the invented nights.
fn label(filter: Filter) -> (&'static str, &'static str, &'static str) {
    match filter {
        Filter::Ha => ("Ha", "2031-08-11T20:52:10", "2031-08-14T23:40:00"),
        Filter::Oiii => ("OIII", "2031-08-16T20:44:31", "2031-08-20T23:55:00"),
        Filter::Sii => ("SII", "2031-08-21T20:38:02", "2031-08-25T23:20:00"),
        Filter::L => ("L", "2031-09-08T20:05:44", "2031-09-08T21:15:00"),
        Filter::R => ("R", "2031-09-09T20:03:19", "2031-09-09T20:38:00"),
        Filter::G => ("G", "2031-09-09T21:10:27", "2031-09-09T21:45:00"),
        Filter::B => ("B", "2031-09-09T22:16:50", "2031-09-09T22:52:00"),
    }
}

/// The header of a file of `lantern/`.
pub fn aligned_cards(filter: Filter) -> Vec<Card> {
    let spec = aligned(filter);
    let (name, start, middle) = label(filter);
    let (first, last) = filter.passband_nm();
    let mut cards = vec![
        Card::new("OBJECT", "Lantern Shell", "An imaginary nebula"),
        Card::new("FILTER", name, ""),
        Card::new("WAVELEN", filter.center_nm(), "[nm] Middle of the passband"),
        Card::new(
            "BANDWID",
            round(last - first, 10.0),
            "[nm] Width of the passband",
        ),
        Card::new("EXPTIME", spec.exposure_s, "[s] One sub-exposure"),
        Card::new(
            "XPOSURE",
            spec.exposure_s * f64::from(spec.frames),
            "[s] All sub-exposures",
        ),
        Card::new("NCOMBINE", i64::from(spec.frames), "Sub-exposures averaged"),
        Card::new("TIMESYS", "UTC", ""),
        Card::new("DATE-OBS", start, "Start of the first sub-exposure"),
        Card::new("DATE-AVG", middle, "Middle of the whole"),
        Card::new("TELESCOP", "Hillside 200 mm reflector", "Imaginary"),
        Card::new("INSTRUME", "Mono imager", "Imaginary"),
        Card::new("OBSERVER", "Lantern Club", "Imaginary"),
        Card::new("FOCALLEN", FOCAL_MM, "[mm]"),
        Card::new("APTDIA", 200.0, "[mm]"),
        Card::new("XPIXSZ", PIXEL_UM, "[um]"),
        Card::new("YPIXSZ", PIXEL_UM, "[um]"),
        Card::new("GAIN", spec.gain, "[electron/ADU]"),
        Card::new("RDNOISE", spec.read_noise, "[electron] One sub-exposure"),
        Card::new("CCD-TEMP", -10.0, "[Celsius]"),
        Card::new("BUNIT", "adu", ""),
    ];
    cards.extend(wcs(&spec.grid));
    cards
}

fn round(value: f64, per: f64) -> f64 {
    libm::floor(value * per + 0.5) / per
}

/// Makes all of `lantern/` in a folder.
pub fn write_aligned(folder: &Path) -> io::Result<()> {
    let scene = scene();
    let backdrop = Backdrop::new(&scene, Grid::reference(WIDTH, HEIGHT), 0..HEIGHT);
    filters::ALL.into_iter().try_for_each(|filter| {
        let values = render_over(&scene, &backdrop, &aligned(filter), 0..HEIGHT);
        files::write_fits(
            &folder.join(aligned_name(filter)),
            (WIDTH, HEIGHT),
            aligned_samples(filter),
            &aligned_cards(filter),
            &values,
        )
    })
}

/// What stands where sub-exposures did not overlap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Border {
    None,
    Nan,
    Zero,
}

/// The kind of a raw file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Fits(Samples),
    /// Tile-compressed FITS.
    Rice,
    Tiff,
}

/// One file of `lantern-raw/` and how its pixels lie on the grid of `lantern/`.
#[derive(Clone, Copy, Debug)]
pub struct Raw {
    pub file: &'static str,
    pub filter: Filter,
    pub kind: Kind,
    pub border: Border,
    pub size: (usize, usize),
    /// Reference pixels to one pixel of this file.
    pub scale: f64,
    /// Turn from this file's axes to the reference's, degrees (x towards y).
    pub turn_deg: f64,
    /// Where this file's middle lies from the reference's middle, reference px.
    pub shift: [f64; 2],
    pub gradient: [f64; 5],
    /// Sky in the middle, camera units.
    pub sky: f64,
    /// Seed of the noise.
    pub seed: u64,
}

/// Every file of `lantern-raw/`.
pub const RAW: [Raw; 5] = [
    Raw {
        file: "lantern_stack_01.fits",
        filter: Filter::Ha,
        kind: Kind::Fits(Samples::Float),
        border: Border::Nan,
        size: (620, 420),
        scale: 1.25,
        turn_deg: 1.35,
        shift: [6.4, -9.7],
        gradient: [31.0, -18.0, 0.0, 0.0, 0.0],
        sky: 141.0,
        seed: 101,
    },
    Raw {
        file: "Lantern Shell [O III] 3nm.fits",
        filter: Filter::Oiii,
        kind: Kind::Fits(Samples::Unsigned16),
        border: Border::None,
        size: (620, 420),
        scale: 1.25,
        turn_deg: -0.62,
        shift: [-13.2, 4.1],
        gradient: [-24.0, 37.0, 22.0, -9.0, 15.0],
        sky: 205.0,
        seed: 102,
    },
    Raw {
        file: "second-night.fits",
        filter: Filter::Oiii,
        kind: Kind::Fits(Samples::Unsigned16),
        border: Border::Zero,
        size: (620, 420),
        scale: 1.25,
        turn_deg: 179.28,
        shift: [9.9, 11.8],
        gradient: [44.0, 12.0, 0.0, 0.0, 0.0],
        sky: 238.0,
        seed: 103,
    },
    Raw {
        file: "shell sulphur.fits.fz",
        filter: Filter::Sii,
        kind: Kind::Rice,
        border: Border::None,
        size: (744, 496),
        scale: 1.0,
        turn_deg: -3.1,
        shift: [2.7, 15.3],
        gradient: [11.0, 16.0, -14.0, 6.0, 10.0],
        sky: 118.0,
        seed: 104,
    },
    Raw {
        file: "lantern-lum.tif",
        filter: Filter::L,
        kind: Kind::Tiff,
        border: Border::None,
        size: (620, 420),
        scale: 1.25,
        turn_deg: 2.44,
        shift: [-4.6, -6.2],
        gradient: [120.0, -86.0, 40.0, 0.0, 55.0],
        sky: 930.0,
        seed: 105,
    },
];

impl Raw {
    /// The truth: pixel of this file -> pixel of `lantern/`.
    pub fn matrix(&self) -> Matrix {
        let (sin, cos) = sin_cos(self.turn_deg);
        let (a, b) = (self.scale * cos, self.scale * sin);
        let (mx, my) = (
            0.5 * (self.size.0 - 1) as f64,
            0.5 * (self.size.1 - 1) as f64,
        );
        let (cx, cy) = (
            0.5 * (WIDTH - 1) as f64 + self.shift[0],
            0.5 * (HEIGHT - 1) as f64 + self.shift[1],
        );
        [
            [a, -b, cx - a * mx + b * my],
            [b, a, cy - b * mx - a * my],
            [0.0, 0.0, 1.0],
        ]
    }

    /// The observation behind the file.
    pub fn spec(&self) -> Spec {
        let night = Spec::new(self.size.0, self.size.1, self.filter);
        Spec {
            grid: Grid {
                width: self.size.0,
                height: self.size.1,
                to_reference: self.matrix(),
            },
            seed: self.seed,
            frames: night.frames / 2,
            sky: self.sky,
            gradient: self.gradient,
            fwhm_px: round(night.fwhm_px * 1.12 / self.scale, 100.0),
            ..night
        }
    }

    /// Whether a pixel lies where sub-exposures overlapped. The edge has steps,
    /// as dithered frames leave it.
    pub fn covered(&self, x: usize, y: usize) -> bool {
        if self.border == Border::None {
            return true;
        }
        let (width, height) = self.size;
        let left = if y < height / 3 { 9 } else { 6 };
        let right = if y < height / 2 { 4 } else { 11 };
        let top = if x < width / 4 { 3 } else { 7 };
        let bottom = if x < width / 2 { 12 } else { 8 };
        x >= left && x < width - right && y >= top && y < height - bottom
    }

    /// Rows of the file, borders included.
    pub fn rows(&self, scene: &Scene, rows: core::ops::Range<usize>) -> Vec<f32> {
        let mut values = render_rows(scene, &self.spec(), rows.clone());
        let empty = match self.border {
            Border::None => return values,
            Border::Nan => f32::NAN,
            Border::Zero => 0.0,
        };
        for (row, line) in values.chunks_mut(self.size.0).enumerate() {
            for (x, value) in line.iter_mut().enumerate() {
                if !self.covered(x, rows.start + row) {
                    *value = empty;
                }
            }
        }
        values
    }

    /// The header, each file with other habits.
    pub fn cards(&self) -> Vec<Card> {
        let spec = self.spec();
        let frames = i64::from(spec.frames);
        let total = spec.exposure_s * f64::from(spec.frames);
        match self.file {
            "lantern_stack_01.fits" => {
                let mut cards = vec![
                    Card::new("OBJECT", "Lantern Shell", ""),
                    Card::new("FILTER", "H-alpha 7nm", ""),
                    Card::new("EXPTIME", spec.exposure_s, ""),
                    Card::new("NCOMBINE", frames, ""),
                    Card::new("DATE-OBS", "2031-07-28T21:14:09.250", ""),
                    Card::new("ROWORDER", "TOP-DOWN", ""),
                    Card::new("INSTRUME", "Mono imager", ""),
                    Card::new("GAIN", spec.gain, ""),
                ];
                cards.extend(wcs(&spec.grid));
                cards
            }
            "Lantern Shell [O III] 3nm.fits" => vec![
                Card::new("EXPOSURE", total, "seconds, all frames"),
                Card::new("DATE-OBS", "2031-07-29", ""),
                Card::new("TELESCOP", "Hillside 200 mm reflector", ""),
                Card::new("SWCREATE", "Lantern Club stacking table", ""),
            ],
            "second-night.fits" => vec![
                Card::new("OBJECT", "LANTERN", ""),
                Card::new("FILTER", "O3", "wheel position 4"),
                Card::new("EXPOSURE", spec.exposure_s, "single frame"),
                Card::new("NCOMBINE", frames, ""),
                Card::new("DATE-OBS", "2031-07-30T21:02:55", ""),
                Card::new("PIERSIDE", "EAST", ""),
            ],
            "shell sulphur.fits.fz" => vec![
                Card::new("OBJECT", "Lantern Shell", ""),
                Card::new("FILTER", "Sulphur", ""),
                Card::new("EXPTIME", total, "[s] total"),
                Card::new("DATE-BEG", "2031-08-02T20:58:12", ""),
                Card::new("XPIXSZ", round(PIXEL_UM * self.scale, 100.0), "[um]"),
                Card::new("FOCALLEN", Value::Whole(800), "[mm]"),
            ],
            _ => Vec::new(),
        }
    }

    /// Makes the file in a folder.
    pub fn write(&self, scene: &Scene, folder: &Path) -> io::Result<()> {
        let path = folder.join(self.file);
        let values = self.rows(scene, 0..self.size.1);
        match self.kind {
            Kind::Fits(samples) => {
                files::write_fits(&path, self.size, samples, &self.cards(), &values)
            }
            Kind::Rice => files::write_rice(&path, self.size, &self.cards(), &values),
            Kind::Tiff => files::write_tiff(&path, self.size, &values),
        }
    }
}

/// Makes all of `lantern-raw/` in a folder.
pub fn write_raw(folder: &Path) -> io::Result<()> {
    let scene = scene();
    RAW.par_iter().try_for_each(|raw| raw.write(&scene, folder))
}
