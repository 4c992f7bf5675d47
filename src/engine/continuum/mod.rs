//! Starlight out of a narrow channel: emission alone remains.
//!
//! ```text
//! emission = N - k (B - sky of B)
//! ```
//!
//! N is the narrow channel, B a broad one that passes the same part of the
//! spectrum, both linear and on one grid. Stars shine in both by their
//! continuum, so the factor k is the ratio of their light, narrow over broad
//! ([`ratio`]), or it is given. N keeps its own sky level. Where star widths
//! differ, B's stars would leave rings; the sharper channel is blurred to the
//! width of the other first ([`subtract`]).

mod blur;

mod ratio;

mod rows;

pub use blur::Blurred;
pub use ratio::{LEAST_SNR, LEAST_STARS, Ratio, ratio};
pub use rows::{Matched, Subtracted, WIDTHS_DIFFER, match_widths, subtract};

use super::balance::Refusal;
use super::balance::photometry::PhotometryError;
use super::frame::{RowsError, Size};

/// What a filter passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Middle of the passband, nm.
    pub center_nm: f64,
    /// Full width at half maximum, nm.
    pub width_nm: f64,
}

/// A broad filter is at least so many times as wide as the narrow one.
pub const BROAD: f64 = 3.0;

/// Whether a broad channel may serve as the continuum of a narrow one.
///
/// # Errors
/// [`ContinuumError::NotBroad`] where it is not [`BROAD`] times as wide,
/// [`ContinuumError::Elsewhere`] where it does not pass the narrow one's middle
/// within a tenth of its own width.
pub fn check_bands(narrow: Band, broad: Band) -> Result<(), ContinuumError> {
    let wide = broad.width_nm >= BROAD * narrow.width_nm;
    if !wide {
        return Err(ContinuumError::NotBroad {
            narrow_nm: narrow.width_nm,
            broad_nm: broad.width_nm,
        });
    }
    let apart = (broad.center_nm - narrow.center_nm).abs();
    let passes = apart <= 0.6 * broad.width_nm;
    if !passes {
        return Err(ContinuumError::Elsewhere {
            line_nm: narrow.center_nm,
            from_nm: broad.center_nm - 0.5 * broad.width_nm,
            to_nm: broad.center_nm + 0.5 * broad.width_nm,
        });
    }
    Ok(())
}

/// Why starlight cannot be taken out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ContinuumError {
    /// The rows could not be read.
    #[error(transparent)]
    Rows(#[from] RowsError),
    /// The caller asked to stop.
    #[error("stopped before the stars were measured")]
    Stopped,
    /// The channels do not lie on one grid.
    #[error("the narrow channel is {narrow}, the broad one {broad} pixels")]
    Sizes {
        /// The narrow channel's.
        narrow: Size,
        /// The broad channel's.
        broad: Size,
    },
    /// Both are narrow.
    #[error(
        "a filter {broad_nm} nm wide is not broad beside one of {narrow_nm} nm: it must be {BROAD} times as wide"
    )]
    NotBroad {
        /// Width of the narrow one, nm.
        narrow_nm: f64,
        /// Width of the other, nm.
        broad_nm: f64,
    },
    /// The broad filter passes another part of the spectrum.
    #[error("the broad filter passes {from_nm:.0} to {to_nm:.0} nm, not {line_nm:.1} nm")]
    Elsewhere {
        /// The narrow filter's middle, nm.
        line_nm: f64,
        /// Where the broad one begins, nm.
        from_nm: f64,
        /// Where it ends, nm.
        to_nm: f64,
    },
    /// Fewer stars than the ratio needs.
    #[error("{used} stars are fit to compare the channels, {needed} are needed")]
    TooFewStars {
        /// Fit ones.
        used: usize,
        /// Needed.
        needed: usize,
        /// Why the others are not.
        refused: Vec<(Refusal, usize)>,
    },
    /// Not one star is below the ceiling in both.
    #[error(
        "all {stars} stars that are bright enough are saturated in the narrow or the broad channel"
    )]
    AllSaturated {
        /// How many.
        stars: usize,
    },
    /// A factor that is no factor.
    #[error("{k} is no factor for the starlight: it must be a number of at least 0")]
    BadFactor {
        /// As it was given.
        k: f64,
    },
}

impl ContinuumError {
    /// The next step; empty where nothing can be said.
    pub fn hint(&self) -> String {
        let hint = match self {
            Self::Rows(error) => return error.hint.clone(),
            Self::Stopped => "",
            Self::Sizes { .. } => "align both channels to one reference first",
            Self::NotBroad { .. } => {
                "name a broadband channel: R for H-alpha or [S II], G or B for [O III]"
            }
            Self::Elsewhere { .. } => "name the broadband channel that passes this line, or L",
            Self::TooFewStars { .. } => "give the factor as a number",
            Self::AllSaturated { .. } => {
                "use stacks of shorter exposures, or give the factor as a number"
            }
            Self::BadFactor { .. } => {
                "start from the ratio of the filters' widths times that of the exposures"
            }
        };
        hint.to_owned()
    }
}

impl From<PhotometryError> for ContinuumError {
    fn from(error: PhotometryError) -> Self {
        match error {
            PhotometryError::Rows(error) => Self::Rows(error),
            PhotometryError::Stopped => Self::Stopped,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_must_fit() {
        let band = |center_nm, width_nm| Band {
            center_nm,
            width_nm,
        };
        let ha = band(656.3, 5.0);
        assert_eq!(check_bands(ha, band(640.0, 100.0)), Ok(()));
        let error = check_bands(ha, band(500.7, 3.0)).expect_err("narrow");
        assert!(
            error.to_string().contains("3 nm wide is not broad"),
            "{error}"
        );
        let error = check_bands(ha, band(450.0, 105.0)).expect_err("blue");
        assert!(error.to_string().contains("398 to 502 nm"), "{error}");
        assert!(error.hint().contains("passes this line"));
        assert!(check_bands(ha, band(640.0, f64::NAN)).is_err());
    }
}
