//! What the user says of files, and what they say of themselves.

use std::path::Path;

use super::Request;
use crate::engine::lines::{self, Recognition};
use crate::engine::recipe::text::nearest_hint;
use crate::work::Error;

pub(super) fn name_of(file: &Path) -> String {
    file.file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}

// What the user said of a file, by its path or by its name.
pub(super) fn named<'a, T>(said: &'a [(String, T)], file: &Path) -> Option<&'a T> {
    said.iter()
        .find(|(name, _)| means(name, file))
        .map(|(_, value)| value)
}

fn means(name: &str, file: &Path) -> bool {
    Path::new(name) == file || *name == name_of(file)
}

// A name that is none of the files is a slip of the keyboard.
pub(super) fn all_meant(request: &Request) -> Result<(), Error> {
    let lines = request.lines.iter().map(|(name, _)| ("--line", name));
    let planes = request.planes.iter().map(|(name, _)| ("--plane", name));
    let hdus = request.hdus.iter().map(|(name, _)| ("--hdu", name));
    for (option, name) in lines.chain(planes).chain(hdus) {
        if !request.files.iter().any(|file| means(name, file)) {
            let names: Vec<String> = request.files.iter().map(|file| name_of(file)).collect();
            return Err(Error::request(
                format!("{option} names `{name}`, which is not among the files"),
                nearest_hint(name, names.iter().map(String::as_str)),
            ));
        }
    }
    Ok(())
}

// Id, centre and width in nm, and why.
pub(super) type Found = (String, Option<f64>, Option<f64>, String);

pub(super) fn line_of(
    request: &Request,
    file: &Path,
    recognition: &Recognition,
) -> Result<Found, Error> {
    let known = || lines::lines().iter().map(|line| line.id.as_str());
    if let Some(id) = named(&request.lines, file) {
        let Some(line) = lines::line(id) else {
            let what = format!(
                "`{id}`, named for {}, is not in the line table",
                file.display()
            );
            return Err(Error::request(what, nearest_hint(id, known())));
        };
        let width = match recognition {
            Recognition::Known {
                line: seen,
                width_nm,
                ..
            } if *seen == line.id => *width_nm,
            _ => None,
        };
        return Ok((
            line.id.clone(),
            None,
            width,
            "named on the command line".to_owned(),
        ));
    }
    let ask = |what: String, ids: &str| {
        Err(Error::request(
            format!("{}: {what}", file.display()),
            format!(
                "set its `line`: add --line '{}={ids}' (ids: {})",
                name_of(file),
                known().collect::<Vec<_>>().join(" ")
            ),
        ))
    };
    match recognition {
        Recognition::Known {
            line,
            center_nm,
            width_nm,
            why,
        } => Ok((line.clone(), *center_nm, *width_nm, why.clone())),
        Recognition::Ambiguous { candidates, why } => {
            let choice = candidates.first().map_or("ID", String::as_str);
            ask(
                format!("its line is {}: {why}", candidates.join(" or ")),
                choice,
            )
        }
        Recognition::Unknown { why } => ask(format!("its line is not known: {why}"), "Ha"),
    }
}
