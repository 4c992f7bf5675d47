//! The map that follows a set of pairs of positions.

use super::Pair;
use crate::engine::align::transform::{Correction, Map, Projective};

/// A simpler map that strays by less than this, in pixels, is taken as it is.
const CLOSE: f64 = 1e-5;

/// Rounds in which the linear part of what is left goes into the matrix.
const ROUNDS: usize = 12;

/// The simplest map that follows the pairs (affine, projective, projective with
/// a cubic correction) and the largest distance that it leaves, in pixels.
/// None where the pairs do not determine one.
pub(super) fn map(pairs: &[Pair]) -> Option<(Map, f64)> {
    let from = Frame::around(pairs.iter().map(|pair| pair.from))?;
    let to = Frame::around(pairs.iter().map(|pair| pair.to))?;
    let affine = Map::projective(affine(pairs, &from)?);
    let straying = farthest(&affine, pairs);
    if straying < CLOSE {
        return Some((affine, straying));
    }
    let projective = Map::projective(projective(pairs, &from, &to)?);
    let straying = farthest(&projective, pairs);
    if straying < CLOSE {
        return Some((projective, straying));
    }
    let bent = bent(pairs, projective, &from)?;
    let straying = farthest(&bent, pairs);
    straying.is_finite().then_some((bent, straying))
}

fn farthest(map: &Map, pairs: &[Pair]) -> f64 {
    pairs
        .iter()
        .map(|pair| {
            let end = map.apply(pair.from);
            let (x, y) = (end[0] - pair.to[0], end[1] - pair.to[1]);
            (x * x + y * y).sqrt()
        })
        .fold(0.0, |farthest, distance| {
            // NaN must not get lost.
            if distance <= farthest {
                farthest
            } else {
                distance
            }
        })
}

/// Coordinates about the middle of some positions, of a size around 1.
struct Frame {
    center: [f64; 2],
    scale: f64,
}

impl Frame {
    fn around(positions: impl Iterator<Item = [f64; 2]>) -> Option<Self> {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for position in positions {
            for axis in 0..2 {
                low[axis] = low[axis].min(position[axis]);
                high[axis] = high[axis].max(position[axis]);
            }
        }
        let center = [0, 1].map(|axis| (low[axis] + high[axis]) / 2.0);
        let scale = ((high[0] - low[0]).max(high[1] - low[1]) / 2.0).max(1.0);
        scale.is_finite().then_some(Self { center, scale })
    }

    fn enter(&self, position: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|axis| (position[axis] - self.center[axis]) / self.scale)
    }

    // A row of factors of u, v and 1 as one of x, y and 1.
    fn leave(&self, [u, v, one]: [f64; 3]) -> [f64; 3] {
        let (x, y) = (u / self.scale, v / self.scale);
        [x, y, one - x * self.center[0] - y * self.center[1]]
    }
}

fn affine(pairs: &[Pair], from: &Frame) -> Option<Projective> {
    let row = |axis: usize| -> Option<[f64; 3]> {
        let equations = pairs.iter().map(|pair| {
            let [u, v] = from.enter(pair.from);
            ([u, v, 1.0], pair.to[axis])
        });
        Some(from.leave(least_squares(equations)?))
    };
    Some([row(0)?, row(1)?, [0.0, 0.0, 1.0]])
}

// The direct linear transform, in coordinates of a size around 1 (Hartley 1997).
fn projective(pairs: &[Pair], from: &Frame, to: &Frame) -> Option<Projective> {
    let equations = pairs.iter().flat_map(|pair| {
        let ([u, v], [s, t]) = (from.enter(pair.from), to.enter(pair.to));
        [
            ([u, v, 1.0, 0.0, 0.0, 0.0, -u * s, -v * s], s),
            ([0.0, 0.0, 0.0, u, v, 1.0, -u * t, -v * t], t),
        ]
    });
    let [a, b, c, d, e, f, g, h] = least_squares(equations)?;
    let last = from.leave([g, h, 1.0]);
    if last[2] == 0.0 {
        return None;
    }
    let row = |row: [f64; 3], center: f64| {
        let row = from.leave(row);
        [0, 1, 2].map(|k| (row[k] * to.scale + center * last[k]) / last[2])
    };
    Some([
        row([a, b, c], to.center[0]),
        row([d, e, f], to.center[1]),
        last.map(|entry| entry / last[2]),
    ])
}

// What a projective map leaves is fitted by a cubic polynomial, whose linear
// part goes back into the matrix.
fn bent(pairs: &[Pair], projective: Map, from: &Frame) -> Option<Map> {
    let mut map = projective;
    for _ in 0..ROUNDS {
        let plain = Map::projective(map.matrix);
        let shape = Correction {
            center: from.center,
            scale: from.scale,
            x: [0.0; 7],
            y: [0.0; 7],
        };
        let rest = |axis: usize| -> Option<[f64; 10]> {
            least_squares(pairs.iter().map(|pair| {
                let [u, v] = from.enter(pair.from);
                let t = shape.terms(pair.from);
                let left = pair.to[axis] - plain.apply(pair.from)[axis];
                ([u, v, 1.0, t[0], t[1], t[2], t[3], t[4], t[5], t[6]], left)
            }))
        };
        let ends = [rest(0)?, rest(1)?];
        for (row, [u, v, one, ..]) in map.matrix.iter_mut().zip(ends) {
            for (entry, more) in row.iter_mut().zip(from.leave([u, v, one])) {
                *entry += more;
            }
        }
        let terms = |axis: usize| [3, 4, 5, 6, 7, 8, 9].map(|k| ends[axis][k]);
        map.correction = Some(Correction {
            x: terms(0),
            y: terms(1),
            ..shape
        });
    }
    Some(map)
}

// Solves the normal equations by elimination with pivots. None where they are
// singular or not finite.
fn least_squares<const N: usize>(
    equations: impl Iterator<Item = ([f64; N], f64)>,
) -> Option<[f64; N]> {
    let mut normal = [[0.0; N]; N];
    let mut right = [0.0; N];
    for (factors, value) in equations {
        for i in 0..N {
            for j in 0..N {
                normal[i][j] += factors[i] * factors[j];
            }
            right[i] += factors[i] * value;
        }
    }
    let largest = (0..N).fold(0.0_f64, |largest, i| largest.max(normal[i][i]));
    for k in 0..N {
        let pivot = (k..N).max_by(|a, b| normal[*a][k].abs().total_cmp(&normal[*b][k].abs()))?;
        normal.swap(k, pivot);
        right.swap(k, pivot);
        let size = normal[k][k].abs();
        if !size.is_finite() || size <= 1e-13 * largest {
            return None;
        }
        for i in k + 1..N {
            let factor = normal[i][k] / normal[k][k];
            let pivot = normal[k];
            for (entry, pivot) in normal[i].iter_mut().zip(pivot).skip(k) {
                *entry -= factor * pivot;
            }
            right[i] -= factor * right[k];
        }
    }
    let mut solution = [0.0; N];
    for k in (0..N).rev() {
        let known: f64 = (k + 1..N).map(|j| normal[k][j] * solution[j]).sum();
        solution[k] = (right[k] - known) / normal[k][k];
    }
    solution
        .iter()
        .all(|value| value.is_finite())
        .then_some(solution)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(end: impl Fn([f64; 2]) -> [f64; 2]) -> Vec<Pair> {
        (0..15)
            .flat_map(|j| (0..20).map(move |i| [200.0 * f64::from(i), 180.0 * f64::from(j)]))
            .map(|from| Pair {
                from,
                to: end(from),
            })
            .collect()
    }

    #[test]
    fn the_simplest_map_that_follows_is_taken() {
        let (shift, off) = map(&pairs(|[x, y]| [x - 7.0, y + 3.0])).expect("fits");
        assert!(off < 1e-8 && shift.correction.is_none());
        assert_eq!(shift.matrix[2], [0.0, 0.0, 1.0]);

        let tilted = Map::projective([[0.9, 0.4, 30.0], [-0.4, 0.9, -8.0], [2e-6, -1e-6, 1.0]]);
        let (found, off) = map(&pairs(|at| tilted.apply(at))).expect("fits");
        assert!(off < 1e-8 && found.correction.is_none(), "{off}");
        assert!((found.matrix[2][0] - 2e-6).abs() < 1e-14);

        let bend = |[x, y]: [f64; 2]| {
            let (u, v) = (x / 4000.0 - 0.5, y / 3000.0 - 0.5);
            let [px, py] = tilted.apply([x, y]);
            [px + 3.0 * u * u * v - u * v, py + 2.0 * v * v * v + u * u]
        };
        let (found, off) = map(&pairs(bend)).expect("fits");
        assert!(off < CLOSE && found.correction.is_some(), "{off}");
    }

    #[test]
    fn what_determines_no_map_gives_none() {
        assert!(map(&[]).is_none());
        assert!(map(&pairs(|_| [f64::NAN; 2])).is_none());
        let line: Vec<Pair> = (0..9)
            .map(|i| Pair {
                from: [f64::from(i), 2.0 * f64::from(i)],
                to: [f64::from(i), 0.0],
            })
            .collect();
        assert!(map(&line).is_none());
    }
}
