//! What goes along with a page: records as they were given, composites as they
//! were made.

use std::fs;
use std::path::PathBuf;

use super::files::Staging;
use super::subject::Given;
use super::{Request, is_one_file};
use crate::io::write::{Format, WriteError, format_of};
use crate::work::inputs::sha256;
use crate::work::targets::bytes_words;
use crate::work::{Control, Error};

/// The largest composite that goes into a page of one file, bytes.
const LARGEST_WITHIN: u64 = 64 << 20;

/// A file that a reader can take along.
pub struct Download {
    /// Its path in the page's folder.
    pub file: String,
    /// What it is.
    pub what: &'static str,
    /// Its kind, as an address has it.
    pub mime: &'static str,
}

/// The record as it was given, and the composite where that is asked for.
///
/// # Errors
/// When the composite cannot go along, or the job is stopped.
pub fn along(
    given: &Given,
    request: &Request,
    staging: &mut Staging,
    control: Control<'_>,
) -> Result<Vec<Download>, Error> {
    let id = &given.record.rendition;
    let name = given.path.file_name().unwrap_or_default();
    let file = format!("files/{id}/{}", name.to_string_lossy());
    staging.add(&file, &given.bytes)?;
    let mut downloads = vec![record_at(file)];
    if !request.with_composite {
        return Ok(downloads);
    }
    control.progress.report("copying the composite", 0, 1);
    let path = own_composite(given, control)?;
    let bytes = fs::metadata(&path).map_or(0, |about| about.len());
    if is_one_file(&request.out) && bytes > LARGEST_WITHIN {
        return Err(Error::request(
            format!(
                "{} is too large for a page of one file ({})",
                path.display(),
                bytes_words(bytes)
            ),
            "name a folder for the page, or leave `--with-composite` out",
        ));
    }
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let file = format!("files/{id}/{name}");
    let out = staging.room_for(&file)?;
    fs::copy(&path, &out).map_err(WriteError::disk(&out))?;
    staging.keep(&file);
    downloads.push(Download {
        file,
        what: "The composite, as it was made",
        mime: match format_of(&path) {
            Ok(Format::Tiff) => "image/tiff",
            Ok(Format::Png) => "image/png",
            Ok(Format::Jpeg) => "image/jpeg",
            Ok(Format::Fits) => "image/fits",
            Err(_) => "application/octet-stream",
        },
    });
    Ok(downloads)
}

/// A record among the downloads.
pub fn record_at(file: String) -> Download {
    Download {
        file,
        what: "The record: which line went where, and the whole recipe",
        mime: "application/json",
    }
}

/// The composite that a record tells of, unchanged.
///
/// # Errors
/// When it is not there or another one.
pub fn own_composite(given: &Given, control: Control<'_>) -> Result<PathBuf, Error> {
    let record = given.path.display();
    let Some(path) = given.composite() else {
        return Err(Error::request(
            format!("{record} names a composite in another folder"),
            "the record was edited; restore it",
        ));
    };
    if !path.is_file() {
        return Err(Error::request(
            format!("neither the inputs nor {} are at hand", path.display()),
            "put the composite beside its record, or name the inputs' folder with --inputs",
        ));
    }
    if sha256(&path, control)? != given.record.composite.sha256 {
        return Err(Error::request(
            format!("{} changed since its record was made", path.display()),
            "restore it, or compose it again",
        ));
    }
    Ok(path)
}
