//! One page: what its tags say, checked, and where its strips or tiles lie.

use super::checks::{self, SIDE_AT_MOST};
use super::directory::Directory;
use super::source::Source;
use super::tag;
use super::unpack::Compression;
use crate::engine::frame::Size;
use crate::io::read::raster::samples::{Predictor, RowLayout};
use crate::io::read::raster::{HELD_AT_MOST, damaged, unsuitable};
use crate::io::read::{ReadError, SampleKind, SampleType};

/// A page whose tags make sense. Strips count as tiles of the full width.
pub struct Page {
    /// Width and height.
    pub size: Size,
    /// Bits and kind of every sample.
    pub sample: SampleType,
    /// Samples of a pixel.
    pub samples: usize,
    /// Those that are no extra samples.
    pub colours: usize,
    /// How strips and tiles are packed.
    pub compression: Compression,
    /// The predictor.
    pub predictor: Predictor,
    /// Whether the bits of every byte are turned round.
    pub reversed: bool,
    little_endian: bool,
    photometric: u64,
    alpha: bool,
    orientation: u64,
    idle_predictor: bool,
    planar: bool,
    tiled: bool,
    chunk_width: usize,
    chunk_rows: usize,
    offsets: Vec<u64>,
    lengths: Vec<u64>,
}

impl Page {
    /// Reads and checks the tags of a page.
    ///
    /// # Errors
    /// [`ReadError`]: tags that are missing or contradict each other, and kinds
    /// of pictures that are no channel.
    pub fn new(source: &Source, directory: &Directory<'_>) -> Result<Self, ReadError> {
        let path = source.path();
        let size = checks::size(directory)?;
        let samples = checks::small(directory, tag::SAMPLES_PER_PIXEL, 1, u64::from(u16::MAX))?;
        let sample = checks::sample(source, directory, samples)?;
        let photometric = directory.number(tag::PHOTOMETRIC)?.unwrap_or(1);
        let extra = directory.numbers(tag::EXTRA_SAMPLES)?.unwrap_or_default();
        let colours = checks::photometric(source, photometric, samples, extra.len())?;
        let compression = checks::compression(source, directory)?;
        let code = directory.number(tag::PREDICTOR)?.unwrap_or(1);
        // Predictors belong to LZW and Deflate.
        let packed = matches!(compression, Compression::Lzw | Compression::Deflate);
        let predictor = match code {
            _ if !packed => Predictor::None,
            1 => Predictor::None,
            2 => Predictor::Horizontal,
            3 => Predictor::Float,
            code => {
                return Err(unsuitable(
                    path,
                    format!("predictor {code} is unknown"),
                    "save it again without a predictor",
                ));
            }
        };
        let planar = match directory.number(tag::PLANAR_CONFIGURATION)?.unwrap_or(1) {
            2 => samples > 1,
            _ => false,
        };
        let tiled = directory.has(tag::TILE_OFFSETS) || directory.has(tag::TILE_WIDTH);
        let (chunk_width, chunk_rows) = if tiled {
            let side = |tag| checks::small(directory, tag, 0, SIDE_AT_MOST);
            (side(tag::TILE_WIDTH)?, side(tag::TILE_LENGTH)?)
        } else {
            let rows = directory.number(tag::ROWS_PER_STRIP)?.unwrap_or(u64::MAX);
            let height = size.height as u64;
            (
                size.width,
                if rows == 0 { height } else { rows.min(height) } as usize,
            )
        };
        let mut page = Self {
            size,
            sample,
            samples,
            colours,
            compression,
            predictor,
            reversed: directory.number(tag::FILL_ORDER)? == Some(2),
            little_endian: directory.little_endian(),
            photometric,
            alpha: matches!(extra.first(), Some(1 | 2)),
            orientation: directory
                .number(tag::ORIENTATION)
                .ok()
                .flatten()
                .unwrap_or(1),
            idle_predictor: !packed && code != 1,
            planar,
            tiled,
            chunk_width,
            chunk_rows,
            offsets: Vec::new(),
            lengths: Vec::new(),
        };
        if !page.row(0).is_known() {
            return Err(unsuitable(
                path,
                format!(
                    "{} with predictor {} cannot be read",
                    page.sample_in_words(),
                    predictor as u8 + 1
                ),
                "save it as 16-bit integers or 32-bit floats",
            ));
        }
        page.locate(source, directory)?;
        Ok(page)
    }

    /// Reads where the strips or tiles are. Their number is settled by what is
    /// in the file, never the other way round.
    fn locate(&mut self, source: &Source, directory: &Directory<'_>) -> Result<(), ReadError> {
        // Some old writers keep the places of tiles in the tags for strips.
        let (offsets, lengths) = if directory.has(tag::TILE_OFFSETS) {
            (tag::TILE_OFFSETS, tag::TILE_BYTE_COUNTS)
        } else {
            (tag::STRIP_OFFSETS, tag::STRIP_BYTE_COUNTS)
        };
        let planes = if self.planar { self.samples } else { 1 };
        let needed = self
            .across()
            .checked_mul(self.down())
            .and_then(|n| n.checked_mul(planes));
        self.offsets = directory
            .numbers(offsets)?
            .ok_or_else(|| damaged(source.path(), "there are neither strips nor tiles"))?;
        if needed.is_none_or(|needed| needed > self.offsets.len()) {
            return Err(damaged(
                source.path(),
                format!(
                    "{} x {} pixels in {} of {} x {} cannot lie in the {} that are there",
                    self.size.width,
                    self.size.height,
                    self.chunk_word(),
                    self.chunk_width,
                    self.chunk_rows,
                    self.offsets.len()
                ),
            ));
        }
        self.lengths = match directory.numbers(lengths)? {
            Some(lengths) => lengths,
            // Old writers leave it out; without packing the sizes follow.
            None if self.compression == Compression::None => vec![u64::MAX; self.offsets.len()],
            None => {
                return Err(damaged(
                    source.path(),
                    "the lengths of packed data are missing",
                ));
            }
        };
        if self.lengths.len() < self.offsets.len() {
            return Err(damaged(
                source.path(),
                format!(
                    "{} offsets have {} lengths",
                    self.offsets.len(),
                    self.lengths.len()
                ),
            ));
        }
        Ok(())
    }

    /// Checks, before any memory is taken, that the data of a plane (from 0)
    /// are in the file and can become as large as the tags say.
    pub fn check_plane(&self, source: &Source, plane: usize) -> Result<(), ReadError> {
        let path = source.path();
        let row_bytes = self.row(plane).row_bytes().unwrap_or(u64::MAX);
        if self.compression != Compression::None {
            let held = (self.size.width as u64)
                .saturating_mul(self.chunk_rows.min(self.size.height) as u64)
                .saturating_mul(4);
            if held.max(row_bytes) > HELD_AT_MOST {
                return Err(unsuitable(
                    path,
                    format!(
                        "packed {} of {} x {} pixels would take more than 1 GiB of memory each",
                        self.chunk_word(),
                        self.size.width,
                        self.chunk_rows
                    ),
                    "save it again with strips of fewer rows, or not compressed",
                ));
            }
        }
        for down in 0..self.down() {
            let rows = self.rows_in(down) as u64;
            let bytes = row_bytes.saturating_mul(rows);
            for across in 0..self.across() {
                let index = self.chunk_index(plane, down, across);
                let (offset, length) = self.section(source, index);
                let most = length.saturating_mul(self.compression.factor());
                // A little slack for very short streams.
                let slack = if self.compression == Compression::None {
                    0
                } else {
                    4096
                };
                if offset == 0 || length == 0 || bytes > most.saturating_add(slack) {
                    return Err(damaged(
                        path,
                        format!(
                            "{} {index} of {} should hold {bytes} bytes of pixels, but only \
                             {length} bytes are there at {offset}",
                            self.chunk_word().trim_end_matches('s'),
                            self.offsets.len(),
                        ),
                    ));
                }
            }
        }
        Ok(())
    }

    /// How a row of one strip or tile is laid out, for a plane from 0.
    pub fn row(&self, plane: usize) -> RowLayout {
        RowLayout {
            sample: self.sample,
            little_endian: self.little_endian,
            texels: self.chunk_width,
            samples: if self.planar { 1 } else { self.samples },
            wanted: if self.planar { 0 } else { plane },
            predictor: self.predictor,
        }
    }

    /// Pixels in a row of a strip or tile, padding included.
    pub fn chunk_width(&self) -> usize {
        self.chunk_width
    }

    /// Rows of a strip or tile.
    pub fn chunk_rows(&self) -> usize {
        self.chunk_rows
    }

    /// Rows of the picture in the strips or tiles number `down` from the top.
    pub fn rows_in(&self, down: usize) -> usize {
        self.chunk_rows
            .min(self.size.height - down * self.chunk_rows)
    }

    /// Strips or tiles side by side.
    pub fn across(&self) -> usize {
        self.size.width.div_ceil(self.chunk_width)
    }

    /// Strips or tiles from top to bottom.
    fn down(&self) -> usize {
        self.size.height.div_ceil(self.chunk_rows)
    }

    /// Which strip or tile it is.
    pub fn chunk_index(&self, plane: usize, down: usize, across: usize) -> usize {
        let plane = if self.planar { plane } else { 0 };
        (plane * self.down() + down) * self.across() + across
    }

    /// Where a strip or tile lies: offset and length, cut to the file. Some
    /// writers put 0 for the length of data that are not packed.
    pub fn section(&self, source: &Source, index: usize) -> (u64, u64) {
        let offset = self.offsets[index];
        let left = source.length().saturating_sub(offset);
        match self.lengths[index] {
            0 if self.compression == Compression::None => (offset, left),
            length => (offset, length.min(left)),
        }
    }

    /// The names of the samples of a pixel.
    pub fn plane_names(&self) -> Vec<String> {
        let colours: &[&str] = match self.photometric {
            0 | 1 if self.colours == 1 => &["grey"],
            2 => &["red", "green", "blue"],
            5 if self.colours == 4 => &["cyan", "magenta", "yellow", "black"],
            _ => &[],
        };
        (0..self.samples)
            .map(|index| match colours.get(index) {
                Some(name) => (*name).to_owned(),
                None if index == self.colours && self.alpha => "alpha".to_owned(),
                None => format!("band {}", index + 1),
            })
            .collect()
    }

    /// Such as `LZW, predictor 2, tiles 256 x 256`.
    pub fn packing_in_words(&self) -> String {
        let mut words = Vec::new();
        if self.compression != Compression::None {
            words.push(self.compression.name().to_owned());
        }
        if self.predictor != Predictor::None {
            words.push(format!("predictor {}", self.predictor as u8 + 1));
        }
        if self.tiled {
            words.push(format!("tiles {} x {}", self.chunk_width, self.chunk_rows));
        }
        words.join(", ")
    }

    /// Such as `16-bit unsigned integers`.
    pub fn sample_in_words(&self) -> String {
        let kind = match self.sample.kind {
            SampleKind::Unsigned => "unsigned integers",
            SampleKind::Signed => "signed integers",
            SampleKind::Float => "floats",
        };
        format!("{}-bit {kind}", self.sample.bits)
    }

    /// What a viewer would show otherwise.
    pub fn notices(&self) -> Vec<String> {
        let mut notices = Vec::new();
        if self.photometric == 0 {
            notices.push(
                "the picture is marked as white = 0; its values are taken as they are stored, so \
                 bright parts may have low values"
                    .to_owned(),
            );
        }
        if self.idle_predictor {
            notices.push(
                "the picture names a predictor, but its data are not packed by LZW or Deflate; \
                 the values are taken as they are stored"
                    .to_owned(),
            );
        }
        if self.orientation != 1 {
            notices.push(format!(
                "the picture has orientation {}; its rows are taken in the order of the file",
                self.orientation
            ));
        }
        notices
    }

    /// Strips or tiles.
    fn chunk_word(&self) -> &'static str {
        if self.tiled { "tiles" } else { "strips" }
    }
}
