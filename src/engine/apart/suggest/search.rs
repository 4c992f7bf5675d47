//! The search: every combination of a coarse grid (or, with many lines, the
//! best from many fixed starts), then ever smaller steps from there. Nothing
//! in it is left to chance: the same data give the same colours.

use rayon::prelude::*;

use super::score::{Field, Hue, Score};
use crate::engine::apart::Seen;

const HUES: usize = 36;

const SATURATIONS: [f64; 3] = [1.0, 0.75, 0.5];

const STRENGTHS: [f64; 3] = [1.0, 0.7, 0.45];

/// The least lightness L* that a line is given at full tone: below it there is
/// more night than nebula.
pub(super) const LEAST_LIGHTNESS: f64 = 40.0;

/// Up to so many free lines every combination of the grid is looked at.
const EXHAUSTIVE: usize = 3;

/// Steps of the refinement: degrees of hue, saturation and strength.
const STEPS: [(f64, f64); 5] = [
    (7.0, 0.12),
    (3.5, 0.06),
    (2.0, 0.03),
    (1.0, 0.02),
    (0.5, 0.01),
];

// A line that may take another colour, and what the grid offers it.
struct Free {
    group: usize,
    offers: Vec<(Hue, Seen)>,
}

/// The best colours for the free groups of a field; the fixed ones keep
/// theirs. None where no offer fits.
pub(super) fn search(field: &Field<'_>, seeds: &[Vec<Hue>]) -> Option<(Vec<Hue>, Score)> {
    let mut found: Vec<(Vec<Hue>, Score)> = coarse(field).into_iter().collect();
    found.extend(seeds.iter().filter_map(|seed| {
        let score = field.score(seed)?;
        Some((seed.clone(), score))
    }));
    let refined: Vec<(Vec<Hue>, Score)> = found
        .into_par_iter()
        .map(|(hues, score)| refine(field, hues, score))
        .collect();
    // The first of the best: seeds come after the grid.
    let mut best: Option<(Vec<Hue>, Score)> = None;
    for one in refined {
        if best.as_ref().is_none_or(|best| one.1.total > best.1.total) {
            best = Some(one);
        }
    }
    best
}

fn grid() -> impl Iterator<Item = Hue> {
    (0..HUES).flat_map(|step| {
        let hue = 360.0 / HUES as f64 * step as f64;
        SATURATIONS.into_iter().flat_map(move |saturation| {
            STRENGTHS.into_iter().map(move |strength| Hue {
                hue,
                saturation,
                strength,
            })
        })
    })
}

fn coarse(field: &Field<'_>) -> Option<(Vec<Hue>, Score)> {
    let free: Vec<Free> = (0..field.groups())
        .filter(|group| !field.is_fixed(*group))
        .map(|group| Free {
            group,
            offers: grid()
                .map(|hue| (hue, field.seen(group, hue)))
                .filter(|(_, seen)| seen.lightness() >= LEAST_LIGHTNESS)
                .collect(),
        })
        .collect();
    if free.is_empty() || free.iter().any(|free| free.offers.is_empty()) {
        return None;
    }
    // How well each offer goes with the fixed lines, and with each offer of
    // the others: least and mean.
    let alone: Vec<Vec<(f64, f64)>> = free
        .iter()
        .map(|one| {
            one.offers
                .par_iter()
                .map(|(hue, seen)| field.with_fixed(one.group, *hue, seen))
                .collect()
        })
        .collect();
    let tables = Tables::new(field, &free);
    let picked = if free.len() <= EXHAUSTIVE {
        every(&alone, &tables)
    } else {
        from_many_starts(&alone, &tables)
    }?;
    let mut hues = field.fixed_or_any();
    for (one, pick) in free.iter().zip(picked) {
        hues[one.group] = one.offers[pick].0;
    }
    let score = field.score(&hues)?;
    Some((hues, score))
}

// For every two free lines, each offer of one against each of the other.
struct Tables {
    // Of all lines, free or not.
    pairs: f64,
    lengths: Vec<usize>,
    tables: Vec<Vec<(f32, f32)>>,
}

impl Tables {
    fn new(field: &Field<'_>, free: &[Free]) -> Self {
        let mut tables = Vec::new();
        for (j, two) in free.iter().enumerate() {
            for one in &free[..j] {
                let table = one
                    .offers
                    .par_iter()
                    .flat_map_iter(|(hue, seen)| {
                        two.offers.iter().map(move |(other_hue, other)| {
                            let (least, mean) = field
                                .between((one.group, *hue, seen), (two.group, *other_hue, other));
                            (least as f32, mean as f32)
                        })
                    })
                    .collect();
                tables.push(table);
            }
        }
        Self {
            pairs: field.meetings.len().max(1) as f64,
            lengths: free.iter().map(|free| free.offers.len()).collect(),
            tables,
        }
    }

    // For free lines a < b.
    fn at(&self, a: usize, pick_a: usize, b: usize, pick_b: usize) -> (f64, f64) {
        let table = &self.tables[b * (b - 1) / 2 + a];
        let (least, mean) = table[pick_a * self.lengths[b] + pick_b];
        (f64::from(least), f64::from(mean))
    }

    fn joined(&self, alone: &[Vec<(f64, f64)>], picks: &[usize]) -> f64 {
        let (mut least, mut sum) = (f64::INFINITY, 0.0);
        for (b, pick) in picks.iter().enumerate() {
            let own = alone[b][*pick];
            least = least.min(own.0);
            sum += own.1;
            for (a, other) in picks[..b].iter().enumerate() {
                let pair = self.at(a, *other, b, *pick);
                least = least.min(pair.0);
                sum += pair.1;
            }
        }
        Score::weigh(least, sum / self.pairs)
    }
}

// Every combination of up to three; what cannot win any more is left.
fn every(alone: &[Vec<(f64, f64)>], tables: &Tables) -> Option<Vec<usize>> {
    let first = 0..alone[0].len();
    let candidates: Vec<(f64, Vec<usize>)> = first
        .into_par_iter()
        .filter_map(|a| {
            let mut best: Option<(f64, Vec<usize>)> = None;
            let mut picks = vec![a];
            deeper(alone, tables, &mut picks, alone[0][a].0, &mut best);
            best
        })
        .collect();
    let mut best: Option<(f64, Vec<usize>)> = None;
    for one in candidates {
        if best.as_ref().is_none_or(|best| one.0 > best.0) {
            best = Some(one);
        }
    }
    best.map(|(_, picks)| picks)
}

fn deeper(
    alone: &[Vec<(f64, f64)>],
    tables: &Tables,
    picks: &mut Vec<usize>,
    least: f64,
    best: &mut Option<(f64, Vec<usize>)>,
) {
    if least == f64::NEG_INFINITY
        || best
            .as_ref()
            .is_some_and(|(total, _)| Score::weigh(least, Score::MOST_MEAN) <= *total)
    {
        return;
    }
    let next = picks.len();
    if next == alone.len() {
        let total = tables.joined(alone, picks);
        if total.is_finite() && best.as_ref().is_none_or(|(most, _)| total > *most) {
            *best = Some((total, picks.clone()));
        }
        return;
    }
    for pick in 0..alone[next].len() {
        let mut below = least.min(alone[next][pick].0);
        for (a, other) in picks.iter().enumerate() {
            below = below.min(tables.at(a, *other, next, pick).0);
        }
        picks.push(pick);
        deeper(alone, tables, picks, below, best);
        picks.pop();
    }
}

// From each of evenly spaced first picks: add the best next line, then change
// one line at a time while that helps.
fn from_many_starts(alone: &[Vec<(f64, f64)>], tables: &Tables) -> Option<Vec<usize>> {
    const STARTS: usize = 24;
    let count = alone[0].len();
    let ends: Vec<(f64, Vec<usize>)> = (0..STARTS.min(count))
        .into_par_iter()
        .map(|start| {
            let mut picks = vec![start * count / STARTS.min(count)];
            for next in 1..alone.len() {
                picks.push(0);
                exchange(alone, tables, &mut picks, next);
            }
            let mut total = tables.joined(alone, &picks);
            loop {
                for index in 0..picks.len() {
                    exchange(alone, tables, &mut picks, index);
                }
                let now = tables.joined(alone, &picks);
                if now <= total {
                    return (total, picks);
                }
                total = now;
            }
        })
        .collect();
    let mut best: Option<(f64, Vec<usize>)> = None;
    for one in ends {
        if one.0.is_finite() && best.as_ref().is_none_or(|best| one.0 > best.0) {
            best = Some(one);
        }
    }
    best.map(|(_, picks)| picks)
}

// The best pick for one line, the others as they are.
fn exchange(alone: &[Vec<(f64, f64)>], tables: &Tables, picks: &mut [usize], index: usize) {
    let mut best = (tables.joined(alone, picks), picks[index]);
    for pick in 0..alone[index].len() {
        picks[index] = pick;
        let total = tables.joined(alone, picks);
        if total > best.0 {
            best = (total, pick);
        }
    }
    picks[index] = best.1;
}

fn refine(field: &Field<'_>, mut hues: Vec<Hue>, mut score: Score) -> (Vec<Hue>, Score) {
    for (turn, part) in STEPS {
        // Each round looks around every line; few need more than ten.
        for _ in 0..20 {
            let before = score.total;
            for group in (0..hues.len()).filter(|group| !field.is_fixed(*group)) {
                for tried in around(hues[group], turn, part) {
                    let old = std::mem::replace(&mut hues[group], tried);
                    match field.score(&hues) {
                        Some(better) if better.total > score.total => score = better,
                        _ => hues[group] = old,
                    }
                }
            }
            if score.total <= before {
                break;
            }
        }
    }
    (hues, score)
}

fn around(hue: Hue, turn: f64, part: f64) -> [Hue; 8] {
    let at = |degrees: f64, saturation: f64, strength: f64| {
        let round = |value: f64, to: f64| (value * to).round() / to;
        Hue {
            hue: round((hue.hue + degrees).rem_euclid(360.0), 10.0),
            saturation: round((hue.saturation + saturation).clamp(0.4, 1.0), 100.0),
            strength: round((hue.strength + strength).clamp(0.35, 1.0), 100.0),
        }
    };
    [
        at(turn, 0.0, 0.0),
        at(-turn, 0.0, 0.0),
        at(0.0, part, 0.0),
        at(0.0, -part, 0.0),
        at(0.0, 0.0, part),
        at(0.0, 0.0, -part),
        at(turn, 0.0, -part),
        at(-turn, 0.0, -part),
    ]
}
