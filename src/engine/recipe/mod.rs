//! The recipe: plain data that says what happens in each step.
//!
//! Numbers are `f64`, so that a recipe reads and writes without change; the
//! steps narrow them where they may. Text is read and written in [`text`],
//! checked as a whole in [`check`].

pub mod arrange;

pub mod balance;

pub mod check;

pub mod color_value;

pub mod continuum;

pub mod crop;

pub mod level;

pub mod ratio;

pub mod rewrite;

pub mod stars;

pub mod text;

pub use balance::{Balance, BalancedBy};
pub use color_value::ColorValue;
pub use continuum::Continuum;
pub use crop::Crop;
pub use level::{KeepOut, Level};
pub use ratio::{MOST_BIN, Ratio, Scale};
pub use stars::{ShowStars, StarLook};

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The format version that this build reads and writes.
pub const VERSION: u32 = 1;

/// Everything that makes a composite from its channels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Recipe {
    /// Format version.
    pub recipe: u32,
    /// The channel whose grid the others take; the first channel where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
    /// Which part of the reference's grid is kept; absent: all of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crop: Option<Crop>,
    /// What fills tags and captions.
    #[serde(default, skip_serializing_if = "About::is_empty")]
    pub about: About,
    /// The channels, in order.
    #[serde(rename = "channel", default)]
    pub channels: Vec<Channel>,
    /// The ways to mix them, in order; the first is made unless another is named.
    #[serde(rename = "rendition", default)]
    pub renditions: Vec<Rendition>,
    /// Maps of the ratio of two lines.
    #[serde(rename = "ratio", default, skip_serializing_if = "Vec::is_empty")]
    pub ratios: Vec<Ratio>,
}

/// Words about the picture, all optional.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct About {
    /// The picture's title.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub title: String,
    /// The object; the reference's OBJECT where empty.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub object: String,
    /// Who made it.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub creator: String,
    /// The line to print under it.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub credit: String,
    /// The terms of use.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub rights: String,
}

impl About {
    fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// One stack and how it is prepared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Channel {
    /// `a-z 0-9 - _`, unique in the recipe.
    pub id: String,
    /// Path, relative to the recipe's folder.
    pub file: String,
    /// An id of the line table, or L R G B.
    pub line: String,
    /// Centre of the passband in nm (air), over the table's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub center_nm: Option<f64>,
    /// Full width of the passband at half maximum in nm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width_nm: Option<f64>,
    /// Total exposure in seconds, over the header's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure_s: Option<f64>,
    /// Which plane of a cube or of a colour file, from 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plane: Option<usize>,
    /// Which header-data unit of a FITS file, from 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hdu: Option<usize>,
    /// How it comes onto the reference's grid; absent: pixels as they stand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub align: Option<Align>,
    /// How the sky glow is taken out; absent: left alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<Level>,
    /// A broad channel that takes the stars' light out; absent: it stays.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub continuum: Option<Continuum>,
    /// How much of the noise is smoothed away, 0..1; absent: 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub denoise: Option<f64>,
    /// From file units to a tone.
    pub stretch: Stretch,
}

/// How a channel comes onto the reference's grid.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Align {
    /// By what.
    pub method: AlignMethod,
    /// For `given`: source pixel to reference pixel, rows of a 3 x 3 matrix.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix: Option<[[f64; 3]; 3]>,
}

/// By what a channel is aligned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum AlignMethod {
    /// Matching star patterns.
    Stars,
    /// World coordinates of both headers.
    Wcs,
    /// The matrix in the recipe.
    Given,
}

/// From file units to a tone (0..1, display-referred in sRGB's encoding).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Stretch {
    /// The value that becomes 0, in file units.
    pub black: f64,
    /// The value that becomes 1, in file units; above `black`.
    pub white: f64,
    /// The shape between them.
    #[serde(default)]
    pub shape: Shape,
    /// The shape's parameter; unused by `linear`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amount: Option<f64>,
    /// Points (x, y) in the unit square, x strictly rising, y never falling.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub curve: Option<Vec<[f64; 2]>>,
}

/// The shape of a stretch between black (t = 0) and white (t = 1).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Shape {
    /// y = t
    #[default]
    Linear,
    /// y = asinh(a t) / asinh(a), a > 0
    Asinh,
    /// y = ln(1 + a t) / ln(1 + a), a > 0
    Log,
    /// y = t ^ a, a > 0
    Power,
    /// y = t / ((1/a - 2)(1 - t) + 1), 0 < a < 1 (Schlick 1994)
    Bias,
}

/// One way to mix the channels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rendition {
    /// `a-z 0-9 - _`, unique in the recipe.
    pub id: String,
    /// How the channels come together.
    #[serde(default)]
    pub blend: Blend,
    /// What happens to colours outside the output space; absent: nothing until
    /// integer samples clamp them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gamut: Option<Gamut>,
    /// Factor on Oklab's a and b; absent: 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub saturation: Option<f64>,
    /// Brightness taken from chosen channels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub luminance: Option<Luminance>,
    /// Natural lines are also scaled by how bright an eye sees them.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub eye: bool,
    /// The white balance of R, G and B; absent: as they are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub balance: Option<Balance>,
    /// How stars show; absent: as mixed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stars: Option<StarLook>,
    /// How much of the noise is smoothed out of colours (not of brightness),
    /// 0..1; absent: no more than the channels' own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub smooth_color: Option<f64>,
    /// The colour of each channel that takes part.
    pub colors: BTreeMap<String, ColorValue>,
}

/// How channels come together.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Blend {
    /// Light adds as light does.
    #[default]
    Light,
    /// Weights on tones, as channel arithmetic is written.
    Tone,
    /// Layers that never clip.
    Screen,
}

/// What happens to colours outside the output space.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Gamut {
    /// Towards grey of equal luminance, then down to full scale.
    HoldHue,
    /// Each component to 0..1 by itself.
    Clip,
}

/// Brightness taken from chosen channels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Luminance {
    /// Weight of each source channel, at least 0, not all 0.
    pub from: BTreeMap<String, f64>,
    /// 0 leaves the mix alone, 1 takes the brightness wholly.
    #[serde(default = "one")]
    pub amount: f64,
    /// A stretch of its own for the weighted mean of the channels' values, in
    /// file units; absent: the channels' own tones, each weighted as light.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stretch: Option<Stretch>,
    /// How much of the fine structure is brought out, 0..1; absent: 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detail: Option<f64>,
}

fn one() -> f64 {
    1.0
}

impl Rendition {
    /// A rendition of nothing yet.
    pub fn blank(id: &str) -> Self {
        Self {
            id: id.to_owned(),
            blend: Blend::Light,
            gamut: None,
            saturation: None,
            luminance: None,
            eye: false,
            balance: None,
            stars: None,
            smooth_color: None,
            colors: BTreeMap::new(),
        }
    }

    /// The same without what hardly shows in a small copy of the picture: fine
    /// structure, smoother colours, the width of stars.
    pub fn in_small(&self) -> Self {
        let mut small = self.clone();
        if let Some(luminance) = &mut small.luminance {
            luminance.detail = None;
        }
        small.smooth_color = None;
        small.stars = self.stars.map(|stars| StarLook {
            size: 1.0,
            brightness: 1.0,
            ..stars
        });
        small
    }

    /// How stars show.
    pub fn star_look(&self) -> StarLook {
        self.stars.unwrap_or_default()
    }
}

impl Luminance {
    /// From these channels by weight, wholly.
    pub fn of(from: BTreeMap<String, f64>) -> Self {
        Self {
            from,
            amount: 1.0,
            stretch: None,
            detail: None,
        }
    }
}

impl Recipe {
    /// The channel whose grid the others take.
    pub fn reference(&self) -> Option<&Channel> {
        match &self.reference {
            Some(id) => self.channel(id),
            None => self.channels.first(),
        }
    }

    /// The channel called `id`.
    pub fn channel(&self, id: &str) -> Option<&Channel> {
        self.channels.iter().find(|channel| channel.id == id)
    }

    /// The first channel of a broad band: `R`, `G`, `B` or `L`.
    pub fn band(&self, band: &str) -> Option<&Channel> {
        self.channels.iter().find(|channel| {
            crate::engine::lines::line(&channel.line).is_some_and(|line| line.id == band)
        })
    }

    /// The rendition called `id`.
    pub fn rendition(&self, id: &str) -> Option<&Rendition> {
        self.renditions.iter().find(|rendition| rendition.id == id)
    }

    /// The ratio called `id`.
    pub fn ratio(&self, id: &str) -> Option<&Ratio> {
        self.ratios.iter().find(|ratio| ratio.id == id)
    }
}
