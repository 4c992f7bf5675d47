//! Files that are packed as a whole: gzip, bzip2 and Unix compress.
//!
//! They are unpacked on the way, from the front to the back; the picture never
//! lies in memory as a whole.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::in_order::{Decoder, InOrder, Start};
use super::lzw::{self, LzwReader};
use super::values::Coding;
use super::walk::{Forward, StreamForward};
use crate::engine::frame::{RowsError, Size};
use crate::io::read::ReadError;

/// The most that a packed file of compressed tiles may take on the disk.
const MOST_UNPACKED: u64 = 32 << 30;

/// Deflate cannot grow by more; whatever claims more is read through once
/// before it is believed.
const PLAUSIBLE_GROWTH: u64 = 64;

/// The kinds of packing, told by the first bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Packing {
    Gzip,
    Bzip2,
    Compress,
}

impl Packing {
    /// None for anything else.
    pub fn of(first_bytes: &[u8]) -> Option<Self> {
        match first_bytes {
            [0x1f, 0x8b, ..] => Some(Self::Gzip),
            [b'B', b'Z', b'h', b'1'..=b'9', ..] => Some(Self::Bzip2),
            _ if first_bytes.starts_with(&lzw::MAGIC) => Some(Self::Compress),
            _ => None,
        }
    }

    /// For people.
    pub fn name(self) -> &'static str {
        match self {
            Self::Gzip => "gzip",
            Self::Bzip2 => "bzip2",
            Self::Compress => "compress (LZW)",
        }
    }

    /// The bytes inside, from the front.
    pub fn reader(self, mut file: File) -> io::Result<Box<dyn Read + Send>> {
        file.seek(SeekFrom::Start(0))?;
        let bytes = BufReader::with_capacity(1 << 18, file);
        Ok(match self {
            Self::Gzip => Box::new(flate2::bufread::MultiGzDecoder::new(bytes)),
            Self::Bzip2 => Box::new(bzip2::bufread::MultiBzDecoder::new(bytes)),
            Self::Compress => Box::new(LzwReader::new(bytes)?),
        })
    }
}

/// Where a picture lies in a packed file.
#[derive(Clone)]
pub(super) struct PackedPicture {
    pub path: PathBuf,
    pub packing: Packing,
    pub size: Size,
    pub coding: Coding,
    /// Offset of the plane's first sample in the unpacked bytes.
    pub offset: u64,
    /// Offset behind the last sample of all planes.
    pub end: u64,
}

impl PackedPicture {
    /// Rows on demand. Where the header claims far more than the packed bytes
    /// are likely to hold, they are unpacked once to see.
    pub fn open(self, packed_length: u64) -> Result<InOrder, ReadError> {
        if self.end > packed_length.saturating_mul(PLAUSIBLE_GROWTH) {
            let mut source = self.source()?;
            if !source
                .skip(self.end)
                .map_err(|error| unpacking(&self.path, &error))?
            {
                return Err(self.missing(source.position()));
            }
        }
        let start: Start = {
            let picture = self.clone();
            Box::new(move || Ok(Box::new(picture.decoder()?) as Box<dyn Decoder>))
        };
        Ok(InOrder::new(self.size, start))
    }

    fn source(&self) -> Result<StreamForward<Box<dyn Read + Send>>, ReadError> {
        let file = File::open(&self.path).map_err(|error| cannot_open(&self.path, &error))?;
        let reader = self
            .packing
            .reader(file)
            .map_err(|error| unpacking(&self.path, &error))?;
        Ok(StreamForward {
            reader,
            position: 0,
        })
    }

    fn decoder(&self) -> Result<PackedDecoder, ReadError> {
        let mut source = self.source()?;
        if !source
            .skip(self.offset)
            .map_err(|error| unpacking(&self.path, &error))?
        {
            return Err(self.missing(source.position()));
        }
        Ok(PackedDecoder {
            source,
            picture: self.clone(),
            bytes: Vec::new(),
            left: self.size.pixels(),
        })
    }

    fn missing(&self, found: u64) -> ReadError {
        ReadError::Damaged {
            path: self.path.clone(),
            what: format!(
                "the unpacked data end too early: {} bytes are missing",
                self.end.saturating_sub(found)
            ),
        }
    }
}

struct PackedDecoder {
    source: StreamForward<Box<dyn Read + Send>>,
    picture: PackedPicture,
    bytes: Vec<u8>,
    /// Values of the plane that are still to come.
    left: usize,
}

impl PackedDecoder {
    /// Unpacks the rest as well: the checksum that tells damaged data stands
    /// at the very end. Stray bytes behind a gzip stream are no damage.
    fn verify(&mut self) -> Result<(), ReadError> {
        match io::copy(&mut self.source.reader, &mut io::sink()) {
            Err(error) if error.to_string() != "invalid gzip header" => {
                Err(unpacking(&self.picture.path, &error))
            }
            _ => Ok(()),
        }
    }
}

impl Decoder for PackedDecoder {
    fn next_rows(&mut self, out: &mut [f32]) -> Result<(), RowsError> {
        let sample = self.picture.coding.stored.bytes();
        for values in out.chunks_mut((1 << 20) / sample) {
            self.bytes.resize(values.len() * sample, 0);
            let count = self
                .source
                .read(&mut self.bytes)
                .map_err(|error| unpacking(&self.picture.path, &error))?;
            if count < self.bytes.len() {
                return Err(self.picture.missing(self.source.position()).into());
            }
            self.picture.coding.decode(&self.bytes, values);
        }
        self.left = self.left.saturating_sub(out.len());
        if self.left == 0 {
            self.verify()?;
        }
        Ok(())
    }
}

/// Unpacks a whole file into a temporary one, which goes when it is dropped.
///
/// # Errors
/// Damaged data, a full disk, or more than [`MOST_UNPACKED`] bytes.
pub(super) fn unpack(path: &Path, packing: Packing) -> Result<tempfile::NamedTempFile, ReadError> {
    let system = |error: &io::Error| ReadError::System {
        path: path.to_owned(),
        what: format!("cannot be unpacked into a temporary file: {error}"),
    };
    let file = File::open(path).map_err(|error| cannot_open(path, &error))?;
    let mut reader = packing
        .reader(file)
        .map_err(|error| unpacking(path, &error))?;
    let mut target = tempfile::Builder::new()
        .prefix(".linehue-")
        .suffix(".fits")
        .tempfile()
        .map_err(|error| system(&error))?;
    let mut piece = vec![0; 1 << 18];
    let mut length = 0_u64;
    loop {
        match reader.read(&mut piece) {
            Ok(0) => return Ok(target),
            Ok(count) => {
                length += count as u64;
                if length > MOST_UNPACKED {
                    return Err(ReadError::Unsuitable {
                        path: path.to_owned(),
                        what: format!("it unpacks to more than {MOST_UNPACKED} bytes"),
                        hint: "unpack it first and use the unpacked file".to_owned(),
                    });
                }
                target
                    .write_all(&piece[..count])
                    .map_err(|error| system(&error))?;
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(unpacking(path, &error)),
        }
    }
}

/// The system's refusal to open a file.
pub(super) fn cannot_open(path: &Path, error: &io::Error) -> ReadError {
    ReadError::System {
        path: path.to_owned(),
        what: format!("cannot be opened: {error}"),
    }
}

/// A failure on the way through a packed file: the decoders report damaged data
/// by these three kinds, the system its troubles by others.
pub(super) fn unpacking(path: &Path, error: &io::Error) -> ReadError {
    use io::ErrorKind::{InvalidData, InvalidInput, Other, UnexpectedEof};
    if matches!(
        error.kind(),
        InvalidData | InvalidInput | UnexpectedEof | Other
    ) {
        let what = format!("the packed data are damaged or cut short: {error}");
        return ReadError::Damaged {
            path: path.to_owned(),
            what,
        };
    }
    ReadError::System {
        path: path.to_owned(),
        what: format!("cannot be read: {error}"),
    }
}
