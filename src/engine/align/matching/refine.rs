//! From a rough map to the best one: all stars, and the model they ask for.

use super::Model;
use super::fit::{Robust, Tie, criterion, fit, robust};
use super::grid::{Star, squared};
use super::hypothesis::{Find, Pair, Part, pair_up, scale_of, ties_of};
use crate::engine::align::transform::{Map, Transform};
use crate::engine::frame::Size;

/// By how much the information criterion of a model must be better than that
/// of a simpler one ("very strong" evidence in Kass & Raftery 1995, JASA 90,
/// 773).
const MARGIN: f64 = 10.0;

/// The two frames.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frames {
    pub source: Size,
    pub reference: Size,
}

/// Whether a position lies in a frame, to the outer edges of its pixels.
fn within([x, y]: [f64; 2], size: Size) -> bool {
    x >= -0.5 && y >= -0.5 && x <= size.width as f64 - 0.5 && y <= size.height as f64 - 0.5
}

/// Positions of a frame in `steps` x `steps` places from edge to edge.
pub(super) fn lattice(size: Size, steps: usize) -> impl Iterator<Item = [f64; 2]> {
    let place = move |k: usize, count: usize| k as f64 / (steps - 1) as f64 * count as f64 - 0.5;
    (0..steps * steps).map(move |k| [place(k % steps, size.width), place(k / steps, size.height)])
}

/// Places of the source frame that lie in the reference frame, too.
pub(super) fn overlap(map: &Map, frames: Frames, steps: usize) -> Vec<[f64; 2]> {
    lattice(frames.source, steps)
        .filter(|&at| within(map.apply(at), frames.reference))
        .collect()
}

/// Whether stars stand near at least four in five places of the overlap, so
/// that a bent model is held everywhere.
fn well_spread(map: &Map, ties: &[Tie], frames: Frames) -> bool {
    const STEPS: usize = 15;
    let places = overlap(map, frames, STEPS);
    let cell = frames.source.pixels() as f64 / (STEPS * STEPS) as f64;
    // A circle of an eighth of the overlap.
    let near = places.len() as f64 * cell * 0.125 / core::f64::consts::PI;
    let held = places
        .iter()
        .filter(|&&at| ties.iter().any(|tie| squared(tie.from, at) <= near))
        .count();
    held > 0 && held * 5 >= places.len() * 4
}

/// Whether a map keeps its parity all over a frame, without a fold or a
/// horizon.
fn regular(map: &Map, size: Size) -> bool {
    let mut parity = 0.0;
    lattice(size, 9).all(|at| {
        let [x, y] = at;
        let [g, h, i] = map.matrix[2];
        let turn = map.jacobian(at);
        let determinant = turn[0][0] * turn[1][1] - turn[0][1] * turn[1][0];
        let first = parity == 0.0;
        if first {
            parity = determinant;
        }
        g * x + h * y + i > 0.0 && determinant * parity > 0.0
    })
}

/// The simplest model that explains the ties as well as any.
fn choose(mirrored: bool, ties: &[Tie], rough: &Map, frames: Frames) -> Option<(Model, Robust)> {
    let spread = ties.len() >= 16 && well_spread(rough, ties, frames);
    let mut models = vec![Model::Similarity];
    if ties.len() >= 8 {
        models.push(Model::Affine);
    }
    if spread {
        models.push(Model::Projective);
        if ties.len() >= 50 {
            models.push(Model::Distorted);
        }
    }
    // Which ties are outliers is left to the most flexible model; the others
    // have to explain the rest.
    let kept = models
        .iter()
        .rev()
        .find_map(|&model| robust(model, mirrored, ties))?
        .kept;
    let good: Vec<Tie> = ties
        .iter()
        .zip(&kept)
        .filter(|pair| *pair.1)
        .map(|pair| *pair.0)
        .collect();
    let mut best: Option<(Model, f64)> = None;
    for &model in &models {
        let Some(map) = fit(model, mirrored, &good) else {
            continue;
        };
        let bent = matches!(model, Model::Projective | Model::Distorted);
        if bent && !regular(&map, frames.source) {
            continue;
        }
        let value = criterion(model, &map, &good);
        if best.is_none_or(|(_, least)| value < least - MARGIN) {
            best = Some((model, value));
        }
    }
    let (model, _) = best?;
    Some((model, robust(model, mirrored, ties)?))
}

/// Pairs the lists anew with the map found so far, until the pairs stay.
pub(super) fn refine(
    mut find: Find,
    source: &[Star],
    reference: &Part<'_>,
    frames: Frames,
) -> Option<Find> {
    let mut sigmas: Vec<f64> = reference.stars.iter().map(|star| star.sigma).collect();
    let middle = sigmas.len() / 2;
    if sigmas.is_empty() {
        return None;
    }
    let typical = *sigmas.select_nth_unstable_by(middle, f64::total_cmp).1;
    for _ in 0..4 {
        let scale = scale_of(&find.map);
        let unit = scale.max(1.0);
        let scatter = find.scatter.max(0.5);
        let found = pair_up(
            &find.map,
            source,
            reference,
            |_| true,
            |star, at| {
                let moved = star.sigma * scale;
                let crowd = core::f64::consts::PI * reference.grid.density(at);
                (5.0 * scatter * (moved * moved + typical * typical).sqrt())
                    .clamp(0.3 * unit, 4.0 * unit)
                    .min((0.1 / crowd).sqrt())
            },
        );
        let pairs: Vec<Pair> = found.iter().map(|pair| (pair.0, pair.1)).collect();
        let ties = ties_of(pairs.iter(), source, reference.stars, scale);
        let (model, fitted) = choose(find.mirrored, &ties, &find.map, frames)?;
        let kept: Vec<Pair> = pairs
            .into_iter()
            .zip(&fitted.kept)
            .filter(|pair| *pair.1)
            .map(|pair| pair.0)
            .collect();
        let settled = kept == find.pairs && model == find.model;
        find = Find {
            map: fitted.map,
            model,
            pairs: kept,
            scatter: fitted.scatter,
            ..find
        };
        if settled {
            break;
        }
    }
    Some(find)
}

/// Steps of the lattice on which a bent map is inverted.
const INVERSION: usize = 25;

/// Both directions of a find. A bent map is fitted in the direction that
/// resampling uses, reference to source, and inverted over the overlap.
pub(super) fn transform(
    find: &Find,
    source: &[Star],
    reference: &[Star],
    frames: Frames,
) -> Option<Transform> {
    if find.model != Model::Distorted {
        return Transform::from_matrix(find.map.matrix);
    }
    let scale = scale_of(&find.map);
    let back: Vec<Tie> = ties_of(find.pairs.iter(), source, reference, scale)
        .into_iter()
        .map(|tie| Tie {
            from: tie.to,
            to: tie.from,
            sigma: tie.sigma / scale,
        })
        .collect();
    let to_source = fit(Model::Distorted, find.mirrored, &back)?;
    if !regular(&to_source, frames.reference) {
        return None;
    }
    let ties: Vec<Tie> = overlap(&find.map, frames, INVERSION)
        .into_iter()
        .filter_map(|at| {
            Some(Tie {
                from: at,
                to: to_source.source_of(at, find.map.apply(at))?,
                sigma: 1.0,
            })
        })
        .collect();
    let to_reference = fit(Model::Distorted, find.mirrored, &ties)?;
    Some(Transform {
        to_reference,
        to_source,
    })
}
