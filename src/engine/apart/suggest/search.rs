//! The search: every combination of a coarse grid (or, with many lines, the
//! best from many fixed starts), then ever smaller steps from there. Nothing
//! in it is left to chance: the same data give the same colours.

use std::sync::Arc;

use rayon::prelude::*;

use super::score::{Field, Hue, Score, along, nearest};
use crate::engine::apart::{Seen, TONES};
use crate::engine::color::vision::Vision;

const HUES: usize = 36;

const SATURATIONS: [f64; 2] = [1.0, 0.65];

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

/// So many of the best starts are refined.
const REFINED: usize = 12;

// What the grid offers a line.
struct Offer {
    hue: Hue,
    along: f64,
    seen: Seen,
}

// A line that may take another colour; lines with the same part in the
// brightness share their offers.
struct Free {
    group: usize,
    offers: Arc<Vec<Offer>>,
}

/// The best colours for the free groups of a field; the fixed ones keep
/// theirs. None where no offer fits.
pub(super) fn search(field: &Field<'_>, seeds: &[Vec<Hue>]) -> Option<(Vec<Hue>, Score)> {
    let mut found = coarse(field);
    found.extend(seeds.iter().filter_map(|seed| {
        let score = field.score(seed)?;
        Some((seed.clone(), score))
    }));
    // The sort keeps the order of equals.
    found.sort_by(|a, b| b.1.total.total_cmp(&a.1.total));
    found.truncate(REFINED);
    let refined: Vec<(Vec<Hue>, Score)> = found
        .into_par_iter()
        .map(|(hues, score)| refine(field, hues, score))
        .collect();
    first_of_best(refined.into_iter().map(|one| (one.1.total, one))).map(|(_, one)| one)
}

fn first_of_best<T>(all: impl Iterator<Item = (f64, T)>) -> Option<(f64, T)> {
    let mut best: Option<(f64, T)> = None;
    for one in all {
        if one.0.is_finite() && best.as_ref().is_none_or(|best| one.0 > best.0) {
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

fn offers(field: &Field<'_>, share: f64) -> Vec<Offer> {
    grid()
        .map(|hue| Offer {
            hue,
            along: along(hue.vector()),
            seen: field.alone.seen(hue.vector(), share),
        })
        .filter(|offer| offer.seen.lightness() >= LEAST_LIGHTNESS)
        .collect()
}

fn coarse(field: &Field<'_>) -> Vec<(Vec<Hue>, Score)> {
    let mut free: Vec<Free> = Vec::new();
    for (group, line) in field.groups.iter().enumerate() {
        if line.fixed.is_some() {
            continue;
        }
        let same = free
            .iter()
            .find(|other| field.groups[other.group].share == line.share);
        let offers = match same {
            Some(other) => Arc::clone(&other.offers),
            None => Arc::new(offers(field, line.share)),
        };
        free.push(Free { group, offers });
    }
    if free.is_empty() || free.iter().any(|free| free.offers.is_empty()) {
        return Vec::new();
    }
    // How well each offer goes with the fixed lines, and with each offer of
    // the others: least and mean.
    let alone: Vec<Vec<(f64, f64)>> = free
        .iter()
        .map(|one| {
            one.offers
                .par_iter()
                .map(|offer| field.with_fixed(one.group, offer.along, &offer.seen))
                .collect()
        })
        .collect();
    let tables = Tables::new(field, &free);
    let mut picked = if free.len() <= EXHAUSTIVE {
        every(&alone, &tables)
    } else {
        from_many_starts(&alone, &tables)
    };
    picked.sort_by(|a, b| b.0.total_cmp(&a.0));
    picked.truncate(REFINED);
    let colored = |(_, picks): (f64, Vec<usize>)| {
        let mut hues = field.fixed_or_any();
        for (one, pick) in free.iter().zip(picks) {
            hues[one.group] = one.offers[pick].hue;
        }
        let score = field.score(&hues)?;
        Some((hues, score))
    };
    picked.into_iter().filter_map(colored).collect()
}

// For every two free lines, each offer of one against each of the other.
struct Tables {
    // Of all lines, free or not.
    pairs: f64,
    lengths: Vec<usize>,
    tables: Vec<Vec<(f32, f32)>>,
}

// By reader, for every two offers.
type Distances = Arc<Vec<[f32; Vision::ALL.len()]>>;

impl Tables {
    fn new(field: &Field<'_>, free: &[Free]) -> Self {
        // Distances are worked out once for pairs that ask for the same.
        let mut known: Vec<(usize, usize, [bool; TONES.len()], Distances)> = Vec::new();
        let mut tables = Vec::new();
        for (j, two) in free.iter().enumerate() {
            for one in &free[..j] {
                let meeting = *field.meeting(one.group, two.group);
                let place = |free: &Free| Arc::as_ptr(&free.offers) as usize;
                let key = (place(one), place(two), meeting.tones);
                let found = known
                    .iter()
                    .find(|known| (known.0, known.1, known.2) == key);
                let distances = match found {
                    Some((.., distances)) => Arc::clone(distances),
                    None => {
                        let made = Arc::new(distances(&one.offers, &two.offers, meeting.tones));
                        known.push((key.0, key.1, key.2, Arc::clone(&made)));
                        made
                    }
                };
                let of_two = two.offers.len();
                let weigh = |(index, distances): (usize, &[f32; Vision::ALL.len()])| {
                    let along = [
                        one.offers[index / of_two].along,
                        two.offers[index % of_two].along,
                    ];
                    if !field.in_order(one.group, along[0], two.group, along[1]) {
                        return (f32::NEG_INFINITY, 0.0);
                    }
                    let (least, mean) = meeting.weigh(distances.map(f64::from));
                    (least as f32, mean as f32)
                };
                tables.push(
                    distances
                        .par_iter()
                        .enumerate()
                        .map(|(i, d)| weigh((i, d)))
                        .collect(),
                );
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

// Every combination of up to three, the best for each first pick; what cannot
// win any more is left.
fn every(alone: &[Vec<(f64, f64)>], tables: &Tables) -> Vec<(f64, Vec<usize>)> {
    (0..alone[0].len())
        .into_par_iter()
        .filter_map(|first| {
            let mut best: Option<(f64, Vec<usize>)> = None;
            let mut picks = vec![first];
            deeper(alone, tables, &mut picks, alone[0][first].0, &mut best);
            best
        })
        .collect()
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
fn from_many_starts(alone: &[Vec<(f64, f64)>], tables: &Tables) -> Vec<(f64, Vec<usize>)> {
    const STARTS: usize = 24;
    let count = alone[0].len();
    let starts = STARTS.min(count);
    (0..starts)
        .into_par_iter()
        .map(|start| {
            let mut picks = vec![start * count / starts];
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
        .filter(|(total, _)| total.is_finite())
        .collect()
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

// The least over the tones that count, by reader.
fn distances(
    one: &[Offer],
    two: &[Offer],
    tones: [bool; TONES.len()],
) -> Vec<[f32; Vision::ALL.len()]> {
    one.par_iter()
        .flat_map_iter(|a| {
            two.iter()
                .map(move |b| nearest(&a.seen, &b.seen, tones).map(|distance| distance as f32))
        })
        .collect()
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
