//! Why there is no balance, and what to do.

use super::super::frame::{RowsError, Size};
use super::photometry::{PhotometryError, Refusal};

/// Names of channels that are not there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Missing(pub Vec<&'static str>);

impl std::fmt::Display for Missing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0.join(" and "))
    }
}

/// A colour in which a patch does not stand out.
#[derive(Debug, Clone, PartialEq)]
pub struct Dim {
    /// Which.
    pub color: &'static str,
    /// Its mean light above the sky, file units.
    pub light: f64,
    /// How far that may be off, 1 sigma.
    pub error: f64,
}

/// Why there are no gains.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BalanceError {
    /// The rows could not be read.
    #[error(transparent)]
    Rows(#[from] RowsError),
    /// The caller asked to stop.
    #[error("stopped before the stars were measured")]
    Stopped,
    /// A colour is not there.
    #[error("a white balance needs red, green and blue; there is no broadband {0} channel")]
    MissingChannel(Missing),
    /// The channels do not lie on one grid.
    #[error("red is {}, green {} and blue {} pixels", sizes[0], sizes[1], sizes[2])]
    Sizes {
        /// Red, green, blue.
        sizes: [Size; 3],
    },
    /// A gain is no positive number.
    #[error("{rgb:?} are no gains: each must be a number above 0")]
    BadGains {
        /// As they were given.
        rgb: [f64; 3],
    },
    /// Fewer stars than a balance needs.
    #[error(
        "{used} stars are fit for a white balance, {needed} are needed{}",
        told(refused)
    )]
    TooFewStars {
        /// Fit ones.
        used: usize,
        /// Needed.
        needed: usize,
        /// Why the others are not.
        refused: Vec<(Refusal, usize)>,
    },
    /// Not one star is below the ceiling in all channels.
    #[error("all {stars} stars that are bright enough are saturated in red, green or blue")]
    AllSaturated {
        /// How many.
        stars: usize,
    },
    /// No star where one was pointed at.
    #[error("there is no star within {reach_px:.0} px of ({:.1}, {:.1})", place[0], place[1])]
    NoStar {
        /// Where it was sought, px.
        place: [f64; 2],
        /// How far, px.
        reach_px: f64,
    },
    /// The star that was pointed at is of no use.
    #[error("the star at ({:.1}, {:.1}) is {why}", place[0], place[1])]
    StarRefused {
        /// Its place, px.
        place: [f64; 2],
        /// Why.
        why: Refusal,
    },
    /// A patch without a column or without a row.
    #[error(
        "the patch at ({}, {}) has no size: it is {width} pixels wide and {height} high",
        corner[0], corner[1]
    )]
    PatchWithoutSize {
        /// Upper left pixel.
        corner: [usize; 2],
        /// Columns.
        width: usize,
        /// Rows.
        height: usize,
    },
    /// A patch beyond the picture.
    #[error(
        "the patch from ({}, {}), {width} x {height}, is not within the picture of {size} pixels",
        corner[0], corner[1]
    )]
    PatchOutside {
        /// Upper left pixel.
        corner: [usize; 2],
        /// Columns.
        width: usize,
        /// Rows.
        height: usize,
        /// The picture.
        size: Size,
    },
    /// A patch with saturated pixels.
    #[error("the patch has saturated pixels in {color}")]
    PatchSaturated {
        /// Which channel.
        color: &'static str,
    },
    /// A patch where no pixel has data.
    #[error("no pixel of the patch has data in red, green and blue together")]
    PatchEmpty,
    /// A patch that is not surely brighter than the sky.
    #[error(
        "the patch is not surely brighter than the sky: {}; its light must be {} times its uncertainty",
        dims(dim),
        super::LEAST_SIGNIFICANCE
    )]
    PatchDark {
        /// In which channels.
        dim: Vec<Dim>,
    },
    /// The reference's header gives no sky coordinates that are understood.
    #[error("the catalogue cannot be laid on the picture: {0}")]
    NoWcs(String),
    /// The catalogue has no rows at all.
    #[error("the catalogue has no stars")]
    EmptyCatalogue,
    /// The catalogue shows another part of the sky.
    #[error(
        "the catalogue shows another field: it lies about {} and the picture about {}, {apart_deg:.2} degrees apart",
        sky(*catalogue), sky(*picture)
    )]
    AnotherField {
        /// Its middle, degrees.
        catalogue: [f64; 2],
        /// The picture's middle, degrees.
        picture: [f64; 2],
        /// Between them.
        apart_deg: f64,
    },
    /// Stars and catalogue share the field, but no pattern.
    #[error(
        "{rows} stars of the catalogue lie in the picture about {}, but no common shift of up to {search_px:.0} px lays them on its stars",
        sky(*picture)
    )]
    NothingMatches {
        /// Catalogue rows within the picture, each star once.
        rows: usize,
        /// How far a shift was sought, px.
        search_px: f64,
        /// The picture's middle, degrees.
        picture: [f64; 2],
    },
}

impl From<PhotometryError> for BalanceError {
    fn from(error: PhotometryError) -> Self {
        match error {
            PhotometryError::Rows(error) => Self::Rows(error),
            PhotometryError::Stopped => Self::Stopped,
        }
    }
}

fn sky([right_ascension, declination]: [f64; 2]) -> String {
    format!("right ascension {right_ascension:.3}, declination {declination:+.3}")
}

fn dims(dim: &[Dim]) -> String {
    let one = |dim: &Dim| {
        let Dim {
            color,
            light,
            error,
        } = dim;
        let digits = decimals(*error);
        format!("{color} {light:.digits$} with an uncertainty of {error:.digits$}")
    };
    let parts: Vec<String> = dim.iter().map(one).collect();
    parts.join(", ")
}

// Decimals that show two digits of a number that count.
fn decimals(number: f64) -> usize {
    if number > 0.0 && number.is_finite() {
        (1.0 - libm::floor(libm::log10(number))).clamp(0.0, 12.0) as usize
    } else {
        2
    }
}

fn told(refused: &[(Refusal, usize)]) -> String {
    let parts: Vec<_> = refused
        .iter()
        .map(|(why, count)| format!("{count} {why}"))
        .collect();
    if parts.is_empty() {
        String::new()
    } else {
        format!(" ({})", parts.join(", "))
    }
}

// How many stars have more than one row of the catalogue about them.
fn ambiguous(refused: &[(Refusal, usize)]) -> usize {
    let those = refused.iter().filter(|(why, _)| *why == Refusal::Ambiguous);
    those.map(|(_, count)| *count).sum()
}

impl BalanceError {
    /// The next step; empty where nothing can be said.
    pub fn hint(&self) -> String {
        let hint = match self {
            Self::Rows(error) => return error.hint.clone(),
            Self::Stopped => "",
            Self::MissingChannel(_) => "add the channel, or give the gains as numbers",
            Self::Sizes { .. } => "align the channels to one reference first",
            Self::BadGains { .. } => "write three numbers such as 1.2, 1.0 and 0.9",
            // With them there would have been enough.
            Self::TooFewStars {
                used,
                needed,
                refused,
            } if used + ambiguous(refused) >= *needed => {
                "keep one row for each star in the catalogue: it lists stars more than once, with \
                 places or colours that differ a little; or balance by the mean of the stars"
            }
            Self::TooFewStars { .. } => {
                "choose one star or a patch that shall be neutral, or give the gains"
            }
            Self::AllSaturated { .. } => {
                "use stacks of shorter exposures, choose a patch, or give the gains"
            }
            Self::NoStar { .. } => "point at the middle of a star",
            Self::StarRefused { .. } => {
                "choose a star that stands alone, is bright and not burnt out"
            }
            Self::PatchWithoutSize { .. } => "give it a width and a height of at least 1 pixel",
            Self::PatchOutside { .. } => "draw the patch within the picture",
            Self::PatchSaturated { .. } => "choose a patch that is not burnt out",
            Self::PatchEmpty => "choose a patch within the part that all three cover",
            Self::PatchDark { .. } => {
                "choose a larger patch or one with light of its own, such as a galaxy (the sky is \
                 neutral anyway), balance by the stars or a catalogue, or give the gains"
            }
            Self::NoWcs(_) => {
                "solve the reference's coordinates before stacking, or balance by the mean of the stars"
            }
            Self::EmptyCatalogue => "save the catalogue of this field with colours B-V or BP-RP",
            Self::AnotherField { .. } => {
                "fetch the catalogue about the picture's coordinates, or check the header's"
            }
            Self::NothingMatches { .. } => {
                "solve the reference's coordinates anew where they are farther off than that, fetch \
                 the catalogue anew, or balance by the mean of the stars"
            }
        };
        hint.to_owned()
    }
}
