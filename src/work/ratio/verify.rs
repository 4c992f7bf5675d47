//! Whether the record of a map still holds: the inputs, the map, and the same
//! map made again.

use std::path::{Path, PathBuf};

use serde_json::Value;

use super::told::Told;
use super::{Request, made};
use crate::engine::recipe::Channel;
use crate::io::record::value;
use crate::io::write::WriteError;
use crate::work::inputs::{folder_of, sha256};
use crate::work::verify::{Check, Verdict, check_input, find};
use crate::work::{Control, Error};

/// Looks at everything that the record of a map promises. Inputs are looked for
/// where it says, then beside it, then in `extra_folder`.
///
/// # Errors
/// When the job is stopped. What does not hold is no error.
pub fn verify(
    told: &Told,
    record_path: &Path,
    extra_folder: Option<&Path>,
    control: Control<'_>,
) -> Result<Verdict, Error> {
    let folder = folder_of(record_path);
    let mut checks = Vec::new();
    let mut found: Vec<(&str, Option<PathBuf>)> = Vec::new();
    for input in &told.inputs {
        let place = find(folder, extra_folder, &input.file);
        let file = (input.channel.as_str(), &input.file, input.sha256.as_str());
        checks.push(check_input(file, place.as_deref(), control)?);
        found.push((&input.channel, place));
    }
    checks.push(check_map(told, folder, control)?);
    checks.extend(check_again(told, &found, control)?);
    let holds = checks.iter().all(|check| check.holds);
    Ok(Verdict { holds, checks })
}

// A failure is a verdict; only a stop is not.
fn said(answer: Result<(bool, String), Error>) -> Result<(bool, String), Error> {
    match answer {
        Err(Error::Cancelled) => Err(Error::Cancelled),
        Err(error) => Ok((false, error.to_string())),
        told => told,
    }
}

fn check_map(told: &Told, folder: &Path, control: Control<'_>) -> Result<Check, Error> {
    let map = folder.join(&told.map.file);
    let (holds, detail) = if map.is_file() {
        said(
            sha256(&map, control).map(|hash| match hash == told.map.sha256 {
                true => (true, "unchanged".to_owned()),
                false => (false, "changed since the record was made".to_owned()),
            }),
        )?
    } else {
        (false, "missing from beside the record".to_owned())
    };
    Ok(Check {
        what: "map".to_owned(),
        file: Some(told.map.file.clone()),
        holds,
        detail,
    })
}

fn check_again(
    told: &Told,
    found: &[(&str, Option<PathBuf>)],
    control: Control<'_>,
) -> Result<Vec<Check>, Error> {
    let mut checks = Vec::new();
    let mut check = |what: &str, (holds, detail): (bool, String)| {
        checks.push(Check {
            what: what.to_owned(),
            file: None,
            holds,
            detail,
        });
    };
    let words = |holds: bool, yes: &str, no: &str| {
        let detail = if holds { yes } else { no };
        (holds, detail.to_owned())
    };
    if found.iter().any(|(_, place)| place.is_none()) {
        let why = "not made again: an input is missing";
        check("ratios", (false, why.to_owned()));
        return Ok(checks);
    }
    match again(told, found, control) {
        Ok((hash, record)) => {
            let same = words(
                hash == told.map.sha256,
                "made again, the same to the last bit",
                "made again, and they differ",
            );
            check("ratios", same);
            let untrue = told.untrue(&record);
            let same = match untrue.is_empty() {
                true => "as they come out again".to_owned(),
                false => format!("they come out otherwise: {}", untrue.join(", ")),
            };
            check("words, figures", (untrue.is_empty(), same));
        }
        Err(Error::Cancelled) => return Err(Error::Cancelled),
        Err(error) => check("ratios", (false, error.to_string())),
    }
    Ok(checks)
}

fn again(
    told: &Told,
    found: &[(&str, Option<PathBuf>)],
    control: Control<'_>,
) -> Result<(String, Value), Error> {
    let scratch = tempfile::tempdir().map_err(WriteError::disk(&std::env::temp_dir()))?;
    let name = told.map.file.rsplit('/').next().unwrap_or("map.fits");
    let request = Request {
        recipe: told.recipe.clone(),
        folder: scratch.path().to_owned(),
        file: None,
        ratio: told.ratio.clone(),
        out: scratch.path().join(name),
    };
    let place = |channel: &Channel| {
        let known = found.iter().find(|(id, _)| *id == channel.id);
        known.and_then(|(_, place)| place.clone()).ok_or_else(|| {
            Error::request(
                format!("the record lists no input for the channel {}", channel.id),
                "the record was edited; restore it",
            )
        })
    };
    let done = made(&request, &place, control)?;
    // Read as the claimed one was, so that its numbers are as well.
    let record = value(&done.record)?;
    Ok((sha256(&request.out, control)?, record))
}
