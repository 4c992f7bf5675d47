//! The record: which line became which colour, from which files, by which
//! recipe; enough to make the picture again to the last bit.

mod parts;

pub mod tags;

pub use parts::{ContinuumEntry, NoiseEntry, StarsEntry};

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::engine::caption::{Caption, Seen};
use crate::engine::color::space::Space;
use crate::engine::recipe::Recipe;

/// The format version that this build reads and writes.
pub const VERSION: u32 = 1;

/// The record of one composite.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// Format version.
    pub record: u32,
    /// What made it.
    pub software: Software,
    /// When, RFC 3339, UTC.
    pub made_at: String,
    /// The file that it speaks of.
    pub composite: Composite,
    /// Id of the rendition.
    pub rendition: String,
    /// Which channel became which colour, in the recipe's order.
    pub assignments: Vec<AssignmentEntry>,
    /// The files that took part, in the recipe's order.
    pub inputs: Vec<Input>,
    /// The whole recipe.
    pub recipe: Recipe,
    /// The words that go under the picture.
    pub caption: Caption,
    /// Exposure of all channels together in seconds; null where none is known.
    pub integration_s: Option<f64>,
    /// The part of the reference's grid that was kept: x, y, width, height;
    /// absent: all of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crop: Option<[usize; 4]>,
    /// What the picture looks like, measured on a grid of samples.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen: Option<Seen>,
    /// What the program remarked while it worked.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notices: Vec<String>,
}

/// A program.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Software {
    /// `Linehue`
    pub name: String,
    /// Its version.
    pub version: String,
}

/// The composite's file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Composite {
    /// Its name; the record lies beside it.
    pub file: String,
    /// SHA-256 of the whole file, lower-case hex.
    pub sha256: String,
    /// SHA-256 of the decoded samples, row by row, R G B, little-endian. For
    /// JPEG, which loses, of the samples before they were packed.
    pub pixels_sha256: String,
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// The space of its samples.
    pub space: Space,
    /// `8`, `16` or `32f`.
    pub depth: String,
    /// The length in pixels that the longer side was brought to, channels
    /// averaged before the stretch; absent: at the size of the channels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub long_edge: Option<usize>,
}

/// Which channel became which colour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AssignmentEntry {
    /// The channel's id.
    pub channel: String,
    /// Id of the line table, or L R G B.
    pub line: String,
    /// The line in words.
    pub name: String,
    /// Centre of the passband in nm (air).
    pub center_nm: f64,
    /// Full width of the passband at half maximum in nm, where known.
    pub width_nm: Option<f64>,
    /// Ids of other lines that a filter of this width lets through.
    pub also_passes: Vec<String>,
    /// The nearest colour that CSS can show in sRGB: hue held, brightest first.
    pub css: String,
    /// The colour vector: linear light on the sRGB primaries, unbounded.
    pub linear_srgb: [f64; 3],
    /// Its Oklab lightness, chroma and hue in degrees.
    pub oklch: [f64; 3],
    /// One of the colour words of the AVM standard.
    pub color_name: String,
    /// Whether it is the light's own colour.
    #[serde(default)]
    pub natural: bool,
    /// What this light alone looks like in the finished picture, at half tone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shown: Option<ShownColor>,
}

impl AssignmentEntry {
    /// The word for its colour on the screen, where that is known.
    pub fn word(&self) -> &str {
        let shown = self.shown.as_ref();
        shown.map_or(&self.color_name, |shown| &shown.color_name)
    }
}

/// A colour of the finished picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ShownColor {
    /// The nearest colour that CSS can show in sRGB: hue held.
    pub css: String,
    /// One of the colour words of the AVM standard.
    pub color_name: String,
}

/// A file that took part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// The channel's id.
    pub channel: String,
    /// Path relative to the record's folder where there is one, with `/`.
    pub file: String,
    /// SHA-256 of the whole file, lower-case hex.
    pub sha256: String,
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Total exposure in seconds, where known.
    pub exposure_s: Option<f64>,
    /// Cards of its header that speak of target, instrument and time.
    pub header: BTreeMap<String, serde_json::Value>,
    /// Level of the sky in file units; null where there are no data.
    pub sky: Option<f64>,
    /// Noise of one pixel of the composite in file units.
    pub noise: Option<f64>,
    /// How it came onto the reference's grid; null: pixels as they stood.
    pub align: Option<AlignEntry>,
    /// How the sky glow was taken out; null: left alone.
    pub level: Option<LevelEntry>,
    /// How the stars' light was taken out by a broad channel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub continuum: Option<ContinuumEntry>,
    /// How noise was smoothed away.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub noise_smoothed: Option<NoiseEntry>,
    /// How its stars were told from the nebula.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stars: Option<StarsEntry>,
}

/// How a channel came onto the reference's grid.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AlignEntry {
    /// `stars`, `wcs` or `given`.
    pub method: String,
    /// The kind of transform.
    pub model: String,
    /// Source pixel to reference pixel.
    pub matrix: [[f64; 3]; 3],
    /// What is added to the projected position where the field is curved.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub distortion: Option<Distortion>,
    /// How pixels were made between pixels.
    pub resampling: String,
    /// Stars matched.
    pub stars: Option<usize>,
    /// Their residual, root mean square, in pixels.
    pub rms_px: Option<f64>,
}

/// Polynomials of degree 2 and 3 in u = (x - center x) / scale and v likewise, in
/// source pixels; coefficients of u2 uv v2 u3 u2v uv2 v3, in reference pixels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Distortion {
    /// Where u and v are 0.
    pub center: [f64; 2],
    /// Source pixels for one unit of u and v.
    pub scale: f64,
    /// Added to x.
    pub x: [f64; 7],
    /// Added to y.
    pub y: [f64; 7],
}

/// How the sky glow was taken out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LevelEntry {
    /// The kind of sky model.
    pub kind: String,
    /// Highest less lowest value of the model in file units.
    pub amplitude: f64,
    /// The amplitude in units of one pixel's noise where the model found sky.
    pub amplitude_over_noise: Option<f64>,
    /// Samples used.
    pub samples: usize,
    /// Samples refused.
    pub refused: usize,
}

/// Why a record cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// The operating system said no.
    #[error("{}: {what}", path.display())]
    System {
        /// The file.
        path: PathBuf,
        /// The system's words.
        what: String,
    },
    /// It is not a record.
    #[error("{}: {what}", path.display())]
    NotARecord {
        /// The file.
        path: PathBuf,
        /// Where it goes wrong.
        what: String,
    },
    /// It was cut off, or edited into what cannot be.
    #[error("{}: {what}", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Where it goes wrong.
        what: String,
    },
    /// A later format.
    #[error(
        "{}: the record has format version {version}, this Linehue reads {VERSION}",
        path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        version: u64,
    },
}

impl RecordError {
    /// The next step.
    pub fn hint(&self) -> String {
        match self {
            Self::System { .. } => "check the path and the permissions",
            Self::NotARecord { .. } => {
                "name the file that ends in `.record.json` beside a composite"
            }
            Self::Damaged { .. } => "restore it from a copy, or make the map once more",
            Self::Newer { .. } => "use a newer Linehue",
        }
        .to_owned()
    }
}

// A record holds headers and a recipe: more than this is none.
const LARGEST_RECORD: u64 = 64 << 20;

/// Reads a record.
///
/// # Errors
/// [`RecordError`].
pub fn read(path: &Path) -> Result<Record, RecordError> {
    parse(&bytes(path)?).map_err(|error| match error {
        ParseError::Newer(version) => RecordError::Newer {
            path: path.to_owned(),
            version,
        },
        ParseError::Words(what) => RecordError::NotARecord {
            path: path.to_owned(),
            what,
        },
    })
}

/// Reads any kind of record as it stands; null where it is no JSON.
///
/// # Errors
/// [`RecordError`], where the file cannot be read.
pub fn value(path: &Path) -> Result<serde_json::Value, RecordError> {
    let bytes = bytes(path)?;
    Ok(serde_json::from_slice(unmarked(&bytes)).unwrap_or_default())
}

fn bytes(path: &Path) -> Result<Vec<u8>, RecordError> {
    // Counted while reading: a pipe or a device has no length beforehand.
    let mut bytes = Vec::new();
    let length = File::open(path)
        .and_then(|file| file.take(LARGEST_RECORD + 1).read_to_end(&mut bytes))
        .map_err(|error| RecordError::System {
            path: path.to_owned(),
            what: error.to_string(),
        })?;
    if length as u64 > LARGEST_RECORD {
        return Err(RecordError::NotARecord {
            path: path.to_owned(),
            what: "it is too long for a record".to_owned(),
        });
    }
    Ok(bytes)
}

// Some editors put a byte order mark before the text.
fn unmarked(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes)
}

/// What is wrong with the text of a record.
#[derive(Debug, Clone, PartialEq)]
pub enum ParseError {
    /// It has a later format version.
    Newer(u64),
    /// It is not a record.
    Words(String),
}

/// Reads the text of a record.
///
/// # Errors
/// [`ParseError`].
pub fn parse(bytes: &[u8]) -> Result<Record, ParseError> {
    let bytes = unmarked(bytes);
    let value: serde_json::Value =
        serde_json::from_slice(bytes).map_err(|error| ParseError::Words(error.to_string()))?;
    match value.get("record").and_then(serde_json::Value::as_u64) {
        Some(version) if version > u64::from(VERSION) => return Err(ParseError::Newer(version)),
        Some(_) => {}
        None => {
            return Err(ParseError::Words(
                "there is no `record` version in it".to_owned(),
            ));
        }
    }
    let record: Record =
        serde_json::from_slice(bytes).map_err(|error| ParseError::Words(error.to_string()))?;
    crate::engine::recipe::check::whole(&record.recipe).map_err(|problem| {
        ParseError::Words(format!("recipe, {}: {}", problem.place, problem.what))
    })?;
    Ok(record)
}

/// The text of a record, with a newline at its end.
///
/// # Errors
/// When a number in it is not finite.
pub fn write(record: &Record) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(record)?;
    text.push('\n');
    Ok(text)
}

/// The JSON Schema (draft 2020-12) of a record.
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(Record).to_value()
}

/// Where the record of a composite lies: `lantern.tif` has
/// `lantern.tif.record.json`.
pub fn path_for(composite: &Path) -> PathBuf {
    let mut name = composite.file_name().unwrap_or_default().to_owned();
    name.push(".record.json");
    composite.with_file_name(name)
}
