//! How far the lines of a rendition lie apart, for the commands and the window.

use std::path::Path;

use super::compose::pick_rendition;
use super::{Error, recipe_file};
use crate::engine::apart::advice::{Warning, warnings};
use crate::engine::apart::{Told, told};
use crate::engine::mix::assign::AssignError;
use crate::engine::recipe::{Recipe, Rendition};
use crate::io::record;

/// What there is to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// The figures.
    pub told: Told,
    /// Where lines look alike, and what would help.
    pub warnings: Vec<Warning>,
}

/// Measures a rendition of a checked recipe.
///
/// # Errors
/// When a colour cannot be worked out, for a recipe that was not checked.
pub fn report(recipe: &Recipe, rendition: &Rendition) -> Result<Report, AssignError> {
    let told = told(recipe, rendition)?;
    let warnings = warnings(&told, rendition);
    Ok(Report { told, warnings })
}

/// Reads a recipe, or the recipe of a record (a name that ends in `.json`),
/// and picks a rendition: `id`, else the record's own, else the first.
///
/// # Errors
/// When the file cannot be read or does not hold, or has no such rendition.
pub fn subject(path: &Path, id: Option<&str>) -> Result<(Recipe, Rendition), Error> {
    let is_record = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("json"));
    let (recipe, own) = if is_record {
        let record = record::read(path)?;
        (record.recipe, Some(record.rendition))
    } else {
        (recipe_file::read(path)?, None)
    };
    let rendition = pick_rendition(&recipe, id.or(own.as_deref()))?.clone();
    Ok((recipe, rendition))
}
