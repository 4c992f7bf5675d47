//! TIFF and PNG pictures as rows of stored values.
//!
//! Code values come out as they stand in the file: 0..255, 0..65535, or the
//! float itself. No tag or chunk about tone, colour or inversion is applied;
//! where one would change what a viewer shows, a notice says so.

pub mod png;

pub mod samples;

pub mod text;

pub mod tiff;

use std::fs::File;
use std::io::{self, Read as _};
use std::path::Path;

use super::{Container, Opened, Pick, ReadError};
use crate::engine::frame::{RowsError, Size};

/// The most that may be held in memory of one picture at a time, in bytes: a
/// compressed strip, a row of tiles or an interlaced picture, as 32-bit floats.
pub const HELD_AT_MOST: u64 = 1 << 30;

/// How many times its packed length a Deflate stream can become: 258 bytes for
/// two bits (RFC 1951), 1032 in all, and some slack for headers.
pub const DEFLATE_FACTOR: u64 = 1040;

/// The kind of file, if its first bytes (8 are enough) are those of a TIFF or PNG.
pub fn sniff(first_bytes: &[u8]) -> Option<Container> {
    let starts = |mark: &[u8]| first_bytes.starts_with(mark);
    if [b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"]
        .iter()
        .any(|mark| starts(*mark))
    {
        Some(Container::Tiff)
    } else if starts(b"\x89PNG\r\n\x1a\n") {
        Some(Container::Png)
    } else {
        None
    }
}

/// The name of a well-known kind of file that is never a stack, by its first
/// bytes (16 are enough); None where they say nothing.
pub fn foreign(first_bytes: &[u8]) -> Option<&'static str> {
    let starts = |mark: &[u8]| first_bytes.starts_with(mark);
    if starts(b"\xff\xd8\xff") {
        Some("JPEG")
    } else if starts(b"GIF87a") || starts(b"GIF89a") {
        Some("GIF")
    } else if starts(b"RIFF") && first_bytes.get(8..12) == Some(b"WEBP") {
        Some("WebP")
    } else if starts(b"\xff\x0a") || starts(b"\0\0\0\x0cJXL \r\n\x87\n") {
        Some("JPEG XL")
    } else if starts(b"\0\0\0\x0cjP  \r\n\x87\n") {
        Some("JPEG 2000")
    } else if starts(b"%PDF-") {
        Some("PDF")
    } else if starts(b"PK\x03\x04") {
        Some("ZIP")
    } else if starts(b"<!DOCTYPE html") || starts(b"<!doctype html") || starts(b"<html") {
        Some("HTML")
    } else {
        None
    }
}

/// Opens the picture that `pick` names. `pick.hdu` counts TIFF pages from 0;
/// `pick.plane` counts the samples of a pixel from 1.
///
/// # Errors
/// [`ReadError`]: files that are neither TIFF nor PNG, palettes, lossy or
/// unknown compression, planes and pages that are not there, damage.
pub fn open(path: &Path, pick: Pick) -> Result<Opened, ReadError> {
    let first_bytes = first_bytes(path)?;
    match sniff(&first_bytes) {
        Some(Container::Tiff) => tiff::open(path, pick),
        Some(Container::Png) => png::open(path, pick),
        _ => Err(unknown(path, &first_bytes)),
    }
}

/// One line for each page of a TIFF (a PNG has one), for people to choose from.
///
/// # Errors
/// As [`open`]; a page that cannot be read as a picture gets a line that says why.
pub fn list(path: &Path) -> Result<Vec<String>, ReadError> {
    let first_bytes = first_bytes(path)?;
    match sniff(&first_bytes) {
        Some(Container::Tiff) => tiff::list(path),
        Some(Container::Png) => png::list(path),
        _ => Err(unknown(path, &first_bytes)),
    }
}

/// What is said of a file that is neither TIFF nor PNG.
fn unknown(path: &Path, first_bytes: &[u8]) -> ReadError {
    match foreign(first_bytes) {
        Some(name @ ("JPEG" | "GIF" | "WebP" | "JPEG XL" | "JPEG 2000")) => unsuitable(
            path,
            format!("this is a {name} file, a finished picture and not a stack"),
            "give the stacked image itself, saved as FITS, TIFF or PNG",
        ),
        Some(name) => unsuitable(
            path,
            format!("this is a {name} file, which holds no picture for a channel"),
            "give the stacked image itself, saved as FITS, TIFF or PNG",
        ),
        None => unsuitable(
            path,
            "this is neither a TIFF nor a PNG file".to_owned(),
            "give the stacked image itself, saved as FITS, TIFF or PNG",
        ),
    }
}

/// The first bytes of a file, 16 of them or as many as it has.
fn first_bytes(path: &Path) -> Result<Vec<u8>, ReadError> {
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(16).read_to_end(&mut bytes))
        .map_err(|error| system(path, &error))?;
    Ok(bytes)
}

/// Settles which of `names.len()` planes is meant, from 1. Without a wish it is
/// the only one, or the first where all others are `extra` (alpha).
fn pick_plane(
    path: &Path,
    wish: Option<usize>,
    names: &[String],
    colours: usize,
) -> Result<usize, ReadError> {
    let planes = names.len();
    let list = match names.len() {
        0..=6 => names.join(", "),
        _ => format!("{}, ... {}", names[..4].join(", "), names[names.len() - 1]),
    };
    match wish {
        Some(plane) if (1..=planes).contains(&plane) => Ok(plane),
        Some(plane) => Err(ReadError::Pick {
            path: path.to_owned(),
            what: format!("there is no plane {plane}: the picture has {planes} ({list})"),
            hint: if planes == 1 {
                "leave `plane` out".to_owned()
            } else {
                format!("say `plane = N` with N from 1 to {planes}")
            },
        }),
        None if colours == 1 => Ok(1),
        None => Err(ReadError::Pick {
            path: path.to_owned(),
            what: format!("the picture has {planes} planes ({list}), and a channel takes one"),
            hint: format!("say `plane = N` with N from 1 to {planes}"),
        }),
    }
}

/// Checks what is asked of [`crate::engine::frame::Rows::read`]; gives the number of rows.
fn rows_asked(
    path: &Path,
    size: Size,
    first_row: usize,
    values: usize,
) -> Result<usize, RowsError> {
    let rows = values / size.width;
    let inside = first_row
        .checked_add(rows)
        .is_some_and(|end| end <= size.height);
    if values.is_multiple_of(size.width) && inside {
        Ok(rows)
    } else {
        Err(RowsError {
            message: format!(
                "{}: {values} values from row {first_row} on are not whole rows of a {size} picture",
                path.display()
            ),
            hint: String::new(),
        })
    }
}

/// The file is damaged.
fn damaged(path: &Path, what: impl Into<String>) -> ReadError {
    ReadError::Damaged {
        path: path.to_owned(),
        what: what.into(),
    }
}

/// The file is sound but cannot be used.
fn unsuitable(path: &Path, what: impl Into<String>, hint: &str) -> ReadError {
    ReadError::Unsuitable {
        path: path.to_owned(),
        what: what.into(),
        hint: hint.to_owned(),
    }
}

/// The system said no; an early end of the file counts as damage.
fn system(path: &Path, error: &io::Error) -> ReadError {
    match error.kind() {
        io::ErrorKind::UnexpectedEof => damaged(path, "the file ends too early"),
        _ => ReadError::System {
            path: path.to_owned(),
            what: format!("the file cannot be read: {error}"),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_are_told_by_their_first_bytes() {
        assert_eq!(sniff(b"II*\0\x08\0\0\0"), Some(Container::Tiff));
        assert_eq!(sniff(b"MM\0*\0\0\0\x08"), Some(Container::Tiff));
        assert_eq!(sniff(b"II+\0\x08\0\0\0"), Some(Container::Tiff));
        assert_eq!(sniff(b"MM\0+\0\x08\0\0"), Some(Container::Tiff));
        assert_eq!(sniff(b"\x89PNG\r\n\x1a\n"), Some(Container::Png));
        assert_eq!(sniff(b"II"), None);
        assert_eq!(sniff(b""), None);
        assert_eq!(sniff(b"SIMPLE  ="), None);
        assert_eq!(foreign(b"\xff\xd8\xff\xe0\0\x10JFIF"), Some("JPEG"));
        assert_eq!(foreign(b"RIFF\x10\0\0\0WEBPVP8 "), Some("WebP"));
        assert_eq!(foreign(b"RIFF\x10\0\0\0WAVEfmt "), None);
        assert_eq!(foreign(b"GIF8"), None);
    }

    #[test]
    fn a_plane_must_be_named_only_where_there_is_a_choice() {
        let path = Path::new("lantern.tif");
        let names = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>();
        let grey = names(&["grey"]);
        let with_alpha = names(&["grey", "alpha"]);
        let colour = names(&["red", "green", "blue"]);
        assert_eq!(pick_plane(path, None, &grey, 1).expect("the only one"), 1);
        assert_eq!(
            pick_plane(path, None, &with_alpha, 1).expect("not alpha"),
            1
        );
        assert_eq!(
            pick_plane(path, Some(2), &with_alpha, 1).expect("alpha is there"),
            2
        );
        assert_eq!(pick_plane(path, Some(3), &colour, 3).expect("blue"), 3);
        let error = pick_plane(path, None, &colour, 3).expect_err("three colours");
        assert!(
            error.to_string().contains("3 planes (red, green, blue)"),
            "{error}"
        );
        assert!(error.hint().contains("plane = N"));
        assert!(pick_plane(path, Some(0), &grey, 1).is_err());
        assert!(pick_plane(path, Some(4), &colour, 3).is_err());
    }
}
