//! Output spaces.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The colour space of a finished picture.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Space {
    /// sRGB, IEC 61966-2-1.
    #[default]
    Srgb,
    /// Display P3: P3 primaries, D65, sRGB's curve.
    DisplayP3,
    /// ITU-R BT.2020 with its own curve.
    Rec2020,
}

impl Space {
    /// Every space.
    pub const ALL: [Self; 3] = [Self::Srgb, Self::DisplayP3, Self::Rec2020];

    /// As the command line and the record write it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Srgb => "srgb",
            Self::DisplayP3 => "display-p3",
            Self::Rec2020 => "rec2020",
        }
    }
}

impl std::str::FromStr for Space {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|space| space.name() == text)
            .ok_or_else(|| format!("`{text}` is no output space: srgb, display-p3 or rec2020"))
    }
}
