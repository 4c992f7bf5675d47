//! The way between two pixel grids.
//!
//! Positions are (x, y) in pixels: x right, y down in file order, the centre
//! of the first pixel at (0, 0).

/// A 3 x 3 projective matrix, rows first; positions are columns (x, y, 1).
pub type Projective = [[f64; 3]; 3];

/// One direction of a transform: a projective map, then a smooth correction.
#[derive(Debug, Clone, PartialEq)]
pub struct Map {
    /// The projective part; its last row is (0, 0, 1) for affine maps.
    pub matrix: Projective,
    /// What is added to the projected position, in pixels of the target.
    pub correction: Option<Correction>,
}

/// A polynomial correction of total degree 2 and 3 in normalised source
/// coordinates: u = (x - center_x) / scale, v = (y - center_y) / scale.
/// Coefficients stand in the order u2 uv v2 u3 u2v uv2 v3.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// Where (u, v) is (0, 0), in pixels of the source.
    pub center: [f64; 2],
    /// Pixels of the source for one unit of u and v.
    pub scale: f64,
    /// Added to x, in pixels of the target.
    pub x: [f64; 7],
    /// Added to y, in pixels of the target.
    pub y: [f64; 7],
}

impl Correction {
    /// The seven monomials at a position.
    pub fn terms(&self, [x, y]: [f64; 2]) -> [f64; 7] {
        let u = (x - self.center[0]) / self.scale;
        let v = (y - self.center[1]) / self.scale;
        [
            u * u,
            u * v,
            v * v,
            u * u * u,
            u * u * v,
            u * v * v,
            v * v * v,
        ]
    }

    /// The slopes of the seven monomials along x and along y, for one pixel.
    fn slopes(&self, [x, y]: [f64; 2]) -> [[f64; 2]; 7] {
        let u = (x - self.center[0]) / self.scale;
        let v = (y - self.center[1]) / self.scale;
        [
            [2.0 * u, 0.0],
            [v, u],
            [0.0, 2.0 * v],
            [3.0 * u * u, 0.0],
            [2.0 * u * v, u * u],
            [v * v, 2.0 * u * v],
            [0.0, 3.0 * v * v],
        ]
        .map(|slope| slope.map(|value| value / self.scale))
    }

    /// What is added to the projected position of (x, y).
    pub fn at(&self, position: [f64; 2]) -> [f64; 2] {
        let terms = self.terms(position);
        let sum = |weights: &[f64; 7]| {
            weights
                .iter()
                .zip(terms)
                .map(|(weight, term)| weight * term)
                .sum::<f64>()
        };
        [sum(&self.x), sum(&self.y)]
    }
}

impl Map {
    /// A map without correction.
    pub fn projective(matrix: Projective) -> Self {
        Self {
            matrix,
            correction: None,
        }
    }

    /// Where a position goes.
    pub fn apply(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [[a, b, c], [d, e, f], [g, h, i]] = self.matrix;
        let w = g * x + h * y + i;
        let [dx, dy] = self.correction.as_ref().map_or([0.0; 2], |c| c.at([x, y]));
        [(a * x + b * y + c) / w + dx, (d * x + e * y + f) / w + dy]
    }

    /// How the target moves for one pixel of the source: rows are the target's
    /// x and y, columns the source's.
    pub fn jacobian(&self, position: [f64; 2]) -> [[f64; 2]; 2] {
        let [x, y] = position;
        let [[a, b, c], [d, e, f], [g, h, i]] = self.matrix;
        let w = g * x + h * y + i;
        let (u, v) = ((a * x + b * y + c) / w, (d * x + e * y + f) / w);
        let mut slopes = [
            [(a - u * g) / w, (b - u * h) / w],
            [(d - v * g) / w, (e - v * h) / w],
        ];
        if let Some(correction) = &self.correction {
            for (k, slope) in correction.slopes(position).into_iter().enumerate() {
                for axis in 0..2 {
                    slopes[0][axis] += correction.x[k] * slope[axis];
                    slopes[1][axis] += correction.y[k] * slope[axis];
                }
            }
        }
        slopes
    }

    /// The position that goes to `target`, by Newton's method from `start`, to
    /// 1e-9 pixels of the target. None where it is not found in 20 steps.
    pub fn source_of(&self, target: [f64; 2], start: [f64; 2]) -> Option<[f64; 2]> {
        let mut at = start;
        for _ in 0..20 {
            let now = self.apply(at);
            let (dx, dy) = (target[0] - now[0], target[1] - now[1]);
            if dx.abs() <= 1e-9 && dy.abs() <= 1e-9 {
                return Some(at);
            }
            let [[a, b], [c, d]] = self.jacobian(at);
            let determinant = a * d - b * c;
            at[0] += (d * dx - b * dy) / determinant;
            at[1] += (a * dy - c * dx) / determinant;
        }
        None
    }
}

/// The way from a source grid to the reference grid, and back.
#[derive(Debug, Clone, PartialEq)]
pub struct Transform {
    /// Source pixel to reference pixel.
    pub to_reference: Map,
    /// Reference pixel to source pixel.
    pub to_source: Map,
}

impl Transform {
    /// The transform of a matrix (source pixel to reference pixel). None where
    /// it has no inverse.
    pub fn from_matrix(matrix: Projective) -> Option<Self> {
        let [[a, b, c], [d, e, f], [g, h, i]] = matrix;
        let determinant = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g);
        if determinant == 0.0 || !determinant.is_finite() {
            return None;
        }
        let inverse = crate::engine::color::space::inverse(&matrix);
        Some(Self {
            to_reference: Map::projective(matrix),
            to_source: Map::projective(inverse),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back() {
        let turned =
            Transform::from_matrix([[0.8, -0.6, 30.0], [0.6, 0.8, -4.0], [1e-5, 0.0, 1.0]])
                .expect("regular");
        for position in [[0.0, 0.0], [100.0, 50.0], [-3.0, 900.5]] {
            let back = turned.to_source.apply(turned.to_reference.apply(position));
            assert!((back[0] - position[0]).abs() < 1e-9 && (back[1] - position[1]).abs() < 1e-9);
        }
        assert_eq!(
            Transform::from_matrix([[1.0, 2.0, 0.0], [2.0, 4.0, 0.0], [0.0, 0.0, 1.0]]),
            None
        );
    }

    #[test]
    fn a_correction_is_added_after_projection() {
        let map = Map {
            matrix: [[1.0, 0.0, 5.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            correction: Some(Correction {
                center: [10.0, 10.0],
                scale: 10.0,
                x: [2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                y: [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0],
            }),
        };
        // u = 1, v = 2: 2 u^2 = 2, v^3 = 8.
        assert_eq!(map.apply([20.0, 30.0]), [27.0, 38.0]);
    }

    #[test]
    fn slopes_agree_with_differences_and_newton_finds_back() {
        let map = Map {
            matrix: [[0.9, -0.3, 5.0], [0.2, 1.1, -7.0], [1e-5, 2e-5, 1.0]],
            correction: Some(Correction {
                center: [500.0, 300.0],
                scale: 600.0,
                x: [1.0, -2.0, 0.5, 3.0, 0.2, -0.7, 1.5],
                y: [-0.4, 0.8, 1.1, 0.3, -2.0, 0.6, 2.5],
            }),
        };
        for at in [[0.0, 0.0], [1000.0, 50.0], [321.0, 777.0]] {
            let slopes = map.jacobian(at);
            for axis in 0..2 {
                let (mut before, mut after) = (at, at);
                before[axis] -= 0.01;
                after[axis] += 0.01;
                let (before, after) = (map.apply(before), map.apply(after));
                for row in 0..2 {
                    let difference = (after[row] - before[row]) / 0.02;
                    assert!((slopes[row][axis] - difference).abs() < 1e-8);
                }
            }
            let found = map
                .source_of(map.apply(at), [400.0, 400.0])
                .expect("regular");
            assert!((found[0] - at[0]).abs() < 1e-6 && (found[1] - at[1]).abs() < 1e-6);
        }
        let flat = Map::projective([[0.0, 0.0, 1.0], [0.0, 0.0, 1.0], [0.0, 0.0, 1.0]]);
        assert_eq!(flat.source_of([5.0, 5.0], [0.0, 0.0]), None);
    }
}
