//! How the sky glow is taken out, as a recipe says it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The smallest [`Level::smooth`].
pub const SMOOTH_MIN: f64 = 0.1;

/// The largest [`Level::smooth`].
pub const SMOOTH_MAX: f64 = 1.0;

/// How the sky glow is taken out. Exactly one of `degree` and `smooth` is there.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Level {
    /// Total degree of the polynomial sky model, 1 to 3.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1, max = 3))]
    pub degree: Option<u8>,
    /// For a glow that no polynomial follows: a thin-plate spline. Waves of
    /// this length, as a share of the picture's longer side, are followed by
    /// half; longer ones more, shorter ones less. 0.1 to 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.1, max = 1.0))]
    pub smooth: Option<f64>,
    /// The level of the sky is taken out too, so that the sky lies about 0.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub zero: bool,
    /// Where nothing counts as sky.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub keep_out: Vec<KeepOut>,
}

/// A part of the picture where nothing counts as sky, in pixels of the
/// reference: x right, y down, the centre of the first pixel at (0, 0).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum KeepOut {
    /// Centre x, centre y, radius above 0.
    Circle([f64; 3]),
    /// Three corners or more; inside is what an odd number of edges encloses.
    Polygon(Vec<[f64; 2]>),
}
