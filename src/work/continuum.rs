//! A narrow channel less the light that a broad one tells to be stars'.

use std::sync::Arc;

use super::inputs::Input;
use super::prepare::Prepared;
use super::spooled::spooled;
use super::{Control, Error};
use crate::engine::align::stars::{self, FindLimits, Stars};
use crate::engine::balance::photometry::Field;
use crate::engine::continuum::{
    Band, ContinuumError, check_bands, check_factor, check_place, match_widths, ratio, subtract,
};
use crate::engine::frame::Rows;
use crate::engine::lines;
use crate::engine::measure;
use crate::engine::recipe::{Channel, Recipe};
use crate::io::record::ContinuumEntry;

/// The channels `needed`, and the broad ones that their continuum is taken out
/// by, by index.
pub fn involved(recipe: &Recipe, needed: &[usize]) -> Vec<usize> {
    let broad = |index: &usize| {
        let continuum = recipe.channels[*index].continuum.as_ref()?;
        recipe
            .channels
            .iter()
            .position(|channel| channel.id == continuum.from)
    };
    let mut all = needed.to_vec();
    all.extend(needed.iter().filter_map(broad));
    all.sort_unstable();
    all.dedup();
    all
}

/// Takes the continuum out of a prepared channel where its recipe says so; `broad`
/// is the channel that it names.
///
/// # Errors
/// When it cannot be fitted, when a source or the disk fails, or the job is
/// stopped.
pub fn taken_out(
    recipe: &Recipe,
    input: &Input,
    prepared: Prepared,
    broad: Option<(&Input, &Arc<dyn Rows>)>,
    notices: &mut Vec<String>,
    control: Control<'_>,
) -> Result<Prepared, Error> {
    let channel = &recipe.channels[input.channel];
    let Some(continuum) = &channel.continuum else {
        return Ok(prepared);
    };
    let Some((broad_input, broad_rows)) = broad else {
        return Err(Error::request(
            format!(
                "{}: the channel {}, which its continuum is taken out by, is not there",
                channel.id, continuum.from
            ),
            "bring its file back, or take `continuum` out of the recipe",
        ));
    };
    let fault = |error: ContinuumError| match error {
        ContinuumError::Stopped => Error::Cancelled,
        other => {
            let hint = other.hint();
            Error::request(format!("{}: {other}", channel.id), hint)
        }
    };
    let broad_channel = &recipe.channels[broad_input.channel];
    if let (Some(middle), Some(broad)) = (center_nm(channel), band(broad_channel)) {
        let fits = match band(channel) {
            Some(narrow) => check_bands(narrow, broad),
            None => check_place(middle, broad),
        };
        fits.map_err(fault)?;
    }
    let step = format!("{}: finding stars", channel.id);
    let own = found(&*prepared.rows, input.facts.ceiling, &step, control)?;
    let theirs = found(&**broad_rows, broad_input.facts.ceiling, &step, control)?;
    let mut matched = match_widths(
        Arc::clone(&prepared.rows),
        Arc::clone(broad_rows),
        [own.fwhm_px, theirs.fwhm_px],
    );
    let blur_px2 = matched.narrow_blur_px2.max(matched.broad_blur_px2);
    // A blurred copy is read often: it is made once.
    matched.narrow = kept(matched.narrow, matched.narrow_blur_px2 > 0.0, control)?;
    matched.broad = kept(matched.broad, matched.broad_blur_px2 > 0.0, control)?;
    let levels = measure::glance(&*matched.broad, broad_input.facts.ceiling)?.levels;
    let (scale, uncertainty, used) = match continuum.scale {
        Some(scale) => {
            let own = measure::glance(&*matched.narrow, input.facts.ceiling)?.levels;
            if let (Some(own), Some(levels)) = (own, &levels) {
                check_factor(scale, &own, levels).map_err(fault)?;
            }
            (scale, None, None)
        }
        None => {
            let mut tick = control.tick(format!("{}: comparing stars", channel.id));
            let field = |rows, stars| Field { rows, stars };
            let narrow = field(&*prepared.rows, &own);
            let broad = field(&**broad_rows, &theirs);
            let fitted = ratio(narrow, broad, &matched, &mut tick).map_err(fault)?;
            if fitted.used < 10 {
                notices.push(format!(
                    "{}: its continuum was fitted on {} stars only",
                    channel.id, fitted.used
                ));
            }
            (fitted.k, Some(fitted.error), Some(fitted.used))
        }
    };
    let sky = levels.map_or(0.0, |levels| levels.sky);
    let rows = subtract(matched.narrow, matched.broad, scale, sky).map_err(fault)?;
    Ok(Prepared {
        rows: kept(Arc::new(rows), true, control)?,
        continuum: Some(ContinuumEntry {
            from: continuum.from.clone(),
            scale,
            uncertainty,
            stars: used,
            blur_px: (blur_px2 > 0.0).then(|| blur_px2.sqrt()),
        }),
        ..prepared
    })
}

// Where a passband lies, as far as that is known.
fn band(channel: &Channel) -> Option<Band> {
    let usual = || lines::line(&channel.line)?.width_nm;
    Some(Band {
        center_nm: center_nm(channel)?,
        width_nm: channel.width_nm.or_else(usual)?,
    })
}

// Its middle, for which the line stands where the recipe says no other.
fn center_nm(channel: &Channel) -> Option<f64> {
    let usual = || Some(lines::line(&channel.line)?.center_nm);
    channel.center_nm.or_else(usual)
}

fn found(
    rows: &dyn Rows,
    ceiling: Option<f64>,
    step: &str,
    control: Control<'_>,
) -> Result<Stars, Error> {
    let tick = control.tick(step);
    Ok(stars::find(rows, ceiling, &FindLimits::default(), &tick)?)
}

fn kept(rows: Arc<dyn Rows>, worth_it: bool, control: Control<'_>) -> Result<Arc<dyn Rows>, Error> {
    if !worth_it {
        return Ok(rows);
    }
    spooled(&*rows, &|_| control.check_rows(), control)
}
