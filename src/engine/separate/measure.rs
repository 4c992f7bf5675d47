//! Measuring the listed stars, finding those that are missing, and learning
//! how a point looks here.

use std::ops::ControlFlow;

use super::field::{Field, Known, draw};
use super::fit::Spot;
use super::islands::{Crest, Disc, islands};
use super::light::Drawn;
use super::model::StarModel;
use super::noise::Noise;
use super::pixels::Pixels;
use super::psf::Psf;
use super::together::{Probe, Stars, probes};
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
const MEASURING: usize = 2 + LEARN + 2 * SEARCH + 2;

/// What a picture tells of its stars by itself: little beside the picture.
#[derive(Debug, Clone)]
pub(super) struct Survey {
    pub(super) size: Size,
    given_px: f64,
    pub(super) found: Option<Found>,
    pub(super) report: Report,
    notices: Vec<Notice>,
    /// What it has where the stars of every channel are, by their number.
    pub(super) probes: Vec<Vec<Probe>>,
}

/// The same where there are stars.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub known: Known,
    pub noise: Noise,
    /// From this value on the detector is full.
    pub full: f32,
    /// Below this signal to noise a star stays.
    pub least_snr: f64,
    /// How many spots are the list's.
    pub listed: usize,
    /// Which of them stand for stars, by place.
    pub stars: Stars,
    /// Which of them the image of a point is learned from.
    pub chosen: Vec<u32>,
}

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
    survey(plane, stars, settings, &[], tick).map(Survey::model)
}

/// As [`measure`], up to where other channels may have a say (see `together`): what
/// is here where the stars of the channels before this one are, `others`, is noted.
///
/// # Errors
/// [`SeparateError::Stopped`] where `tick` breaks off.
pub(super) fn survey(
    plane: &Plane,
    stars: &[Star],
    settings: &Settings,
    others: &[Survey],
    tick: Tick<'_>,
) -> Result<Survey, SeparateError> {
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
    let mut survey = Survey {
        size: Size { width, height },
        given_px: given,
        found: None,
        report: Report::default(),
        notices: Vec::new(),
        probes: Vec::new(),
    };
    survey.report.faint = stars.len();
    let Some(values) = plane.values().as_slice().filter(|_| !stars.is_empty()) else {
        return Ok(survey);
    };
    let pixels = Pixels::new(values, width, height);
    let Some(noise) = Noise::new(&pixels).filter(|noise| noise.typical > 0.0) else {
        return Ok(survey);
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
        if round == 0 {
            field.split();
        }
        field.seek(full);
        field.fit_new(known);
        survey.report.unlike += field.leave_out_unlike();
        if learns && round == 0 {
            field.learn_far(&chosen);
        }
        step()?;
    }
    field.fit();
    step()?;
    field.leave_out_faint(stars.len(), settings.least_snr, &mut survey.report);
    survey.report.models = if learns { chosen.len() } else { 0 };
    if !learns {
        survey.notices.push(Notice::TextbookProfile {
            usable,
            fwhm_px: field.psf.fwhm_px,
        });
    }
    if !others.is_empty() {
        // As those to come will find it.
        field.lay_anew();
    }
    let here = Stars::new(&field.spots, &field.psf, survey.size);
    let of_others = others.iter().map(|other| probes(&field, &here, other));
    // None of itself: the channels keep their order.
    survey.probes = of_others.chain([Vec::new()]).collect();
    let known = field.known();
    survey.found = Some(Found {
        known,
        noise,
        full,
        least_snr: settings.least_snr,
        listed: stars.len(),
        stars: here,
        chosen: if learns { chosen } else { Vec::new() },
    });
    step()?;
    Ok(survey)
}

impl Survey {
    /// The stars as this picture alone tells them.
    pub fn model(self) -> StarModel {
        let mut model = StarModel {
            size: self.size,
            psf: Psf::moffat(self.given_px, 3.0),
            drawn: Vec::new(),
            noise: None,
            islands: Vec::new(),
            report: self.report,
            notices: self.notices,
            told_by: Vec::new(),
        };
        let Some(Found {
            known, mut noise, ..
        }) = self.found
        else {
            return model;
        };
        if let Some(below) = &known.below {
            noise.roughen(below.roughness());
        }
        model.drawn = draw(&known.spots, &known.psf, &noise, FLOOR);
        let crest = Crest::new(&known.psf);
        let disc = |(spot, drawn): (&Spot, &Drawn)| {
            let sigma = noise.rough(spot.place[0] as f32, spot.place[1] as f32);
            Disc::of(&crest, drawn, sigma, spot.plateau_px, spot.full)
        };
        let discs: Vec<Disc> = known
            .spots
            .iter()
            .zip(&model.drawn)
            .filter_map(disc)
            .collect();
        model.islands = islands(&discs, self.size.width, self.size.height);
        model.psf = known.psf;
        model.noise = Some(noise);
        model
    }
}
