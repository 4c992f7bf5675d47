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

    /// Heights of the cells on a scale of counts that shows single pixels and
    /// millions: `ln(1 + n) / ln(1 + most)`, 0..1; all 0 where nothing was
    /// counted.
    pub fn heights(&self) -> Vec<f64> {
        let most = self.counts.iter().copied().max().unwrap_or(0);
        let full = libm::log1p(f64::from(most));
        self.counts
            .iter()
            .map(|count| {
                if most == 0 {
                    0.0
                } else {
                    libm::log1p(f64::from(*count)) / full
                }
            })
            .collect()
    }

    fn u(&self, value: f64) -> f64 {
        libm::asinh((value - self.sky) / self.unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn histogram(counts: Vec<u32>) -> Histogram {
        Histogram {
            low: -50.0,
            high: 60_000.0,
            sky: 100.0,
            unit: 40.0,
            counts,
        }
    }

    #[test]
    fn positions_and_values_are_each_others_inverse() {
        let histogram = histogram(vec![0; 4]);
        for value in [-50.0, 0.0, 100.0, 140.0, 5_000.0, 60_000.0, 90_000.0] {
            let back = histogram.value(histogram.position(value));
            assert!(
                (back - value).abs() < 1e-9 * (1.0 + value.abs()),
                "{value}: {back}"
            );
        }
        assert_eq!(histogram.position(-50.0), 0.0);
        assert_eq!(histogram.position(60_000.0), 1.0);
    }

    #[test]
    fn single_pixels_are_seen_beside_millions() {
        let heights = histogram(vec![0, 1, 999_999]).heights();
        assert_eq!((heights[0], heights[2]), (0.0, 1.0));
        assert!((heights[1] - 0.05).abs() < 0.001, "{}", heights[1]);
        assert_eq!(histogram(vec![0, 0]).heights(), [0.0, 0.0]);
    }
}
