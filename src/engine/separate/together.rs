//! Stars of one field, seen through several filters on one grid.
//!
//! A star that one channel shows clearly needs no finding in another, where it
//! lies on bright nebula as fine as stars are; and a bright point that another
//! channel would have to show, but does not, is a knot of nebula (see `told`).

use std::ops::ControlFlow;

use rayon::prelude::*;

use super::arms;
use super::beside::Cells;
use super::field::Field;
use super::fit::Spot;
use super::measure::{Found, Survey, survey};
use super::model::StarModel;
use super::pixels::Pixels;
use super::psf::Psf;
use super::told::{Told, told};
use super::{SeparateError, Settings, Tick};
use crate::engine::align::stars::Star;
use crate::engine::frame::{Plane, Size};

/// Fits with what the others say.
const ROUNDS: usize = 2;

/// A star as near as that to another, in widths, has part of its light.
const CROWD: f64 = 1.5;

/// Beside whose middle a star is looked for, at most, in widths.
const FAR: f64 = 4.0;

/// The channels of a field on one grid. Each is shown twice: to
/// [`Together::add`] all of them, then in the same order to [`Together::model`].
///
/// Memory: what [`measure`](super::measure) needs for one channel, and some 200
/// bytes for each star of each.
#[derive(Debug, Default)]
pub struct Together {
    channels: Vec<Survey>,
    next: usize,
}

impl Together {
    /// Measures the listed stars of one more channel, as
    /// [`measure`](super::measure) does.
    ///
    /// # Errors
    /// [`SeparateError::Stopped`] where `tick` breaks off.
    pub fn add(
        &mut self,
        plane: &Plane,
        stars: &[Star],
        settings: &Settings,
        tick: Tick<'_>,
    ) -> Result<(), SeparateError> {
        let survey = survey(plane, stars, settings, &self.channels, tick)?;
        self.channels.push(survey);
        Ok(())
    }

    /// The next channel's stars, with what the others say of them: `plane` is the
    /// one that was added. None where all were asked for. In whatever order the
    /// channels come, the answers are the same.
    ///
    /// # Errors
    /// [`SeparateError::OtherSize`] where `plane` is not of the added one's size,
    /// [`SeparateError::Stopped`] where `tick` breaks off.
    pub fn model(
        &mut self,
        plane: &Plane,
        tick: Tick<'_>,
    ) -> Result<Option<StarModel>, SeparateError> {
        let Some(survey) = self.channels.get(self.next) else {
            return Ok(None);
        };
        let (height, width) = plane.values().dim();
        let size = Size { width, height };
        if survey.size != size {
            return Err(SeparateError::OtherSize {
                model: survey.size,
                plane: size,
            });
        }
        let own = self.next;
        self.next += 1;
        let mut survey = survey.clone();
        let alone = self.channels.len() == 1;
        let (Some(found), Some(values), false) =
            (&mut survey.found, plane.values().as_slice(), alone)
        else {
            return Ok(Some(survey.model()));
        };
        let pixels = Pixels::new(values, width, height);
        let mut field = Field::again(pixels, &found.noise, found.known.clone());
        // The later ones need to know what is here before it changes.
        let later = self.channels[own + 1..].iter();
        let probes: Vec<_> = later
            .map(|other| probes(&field, &found.stars, other))
            .collect();
        self.channels[own].probes.extend(probes);
        let told = told(own, &self.channels);
        let step = |done: usize| match tick(done, 1 + ROUNDS) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(SeparateError::Stopped),
        };
        step(1)?;
        if told.by.is_empty() {
            return Ok(Some(survey.model()));
        }
        told.apply(&mut field.spots, found.full);
        field.meet();
        let others = told
            .by
            .iter()
            .filter_map(|other| self.channels[*other].found.as_ref());
        let arms = others.flat_map(|other| arms::directions(&other.known.psf.arms));
        field.learn_told_arms(&found.chosen, arms);
        for round in 0..ROUNDS {
            field.fit();
            step(2 + round)?;
        }
        field.leave_out_faint(found.listed, found.least_snr, &mut survey.report);
        found.known = field.known();
        let mut model = survey.model();
        model.told_by = told.by;
        Ok(Some(model))
    }
}

impl Told {
    fn apply(&self, spots: &mut Vec<Spot>, full: f32) {
        for star in &self.no_stars {
            spots[*star as usize].height = 0.0;
        }
        for (star, hint) in &self.hints {
            spots[*star as usize].hint = Some(*hint);
        }
        let missing = self.missing.iter().map(|(place, hint)| Spot {
            hint: Some(*hint),
            ..Spot::new(*place, hint.height, full)
        });
        spots.extend(missing);
    }
}

/// One channel's stars, by place.
#[derive(Debug, Clone)]
pub(super) struct Stars {
    /// Numbers of the spots that stand for stars.
    pub numbers: Vec<u32>,
    by_place: Cells,
}

impl Stars {
    /// Those of a field.
    pub fn new(spots: &[Spot], psf: &Psf, size: Size) -> Self {
        let numbers: Vec<u32> = (0..spots.len() as u32)
            .filter(|index| spots[*index as usize].height > 0.0)
            .collect();
        let places = numbers.iter().map(|star| spots[*star as usize].place);
        let far = FAR * psf.fwhm_px;
        Self {
            by_place: Cells::new(places.collect(), far, size),
            numbers,
        }
    }

    /// Numbers of the spots within a distance, px, nearest first.
    pub fn within(&self, place: [f64; 2], distance_px: f64) -> impl Iterator<Item = usize> {
        let found = self.by_place.within(place, distance_px).into_iter();
        found.map(|(_, star)| self.numbers[star as usize] as usize)
    }
}

/// How high a star would be at a place, if anything can be said; file units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Probe(Option<[f32; 2]>);

impl Probe {
    /// Height, no less than 0, and its error.
    pub fn known(self) -> Option<(f64, f64)> {
        let [height, error] = self.0?.map(f64::from);
        Some((height.max(0.0), error))
    }
}

/// What a field with these stars has where the stars of another channel are.
pub(super) fn probes(field: &Field<'_>, stars: &Stars, other: &Survey) -> Vec<Probe> {
    let width = field.psf.fwhm_px;
    let probe = |other: &Spot| {
        let crowded = |index: usize| {
            let spot = &field.spots[index];
            let [u, v] = [0, 1].map(|axis| spot.place[axis] - other.place[axis]);
            let near = spot.plateau_px + CROWD * width;
            u * u + v * v < near * near
        };
        if stars.within(other.place, FAR * width).any(crowded) {
            return None;
        }
        field.height_at(other.place)
    };
    let of = |found: &Found| {
        let numbers = found.stars.numbers.par_iter();
        numbers
            .map(|star| Probe(probe(&found.known.spots[*star as usize])))
            .collect()
    };
    other.found.as_ref().map_or_else(Vec::new, of)
}
