//! The white balance of broad channels.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The least and the largest factor that a recipe may have.
pub const GAINS: [f64; 2] = [1e-6, 1e6];

/// Factors on the light of R, G and B above their skies, before the stretch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Balance {
    /// For R, G and B, above 0.
    pub gains: [f64; 3],
    /// The skies of R, G and B in file units, which the factors leave where they
    /// are; absent: their black points.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sky: Option<[f64; 3]>,
    /// How they were found.
    #[serde(default)]
    pub by: BalancedBy,
    /// One standard deviation of each gain, where it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<[f64; 3]>,
    /// On how many stars.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stars: Option<usize>,
    /// The catalogue's file, as it was named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub catalogue: Option<String>,
}

/// How a white balance was found.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum BalancedBy {
    /// Given as numbers.
    #[default]
    Hand,
    /// The average of the field's stars is white.
    Stars,
    /// One star is white.
    Star,
    /// A part of the picture is grey.
    Patch,
    /// Stars have the colours that a catalogue says.
    Catalogue,
}

impl BalancedBy {
    /// In words, after "white balance ".
    pub fn words(self) -> &'static str {
        match self {
            Self::Hand => "by given gains",
            Self::Stars => "by the average of stars",
            Self::Star => "by one star",
            Self::Patch => "by a patch of the picture",
            Self::Catalogue => "by catalogued stars",
        }
    }
}

/// The first gain that no recipe may have.
pub fn beyond(gains: &[f64; 3]) -> Option<f64> {
    let [least, most] = GAINS;
    let is_beyond = |gain: &f64| !(least..=most).contains(gain);
    gains.iter().copied().find(is_beyond)
}

/// The range of gains in words.
pub fn permitted() -> String {
    let [least, most] = GAINS;
    format!("each from {least} to {most}")
}

impl Balance {
    pub(super) fn check(&self) -> Result<(), (String, String)> {
        if let Some(gain) = beyond(&self.gains) {
            return Err((
                format!("`balance.gains` has {gain}"),
                format!("give three factors for R, G and B, {}", permitted()),
            ));
        }
        let numbers = self.sky.iter().chain(&self.uncertainty).flatten();
        for number in numbers {
            if !number.is_finite() {
                return Err((
                    format!("`balance` has {number}"),
                    "give finite numbers".to_owned(),
                ));
            }
        }
        Ok(())
    }
}
