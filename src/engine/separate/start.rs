//! First looks at the listed stars: how high, how wide, cut off or not.

use rayon::prelude::*;

use super::fit::Spot;
use super::noise::{Noise, middle};
use super::pixels::{Pixels, Window};
use crate::engine::align::stars::Star;

/// So many pixels at the very top are no chance.
const FULL: usize = 4;

/// A plateau with more pixels than this is no star's.
const MOST: usize = 40_000;

/// Where the detector is full, told from the picture: the highest value, where
/// several pixels have exactly it, some of them side by side, far above the rest.
pub(super) fn ceiling(pixels: &Pixels<'_>, noise: &Noise) -> Option<f64> {
    let rows = |row: &[f32]| row.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let top = pixels
        .values
        .par_chunks(pixels.width)
        .map(rows)
        .reduce(|| f32::NEG_INFINITY, f32::max);
    let sample = pixels.values.iter().step_by(61).copied();
    let typical = middle(sample.filter(|value| !value.is_nan()).collect())?;
    if !(top.is_finite() && top > typical + 50.0 * noise.typical) {
        return None;
    }
    let (mut count, mut pairs) = (0, 0);
    for row in pixels.values.chunks(pixels.width) {
        count += row.iter().filter(|value| **value == top).count();
        let both = |pair: &&[f32]| pair[0] == top && pair[1] == top;
        pairs += row.windows(2).filter(both).count();
    }
    (count >= FULL && pairs > 0).then_some(f64::from(top))
}

/// First looks at all listed stars, in the list's order. Those that lie outside
/// the picture, or on no data, stay at height 0.
pub(super) fn spots(
    pixels: &Pixels<'_>,
    noise: &Noise,
    stars: &[Star],
    fwhm_px: f64,
    ceiling: Option<f64>,
) -> Vec<Spot> {
    stars
        .par_iter()
        .map(|star| spot(pixels, noise, star, fwhm_px, ceiling))
        .collect()
}

fn spot(
    pixels: &Pixels<'_>,
    noise: &Noise,
    star: &Star,
    fwhm_px: f64,
    ceiling: Option<f64>,
) -> Spot {
    let mut spot = Spot {
        listed: true,
        ..Spot::new([star.x, star.y], 0.0, f32::INFINITY)
    };
    if !(star.x.is_finite() && star.y.is_finite()) {
        return spot;
    }
    let (x, y) = (libm::round(star.x) as i64, libm::round(star.y) as i64);
    let mut top = f32::NEG_INFINITY;
    for v in -1..=1 {
        for u in -1..=1 {
            top = top.max(pixels.at(x + u, y + v));
        }
    }
    if !top.is_finite() {
        return spot;
    }
    let wide = if star.saturated { star.fwhm_px } else { 0.0 };
    let Some(sky) = ring(
        pixels,
        spot.place,
        (2.0 * fwhm_px).max(0.8 * wide),
        fwhm_px + 2.0,
    ) else {
        return spot;
    };
    spot.height = f64::from(top - sky).max(0.0);
    spot.background[0] = f64::from(sky);
    let sigma = noise.at(star.x as f32, star.y as f32);
    let given = ceiling.map_or(f32::INFINITY, |ceiling| {
        (ceiling - 0.002 * (ceiling - f64::from(sky)).abs()) as f32
    });
    // Cut off before the frames were averaged: the top has its own level.
    let flat = star.saturated && top < given;
    let full = if flat {
        sky + 0.85 * (top - sky)
    } else {
        given
    };
    if top >= full && top > sky + 20.0 * sigma {
        spot.full = full;
        if let Some((middle, radius)) = plateau(pixels, (x, y), full) {
            spot.plateau_px = radius;
            if !flat {
                spot.place = middle;
            }
            // A profile that is full out to here is some times as high.
            let beyond = 2.0 * radius / fwhm_px;
            spot.height *= 1.0 + beyond * beyond;
        }
    }
    spot
}

/// The lower middle of a ring's pixels.
fn ring(pixels: &Pixels<'_>, place: [f64; 2], inner: f64, wide: f64) -> Option<f32> {
    let outer = inner + wide;
    let window = Window::around(place, outer, pixels.width, pixels.height);
    let mut values = Vec::with_capacity(256);
    for y in window.top..window.bottom() {
        for x in window.left..window.right() {
            let (u, v) = (x as f64 - place[0], y as f64 - place[1]);
            let square = u * u + v * v;
            let value = pixels.row(y)[x];
            if square >= inner * inner && square <= outer * outer && !value.is_nan() {
                values.push(value);
            }
        }
    }
    middle(values)
}

/// Middle, and radius of the smallest disc around it, of the full pixels that
/// hang together near a place.
fn plateau(pixels: &Pixels<'_>, (x, y): (i64, i64), full: f32) -> Option<([f64; 2], f64)> {
    let start = (-2..=2)
        .flat_map(|v| (-2..=2).map(move |u| (y + v, x + u)))
        .find(|(row, column)| pixels.at(*column, *row) >= full)?;
    let mut seen = std::collections::BTreeSet::from([start]);
    let mut open = vec![start];
    while let Some((row, column)) = open.pop() {
        if seen.len() >= MOST {
            return None;
        }
        for v in row - 1..=row + 1 {
            for u in column - 1..=column + 1 {
                if pixels.at(u, v) >= full && seen.insert((v, u)) {
                    open.push((v, u));
                }
            }
        }
    }
    let count = seen.len() as f64;
    let mut sum = [0.0; 2];
    for (row, column) in &seen {
        sum[0] += *column as f64;
        sum[1] += *row as f64;
    }
    let center = sum.map(|sum| sum / count);
    let farthest = seen
        .iter()
        .map(|(row, column)| {
            let (u, v) = (*column as f64 - center[0], *row as f64 - center[1]);
            u * u + v * v
        })
        .fold(0.0, f64::max);
    Some((center, farthest.sqrt() + 0.5))
}

/// How wide the stars of a list are in this picture: the median of the widths
/// at half the height along four axes, px. None where fewer than three of the
/// brightest tell.
pub(super) fn width(pixels: &Pixels<'_>, spots: &[Spot], noise: &Noise, known: f64) -> Option<f64> {
    let mut bright: Vec<&Spot> = spots
        .iter()
        .filter(|spot| spot.plateau_px == 0.0 && spot.height > 0.0)
        .filter(|spot| spot.height > 15.0 * f64::from(noise.typical))
        .collect();
    bright.sort_by(|a, b| b.height.total_cmp(&a.height));
    bright.truncate(400);
    let widths: Vec<f32> = bright
        .par_iter()
        .filter_map(|spot| half_width(pixels, spot, 3.0 * known))
        .collect();
    if widths.len() < 3 {
        return None;
    }
    middle(widths).map(f64::from)
}

/// The mean over eight directions of where the light has fallen to half; twice.
fn half_width(pixels: &Pixels<'_>, spot: &Spot, most: f64) -> Option<f32> {
    let level = spot.background[0];
    let value = |x: f64, y: f64| {
        let (i, j) = (libm::floor(x), libm::floor(y));
        let (a, b) = (x - i, y - j);
        let at = |u: i64, v: i64| f64::from(pixels.at(i as i64 + u, j as i64 + v)) - level;
        (1.0 - b) * ((1.0 - a) * at(0, 0) + a * at(1, 0))
            + b * ((1.0 - a) * at(0, 1) + a * at(1, 1))
    };
    let [x, y] = spot.place;
    let half = 0.5 * spot.height;
    let c = std::f64::consts::FRAC_1_SQRT_2;
    let mut sum = 0.0;
    for (u, v) in [
        (1.0, 0.0),
        (c, c),
        (0.0, 1.0),
        (-c, c),
        (-1.0, 0.0),
        (-c, -c),
        (0.0, -1.0),
        (c, -c),
    ] {
        let (mut distance, mut last) = (0.0, spot.height);
        loop {
            distance += 0.25;
            let here = value(x + u * distance, y + v * distance);
            if here.is_nan() || distance > most {
                return None;
            }
            if here < half {
                sum += distance - 0.25 * (half - here) / (last - here).max(1e-9);
                break;
            }
            last = here;
        }
    }
    Some((2.0 * sum / 8.0) as f32)
}
