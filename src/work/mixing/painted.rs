//! Renditions that take over what a palette says.

use crate::engine::palettes::{self, Palette, PaletteError};
use crate::engine::recipe::{Recipe, Rendition, check};
use crate::work::user_palettes::slug;

// A recipe whose rendition takes over what a palette says.
fn laid_on(
    recipe: &Recipe,
    rendition: &mut Rendition,
    palette: &Palette,
) -> Result<(), PaletteError> {
    let there: Vec<(&str, &str)> = recipe
        .channels
        .iter()
        .map(|channel| (channel.id.as_str(), channel.line.as_str()))
        .collect();
    rendition.colors = palettes::apply(palette, &there)?;
    rendition.blend = palette.blend;
    rendition.gamut = palette.gamut;
    Ok(())
}

fn whole(recipe: Recipe) -> Result<Recipe, PaletteError> {
    match check::whole(&recipe) {
        Ok(()) => Ok(recipe),
        Err(problem) => Err(PaletteError {
            message: format!("{}: {}", problem.place, problem.what),
            hint: problem.hint,
        }),
    }
}

/// A recipe whose rendition has the colours, blend and gamut of a palette.
/// Saturation, brightness and the eye's weights stay.
///
/// # Errors
/// Where the palette does not fit the channels.
pub fn painted(
    recipe: &Recipe,
    rendition: &str,
    palette: &Palette,
) -> Result<Recipe, PaletteError> {
    let mut after = recipe.clone();
    match after.renditions.iter_mut().find(|r| r.id == rendition) {
        Some(found) => laid_on(recipe, found, palette)?,
        None => {
            return Err(PaletteError {
                message: "no rendition is shown".to_owned(),
                hint: "open stacks first".to_owned(),
            });
        }
    }
    whole(after)
}

/// A recipe with one rendition more, made from a palette, and its id.
///
/// # Errors
/// Where the palette does not fit the channels.
pub fn with_palette(recipe: &Recipe, palette: &Palette) -> Result<(Recipe, String), PaletteError> {
    let plain = slug(&palette.name);
    let stem = if plain.is_empty() { "palette" } else { &plain };
    let id = (1..)
        .map(|count| match count {
            1 => stem.to_owned(),
            _ => format!("{stem}-{count}"),
        })
        .find(|id| recipe.rendition(id).is_none())
        .unwrap_or_default();
    let mut made = Rendition::blank(&id);
    laid_on(recipe, &mut made, palette)?;
    let mut after = recipe.clone();
    after.renditions.push(made);
    Ok((whole(after)?, id))
}

/// A recipe whose first rendition, called `id`, shows what a palette makes of
/// the channels, for a small picture.
///
/// # Errors
/// Where the palette does not fit the channels.
pub fn sampled(recipe: &Recipe, palette: &Palette, id: &str) -> Result<Recipe, PaletteError> {
    let mut made = Rendition::blank(id);
    laid_on(recipe, &mut made, palette)?;
    let mut after = recipe.clone();
    after.renditions = vec![made];
    whole(after)
}

/// Whether a rendition has just the colours, blend and gamut of a palette.
pub fn is_painted(recipe: &Recipe, rendition: &Rendition, palette: &Palette) -> bool {
    let mut like = Rendition::blank("");
    laid_on(recipe, &mut like, palette).is_ok()
        && like.colors == rendition.colors
        && like.blend == rendition.blend
        && like.gamut == rendition.gamut
}
