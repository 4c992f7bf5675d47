//! Least squares: the map of a model through pairs of positions.

use super::Model;
use crate::engine::align::transform::{Correction, Map, Projective};

/// A position on one grid and where it should come to lie on the other.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tie {
    pub from: [f64; 2],
    pub to: [f64; 2],
    /// Expected error of the distance in either axis, pixels of `to`.
    pub sigma: f64,
}

impl Tie {
    fn weight(&self) -> f64 {
        1.0 / (self.sigma * self.sigma)
    }

    /// How far the map misses, in expected errors.
    pub fn miss(&self, map: &Map) -> f64 {
        let [x, y] = map.apply(self.from);
        let (dx, dy) = (x - self.to[0], y - self.to[1]);
        (dx * dx + dy * dy).sqrt() / self.sigma
    }
}

/// Weighted centre, and the root mean square distance from it.
fn spread(points: impl Iterator<Item = ([f64; 2], f64)> + Clone) -> Option<([f64; 2], f64)> {
    let (mut x, mut y, mut total) = (0.0, 0.0, 0.0);
    for (at, weight) in points.clone() {
        x += weight * at[0];
        y += weight * at[1];
        total += weight;
    }
    let center = [x / total, y / total];
    let square: f64 = points
        .map(|(at, weight)| weight * super::grid::squared(at, center))
        .sum();
    let scale = (square / total).sqrt();
    (scale.is_finite() && scale > 1e-9).then_some((center, scale))
}

/// Solves the symmetric positive definite system by Cholesky's method for
/// both right-hand sides. None where it is singular.
fn solve<const N: usize>(mut a: [[f64; N]; N], mut b: [[f64; 2]; N]) -> Option<[[f64; 2]; N]> {
    let diagonal: [f64; N] = core::array::from_fn(|k| a[k][k]);
    for j in 0..N {
        for k in 0..j {
            a[j][j] -= a[j][k] * a[j][k];
        }
        if a[j][j].is_nan() || a[j][j] <= 1e-11 * diagonal[j] {
            return None;
        }
        a[j][j] = a[j][j].sqrt();
        for i in j + 1..N {
            for k in 0..j {
                a[i][j] -= a[i][k] * a[j][k];
            }
            a[i][j] /= a[j][j];
        }
    }
    // Both columns at once: down through the factor, then up its transpose.
    for i in 0..N {
        let mut row = b[i];
        for k in 0..i {
            row = [row[0] - a[i][k] * b[k][0], row[1] - a[i][k] * b[k][1]];
        }
        b[i] = row.map(|value| value / a[i][i]);
    }
    for i in (0..N).rev() {
        let mut row = b[i];
        for k in i + 1..N {
            row = [row[0] - a[k][i] * b[k][0], row[1] - a[k][i] * b[k][1]];
        }
        b[i] = row.map(|value| value / a[i][i]);
    }
    Some(b)
}

/// The map of a model with the least weighted squares. None where the
/// positions do not fix it.
pub(super) fn fit(model: Model, mirrored: bool, ties: &[Tie]) -> Option<Map> {
    if ties.len() < model.pairs() {
        return None;
    }
    let map = match model {
        Model::Similarity => similarity(mirrored, ties),
        Model::Affine => polynomial::<3>(ties),
        Model::Projective => projective(ties),
        Model::Distorted => polynomial::<10>(ties),
    }?;
    map.matrix
        .as_flattened()
        .iter()
        .all(|v| v.is_finite())
        .then_some(map)
}

/// Rotation, scale and shift, with the parity given: the closed form of the
/// planar case (Umeyama 1991, IEEE PAMI 13, 376).
fn similarity(mirrored: bool, ties: &[Tie]) -> Option<Map> {
    let (from, _) = spread(ties.iter().map(|tie| (tie.from, tie.weight())))?;
    let (to, _) = spread(ties.iter().map(|tie| (tie.to, tie.weight())))?;
    let flip = if mirrored { -1.0 } else { 1.0 };
    let (mut along, mut across, mut square) = (0.0, 0.0, 0.0);
    for tie in ties {
        let (x, y) = (tie.from[0] - from[0], flip * (tie.from[1] - from[1]));
        let (u, v) = (tie.to[0] - to[0], tie.to[1] - to[1]);
        along += tie.weight() * (x * u + y * v);
        across += tie.weight() * (x * v - y * u);
        square += tie.weight() * (x * x + y * y);
    }
    let (a, b) = (along / square, across / square);
    if a * a + b * b <= 1e-12 {
        return None;
    }
    let (linear, center) = ([[a, -flip * b], [b, flip * a]], from);
    Some(Map::projective(about(linear, center, to)))
}

/// The affine matrix that takes `center` to `to`.
fn about(linear: [[f64; 2]; 2], center: [f64; 2], to: [f64; 2]) -> Projective {
    let [[a, b], [d, e]] = linear;
    [
        [a, b, to[0] - a * center[0] - b * center[1]],
        [d, e, to[1] - d * center[0] - e * center[1]],
        [0.0, 0.0, 1.0],
    ]
}

/// Affine for 3 terms, with all terms of degree 2 and 3 for 10.
fn polynomial<const N: usize>(ties: &[Tie]) -> Option<Map> {
    let (center, scale) = spread(ties.iter().map(|tie| (tie.from, tie.weight())))?;
    let (to, _) = spread(ties.iter().map(|tie| (tie.to, tie.weight())))?;
    let frame = Correction {
        center,
        scale,
        x: [0.0; 7],
        y: [0.0; 7],
    };
    let mut normal = [[0.0; N]; N];
    let mut right = [[0.0; 2]; N];
    for tie in ties {
        let (u, v) = (
            (tie.from[0] - center[0]) / scale,
            (tie.from[1] - center[1]) / scale,
        );
        let higher = frame.terms(tie.from);
        let row: [f64; N] = core::array::from_fn(|k| match k {
            0 => 1.0,
            1 => u,
            2 => v,
            _ => higher[k - 3],
        });
        let weight = tie.weight();
        for i in 0..N {
            for k in 0..=i {
                normal[i][k] += weight * row[i] * row[k];
            }
            right[i][0] += weight * row[i] * (tie.to[0] - to[0]);
            right[i][1] += weight * row[i] * (tie.to[1] - to[1]);
        }
    }
    let found = solve(normal, right)?;
    let linear = [
        [found[1][0] / scale, found[2][0] / scale],
        [found[1][1] / scale, found[2][1] / scale],
    ];
    let matrix = about(linear, center, [to[0] + found[0][0], to[1] + found[0][1]]);
    let higher = |axis: usize| core::array::from_fn(|k| found.get(k + 3).map_or(0.0, |w| w[axis]));
    Some(Map {
        matrix,
        correction: (N > 3).then(|| Correction {
            x: higher(0),
            y: higher(1),
            ..frame
        }),
    })
}

/// The homography that misses least, by Gauss and Newton's method from the
/// affine fit, in coordinates centred and scaled on both sides (Hartley 1997,
/// IEEE PAMI 19, 580).
fn projective(ties: &[Tie]) -> Option<Map> {
    let (from, from_scale) = spread(ties.iter().map(|tie| (tie.from, tie.weight())))?;
    let (to, to_scale) = spread(ties.iter().map(|tie| (tie.to, tie.weight())))?;
    let ties: Vec<Tie> = ties
        .iter()
        .map(|tie| Tie {
            from: [0, 1].map(|k| (tie.from[k] - from[k]) / from_scale),
            to: [0, 1].map(|k| (tie.to[k] - to[k]) / to_scale),
            sigma: tie.sigma,
        })
        .collect();
    let start = polynomial::<3>(&ties)?.matrix;
    let mut h: [f64; 8] = core::array::from_fn(|k| start.as_flattened()[k]);
    for _ in 0..10 {
        let mut normal = [[0.0; 8]; 8];
        let mut right = [[0.0; 2]; 8];
        for tie in &ties {
            let [x, y] = tie.from;
            let w = h[6] * x + h[7] * y + 1.0;
            if w.is_nan() || w <= 0.05 {
                return None;
            }
            let u = (h[0] * x + h[1] * y + h[2]) / w;
            let v = (h[3] * x + h[4] * y + h[5]) / w;
            let along = [x / w, y / w, 1.0 / w, 0.0, 0.0, 0.0, -u * x / w, -u * y / w];
            let across = [0.0, 0.0, 0.0, x / w, y / w, 1.0 / w, -v * x / w, -v * y / w];
            let weight = tie.weight();
            for i in 0..8 {
                for k in 0..=i {
                    normal[i][k] += weight * (along[i] * along[k] + across[i] * across[k]);
                }
                right[i][0] += weight * (along[i] * (tie.to[0] - u) + across[i] * (tie.to[1] - v));
            }
        }
        let step = solve(normal, right)?;
        let mut largest = 0.0_f64;
        for (value, change) in h.iter_mut().zip(step) {
            *value += change[0];
            largest = largest.max(change[0].abs());
        }
        if largest < 1e-13 {
            break;
        }
    }
    // To pixels: scale and centre of `to`, then h, then those of `from` undone.
    let mut matrix = [[h[0], h[1], h[2]], [h[3], h[4], h[5]], [h[6], h[7], 1.0]];
    for row in &mut matrix {
        row[0] /= from_scale;
        row[1] /= from_scale;
        row[2] -= row[0] * from[0] + row[1] * from[1];
    }
    let last = matrix[2];
    for axis in 0..2 {
        for (value, below) in matrix[axis].iter_mut().zip(last) {
            *value = *value * to_scale + to[axis] * below;
        }
    }
    let unit = matrix[2][2];
    if unit.is_nan() || unit.abs() < 1e-6 {
        return None;
    }
    Some(Map::projective(
        matrix.map(|row| row.map(|value| value / unit)),
    ))
}

/// A fit without outliers.
#[derive(Debug, Clone)]
pub(super) struct Robust {
    pub map: Map,
    /// Which ties were kept.
    pub kept: Vec<bool>,
    /// Scatter of the kept ties in expected errors; 1 where they are right.
    pub scatter: f64,
}

/// Median of a normalised distance in the plane: sqrt(2 ln 2).
const MEDIAN_DISTANCE: f64 = 1.177_410_022_515_474_7;

/// Ties farther than this many scatters are left out: one in a thousand of
/// those that are right.
const OUTLIER: f64 = 3.7;

/// Fits, drops the ties that miss by much more than the median, and fits
/// again until the same ones stay.
pub(super) fn robust(model: Model, mirrored: bool, ties: &[Tie]) -> Option<Robust> {
    let mut kept = vec![true; ties.len()];
    let mut used = ties.to_vec();
    let mut best = None;
    for _ in 0..8 {
        let map = fit(model, mirrored, &used)?;
        let misses: Vec<f64> = ties.iter().map(|tie| tie.miss(&map)).collect();
        let mut sorted = misses.clone();
        let middle = sorted.len() / 2;
        let (_, median, _) = sorted.select_nth_unstable_by(middle, f64::total_cmp);
        let scatter = (*median / MEDIAN_DISTANCE).max(1e-4);
        let keep: Vec<bool> = misses
            .iter()
            .map(|&miss| miss <= OUTLIER * scatter)
            .collect();
        used.clear();
        used.extend(
            ties.iter()
                .zip(&keep)
                .filter(|pair| *pair.1)
                .map(|pair| *pair.0),
        );
        let settled = keep == kept;
        kept.clone_from(&keep);
        best = Some(Robust {
            map,
            kept: keep,
            scatter,
        });
        if settled {
            break;
        }
    }
    best
}

/// Bayesian information criterion of a map on ties (Schwarz 1978, Ann. Stat.
/// 6, 461), the size of the errors being unknown: N ln(S / N) + p ln N.
pub(super) fn criterion(model: Model, map: &Map, ties: &[Tie]) -> f64 {
    let count = 2.0 * ties.len() as f64;
    let squares: f64 = ties
        .iter()
        .map(|tie| tie.miss(map))
        .map(|miss| miss * miss)
        .sum();
    let floor = 1e-8 * count;
    count * libm::log((squares + floor) / count) + model.parameters() * libm::log(count)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ties(map: impl Fn([f64; 2]) -> [f64; 2]) -> Vec<Tie> {
        (0..60)
            .map(|k| {
                let from = [
                    f64::from(k * 37 % 61) * 50.0 + 3.0,
                    f64::from(k * 23 % 59) * 33.0 - 8.0,
                ];
                Tie {
                    from,
                    to: map(from),
                    sigma: 0.1 + 0.01 * f64::from(k % 7),
                }
            })
            .collect()
    }

    fn worst(map: &Map, ties: &[Tie]) -> f64 {
        ties.iter()
            .map(|tie| tie.miss(map) * tie.sigma)
            .fold(0.0, f64::max)
    }

    #[test]
    fn a_similarity_of_either_parity_is_recovered() {
        // Scale 2.3, angle 40.107 degrees: cosine and sine from numpy.
        let (c, s) = (0.764_841_966_9 * 2.3, 0.644_217_950_3 * 2.3);
        for flip in [1.0, -1.0] {
            let exact =
                |[x, y]: [f64; 2]| [c * x - s * flip * y + 12.5, s * x + c * flip * y - 900.0];
            let ties = ties(exact);
            let map = fit(Model::Similarity, flip < 0.0, &ties).expect("regular");
            assert!(worst(&map, &ties) < 1e-9);
            let wrong = fit(Model::Similarity, flip > 0.0, &ties).expect("regular");
            assert!(worst(&wrong, &ties) > 100.0);
        }
    }

    #[test]
    fn each_model_recovers_its_own_kind() {
        let affine = ties(|[x, y]| [1.01 * x + 0.2 * y + 7.0, -0.3 * x + 0.9 * y + 1.0]);
        let map = fit(Model::Affine, false, &affine).expect("regular");
        assert!(worst(&map, &affine) < 1e-9);

        let tilted = ties(|[x, y]| {
            let w = 1e-5 * x - 2e-5 * y + 1.0;
            [
                (0.9 * x - 0.1 * y + 40.0) / w,
                (0.1 * x + 0.9 * y - 20.0) / w,
            ]
        });
        let map = fit(Model::Projective, false, &tilted).expect("regular");
        assert!(worst(&map, &tilted) < 1e-8);
        assert!((map.matrix[2][1] + 2e-5).abs() < 1e-12 && map.matrix[2][2] == 1.0);

        let barrel = ties(|[x, y]| {
            let (u, v) = (x - 1400.0, y - 900.0);
            let k = 1e-9 * (u * u + v * v);
            [x + k * u, y + k * v]
        });
        let map = fit(Model::Distorted, false, &barrel).expect("regular");
        assert!(worst(&map, &barrel) < 1e-7);
    }

    #[test]
    fn positions_that_do_not_fix_a_model_give_none() {
        let mut line = ties(|[x, y]| [x, y]);
        for tie in &mut line {
            tie.from[1] = 2.0 * tie.from[0];
            tie.to = tie.from;
        }
        assert!(fit(Model::Similarity, false, &line).is_some());
        for model in [Model::Affine, Model::Projective, Model::Distorted] {
            assert_eq!(fit(model, false, &line), None);
        }
        let same = [line[0]; 20];
        assert_eq!(fit(Model::Similarity, false, &same), None);
        assert_eq!(fit(Model::Affine, false, &line[..2]), None);
    }

    #[test]
    fn outliers_are_dropped() {
        let mut ties = ties(|[x, y]| [y + 3.0, 5.0 - x]);
        for (k, tie) in ties.iter_mut().enumerate() {
            tie.to[0] += 0.05 * ((k * 7 % 11) as f64 - 5.0) / 5.0;
            if k % 5 == 0 {
                tie.to[1] += 4.0 + k as f64;
            }
        }
        let robust = robust(Model::Affine, false, &ties).expect("regular");
        for (k, kept) in robust.kept.iter().enumerate() {
            assert_eq!(*kept, k % 5 != 0);
        }
        assert!((robust.map.matrix[0][1] - 1.0).abs() < 1e-4);
    }

    #[test]
    fn the_criterion_prefers_the_model_that_made_the_data() {
        let mut ties = ties(|[x, y]| [0.6 * x - 0.8 * y, 0.8 * x + 0.6 * y]);
        for (k, tie) in ties.iter_mut().enumerate() {
            let k = k as f64;
            tie.to[0] += 0.1 * (2.0 * (k * 0.618_034 % 1.0) - 1.0);
            tie.to[1] += 0.1 * (2.0 * (k * 0.414_214 % 1.0) - 1.0);
        }
        let of = |model| {
            let map = fit(model, false, &ties).expect("regular");
            criterion(model, &map, &ties)
        };
        let plain = of(Model::Similarity);
        for model in [Model::Affine, Model::Projective, Model::Distorted] {
            assert!(of(model) > plain);
        }
    }
}
