//! A catalogue of stars with their colours: a table in text.
//!
//! Cells are parted by commas, semicolons, tabs, bars or blanks, told by the
//! line of names; `#` begins a comment; quotes, a byte-order mark and any line
//! ends are understood. Columns are known by their names, capitals or not, other
//! columns are left alone. A row of units and one of dashes may follow the names.
//! A cell stays within its line. Right ascension and declination come in degrees or
//! as hours (degrees), minutes and seconds (`05 35 17.3`, `05:35:17.3`).

mod angle;

mod columns;

mod heading;

mod lines;

use std::io::Read as _;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use crate::engine::balance::CatalogueStar;
use columns::Columns;
use lines::Lines;

/// No larger file is read, bytes.
pub const MOST_BYTES: u64 = 256 << 20;

/// No more stars are kept.
pub const MOST_STARS: usize = 2_000_000;

/// A catalogue that was read.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Catalogue {
    /// Its stars, in the order of the file.
    pub stars: Vec<CatalogueStar>,
    /// Rows that lack a position or every colour.
    pub skipped: usize,
}

/// Why a catalogue cannot be read: what and where, then the next step.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}{}: {what}", path.display(), at(*line, column))]
pub struct CatalogueError {
    /// The file.
    pub path: PathBuf,
    /// The line, from 1; None where the whole file is meant.
    pub line: Option<u64>,
    /// The column's name in the file; empty where none is meant.
    pub column: String,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: String,
}

fn at(line: Option<u64>, column: &str) -> String {
    match (line, column) {
        (None, _) => String::new(),
        (Some(line), "") => format!(", line {line}"),
        (Some(line), column) => format!(", line {line}, column `{column}`"),
    }
}

/// Where and what, before the file's name is known.
#[derive(Debug)]
struct Trouble {
    line: Option<u64>,
    column: String,
    what: String,
    hint: &'static str,
}

const NAMES_HINT: &str =
    "name the columns in the first line: ra, dec, and b-v or bp-rp (or B and V, or BP and RP)";

/// Rows between two words with the caller.
const ROWS_AT_ONCE: usize = 4096;

/// Reads a catalogue. `tick` hears how many bytes of how many are done, and may
/// break off.
///
/// # Errors
/// [`CatalogueError`]: no such file, too large, no text, no columns to use, a
/// cell that is no number or goes on in the next line, or `tick` broke off.
pub fn read(
    path: &Path,
    tick: &dyn Fn(usize, usize) -> ControlFlow<()>,
) -> Result<Catalogue, CatalogueError> {
    let whole = |what: String, hint: &str| CatalogueError {
        path: path.to_owned(),
        line: None,
        column: String::new(),
        what,
        hint: hint.to_owned(),
    };
    let system = |error: std::io::Error| {
        whole(
            error.to_string(),
            "check the path, the permissions and the disk",
        )
    };
    let mut bytes = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes))
        .map_err(system)?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(whole(
            format!("the catalogue is larger than {} MiB", MOST_BYTES >> 20),
            "keep the rows of this field and the columns of position and colour alone",
        ));
    }
    parse(&bytes, tick).map_err(|trouble| CatalogueError {
        path: path.to_owned(),
        line: trouble.line,
        column: trouble.column,
        what: trouble.what,
        hint: trouble.hint.to_owned(),
    })
}

/// What parts the cells of a line of names.
fn separator(names: &str) -> Option<u8> {
    let outside: String = names.split('"').step_by(2).collect();
    [b'\t', b';', b',', b'|']
        .into_iter()
        .find(|mark| outside.as_bytes().contains(mark))
}

// What is a table in no way is told by its first bytes, without showing them.
fn check_kind(bytes: &[u8]) -> Result<(), Trouble> {
    let what = if bytes.starts_with(b"SIMPLE  =") {
        "this is a FITS file; a catalogue is a table in text (CSV)"
    } else if bytes.iter().take(4096).any(|byte| *byte == 0) {
        "this is no text; a catalogue is a table in text (CSV)"
    } else {
        return Ok(());
    };
    Err(Trouble {
        line: None,
        column: String::new(),
        what: what.to_owned(),
        hint: "save the table of stars as CSV, with columns ra, dec, and b-v or bp-rp",
    })
}

// A quote that is not closed takes the rows below it into its cell.
fn closed(record: &csv::StringRecord, line: Option<u64>) -> Result<(), Trouble> {
    if record.iter().any(|cell| cell.contains(['\n', '\r'])) {
        return Err(Trouble {
            line,
            column: String::new(),
            what: "a quote opens a cell that does not end in its line".to_owned(),
            hint: "close the quote, or take it and the line break in the cell away",
        });
    }
    Ok(())
}

fn parse(
    bytes: &[u8],
    tick: &dyn Fn(usize, usize) -> ControlFlow<()>,
) -> Result<Catalogue, Trouble> {
    check_kind(bytes)?;
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let text = String::from_utf8_lossy(bytes);
    let is_names = |line: &&str| !line.trim().is_empty() && !line.trim_start().starts_with('#');
    // A lone return ends a line too, as the table's reader sees it.
    let Some(names) = text.split(['\n', '\r']).find(is_names) else {
        return Err(Trouble {
            line: None,
            column: String::new(),
            what: "the catalogue has no rows".to_owned(),
            hint: NAMES_HINT,
        });
    };
    let mark = separator(names);
    // Blanks part cells only where nothing else does; runs of them count once.
    let spaced;
    let (table, mark) = match mark {
        Some(mark) => (text.as_ref(), mark),
        None => {
            let lines = text.lines().map(|line| {
                let words: Vec<_> = line.split_whitespace().collect();
                words.join(" ")
            });
            spaced = lines.collect::<Vec<_>>().join("\n");
            (spaced.as_str(), b' ')
        }
    };
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(mark)
        .comment(Some(b'#'))
        .flexible(true)
        .has_headers(false)
        .trim(csv::Trim::All)
        .from_reader(table.as_bytes());
    let mut columns: Option<Columns> = None;
    let mut catalogue = Catalogue {
        stars: Vec::new(),
        skipped: 0,
    };
    let mut record = csv::StringRecord::new();
    let mut is_heading = true;
    let mut lines = Lines::new(table);
    for row in 0.. {
        if row % ROWS_AT_ONCE == 0 {
            let done = reader.position().byte() as usize;
            if tick(done.min(table.len()), table.len()).is_break() {
                return Err(Trouble {
                    line: None,
                    column: String::new(),
                    what: "stopped before all rows were read".to_owned(),
                    hint: "",
                });
            }
        }
        let more = reader.read_record(&mut record).map_err(|error| Trouble {
            line: error.position().map(csv::Position::line),
            column: String::new(),
            what: "the row cannot be read".to_owned(),
            hint: "save the catalogue as a plain table in text",
        })?;
        if !more {
            break;
        }
        let line = record
            .position()
            .map(|position| lines.number_at(position.byte() as usize));
        closed(&record, line)?;
        let Some(known) = &columns else {
            columns = Some(Columns::new(&record, line)?);
            continue;
        };
        if record.iter().all(str::is_empty) {
            continue;
        }
        is_heading = is_heading && heading::belongs(&record);
        if is_heading {
            continue;
        }
        match known.star(&record, line)? {
            Some(_) if catalogue.stars.len() >= MOST_STARS => {
                return Err(Trouble {
                    line,
                    column: String::new(),
                    what: format!("the catalogue has more than {MOST_STARS} stars"),
                    hint: "keep the rows of this field alone",
                });
            }
            Some(star) => catalogue.stars.push(star),
            None => catalogue.skipped += 1,
        }
    }
    Ok(catalogue)
}

#[cfg(test)]
mod tests;
