//! The image of a point from the picture's own bright stars: its core.
//!
//! A profile is fitted to how the light falls from ring to ring. What the true
//! image has beside it within a few widths goes into a table of finer pitch
//! than the pixels (after Anderson & King 2000, PASP 112, 1360).

use rayon::prelude::*;

use super::fit::Spot;
use super::noise::Noise;
use super::pixels::{Pixels, Window};
use super::psf::{Psf, TABLE_FADE, TABLE_WIDTHS};
use super::rings::{Step, steps};

/// Stars that make the image, at most.
pub(super) const MOST: usize = 300;

/// The core's profile is fitted out to here, in widths.
const CORE_WIDTHS: f64 = 2.0;

/// So much of what a star's fit leaves around it is not told apart by the level and
/// slopes that its part of the table is taken above.
const ROUGH: f64 = 0.7;

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

/// A Moffat profile after the steps between rings within a few widths: the
/// core's width and how it falls, by least squares.
pub(super) fn core(
    psf: &Psf,
    pixels: &Pixels<'_>,
    light: &[f32],
    spots: &[Spot],
    chosen: &[u32],
    noise: &Noise,
) -> Psf {
    let round = |radius: f64| f64::from(psf.round(radius as f32));
    let seen: Vec<(f64, f64, f64)> = steps(psf, pixels, light, spots, chosen, noise)
        .into_iter()
        .take_while(|step| step.ends[1] < CORE_WIDTHS * psf.fwhm_px)
        .map(
            |Step {
                 ends: [near, far],
                 fall,
                 ..
             }| (near, far, fall + round(near) - round(far)),
        )
        .collect();
    if seen.len() < 4 {
        return psf.clone();
    }
    let mut best = (f64::INFINITY, psf.fwhm_px, 3.0);
    for wide in -20..=20 {
        let fwhm_px = psf.fwhm_px * (1.0 + 0.015 * f64::from(wide));
        for steep in 0..24 {
            let beta = 1.5 * libm::pow(1.08, f64::from(steep));
            let alpha = fwhm_px / (2.0 * (libm::pow(2.0, 1.0 / beta) - 1.0).sqrt());
            let form = |r: f64| libm::pow(1.0 + r * r / (alpha * alpha), -beta);
            let (mut up, mut down) = (0.0, 0.0);
            let parts: Vec<(f64, f64)> = seen
                .iter()
                .map(|(near, far, step)| {
                    let per = 1.0 / (0.02 + form(*near));
                    (per * (form(*near) - form(*far)), per * step)
                })
                .collect();
            for (form, step) in &parts {
                up += form * step;
                down += form * form;
            }
            let height = up / down;
            let error: f64 = parts
                .iter()
                .map(|(form, step)| (step / height - form) * (step / height - form))
                .sum();
            if error < best.0 {
                best = (error, fwhm_px, beta);
            }
        }
    }
    Psf::moffat(best.1, best.2)
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
    if !(spot.height > 0.0) {
        return;
    }
    let side = psf.side();
    let (spacing, half) = (psf.spacing_px(), (side / 2) as f64);
    let reach = TABLE_WIDTHS * psf.fwhm_px;
    let window = Window::around(spot.place, reach, pixels.width, pixels.height);
    let sigma = f64::from(noise.at(spot.place[0] as f32, spot.place[1] as f32));
    let ground = sigma.max(ROUGH * spot.rough);
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
            let error = (ground * ground + 0.02 * here * 0.02 * here) / (spot.height * spot.height);
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
