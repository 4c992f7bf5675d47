//! Stars of a picture and rows of a catalogue, laid on each other on the sky.
//!
//! Both are projected onto the plane that touches the sky at the picture's
//! middle. The coordinates of the header may be off by a common shift: every
//! pair of a star and a row votes for its difference, and the fullest cell of
//! votes wins if chance would hardly fill it (Poisson, one in a thousand over
//! all cells).

use std::ops::ControlFlow;

use super::super::align::sky_grid::place;
use super::super::frame::Size;
use super::super::header::Header;
use super::robust::median;
use super::{BalanceError, CatalogueStar, Refusal};

/// Stars that vote, the brightest.
const VOTERS: usize = 1500;

/// Of them between two words with the caller.
const VOTERS_AT_ONCE: usize = 64;

/// Chance fills the winning cell in no more than this share of fields.
const CHANCE: f64 = 1e-3;

/// The picture on the sky, seen from its middle.
pub(super) struct Chart<'a> {
    header: &'a Header,
    /// Unit vectors to the right ascension, the declination and the middle.
    axes: [[f64; 3]; 3],
    /// The middle's right ascension and declination, degrees.
    pub middle: [f64; 2],
    /// Degrees along a pixel.
    pub scale_deg: f64,
    /// From the middle to the farthest corner, degrees on the plane.
    pub radius_deg: f64,
}

fn direction([right_ascension, declination]: [f64; 2]) -> [f64; 3] {
    let (a, d) = (right_ascension.to_radians(), declination.to_radians());
    let across = libm::cos(d);
    [across * libm::cos(a), across * libm::sin(a), libm::sin(d)]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

impl<'a> Chart<'a> {
    pub fn new(header: &'a Header, size: Size) -> Result<Self, BalanceError> {
        let none = |what: &str| BalanceError::NoWcs(what.to_owned());
        let center = [
            size.width as f64 / 2.0 - 0.5,
            size.height as f64 / 2.0 - 0.5,
        ];
        let middle = place(header, center).ok_or_else(|| {
            none("the reference's header gives no sky coordinates that are understood")
        })?;
        let (a, d) = (middle[0].to_radians(), middle[1].to_radians());
        let (sin_a, cos_a, sin_d, cos_d) = (libm::sin(a), libm::cos(a), libm::sin(d), libm::cos(d));
        let mut chart = Self {
            header,
            axes: [
                [-sin_a, cos_a, 0.0],
                [-sin_d * cos_a, -sin_d * sin_a, cos_d],
                direction(middle),
            ],
            middle,
            scale_deg: 1.0,
            radius_deg: 0.0,
        };
        let ends = || none("its sky coordinates end within the picture");
        let length = |[x, y]: [f64; 2]| (x * x + y * y).sqrt();
        let next = chart
            .of_pixel([center[0] + 1.0, center[1]])
            .ok_or_else(ends)?;
        chart.scale_deg = length(next);
        for x in [-0.5, size.width as f64 - 0.5] {
            for y in [-0.5, size.height as f64 - 0.5] {
                let corner = chart.of_pixel([x, y]).ok_or_else(ends)?;
                chart.radius_deg = chart.radius_deg.max(length(corner));
            }
        }
        Ok(chart)
    }

    /// A pixel position on the plane, degrees.
    pub fn of_pixel(&self, position: [f64; 2]) -> Option<[f64; 2]> {
        self.of_sky(place(self.header, position)?)
    }

    /// Right ascension and declination on the plane, degrees; None on the far
    /// half of the sky.
    pub fn of_sky(&self, sky: [f64; 2]) -> Option<[f64; 2]> {
        let there = direction(sky);
        let [x, y, up] = self.axes.map(|axis| dot(axis, there));
        (up > 0.05).then(|| [(x / up).to_degrees(), (y / up).to_degrees()])
    }
}

/// A catalogue laid on some stars.
pub(super) struct Laid {
    /// For each star the number of its row in the catalogue.
    pub rows: Vec<Result<usize, Refusal>>,
    /// The common shift, px.
    pub moved_px: f64,
}

/// Rows of a catalogue between two words with the caller.
const ROWS_AT_ONCE: usize = 1 << 16;

/// Rows near the picture on the plane, rising in x: place and number. Rows of
/// the very same place and colours are one, the first of them.
fn near(
    chart: &Chart<'_>,
    catalogue: &[CatalogueStar],
    search_deg: f64,
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Vec<([f64; 2], usize)>, BalanceError> {
    if catalogue.is_empty() {
        return Err(BalanceError::EmptyCatalogue);
    }
    let reach = chart.radius_deg + search_deg;
    let mut rows = Vec::new();
    let mut sum = [0.0; 3];
    for (number, star) in catalogue.iter().enumerate() {
        if number % ROWS_AT_ONCE == 0 && tick(number, catalogue.len()).is_break() {
            return Err(BalanceError::Stopped);
        }
        let sky = [star.right_ascension_deg, star.declination_deg];
        let there = direction(sky);
        for (sum, part) in sum.iter_mut().zip(there) {
            *sum += part;
        }
        if let Some([x, y]) = chart.of_sky(sky)
            && x * x + y * y <= reach * reach
        {
            rows.push(([x, y], number));
        }
    }
    if rows.is_empty() {
        let [x, y, z] = sum;
        let across = (x * x + y * y).sqrt();
        let middle = [
            super::super::num::exact::angle_deg(y, x),
            libm::atan2(z, across).to_degrees(),
        ];
        let cosine = dot(direction(middle), chart.axes[2]).clamp(-1.0, 1.0);
        return Err(BalanceError::AnotherField {
            catalogue: middle,
            picture: chart.middle,
            apart_deg: libm::acos(cosine).to_degrees(),
        });
    }
    rows.sort_by(|a, b| {
        let [x, y] = [0, 1].map(|axis: usize| a.0[axis].total_cmp(&b.0[axis]));
        x.then(y).then(a.1.cmp(&b.1))
    });
    rows.dedup_by(|later, first| later.0 == first.0 && catalogue[later.1] == catalogue[first.1]);
    Ok(rows)
}

/// Rows within a square about a place.
fn about(
    rows: &[([f64; 2], usize)],
    [x, y]: [f64; 2],
    reach: f64,
) -> impl Iterator<Item = ([f64; 2], usize)> + '_ {
    let first = rows.partition_point(|row| row.0[0] < x - reach);
    rows[first..]
        .iter()
        .take_while(move |row| row.0[0] <= x + reach)
        .filter(move |row| (row.0[1] - y).abs() <= reach)
        .copied()
}

/// Lays the catalogue on the stars at `places` (px). `voters` are all stars of
/// the picture, the brightest first. A row belongs to a star within `radius_px`
/// after the shift, which is sought up to `search_px`. `tick` hears what is done,
/// of how much, and may break off.
pub(super) fn lay(
    chart: &Chart<'_>,
    catalogue: &[CatalogueStar],
    voters: &[[f64; 2]],
    places: &[[f64; 2]],
    [radius_px, search_px]: [f64; 2],
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Laid, BalanceError> {
    let radius = radius_px * chart.scale_deg;
    let search = search_px.max(radius_px) * chart.scale_deg;
    let rows = near(chart, catalogue, search, tick)?;
    let stars: Vec<[f64; 2]> = voters
        .iter()
        .take(VOTERS)
        .filter_map(|place| chart.of_pixel(*place))
        .collect();
    let mut differences = Vec::new();
    for (index, star) in stars.iter().enumerate() {
        if index % VOTERS_AT_ONCE == 0 && tick(index, stars.len()).is_break() {
            return Err(BalanceError::Stopped);
        }
        for (row, _) in about(&rows, *star, search) {
            differences.push([row[0] - star[0], row[1] - star[1]]);
        }
    }
    let mut shift = vote(&differences, radius, search).ok_or(BalanceError::NothingMatches {
        rows: rows.len(),
        search_px: search_px.max(radius_px),
        picture: chart.middle,
    })?;
    // The cells' middle may lie 1.4 radii off.
    for reach in [2.0 * radius, 1.5 * radius, radius, radius] {
        let within = |d: &&[f64; 2]| {
            let (u, v) = (d[0] - shift[0], d[1] - shift[1]);
            u * u + v * v <= reach * reach
        };
        let close: Vec<_> = differences.iter().filter(within).collect();
        let part = |i: usize| median(&close.iter().map(|d| d[i]).collect::<Vec<_>>());
        if !close.is_empty() {
            shift = [part(0), part(1)];
        }
    }
    let mut claims = std::collections::BTreeMap::new();
    let mut found: Vec<Result<usize, Refusal>> = Vec::with_capacity(places.len());
    for (index, place) in places.iter().enumerate() {
        let answer = chart.of_pixel(*place).map(|[x, y]| {
            let at = [x + shift[0], y + shift[1]];
            let mut within = about(&rows, at, radius).filter(|(row, _)| {
                let (u, v) = (row[0] - at[0], row[1] - at[1]);
                u * u + v * v <= radius * radius
            });
            match (within.next(), within.next()) {
                (Some((_, number)), None) => Ok(number),
                (None, _) => Err(Refusal::Unmatched),
                _ => Err(Refusal::Ambiguous),
            }
        });
        let answer = answer.unwrap_or(Err(Refusal::Unmatched));
        if let Ok(number) = answer {
            claims.entry(number).or_insert_with(Vec::new).push(index);
        }
        found.push(answer);
    }
    for claim in claims.values().filter(|claim| claim.len() > 1) {
        for index in claim {
            found[*index] = Err(Refusal::Ambiguous);
        }
    }
    Ok(Laid {
        rows: found,
        moved_px: (shift[0] * shift[0] + shift[1] * shift[1]).sqrt() / chart.scale_deg,
    })
}

/// The middle of the fullest 2 x 2 cells of side `cell`; None where chance may
/// fill them as well.
fn vote(differences: &[[f64; 2]], cell: f64, search: f64) -> Option<[f64; 2]> {
    let half = (libm::ceil(search / cell) as usize).clamp(1, 1000);
    let side = 2 * half + 1;
    let bin = |value: f64| libm::round(value / cell) as isize + half as isize;
    let mut votes = vec![0_u32; side * side];
    for [u, v] in differences {
        let (x, y) = (bin(*u), bin(*v));
        if (0..side as isize).contains(&x) && (0..side as isize).contains(&y) {
            votes[y as usize * side + x as usize] += 1;
        }
    }
    let mut best = (0, [0.0; 2]);
    for y in 0..side - 1 {
        for x in 0..side - 1 {
            let two = |row: usize| votes[row * side + x] + votes[row * side + x + 1];
            let sum = two(y) + two(y + 1);
            if sum > best.0 {
                let at = |i: usize| (i as f64 - half as f64 + 0.5) * cell;
                best = (sum, [at(x), at(y)]);
            }
        }
    }
    let (count, place) = best;
    let others = differences.len().saturating_sub(count as usize) as f64;
    let expected = 4.0 * others / (side * side) as f64;
    let chance = at_least(count, expected) * (side * side) as f64;
    (count >= 3 && chance < CHANCE).then_some(place)
}

/// The chance of `count` or more where `expected` are expected (Poisson).
fn at_least(count: u32, expected: f64) -> f64 {
    let expected = expected.max(1e-9);
    let mut log = -expected;
    for k in 1..=count {
        log += libm::log(expected / f64::from(k));
    }
    let (mut term, mut sum) = (libm::exp(log), 0.0);
    for k in count..count + 400 {
        sum += term;
        term *= expected / f64::from(k + 1);
    }
    if f64::from(count) <= expected {
        1.0
    } else {
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_poisson_tail_is_right() {
        // 1 - e^-2 (1 + 2 + 2 + 4/3) = 0.142877, by hand.
        assert!((at_least(4, 2.0) - 0.142_876_5).abs() < 1e-6);
        assert_eq!(at_least(1, 2.0), 1.0);
        assert!(at_least(5, 0.01) < 1e-12);
    }

    #[test]
    fn votes_need_more_than_chance() {
        let mut differences: Vec<[f64; 2]> = Vec::new();
        for i in 0..400 {
            let (a, b) = ((i * 37 % 80) as f64 - 40.0, (i * 53 % 79) as f64 - 39.0);
            differences.push([a, b]);
        }
        assert_eq!(vote(&differences, 2.0, 40.0), None);
        differences.extend([[11.2, -6.8]; 12]);
        let [u, v] = vote(&differences, 2.0, 40.0).expect("twelve agree");
        assert!((u - 11.2).abs() <= 2.0 && (v + 6.8).abs() <= 2.0, "{u} {v}");
    }
}
