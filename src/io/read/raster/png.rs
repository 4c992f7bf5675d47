//! PNG (W3C Recommendation, third edition): stored values, gamma and colour
//! chunks left aside.

use std::collections::VecDeque;
use std::fs::File;
use std::io::{BufReader, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use super::samples::{Predictor, RowLayout};
use super::{
    DEFLATE_FACTOR, HELD_AT_MOST, damaged, pick_plane, rows_asked, system, text, unsuitable,
};
use crate::engine::frame::{Plane, Rows, RowsError, Size};
use crate::engine::header::{Card, Header};
use crate::io::read::{Container, Facts, Opened, Pick, ReadError, SampleKind, SampleType};

/// Rows behind the newest one that are kept, so that threads which ask a little
/// out of order do not make the stream start again.
const ROWS_KEPT: usize = 512;

/// The most memory for the kept rows, in bytes.
const KEPT_AT_MOST: usize = 128 << 20;

/// What the decoder may take beside the rows, in bytes.
const DECODER_AT_MOST: usize = 64 << 20;

/// First column and row, and steps, of the seven passes (section 8.1).
const PASSES: [(usize, usize, usize, usize); 7] = [
    (0, 0, 8, 8),
    (4, 0, 8, 8),
    (0, 4, 4, 8),
    (2, 0, 4, 4),
    (0, 2, 2, 4),
    (1, 0, 2, 2),
    (0, 1, 1, 2),
];

type Decoder = png::Decoder<BufReader<File>>;

type Reader = png::Reader<BufReader<File>>;

/// Opens a PNG.
///
/// # Errors
/// [`ReadError`], as in [`super::open`].
pub fn open(path: &Path, pick: Pick) -> Result<Opened, ReadError> {
    let file = File::open(path).map_err(|error| system(path, &error))?;
    let kind = Kind::new(path, &file)?;
    if let Some(hdu) = pick.hdu.filter(|hdu| *hdu > 0) {
        return Err(ReadError::Pick {
            path: path.to_owned(),
            what: format!("there is no page {hdu}: a PNG has one picture"),
            hint: "leave `hdu` out".to_owned(),
        });
    }
    let names: Vec<String> = kind.names.iter().map(|name| (*name).to_owned()).collect();
    let colours = names.iter().filter(|name| *name != "alpha").count();
    let plane = pick_plane(path, pick.plane, &names, colours)?;
    let row = RowLayout {
        wanted: plane - 1,
        ..kind.row
    };
    let stream = Stream {
        path: path.to_owned(),
        file,
        size: kind.size,
        row,
    };
    let reader = stream.start()?;
    let facts = Facts {
        path: path.to_owned(),
        container: Container::Png,
        packing: if kind.interlaced { "interlaced" } else { "" }.to_owned(),
        sample: kind.row.sample,
        size: kind.size,
        planes: names.len(),
        plane,
        hdu: 0,
        ceiling: Some(f64::from((1_u32 << kind.row.sample.bits) - 1)),
        header: header(reader.info()),
        notices: Vec::new(),
    };
    let rows: Box<dyn Rows> = if kind.interlaced {
        Box::new(stream.interlaced(reader)?)
    } else {
        let place = Place {
            reader: Some(reader),
            next_row: 0,
            kept: VecDeque::new(),
        };
        Box::new(Streamed {
            stream,
            place: Mutex::new(place),
        })
    };
    Ok(Opened { facts, rows })
}

/// The one line for a PNG.
///
/// # Errors
/// As [`open`].
pub fn list(path: &Path) -> Result<Vec<String>, ReadError> {
    let file = File::open(path).map_err(|error| system(path, &error))?;
    let kind = Kind::new(path, &file)?;
    let planes = match kind.names.len() {
        1 => "1 plane".to_owned(),
        count => format!("{count} planes"),
    };
    let bits = kind.row.sample.bits;
    Ok(vec![format!(
        "page 0: {}, {planes}, {bits}-bit unsigned integers",
        kind.size
    )])
}

/// What the header chunk says, checked against the length of the file.
struct Kind {
    size: Size,
    row: RowLayout,
    names: &'static [&'static str],
    interlaced: bool,
}

impl Kind {
    fn new(path: &Path, file: &File) -> Result<Self, ReadError> {
        let length = file.metadata().map_err(|error| system(path, &error))?.len();
        let mut decoder = decoder(path, file, DECODER_AT_MOST)?;
        let info = decoder
            .read_header_info()
            .map_err(|error| failed(path, error))?;
        let (color, depth) = (info.color_type, info.bit_depth);
        let names: &[&str] = match color {
            png::ColorType::Grayscale => &["grey"],
            png::ColorType::GrayscaleAlpha => &["grey", "alpha"],
            png::ColorType::Rgb => &["red", "green", "blue"],
            png::ColorType::Rgba => &["red", "green", "blue", "alpha"],
            png::ColorType::Indexed => {
                return Err(unsuitable(
                    path,
                    format!(
                        "this is a palette picture: its {}-bit values are colour numbers",
                        depth as u8
                    ),
                    "save it as a grey picture of 16 bits",
                ));
            }
        };
        let size = Size {
            width: info.width as usize,
            height: info.height as usize,
        };
        let interlaced = info.interlaced;
        let row = RowLayout {
            sample: SampleType {
                bits: depth as u8,
                kind: SampleKind::Unsigned,
            },
            little_endian: false,
            texels: size.width,
            samples: names.len(),
            wanted: 0,
            predictor: Predictor::None,
        };
        let bytes = row
            .row_bytes()
            .unwrap_or(u64::MAX)
            .saturating_mul(size.height as u64);
        if bytes > length.saturating_mul(DEFLATE_FACTOR) {
            return Err(damaged(
                path,
                format!("{size} pixels cannot lie in a file of {length} bytes"),
            ));
        }
        let held = (size.width as u64)
            .saturating_mul(size.height as u64)
            .saturating_mul(4);
        if interlaced && held > HELD_AT_MOST {
            return Err(unsuitable(
                path,
                format!(
                    "an interlaced picture of {size} pixels would take more than 1 GiB of memory"
                ),
                "save it again without interlacing",
            ));
        }
        Ok(Self {
            size,
            row,
            names,
            interlaced,
        })
    }
}

/// A decoder at the start of the file. All decoders of a file share its
/// position, so only one may be in use.
fn decoder(path: &Path, file: &File, bytes: usize) -> Result<Decoder, ReadError> {
    let mut file = file.try_clone().map_err(|error| system(path, &error))?;
    file.seek(SeekFrom::Start(0))
        .map_err(|error| system(path, &error))?;
    let file = BufReader::with_capacity(1 << 16, file);
    Ok(Decoder::new_with_limits(file, png::Limits { bytes }))
}

/// One plane of a file that can be decoded from the start.
struct Stream {
    path: PathBuf,
    file: File,
    size: Size,
    row: RowLayout,
}

impl Stream {
    /// Reads everything up to the first pixel.
    fn start(&self) -> Result<Reader, ReadError> {
        let row_bytes = self
            .row
            .row_bytes()
            .and_then(|bytes| usize::try_from(bytes).ok());
        let bytes = DECODER_AT_MOST.saturating_add(row_bytes.unwrap_or(usize::MAX / 8) * 4);
        decoder(&self.path, &self.file, bytes)?
            .read_info()
            .map_err(|error| failed(&self.path, error))
    }

    /// The next row that the file holds; `values` may be fewer than a full row
    /// in an interlaced file.
    fn next_row(&self, reader: &mut Reader, values: &mut [f32]) -> Result<(), ReadError> {
        match reader.next_row() {
            Ok(Some(row)) => {
                self.row.decode(&mut row.data().to_vec(), values);
                Ok(())
            }
            Ok(None) => Err(damaged(
                &self.path,
                "the picture has fewer rows than it should",
            )),
            Err(error) => Err(failed(&self.path, error)),
        }
    }

    /// Lets the decoder see the end of the data, where checksums are.
    fn end(&self, reader: &mut Reader) -> Result<(), ReadError> {
        reader
            .next_row()
            .map(|_| ())
            .map_err(|error| failed(&self.path, error))
    }

    /// Puts the seven passes together.
    fn interlaced(&self, mut reader: Reader) -> Result<Plane, ReadError> {
        let Size { width, height } = self.size;
        let mut plane = ndarray::Array2::zeros((height, width));
        let mut values = vec![0.0; width];
        for (left, top, right, down) in PASSES {
            let columns = width.saturating_sub(left).div_ceil(right);
            if columns == 0 {
                continue;
            }
            for row in (top..height).step_by(down) {
                self.next_row(&mut reader, &mut values[..columns])?;
                let places = plane.row_mut(row).into_iter().skip(left).step_by(right);
                places
                    .zip(&values)
                    .for_each(|(place, value): (&mut f32, _)| *place = *value);
            }
        }
        self.end(&mut reader)?;
        Ok(Plane::new(plane))
    }
}

/// A plane that is decoded from the top down as it is asked for.
struct Streamed {
    stream: Stream,
    place: Mutex<Place>,
}

/// How far the stream has come. Without a reader it must start again.
struct Place {
    reader: Option<Reader>,
    next_row: usize,
    /// The rows just before `next_row`.
    kept: VecDeque<Vec<f32>>,
}

impl Streamed {
    /// Copies one row, decoding up to it.
    fn row(&self, place: &mut Place, row: usize, out: &mut [f32]) -> Result<(), ReadError> {
        if row + place.kept.len() < place.next_row {
            *place = Place {
                reader: None,
                next_row: 0,
                kept: VecDeque::new(),
            };
        }
        let width = self.stream.size.width;
        let keep = ROWS_KEPT.min(KEPT_AT_MOST / (4 * width)).max(1);
        while place.next_row <= row {
            // Taken out so that a failure leaves no half-read stream behind.
            let mut reader = match place.reader.take() {
                Some(reader) => reader,
                None => {
                    place.next_row = 0;
                    place.kept.clear();
                    self.stream.start()?
                }
            };
            let mut values = if place.kept.len() == keep {
                place.kept.pop_front()
            } else {
                None
            }
            .unwrap_or_else(|| vec![0.0; width]);
            self.stream.next_row(&mut reader, &mut values)?;
            place.next_row += 1;
            place.kept.push_back(values);
            if place.next_row == self.stream.size.height {
                self.stream.end(&mut reader)?;
            }
            place.reader = Some(reader);
        }
        let back = place.next_row - row;
        if let Some(values) = place.kept.get(place.kept.len().wrapping_sub(back)) {
            out.copy_from_slice(values);
        }
        Ok(())
    }
}

impl Rows for Streamed {
    fn size(&self) -> Size {
        self.stream.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let size = self.stream.size;
        rows_asked(&self.stream.path, size, first_row, out.len())?;
        let mut place = self.place.lock().unwrap_or_else(PoisonError::into_inner);
        for (row, out) in out.chunks_exact_mut(size.width).enumerate() {
            self.row(&mut place, first_row + row, out)?;
        }
        Ok(())
    }
}

/// What the text chunks say: keywords of up to 8 characters in upper case, a
/// description's `KEY = value` lines, and all else as comments.
fn header(info: &png::Info<'_>) -> Header {
    let latin = info
        .uncompressed_latin1_text
        .iter()
        .map(|c| (&c.keyword, Ok(c.text.clone())));
    let packed = info
        .compressed_latin1_text
        .iter()
        .map(|c| (&c.keyword, c.get_text()));
    let unicode = info.utf8_text.iter().map(|c| (&c.keyword, c.get_text()));
    let mut cards: Vec<Card> = Vec::new();
    for (keyword, content) in latin.chain(packed).chain(unicode) {
        let Ok(content) = content else { continue };
        if keyword.starts_with("XML:") || content.trim().is_empty() {
            continue;
        }
        let plain = keyword
            .chars()
            .all(|letter| letter.is_ascii_alphanumeric() || letter == '_');
        if keyword == "Description" || keyword == "Comment" {
            cards.extend(text::cards(&content));
        } else if keyword.len() <= 8 && plain {
            cards.push(text::text_card(&keyword.to_ascii_uppercase(), &content));
        } else {
            cards.extend(text::cards(&format!("{keyword}: {content}")));
        }
    }
    Header {
        cards,
        inherited: Vec::new(),
    }
}

/// What the decoder did not like.
fn failed(path: &Path, error: png::DecodingError) -> ReadError {
    match error {
        png::DecodingError::IoError(error) => system(path, &error),
        png::DecodingError::LimitsExceeded => damaged(
            path,
            "its chunks ask for more memory than the picture can need",
        ),
        error => damaged(
            path,
            format!("the PNG cannot be decoded: {}", plain(&error.to_string())),
        ),
    }
}

/// A message of the decoder with chunks by their names alone.
fn plain(message: &str) -> String {
    let mut parts = message.split("ChunkType { type: ");
    let mut text = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (name, rest) = part.split_once(" }").unwrap_or((part, ""));
        text.push_str(name.split(',').next().unwrap_or_default());
        text.push_str(rest);
    }
    text.trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_name_chunks_shortly() {
        let long = "CRC error in ChunkType { type: IDAT, critical: true, private: false } chunk.";
        assert_eq!(plain(long), "CRC error in IDAT chunk");
        assert_eq!(plain("short"), "short");
        assert_eq!(plain("ChunkType { type: "), "");
    }
}
