//! Stars apart from nebula: a linear picture becomes a nebula without stars,
//! and the stars are what the original has more.
//!
//! [`measure`] finds from the picture's own bright stars how a point looks here:
//! its core (`build`), how far its light reaches (`rings`, `wing`) and its arms
//! (`arms`). It fits how high each listed star stands (`fit`), neighbours
//! together, above the ground that errs least there (`below`); it looks for
//! stars that the list does not have (`seek`), takes several apart that look like
//! one (`split`) and leaves out what is no star (`judge`).
//! [`StarModel::separate`] then takes their light away (`image`, `light`). Where
//! that leaves more roughness than the noise (`islands`: the tops of bright
//! stars, what is cut off) a smooth surface through the surroundings (`fill`) and
//! noise of the local strength (`noise`) take over gradually. A star's light ends
//! where it falls below a fifth of the noise; outside of all stars' light no bit
//! changes.
//!
//! ```text
//! stars = original - nebula        nebula + stars = original, to the bit
//! ```
//!
//! Any part of the picture can be separated alone, with the same bits as in the
//! whole. Nothing depends on the number of threads.
#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "what is no number is refused like what is too small"
)]

mod arms;

mod below;

mod beside;

mod build;

mod field;

mod fill;

mod fit;

mod footprint;

mod image;

mod islands;

mod judge;

mod light;

mod measure;

mod model;

mod noise;

mod pixels;

mod psf;

mod rings;

mod scale;

mod seek;

mod split;

mod start;

mod together;

mod told;

mod wing;

pub use footprint::{Footprint, Span};
pub use light::Drawn;
pub use measure::measure;
pub use model::StarModel;
pub use pixels::Window;
pub use psf::Psf;
pub use scale::{Scale, star_scale};
pub use together::Together;

use std::ops::ControlFlow;

use super::align::stars::{Star, Stars};
use super::frame::{Plane, Size};

/// What a record says of it, of a channel by itself: another word where other bits
/// come out.
pub const METHOD: &str = "images of a point and their arms learned from the field and anew beside these, close stars told apart and found beside full ones, heights weighed and tops filled as the ground is rough";

/// The same of a channel of whose stars others told.
pub const METHOD_TOGETHER: &str = "images of a point learned from the field and anew beside arms, close stars told apart and found beside full ones, heights and arms told by channels together and broad ones beside them, weighed and filled as the ground is rough";

/// What is to be taken off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// From this value on the detector is full, file units, where known.
    pub ceiling: Option<f64>,
    /// Stars whose height is below so many times its error stay.
    pub least_snr: f64,
    /// Full width at half maximum of the stars, px, where the list came from
    /// another channel and few stars of this one tell.
    pub fwhm_px: f64,
}

impl Settings {
    /// For a list of stars found in the same picture.
    pub fn of(stars: &Stars) -> Self {
        Self {
            ceiling: stars.ceiling,
            least_snr: 4.0,
            fwhm_px: stars.fwhm_px.unwrap_or(3.0),
        }
    }
}

/// What happened to the listed stars.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Report {
    /// Stars taken off.
    pub stars: usize,
    /// Those among them that are cut off at the ceiling.
    pub saturated: usize,
    /// Listed, but not seen here: below the least signal to noise, or on no data.
    pub faint: usize,
    /// Stars among them that the list does not have.
    pub found: usize,
    /// Listed, but wider or otherwise unlike a star: left in the nebula.
    pub unlike: usize,
    /// Stars that the image of a point was made from.
    pub models: usize,
}

/// What the user should know.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Notice {
    /// Too few bright, lone stars: the image of a point is a textbook profile.
    #[error(
        "{usable} bright stars stand alone, too few to learn a star's image from: a textbook profile of {fwhm_px:.1} px serves instead, and more of each star is filled from its surroundings"
    )]
    TextbookProfile {
        /// Stars that would have served.
        usable: usize,
        /// The profile's full width at half maximum, px.
        fwhm_px: f64,
    },
}

/// Why stars could not be taken off.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SeparateError {
    /// `tick` asked to stop.
    #[error("stopped before the stars were taken off")]
    Stopped,
    /// The model was made from a picture of another size.
    #[error("the stars were measured on a picture of {model}, this one has {plane}")]
    OtherSize {
        /// What the model was made from.
        model: Size,
        /// What it was to be used on.
        plane: Size,
    },
}

impl SeparateError {
    /// The next step; empty where nothing can be said.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Stopped => "",
            Self::OtherSize { .. } => "measure the stars on the picture they are to be taken from",
        }
    }
}

/// A picture taken apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Separation {
    /// Where the stars are, and what is below them.
    pub footprint: Footprint,
    /// What happened to the listed stars.
    pub report: Report,
    /// What the user should know.
    pub notices: Vec<Notice>,
}

impl Separation {
    /// The whole picture without stars.
    pub fn nebula(&self, original: &Plane) -> Plane {
        self.footprint.nebula(original)
    }
}

/// Hears how much is done, of how much; breaks off where it says so.
pub type Tick<'a> = &'a (dyn Fn(usize, usize) -> ControlFlow<()> + Sync);

/// Takes a whole picture apart: [`measure`], then [`StarModel::separate`].
///
/// Memory: besides the picture one plane of starlight while measuring; the
/// footprint has 8 bytes for each pixel with starlight.
///
/// # Errors
/// [`SeparateError::Stopped`] where `tick` breaks off.
pub fn stars_apart(
    plane: &Plane,
    stars: &[Star],
    settings: &Settings,
    tick: Tick<'_>,
) -> Result<Separation, SeparateError> {
    let model = measure(plane, stars, settings, tick)?;
    let footprint = model.separate(plane, model.whole(), tick)?;
    Ok(Separation {
        footprint,
        report: model.report,
        notices: model.notices,
    })
}
