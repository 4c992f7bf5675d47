//! Stars told from the nebula: in all channels of a rendition together, each of
//! which says where the others' stars are.

use super::{Control, Error};
use crate::engine::align::stars::{self, FindLimits, Stars};
use crate::engine::frame::Plane;
use crate::engine::separate::{self, SeparateError, Separation, Settings, Together};
use crate::io::record::StarsEntry;

/// Channels on one grid on the way: all are added; then those whose stars are
/// wanted are taken apart, in the same order.
#[derive(Debug, Default)]
pub struct Parting {
    together: Together,
    added: Vec<Added>,
    next: usize,
}

#[derive(Debug)]
struct Added {
    id: String,
    fwhm_px: Option<f64>,
}

impl Parting {
    /// Finds and measures a channel's stars. `ceiling` is the value at which its
    /// detector is full, where known.
    ///
    /// # Errors
    /// When the job is stopped.
    pub fn add(
        &mut self,
        plane: &Plane,
        id: &str,
        ceiling: Option<f64>,
        control: Control<'_>,
    ) -> Result<(), Error> {
        let tick = control.tick(format!("{id}: finding stars"));
        let found: Stars = stars::find(plane, ceiling, &FindLimits::default(), &tick)?;
        let tick = control.tick(format!("{id}: measuring stars"));
        let settings = Settings::of(&found);
        let added = self.together.add(plane, &found.stars, &settings, &tick);
        added.map_err(failed)?;
        self.added.push(Added {
            id: id.to_owned(),
            fwhm_px: found.fwhm_px,
        });
        Ok(())
    }

    /// The next channel taken apart; `plane` is the one that was added.
    ///
    /// # Errors
    /// When the job is stopped, or none is left.
    pub fn next(
        &mut self,
        plane: &Plane,
        control: Control<'_>,
    ) -> Result<(Separation, StarsEntry), Error> {
        let nothing = || Error::request("no channel is left", "please report it");
        let own = self.added.get(self.next).ok_or_else(nothing)?;
        let tick = control.tick(format!("{}: telling stars from the nebula", own.id));
        let model = self.together.model(plane, &tick).map_err(failed)?;
        let model = model.ok_or_else(nothing)?;
        let tick = control.tick(format!("{}: taking stars off", own.id));
        let footprint = model
            .separate(plane, model.whole(), &tick)
            .map_err(failed)?;
        let others = model.told_by.iter().map(|other| &self.added[*other]);
        let with: Vec<String> = others.map(|other| other.id.clone()).collect();
        let method = if with.is_empty() {
            separate::METHOD
        } else {
            separate::METHOD_TOGETHER
        };
        let entry = StarsEntry {
            stars: model.report.stars,
            saturated: model.report.saturated,
            fwhm_px: own.fwhm_px,
            with,
            method: method.to_owned(),
        };
        self.next += 1;
        let separation = Separation {
            footprint,
            report: model.report,
            notices: model.notices,
        };
        Ok((separation, entry))
    }
}

fn failed(error: SeparateError) -> Error {
    match error {
        SeparateError::Stopped => Error::Cancelled,
        other => Error::request(other.to_string(), other.hint()),
    }
}
