//! Colours that keep lines apart, from what is in memory.

use super::tell::Tell;
use super::{Event, Layers};
use crate::engine::apart::suggest::Wish;
use crate::engine::recipe::Recipe;
use crate::work::{Error, suggest};

/// Works them out, and tells.
///
/// # Errors
/// Where nothing can be suggested, or the job is stopped.
pub fn run(
    recipe: &Recipe,
    layers: &Layers,
    rendition: String,
    wish: &Wish,
    tell: &Tell<'_>,
) -> Result<(), Error> {
    let own = recipe.rendition(&rendition).ok_or_else(|| {
        Error::request(
            format!("the rendition `{rendition}` is not there"),
            "show another one, and ask again",
        )
    })?;
    let (colors, words) = suggest::colors(recipe, own, layers, wish)?;
    tell.control().check()?;
    tell.event(Event::Suggested {
        ticket: tell.ticket,
        rendition,
        colors,
        words,
    });
    Ok(())
}
