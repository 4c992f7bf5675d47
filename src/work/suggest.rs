//! Colours that keep this data's lines apart: from files for the command, from
//! what is in memory for the window.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use super::desk::{Layer, Layers};
use super::prepare::prepare;
use super::{Control, Error, inputs};
use crate::engine::apart::suggest::{Meetings, Small, SuggestError, Suggestion, Wish, suggest};
use crate::engine::apart::{Told, told};
use crate::engine::color::vision::Vision;
use crate::engine::frame::{BAND_ROWS, Rows};
use crate::engine::measure;
use crate::engine::palettes::{Palette, of_rendition};
use crate::engine::recipe::{ColorValue, Recipe, Rendition, check};
use crate::engine::reduce::Reduced;

/// The longer side of the small pictures that tell where lines meet.
const SMALL_PX: usize = 256;

/// Colours of channels, by id.
pub type Colors = BTreeMap<String, ColorValue>;

impl From<SuggestError> for Error {
    fn from(error: SuggestError) -> Self {
        let hint = error.hint();
        Self::request(error.to_string(), hint)
    }
}

/// A suggestion as a palette.
#[derive(Debug, Clone)]
pub struct Made {
    /// It.
    pub palette: Palette,
    /// The rendition that it was measured on.
    pub suggestion: Suggestion,
    /// How far the lines lay apart.
    pub before: Told,
    /// How far they lie apart.
    pub after: Told,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Suggests a palette for a rendition of a checked recipe whose stacks lie in
/// `folder`, and measures it with that rendition's blend and finish, as
/// [`report`](super::apart::report) does.
///
/// # Errors
/// When the stacks cannot be had, nothing can be suggested, or the job is
/// stopped.
pub fn palette(
    recipe: &Recipe,
    rendition: &Rendition,
    folder: &Path,
    wish: &Wish,
    name: &str,
    control: Control<'_>,
) -> Result<Made, Error> {
    // What is wrong with the name is told before the work.
    of_rendition(recipe, rendition, name)?;
    let before = told(recipe, rendition)?;
    let sought = sought(rendition, &before);
    let (meetings, mut notices) = meetings_of_files(recipe, &sought, folder, control)?;
    let mut suggestion = suggest(recipe, &sought, &meetings, wish)?;
    if sought != *rendition {
        notices.push(
            "brightness from channels leaves a line dark where it shines alone: colours were \
             sought without it"
                .to_owned(),
        );
        suggestion
            .rendition
            .luminance
            .clone_from(&rendition.luminance);
    }
    let mut palette = of_rendition(recipe, &suggestion.rendition, name)?;
    palette.about = about(recipe, wish);
    Ok(Made {
        palette,
        before,
        after: told(recipe, &suggestion.rendition)?,
        suggestion,
        notices,
    })
}

// The rendition that colours are sought for: where brightness from channels
// leaves a line dark, no colour of it could be told from another.
fn sought(rendition: &Rendition, before: &Told) -> Rendition {
    let mut sought = rendition.clone();
    if before.lines.iter().any(|line| line.dark) {
        sought.luminance = None;
    }
    sought
}

fn about(recipe: &Recipe, wish: &Wish) -> String {
    let about = &recipe.about;
    let field = [&about.object, &about.title];
    let field = field.into_iter().find(|words| !words.is_empty());
    let order = if wish.keep_order {
        ", in the order of wavelengths"
    } else {
        ""
    };
    match field {
        Some(field) => format!("Suggested for {field}: lines kept apart for every reader{order}."),
        None => format!("Suggested: lines kept apart for every reader{order}."),
    }
}

fn meetings_of_files(
    recipe: &Recipe,
    rendition: &Rendition,
    folder: &Path,
    control: Control<'_>,
) -> Result<(Meetings, Vec<String>), Error> {
    let needed: Vec<usize> = (0..recipe.channels.len())
        .filter(|index| rendition.colors.contains_key(&recipe.channels[*index].id))
        .collect();
    let opened = inputs::open(recipe, &inputs::shaping(recipe, &needed), |channel| {
        Ok(folder.join(&channel.file))
    })?;
    let preparation = prepare(recipe, &opened, &needed, control)?;
    let mut small: Vec<Option<Small>> = vec![None; recipe.channels.len()];
    for (index, channel) in preparation.indices.iter().zip(&preparation.channels) {
        control.check()?;
        small[*index] = Some(small_of(&channel.rows, None)?);
    }
    let channels: Vec<_> = small
        .into_iter()
        .zip(&recipe.channels)
        .map(|(small, channel)| (small, &channel.stretch))
        .collect();
    Ok((Meetings::of(&channels), preparation.notices))
}

// Made small; its sky as it was measured, or else by a glance.
fn small_of(rows: &Arc<dyn Rows>, sky: Option<f64>) -> Result<Small, Error> {
    let sky = match sky {
        Some(sky) => sky,
        None => measure::glance(&**rows, None)?
            .levels
            .map_or(0.0, |levels| levels.sky),
    };
    let rows = Reduced::within(Arc::clone(rows), SMALL_PX);
    let size = rows.size();
    let mut values = vec![0.0; size.pixels()];
    for (band, out) in values.chunks_mut(BAND_ROWS * size.width).enumerate() {
        rows.read(band * BAND_ROWS, out)?;
    }
    Ok(Small { values, sky })
}

/// Colours for the channels of a rendition, by id, and a sentence with their
/// figures. Blend and finish are as they are.
///
/// # Errors
/// What is wrong and what to do, where nothing can be suggested.
pub fn colors(
    recipe: &Recipe,
    rendition: &Rendition,
    layers: &Layers,
    wish: &Wish,
) -> Result<(Colors, String), Error> {
    let channels: Vec<_> = recipe
        .channels
        .iter()
        .map(|channel| {
            let layer = layers.get(&channel.id);
            let small = layer.and_then(|layer| small_of_layer(layer).ok());
            (small, &channel.stretch)
        })
        .collect();
    let before = told(recipe, rendition)?;
    let sought = sought(rendition, &before);
    let mut made = suggest(recipe, &sought, &Meetings::of(&channels), wish)?;
    made.rendition.luminance.clone_from(&rendition.luminance);
    let words = words(&before, &told(recipe, &made.rendition)?);
    Ok((made.rendition.colors, words))
}

/// The recipe with these colours in one of its renditions; as it is where that
/// is not there, or lacks one of these channels.
///
/// # Errors
/// What is wrong and what to do, where they do not hold for it.
pub fn recolored(recipe: &Recipe, rendition: &str, colors: &Colors) -> Result<Recipe, Error> {
    let mut after = recipe.clone();
    for own in &mut after.renditions {
        if own.id == rendition {
            for (id, color) in &mut own.colors {
                if let Some(suggested) = colors.get(id) {
                    color.clone_from(suggested);
                }
            }
        }
    }
    match check::whole(&after) {
        Ok(()) => Ok(after),
        Err(problem) => Err(Error::request(
            format!("{}: {}", problem.place, problem.what),
            problem.hint,
        )),
    }
}

fn small_of_layer(layer: &Layer) -> Result<Small, Error> {
    // The smallest mean that is still fine enough.
    let enough = |plane: &&Arc<crate::engine::frame::Plane>| {
        let size = plane.size();
        size.width.max(size.height) >= SMALL_PX
    };
    let plane = layer.reduced.iter().rev().find(enough);
    let rows: Arc<dyn Rows> = Arc::clone(plane.unwrap_or(&layer.plane)) as Arc<dyn Rows>;
    small_of(&rows, layer.levels.map(|levels| levels.sky))
}

/// What a suggestion brings, in a sentence: "Nearest lines 9 apart before, 34
/// now (CIEDE2000): ...".
pub fn words(before: &Told, after: &Told) -> String {
    let figure = |told: &Told, vision: usize| {
        told.nearest(vision)
            .map_or("-".to_owned(), |pair| format!("{:.0}", pair.apart[vision]))
    };
    let by_reader: Vec<String> = Vision::ALL
        .iter()
        .enumerate()
        .map(|(index, vision)| {
            let whom = match vision {
                Vision::Usual => "ordinary sight",
                Vision::Protan => "without red cones",
                Vision::Deutan => "without green",
                Vision::Tritan => "without blue",
            };
            format!(
                "{whom} {} to {}",
                figure(before, index),
                figure(after, index)
            )
        })
        .collect();
    format!("Nearest lines, CIEDE2000: {}", by_reader.join(", "))
}
