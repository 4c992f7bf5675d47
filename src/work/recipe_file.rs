//! A recipe's file.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use super::Error;
use crate::engine::recipe::{Recipe, rewrite, text};
use crate::io::read::ReadError;
use crate::io::write::atomic::write_whole;

// A recipe is text: more than this is none.
const LARGEST_RECIPE: u64 = 16 << 20;

/// Reads and checks a recipe file.
///
/// # Errors
/// When it cannot be read, or does not hold.
pub fn read(path: &Path) -> Result<Recipe, Error> {
    let recipe = words(path)?;
    Ok(text::parse(&recipe, &path.display().to_string())?)
}

/// How a recipe was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Written {
    /// As its own text, changed only where the recipe changed; or there was none.
    AsItWas,
    /// The whole text anew: what its author wrote beside the recipe is not in it.
    Anew,
}

/// Writes a recipe. `own` is the file that it came from, if it has one: its
/// comments, its order and its layout are kept.
///
/// # Errors
/// When it cannot be written.
pub fn write(path: &Path, own: Option<&Path>, recipe: &Recipe) -> Result<Written, Error> {
    // A file that is gone has nothing to keep.
    let own = own.and_then(|own| words(own).ok());
    let edited = own.as_deref().and_then(|own| rewrite::edited(own, recipe));
    let written = match (&own, &edited) {
        (Some(_), None) => Written::Anew,
        _ => Written::AsItWas,
    };
    let whole = || {
        text::write(recipe).map_err(|error| {
            Error::request(
                format!("the recipe cannot be written: {error}"),
                "undo the last change",
            )
        })
    };
    let text = edited.map_or_else(whole, Ok)?;
    write_whole(path, text.as_bytes())?;
    Ok(written)
}

// The text of a recipe's file, whatever it says.
fn words(path: &Path) -> Result<String, Error> {
    let system = |error: std::io::Error| ReadError::System {
        path: path.to_owned(),
        what: error.to_string(),
    };
    let not_text = || {
        Error::request(
            format!("{}: not a recipe, which is text in TOML", path.display()),
            "make one with `linehue draft FILE... -o RECIPE.toml`",
        )
    };
    // Counted while reading: a pipe or a device has no length beforehand.
    let mut bytes = Vec::new();
    let length = File::open(path)
        .and_then(|file| file.take(LARGEST_RECIPE + 1).read_to_end(&mut bytes))
        .map_err(system)?;
    if length as u64 > LARGEST_RECIPE {
        return Err(not_text());
    }
    String::from_utf8(bytes).map_err(|_| not_text())
}
