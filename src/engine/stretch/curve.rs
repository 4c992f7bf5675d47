//! A monotone cubic through given points: the classical PCHIP.
//!
//! Slopes after Fritsch and Butland (1984, SIAM J. Sci. Stat. Comput. 5, 300):
//! the weighted harmonic mean of the neighbouring secants, 0 where they change
//! sign; at the ends a three-point formula, limited so that the curve keeps
//! its shape (Moler, *Numerical Computing with MATLAB*, 2004, section 3.6).

/// A curve that is ready to be evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl Curve {
    /// The curve through checked points: at least one, x strictly rising.
    pub fn through(points: &[[f64; 2]]) -> Self {
        let x: Vec<f64> = points.iter().map(|point| point[0]).collect();
        let y: Vec<f64> = points.iter().map(|point| point[1]).collect();
        let slope = slopes(&x, &y);
        Self { x, y, slope }
    }

    /// The curve at x; outside the first and last point, their y.
    pub fn at(&self, x: f64) -> f64 {
        let last = self.x.len() - 1;
        if x <= self.x[0] {
            return self.y[0];
        }
        if x >= self.x[last] {
            return self.y[last];
        }
        let segment = self.x.partition_point(|&start| start <= x) - 1;
        let width = self.x[segment + 1] - self.x[segment];
        let s = x - self.x[segment];
        let secant = (self.y[segment + 1] - self.y[segment]) / width;
        let (d0, d1) = (self.slope[segment], self.slope[segment + 1]);
        let c = (3.0 * secant - 2.0 * d0 - d1) / width;
        let b = (d0 - 2.0 * secant + d1) / (width * width);
        self.y[segment] + s * (d0 + s * (c + s * b))
    }

    /// A bound on the steepest slope anywhere: a monotone cubic is nowhere
    /// steeper than the steeper of 1.5 secants and its end slopes.
    pub fn steepest(&self) -> f64 {
        let secants = self
            .x
            .windows(2)
            .zip(self.y.windows(2))
            .map(|(x, y)| 1.5 * ((y[1] - y[0]) / (x[1] - x[0])).abs());
        secants
            .chain(self.slope.iter().map(|slope| slope.abs()))
            .fold(0.0, f64::max)
    }
}

fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    if n < 2 {
        return vec![0.0; n];
    }
    let width: Vec<f64> = x.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let secant: Vec<f64> = y
        .windows(2)
        .zip(&width)
        .map(|(pair, width)| (pair[1] - pair[0]) / width)
        .collect();
    if n == 2 {
        return vec![secant[0]; 2];
    }
    let mut slope = vec![0.0; n];
    for i in 1..n - 1 {
        let (before, after) = (secant[i - 1], secant[i]);
        if before * after > 0.0 {
            let w1 = 2.0 * width[i] + width[i - 1];
            let w2 = width[i] + 2.0 * width[i - 1];
            slope[i] = (w1 + w2) / (w1 / before + w2 / after);
        }
    }
    slope[0] = end_slope(width[0], width[1], secant[0], secant[1]);
    slope[n - 1] = end_slope(width[n - 2], width[n - 3], secant[n - 2], secant[n - 3]);
    slope
}

fn end_slope(near_width: f64, far_width: f64, near: f64, far: f64) -> f64 {
    let slope =
        ((2.0 * near_width + far_width) * near - near_width * far) / (near_width + far_width);
    if slope * near <= 0.0 {
        0.0
    } else if near * far <= 0.0 && slope.abs() > 3.0 * near.abs() {
        3.0 * near
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_are_met_and_ends_hold() {
        let curve = Curve::through(&[[0.1, 0.05], [0.35, 0.30], [0.9, 0.95]]);
        for (x, y) in [
            (0.1, 0.05),
            (0.35, 0.30),
            (0.9, 0.95),
            (0.0, 0.05),
            (1.0, 0.95),
        ] {
            assert!((curve.at(x) - y).abs() < 1e-15);
        }
    }

    #[test]
    fn values_are_those_of_an_independent_pchip() {
        // scipy.interpolate.PchipInterpolator (1.17.1) on the same points.
        let curve = Curve::through(&[
            [0.0, 0.0],
            [0.1, 0.02],
            [0.15, 0.45],
            [0.5, 0.55],
            [0.9, 0.98],
            [1.0, 1.0],
        ]);
        for (x, y) in SCIPY {
            assert!((curve.at(x) - y).abs() < 1e-12, "{x}: {} {y}", curve.at(x));
        }
    }

    const SCIPY: [(f64, f64); 5] = [
        (0.05, 0.004533898305084746),
        (0.125, 0.23322098369110922),
        (0.3, 0.5083458761685812),
        (0.7, 0.7724573383583457),
        (0.95, 0.993394396551724),
    ];

    #[test]
    fn monotone_points_give_a_monotone_curve() {
        let curve = Curve::through(&[[0.0, 0.0], [0.4, 0.01], [0.41, 0.9], [1.0, 0.91]]);
        let mut before = 0.0;
        for step in 0..=10_000 {
            let y = curve.at(f64::from(step) / 10_000.0);
            assert!(y >= before - 1e-15);
            before = y;
        }
        assert!(curve.steepest() >= 89.0);
    }

    #[test]
    fn one_or_two_points_are_enough() {
        assert_eq!(Curve::through(&[[0.5, 0.25]]).at(0.9), 0.25);
        assert_eq!(Curve::through(&[[0.0, 0.0], [1.0, 1.0]]).at(0.3), 0.3);
    }
}
