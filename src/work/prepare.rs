//! From open files to channels on one grid with an even sky: align, crop, level.
//!
//! A channel that asks for none of them is used as it stands. An aligned one
//! is resampled once into a temporary file, so that memory stays bounded and
//! the steps after it may read it as often as they like.

mod laid;

mod part;

use std::sync::Arc;

use super::continuum;
use super::inputs::Input;
use super::{Control, Error};
use crate::engine::align::stars::Stars;
use crate::engine::align::transform::Transform;
use crate::engine::crop::{Cropped, Rectangle};
use crate::engine::frame::{Rows, Size};
use crate::engine::level::{self, LevelError, Leveled, SkyModel};
use crate::engine::recipe::{Channel, Crop, Level, Recipe};
use crate::io::record::{AlignEntry, ContinuumEntry, LevelEntry};
use laid::{Laid, laid};
pub use laid::{points, stars_of};
use part::part;

/// A channel that is ready to be stretched.
pub struct Prepared {
    /// Its values on the common grid.
    pub rows: Arc<dyn Rows>,
    /// How it came there; None: its pixels as they stood.
    pub align: Option<AlignEntry>,
    /// How its sky was evened; None: left alone.
    pub level: Option<LevelEntry>,
    /// The sky model that was taken out.
    pub model: Option<SkyModel>,
    /// How the stars' light was taken out; None: it stayed.
    pub continuum: Option<ContinuumEntry>,
}

/// All channels on one grid.
pub struct Preparation {
    /// In the order of the inputs that were asked for.
    pub channels: Vec<Prepared>,
    /// Index in the recipe of each.
    pub indices: Vec<usize>,
    /// Which part of the reference's grid is kept.
    pub part: Rectangle,
    /// Width and height of the reference's whole grid.
    pub grid: Size,
    /// The channels that were resampled, by index in the recipe: how each came
    /// onto the grid.
    pub moves: Vec<(usize, Transform)>,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Prepares the channels `needed` (indices in the recipe) of `inputs`, among
/// which the reference must be where one of them is aligned.
///
/// # Errors
/// When stars do not match, when nothing is covered by all, when a sky model
/// cannot be made, when a file fails, or when the job is stopped.
pub fn prepare(
    recipe: &Recipe,
    inputs: &[Input],
    needed: &[usize],
    control: Control<'_>,
) -> Result<Preparation, Error> {
    each(
        recipe,
        inputs,
        needed,
        &|_| control,
        &mut |_, error| Err(error),
        control,
    )
}

/// As [`prepare`], but what goes wrong with one channel is told to `failed`
/// with its index: where that gives no error back, the others go on without
/// it. `of` is how each channel is told about and stopped.
///
/// # Errors
/// As [`prepare`]; also where no channel is left.
pub fn each<'a>(
    recipe: &Recipe,
    inputs: &[Input],
    needed: &[usize],
    of: &dyn Fn(usize) -> Control<'a>,
    failed: &mut dyn FnMut(usize, Error) -> Result<(), Error>,
    control: Control<'_>,
) -> Result<Preparation, Error> {
    let reference = recipe.reference().map(|channel| channel.id.as_str());
    let id = |input: &Input| recipe.channels[input.channel].id.as_str();
    let involved = continuum::involved(recipe, needed);
    // What all cover is asked of all, so that every rendition of a recipe has
    // the same frame.
    let frames = recipe.crop == Some(Crop::Common);
    let taking_part: Vec<&Input> = inputs
        .iter()
        .filter(|input| frames || involved.contains(&input.channel))
        .collect();
    let grid = inputs
        .iter()
        .find(|input| Some(id(input)) == reference)
        .or(taking_part.first().copied())
        .ok_or_else(|| Error::request("no channel takes part", "give one a color"))?;
    let mut notices = Vec::new();
    let mut on_grid: Vec<Laid> = Vec::new();
    let mut grid_stars: Option<Stars> = None;
    let mut staying: Vec<&Input> = Vec::new();
    for input in taking_part {
        control.check()?;
        let own = of(input.channel);
        match laid(recipe, input, grid, &mut grid_stars, &mut notices, own) {
            Ok(laid) => {
                on_grid.push(laid);
                staying.push(input);
            }
            Err(error) => {
                control.check()?;
                failed(input.channel, error)?;
            }
        }
    }
    if staying.is_empty() {
        return Err(Error::request(
            "no channel is left",
            "look at what is said of each of them",
        ));
    }
    let part = part(recipe, grid, &on_grid, control)?;
    let mut even: Vec<(&Input, Prepared)> = Vec::new();
    let mut moves = Vec::new();
    for (input, laid) in staying.into_iter().zip(on_grid) {
        if !involved.contains(&input.channel) {
            continue;
        }
        moves.extend(laid.transform.map(|transform| (input.channel, transform)));
        let (rows, align) = (laid.rows, laid.align);
        let own = of(input.channel);
        match evened(recipe, input, rows, align, part, &mut notices, own) {
            Ok(prepared) => even.push((input, prepared)),
            Err(error) => {
                control.check()?;
                failed(input.channel, error)?;
            }
        }
    }
    // Broad channels as they are before anything is taken out by them.
    let broad: Vec<(&Input, Arc<dyn Rows>)> = even
        .iter()
        .map(|(input, prepared)| (*input, Arc::clone(&prepared.rows)))
        .collect();
    let (mut channels, mut indices) = (Vec::new(), Vec::new());
    for (input, prepared) in even {
        if !needed.contains(&input.channel) {
            continue;
        }
        let continuum = recipe.channels[input.channel].continuum.as_ref();
        let broad = broad
            .iter()
            .find(|(other, _)| continuum.is_some_and(|continuum| continuum.from == id(other)));
        let broad = broad.map(|(input, rows)| (*input, rows));
        let own = of(input.channel);
        match continuum::taken_out(recipe, input, prepared, broad, &mut notices, own) {
            Ok(prepared) => {
                channels.push(prepared);
                indices.push(input.channel);
            }
            Err(error) => {
                control.check()?;
                failed(input.channel, error)?;
            }
        }
    }
    Ok(Preparation {
        channels,
        indices,
        part,
        grid: grid.facts.size,
        moves,
        notices,
    })
}

// A channel's sky made even, and its part of the grid.
fn evened(
    recipe: &Recipe,
    input: &Input,
    rows: Arc<dyn Rows>,
    align: Option<AlignEntry>,
    part: Rectangle,
    notices: &mut Vec<String>,
    control: Control<'_>,
) -> Result<Prepared, Error> {
    let channel = &recipe.channels[input.channel];
    // The sky is modelled before cropping: the more of it the better.
    let model = match &channel.level {
        Some(level) => Some(model(&*rows, level, channel, control)?),
        None => None,
    };
    let rows = match &model {
        Some(model) => Arc::new(Leveled::new(rows, model.clone())),
        None => rows,
    };
    let rows = if recipe.crop.is_some() {
        let beyond = || Error::request("`crop` reaches beyond the picture", "make it smaller");
        Arc::new(Cropped::new(rows, part).ok_or_else(beyond)?)
    } else {
        rows
    };
    let level = model.as_ref().map(|model| {
        let notice = |notice| format!("{}: {notice}", channel.id);
        notices.extend(model.notices.iter().map(notice));
        LevelEntry {
            kind: model.kind.to_string(),
            amplitude: model.amplitude,
            amplitude_over_noise: model.amplitude_over_noise,
            samples: model.samples,
            refused: model.refused,
        }
    });
    Ok(Prepared {
        rows,
        align,
        level,
        model,
        continuum: None,
    })
}

fn model(
    rows: &dyn Rows,
    level: &Level,
    channel: &Channel,
    control: Control<'_>,
) -> Result<SkyModel, Error> {
    let mut tick = control.tick(format!("{}: sky", channel.id));
    level::model(rows, level, &mut tick).map_err(|error| match error {
        LevelError::Rows(error) => Error::Rows(error),
        LevelError::Stopped => Error::Cancelled,
        other => Error::request(format!("{}: {other}", channel.id), other.hint()),
    })
}
