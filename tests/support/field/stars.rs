//! The stars of the field.

use super::filters::Filter;
use super::nebula::Nebula;
use super::random::Stream;

/// One star.
#[derive(Clone, Copy, Debug)]
pub struct Star {
    /// Place on the reference grid, px (x right, y down, first pixel's centre 0).
    pub x: f64,
    /// Place on the reference grid, px.
    pub y: f64,
    /// Electrons per second and nanometre at 550 nm, before dust.
    pub rate: f64,
    /// Temperature of its black body, K.
    pub kelvin: f64,
    /// Depth of the dust in front of it, e-foldings at 550 nm.
    pub dust: f32,
}

impl Star {
    /// Electrons per second through a filter.
    pub fn electrons_per_s(&self, filter: Filter) -> f64 {
        self.rate * filter.blackbody_nm(self.kelvin) * f64::from(filter.through_dust(self.dust))
    }
}

/// How many pixels of the reference grid there are to one star.
const PIXELS_PER_STAR: f64 = 118.0;

/// Counts rise as `rate^-SLOPE`: some 0.29 dex a magnitude, as in the Milky Way.
const SLOPE: f64 = 0.74;

/// The faintest rate drawn, electrons per second and nanometre.
const FAINTEST: f64 = 0.0045;

/// The brightest allowed.
const BRIGHTEST: f64 = 420.0;

/// Stars are drawn this far outside the reference frame too, px: turned and
/// shifted frames see them.
const MARGIN: f64 = 140.0;

/// The star inside the shell is the first of the list.
pub const CENTRAL: usize = 0;

/// All stars around a reference frame of this size, the central star first.
pub fn catalogue(nebula: &Nebula, width: usize, height: usize, seed: u64) -> Vec<Star> {
    let (wide, high) = (width as f64 + 2.0 * MARGIN, height as f64 + 2.0 * MARGIN);
    let count = (wide * high / PIXELS_PER_STAR) as u64;
    let draw = Stream::new(seed, 0x57a6);
    let (x, y) = nebula.central_star_px();
    let mut stars = vec![Star {
        x,
        y,
        rate: 55.0,
        kelvin: 62_000.0,
        dust: 0.1,
    }];
    for index in 0..count {
        let at = |slot: u64| draw.uniform(index * 8 + slot);
        let x = at(0) * wide - MARGIN;
        let y = at(1) * high - MARGIN;
        let rate = FAINTEST * libm::pow(1.0 - at(2), -1.0 / SLOPE);
        let rate = rate.min(BRIGHTEST);
        // Dust hides what is behind it; one star in nine stands in front.
        let column = nebula.dust_at_px(x, y) + 0.25 * at(5) as f32;
        let dust = if at(4) < 0.11 { 0.1 * column } else { column };
        stars.push(Star {
            x,
            y,
            rate,
            kelvin: temperature(at(3), at(6), rate),
            dust,
        });
    }
    stars
}

/// A temperature: giants and hot stars among the bright, dwarfs among the faint.
fn temperature(kind: f64, within: f64, rate: f64) -> f64 {
    let hot = if rate > 1.0 { 0.34 } else { 0.12 };
    let cool = if rate > 1.0 { 0.36 } else { 0.30 };
    if kind < hot {
        9_000.0 + 15_000.0 * within * within
    } else if kind < hot + cool {
        3_200.0 + 1_200.0 * within
    } else {
        4_400.0 + 3_200.0 * within
    }
}
