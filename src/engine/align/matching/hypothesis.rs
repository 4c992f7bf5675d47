//! From two triangles of one shape to a map of the whole field.

use super::Model;
use super::asterism::Triangle;
use super::evidence::ln_chance;
use super::fit::{Robust, Tie, criterion, fit, robust};
use super::grid::{Grid, Star, squared};
use crate::engine::align::transform::Map;
use std::ops::RangeInclusive;

/// Scales (reference pixels for a source pixel) outside this are not
/// considered.
const SCALES: RangeInclusive<f64> = 0.2..=5.0;

/// Neighbours of a triangle that are looked up.
pub(super) const NEIGHBOURS: usize = 20;

/// ln of the chance that wrong neighbours agree so well.
const PROMISING: f64 = -10.0;

/// ln of the chance beyond which growing goes on.
const GROWING: f64 = -8.0;

/// A brightest part of a list with its index.
#[derive(Debug)]
pub(super) struct Part<'a> {
    pub stars: &'a [Star],
    pub grid: Grid,
}

impl<'a> Part<'a> {
    pub fn new(stars: &'a [Star]) -> Self {
        Self {
            stars,
            grid: Grid::new(stars),
        }
    }
}

/// Places of a source and a reference star.
pub(super) type Pair = (usize, usize);

/// A map with the pairs it rests on.
#[derive(Debug, Clone)]
pub(super) struct Find {
    pub map: Map,
    pub model: Model,
    pub mirrored: bool,
    pub pairs: Vec<Pair>,
    /// Scatter of the pairs, in expected errors.
    pub scatter: f64,
}

/// Rotation, scale, parity and shift in complex form.
#[derive(Debug, Clone, Copy)]
struct Turn {
    along: f64,
    across: f64,
    shift: [f64; 2],
    flip: f64,
}

impl Turn {
    /// The least-squares similarity of three points, unweighted.
    fn of(from: [[f64; 2]; 3], to: [[f64; 2]; 3], mirrored: bool) -> Self {
        let center = |p: [[f64; 2]; 3]| {
            [
                (p[0][0] + p[1][0] + p[2][0]) / 3.0,
                (p[0][1] + p[1][1] + p[2][1]) / 3.0,
            ]
        };
        let (here, there) = (center(from), center(to));
        let flip = if mirrored { -1.0 } else { 1.0 };
        let (mut along, mut across, mut square) = (0.0, 0.0, 0.0);
        for (from, to) in from.iter().zip(to) {
            let (x, y) = (from[0] - here[0], flip * (from[1] - here[1]));
            let (u, v) = (to[0] - there[0], to[1] - there[1]);
            along += x * u + y * v;
            across += x * v - y * u;
            square += x * x + y * y;
        }
        let mut turn = Self {
            along: along / square,
            across: across / square,
            shift: [0.0; 2],
            flip,
        };
        let moved = turn.apply(here);
        turn.shift = [there[0] - moved[0], there[1] - moved[1]];
        turn
    }

    fn apply(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let y = self.flip * y;
        [
            self.along * x - self.across * y + self.shift[0],
            self.across * x + self.along * y + self.shift[1],
        ]
    }

    fn scale(&self) -> f64 {
        (self.along * self.along + self.across * self.across).sqrt()
    }
}

/// The expected error of a pair in either axis, in reference pixels.
pub(super) fn pair_sigma(source: &Star, reference: &Star, scale: f64) -> f64 {
    let moved = source.sigma * scale;
    (moved * moved + reference.sigma * reference.sigma).sqrt()
}

/// Lays the triangles on each other and looks whether the neighbours of the
/// brightest corner agree. Hands back the pairs, the corners first, and
/// whether the parities differ.
pub(super) fn neighbours_agree(
    here: &Triangle,
    there: &Triangle,
    source: &Part<'_>,
    near: &[Vec<u32>],
    reference: &Part<'_>,
) -> Option<(Vec<Pair>, bool)> {
    let mirrored = here.clockwise != there.clockwise;
    let from = here.corners.map(|place| &source.stars[place as usize]);
    let to = there.corners.map(|place| &reference.stars[place as usize]);
    let turn = Turn::of(from.map(|star| star.at), to.map(|star| star.at), mirrored);
    let scale = turn.scale();
    if !SCALES.contains(&scale) {
        return None;
    }
    let mut square = 0.0;
    for (from, to) in from.iter().zip(to) {
        let sigma = pair_sigma(from, to, scale);
        let slack = 3.5 * sigma + 0.002 * there.longest;
        if squared(turn.apply(from.at), to.at) > slack * slack {
            return None;
        }
        square += sigma * sigma / 3.0;
    }
    let unit = scale.max(1.0);
    let middle = turn.apply(from[0].at);
    let limit = (0.05 / (core::f64::consts::PI * reference.grid.density(middle))).sqrt();
    let owner = here.corners.iter().min().map_or(0, |&place| place as usize);
    let mut expected = 0.0;
    let mut pairs = Vec::new();
    for (looked, &place) in near[owner].iter().enumerate() {
        if looked == 10 && pairs.is_empty() {
            return None;
        }
        if here.corners.contains(&place) {
            continue;
        }
        let at = turn.apply(source.stars[place as usize].at);
        let distance = squared(at, middle);
        let lever = 1.4 + 2.0 * distance / (there.longest * there.longest);
        let tolerance = ((9.0 * square * lever).sqrt() + 0.3 * unit + 0.001 * distance.sqrt())
            .min(5.0 * unit)
            .min(limit);
        expected += reference.grid.density(at) * core::f64::consts::PI * tolerance * tolerance;
        if let Some((found, _)) = reference.grid.nearest(at, tolerance)
            && !there.corners.contains(&(found as u32))
        {
            pairs.push((place as usize, found));
        }
    }
    if ln_chance(pairs.len() as f64, expected) > PROMISING {
        return None;
    }
    for k in 0..3 {
        pairs.insert(0, (here.corners[k] as usize, there.corners[k] as usize));
    }
    Some((pairs, mirrored))
}

/// Square root of the determinant of the linear part: reference pixels for a
/// source pixel.
pub(super) fn scale_of(map: &Map) -> f64 {
    let [[a, b, _], [d, e, _], _] = map.matrix;
    (a * e - b * d).abs().sqrt()
}

/// Mutual pairs of the source stars that `choose` picks: each meets the
/// nearest reference star within `tolerance` (of the source star's place),
/// and each reference star keeps the nearest source star.
pub(super) fn pair_up(
    map: &Map,
    source: &[Star],
    reference: &Part<'_>,
    choose: impl Fn(&Star) -> bool,
    tolerance: impl Fn(&Star, [f64; 2]) -> f64,
) -> Vec<(usize, usize, f64)> {
    let mut best: Vec<(u32, f64)> = vec![(u32::MAX, f64::INFINITY); reference.stars.len()];
    for (place, star) in source.iter().enumerate() {
        if !choose(star) {
            continue;
        }
        let at = map.apply(star.at);
        if let Some((found, distance)) = reference.grid.nearest(at, tolerance(star, at))
            && distance < best[found].1
        {
            best[found] = (place as u32, distance);
        }
    }
    let mut pairs: Vec<(usize, usize, f64)> = best
        .into_iter()
        .enumerate()
        .filter(|(_, (place, _))| *place != u32::MAX)
        .map(|(found, (place, distance))| (place as usize, found, distance.sqrt()))
        .collect();
    pairs.sort_unstable_by_key(|pair| pair.0);
    pairs
}

/// The ties of pairs.
pub(super) fn ties_of<'p>(
    pairs: impl Iterator<Item = &'p Pair>,
    source: &[Star],
    reference: &[Star],
    scale: f64,
) -> Vec<Tie> {
    pairs
        .map(|&(here, there)| Tie {
            from: source[here].at,
            to: reference[there].at,
            sigma: pair_sigma(&source[here], &reference[there], scale),
        })
        .collect()
}

/// The model for so many pairs while growing, fitted without outliers.
fn fit_grown(ties: &[Tie], mirrored: bool) -> Option<(Model, Robust)> {
    let model = match ties.len() {
        0..10 => Model::Similarity,
        _ => Model::Affine,
    };
    let plain = robust(model, mirrored, ties)?;
    if ties.len() >= 60
        && let Some(curved) = robust(Model::Distorted, mirrored, ties)
    {
        let used: Vec<Tie> = ties
            .iter()
            .zip(&curved.kept)
            .filter(|pair| *pair.1)
            .map(|pair| *pair.0)
            .collect();
        let straight = fit(model, mirrored, &used)?;
        if criterion(Model::Distorted, &curved.map, &used) < criterion(model, &straight, &used) {
            return Some((Model::Distorted, curved));
        }
    }
    Some((model, plain))
}

/// Widens a promising neighbourhood step by step until it covers the source,
/// fitting again at each step. None where the stars further out disagree.
pub(super) fn grow(
    seed: &[Pair],
    mirrored: bool,
    source: &Part<'_>,
    reference: &Part<'_>,
) -> Option<Find> {
    let corners: Vec<Tie> = ties_of(seed.iter(), source.stars, reference.stars, 1.0);
    let first = fit(Model::Similarity, mirrored, &corners)?;
    let scale = scale_of(&first);
    if !SCALES.contains(&scale) {
        return None;
    }
    let ties = ties_of(seed.iter(), source.stars, reference.stars, scale);
    let first = robust(Model::Similarity, mirrored, &ties)?;
    let mut find = Find {
        map: first.map,
        model: Model::Similarity,
        mirrored,
        pairs: seed.to_vec(),
        scatter: first.scatter,
    };
    let count = seed.len() as f64;
    let center = [0, 1].map(|axis| {
        let sum: f64 = seed.iter().map(|pair| source.stars[pair.0].at[axis]).sum();
        sum / count
    });
    let farthest = |stars: &mut dyn Iterator<Item = &Star>| {
        stars
            .map(|star| squared(star.at, center))
            .fold(0.0, f64::max)
    };
    let all = farthest(&mut source.stars.iter());
    let mut reach = farthest(&mut seed.iter().map(|pair| &source.stars[pair.0]));
    let unit = scale.max(1.0);
    let mut settled = 0;
    while settled < 2 {
        if reach > all {
            settled += 1;
        }
        let widen = if find.model == Model::Distorted {
            1.7
        } else {
            2.2
        };
        reach *= widen;
        let widest = if settled == 2 { 2.5 * unit } else { 4.0 * unit };
        let tolerance = |star: &Star, at: [f64; 2]| {
            let crowd = core::f64::consts::PI * reference.grid.density(at);
            widest
                .min((0.04 / crowd).sqrt())
                .max(3.0 * star.sigma * scale)
                .max(0.3 * unit)
        };
        let found = pair_up(
            &find.map,
            source.stars,
            reference,
            |star| squared(star.at, center) <= reach,
            tolerance,
        );
        let pairs: Vec<Pair> = found.iter().map(|pair| (pair.0, pair.1)).collect();
        let ties = ties_of(pairs.iter(), source.stars, reference.stars, scale);
        let (model, fitted) = fit_grown(&ties, mirrored)?;
        let mut kept = pairs.iter().zip(&fitted.kept);
        find = Find {
            map: fitted.map,
            model,
            mirrored,
            pairs: kept
                .by_ref()
                .filter(|pair| *pair.1)
                .map(|pair| *pair.0)
                .collect(),
            scatter: fitted.scatter,
        };
        // What chance would have given within the tolerance.
        let expected: f64 = source
            .stars
            .iter()
            .filter(|star| squared(star.at, center) <= reach)
            .map(|star| {
                let at = find.map.apply(star.at);
                let radius = tolerance(star, at);
                reference.grid.density(at) * core::f64::consts::PI * radius * radius
            })
            .sum();
        let free = find.pairs.len().saturating_sub(2) as f64;
        if find.pairs.len() < 4 || (settled == 0 && ln_chance(free, expected) > GROWING) {
            return None;
        }
    }
    Some(find)
}
