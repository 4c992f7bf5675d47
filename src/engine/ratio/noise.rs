//! How well the sky of a line is known.

use crate::engine::frame::{Rows, RowsError};
use crate::engine::measure::{Levels, Survey};

use super::Side;

/// Fewer differences than this give no noise of means.
const ENOUGH: usize = 100;

/// Rows of means that are looked at.
const ROWS_OF_MEANS: usize = 400;

/// 1.4826 / sqrt(6): sigma from the median of absolute second differences.
const SIGMA_PER_DIFFERENCE: f64 = 1.482_602_218_505_602 / 2.449_489_742_783_178;

/// A line by the survey of its rows; None where it has no noise to measure by.
pub fn side(survey: &Survey) -> Option<Side> {
    side_by(&survey.levels?, survey.sample().len(), survey.saturation)
}

/// The same by levels that were taken from so many values.
pub fn side_by(levels: &Levels, values: usize, full: Option<f64>) -> Option<Side> {
    if levels.noise.is_nan() || levels.noise <= 0.0 {
        return None;
    }
    Some(Side {
        sky: levels.sky,
        sky_error: levels.sky_error(values),
        noise: levels.noise,
        full,
    })
}

/// Sigma of means over `bin` x `bin` pixels of a line whose pixels have the
/// noise `side.noise`: that over `bin`, or more where neighbours share their
/// noise, as they do once a stack was resampled.
///
/// Measured on means within 3 sigma (of one pixel) of the sky, from their
/// second differences along the rows, as the noise of pixels is. `tick` hears
/// of the rows that are done and may stop.
///
/// # Errors
/// What the source meets, or `tick` says.
pub fn of_means(
    rows: &dyn Rows,
    side: &Side,
    bin: usize,
    tick: &mut dyn FnMut(usize) -> Result<(), RowsError>,
) -> Result<f64, RowsError> {
    if bin <= 1 {
        return Ok(side.noise);
    }
    let size = rows.size();
    let mut band = vec![0.0_f32; size.width * bin];
    let mut means = vec![0.0_f64; size.width / bin];
    let mut differences = Differences::new(side, bin);
    for row in 0..size.height / bin {
        rows.read(row * bin, &mut band)?;
        for (index, mean) in means.iter_mut().enumerate() {
            let lines = band.chunks_exact(size.width);
            let sum: f64 = lines
                .flat_map(|line| &line[index * bin..(index + 1) * bin])
                .map(|value| f64::from(*value))
                .sum();
            *mean = sum / (bin * bin) as f64;
        }
        differences.take(&mut means);
        tick(row * bin)?;
    }
    Ok(differences.noise(side, bin))
}

/// The same where the means over `bin` x `bin` pixels are at hand: from evenly
/// spaced rows of them, `ROWS_OF_MEANS` at most.
///
/// # Errors
/// What the source meets.
pub fn in_means(means: &dyn Rows, side: &Side, bin: usize) -> Result<f64, RowsError> {
    let size = means.size();
    let mut row = vec![0.0_f32; size.width];
    let mut values = vec![0.0_f64; size.width];
    let mut differences = Differences::new(side, bin);
    let stride = size.height.div_ceil(ROWS_OF_MEANS).max(1);
    for index in (0..size.height).step_by(stride) {
        means.read(index, &mut row)?;
        for (value, mean) in values.iter_mut().zip(&row) {
            *value = f64::from(*mean);
        }
        differences.take(&mut values);
    }
    Ok(differences.noise(side, bin))
}

/// Second differences along rows of means that show the sky.
struct Differences {
    sky: std::ops::RangeInclusive<f64>,
    step: usize,
    found: Vec<f64>,
}

impl Differences {
    fn new(side: &Side, bin: usize) -> Self {
        Self {
            sky: side.sky - 3.0 * side.noise..=side.sky + 3.0 * side.noise,
            // Means of two pixels still share noise with the next, not with the second.
            step: if bin == 2 { 2 } else { 1 },
            found: Vec::new(),
        }
    }

    // Takes a row of means; what is no sky is no number afterwards.
    fn take(&mut self, means: &mut [f64]) {
        for mean in means.iter_mut() {
            if !self.sky.contains(mean) {
                *mean = f64::NAN;
            }
        }
        let step = self.step;
        for at in step..means.len().saturating_sub(step) {
            let difference = 2.0 * means[at] - means[at - step] - means[at + step];
            if !difference.is_nan() {
                self.found.push(difference.abs());
            }
        }
    }

    fn noise(mut self, side: &Side, bin: usize) -> f64 {
        let least = side.noise / bin as f64;
        if self.found.len() < ENOUGH {
            return least;
        }
        let half = self.found.len() / 2;
        let (_, median, _) = self.found.select_nth_unstable_by(half, f64::total_cmp);
        (SIGMA_PER_DIFFERENCE * *median).max(least)
    }
}
