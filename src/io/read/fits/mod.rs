//! FITS: plain, packed as a whole, or as compressed tiles.
//!
//! ```text
//! open      the kind of packing, by the first bytes
//! walk      from header to header          (walk, cards, layout)
//! choose    the unit and the plane         (picture)
//! rows      positioned reads               (plain, values)
//!           or decoded from the front      (packed, lzw, in_order)
//!           or decoded by a child process  (tile_table, tiled, child)
//! ```
//!
//! Source: the FITS standard, version 4.0 (2018). Headers are read by our own
//! parser, and nothing is allocated from their numbers before these have been
//! held against the length of the file.

mod cards;

mod checksum;

mod child;

mod in_order;

mod layout;

mod lzw;

mod packed;

mod picture;

mod plain;

mod tile_table;

mod tiled;

mod values;

mod walk;

use std::fs::File;
use std::path::Path;
use std::sync::Arc;

pub use self::cards::{ParsedHeader, parse_header};
pub use self::checksum::checksum_notice;
pub use self::child::{COMMAND as DECODE_COMMAND, decode_child};
pub use self::layout::{HduFacts, HduKind};

use self::packed::{PackedPicture, Packing};
use self::plain::PlainRows;
use self::tile_table::Refusal;
use self::tiled::{Source, TiledPicture};
use self::walk::{FileForward, Forward, StreamForward, Walk};
use super::{Container, Facts, Opened, Pick, ReadError};

/// Whether a file that begins with these bytes (eight or more) is for this
/// reader: FITS, or a packed file that may hold FITS.
pub fn sniff(first_bytes: &[u8]) -> bool {
    is_fits(first_bytes) || Packing::of(first_bytes).is_some()
}

/// `SIMPLE`, in any case, with only blanks up to the `=`.
fn is_fits(first_bytes: &[u8]) -> bool {
    let Some((word, rest)) = first_bytes.split_at_checked(6) else {
        return false;
    };
    let rest = &rest[..rest.len().min(24)];
    word.eq_ignore_ascii_case(b"SIMPLE")
        && rest
            .trim_ascii_start()
            .first()
            .is_none_or(|byte| *byte == b'=')
}

/// Opens one plane of one image. Only headers are read, and for compressed
/// tiles their table; see [`ReadError`] for what may be wrong.
///
/// # Errors
/// [`ReadError`], with the path in the message.
pub fn open(path: &Path, pick: Pick) -> Result<Opened, ReadError> {
    let (file, length) = regular(path)?;
    match packing(path, &file)? {
        None => open_plain(path, file, length, pick),
        Some(packing) => open_packed(path, file, length, packing, pick),
    }
}

/// Every unit of a file, in order. What follows a damaged one is left out.
///
/// # Errors
/// [`ReadError`] where not even the first header can be read.
pub fn list(path: &Path) -> Result<Vec<HduFacts>, ReadError> {
    let (file, length) = regular(path)?;
    let found = match packing(path, &file)? {
        None => walk_plain(&file, length),
        Some(packing) => walk::walk(&mut unpacked(path, file, packing)?, |_| false),
    };
    if found.hdus.is_empty() {
        picture::choose(path, Pick::default(), &found)?;
    }
    Ok(found.hdus.into_iter().map(|unit| unit.facts).collect())
}

/// An open file that is neither a folder nor a device, and its length.
fn regular(path: &Path) -> Result<(File, u64), ReadError> {
    let system = |what: String| ReadError::System {
        path: path.to_owned(),
        what,
    };
    let about = std::fs::metadata(path).map_err(|error| packed::cannot_open(path, &error))?;
    if about.is_dir() {
        return Err(system("is a folder, not a file".to_owned()));
    }
    if !about.is_file() {
        return Err(system("is no regular file".to_owned()));
    }
    let file = File::open(path).map_err(|error| packed::cannot_open(path, &error))?;
    Ok((file, about.len()))
}

fn packing(path: &Path, file: &File) -> Result<Option<Packing>, ReadError> {
    let mut first_bytes = [0; 8];
    let mut source = FileForward {
        file,
        length: u64::MAX,
        position: 0,
    };
    let count = source
        .read(&mut first_bytes)
        .map_err(|error| ReadError::System {
            path: path.to_owned(),
            what: format!("cannot be read: {error}"),
        })?;
    Ok(Packing::of(&first_bytes[..count]))
}

fn walk_plain(file: &File, length: u64) -> Walk {
    walk::walk(
        &mut FileForward {
            file,
            length,
            position: 0,
        },
        |_| false,
    )
}

fn unpacked(
    path: &Path,
    file: File,
    packing: Packing,
) -> Result<StreamForward<Box<dyn std::io::Read + Send>>, ReadError> {
    let reader = packing
        .reader(file)
        .map_err(|error| packed::unpacking(path, &error))?;
    Ok(StreamForward {
        reader,
        position: 0,
    })
}

fn open_plain(path: &Path, file: File, length: u64, pick: Pick) -> Result<Opened, ReadError> {
    let found = walk_plain(&file, length);
    let chosen = picture::choose(path, pick, &found)?;
    if found.hdus[chosen].facts.kind == HduKind::TiledImage {
        let source = Source::Named(path.to_owned());
        return open_tiled(path, &file, length, source, "", &found, chosen, pick);
    }
    let unit = &found.hdus[chosen];
    let end = unit.data_start().saturating_add(unit.data_bytes);
    if end > length {
        let what = format!(
            "HDU {} promises {} pixels ({} bytes), but {} bytes of them are missing",
            unit.facts.index,
            layout::dimensions(&unit.facts.axes),
            unit.data_bytes,
            end - length
        );
        return Err(ReadError::Damaged {
            path: path.to_owned(),
            what,
        });
    }
    let described = describe(path, "", &found, chosen, pick, Some(length))?;
    let rows = PlainRows {
        file,
        path: path.to_owned(),
        size: described.facts.size,
        coding: described.coding,
        offset: described.offset,
    };
    Ok(Opened {
        facts: described.facts,
        rows: Box::new(rows),
    })
}

fn open_packed(
    path: &Path,
    file: File,
    length: u64,
    packing: Packing,
    pick: Pick,
) -> Result<Opened, ReadError> {
    let enough = |unit: &layout::Hdu| match pick.hdu {
        Some(index) => unit.facts.index == index,
        None => unit.facts.is_picture(),
    };
    let found = walk::walk(&mut unpacked(path, file, packing)?, enough);
    let chosen = picture::choose(path, pick, &found)?;
    let unit = &found.hdus[chosen];
    if unit.facts.kind == HduKind::TiledImage {
        let target = packed::unpack(path, packing)?;
        let system = |error: std::io::Error| packed::cannot_open(path, &error);
        let file = target.reopen().map_err(system)?;
        let length = file.metadata().map_err(system)?.len();
        let source = Source::Unpacked(target);
        return open_tiled(
            path,
            &file,
            length,
            source,
            packing.name(),
            &found,
            chosen,
            pick,
        );
    }
    let described = describe(path, packing.name(), &found, chosen, pick, None)?;
    let rows = PackedPicture {
        path: path.to_owned(),
        packing,
        size: described.facts.size,
        coding: described.coding,
        offset: described.offset,
        end: unit.data_start().saturating_add(unit.data_bytes),
    }
    .open(length)?;
    Ok(Opened {
        facts: described.facts,
        rows: Box::new(rows),
    })
}

#[expect(
    clippy::too_many_arguments,
    reason = "one call site for each way a file comes"
)]
fn open_tiled(
    path: &Path,
    file: &File,
    length: u64,
    source: Source,
    packing: &str,
    found: &Walk,
    chosen: usize,
    pick: Pick,
) -> Result<Opened, ReadError> {
    let unit = &found.hdus[chosen];
    let tiles = tile_table::check(file, length, unit).map_err(|refusal| {
        let (path, index) = (path.to_owned(), unit.facts.index);
        match refusal {
            Refusal::Damaged(what) => ReadError::Damaged {
                path,
                what: format!("HDU {index}: {what}"),
            },
            Refusal::Unknown(what) => ReadError::Unsuitable {
                path,
                what: format!("HDU {index}: {what}"),
                hint: "save it without tiles, or with RICE_1 tiles".to_owned(),
            },
        }
    })?;
    let comma = if packing.is_empty() { "" } else { ", " };
    let words = format!("{packing}{comma}{} tiles", tiles.kind);
    let described = describe(path, &words, found, chosen, pick, Some(length))?;
    let facts = Facts {
        container: Container::FitsTiled,
        ..described.facts
    };
    let rows = TiledPicture {
        path: path.to_owned(),
        decoded: Arc::new(source),
        hdu: facts.hdu,
        plane: facts.plane,
        size: facts.size,
        tiles,
    }
    .rows();
    Ok(Opened {
        facts,
        rows: Box::new(rows),
    })
}

/// What the header says of the chosen plane.
struct Described {
    facts: Facts,
    coding: values::Coding,
    /// Offset of the plane's first sample, for images without tiles.
    offset: u64,
}

fn describe(
    path: &Path,
    packing: &str,
    found: &Walk,
    chosen: usize,
    pick: Pick,
    length: Option<u64>,
) -> Result<Described, ReadError> {
    let unit = &found.hdus[chosen];
    let shape = picture::shape(path, pick, &unit.facts)?;
    let coding = picture::coding(unit).map_err(|what| ReadError::Damaged {
        path: path.to_owned(),
        what: format!("HDU {}: {what}", unit.facts.index),
    })?;
    let header = picture::header(found, chosen);
    if let Some(pattern) = picture::bayer(&header).filter(|_| shape.planes == 1) {
        return Err(ReadError::Unsuitable {
            path: path.to_owned(),
            what: format!(
                "it is a colour camera's raw mosaic (BAYERPAT = {pattern}), not a grey picture"
            ),
            hint: "split the mosaic into its colours and give one of them as a grey file"
                .to_owned(),
        });
    }
    let (sample, ceiling) = picture::sample(&coding, &header);
    let plane_bytes = shape.size.pixels() as u64 * coding.stored.bytes() as u64;
    let facts = Facts {
        path: path.to_owned(),
        container: Container::Fits,
        packing: packing.to_owned(),
        sample,
        size: shape.size,
        planes: shape.planes,
        plane: shape.plane,
        hdu: unit.facts.index,
        ceiling,
        header,
        notices: picture::notices(found, chosen, length),
    };
    let offset = unit.data_start() + (shape.plane as u64 - 1) * plane_bytes;
    Ok(Described {
        facts,
        coding,
        offset,
    })
}
