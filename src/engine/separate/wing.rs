//! The image of a point from the picture's own bright stars: what reaches far.
//!
//! Rings tell how the light falls from one to the next. Where they do not tell
//! well any more, and beyond the last of them, two forms that are fitted to the
//! outer ones carry on: the core's own fall, and an aureole of scattered light
//! that falls as the cube of the distance.

use super::fit::Spot;
use super::noise::Noise;
use super::pixels::Pixels;
use super::psf::Psf;
use super::rings::{Step, steps};

/// Rings tell of the wing from here on, in widths; the forms are fitted from where
/// the profile holds all that is round of the image (see [`Psf::round_out`]).
const WING_WIDTHS: f64 = 1.0;
const FORM_WIDTHS: f64 = 2.0;

/// How the core falls: Moffat's exponent, at the least and the most.
const STEEP: (f64, f64) = (2.0, 5.0);

/// The aureole is flat within so many widths.
const AUREOLE_WIDTHS: f64 = 3.5;

/// An aureole that does not stand so far out of its error is none.
const SURE: f64 = 1.0;

/// Steps whose errors are larger than this part of them are the forms'.
const TELLS: f64 = 0.3;

/// No step is known better than this part of it.
const BEST: f64 = 0.02;

/// Two forms and their heights.
struct Forms {
    alpha: f64,
    beta: f64,
    wide: f64,
    core: f64,
    aureole: f64,
}

impl Forms {
    fn new(fwhm_px: f64, beta: f64) -> Self {
        Self {
            alpha: fwhm_px / (2.0 * (libm::pow(2.0, 1.0 / beta) - 1.0).sqrt()),
            beta,
            wide: AUREOLE_WIDTHS * fwhm_px,
            core: 1.0,
            aureole: 0.0,
        }
    }

    fn each(&self, radius: f64) -> [f64; 2] {
        let square = radius * radius;
        [
            libm::pow(1.0 + square / (self.alpha * self.alpha), -self.beta),
            libm::pow(1.0 + square / (self.wide * self.wide), -1.5),
        ]
    }

    fn at(&self, radius: f64) -> f64 {
        let [core, aureole] = self.each(radius);
        self.core * core + self.aureole * aureole
    }

    /// Least squares of both heights in the falls between rings; what is left.
    fn fit(&mut self, falls: &[Step]) -> f64 {
        let mut sums = [0.0; 5];
        for Step { ends, fall, error } in falls {
            let error = error.max(BEST * fall.abs());
            let [near, far] = ends.map(|radius| self.each(radius));
            let [a, b, fall] = [near[0] - far[0], near[1] - far[1], *fall].map(|part| part / error);
            for (sum, part) in sums
                .iter_mut()
                .zip([a * a, a * b, b * b, a * fall, b * fall])
            {
                *sum += part;
            }
        }
        let [aa, ab, bb, af, bf] = sums;
        let both = aa * bb - ab * ab;
        let aureole = (aa * bf - ab * af) / both;
        let error = (aa / both).sqrt();
        self.aureole = if aureole > SURE * error { aureole } else { 0.0 };
        self.core = ((af - ab * self.aureole) / aa).max(0.0);
        let off = falls.iter().map(|Step { ends, fall, error }| {
            let [near, far] = ends.map(|radius| self.at(radius));
            let off = (fall - near + far) / error.max(BEST * fall.abs());
            off * off
        });
        off.sum()
    }
}

/// Improves the profile beyond the core by what the chosen stars' rings show.
pub(super) fn wing(
    psf: &mut Psf,
    pixels: &Pixels<'_>,
    light: &[f32],
    spots: &[Spot],
    chosen: &[u32],
    noise: &Noise,
) {
    let width = psf.fwhm_px;
    // Or the table would hide from the rings what the profile has too much.
    psf.round_out(WING_WIDTHS * width);
    let round = |radius: f64| f64::from(psf.round(radius as f32));
    let falls: Vec<Step> = steps(psf, pixels, light, spots, chosen, noise)
        .into_iter()
        .map(|step| Step {
            fall: step.fall + round(step.ends[0]) - round(step.ends[1]),
            ..step
        })
        .collect();
    let outer = falls.partition_point(|step| step.ends[0] < FORM_WIDTHS * width);
    if falls.len() < outer + 3 {
        return;
    }
    let mut forms = Forms::new(width, STEEP.0);
    let mut least = f64::INFINITY;
    let mut beta = STEEP.0;
    while beta <= STEEP.1 {
        let mut tried = Forms::new(width, beta);
        let off = tried.fit(&falls[outer..]);
        if off < least {
            (least, forms) = (off, tried);
        }
        beta += 0.25;
    }
    let tells = |step: &&Step| step.error < TELLS * step.fall;
    let known = outer + falls[outer..].iter().take_while(tells).count();
    // Heights at the rings' middles, from the outside.
    let last = falls[known - 1].ends[1];
    let mut heights = vec![(last, forms.at(last))];
    for step in falls[..known].iter().rev() {
        let above = heights[heights.len() - 1].1;
        heights.push((step.ends[0], above + step.fall));
    }
    heights.reverse();
    let from = WING_WIDTHS * width;
    let inner = heights.partition_point(|(radius, _)| *radius < from);
    let changes: Vec<(f64, f64)> = heights[inner..]
        .iter()
        .map(|(radius, height)| (*radius, height - round(*radius)))
        .collect();
    let old = psf.clone();
    psf.set_profile(|radius| {
        if radius >= last {
            return forms.at(radius);
        }
        let value = f64::from(old.round(radius as f32));
        let at = changes.partition_point(|(middle, _)| *middle <= radius);
        if at == 0 {
            // Further in the table knows better.
            return value + changes[0].1;
        }
        let ((a, low), (b, high)) = (changes[at - 1], changes[at.min(changes.len() - 1)]);
        value + low + (high - low) * (radius - a) / (b - a).max(1e-9)
    });
}
