//! How often which value occurs, on a scale that shows the sky.

use super::Survey;

/// Counts over a scale that is linear within the noise of the sky and
/// logarithmic far from it:
///
/// ```text
/// u(v) = asinh((v - sky) / (4 noise))
/// ```
///
/// Positions run from 0 (`low`) to 1 (`high`), evenly in u.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    /// The value at position 0, file units.
    pub low: f64,
    /// The value at position 1, file units; above `low`.
    pub high: f64,
    /// Where the scale is finest, file units.
    pub sky: f64,
    /// The scale's unit, file units, above 0.
    pub unit: f64,
    /// Counts of equally wide cells along the positions.
    pub counts: Vec<u32>,
}

impl Histogram {
    /// Cells.
    pub const CELLS: usize = 256;

    /// Of the sample of a survey.
    pub fn of(survey: &Survey) -> Self {
        let (low, high, sky, noise) = match &survey.levels {
            Some(levels) => (levels.min, levels.max, levels.sky, levels.noise),
            None => (0.0, 1.0, 0.0, 0.25),
        };
        let range = high - low;
        let (low, high) = if range > 0.0 {
            (low - 0.02 * range, high + 0.02 * range)
        } else {
            (low - 0.5, high + 0.5)
        };
        let unit = (4.0 * noise).max((high - low) * 1e-6);
        let mut histogram = Self {
            low,
            high,
            sky,
            unit,
            counts: vec![0; Self::CELLS],
        };
        for value in survey.sample() {
            let cell = histogram.position(f64::from(*value)) * Self::CELLS as f64;
            histogram.counts[(cell.max(0.0) as usize).min(Self::CELLS - 1)] += 1;
        }
        histogram
    }

    /// Where a value lies: 0 at `low`, 1 at `high`.
    pub fn position(&self, value: f64) -> f64 {
        let (from, to) = (self.u(self.low), self.u(self.high));
        (self.u(value) - from) / (to - from)
    }

    /// The value at a position.
    pub fn value(&self, position: f64) -> f64 {
        let (from, to) = (self.u(self.low), self.u(self.high));
        self.sky + self.unit * libm::sinh(from + position * (to - from))
    }

    fn u(&self, value: f64) -> f64 {
        libm::asinh((value - self.sky) / self.unit)
    }
}
