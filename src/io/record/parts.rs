//! What was done to a channel beside aligning and levelling it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How the light of stars was taken out of a narrow channel by a broad one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ContinuumEntry {
    /// Id of the broad channel.
    pub from: String,
    /// Factor on the broad channel's light above its sky.
    pub scale: f64,
    /// One standard deviation of it, where it was fitted.
    pub uncertainty: Option<f64>,
    /// On how many stars it was fitted; null: it was given.
    pub stars: Option<usize>,
    /// Width (one standard deviation, px) of the Gaussian that brought the
    /// sharper of the two to the width of the other; null: neither.
    pub blur_px: Option<f64>,
}

/// How noise was smoothed away.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NoiseEntry {
    /// The share that brightness lost, 0..1.
    pub brightness: f64,
    /// The share that colour lost, 0..1.
    pub color: f64,
    /// By what.
    pub method: String,
}

/// How stars were told from the nebula.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StarsEntry {
    /// Stars told apart.
    pub stars: usize,
    /// Those of them that are saturated.
    pub saturated: usize,
    /// The width of a star at half its height, px.
    pub fwhm_px: Option<f64>,
    /// The other channels that told of its stars.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub with: Vec<String>,
    /// By what; empty in records of the first builds.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub method: String,
}
