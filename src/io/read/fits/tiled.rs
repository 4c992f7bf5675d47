//! Tile-compressed images: checked here, decoded in a process of their own.
//!
//! Source: FITS standard 4.0, section 10. The decoders for these tiles are C
//! code that damaged data can bring down; in a child process that is one error
//! message. See [`super::child`] for the other end.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

use super::child;
use super::in_order::{Decoder, InOrder, Start};
use super::layout::{Hdu, dimensions, first_text, product, required};
use super::values::Stored;
use super::walk::{FileForward, Forward};
use crate::engine::frame::{BAND_ROWS, RowsError, Size};
use crate::engine::header::{Card, Value};
use crate::io::read::ReadError;

/// Without a byte for so long, the decoder is taken to be stuck.
const PATIENCE: Duration = Duration::from_secs(60);

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
        let tile = match super::layout::first(cards, &name) {
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
    let heap = match super::layout::first(cards, "THEAP") {
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

/// Which tiled picture a decoder is to decode.
#[derive(Clone)]
pub(super) struct TiledPicture {
    /// The file as the user named it, for messages.
    pub path: PathBuf,
    /// The file to decode; the same unless that was packed.
    pub decoded: Arc<Source>,
    pub hdu: usize,
    /// From 1.
    pub plane: usize,
    pub size: Size,
    pub tiles: Tiles,
}

/// A file on the disk, or a temporary one that goes when nobody needs it.
pub(super) enum Source {
    Named(PathBuf),
    Unpacked(tempfile::NamedTempFile),
}

impl Source {
    fn path(&self) -> &Path {
        match self {
            Self::Named(path) => path,
            Self::Unpacked(file) => file.path(),
        }
    }
}

impl TiledPicture {
    /// Rows on demand; the decoder starts with the first one.
    pub fn rows(self) -> InOrder {
        let size = self.size;
        let start: Start =
            Box::new(move || Ok(Box::new(ChildDecoder::start(self.clone())?) as Box<dyn Decoder>));
        InOrder::new(size, start)
    }

    fn damaged(&self, what: &str) -> RowsError {
        let what = format!(
            "the {} tiles of HDU {} are damaged: {what}",
            self.tiles.kind, self.hdu
        );
        ReadError::Damaged {
            path: self.path.clone(),
            what,
        }
        .into()
    }

    fn system(&self, what: String) -> RowsError {
        ReadError::System {
            path: self.path.clone(),
            what,
        }
        .into()
    }
}

/// A decoder process and the pipe from it.
struct ChildDecoder {
    picture: TiledPicture,
    child: Child,
    bands: Receiver<Vec<f32>>,
    band: Vec<f32>,
    used: usize,
    rows: usize,
}

impl ChildDecoder {
    fn start(picture: TiledPicture) -> Result<Self, RowsError> {
        let program = child::program().ok_or_else(|| {
            picture.system("the program `linehue`, which decodes its tiles, is not found".into())
        })?;
        // An absolute name begins with none of the letters that mean something.
        let path = std::path::absolute(picture.decoded.path())
            .map_err(|error| picture.system(format!("cannot be found: {error}")))?;
        let TiledPicture {
            hdu,
            plane,
            size: Size { width, height },
            ref tiles,
            ..
        } = picture;
        let mut child = Command::new(&program)
            .arg(child::COMMAND)
            .arg(path)
            .args([hdu, plane, width, height, tiles.step].map(|n| n.to_string()))
            .arg(child::UNTIL_STDIN_CLOSES)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|error| {
                picture.system(format!(
                    "its decoder {} does not start: {error}",
                    program.display()
                ))
            })?;
        let (sender, bands) = sync_channel(2);
        let mut pipe = child.stdout.take().map(BufReader::new);
        let pump = move || {
            let Some(pipe) = &mut pipe else { return };
            let mut bytes = vec![0; width * 4 * BAND_ROWS.min(height)];
            for row in (0..height).step_by(BAND_ROWS) {
                let bytes = &mut bytes[..width * 4 * BAND_ROWS.min(height - row)];
                if pipe.read_exact(bytes).is_err() {
                    return;
                }
                let (samples, _) = bytes.as_chunks::<4>();
                if sender
                    .send(samples.iter().map(|s| f32::from_le_bytes(*s)).collect())
                    .is_err()
                {
                    return;
                }
            }
        };
        let decoder = Self {
            picture,
            child,
            bands,
            band: Vec::new(),
            used: 0,
            rows: 0,
        };
        std::thread::Builder::new()
            .name("tile decoder".to_owned())
            .spawn(pump)
            .map_err(|error| decoder.picture.system(format!("no thread for it: {error}")))?;
        Ok(decoder)
    }

    /// What to say when no more rows come.
    fn failure(&mut self, why: RecvTimeoutError) -> RowsError {
        if why == RecvTimeoutError::Timeout {
            let what = format!("the decoder stopped answering after row {}", self.rows);
            return self.picture.damaged(&what);
        }
        let mut words = String::new();
        if let Some(errors) = self.child.stderr.take() {
            errors.take(2000).read_to_string(&mut words).ok();
        }
        let status = self
            .child
            .wait()
            .map_or_else(|error| error.to_string(), |s| s.to_string());
        let words = match words.trim() {
            "" => status,
            words => words.lines().next().unwrap_or_default().to_owned(),
        };
        self.picture
            .damaged(&format!("decoding ended after row {} ({words})", self.rows))
    }
}

impl Decoder for ChildDecoder {
    fn next_rows(&mut self, out: &mut [f32]) -> Result<(), RowsError> {
        let mut filled = 0;
        while filled < out.len() {
            if self.used == self.band.len() {
                self.band = match self.bands.recv_timeout(PATIENCE) {
                    Ok(band) => band,
                    Err(why) => return Err(self.failure(why)),
                };
                self.used = 0;
                self.rows += self.band.len() / self.picture.size.width;
            }
            let count = (out.len() - filled).min(self.band.len() - self.used);
            out[filled..filled + count].copy_from_slice(&self.band[self.used..self.used + count]);
            self.used += count;
            filled += count;
        }
        Ok(())
    }
}

impl Drop for ChildDecoder {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}
