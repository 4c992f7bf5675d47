//! What a stack holds in numbers: its range, its sky, its noise, its gaps.
//!
//! One pass over the rows, in bands; memory stays below about 50 MB whatever
//! the picture's size. Nothing depends on the height or the order of the
//! bands, nor on the number of threads that made them.

mod histogram;

mod levels;

mod sampler;

mod signal;

#[cfg(test)]
pub(crate) mod fields;

pub use histogram::Histogram;
pub use sampler::{GLANCE_PIXELS, SAMPLE_PIXELS, Sampler};
pub use signal::signal_to_noise;

use std::ops::ControlFlow;

use super::frame::{BAND_ROWS, Rows, RowsError, Size};

/// What a picture holds. Counts are exact; levels and quantiles come from the
/// sample: every pixel of pictures up to [`SAMPLE_PIXELS`], at least a million
/// of larger ones.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// Width and height in pixels.
    pub size: Size,
    /// Pixels with a value: all that are neither missing nor empty.
    pub valid: u64,
    /// Pixels that are NaN.
    pub missing: u64,
    /// Pixels that are exactly 0 in a run that starts at the picture's left or
    /// right edge: what alignment leaves where a frame did not reach. A run
    /// counts from 8 pixels on; shorter ones count where more than half of the
    /// rows have one on that side.
    pub empty: u64,
    /// Pixels at or above `saturation`.
    pub saturated: u64,
    /// Where the detector was full: the ceiling that was given, or the highest
    /// value where so many pixels share it that it must be a clipped peak.
    pub saturation: Option<f64>,
    /// Levels in file units; None where no pixel is valid.
    pub levels: Option<Levels>,
    sample: Vec<f32>,
}

/// Levels of the valid pixels, in file units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levels {
    /// The lowest value, exact.
    pub min: f64,
    /// The highest value, exact.
    pub max: f64,
    /// The plain median.
    pub median: f64,
    /// The sky: the median after leaving out what is farther than 3 standard
    /// deviations from it, until nothing more falls out. Where a nebula with an
    /// exponential tail of 5 sigma covers 30 % of the field, this lies about
    /// 0.2 sigma high, the plain median 0.4. (The mode estimators of Bertin &
    /// Arnouts 1996 lie nearer there, but go astray on gradients.)
    pub sky: f64,
    /// Standard deviation of the pixels that the clipping left: noise, gradients
    /// and faint nebula together.
    pub spread: f64,
    /// Sigma of the noise alone, from differences along the rows, in which
    /// gradients and nebula cancel: 1.4826 / sqrt(6) times the median of
    /// `|2 v(x) - v(x-2) - v(x+2)|` (Stoehr et al. 2008, ASP Conf. 394, 505).
    /// The step of two pixels keeps the correlation of resampled neighbours
    /// mostly out. Where the values are so coarse that this median has no
    /// meaning, the clipped root mean square of the same differences.
    pub noise: f64,
}

impl Levels {
    /// How far the level of the sky may be off, 1 sigma, where it was taken from
    /// so many values: by chance, as medians are
    /// (`sqrt(pi / 2) spread / sqrt(n)`), and by what a nebula adds to it. With
    /// exponential tails over 5 to 30 % of a field the clipped median lies high by
    /// 0.4 to 0.8 of its distance from the plain one, which stands for that here.
    pub fn sky_error(&self, values: usize) -> f64 {
        let by_chance =
            std::f64::consts::FRAC_PI_2.sqrt() * self.spread / (values.max(1) as f64).sqrt();
        let by_nebula = self.median - self.sky;
        (by_chance * by_chance + by_nebula * by_nebula).sqrt()
    }
}

impl Survey {
    /// The value below which the share `q` (0..1) of the valid pixels lies,
    /// linear between samples; None where no pixel is valid.
    pub fn quantile(&self, q: f64) -> Option<f64> {
        let last = self.sample.len().checked_sub(1)?;
        let position = q.clamp(0.0, 1.0) * last as f64;
        let below = (position as usize).min(last);
        let low = f64::from(self.sample[below]);
        let high = f64::from(self.sample[(below + 1).min(last)]);
        Some(low + (high - low) * (position - below as f64))
    }

    /// The valid pixels that were kept, in file units, rising.
    pub fn sample(&self) -> &[f32] {
        &self.sample
    }
}

/// Why there is no survey.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SurveyError {
    /// The rows could not be read.
    #[error(transparent)]
    Rows(#[from] RowsError),
    /// `tick` asked to stop.
    #[error("stopped before all rows were read")]
    Stopped,
}

/// A look in passing: reads evenly spaced rows alone (see [`Sampler::glance`]).
///
/// # Errors
/// Where the source fails.
pub fn glance(rows: &dyn Rows, ceiling: Option<f64>) -> Result<Survey, RowsError> {
    let size = rows.size();
    let mut sampler = Sampler::glance(size, ceiling);
    let mut row = vec![0.0; size.width];
    for index in sampler.rows_of_interest() {
        rows.read(index, &mut row)?;
        sampler.push_band(index, size.width, &row);
    }
    Ok(sampler.finish())
}

/// Surveys a picture in one pass from the top.
///
/// `ceiling` is the value at which the detector is full, where it is known.
/// After each band `tick` hears how many rows are done, of how many.
///
/// # Errors
/// [`SurveyError::Rows`] where the source fails, [`SurveyError::Stopped`]
/// where `tick` breaks off.
pub fn survey(
    rows: &dyn Rows,
    ceiling: Option<f64>,
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Survey, SurveyError> {
    let size = rows.size();
    let mut sampler = Sampler::new(size, ceiling);
    let mut band = vec![0.0; size.width * BAND_ROWS.min(size.height)];
    for first_row in (0..size.height).step_by(BAND_ROWS) {
        let count = BAND_ROWS.min(size.height - first_row);
        let band = &mut band[..count * size.width];
        rows.read(first_row, band)?;
        sampler.push_band(first_row, size.width, band);
        if tick(first_row + count, size.height).is_break() {
            return Err(SurveyError::Stopped);
        }
    }
    Ok(sampler.finish())
}

#[cfg(test)]
mod tests;
