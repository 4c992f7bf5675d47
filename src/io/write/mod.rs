//! Files out: finished bands become a tagged file, whole or not at all.

pub mod atomic;

pub mod fits;

pub mod icc;

pub mod jpeg;

pub mod png;

pub mod tiff;

pub mod xmp;

use std::path::{Path, PathBuf};

use crate::engine::color::space::Space;
use crate::engine::frame::{CodedBand, Depth, Size};
use crate::engine::header::Header;

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
        Self { packing: Packing::None, quality: 92 }
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
