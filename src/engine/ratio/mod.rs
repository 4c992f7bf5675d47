//! How strong one line is beside another, pixel by pixel, and how well that is
//! known.
//!
//! On linear, sky-subtracted values and never on stretched ones:
//!
//! ```text
//! N, D     values above their skies, means over bin x bin pixels
//! s        sqrt(noise^2 + sky_error^2) of each
//! r        N / D
//! sigma_r  |r| sqrt((s_N / N)^2 + (s_D / D)^2)      to first order
//! ```
//!
//! There is a ratio where both lines have data and stand `min_snr` times their
//! s above their skies; NaN is everywhere else. The noise is that of the sky:
//! what bright light adds to it is not known to a stack, so that sigma_r is a
//! lower bound where the nebula outshines the sky. To first order alone, r lies
//! high by (s_D / D)^2: a ninth at 3 sigma, a hundredth at 10.

pub mod chance;

pub mod criteria;

pub mod noise;

pub mod paint;

mod rows;

pub mod words;

pub use rows::{Counts, Map, Which};

/// One line of a ratio, in file units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Side {
    /// The level of its sky.
    pub sky: f64,
    /// How far that level may be off, 1 sigma.
    pub sky_error: f64,
    /// Sigma of the noise of one mean over bin x bin pixels, above 0.
    pub noise: f64,
    /// Where the detector was full: from here on there is no data.
    pub full: Option<f64>,
}

impl Side {
    /// What of its light lies above the sky, and its uncertainty, of a mean
    /// over the share `filled` (0..1) of its pixels.
    fn above(&self, mean: f64, filled: f64) -> (f64, f64) {
        let variance = self.noise * self.noise / filled + self.sky_error * self.sky_error;
        (mean - self.sky, variance.sqrt())
    }
}

/// How ratios are taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Law {
    /// The line that is divided.
    pub over: Side,
    /// The line that it is divided by.
    pub under: Side,
    /// So many sigma both must stand above their skies, at least 1.
    pub min_snr: f64,
    /// Pixels along each side of a mean, at least 1.
    pub bin: usize,
}

/// What is known of a place in the map.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Point {
    /// No data in one of the lines, or a full detector.
    NoData,
    /// Which of the lines stand out of their noise: not both.
    Faint {
        /// The one that is divided.
        over: bool,
        /// The one that it is divided by.
        under: bool,
    },
    /// A ratio.
    Known {
        /// The ratio, above 0.
        ratio: f64,
        /// Its uncertainty, 1 sigma.
        sigma: f64,
    },
}

impl Law {
    /// The ratio of two pixels, or of two means without gaps, in file units.
    pub fn of_pixels(&self, over: f32, under: f32) -> Point {
        let has = |value: f32, side: &Side| {
            value.is_finite() && side.full.is_none_or(|full| f64::from(value) < full)
        };
        if has(over, &self.over) && has(under, &self.under) {
            self.at(f64::from(over), f64::from(under), 1.0)
        } else {
            Point::NoData
        }
    }

    /// The ratio of two means over the share `filled` (above 0, up to 1) of
    /// their pixels, in file units.
    pub fn at(&self, over: f64, under: f64, filled: f64) -> Point {
        if !over.is_finite() || !under.is_finite() {
            return Point::NoData;
        }
        let (n, its) = self.over.above(over, filled);
        let (d, theirs) = self.under.above(under, filled);
        let stands = |light: f64, sigma: f64| light > 0.0 && light >= self.min_snr * sigma;
        match (stands(n, its), stands(d, theirs)) {
            (true, true) => {
                let ratio = n / d;
                let (one, other) = (its / n, theirs / d);
                Point::Known {
                    ratio,
                    sigma: ratio * (one * one + other * other).sqrt(),
                }
            }
            (over, under) => Point::Faint { over, under },
        }
    }
}

#[cfg(test)]
mod tests;
