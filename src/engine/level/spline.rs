//! Thin-plate splines with smoothing (Duchon 1977; Wahba 1990), and the mesh
//! from which pixels take them.

use rayon::prelude::*;

use super::polynomial::Point;
use super::solve::solve;
use crate::engine::frame::Size;

/// Steps of the mesh along the picture's longer side.
const MESH: usize = 128;

/// `sum of a_k U(|p - p_k|) + c0 + c1 u + c2 v` with `U(r) = r^2 ln r`: of all
/// surfaces the one with the least
///
/// ```text
/// sum of w_k (f(p_k) - value_k)^2 + lambda * integral of f_uu^2 + 2 f_uv^2 + f_vv^2
/// ```
///
/// where u, v are pixels from the centre over the longer side.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Spline {
    /// u, v and a of each knot.
    knots: Vec<[f64; 3]>,
    plane: [f64; 3],
    size: Size,
}

/// `r^2 ln r` of the squared distance.
fn bend(squared: f64) -> f64 {
    if squared > 0.0 {
        0.5 * squared * libm::log(squared)
    } else {
        0.0
    }
}

/// The lambda that lets a wave of length `smooth` (share of the longer side)
/// through by half, where the weights sum to `density` per unit of area. In
/// the middle of an even field the spline passes `1 / (1 + lambda k^4 / density)`
/// of a wave of wavenumber k.
pub(super) fn lambda(smooth: f64, density: f64) -> f64 {
    let k = std::f64::consts::TAU / smooth;
    density / (k * k * k * k)
}

impl Spline {
    /// The spline through weighted points (weights above 0); None where they do
    /// not settle it.
    pub(super) fn fit(size: Size, lambda: f64, points: &[Point]) -> Option<Self> {
        let n = points.len();
        let total = n + 3;
        let unit = |point: &Point| to_unit(size, point.x, point.y);
        let mut matrix = vec![0.0; total * total];
        let mut right = vec![0.0; total];
        // At the minimum w_k (value_k - f(p_k)) = 8 pi lambda a_k, as r^2 ln r
        // is 8 pi times the fundamental solution of the biharmonic equation.
        let stiffness = 4.0 * std::f64::consts::TAU * lambda;
        for (k, point) in points.iter().enumerate() {
            let [u, v] = unit(point);
            let row = &mut matrix[k * total..(k + 1) * total];
            for (entry, other) in row.iter_mut().zip(points) {
                let [p, q] = unit(other);
                *entry = bend((u - p) * (u - p) + (v - q) * (v - q));
            }
            row[k] += stiffness / point.weight;
            row[n..].copy_from_slice(&[1.0, u, v]);
            for (i, term) in [1.0, u, v].into_iter().enumerate() {
                matrix[(n + i) * total + k] = term;
            }
            right[k] = point.value;
        }
        let solution = solve(matrix, right)?;
        let knots = points.iter().zip(&solution).map(|(point, a)| {
            let [u, v] = unit(point);
            [u, v, *a]
        });
        Some(Self {
            knots: knots.collect(),
            plane: [solution[n], solution[n + 1], solution[n + 2]],
            size,
        })
    }

    /// The value at a position in px.
    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        let [u, v] = to_unit(self.size, x, y);
        let mut sum = 0.0;
        for [p, q, a] in &self.knots {
            sum += a * bend((u - p) * (u - p) + (v - q) * (v - q));
        }
        sum + self.plane[0] + self.plane[1] * u + self.plane[2] * v
    }
}

fn to_unit(size: Size, x: f64, y: f64) -> [f64; 2] {
    let long = size.width.max(size.height) as f64;
    [
        (x - (size.width as f64 - 1.0) / 2.0) / long,
        (y - (size.height as f64 - 1.0) / 2.0) / long,
    ]
}

/// A surface's values every few pixels; between them cubic convolution
/// (a = -1/2; Keys 1981), which is exact for quadratic surfaces.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mesh {
    /// Pixels from node to node.
    pub step: usize,
    /// Nodes in a row; the first lies one step before the first pixel.
    across: usize,
    nodes: Vec<f64>,
}

impl Mesh {
    pub(super) fn new(size: Size, surface: impl Fn(f64, f64) -> f64 + Sync) -> Self {
        let Size { width, height } = size;
        let step = width.max(height).div_ceil(MESH);
        let count = |length: usize| length.saturating_sub(1) / step + 4;
        let (across, down) = (count(width), count(height));
        let mut nodes = vec![0.0; across * down];
        let place = |index: usize| (index as f64 - 1.0) * step as f64;
        nodes
            .par_chunks_mut(across)
            .enumerate()
            .for_each(|(j, row)| {
                for (i, node) in row.iter_mut().enumerate() {
                    *node = surface(place(i), place(j));
                }
            });
        Self {
            step,
            across,
            nodes,
        }
    }

    /// Values of the nodes, interpolated to row `y` (which may lie between
    /// pixels; positions beyond the picture take its edge).
    pub(super) fn row(&self, y: f64) -> Vec<f64> {
        let down = self.nodes.len() / self.across;
        let (cell, t) = self.cell(y, down);
        let rows = &self.nodes[cell * self.across..(cell + 4) * self.across];
        let node = |j: usize, i: usize| rows[j * self.across + i];
        (0..self.across)
            .map(|i| {
                let c = cubic([node(0, i), node(1, i), node(2, i), node(3, i)]);
                super::polynomial::horner(&c, t)
            })
            .collect()
    }

    /// Which cell a position lies in, and where in it (0..1).
    fn cell(&self, position: f64, nodes: usize) -> (usize, f64) {
        let cells = position.max(0.0) / self.step as f64;
        let cell = (cells as usize).min(nodes - 4);
        (cell, (cells - cell as f64).min(1.0))
    }

    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        let row = self.row(y);
        let (cell, t) = self.cell(x, self.across);
        super::polynomial::horner(&cubic_of(&row, cell), t)
    }
}

/// The cubic of one cell of a row of nodes.
pub(super) fn cubic_of(row: &[f64], cell: usize) -> [f64; 4] {
    cubic([row[cell], row[cell + 1], row[cell + 2], row[cell + 3]])
}

/// Powers of t (0..1 from the second to the third node), lowest first.
fn cubic([p0, p1, p2, p3]: [f64; 4]) -> [f64; 4] {
    [
        p1,
        0.5 * (p2 - p0),
        p0 - 2.5 * p1 + 2.0 * p2 - 0.5 * p3,
        0.5 * (p3 - p0) + 1.5 * (p1 - p2),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: Size = Size {
        width: 100,
        height: 80,
    };

    fn points() -> Vec<Point> {
        (0..14)
            .map(|i| Point {
                x: f64::from(3 + (i * 37) % 95),
                y: f64::from(2 + (i * 53) % 77),
                value: 10.0 + f64::from((i * 29) % 17) - 0.5 * f64::from(i),
                weight: f64::from(1 + i % 3),
            })
            .collect()
    }

    /// From SciPy 1.x: `RBFInterpolator`, thin_plate_spline, degree 1, with
    /// smoothing 8 pi lambda / weight on coordinates over the longer side.
    #[test]
    fn agrees_with_an_independent_solver() {
        let places = [(0.0, 0.0), (99.0, 79.0), (50.0, 40.0), (12.5, 70.25)];
        let cases = [
            (
                0.0,
                [
                    9.773_777_132_080_054,
                    -2.700_185_430_521_093,
                    18.770_183_879_051_356,
                    9.268_748_719_022_108,
                ],
            ),
            (
                1e-3,
                [
                    9.801_369_271_111_582,
                    0.481_192_548_661_739_1,
                    18.963_522_675_482_87,
                    9.493_438_280_598_64,
                ],
            ),
            (
                1.0,
                [
                    13.016_475_361_331_224,
                    16.948_741_987_925_505,
                    15.368_994_793_569_955,
                    14.892_198_181_022_893,
                ],
            ),
        ];
        for (lambda, wanted) in cases {
            let spline = Spline::fit(SIZE, lambda, &points()).unwrap();
            for ((x, y), wanted) in places.into_iter().zip(wanted) {
                let found = spline.at(x, y);
                assert!((found - wanted).abs() < 1e-9, "{lambda} {x} {y}: {found}");
            }
        }
    }

    #[test]
    fn points_on_a_line_settle_nothing() {
        let mut points = points();
        for point in &mut points {
            point.y = point.x;
        }
        assert_eq!(Spline::fit(SIZE, 0.1, &points), None);
    }

    /// Waves one `smooth` long pass by half in the middle of a field.
    #[test]
    fn a_wave_as_long_as_smooth_passes_by_half() {
        let size = Size {
            width: 900,
            height: 900,
        };
        let mut points = Vec::new();
        for j in 0..24 {
            for i in 0..24 {
                let (x, y) = (18.0 + 37.5 * f64::from(i), 18.0 + 37.5 * f64::from(j));
                points.push(Point {
                    x,
                    y,
                    value: libm::cos(std::f64::consts::TAU * (x - 449.5) / 225.0),
                    weight: 1.0,
                });
            }
        }
        let spline = Spline::fit(size, lambda(0.25, 576.0), &points).unwrap();
        let crest = spline.at(449.5, 449.5);
        let trough = spline.at(449.5 + 112.5, 449.5);
        let passed = (crest - trough) / 2.0;
        assert!((passed - 0.5).abs() < 0.03, "{passed}");
    }

    /// Cubic convolution is exact where a surface is quadratic.
    #[test]
    fn a_mesh_keeps_quadratic_surfaces() {
        let size = Size {
            width: 700,
            height: 300,
        };
        let surface = |x: f64, y: f64| 3.0 + 0.1 * x - 0.02 * y + 1e-3 * x * x - 2e-3 * x * y;
        let mesh = Mesh::new(size, surface);
        assert_eq!(mesh.step, 6);
        for (x, y) in [(0.0, 0.0), (699.0, 299.0), (1.5, 298.5), (350.25, 7.0)] {
            let found = mesh.at(x, y);
            assert!((found - surface(x, y)).abs() < 1e-9, "{x} {y} {found}");
        }
    }

    /// A glow of 50 with the shortest waves that a spline lets through.
    #[test]
    fn a_mesh_errs_by_less_than_a_fiftieth_of_the_noise() {
        let size = Size {
            width: 1500,
            height: 1000,
        };
        let surface = |x: f64, y: f64| {
            let wave = std::f64::consts::TAU / (0.15 * 1500.0);
            25.0 * libm::sin(wave * (0.8 * x + 0.6 * y))
        };
        let mesh = Mesh::new(size, surface);
        let mut worst = 0.0f64;
        for y in (0..1000).step_by(7) {
            for x in (0..1500).step_by(5) {
                let (x, y) = (f64::from(x), f64::from(y));
                worst = worst.max((mesh.at(x, y) - surface(x, y)).abs());
            }
        }
        assert!(worst < 0.02, "{worst}");
    }
}
