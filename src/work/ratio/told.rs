//! What the record of a map tells, read back: its caption, and what to make again.

use std::path::Path;

use serde::Deserialize;

use super::Done;
use super::record::VERSION;
use crate::engine::caption::Caption;
use crate::engine::ratio::words;
use crate::engine::recipe::{Ratio, Recipe, check};
use crate::io::record::{RecordError, value};
use crate::io::write::{self, Format};
use crate::work::Error;

/// As much of a map's record as is used again.
#[derive(Debug, Clone, Deserialize)]
pub struct Told {
    pub(super) map: Map,
    pub(super) name: String,
    pub(super) ratio: Ratio,
    pub(super) inputs: Vec<File>,
    pub(super) scale: Scale,
    pub(super) words: Vec<String>,
    pub(super) caveats: Vec<String>,
    pub(super) recipe: Recipe,
    figures: Figures,
}

/// The map itself.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct Map {
    pub(super) file: String,
    pub(super) sha256: String,
}

/// A file that it was made from.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct File {
    pub(super) channel: String,
    pub(super) file: String,
    pub(super) sha256: String,
}

/// The ends of a picture's scale.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
}

#[derive(Debug, Clone, Deserialize)]
struct Figures {
    known: f64,
    p16: f64,
    median: f64,
    p84: f64,
    // Records of the first builds do not tell.
    #[serde(default = "yes")]
    stands_out: bool,
}

fn yes() -> bool {
    true
}

/// Reads the record of a map; None where the file is something else.
///
/// # Errors
/// When the file cannot be read, or the record is of a later format or damaged.
pub fn read(path: &Path) -> Result<Option<Told>, Error> {
    // A pipe could not be read again.
    if !path.is_file() {
        return Ok(None);
    }
    let value = value(path)?;
    let Some(version) = value.get("ratio_record") else {
        return Ok(None);
    };
    let path = path.to_owned();
    match version.as_u64() {
        Some(version) if version > u64::from(VERSION) => {
            return Err(RecordError::Newer { path, version }.into());
        }
        _ => {}
    }
    let damaged = |what: String| RecordError::Damaged {
        path: path.clone(),
        what: format!("the record of a map is damaged: {what}"),
    };
    let told: Told = serde_json::from_value(value).map_err(|error| damaged(error.to_string()))?;
    if let Err(problem) = check::whole(&told.recipe) {
        return Err(damaged(format!("{}: {}", problem.place, problem.what)).into());
    }
    Ok(Some(told))
}

impl Told {
    /// The recipe that the map was made by.
    pub fn recipe(&self) -> &Recipe {
        &self.recipe
    }

    /// How the ratio was taken.
    pub fn ratio(&self) -> &Ratio {
        &self.ratio
    }

    /// The channels that the map was made from, and their files as seen from the
    /// record.
    pub fn inputs(&self) -> impl Iterator<Item = (&str, &str)> {
        let inputs = self.inputs.iter();
        inputs.map(|input| (input.channel.as_str(), input.file.as_str()))
    }

    /// Whether all that is claimed of a map is so of the one that was made again.
    pub(super) fn is_true_of(&self, done: &Done) -> bool {
        let figures = &self.figures;
        let claimed = [figures.known, figures.p16, figures.median, figures.p84];
        let [p16, median, p84] = done.figures.quantiles;
        let same = |one: f64, other: f64| one == other;
        let found = [done.figures.known(), p16, median, p84];
        self.name == done.name
            && self.words == done.words
            && self.caveats == done.caveats
            && figures.stands_out == done.figures.stands_out
            && same(self.scale.low, done.span.low)
            && same(self.scale.high, done.span.high)
            && claimed
                .into_iter()
                .zip(found)
                .all(|(one, other)| same(one, other))
    }

    /// The words under the map.
    pub fn caption(&self) -> Caption {
        let about = &self.recipe.about;
        let object = [&about.object, &about.title];
        let object = object.into_iter().find(|words| !words.trim().is_empty());
        let object = object.map(|words| words.trim());
        let is_picture =
            write::format_of(Path::new(&self.map.file)).is_ok_and(|format| format != Format::Fits);
        let figures = &self.figures;
        let quantiles = [figures.p16, figures.median, figures.p84];
        words::caption(&words::Told {
            name: &self.name,
            object,
            known: figures.known,
            quantiles,
            scale: is_picture.then_some([self.scale.low, self.scale.high]),
            found: &self.words,
            caveats: &self.caveats,
            stands_out: figures.stands_out,
        })
    }
}
