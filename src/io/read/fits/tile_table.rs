//! The table that holds compressed tiles, checked before anything decodes it.
//!
//! Source: FITS standard 4.0, sections 7.3.5 (descriptors) and 10.1 (tiles).

use std::fs::File;

use super::layout::{Hdu, dimensions, first, first_text, product, required};
use super::values::Stored;
use super::walk::{FileForward, Forward};
use crate::engine::frame::BAND_ROWS;
use crate::engine::header::{Card, Value};

/// Pixels of one tile, at most: a decoder holds a whole tile.
const LARGEST_TILE: u64 = 1 << 30;

/// Pixels for each byte of the file, at most.
const LARGEST_GROWTH: u64 = 1 << 16;

/// The compressions that exist.
const KINDS: [&str; 7] = [
    "RICE_1",
    "RICE_ONE",
    "GZIP_1",
    "GZIP_2",
    "HCOMPRESS_1",
    "PLIO_1",
    "NOCOMPRESS",
];

/// What a sound table of tiles says.
#[derive(Clone)]
pub(super) struct Tiles {
    /// Its compression: `RICE_1`.
    pub kind: String,
    /// Rows that are best decoded at a time.
    pub step: usize,
}

/// Why a table of tiles is not decoded: one clause.
pub(super) enum Refusal {
    /// It contradicts itself or the file.
    Damaged(String),
    /// It is of a kind that no decoder here knows.
    Unknown(String),
}

impl From<String> for Refusal {
    fn from(what: String) -> Self {
        Self::Damaged(what)
    }
}

/// Checks the table of tiles before anything decodes it.
///
/// # Errors
/// What is wrong with it.
pub(super) fn check(file: &File, length: u64, hdu: &Hdu) -> Result<Tiles, Refusal> {
    let cards = &hdu.header.cards;
    let kind =
        first_text(cards, "ZCMPTYPE").ok_or("ZCMPTYPE is missing from the header".to_owned())?;
    if !KINDS.contains(&kind.as_str()) {
        return Err(Refusal::Unknown(format!(
            "its compression `{kind}` is unknown"
        )));
    }
    Stored::from_bitpix(hdu.facts.bitpix)
        .ok_or_else(|| format!("ZBITPIX is {}", hdu.facts.bitpix))?;
    let axes = &hdu.facts.axes;
    let pixels = product(axes)?;
    if pixels > length.saturating_mul(LARGEST_GROWTH) {
        let shape = dimensions(axes);
        return Err(Refusal::Damaged(format!(
            "{shape} pixels cannot come out of a file of {length} bytes"
        )));
    }
    let (mut tiles, mut tile_pixels, mut tile_rows) = (1_u64, 1_u64, 1_u64);
    for (axis, length) in axes.iter().enumerate() {
        let name = format!("ZTILE{}", axis + 1);
        // Absent tile sizes mean tiles of one row.
        let tile = match first(cards, &name) {
            None => {
                if axis == 0 {
                    *length
                } else {
                    1
                }
            }
            Some(_) => u64::try_from(required(cards, &name)?).unwrap_or(0),
        };
        if tile == 0 {
            return Err(Refusal::Damaged(format!("{name} is not above zero")));
        }
        if axis == 1 {
            tile_rows = tile;
        }
        tiles = tiles.saturating_mul(length.div_ceil(tile));
        tile_pixels = tile_pixels.saturating_mul(tile.min(*length));
    }
    if tile_pixels > LARGEST_TILE {
        return Err(Refusal::Damaged(format!(
            "its tiles have {tile_pixels} pixels each"
        )));
    }
    let rows = u64::try_from(required(cards, "NAXIS2")?).unwrap_or(0);
    if rows != tiles {
        return Err(Refusal::Damaged(format!(
            "its table has {rows} rows for {tiles} tiles"
        )));
    }
    let end = hdu.data_start().saturating_add(hdu.data_bytes);
    if end > length {
        return Err(Refusal::Damaged(format!(
            "its tiles are cut short: {} bytes are missing",
            end - length
        )));
    }
    check_parameters(cards, &kind)?;
    check_descriptors(file, hdu, rows)?;
    let raw =
        |card: &Card| matches!(&card.value, Some(Value::Text(text)) if text == "UNCOMPRESSED_DATA");
    if kind == "NOCOMPRESS" && !cards.iter().any(raw) {
        let what = "its tiles are said to be uncompressed, but lie where compressed ones do";
        return Err(Refusal::Unknown(what.to_owned()));
    }
    Ok(Tiles {
        kind,
        step: step(axes, tile_rows),
    })
}

/// Whole rows of tiles, at least a band, so that no tile is decoded twice; a
/// band where that would be too much.
fn step(axes: &[u64], tile_rows: u64) -> usize {
    let band = BAND_ROWS as u64;
    let rows = band.next_multiple_of(tile_rows.clamp(1, axes[1]));
    let most = LARGEST_TILE / 4 / axes[0];
    if rows <= most.max(band) {
        rows as usize
    } else {
        BAND_ROWS
    }
}

/// The parameters of the RICE decoder; a block of no pixels would divide by 0.
fn check_parameters(cards: &[Card], kind: &str) -> Result<(), String> {
    if !kind.starts_with("RICE") {
        return Ok(());
    }
    for index in 1..=9 {
        let Some(name) = first_text(cards, &format!("ZNAME{index}")) else {
            continue;
        };
        let value = required(cards, &format!("ZVAL{index}"))?;
        let sound = match name.as_str() {
            "BLOCKSIZE" => (1..=4096).contains(&value),
            "BYTEPIX" => matches!(value, 1 | 2 | 4 | 8),
            _ => true,
        };
        if !sound {
            return Err(format!("its {name} is {value}"));
        }
    }
    Ok(())
}

/// A column of descriptors: where each row's tile lies in the heap.
struct Descriptor {
    /// Offset in the row.
    at: usize,
    /// Two 64-bit numbers instead of two of 32 bits.
    wide: bool,
    /// Bytes of one element in the heap.
    element: u64,
}

/// Sees that every tile lies inside the heap.
fn check_descriptors(file: &File, hdu: &Hdu, rows: u64) -> Result<(), String> {
    let cards = &hdu.header.cards;
    let row_bytes = usize::try_from(required(cards, "NAXIS1")?).unwrap_or(0);
    let (columns, width) = descriptors(cards)?;
    if width != row_bytes || row_bytes == 0 {
        return Err(format!(
            "its table rows have {row_bytes} bytes, their columns {width}"
        ));
    }
    let heap = match first(cards, "THEAP") {
        None => rows.saturating_mul(row_bytes as u64),
        Some(_) => u64::try_from(required(cards, "THEAP")?).unwrap_or(u64::MAX),
    };
    let position = hdu.data_start();
    let mut source = FileForward {
        file,
        length: u64::MAX,
        position,
    };
    let piece_rows = (1_usize << 16).div_ceil(row_bytes);
    // The whole data lie inside the file, so a row does too.
    let mut bytes = vec![0; piece_rows * row_bytes];
    let mut row = 0;
    while row < rows {
        let count = (rows - row).min(piece_rows as u64) as usize * row_bytes;
        let found = source
            .read(&mut bytes[..count])
            .map_err(|error| error.to_string())?;
        if found < count {
            return Err("its table of tiles is cut short".to_owned());
        }
        for (index, raw) in bytes[..count].chunks_exact(row_bytes).enumerate() {
            for column in &columns {
                let (size, offset) = column.read(raw);
                let end = size
                    .checked_mul(column.element)
                    .and_then(|size| size.checked_add(offset)?.checked_add(heap));
                if size > 0 && end.is_none_or(|end| end > hdu.data_bytes) {
                    let tile = row + index as u64 + 1;
                    return Err(format!("tile {tile} lies outside its data"));
                }
            }
        }
        row += piece_rows as u64;
    }
    Ok(())
}

impl Descriptor {
    /// How many elements, and where in the heap.
    fn read(&self, row: &[u8]) -> (u64, u64) {
        let number = |at: usize, bytes: usize| {
            row[at..at + bytes]
                .iter()
                .fold(0_u64, |all, byte| all << 8 | u64::from(*byte))
        };
        if self.wide {
            (number(self.at, 8), number(self.at + 8, 8))
        } else {
            (number(self.at, 4), number(self.at + 4, 4))
        }
    }
}

/// The descriptor columns, and the bytes of a whole row.
fn descriptors(cards: &[Card]) -> Result<(Vec<Descriptor>, usize), String> {
    let fields = required(cards, "TFIELDS")?;
    if !(1..=999).contains(&fields) {
        return Err(format!("TFIELDS is {fields}"));
    }
    let (mut columns, mut width, mut pictures) = (Vec::new(), 0_usize, 0);
    for field in 1..=fields {
        let name = format!("TFORM{field}");
        let form = first_text(cards, &name).ok_or_else(|| format!("{name} is missing"))?;
        let digits = form
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(form.len());
        let repeat = form[..digits].parse::<u32>().unwrap_or(1) as usize;
        let mut letters = form[digits..].chars();
        let code = letters.next().unwrap_or(' ');
        let unknown = || format!("{name} is `{form}`");
        let one = element_bytes(code).ok_or_else(unknown)?;
        if matches!(code, 'P' | 'Q') && repeat == 1 {
            let element = letters.next().and_then(element_bytes).ok_or_else(unknown)? as u64;
            columns.push(Descriptor {
                at: width,
                wide: code == 'Q',
                element,
            });
            let title = first_text(cards, &format!("TTYPE{field}")).unwrap_or_default();
            pictures += usize::from(title.eq_ignore_ascii_case("COMPRESSED_DATA"));
        }
        width += if code == 'X' {
            repeat.div_ceil(8)
        } else {
            repeat * one
        };
    }
    if pictures == 0 {
        return Err("its table has no column COMPRESSED_DATA".to_owned());
    }
    Ok((columns, width))
}

/// Bytes of one element of a table column.
fn element_bytes(code: char) -> Option<usize> {
    Some(match code {
        'L' | 'X' | 'B' | 'A' => 1,
        'I' => 2,
        'J' | 'E' => 4,
        'K' | 'D' | 'C' | 'P' => 8,
        'M' | 'Q' => 16,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_rows_of_tiles_are_decoded_at_a_time() {
        assert_eq!(step(&[5000, 4000], 1), 64);
        assert_eq!(step(&[5000, 4000], 100), 100);
        assert_eq!(step(&[5000, 4000], 16), 64);
        assert_eq!(step(&[5000, 4000], 4000), 4000);
        assert_eq!(step(&[5000, 4000], 9999), 4000);
        assert_eq!(step(&[1 << 20, 4000], 4000), 64);
    }

    #[test]
    fn columns_and_their_bytes() {
        let card = |keyword: &str, value: Value| Card {
            keyword: keyword.to_owned(),
            value: Some(value),
            comment: String::new(),
        };
        let text = |text: &str| Value::Text(text.to_owned());
        let mut cards = vec![
            card("TFIELDS", Value::Integer(4)),
            card("TFORM1", text("1D")),
            card("TFORM2", text("1QI(77)")),
            card("TFORM3", text("12X")),
            card("TFORM4", text("PB")),
            card("TTYPE2", text("COMPRESSED_DATA")),
        ];
        let (columns, width) = descriptors(&cards).expect("a sound table");
        assert_eq!(width, 8 + 16 + 2 + 8);
        assert_eq!(
            (columns[0].at, columns[0].wide, columns[0].element),
            (8, true, 2)
        );
        assert_eq!(
            (columns[1].at, columns[1].wide, columns[1].element),
            (26, false, 1)
        );
        cards[4] = card("TFORM4", text("1Z"));
        assert!(descriptors(&cards).is_err());
    }
}
