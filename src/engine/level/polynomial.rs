//! Polynomials of a total degree up to 3, in Chebyshev's basis.

use super::solve::solve;
use crate::engine::frame::Size;

/// The highest degree.
pub(super) const DEGREE_MAX: usize = 3;

/// Terms of a polynomial of two variables of this total degree.
pub(super) const fn terms(degree: usize) -> usize {
    (degree + 1) * (degree + 2) / 2
}

/// A position and a value there, with its weight.
#[derive(Debug, Clone, Copy)]
pub(super) struct Point {
    pub x: f64,
    pub y: f64,
    pub value: f64,
    pub weight: f64,
}

/// `sum of c_ij T_i(u) T_j(v)`, i + j up to the degree, where u and v run from
/// -1 to 1 from the first pixel to the last.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Polynomial {
    pub degree: usize,
    coefficients: Vec<f64>,
    x: Unit,
    y: Unit,
}

/// From pixels to -1..1: `position * scale + shift`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unit {
    pub scale: f64,
    pub shift: f64,
}

impl Unit {
    fn new(length: usize) -> Self {
        let half = ((length as f64 - 1.0) / 2.0).max(0.5);
        Self {
            scale: 1.0 / half,
            shift: -(length as f64 - 1.0) / 2.0 / half,
        }
    }

    fn at(self, position: f64) -> f64 {
        position * self.scale + self.shift
    }
}

/// T_0 to T_3.
fn chebyshev(t: f64) -> [f64; 4] {
    [1.0, t, 2.0 * t * t - 1.0, (4.0 * t * t - 3.0) * t]
}

/// Pairs (i, j) in the order of the coefficients.
fn pairs(degree: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..=degree).flat_map(move |i| (0..=degree - i).map(move |j| (i, j)))
}

impl Polynomial {
    /// The least-squares polynomial through weighted points; None where they
    /// do not settle it.
    pub(super) fn fit(size: Size, degree: usize, points: &[Point]) -> Option<Self> {
        let (x, y) = (Unit::new(size.width), Unit::new(size.height));
        let n = terms(degree);
        let (mut matrix, mut right) = (vec![0.0; n * n], vec![0.0; n]);
        let mut basis = [0.0; terms(DEGREE_MAX)];
        for point in points {
            let (u, v) = (chebyshev(x.at(point.x)), chebyshev(y.at(point.y)));
            for (slot, (i, j)) in basis.iter_mut().zip(pairs(degree)) {
                *slot = u[i] * v[j];
            }
            for (i, term) in basis[..n].iter().enumerate() {
                let weighted = point.weight * term;
                right[i] += weighted * point.value;
                for (entry, other) in matrix[i * n..=i * n + i].iter_mut().zip(&basis) {
                    *entry += weighted * other;
                }
            }
        }
        for i in 0..n {
            for j in i + 1..n {
                matrix[i * n + j] = matrix[j * n + i];
            }
        }
        solve(matrix, right).map(|coefficients| Self {
            degree,
            coefficients,
            x,
            y,
        })
    }

    /// The powers of u along row `y`, lowest first, and what makes u of x.
    pub(super) fn row(&self, y: f64) -> ([f64; 4], Unit) {
        let v = chebyshev(self.y.at(y));
        let mut c = [0.0; 4];
        for (coefficient, (i, j)) in self.coefficients.iter().zip(pairs(self.degree)) {
            c[i] += coefficient * v[j];
        }
        let powers = [c[0] - c[2], c[1] - 3.0 * c[3], 2.0 * c[2], 4.0 * c[3]];
        (powers, self.x)
    }

    /// The value at a position in px.
    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        let (c, unit) = self.row(y);
        horner(&c, unit.at(x))
    }
}

/// `c0 + c1 t + c2 t^2 + c3 t^3`
#[inline(always)]
pub(super) fn horner(c: &[f64; 4], t: f64) -> f64 {
    ((c[3] * t + c[2]) * t + c[1]) * t + c[0]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cubic_surfaces_are_found_exactly() {
        let size = Size {
            width: 300,
            height: 200,
        };
        let truth = |x: f64, y: f64| {
            let (p, q) = (x / 100.0 - 1.0, y / 70.0);
            900.0 + 3.0 * p - 2.0 * q + p * q - 0.5 * q * q + 0.3 * p * p * q - 0.2 * q * q * q
        };
        let mut points = Vec::new();
        for i in 0..12 {
            for j in 0..9 {
                let (x, y) = (5.0 + 25.0 * f64::from(i), 7.0 + 21.0 * f64::from(j));
                points.push(Point {
                    x,
                    y,
                    value: truth(x, y),
                    weight: 1.0 + f64::from(i % 3),
                });
            }
        }
        let found = Polynomial::fit(size, 3, &points).unwrap();
        for (x, y) in [(0.0, 0.0), (299.0, 199.0), (150.5, 20.25), (0.0, 199.0)] {
            assert!((found.at(x, y) - truth(x, y)).abs() < 1e-9, "{x} {y}");
        }
    }

    /// From NumPy: `linalg.lstsq` on `chebval` columns, rows times the root of
    /// the weight.
    #[test]
    fn agrees_with_an_independent_solver() {
        let size = Size {
            width: 100,
            height: 80,
        };
        let points: Vec<Point> = (0..14)
            .map(|i| Point {
                x: f64::from(3 + (i * 37) % 95),
                y: f64::from(2 + (i * 53) % 77),
                value: 10.0 + f64::from((i * 29) % 17) - 0.5 * f64::from(i),
                weight: f64::from(1 + i % 3),
            })
            .collect();
        let places = [(0.0, 0.0), (99.0, 79.0), (50.0, 40.0), (12.5, 70.25)];
        let cases = [
            (
                1,
                [
                    13.202_019_804_026_389,
                    17.201_678_147_901_433,
                    15.224_260_265_389_164,
                    15.026_383_018_371_364,
                ],
            ),
            (
                2,
                [
                    3.815_553_901_032_372,
                    7.437_732_179_989_331,
                    20.630_500_843_714_94,
                    10.112_367_965_686_397,
                ],
            ),
            (
                3,
                [
                    11.771_560_250_920_1,
                    1.796_413_666_809_875,
                    18.637_304_414_405_794,
                    9.687_203_080_233_344,
                ],
            ),
        ];
        for (degree, wanted) in cases {
            let found = Polynomial::fit(size, degree, &points).unwrap();
            for ((x, y), wanted) in places.into_iter().zip(wanted) {
                let value = found.at(x, y);
                assert!((value - wanted).abs() < 1e-8, "{degree} {x} {y}: {value}");
            }
        }
    }

    #[test]
    fn points_on_a_line_settle_nothing() {
        let size = Size {
            width: 100,
            height: 100,
        };
        let points: Vec<Point> = (0..20)
            .map(|i| Point {
                x: 5.0 * f64::from(i),
                y: 5.0 * f64::from(i),
                value: 1.0,
                weight: 1.0,
            })
            .collect();
        assert_eq!(Polynomial::fit(size, 1, &points), None);
    }
}
