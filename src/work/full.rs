//! Which pixels of a prepared channel a full detector had a part in.

use std::num::NonZeroUsize;
use std::sync::Arc;

use crate::engine::align::resample::Aligned;
use crate::engine::continuum::Blurred;
use crate::engine::crop::Rimless;
use crate::engine::frame::Rows;
use crate::engine::full::{LEAST_SHARE, Marks, WHOLE_SHARE, Without};
use crate::engine::measure;
use crate::engine::recipe::Recipe;
use crate::work::inputs::Input;
use crate::work::prepare::Preparation;
use crate::work::{Control, Error};

/// Memory for marks that are being resampled.
const MEMORY: NonZeroUsize = NonZeroUsize::new(96 << 20).expect("not zero");

/// Where the detector of an input was full: what its file says, or the level
/// at which its highest values pile up. In units of the file, None where
/// neither is known.
///
/// # Errors
/// When the file cannot be read, or the job is stopped.
pub fn level(input: &Input, id: &str, control: Control<'_>) -> Result<Option<f64>, Error> {
    if input.facts.ceiling.is_some() {
        return Ok(input.facts.ceiling);
    }
    // All of it: what is full may be little.
    let rows = Rimless(Arc::clone(&input.rows));
    let tick = control.tick(step(id));
    Ok(measure::survey(&rows, None, &mut |done, all| tick(done, all))?.saturation)
}

/// From which value on the prepared channel `at` is full: what its file says, where
/// it lies as it stood; where its values were moved (its sky was evened, it was
/// resampled, continuum was taken out), the lowest at a pixel that full ones alone
/// went into. None where that is not known.
///
/// # Errors
/// When a file cannot be read, or the job is stopped.
pub fn ceiling(
    recipe: &Recipe,
    inputs: &[Input],
    preparation: &Preparation,
    at: usize,
    control: Control<'_>,
) -> Result<Option<f64>, Error> {
    let index = preparation.indices[at];
    let prepared = &preparation.channels[at];
    let Some(input) = inputs.iter().find(|input| input.channel == index) else {
        return Ok(None);
    };
    let is_moved =
        prepared.level.is_some() || prepared.align.is_some() || prepared.continuum.is_some();
    if !is_moved {
        return Ok(input.facts.ceiling);
    }
    let id = &recipe.channels[index].id;
    let Some(marks) = of_input(recipe, input, preparation, WHOLE_SHARE, control)? else {
        return Ok(input.facts.ceiling);
    };
    let marks = match recipe.crop {
        Some(_) => marks.within(preparation.part).ok_or_else(bug)?,
        None => marks,
    };
    let tick = control.row_tick(step(id), prepared.rows.size().height);
    let lowest = marks.lowest(&*prepared.rows, &tick);
    control.check()?;
    Ok(lowest?.map(f64::from).or(input.facts.ceiling))
}

/// Where pixels went into the prepared channel `at` that were full in its own
/// file, or in that of the broad channel that was taken out of it; None where
/// there are none.
///
/// # Errors
/// When a file cannot be read, or the job is stopped.
pub fn marks(
    recipe: &Recipe,
    inputs: &[Input],
    preparation: &Preparation,
    at: usize,
    control: Control<'_>,
) -> Result<Option<Marks>, Error> {
    let index = preparation.indices[at];
    let taken = preparation.channels[at].continuum.as_ref();
    let mut all: Option<Marks> = None;
    for input in inputs {
        let id = &recipe.channels[input.channel].id;
        let is_broad = taken.is_some_and(|taken| taken.from == *id);
        if input.channel != index && !is_broad {
            continue;
        }
        let Some(marks) = of_input(recipe, input, preparation, LEAST_SHARE, control)? else {
            continue;
        };
        all = match all {
            None => Some(marks),
            Some(others) => Some(others.with(&marks).ok_or_else(bug)?),
        };
    }
    let Some(mut marks) = all else {
        return Ok(None);
    };
    if let Some(blur_px) = taken.and_then(|taken| taken.blur_px) {
        let spread = Blurred::new(Arc::new(marks), blur_px * blur_px);
        marks = reached(&spread, LEAST_SHARE, &recipe.channels[index].id, control)?;
    }
    match recipe.crop {
        Some(_) => marks.within(preparation.part).ok_or_else(bug).map(Some),
        None => Ok(Some(marks)),
    }
}

/// The rows `rows` of the prepared channel `at`, and no data where its
/// [`marks`] are.
///
/// # Errors
/// As [`marks`].
pub fn without(
    recipe: &Recipe,
    inputs: &[Input],
    preparation: &Preparation,
    at: usize,
    rows: Arc<dyn Rows>,
    control: Control<'_>,
) -> Result<Arc<dyn Rows>, Error> {
    match marks(recipe, inputs, preparation, at, control)? {
        Some(marks) => Ok(Arc::new(
            Without::new(rows, Arc::new(marks)).ok_or_else(bug)?,
        )),
        None => Ok(rows),
    }
}

// The full pixels of an input on the whole grid; None where there are none.
fn of_input(
    recipe: &Recipe,
    input: &Input,
    preparation: &Preparation,
    least: f32,
    control: Control<'_>,
) -> Result<Option<Marks>, Error> {
    let id = &recipe.channels[input.channel].id;
    let Some(full) = level(input, id, control)? else {
        return Ok(None);
    };
    let tick = control.row_tick(step(id), input.facts.size.height);
    let marks = Marks::of(&*input.rows, full, &tick);
    control.check()?;
    let marks = marks?;
    if marks.is_empty() {
        return Ok(None);
    }
    let mut moves = preparation.moves.iter();
    let Some((_, transform)) = moves.find(|(channel, _)| *channel == input.channel) else {
        return Ok(Some(marks));
    };
    // Wherever a full pixel has weight in a value, whichever way that was cared for.
    let source: Arc<dyn Rows> = Arc::new(marks);
    let shares = Aligned::new(source, transform, preparation.grid, None, MEMORY);
    reached(&shares, least, id, control).map(Some)
}

fn step(id: &str) -> String {
    format!("{id}: full pixels")
}

fn reached(shares: &dyn Rows, least: f32, id: &str, control: Control<'_>) -> Result<Marks, Error> {
    let tick = control.row_tick(step(id), shares.size().height);
    let marks = Marks::reached(shares, least, &tick);
    control.check()?;
    Ok(marks?)
}

// Marks lie on the grid that their channel lies on.
fn bug() -> Error {
    Error::request("full pixels lie on another grid", "please report it")
}
