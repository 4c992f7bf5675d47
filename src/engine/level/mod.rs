//! The sky glow of a channel: a smooth model of it, and the channel without it.
//!
//! Samples of a grid over the picture (`samples`) carry a polynomial or a
//! thin-plate spline that keeps to their lower edge (`fit`), so that a nebula
//! over much of the field does not pull it. Glow adds to the light, so the
//! model is subtracted.

mod edge;

mod fit;

mod keep_out;

mod polynomial;

mod samples;

mod sky;

mod solve;

mod spline;

pub use sky::{Kind, Leveled, Notice, SkyModel};

use std::ops::ControlFlow;

use super::frame::{Rows, RowsError, Size};
use super::recipe::Level;
use samples::Grid;
use sky::Surface;

/// With a smaller share of sky among the samples there is no model.
const SHARE_MIN: f64 = 0.02;

/// Why there is no sky model.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LevelError {
    /// The rows could not be read.
    #[error(transparent)]
    Rows(#[from] RowsError),
    /// `tick` asked to stop.
    #[error("stopped before all rows were read")]
    Stopped,
    /// Nothing is left to take samples from.
    #[error(
        "there is no sky to speak of: of {boxes} places in the picture {samples} have enough pixels"
    )]
    NoSamples {
        /// Places looked at.
        boxes: usize,
        /// Those with enough pixels.
        samples: usize,
    },
    /// A picture too small to tell a slope from noise.
    #[error("a picture of {size} pixels is too small for a sky model")]
    TooSmall {
        /// Its size.
        size: Size,
    },
    /// The samples agree on no surface, or lie too badly to settle one.
    #[error("there is no sky to speak of: {sky} of {samples} samples agree on a sky")]
    NoSky {
        /// Samples with a value.
        samples: usize,
        /// Those that count as sky.
        sky: usize,
    },
    /// The recipe's level was not checked.
    #[error("`level` has no sound `degree` or `smooth`")]
    Unchecked,
}

impl LevelError {
    /// The next step; empty where nothing can be said.
    pub fn hint(&self) -> String {
        match self {
            Self::Rows(error) => error.hint.clone(),
            Self::Stopped => String::new(),
            Self::NoSamples { .. } => {
                "leave more of the picture out of `keep_out`, or take `[channel.level]` out".into()
            }
            Self::TooSmall { .. } => "take `[channel.level]` out".into(),
            Self::NoSky { .. } => {
                "mark the nebula with `keep_out`, lower `degree`, or take `[channel.level]` out"
                    .into()
            }
            Self::Unchecked => "write `degree = 1`, 2 or 3, or `smooth = 0.1` to 1".into(),
        }
    }
}

/// Makes the sky model of a picture, in one pass from the top.
///
/// Memory stays below about 20 MB and two bands, whatever the picture's size;
/// the same bits come out for any number of threads. After each band `tick`
/// hears how many rows are done, of how many.
///
/// A degree that the samples do not settle is lowered, and the model says so
/// in its notices.
///
/// # Errors
/// [`LevelError`]: the source fails, `tick` breaks off, or there is no sky.
pub fn model(
    rows: &dyn Rows,
    level: &Level,
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<SkyModel, LevelError> {
    let asked = match (level.degree, level.smooth) {
        (Some(degree @ 1..=3), None) => Kind::Polynomial { degree },
        (None, Some(smooth)) if smooth > 0.0 && smooth.is_finite() => Kind::Spline {
            smooth: smooth.clamp(
                super::recipe::level::SMOOTH_MIN,
                super::recipe::level::SMOOTH_MAX,
            ),
        },
        _ => return Err(LevelError::Unchecked),
    };
    let grid = samples::gather(rows, &level.keep_out, tick)?;
    let boxes = grid.samples.len();
    let with_value = grid.samples.iter().flatten().count();
    if with_value == 0 {
        return Err(LevelError::NoSamples {
            boxes,
            samples: with_value,
        });
    }
    let noise = grid.noise(|_| true);
    let (kind, found) = fitted(&grid, noise, asked).ok_or_else(|| too_few(&grid, with_value))?;
    let used = found.kept.iter().filter(|kept| **kept).count();
    if (used as f64) < SHARE_MIN * with_value as f64 {
        return Err(LevelError::NoSky {
            samples: with_value,
            sky: used,
        });
    }
    Ok(SkyModel::new(&grid, found, asked, kind, level.zero))
}

/// The first surface that the samples settle, from the one asked for down.
fn fitted(grid: &Grid, noise: f64, asked: Kind) -> Option<(Kind, fit::Fitted<Surface>)> {
    let highest = match asked {
        Kind::Polynomial { degree } => degree,
        Kind::Spline { smooth } => {
            if let Some(found) = fit::spline(grid, noise, smooth) {
                let surface =
                    Surface::Mesh(spline::Mesh::new(grid.size, |x, y| found.surface.at(x, y)));
                return Some((asked, with_surface(surface, found.kept, found.scatter)));
            }
            2
        }
    };
    (1..=highest).rev().find_map(|degree| {
        let found = fit::polynomial(grid, noise, usize::from(degree))?;
        let surface = Surface::Polynomial(found.surface);
        let kind = Kind::Polynomial { degree };
        Some((kind, with_surface(surface, found.kept, found.scatter)))
    })
}

fn with_surface(surface: Surface, kept: Vec<bool>, scatter: f64) -> fit::Fitted<Surface> {
    fit::Fitted {
        surface,
        kept,
        scatter,
    }
}

fn too_few(grid: &Grid, samples: usize) -> LevelError {
    let boxes = grid.samples.len();
    // A plane wants three samples for each of its three terms.
    if boxes < 9 {
        LevelError::TooSmall { size: grid.size }
    } else if samples < 9 {
        LevelError::NoSamples { boxes, samples }
    } else {
        LevelError::NoSky { samples, sky: 0 }
    }
}
