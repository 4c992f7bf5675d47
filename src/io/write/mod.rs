//! Files out: finished bands become a tagged file, whole or not at all.
//!
//! [`format_of`] tells the kind of file by its name, [`Target::check`] says
//! before any work what cannot be, [`Writer`] takes the bands. Each kind of
//! file has one module, which tells from top to bottom what stands in the file.

mod pieces;

mod writer;

pub use writer::{Finished, Writer};

mod error;

pub use error::WriteError;

pub mod atomic;

mod cards;

pub mod channel;

pub mod pixels;

pub mod fits;

pub mod icc;

pub mod jpeg;

pub mod png;

pub mod tiff;

pub mod xmp;

use std::path::{Path, PathBuf};

use crate::engine::color::space::Space;
use crate::engine::frame::{BAND_ROWS, Depth, Size};
use crate::engine::header::Header;

/// The endings of the files that are written, as messages list them.
pub(crate) const ENDINGS: &str = ".tif, .tiff, .png, .jpg, .jpeg, .fits, .fit, .fts";

/// The largest side of a JPEG (ITU-T T.81: 16-bit lengths).
const JPEG_SIDE: usize = 65_535;

/// The largest side of a PNG (4-byte lengths below 2^31).
const PNG_SIDE: usize = 0x7fff_ffff;

/// The kind of file, told by the ending of its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// `.tif`, `.tiff`
    Tiff,
    /// `.png`
    Png,
    /// `.jpg`, `.jpeg`
    Jpeg,
    /// `.fits`, `.fit`, `.fts`
    Fits,
}

impl Format {
    /// As messages name it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Tiff => "TIFF",
            Self::Png => "PNG",
            Self::Jpeg => "JPEG",
            Self::Fits => "FITS",
        }
    }

    /// The depths that this kind of file can keep here.
    pub fn depths(self) -> &'static [Depth] {
        match self {
            Self::Tiff => &[Depth::Eight, Depth::Sixteen, Depth::Float32],
            Self::Png => &[Depth::Eight, Depth::Sixteen],
            Self::Jpeg => &[Depth::Eight],
            Self::Fits => &[Depth::Float32],
        }
    }
}

/// Tells the kind of file by the ending of its name, in upper or lower case.
///
/// # Errors
/// [`WriteError::Ending`] for an unknown ending or none.
pub fn format_of(path: &Path) -> Result<Format, WriteError> {
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    match ending.as_deref() {
        Some("tif" | "tiff") => Ok(Format::Tiff),
        Some("png") => Ok(Format::Png),
        Some("jpg" | "jpeg") => Ok(Format::Jpeg),
        Some("fits" | "fit" | "fts") => Ok(Format::Fits),
        Some(other) => Err(WriteError::Ending {
            path: path.to_owned(),
            what: format!("`.{other}` is not a kind of file that is written"),
        }),
        None => Err(WriteError::Ending {
            path: path.to_owned(),
            what: "the name has no ending that tells the kind of file".to_owned(),
        }),
    }
}

/// How a TIFF is packed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub enum Packing {
    /// As it is.
    #[default]
    None,
    /// Deflate with a predictor, for speed.
    Fast,
    /// Deflate with a predictor, for size.
    Small,
}

/// How to write, beyond what the picture itself fixes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// TIFF only.
    pub packing: Packing,
    /// JPEG only, 1 to 100.
    pub quality: u8,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            packing: Packing::None,
            quality: 92,
        }
    }
}

/// What travels inside the file beside the pixels. Nothing in it depends on
/// the clock.
#[derive(Debug, Clone, Default)]
pub struct Tags {
    /// The whole XMP packet (see [`xmp`]).
    pub xmp: String,
    /// One line for TIFF's ImageDescription; non-ASCII is left to the XMP.
    pub description: String,
    /// `Linehue 0.1.0`
    pub software: String,
    /// FITS only: the reference's header, of which the world coordinates and
    /// the words about target and instrument are carried over.
    pub reference: Header,
    /// FITS only: HISTORY lines that tell the recipe.
    pub history: Vec<String>,
}

/// What a file will be.
#[derive(Debug, Clone)]
pub struct Target {
    /// Where; replaced whole when finished.
    pub path: PathBuf,
    /// The kind of file.
    pub format: Format,
    /// Size in pixels.
    pub size: Size,
    /// How samples are kept.
    pub depth: Depth,
    /// The space the samples are in.
    pub space: Space,
    /// How to pack.
    pub options: Options,
    /// What travels along.
    pub tags: Tags,
}

impl Target {
    /// Says before any work what cannot be: a depth or a size that the kind of
    /// file cannot hold, or a place where no file can be made. Leaves nothing
    /// behind.
    ///
    /// # Errors
    /// [`WriteError::Unsuited`] or [`WriteError::Place`].
    pub fn check(&self) -> Result<(), WriteError> {
        self.check_kind()?;
        atomic::try_place(&self.path)
    }

    /// The part of [`Target::check`] that does not look at the disk.
    pub(crate) fn check_kind(&self) -> Result<(), WriteError> {
        let unsuited = |what: String, hint: &str| {
            Err(WriteError::Unsuited {
                path: self.path.clone(),
                what,
                hint: hint.to_owned(),
            })
        };
        let (format, Size { width, height }) = (self.format, self.size);
        if !format.depths().contains(&self.depth) {
            let depths: Vec<_> = format.depths().iter().map(|depth| depth.name()).collect();
            return unsuited(
                format!(
                    "{} cannot keep a depth of {}",
                    format.name(),
                    self.depth.name()
                ),
                &format!("choose depth {}, or name a .tif file", depths.join(" or ")),
            );
        }
        if width == 0 || height == 0 {
            return unsuited(
                "the picture has no pixels".to_owned(),
                "choose a larger area",
            );
        }
        let side = match format {
            Format::Jpeg => JPEG_SIDE,
            Format::Png => PNG_SIDE,
            Format::Tiff => u32::MAX as usize,
            Format::Fits => i64::MAX as usize,
        };
        if width.max(height) > side {
            return unsuited(
                format!(
                    "{} has at most {side} pixels a side, not {}",
                    format.name(),
                    self.size
                ),
                "name a .tif file, which may be larger",
            );
        }
        // A band must fit a chunk of PNG and a strip of TIFF; no picture that
        // fits a computer comes near.
        let band = width.checked_mul(BAND_ROWS * 3 * self.depth.bytes());
        let whole = width
            .checked_mul(height)
            .and_then(|n| n.checked_mul(3 * self.depth.bytes()));
        if band.is_none_or(|band| band > PNG_SIDE) || whole.is_none() {
            return unsuited(
                format!("{} is larger than {} is written", self.size, format.name()),
                "crop the picture or make it smaller",
            );
        }
        if format == Format::Jpeg {
            if !(1..=100).contains(&self.options.quality) {
                return unsuited(
                    format!("{} is no quality", self.options.quality),
                    "choose a quality from 1 to 100",
                );
            }
            let packet = xmp::without_fits_header(&self.tags.xmp).len();
            if packet > jpeg::LONGEST_PACKET && self.tags.xmp.len() > jpeg::LONGEST_PACKET {
                return unsuited(
                    format!(
                        "the tags need {packet} bytes, JPEG has room for {}",
                        jpeg::LONGEST_PACKET
                    ),
                    "shorten the description, or name a .png or .tif file",
                );
            }
        }
        Ok(())
    }
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// SHA-256 of the whole file, lower-case hex.
    pub sha256: String,
    /// SHA-256 of the samples, row by row, interleaved R G B, little-endian.
    pub pixels_sha256: String,
    /// Bytes of the file.
    pub bytes: u64,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn target(name: &str, width: usize, height: usize, depth: Depth) -> Target {
        let path = std::env::temp_dir().join(name);
        Target {
            format: format_of(&path).expect("a known ending"),
            path,
            size: Size { width, height },
            depth,
            space: Space::Srgb,
            options: Options::default(),
            tags: Tags::default(),
        }
    }

    #[test]
    fn endings_tell_the_format() {
        for ending in ENDINGS.split(", ") {
            let upper = format!("lantern{}", ending.to_uppercase());
            let lower = format_of(Path::new(&format!("lantern.v2{ending}"))).expect("known");
            assert_eq!(format_of(Path::new(&upper)).expect("known"), lower);
        }
        assert_eq!(format_of(Path::new("a.jpeg")).expect("known"), Format::Jpeg);
        let error = format_of(Path::new("lantern.webp")).expect_err("unknown");
        assert!(error.to_string().contains("`.webp`"), "{error}");
        assert!(error.hint().contains(".tif, .tiff, .png"));
        assert!(format_of(Path::new("lantern")).is_err());
        assert!(
            format_of(Path::new(".png")).is_err(),
            "a hidden file without an ending"
        );
    }

    #[test]
    fn what_cannot_be_is_said_before_any_work() {
        for (name, depth) in [
            ("a.jpg", Depth::Sixteen),
            ("a.jpg", Depth::Float32),
            ("a.png", Depth::Float32),
            ("a.fits", Depth::Eight),
            ("a.fits", Depth::Sixteen),
        ] {
            let error = target(name, 10, 10, depth).check().expect_err("cannot be");
            assert!(error.to_string().contains("depth"), "{error}");
            assert!(error.hint().contains("choose depth"), "{}", error.hint());
        }
        assert!(target("a.jpg", 65_535, 2, Depth::Eight).check().is_ok());
        let error = target("a.jpg", 2, 65_536, Depth::Eight)
            .check()
            .expect_err("too high");
        assert!(error.to_string().contains("at most 65535"), "{error}");
        assert!(target("a.tif", 0, 5, Depth::Eight).check().is_err());
        assert!(
            target("a.tif", usize::MAX / 2, 5, Depth::Eight)
                .check()
                .is_err()
        );
        let mut low = target("a.jpg", 10, 10, Depth::Eight);
        low.options.quality = 0;
        assert!(
            low.check()
                .expect_err("no quality")
                .hint()
                .contains("1 to 100")
        );
        let mut missing = target("a.tif", 10, 10, Depth::Eight);
        missing.path = std::env::temp_dir().join("linehue-no-such-folder/a.tif");
        assert!(matches!(missing.check(), Err(WriteError::Place { .. })));
    }

    #[test]
    fn tags_that_do_not_fit_a_jpeg_are_refused_early() {
        let mut long = target("a.jpg", 10, 10, Depth::Eight);
        long.tags.xmp = "x".repeat(jpeg::LONGEST_PACKET + 1);
        let error = long.check().expect_err("too long");
        assert!(error.hint().contains("shorten"), "{error}");
        long.tags.xmp.pop();
        assert!(long.check().is_ok());
    }
}
