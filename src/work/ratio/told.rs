//! What the record of a map tells, read back: its caption, and what to make again.

use std::path::Path;

use serde::Deserialize;
use serde_json::Value;

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
    /// The record as it was read.
    #[serde(skip)]
    whole: Value,
}

/// What comes out once more when a map is made again, as it is called in the
/// record. The rest is what it is made of, when, and by which build.
const MADE: [&str; 13] = [
    "/map/width",
    "/map/height",
    "/map/part",
    "/name",
    "/calibration",
    "/over",
    "/under",
    "/figures",
    "/criterion",
    "/scale",
    "/words",
    "/caveats",
    "/notices",
];

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
    let told = Told::deserialize(&value).map_err(|error| damaged(error.to_string()))?;
    let told = Told {
        whole: value,
        ..told
    };
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

    /// What is claimed of a map and is not so of the one that was made `again`
    /// (its record): where it stands in the record, `over.sky`.
    pub(super) fn untrue(&self, again: &Value) -> Vec<String> {
        let mut found = Vec::new();
        for place in MADE {
            let [claimed, made] = [&self.whole, again].map(|whole| whole.pointer(place));
            let name = place[1..].replace('/', ".");
            compare(
                &name,
                claimed.unwrap_or(&Value::Null),
                made.unwrap_or(&Value::Null),
                &mut found,
            );
        }
        found
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

// Where two parts of a record differ. Numbers are compared as numbers: another
// program may write 5.0 as 5.
fn compare(name: &str, claimed: &Value, made: &Value, found: &mut Vec<String>) {
    match (claimed, made) {
        (Value::Object(claimed), Value::Object(made)) => {
            let more = made.keys().filter(|key| !claimed.contains_key(*key));
            for key in claimed.keys().chain(more) {
                // Records of the first builds do not tell.
                if (name, key.as_str()) == ("figures", "stands_out") && !claimed.contains_key(key) {
                    let yes = Value::Bool(yes());
                    compare(
                        "figures.stands_out",
                        &yes,
                        made.get(key).unwrap_or(&Value::Null),
                        found,
                    );
                    continue;
                }
                let [one, other] =
                    [claimed, made].map(|part| part.get(key).unwrap_or(&Value::Null));
                compare(&format!("{name}.{key}"), one, other, found);
            }
        }
        (Value::Number(one), Value::Number(other)) if one.as_f64() == other.as_f64() => {}
        (Value::Array(one), Value::Array(other)) if one.len() == other.len() => {
            // An entry is not worth a name of its own.
            let mut within = Vec::new();
            for (one, other) in one.iter().zip(other) {
                compare(name, one, other, &mut within);
            }
            if !within.is_empty() {
                found.push(name.to_owned());
            }
        }
        (one, other) if one == other => {}
        _ => found.push(name.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn differ(claimed: &Value, made: &Value) -> Vec<String> {
        let mut found = Vec::new();
        compare("figures", claimed, made, &mut found);
        found
    }

    /// Protects that a claim cannot hide by its kind: a number, a word, an
    /// entry of a list, one that is left out and one that is added.
    #[test]
    fn whatever_differs_is_named() {
        let made = json!({ "a": 5.0, "b": "x", "c": [1, 2], "d": null, "e": { "f": 1 } });
        let same = json!({ "a": 5, "b": "x", "c": [1.0, 2], "e": { "f": 1.0 } });
        assert!(differ(&same, &made).is_empty());
        let other = json!({ "a": 6, "b": "y", "c": [1, 3], "d": 1, "e": {}, "g": 1 });
        assert_eq!(
            differ(&other, &made),
            ["a", "b", "c", "d", "e.f", "g"].map(|name| format!("figures.{name}"))
        );
        assert_eq!(differ(&json!([1]), &json!([1, 2])), ["figures"]);
    }

    /// Protects records that were written before it was told whether a map
    /// stands out of its noise: all of those do.
    #[test]
    fn old_records_claim_that_they_stand_out() {
        let (old, empty) = (json!({ "known": 1 }), "figures.stands_out");
        let made = |stands_out| json!({ "known": 1, "stands_out": stands_out });
        assert!(differ(&old, &made(true)).is_empty());
        assert_eq!(differ(&old, &made(false)), [empty]);
    }
}
