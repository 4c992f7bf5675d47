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
}
