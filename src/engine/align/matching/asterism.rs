//! Triangles of neighbouring stars, found again by their shape.
//!
//! With the sides a >= b >= c, the shape (b / a, c / a) stays the same under
//! shift, rotation, scale and reflection (Groth 1986, AJ 91, 1244; Valdes and
//! others 1995, PASP 107, 1119). The sense in which the corners run tells the
//! two parities apart.

use super::grid::{Grid, Star, squared};

/// Cells of the shape index along either ratio.
const CELLS: usize = 100;

/// Triangles with a shorter side than this, in pixels, say little.
const SHORTEST: f64 = 3.0;

/// Least ratio of the shortest and the longest side.
const THINNEST: f64 = 0.12;

/// Three stars.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Triangle {
    /// Places in the list: opposite to the longest, the middle and the
    /// shortest side.
    pub corners: [u32; 3],
    /// The two ratios b / a and c / a.
    pub shape: [f64; 2],
    /// How far either ratio may be wrong, three expected errors.
    pub slack: f64,
    /// Length of the longest side, pixels.
    pub longest: f64,
    /// Whether the corners run clockwise on a grid whose y axis points up.
    pub clockwise: bool,
}

impl Triangle {
    fn new(corners: [u32; 3], stars: &[Star]) -> Option<Self> {
        let [p, q, r] = corners.map(|place| stars[place as usize]);
        let mut sides = [
            (squared(q.at, r.at).sqrt(), corners[0]),
            (squared(r.at, p.at).sqrt(), corners[1]),
            (squared(p.at, q.at).sqrt(), corners[2]),
        ];
        sides.sort_unstable_by(|a, b| b.0.total_cmp(&a.0));
        let [(a, first), (b, second), (c, third)] = sides;
        if c < SHORTEST || c < THINNEST * a {
            return None;
        }
        let error = (p.sigma * p.sigma + q.sigma * q.sigma + r.sigma * r.sigma) / 3.0;
        let slack = 3.0 * (2.0 * error).sqrt() / a;
        let [p, q, r] = [first, second, third].map(|place| stars[place as usize].at);
        let cross = (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
        // Stars on a line have no sense of turning.
        if cross.abs() < 0.02 * a * a {
            return None;
        }
        Some(Self {
            corners: [first, second, third],
            shape: [b / a, c / a],
            slack,
            longest: a,
            clockwise: cross > 0.0,
        })
    }
}

/// The neighbours of each star, nearest first.
pub(super) fn neighbourhoods(stars: &[Star], grid: &Grid, count: usize) -> Vec<Vec<u32>> {
    (0..stars.len())
        .map(|place| grid.neighbours(place, stars[place].at, count))
        .collect()
}

/// Every triangle of a star and two of its `reach` nearest neighbours, those
/// of the brightest stars first. For lists of less than two million stars.
pub(super) fn triangles(stars: &[Star], neighbours: &[Vec<u32>], reach: usize) -> Vec<Triangle> {
    let mut trios = Vec::new();
    for (own, near) in neighbours.iter().enumerate() {
        let near = &near[..reach.min(near.len())];
        for (k, &first) in near.iter().enumerate() {
            for &second in &near[..k] {
                let mut trio = [own as u32, first, second];
                trio.sort_unstable();
                // One number sorts faster than three: 21 bits for each place.
                trios.push(
                    trio.into_iter()
                        .fold(0_u64, |packed, place| packed << 21 | u64::from(place)),
                );
            }
        }
    }
    trios.sort_unstable();
    trios.dedup();
    trios
        .into_iter()
        .map(|packed: u64| {
            [packed >> 42, packed >> 21, packed].map(|place| (place & 0x1f_ffff) as u32)
        })
        .filter_map(|trio| Triangle::new(trio, stars))
        .collect()
}

/// Triangles sorted by shape.
#[derive(Debug)]
pub(super) struct Shapes {
    starts: Vec<u32>,
    sorted: Vec<Triangle>,
}

fn cell(shape: [f64; 2]) -> [usize; 2] {
    shape.map(|ratio| ((ratio * CELLS as f64) as usize).min(CELLS - 1))
}

impl Shapes {
    pub fn new(triangles: &[Triangle]) -> Self {
        let mut starts = vec![0_u32; CELLS * CELLS + 1];
        let key = |triangle: &Triangle| {
            let [row, column] = cell(triangle.shape);
            row * CELLS + column
        };
        for triangle in triangles {
            starts[key(triangle) + 1] += 1;
        }
        for k in 1..starts.len() {
            starts[k] += starts[k - 1];
        }
        let mut sorted = triangles.to_vec();
        sorted.sort_by_key(key);
        Self { starts, sorted }
    }

    /// Hands over the triangles of the same shape within both slacks, until
    /// `visit` says that it has seen enough.
    pub fn alike(&self, triangle: &Triangle, mut visit: impl FnMut(&Triangle) -> bool) -> bool {
        let [row, column] = cell(triangle.shape);
        let (left, right) = (column.saturating_sub(1), (column + 1).min(CELLS - 1));
        for row in row.saturating_sub(1)..=(row + 1).min(CELLS - 1) {
            let from = self.starts[row * CELLS + left] as usize;
            let to = self.starts[row * CELLS + right + 1] as usize;
            for other in &self.sorted[from..to] {
                let limit =
                    triangle.slack * triangle.slack + other.slack * other.slack + SHEAR * SHEAR;
                if squared(triangle.shape, other.shape) <= limit && !visit(other) {
                    return false;
                }
            }
        }
        true
    }
}

/// What shear and distortion may change in a ratio.
const SHEAR: f64 = 0.002;

#[cfg(test)]
mod tests {
    use super::*;

    fn star(x: f64, y: f64) -> Star {
        Star {
            at: [x, y],
            sigma: 0.1,
            index: 0,
        }
    }

    #[test]
    fn shape_and_sense_of_a_right_triangle() {
        let stars = [star(0.0, 0.0), star(40.0, 0.0), star(0.0, 30.0)];
        let plain = Triangle::new([0, 1, 2], &stars).expect("not flat");
        // Sides 50, 40, 30: opposite to them the corners 0, 2, 1.
        assert_eq!(plain.corners, [0, 2, 1]);
        assert_eq!(plain.shape, [0.8, 0.6]);
        assert_eq!(plain.longest, 50.0);
        let turned = [star(7.0, 5.0), star(7.0, 85.0), star(-53.0, 5.0)];
        let turned = Triangle::new([2, 0, 1], &turned).expect("not flat");
        assert_eq!((turned.corners, turned.shape), (plain.corners, plain.shape));
        assert_eq!(turned.clockwise, plain.clockwise);
        let mirrored = [star(0.0, 0.0), star(-40.0, 0.0), star(0.0, 30.0)];
        let mirrored = Triangle::new([0, 1, 2], &mirrored).expect("not flat");
        assert_eq!(mirrored.shape, plain.shape);
        assert_ne!(mirrored.clockwise, plain.clockwise);
    }

    #[test]
    fn flat_and_tiny_triangles_are_left_out() {
        let stars = [
            star(0.0, 0.0),
            star(40.0, 0.1),
            star(70.0, 0.0),
            star(1.0, 1.0),
        ];
        assert_eq!(Triangle::new([0, 1, 2], &stars), None);
        assert_eq!(Triangle::new([0, 1, 3], &stars), None);
    }

    #[test]
    fn the_index_finds_what_a_plain_search_finds() {
        let stars: Vec<Star> = (0..40)
            .map(|k| {
                star(
                    f64::from(k * k * 7 % 97) * 11.0,
                    f64::from(k * 31 % 89) * 9.0,
                )
            })
            .collect();
        let grid = Grid::new(&stars);
        let near = neighbourhoods(&stars, &grid, 10);
        let triangles = triangles(&stars, &near, 8);
        assert!(triangles.len() > 300);
        let shapes = Shapes::new(&triangles);
        for triangle in &triangles {
            let (mut found, mut plain) = (0, 0);
            shapes.alike(triangle, |_| {
                found += 1;
                true
            });
            for other in &triangles {
                let limit = triangle.slack.powi(2) + other.slack.powi(2) + SHEAR * SHEAR;
                plain += usize::from(squared(triangle.shape, other.shape) <= limit);
            }
            assert!(found >= 1);
            // Slacks wider than a cell of the index are cut at its neighbours.
            if triangle.slack < 0.006 {
                assert!(found <= plain && found * 10 >= plain * 9, "{found} {plain}");
            }
        }
    }
}
