//! Whether a recipe makes sense as a whole.

mod channel;

mod numbers;

mod rendition;

use std::collections::BTreeSet;

use super::text::nearest_hint;
use super::{Recipe, VERSION};
use numbers::{Checked, fail};

/// One thing that does not hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// `channel ha`, `rendition mapped`, `reference`.
    pub place: String,
    /// What is wrong, with the key.
    pub what: String,
    /// The next step.
    pub hint: String,
}

/// Checks everything that can be checked without the files.
///
/// # Errors
/// The first problem, in the order of the text.
pub fn whole(recipe: &Recipe) -> Result<(), Problem> {
    let at = |place: String| move |(what, hint)| Problem { place, what, hint };
    if recipe.recipe != VERSION {
        let what = format!("`recipe = {}` is no format version", recipe.recipe);
        return Err(at("recipe".into())((
            what,
            format!("write `recipe = {VERSION}`"),
        )));
    }
    if recipe.channels.is_empty() {
        let hint = "add a [[channel]] with id, file, line and [channel.stretch]";
        return Err(at("channels".into())((
            "there is no channel".into(),
            hint.into(),
        )));
    }
    if recipe.renditions.is_empty() {
        let hint = "add a [[rendition]] with id and colors";
        return Err(at("renditions".into())((
            "there is no rendition".into(),
            hint.into(),
        )));
    }
    let ids = || recipe.channels.iter().map(|channel| channel.id.as_str());
    if let Some(reference) = &recipe.reference
        && recipe.channel(reference).is_none()
    {
        let what = format!("there is no channel `{reference}`");
        return Err(at("reference".into())((
            what,
            nearest_hint(reference, ids()),
        )));
    }
    let mut seen = BTreeSet::new();
    for channel in &recipe.channels {
        id(&channel.id, &mut seen)
            .and_then(|()| channel::channel(channel, recipe))
            .map_err(at(format!("channel {}", channel.id)))?;
    }
    let mut seen = BTreeSet::new();
    for rendition in &recipe.renditions {
        id(&rendition.id, &mut seen)
            .and_then(|()| rendition::rendition(rendition, recipe))
            .map_err(at(format!("rendition {}", rendition.id)))?;
    }
    let mut seen = BTreeSet::new();
    for ratio in &recipe.ratios {
        id(&ratio.id, &mut seen)
            .and_then(|()| ratio.check(recipe))
            .map_err(at(format!("ratio {}", ratio.id)))?;
    }
    Ok(())
}

fn id<'a>(id: &'a str, seen: &mut BTreeSet<&'a str>) -> Checked {
    let sound = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_';
    if id.is_empty() || !id.chars().all(sound) {
        return fail(
            format!("`id = \"{id}\"` is not an id"),
            "use a-z, 0-9, - and _ only",
        );
    }
    if !seen.insert(id) {
        return fail(
            format!("the id `{id}` is there twice"),
            "give each its own id",
        );
    }
    Ok(())
}
