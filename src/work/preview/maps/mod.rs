//! Maps on the screen instead of a picture: which line leads where, and how
//! strong one line is beside another.
//!
//! They are taken from the means that the screen shows, with the noise that
//! such means have, from the channels as they are: neither their noise nor
//! their stars are taken out. At full size they are what the commands write.

mod known;

mod leading;

mod ratio;

use super::canvas::Drawn;
use crate::engine::leading::Counts as Leaders;
use crate::engine::ratio::Counts as Ratios;
use crate::engine::ratio::paint::Span;

pub(super) use known::Known;
pub(super) use leading::draw as leading;
pub(super) use ratio::draw as ratio;

/// What a map found over the part that is shown.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// Which line leads.
    Leading {
        /// By [`Leaders::led`].
        lines: Vec<Leader>,
        /// Lines whose channels are not in memory.
        missing: Vec<String>,
        /// The colour of places where no line leads for certain, sRGB.
        undecided: [u8; 3],
        /// Pixels of the screen.
        counts: Leaders,
    },
    /// A ratio of two lines.
    Ratio {
        /// `[S II]/Hα`
        name: String,
        /// The ratios that the colours stand for.
        span: Span,
        /// A published threshold.
        mark: Option<f64>,
        /// Pixels of the screen.
        counts: Ratios,
        /// What makes the channels doubtful, in sentences.
        remarks: Vec<String>,
    },
    /// There is no map.
    Nothing {
        /// Why.
        what: String,
        /// What to do.
        hint: String,
    },
}

/// Colours that tell how clearly a line leads.
pub const RAMP: usize = 9;

/// A line in a map of who leads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Leader {
    /// Its symbol.
    pub name: String,
    /// Its colours from level with the next line to alone, sRGB as the reader
    /// sees them.
    pub ramp: [[u8; 3]; RAMP],
}

impl Found {
    fn nothing(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::Nothing {
            what: what.into(),
            hint: hint.into(),
        }
    }
}

// A canvas without a picture, and why.
fn blank(request: &super::Request, found: Found) -> Option<Drawn> {
    let cancel = std::sync::atomic::AtomicBool::new(false);
    let drawn = super::canvas::fill(request, &cancel, |_| {})?;
    Some(Drawn {
        found: Some(found),
        ..drawn
    })
}
