//! A recipe's file.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use super::Error;
use crate::engine::recipe::{Recipe, text};
use crate::io::read::ReadError;

// A recipe is text: more than this is none.
const LARGEST_RECIPE: u64 = 16 << 20;

/// Reads and checks a recipe file.
///
/// # Errors
/// When it cannot be read, or does not hold.
pub fn read(path: &Path) -> Result<Recipe, Error> {
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
    let recipe = String::from_utf8(bytes).map_err(|_| not_text())?;
    Ok(text::parse(&recipe, &path.display().to_string())?)
}
