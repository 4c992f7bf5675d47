//! How fast starlight falls from ring to ring around the stars.
//!
//! A star's background, and a slope in it, cancel in each step between rings.
//! How rough the picture is around a star tells how much its steps count.

use rayon::prelude::*;

use super::fit::Spot;
use super::noise::{Noise, middle};
use super::pixels::{Pixels, Window};
use super::psf::Psf;

/// Rings stop here, in widths.
const FARTHEST_WIDTHS: f64 = 60.0;

/// Rings are used out to where a star's light may be so many sigma.
const TELLS: f64 = 0.4;

/// Fewer stars tell nothing of a step.
const FEWEST: usize = 3;

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

/// What one star tells of a ring: the median of what is left over its height,
/// NaN where too little of the ring is there; and that median's error.
#[derive(Clone, Copy)]
struct Told {
    left: f32,
    error: f32,
}

const NOTHING: Told = Told {
    left: f32::NAN,
    error: f32::INFINITY,
};

/// Parts of a ring whose scatter tells how rough the picture is there.
const SECTORS: usize = 8;

fn rings(pixels: &Pixels<'_>, light: &[f32], spot: &Spot, radii: &[f64], far: f64) -> Vec<Told> {
    let [x0, y0] = spot.place;
    let window = Window::around(spot.place, far, pixels.width, pixels.height);
    let mut rings: Vec<Vec<(u8, f32)>> = vec![Vec::new(); radii.len() - 1];
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
                let sector =
                    u8::from(u > 0.0) + 2 * u8::from(v > 0.0) + 4 * u8::from(u.abs() > v.abs());
                ring.push((sector, row[x] - light[y * pixels.width + x]));
            }
        }
    }
    rings
        .into_iter()
        .zip(radii.windows(2))
        .map(|(values, ends)| {
            let area = std::f64::consts::PI * (ends[1] * ends[1] - ends[0] * ends[0]);
            if (values.len() as f64) < 0.6 * area
                || ends[0] < spot.plateau_px + 1.0 && spot.plateau_px > 0.0
            {
                return NOTHING;
            }
            told(&values, 1.0 / spot.height as f32)
        })
        .collect()
}

fn told(values: &[(u8, f32)], per: f32) -> Told {
    let of = |keep: &dyn Fn(u8) -> bool| {
        let kept = values.iter().filter(|value| keep(value.0));
        middle(kept.map(|value| value.1).collect())
    };
    let Some(left) = of(&|_| true) else {
        return NOTHING;
    };
    let spread = middle(values.iter().map(|value| (value.1 - left).abs()).collect());
    let count = values.len() as f32;
    // 1.4826: from the median of what is off to sigma; 1.25: a median's error.
    let mut error = 1.25 * 1.4826 * spread.unwrap_or(0.0) / count.sqrt();
    if values.len() >= 8 * SECTORS {
        let off = (0..SECTORS as u8).filter_map(|sector| of(&|other| other == sector));
        let off = middle(off.map(|value| (value - left).abs()).collect());
        error = error.max(1.4826 * off.unwrap_or(0.0) / (SECTORS as f32).sqrt());
    }
    Told {
        left: left * per,
        error: error * per,
    }
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

/// By how much the light falls between two rings beyond what the image says, of
/// a star of height 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    /// The rings' middles, px.
    pub ends: [f64; 2],
    pub fall: f64,
    /// Its error.
    pub error: f64,
}

/// The steps from ring to ring, from the inside, as far as at least five stars
/// tell: weighted medians over the chosen stars.
pub(super) fn steps(
    psf: &Psf,
    pixels: &Pixels<'_>,
    light: &[f32],
    spots: &[Spot],
    chosen: &[u32],
    noise: &Noise,
) -> Vec<Step> {
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
    let told: Vec<Vec<Told>> = chosen
        .par_iter()
        .map(|index| {
            let spot = &spots[*index as usize];
            if !(spot.height > 0.0) {
                return vec![NOTHING; count];
            }
            let sigma = noise.at(spot.place[0] as f32, spot.place[1] as f32);
            let beyond = middles
                .iter()
                .position(|radius| hopeful(spot, *radius) < TELLS * f64::from(sigma));
            let end = (beyond.unwrap_or(count) + 1).min(count);
            let mut rings = rings(pixels, light, spot, &radii, radii[end]);
            rings[end..].fill(NOTHING);
            rings
        })
        .collect();
    let mut steps = Vec::new();
    for ring in 0..count - 1 {
        let values: Vec<(f32, f32)> = told
            .iter()
            .map(|rings| {
                let (a, b) = (rings[ring], rings[ring + 1]);
                let error = (a.error * a.error + b.error * b.error).sqrt();
                (a.left - b.left, 1.0 / error.max(1e-6))
            })
            .filter(|(step, weight)| step.is_finite() && *weight > 0.0)
            .collect();
        if values.len() < FEWEST {
            break;
        }
        // 1.25: a median's error over a mean's.
        let sure: f64 = values
            .iter()
            .map(|(_, weight)| f64::from(weight * weight))
            .sum();
        let Some(fall) = weighted(values) else {
            break;
        };
        steps.push(Step {
            ends: [middles[ring], middles[ring + 1]],
            fall: f64::from(fall),
            error: 1.25 / sure.sqrt(),
        });
    }
    steps
}
