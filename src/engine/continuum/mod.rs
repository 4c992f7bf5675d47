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
use super::measure::Levels;

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
    check_place(narrow.center_nm, broad)
}

/// Whether a broad channel passes a wavelength (nm), within a tenth of its own
/// width: all that can be asked where a narrow filter's width is not known.
///
/// # Errors
/// [`ContinuumError::Elsewhere`] where it does not.
pub fn check_place(center_nm: f64, broad: Band) -> Result<(), ContinuumError> {
    let apart = (broad.center_nm - center_nm).abs();
    let passes = apart <= 0.6 * broad.width_nm;
    if !passes {
        return Err(ContinuumError::Elsewhere {
            line_nm: center_nm,
            from_nm: broad.center_nm - 0.5 * broad.width_nm,
            to_nm: broad.center_nm + 0.5 * broad.width_nm,
        });
    }
    Ok(())
}

/// What is faint in a channel beside its brightest light.
const FAINT_SHARE: f64 = 1e-4;

/// Whether a factor that is given leaves anything of the narrow channel.
///
/// It does not where `k`, at least 0, times the noise of the broad channel or
/// times a ten-thousandth of its brightest light is more than all values of the
/// narrow one span. Levels are in file units, which may differ between the two.
///
/// # Errors
/// [`ContinuumError::Drowns`].
pub fn check_factor(k: f64, narrow: &Levels, broad: &Levels) -> Result<(), ContinuumError> {
    let faint = broad.noise.max(FAINT_SHARE * (broad.max - broad.sky));
    let (taken, span) = (k * faint, narrow.max - narrow.min);
    if taken > span {
        return Err(ContinuumError::Drowns { k, taken, span });
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
    /// A factor that leaves nothing but the broad channel.
    #[error(
        "a factor of {k:?} drowns the channel: {taken:.1e} would be taken away by what is faint in the broad one, and all of its own values span {span:.1e}"
    )]
    Drowns {
        /// As it was given.
        k: f64,
        /// Faint light of the broad channel times the factor, file units.
        taken: f64,
        /// From the lowest to the highest value of the narrow one, file units.
        span: f64,
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
            Self::BadFactor { .. } | Self::Drowns { .. } => {
                "leave `scale` out, and it is fitted on stars; or start from the ratio of the filters' widths times that of the exposures"
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
        // 500.684 nm is 50.684 off the middle: within six tenths of 90, not of 80.
        assert_eq!(check_place(500.684, band(450.0, 90.0)), Ok(()));
        assert!(check_place(500.684, band(450.0, 80.0)).is_err());
        assert!(check_place(f64::NAN, band(450.0, 80.0)).is_err());
    }

    #[test]
    fn a_factor_must_leave_something() {
        let levels = |min, sky, max, noise| Levels {
            min,
            max,
            median: sky,
            sky,
            spread: noise,
            noise,
        };
        let narrow = levels(90.0, 100.0, 1090.0, 2.0);
        // 500 times the noise is all that the narrow channel spans.
        let broad = levels(380.0, 400.0, 10_400.0, 2.0);
        assert_eq!(check_factor(500.0, &narrow, &broad), Ok(()));
        assert_eq!(check_factor(0.0, &narrow, &broad), Ok(()));
        let error = check_factor(501.0, &narrow, &broad).expect_err("drowned");
        assert!(error.to_string().contains("501.0 drowns"), "{error}");
        assert!(error.hint().contains("fitted on stars"));
        // The broad one without noise: its light tells; in units of its own, too.
        let clean = levels(0.4, 0.4, 10.4, 0.0);
        assert_eq!(check_factor(0.9e6, &narrow, &clean), Ok(()));
        for k in [1.1e6, 1e300, f64::MAX] {
            assert!(check_factor(k, &narrow, &clean).is_err(), "{k:?}");
        }
    }
}
