//! A colour as a recipe writes it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A colour as a recipe writes it. Placeholder derive: replaced by hand-written serde.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub enum ColorValue {
    /// A CSS Color 4 string.
    Css(String),
    /// Linear light, sRGB primaries, unbounded.
    Vector([f64; 3]),
    /// A hue on the edge of the sRGB gamut.
    Hue {
        /// Oklch hue angle in degrees.
        hue: f64,
        /// 0 white .. 1 pure.
        saturation: f64,
        /// Factor on the vector.
        strength: f64,
    },
    /// Computed from the channel's wavelength.
    Natural,
}
