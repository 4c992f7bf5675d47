//! Measuring the listed stars, finding those that are missing, and learning
//! how a point looks here.

use std::ops::ControlFlow;

use super::field::Field;
use super::fit::Spot;
use super::islands::{Crest, Disc, islands};
use super::light::Drawn;
use super::model::StarModel;
use super::noise::Noise;
use super::pixels::Pixels;
use super::psf::Psf;
use super::{Notice, Report, SeparateError, Settings, Tick, build, start};
use crate::engine::align::stars::Star;
use crate::engine::frame::{Plane, Size};

/// A star's light ends where it falls below this, sigma of the noise.
pub(super) const FLOOR: f32 = 0.2;

/// Rounds that improve the image of a point, and rounds of search.
const LEARN: usize = 6;
const SEARCH: usize = 2;

/// Fewer lone stars make no image.
const FEWEST: usize = 5;

/// Steps that `tick` hears about while measuring.
const MEASURING: usize = 2 + LEARN + 2 * SEARCH + 1;

/// Measures listed stars on a picture. The list may come from another channel
/// on the same grid: places are improved where the star is bright enough here,
/// and stars that do not show here stay untouched. Brightness and width in the
/// list play no part; whether a star is cut off is also told from
/// [`Settings::ceiling`].
///
/// # Errors
/// [`SeparateError::Stopped`] where `tick` breaks off.
pub fn measure(
    plane: &Plane,
    stars: &[Star],
    settings: &Settings,
    tick: Tick<'_>,
) -> Result<StarModel, SeparateError> {
    let mut done = 0;
    let mut step = || -> Result<(), SeparateError> {
        done += 1;
        match tick(done, MEASURING) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(SeparateError::Stopped),
        }
    };
    let (height, width) = plane.values().dim();
    let given = settings.fwhm_px.clamp(1.0, 20.0);
    let mut model = StarModel {
        size: Size { width, height },
        psf: Psf::moffat(given, 3.0),
        drawn: Vec::new(),
        noise: None,
        islands: Vec::new(),
        report: Report::default(),
        notices: Vec::new(),
    };
    model.report.faint = stars.len();
    let Some(values) = plane.values().as_slice().filter(|_| !stars.is_empty()) else {
        return Ok(model);
    };
    let pixels = Pixels::new(values, width, height);
    let Some(noise) = Noise::new(&pixels).filter(|noise| noise.typical > 0.0) else {
        return Ok(model);
    };
    step()?;
    let ceiling = settings.ceiling.or_else(|| start::ceiling(&pixels, &noise));
    let spots = start::spots(&pixels, &noise, stars, given, ceiling);
    let fwhm_px = start::width(&pixels, &spots, &noise, given).unwrap_or(given);
    let mut field = Field::new(pixels, &noise, spots, fwhm_px.clamp(1.0, 20.0));
    step()?;
    let (chosen, usable) = build::chosen(&field.spots, &field.beside, &noise);
    let learns = usable >= FEWEST;
    for round in 0..LEARN {
        if learns {
            field.learn(round, &chosen, usable);
        }
        step()?;
    }
    field.draw_anew(&[]);
    let full = ceiling.map_or(f32::INFINITY, |full| full as f32);
    field.survey();
    for round in 0..SEARCH {
        field.fit();
        step()?;
        let known = field.spots.len();
        field.seek(full, settings.seek);
        field.fit_new(known);
        model.report.unlike += field.leave_out_unlike();
        if learns && round == 0 {
            field.learn_far(&chosen);
        }
        step()?;
    }
    field.fit();
    step()?;
    field.leave_out_faint(stars.len(), settings.least_snr, &mut model.report);
    model.report.models = if learns { chosen.len() } else { 0 };
    if !learns {
        model.notices.push(Notice::TextbookProfile {
            usable,
            fwhm_px: field.psf.fwhm_px,
        });
    }
    model.drawn = field.drawn(FLOOR);
    let crest = Crest::new(&field.psf);
    let disc = |(spot, drawn): (&Spot, &Drawn)| {
        let sigma = noise.at(spot.place[0] as f32, spot.place[1] as f32);
        Disc::of(&crest, drawn, sigma, spot.plateau_px, spot.full)
    };
    let discs: Vec<Disc> = field
        .spots
        .iter()
        .zip(&model.drawn)
        .filter_map(disc)
        .collect();
    model.islands = islands(&discs, width, height);
    model.psf = field.psf;
    model.noise = Some(noise);
    Ok(model)
}
