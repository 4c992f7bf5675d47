//! Files in: any supported file becomes [`Rows`] with the facts about it.
//!
//! A name is a name: it is opened as it stands, and no part of it is read as
//! an instruction.

pub mod catalogue;

pub mod fits;

pub mod raster;

use std::path::{Path, PathBuf};

use crate::engine::frame::{Rows, RowsError, Size};
use crate::engine::header::Header;

/// Which picture of a file is meant.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Pick {
    /// Header-data unit of a FITS file or page of a TIFF, from 0; None: the
    /// first one that holds a picture.
    pub hdu: Option<usize>,
    /// Plane of a cube or of a colour file, from 0; None: the only one.
    pub plane: Option<usize>,
}

/// What kind of file it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Container {
    /// FITS, plain.
    Fits,
    /// FITS with a tile-compressed picture.
    FitsTiled,
    /// TIFF, classic or Big.
    Tiff,
    /// PNG.
    Png,
}

/// How the samples are kept in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SampleType {
    /// Bits of one sample as stored: 1 to 64.
    pub bits: u8,
    /// What the bits are.
    pub kind: SampleKind,
}

/// What the bits of a sample are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SampleKind {
    /// Unsigned integer (for FITS also the BZERO convention).
    Unsigned,
    /// Signed integer.
    Signed,
    /// IEEE floating point.
    Float,
}

/// What is known of an opened picture before its pixels are read.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    /// The file.
    pub path: PathBuf,
    /// Its kind.
    pub container: Container,
    /// In words for people: `RICE_1 tiles`, `Deflate, predictor 2`, `gzip`; empty where plain.
    pub packing: String,
    /// How samples are stored.
    pub sample: SampleType,
    /// Width and height.
    pub size: Size,
    /// How many planes there are (cube planes, colour components, alpha).
    pub planes: usize,
    /// Which plane was picked, from 0.
    pub plane: usize,
    /// Which header-data unit or page was picked, from 0.
    pub hdu: usize,
    /// The largest value that the samples can hold in file units, where that is
    /// a meaningful saturation level (unsigned integers, SATURATE in the header).
    pub ceiling: Option<f64>,
    /// The header's cards; for TIFF and PNG what their tags say, under FITS names.
    pub header: Header,
    /// Oddities worth telling (a wrong checksum, stray bytes), each one sentence.
    pub notices: Vec<String>,
}

/// A picture that is open for reading.
pub struct Opened {
    /// What is known of it.
    pub facts: Facts,
    /// Its pixels.
    pub rows: Box<dyn Rows>,
}

impl std::fmt::Debug for Opened {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Opened")
            .field("facts", &self.facts)
            .finish_non_exhaustive()
    }
}

/// Why a file cannot be read, by who can act.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The operating system said no.
    #[error("{}: {what}", path.display())]
    System {
        /// The file.
        path: PathBuf,
        /// What could not be done, with the system's own words.
        what: String,
    },
    /// The file is damaged or not what its kind promises.
    #[error("{}: {what}", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong and where.
        what: String,
    },
    /// The file is sound, but holds no picture that Linehue can use.
    #[error("{}: {what}", path.display())]
    Unsuitable {
        /// The file.
        path: PathBuf,
        /// What it holds.
        what: String,
        /// What to do.
        hint: String,
    },
    /// `hdu` or `plane` ask for something that is not there, or must be given.
    #[error("{}: {what}", path.display())]
    Pick {
        /// The file.
        path: PathBuf,
        /// What was asked and what is there.
        what: String,
        /// What to do.
        hint: String,
    },
}

impl ReadError {
    /// The next step for the person at the keyboard.
    pub fn hint(&self) -> String {
        match self {
            Self::System { .. } => "check the path, the permissions and the disk".to_owned(),
            Self::Damaged { .. } => {
                "copy the file again from its origin, or stack it anew".to_owned()
            }
            Self::Unsuitable { hint, .. } | Self::Pick { hint, .. } => hint.clone(),
        }
    }
}

impl From<ReadError> for RowsError {
    fn from(error: ReadError) -> Self {
        Self {
            hint: error.hint(),
            message: error.to_string(),
        }
    }
}

/// Opens the picture that `pick` names in the file at `path`. The kind of file
/// is told by its first bytes, never by its name.
///
/// # Errors
/// [`ReadError`], with the path in the message.
pub fn open(path: &Path, pick: Pick) -> Result<Opened, ReadError> {
    let first = first_bytes(path)?;
    if fits::sniff(&first) {
        return fits::open(path, pick);
    }
    if raster::sniff(&first).is_some() {
        return raster::open(path, pick);
    }
    let what = match (first.is_empty(), raster::foreign(&first)) {
        (true, _) => "the file is empty".to_owned(),
        (false, Some(kind)) => format!("{kind}, not a FITS, TIFF or PNG file"),
        (false, None) => "not a FITS, TIFF or PNG file".to_owned(),
    };
    Err(ReadError::Unsuitable {
        path: path.to_owned(),
        what,
        hint: "give the stack as its stacking program saved it: FITS, TIFF or PNG".to_owned(),
    })
}

// Enough for every kind's signature.
fn first_bytes(path: &Path) -> Result<Vec<u8>, ReadError> {
    use std::io::Read as _;
    let system = |error: std::io::Error| ReadError::System {
        path: path.to_owned(),
        what: error.to_string(),
    };
    if std::fs::metadata(path).map_err(system)?.is_dir() {
        return Err(ReadError::Unsuitable {
            path: path.to_owned(),
            what: "this is a folder".to_owned(),
            hint: "name the files in it".to_owned(),
        });
    }
    let mut first = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(512).read_to_end(&mut first))
        .map_err(system)?;
    Ok(first)
}
