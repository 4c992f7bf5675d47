//! TIFF 6.0 and BigTIFF.
//!
//! The pages are read here rather than through an image library because a
//! channel is one sample of a pixel at any depth (10, 12, 14 and 24 bits
//! included), as it is stored, and because only the strips and tiles under the
//! asked rows are to be unpacked, from any thread. Directories, chunk
//! arithmetic and predictors are ours; Deflate and LZW are libraries.

mod checks;

mod chunks;

mod directory;

mod page;

mod source;

mod unpack;

use std::path::Path;
use std::sync::Arc;

use self::chunks::Chunks;
use self::directory::{Directories, Directory};
use self::page::Page;
use self::source::Source;
use super::{pick_plane, text};
use crate::engine::header::{Card, Header};
use crate::io::read::{Container, Facts, Opened, Pick, ReadError, SampleKind};

/// Baseline and extension tags (TIFF 6.0) that are looked at.
mod tag {
    pub const NEW_SUBFILE_TYPE: u16 = 254;
    pub const IMAGE_WIDTH: u16 = 256;
    pub const IMAGE_LENGTH: u16 = 257;
    pub const BITS_PER_SAMPLE: u16 = 258;
    pub const COMPRESSION: u16 = 259;
    pub const PHOTOMETRIC: u16 = 262;
    pub const FILL_ORDER: u16 = 266;
    pub const IMAGE_DESCRIPTION: u16 = 270;
    pub const STRIP_OFFSETS: u16 = 273;
    pub const ORIENTATION: u16 = 274;
    pub const SAMPLES_PER_PIXEL: u16 = 277;
    pub const ROWS_PER_STRIP: u16 = 278;
    pub const STRIP_BYTE_COUNTS: u16 = 279;
    pub const PLANAR_CONFIGURATION: u16 = 284;
    pub const SOFTWARE: u16 = 305;
    pub const DATE_TIME: u16 = 306;
    pub const PREDICTOR: u16 = 317;
    pub const TILE_WIDTH: u16 = 322;
    pub const TILE_LENGTH: u16 = 323;
    pub const TILE_OFFSETS: u16 = 324;
    pub const TILE_BYTE_COUNTS: u16 = 325;
    pub const EXTRA_SAMPLES: u16 = 338;
    pub const SAMPLE_FORMAT: u16 = 339;
}

/// Opens one page: `pick.hdu` from 0, else the first that is not marked as a
/// reduced copy of another.
///
/// # Errors
/// [`ReadError`], as in [`super::open`].
pub fn open(path: &Path, pick: Pick) -> Result<Opened, ReadError> {
    let source = Arc::new(Source::open(path)?);
    let directories = Directories::new(&source)?;
    let mut notices = Vec::new();
    let (pages, broken) = directories.pages()?;
    let index = match pick.hdu {
        Some(index) if index < pages.len() => index,
        Some(index) => {
            let last = pages.len() - 1;
            return Err(ReadError::Pick {
                path: path.to_owned(),
                what: format!(
                    "there is no page {index}: pages count from 0 and the last is {last}"
                ),
                hint: if last == 0 {
                    "leave `hdu` out".to_owned()
                } else {
                    format!("say `hdu = N` with N from 0 to {last}")
                },
            });
        }
        None => pages.iter().position(|page| !is_reduced(page)).unwrap_or(0),
    };
    if pick.hdu.is_none() && pages.len() > 1 {
        notices.push(format!(
            "the file has {} pages; page {index} is read, `hdu = N` picks another",
            pages.len()
        ));
    }
    notices.extend(broken);
    let directory = &pages[index];
    let page = Page::new(&source, directory)?;
    let names = page.plane_names();
    let plane = pick_plane(path, pick.plane, &names, page.colours)?;
    page.check_plane(&source, plane - 1)?;
    notices.extend(page.notices());
    let facts = Facts {
        path: path.to_owned(),
        container: Container::Tiff,
        packing: page.packing_in_words(),
        sample: page.sample,
        size: page.size,
        planes: names.len(),
        plane,
        hdu: index,
        ceiling: (page.sample.kind == SampleKind::Unsigned)
            .then(|| (2.0_f64).powi(i32::from(page.sample.bits)) - 1.0),
        header: header(directory),
        notices,
    };
    Ok(Opened {
        facts,
        rows: Box::new(Chunks::new(source, page, plane - 1)),
    })
}

/// One line for each page.
///
/// # Errors
/// [`ReadError`] where not even the first directory can be read.
pub fn list(path: &Path) -> Result<Vec<String>, ReadError> {
    let source = Arc::new(Source::open(path)?);
    let (pages, broken) = Directories::new(&source)?.pages()?;
    let mut lines: Vec<String> = pages
        .iter()
        .enumerate()
        .map(|(index, directory)| match Page::new(&source, directory) {
            Ok(page) => {
                let names = page.plane_names();
                let planes = match names.len() {
                    1 => "1 plane".to_owned(),
                    count => format!("{count} planes"),
                };
                let sample = page.sample_in_words();
                format!("page {index}: {}, {planes}, {sample}", page.size)
            }
            Err(error) => format!("page {index}: {error}"),
        })
        .collect();
    lines.extend(broken);
    Ok(lines)
}

/// Whether the page is a reduced copy or a mask of another (NewSubfileType bits 0 and 2).
fn is_reduced(directory: &Directory<'_>) -> bool {
    matches!(directory.number(tag::NEW_SUBFILE_TYPE), Ok(Some(bits)) if bits & 0b101 != 0)
}

/// What the tags say, under FITS names. Tags that cannot be read are left out.
fn header(directory: &Directory<'_>) -> Header {
    let read = |tag| directory.text(tag).filter(|text| !text.trim().is_empty());
    let mut cards: Vec<Card> = Vec::new();
    if let Some(description) = read(tag::IMAGE_DESCRIPTION) {
        cards.extend(text::cards(&description));
    }
    let mut add = |card: Card| {
        if !cards.iter().any(|known| known.keyword == card.keyword) {
            cards.push(card);
        }
    };
    if let Some(date) = read(tag::DATE_TIME).and_then(|text| text::date(&text)) {
        add(text::text_card("DATE", &date));
    }
    if let Some(software) = read(tag::SOFTWARE) {
        add(text::text_card("CREATOR", &software));
    }
    Header {
        cards,
        inherited: Vec::new(),
    }
}
