//! Every way in which a job can fail, with the next step.

use crate::engine::align::stars::FindError;
use crate::engine::frame::RowsError;
use crate::engine::measure::SurveyError;
use crate::engine::mix::assign::AssignError;
use crate::engine::palettes::PaletteError;
use crate::engine::recipe::text::RecipeError;
use crate::io::read::ReadError;
use crate::io::record::RecordError;
use crate::io::write::WriteError;

/// Why a job ended without its result.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Someone asked to stop.
    #[error("stopped; nothing was left half-written")]
    Cancelled,
    /// A file could not be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// Rows of an open file could not be read.
    #[error(transparent)]
    Rows(#[from] RowsError),
    /// The recipe does not hold.
    #[error(transparent)]
    Recipe(#[from] RecipeError),
    /// The record does not hold.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// A colour could not be worked out.
    #[error(transparent)]
    Assign(#[from] AssignError),
    /// A palette does not fit.
    #[error(transparent)]
    Palette(#[from] PaletteError),
    /// Something about the request itself, with the next step.
    #[error("{what}")]
    Request {
        /// What is wrong.
        what: String,
        /// What to do.
        hint: String,
    },
}

impl Error {
    /// A request that cannot be met.
    pub fn request(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::Request {
            what: what.into(),
            hint: hint.into(),
        }
    }

    /// The next step; empty where nothing can be said.
    pub fn hint(&self) -> String {
        match self {
            Self::Cancelled => String::new(),
            Self::Read(error) => error.hint(),
            Self::Rows(error) => error.hint.clone(),
            Self::Recipe(error) => error.hint.clone(),
            Self::Record(error) => error.hint(),
            Self::Write(error) => error.hint(),
            Self::Assign(_) => "check the recipe's colors".to_owned(),
            Self::Palette(error) => error.hint.clone(),
            Self::Request { hint, .. } => hint.clone(),
        }
    }
}

impl From<FindError> for Error {
    fn from(error: FindError) -> Self {
        match error {
            FindError::Rows(error) => Self::Rows(error),
            FindError::Stopped => Self::Cancelled,
        }
    }
}

impl From<SurveyError> for Error {
    fn from(error: SurveyError) -> Self {
        match error {
            SurveyError::Rows(error) => Self::Rows(error),
            SurveyError::Stopped => Self::Cancelled,
        }
    }
}

impl From<std::convert::Infallible> for Error {
    fn from(never: std::convert::Infallible) -> Self {
        match never {}
    }
}
