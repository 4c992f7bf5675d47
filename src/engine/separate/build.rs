//! The image of a point from the picture's own bright stars.
//!
//! The profile comes from steps between rings: what the stars' rings differ by
//! beyond the image so far, over the stars' heights, taken as a weighted median
//! over the stars and summed up from outside. A star's background, and a slope
//! in it, cancel in each step. What is not round within a few widths goes into
//! a table of finer pitch than the pixels (after Anderson & King 2000, PASP
//! 112, 1360).

use rayon::prelude::*;

use super::fit::Spot;
use super::noise::{Noise, middle};
use super::pixels::{Pixels, Window};
use super::psf::{Psf, TABLE_FADE, TABLE_WIDTHS};

/// Stars that make the image, at most.
pub(super) const MOST: usize = 300;

/// Rings stop here, in widths.
const FARTHEST_WIDTHS: f64 = 60.0;

/// How the profile falls far out, at the least and the most.
const FALLS: (f64, f64) = (2.4, 4.0);

/// The stars that the image is made from: the highest that stand alone, full
/// ones among them for the sake of their wings. The numbers of the stars.
pub(super) fn chosen(spots: &[Spot], beside: &[Vec<u32>], noise: &Noise) -> (Vec<u32>, usize) {
    let alone = |index: &u32| {
        let own = &spots[*index as usize];
        let others = beside[*index as usize].iter();
        own.height > 25.0 * f64::from(noise.at(own.place[0] as f32, own.place[1] as f32))
            && others.map(|other| &spots[*other as usize]).all(|other| {
                other.height < 0.04 * own.height
                    || own.plateau_px > 0.0 && other.height < own.height
            })
    };
    let mut chosen: Vec<u32> = (0..spots.len() as u32).filter(alone).collect();
    chosen.sort_by(|a, b| {
        let height = |index: &u32| spots[*index as usize].height;
        height(b).total_cmp(&height(a)).then(a.cmp(b))
    });
    let full = |index: &u32| spots[*index as usize].plateau_px > 0.0;
    let (mut tops, mut good): (Vec<u32>, Vec<u32>) = chosen.into_iter().partition(full);
    tops.truncate(MOST / 4);
    good.truncate(MOST);
    let usable = good.len();
    good.extend(tops);
    (good, usable)
}

/// Radii between the rings, px: close within three widths, then ever wider.
fn radii(fwhm_px: f64) -> Vec<f64> {
    let mut radii = vec![0.0];
    let mut radius = (fwhm_px / 4.0).max(0.75);
    let step = radius;
    while radius < FARTHEST_WIDTHS * fwhm_px && radius < 300.0 {
        radii.push(radius);
        radius += step.max(0.16 * radius);
    }
    radii
}

/// What one star tells: the median of what is left in each ring over its
/// height, NaN where too little of the ring is there; and its weight.
fn rings(pixels: &Pixels<'_>, light: &[f32], spot: &Spot, radii: &[f64], far: f64) -> Vec<f32> {
    let [x0, y0] = spot.place;
    let window = Window::around(spot.place, far, pixels.width, pixels.height);
    let mut rings: Vec<Vec<f32>> = vec![Vec::new(); radii.len() - 1];
    for y in window.top..window.bottom() {
        let row = pixels.row(y);
        for x in window.left..window.right() {
            let (u, v) = (x as f64 - x0, y as f64 - y0);
            let distance = (u * u + v * v).sqrt();
            if distance >= far || !(row[x] < spot.full) {
                continue;
            }
            let ring = radii.partition_point(|radius| *radius <= distance) - 1;
            if let Some(ring) = rings.get_mut(ring) {
                ring.push(row[x] - light[y * pixels.width + x]);
            }
        }
    }
    let height = spot.height as f32;
    rings
        .into_iter()
        .zip(radii.windows(2))
        .map(|(values, ends)| {
            let area = std::f64::consts::PI * (ends[1] * ends[1] - ends[0] * ends[0]);
            if (values.len() as f64) < 0.6 * area
                || ends[0] < spot.plateau_px + 1.0 && spot.plateau_px > 0.0
            {
                return f32::NAN;
            }
            middle(values).map_or(f32::NAN, |value| value / height)
        })
        .collect()
}

/// The weighted median of (value, weight).
pub(super) fn weighted(mut values: Vec<(f32, f32)>) -> Option<f32> {
    values.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let half = 0.5 * values.iter().map(|(_, weight)| weight).sum::<f32>();
    let mut sum = 0.0;
    for (value, weight) in values {
        sum += weight;
        if sum >= half {
            return Some(value);
        }
    }
    None
}

/// Improves the profile by what the chosen stars' rings show beyond it.
pub(super) fn profile(
    psf: &mut Psf,
    pixels: &Pixels<'_>,
    light: &[f32],
    spots: &[Spot],
    chosen: &[u32],
    noise: &Noise,
) {
    let radii = radii(psf.fwhm_px);
    let count = radii.len() - 1;
    let middles: Vec<f64> = radii
        .windows(2)
        .map(|ends| 0.5 * (ends[0] + ends[1]))
        .collect();
    // Far out the image so far may say too little: it falls at most as r^-3.
    let hopeful = |spot: &Spot, radius: f64| {
        let near = 2.5 * psf.fwhm_px;
        let slow = if radius > near {
            libm::pow(near / radius, 3.0) * f64::from(psf.round(near as f32))
        } else {
            0.0
        };
        spot.height * slow.max(f64::from(psf.round(radius as f32)))
    };
    let told: Vec<(Vec<f32>, f32)> = chosen
        .par_iter()
        .map(|index| {
            let spot = &spots[*index as usize];
            let sigma = noise.at(spot.place[0] as f32, spot.place[1] as f32);
            let beyond = middles
                .iter()
                .position(|radius| hopeful(spot, *radius) < f64::from(sigma));
            let end = (beyond.unwrap_or(count) + 1).min(count);
            let mut rings = rings(pixels, light, spot, &radii, radii[end]);
            rings[end..].fill(f32::NAN);
            (rings, spot.height as f32 / sigma)
        })
        .collect();
    // Steps between rings, from the inside, as far as at least five stars tell.
    let mut steps = Vec::new();
    for ring in 0..count - 1 {
        let values: Vec<(f32, f32)> = told
            .iter()
            .map(|(rings, weight)| (rings[ring] - rings[ring + 1], *weight))
            .filter(|(step, weight)| step.is_finite() && *weight > 0.0)
            .collect();
        let enough = values.len() >= 5;
        match weighted(values).filter(|_| enough) {
            Some(step) => steps.push(f64::from(step)),
            None => break,
        }
    }
    if steps.len() < 4 {
        return;
    }
    let end = steps.len();
    let mut change = vec![0.0; end + 1];
    for ring in (0..end).rev() {
        change[ring] = change[ring + 1] + steps[ring];
    }
    let changed = |radius: f64| {
        let at = middles.partition_point(|middle| *middle <= radius);
        if at == 0 {
            return change[0];
        }
        if at > end {
            return change[end];
        }
        let (a, b) = (middles[at - 1], middles[at]);
        change[at - 1] + (change[at] - change[at - 1]) * (radius - a) / (b - a)
    };
    // The steps tell how the profile falls, the tail how high it lies: fitted
    // to the last rings that stand clear, it takes the place of the unknown 0.
    let last = middles[end];
    let total = |radius: f64| f64::from(psf.round(radius as f32)) + changed(radius);
    let (fall, lift) = tail(&middles[..=end], total);
    psf.change_profile(last, fall, |radius| changed(radius) + lift);
}

/// How the profile falls beyond its last ring, and by how much the whole lies
/// too low: least squares of `value + lift = height * radius^-fall` over the
/// outer half of the rings, in the steps between them.
fn tail(middles: &[f64], total: impl Fn(f64) -> f64) -> (f64, f64) {
    let last = middles.len() - 1;
    let first = (middles.len() / 2)
        .max(middles.len().saturating_sub(9))
        .min(last - 2);
    let end = middles[last];
    let mut best = (f64::INFINITY, FALLS.1, 0.0);
    let mut fall = FALLS.0;
    while fall <= FALLS.1 {
        let form = |radius: f64| libm::pow(end / radius, fall);
        let (mut up, mut down) = (0.0, 0.0);
        let steps: Vec<(f64, f64)> = middles[first..]
            .windows(2)
            .map(|ends| {
                (
                    form(ends[0]) - form(ends[1]),
                    total(ends[0]) - total(ends[1]),
                )
            })
            .collect();
        for (form, step) in &steps {
            // Relative errors: steps far out are as good as near ones.
            let weight = 1.0 / (form * form);
            up += weight * form * step;
            down += weight * form * form;
        }
        let height = (up / down).max(0.0);
        let error: f64 = steps
            .iter()
            .map(|(form, step)| {
                let off = (step - height * form) / form;
                off * off
            })
            .sum::<f64>()
            / (height * height).max(1e-30);
        if error < best.0 {
            best = (error, fall, height - total(end));
        }
        fall += 0.1;
    }
    (best.1, best.2)
}

/// Puts what is not round about the image into its table.
pub(super) fn table(
    psf: &mut Psf,
    pixels: &Pixels<'_>,
    light: &[f32],
    spots: &[Spot],
    chosen: &[u32],
    noise: &Noise,
) {
    let side = psf.side();
    let (spacing, half) = (psf.spacing_px(), (side / 2) as f64);
    let reach = TABLE_WIDTHS * psf.fwhm_px;
    // Every star's own sums, joined in the list's order.
    let sums: Vec<Vec<[f64; 2]>> = chosen
        .par_chunks(8)
        .map(|part| {
            let mut sums = vec![[0.0; 2]; side * side];
            for index in part {
                add(
                    &mut sums,
                    psf,
                    pixels,
                    light,
                    &spots[*index as usize],
                    noise,
                );
            }
            sums
        })
        .collect();
    let mut change = vec![0.0; side * side];
    for (node, change) in change.iter_mut().enumerate() {
        let (mut sum, mut weight) = (0.0, 0.0);
        for part in &sums {
            sum += part[node][0];
            weight += part[node][1];
        }
        let (u, v) = ((node % side) as f64 - half, (node / side) as f64 - half);
        let distance = spacing * (u * u + v * v).sqrt();
        let fade = ((reach - distance) / (TABLE_FADE * reach)).clamp(0.0, 1.0);
        if weight > 0.0 {
            *change = fade * fade * (3.0 - 2.0 * fade) * sum / weight;
        }
    }
    psf.change_table(&change);
}

fn add(
    sums: &mut [[f64; 2]],
    psf: &Psf,
    pixels: &Pixels<'_>,
    light: &[f32],
    spot: &Spot,
    noise: &Noise,
) {
    let side = psf.side();
    let (spacing, half) = (psf.spacing_px(), (side / 2) as f64);
    let reach = TABLE_WIDTHS * psf.fwhm_px;
    let window = Window::around(spot.place, reach, pixels.width, pixels.height);
    let sigma = f64::from(noise.at(spot.place[0] as f32, spot.place[1] as f32));
    for y in window.top..window.bottom() {
        for x in window.left..window.right() {
            let (u, v) = (x as f64 - spot.place[0], y as f64 - spot.place[1]);
            let value = pixels.row(y)[x];
            if !(value < spot.full) || u * u + v * v > reach * reach {
                continue;
            }
            let here = f64::from(light[y * pixels.width + x]);
            let level = spot.background[0] + spot.background[1] * u + spot.background[2] * v;
            let left = f64::from(value) - here - level;
            // Companions and rays are no part of the image.
            if left.abs() > 5.0 * sigma + 0.2 * here.abs() {
                continue;
            }
            let error = (sigma * sigma + 0.02 * here * 0.02 * here) / (spot.height * spot.height);
            let (weight, left) = (1.0 / error, left / spot.height);
            let (i, j) = (u / spacing + half, v / spacing + half);
            let (column, row) = (libm::floor(i), libm::floor(j));
            let (a, b) = (i - column, j - row);
            for (du, dv, share) in [
                (0, 0, (1.0 - a) * (1.0 - b)),
                (1, 0, a * (1.0 - b)),
                (0, 1, (1.0 - a) * b),
                (1, 1, a * b),
            ] {
                let (column, row) = (column as usize + du, row as usize + dv);
                if column < side && row < side {
                    let sum = &mut sums[row * side + column];
                    sum[0] += weight * share * left;
                    sum[1] += weight * share;
                }
            }
        }
    }
}
