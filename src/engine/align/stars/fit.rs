//! A bell fitted to one star.

use super::window::Window;

/// Full width at half maximum of a bell over its standard deviation.
pub(super) const FWHM_PER_SIGMA: f64 = 2.354_820_045_030_949;

/// An elliptic bell: amplitude times exp(-d' C^-1 d / 2) around (x, y).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bell {
    /// Centre, px in the picture.
    pub x: f64,
    /// Centre, px in the picture.
    pub y: f64,
    /// Height above the background, file units.
    pub amplitude: f64,
    /// The covariance C: xx, xy, yy, px^2.
    pub shape: Shape,
    /// Root mean square of what the bell leaves, file units.
    pub residual: f64,
}

/// A covariance: xx, xy, yy, px^2.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shape(pub [f64; 3]);

impl Shape {
    /// A round bell of this full width at half maximum.
    pub fn round(fwhm_px: f64) -> Self {
        let sigma = fwhm_px / FWHM_PER_SIGMA;
        Self([sigma * sigma, 0.0, sigma * sigma])
    }

    fn determinant(self) -> f64 {
        let [xx, xy, yy] = self.0;
        xx * yy - xy * xy
    }

    /// The inverse: xx, xy, yy, px^-2.
    pub fn inverse(self) -> [f64; 3] {
        let [xx, xy, yy] = self.0;
        let determinant = self.determinant();
        [yy / determinant, -xy / determinant, xx / determinant]
    }

    /// Full width at half maximum of the round bell with the same area, px.
    pub fn fwhm_px(self) -> f64 {
        FWHM_PER_SIGMA * self.determinant().max(0.0).sqrt().sqrt()
    }

    /// The variances along the long and the short axis, px^2.
    fn axes(self) -> (f64, f64) {
        let [xx, xy, yy] = self.0;
        let middle = 0.5 * (xx + yy);
        let half = (0.25 * (xx - yy) * (xx - yy) + xy * xy).sqrt();
        (middle + half, middle - half)
    }

    /// Long axis over short axis, at least 1.
    pub fn elongation(self) -> f64 {
        let (long, short) = self.axes();
        (long / short.max(1e-9)).sqrt().max(1.0)
    }

    /// Full width at half maximum along the short axis, px.
    pub fn short_fwhm_px(self) -> f64 {
        FWHM_PER_SIGMA * self.axes().1.max(0.0).sqrt()
    }

    /// What a bell of amplitude 1 adds up to, px^2.
    pub fn area(self) -> f64 {
        2.0 * std::f64::consts::PI * self.determinant().max(0.0).sqrt()
    }
}

impl Bell {
    /// The value at a place, file units.
    pub fn at(&self, x: f64, y: f64) -> f64 {
        let [xx, xy, yy] = self.shape.inverse();
        let (u, v) = (x - self.x, y - self.y);
        self.amplitude * libm::exp(-0.5 * (xx * u * u + 2.0 * xy * u * v + yy * v * v))
    }

    /// The whole light, file units times px^2.
    pub fn flux(&self) -> f64 {
        self.amplitude * self.shape.area()
    }
}

/// One pixel of a fit: place relative to the middle, value above background.
type Pixel = [f64; 3];

/// What is below a star, file units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Plane {
    /// Value at the origin.
    pub level: f64,
    /// Rise per pixel to the right and downwards.
    pub slope: [f64; 2],
    /// Where the level holds, px in the picture.
    pub origin: [f64; 2],
}

impl Plane {
    /// The same everywhere.
    pub fn level(level: f64) -> Self {
        Self {
            level,
            slope: [0.0; 2],
            origin: [0.0; 2],
        }
    }

    fn at(&self, x: f64, y: f64) -> f64 {
        let [u, v] = [x - self.origin[0], y - self.origin[1]];
        self.level + self.slope[0] * u + self.slope[1] * v
    }
}

/// What a fit is about.
pub(super) struct Task<'a> {
    /// The pixels.
    pub window: &'a Window,
    /// Where to begin, px in the picture.
    pub start: [f64; 2],
    /// Pixels up to this far from the start count.
    pub radius_px: f64,
    /// What is below the star.
    pub background: Plane,
    /// Pixels from here on say nothing.
    pub ceiling: f32,
    /// Other stars, whose light is taken away first.
    pub neighbours: &'a [Bell],
}

impl Task<'_> {
    fn pixels(&self) -> Vec<Pixel> {
        let [x0, y0] = self.start;
        let reach = self.radius_px as isize + 1;
        let (column, line) = (libm::round(x0) as isize, libm::round(y0) as isize);
        let mut pixels = Vec::with_capacity((4.0 * self.radius_px * self.radius_px) as usize + 16);
        for y in line - reach..=line + reach {
            for x in column - reach..=column + reach {
                let value = self.window.at(x, y);
                let (u, v) = (x as f64 - x0, y as f64 - y0);
                let near = u * u + v * v <= self.radius_px * self.radius_px;
                if near && value < self.ceiling {
                    let others = self.neighbours.iter();
                    let (x, y) = (x as f64, y as f64);
                    let light: f64 = others.map(|bell| bell.at(x, y)).sum();
                    let below = self.background.at(x, y) + light;
                    pixels.push([u, v, f64::from(value) - below]);
                }
            }
        }
        pixels
    }

    /// Fits height and place of a bell of this shape; the shape too where
    /// `free`. Least squares with equal weights, which for a star below the
    /// sky's noise is the most likely bell (King 1983, PASP 95, 163). None
    /// where there are too few pixels or no bell fits.
    pub fn fit(&self, shape: Shape, free: bool) -> Option<Bell> {
        let pixels = self.pixels();
        if pixels.len() < 9 {
            return None;
        }
        let scale = pixels.iter().map(|pixel| pixel[2]).fold(0.0, f64::max);
        if !(scale > 0.0 && scale.is_finite()) {
            return None;
        }
        let [xx, xy, yy] = shape.inverse();
        let mut state = [scale, 0.0, 0.0, xx, xy, yy];
        let count = if free { 6 } else { 3 };
        let mut damping = 1e-3;
        let mut error = squares(&pixels, &state);
        for _ in 0..24 {
            let (normal, slope) = equations(&pixels, &state, count);
            let step = solve(normal, slope, count, damping)?;
            let mut next = state;
            for (value, change) in next.iter_mut().zip(step) {
                *value += change;
            }
            let next_error = if self.possible(&next) {
                squares(&pixels, &next)
            } else {
                f64::INFINITY
            };
            if next_error > error {
                damping *= 10.0;
                if damping > 1e6 {
                    break;
                }
                continue;
            }
            let moved = step[1] * step[1] + step[2] * step[2];
            let settled = moved < 1e-7 && error - next_error < 1e-5 * error;
            (state, error) = (next, next_error);
            damping = (damping * 0.1).max(1e-9);
            if settled {
                break;
            }
        }
        let [amplitude, x, y, xx, xy, yy] = state;
        Some(Bell {
            x: self.start[0] + x,
            y: self.start[1] + y,
            amplitude,
            shape: Shape(Shape([xx, xy, yy]).inverse()),
            residual: (error / pixels.len() as f64).sqrt(),
        })
    }

    /// No bell narrower than a third of a pixel, wider than the pixels of the
    /// fit tell, or outside of them.
    fn possible(&self, state: &[f64; 6]) -> bool {
        let [amplitude, x, y, xx, xy, yy] = *state;
        let wide = 1.5 * self.radius_px;
        let inverse = Shape([xx, xy, yy]);
        let (long, short) = inverse.axes();
        amplitude > 0.0
            && x * x + y * y < self.radius_px * self.radius_px
            && short > 1.0 / (wide * wide)
            && long < 9.0
            && long.is_finite()
    }
}

fn bell(state: &[f64; 6], u: f64, v: f64) -> f64 {
    libm::exp(-0.5 * (state[3] * u * u + 2.0 * state[4] * u * v + state[5] * v * v))
}

fn squares(pixels: &[Pixel], state: &[f64; 6]) -> f64 {
    let mut sum = 0.0;
    for [x, y, value] in pixels {
        let left = value - state[0] * bell(state, x - state[1], y - state[2]);
        sum += left * left;
    }
    sum
}

/// The normal equations, upper half, and the right side.
fn equations(pixels: &[Pixel], state: &[f64; 6], count: usize) -> ([[f64; 6]; 6], [f64; 6]) {
    let mut normal = [[0.0; 6]; 6];
    let mut slope = [0.0; 6];
    let [amplitude, x0, y0, xx, xy, yy] = *state;
    for [x, y, value] in pixels {
        let (u, v) = (x - x0, y - y0);
        let height = bell(state, u, v);
        let model = amplitude * height;
        let left = value - model;
        let change = [
            height,
            model * (xx * u + xy * v),
            model * (xy * u + yy * v),
            -0.5 * model * u * u,
            -model * u * v,
            -0.5 * model * v * v,
        ];
        for i in 0..count {
            slope[i] += change[i] * left;
            for j in i..count {
                normal[i][j] += change[i] * change[j];
            }
        }
    }
    (normal, slope)
}

/// Cholesky's way through the damped equations (Marquardt 1963).
fn solve(
    mut matrix: [[f64; 6]; 6],
    mut right: [f64; 6],
    count: usize,
    damping: f64,
) -> Option<[f64; 6]> {
    for (i, row) in matrix.iter_mut().enumerate().take(count) {
        row[i] *= 1.0 + damping;
    }
    // Upper triangle U with U' U = matrix.
    for i in 0..count {
        for k in 0..i {
            for j in i..count {
                matrix[i][j] -= matrix[k][i] * matrix[k][j];
            }
        }
        let pivot = matrix[i][i];
        if !(pivot > 0.0 && pivot.is_finite()) {
            return None;
        }
        let root = pivot.sqrt();
        for value in &mut matrix[i][i..count] {
            *value /= root;
        }
    }
    for i in 0..count {
        for k in 0..i {
            right[i] -= matrix[k][i] * right[k];
        }
        right[i] /= matrix[i][i];
    }
    for i in (0..count).rev() {
        for k in i + 1..count {
            right[i] -= matrix[i][k] * right[k];
        }
        right[i] /= matrix[i][i];
    }
    for value in &mut right[count..] {
        *value = 0.0;
    }
    Some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field(bells: &[Bell]) -> Window {
        let mut values = vec![0.0; 60 * 60];
        for (index, value) in values.iter_mut().enumerate() {
            let (x, y) = ((index % 60) as f64, (index / 60) as f64);
            *value = (10.0 + bells.iter().map(|bell| bell.at(x, y)).sum::<f64>()) as f32;
        }
        Window {
            first_row: 0,
            width: 60,
            values,
        }
    }

    fn task<'a>(window: &'a Window, neighbours: &'a [Bell]) -> Task<'a> {
        Task {
            window,
            start: [30.0, 31.0],
            radius_px: 5.0,
            background: Plane::level(10.0),
            ceiling: f32::INFINITY,
            neighbours,
        }
    }

    const TRUTH: Bell = Bell {
        x: 30.37,
        y: 30.72,
        amplitude: 5.0,
        shape: Shape([2.0, 0.6, 1.2]),
        residual: 0.0,
    };

    #[test]
    fn a_bell_without_noise_is_found_exactly() {
        let window = field(&[TRUTH]);
        let bell = task(&window, &[])
            .fit(Shape::round(2.6), true)
            .expect("fits");
        assert!((bell.x - TRUTH.x).abs() < 1e-4, "{bell:?}");
        assert!((bell.y - TRUTH.y).abs() < 1e-4, "{bell:?}");
        assert!((bell.flux() - TRUTH.flux()).abs() < 1e-3 * TRUTH.flux());
        assert!((bell.shape.elongation() - TRUTH.shape.elongation()).abs() < 1e-3);
        // The eigenvalues of the covariance: 1.6 +- sqrt(0.16 + 0.36).
        let ratio = (1.6 + 0.52_f64.sqrt()) / (1.6 - 0.52_f64.sqrt());
        assert!((TRUTH.shape.elongation() - ratio.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn a_neighbour_is_taken_away() {
        let other = Bell {
            x: 34.6,
            y: 30.0,
            ..TRUTH
        };
        let window = field(&[TRUTH, other]);
        let bell = task(&window, &[other])
            .fit(TRUTH.shape, false)
            .expect("fits");
        assert!((bell.x - TRUTH.x).abs() < 1e-4 && (bell.y - TRUTH.y).abs() < 1e-4);
    }

    #[test]
    fn nothing_fits_a_flat_or_missing_field() {
        let window = field(&[]);
        assert!(task(&window, &[]).fit(Shape::round(3.0), true).is_none());
        let mut window = field(&[TRUTH]);
        window.values.fill(f32::NAN);
        assert!(task(&window, &[]).fit(Shape::round(3.0), true).is_none());
    }
}
