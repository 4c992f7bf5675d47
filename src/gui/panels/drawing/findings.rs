//! What is to be known or settled before a drawing is made.

use super::{DrawingDraft, What};
use crate::gui::state::State;
use crate::work::compare::{self, Split};
use crate::work::targets::Finding;

impl DrawingDraft {
    /// What of the choices themselves is still open.
    pub(super) fn unsettled(&self, state: &State) -> Vec<Finding> {
        let ids = &self.renditions;
        let there = ids
            .iter()
            .filter(|id| state.recipe().rendition(id).is_some())
            .count();
        let finding = match self.what {
            What::Key | What::Leading if there == 0 => {
                Finding::stop("No rendition is chosen.", "Choose one.")
            }
            What::Sheet if self.palettes.as_ref().is_some_and(Vec::is_empty) => {
                Finding::stop("No palette is chosen.", "Choose one at least.")
            }
            What::Page if there == 0 => {
                Finding::stop("No rendition is chosen.", "Choose one or two.")
            }
            What::Page if there > 2 => Finding::stop(
                format!("A page shows two renditions at most, not {there}."),
                "Choose one or two.",
            ),
            What::Comparison if there < 2 => Finding::stop(
                "One rendition alone cannot be compared.",
                "Choose two at least; Ctrl+D adds a copy of the shown one.",
            ),
            What::Comparison if there > compare::MOST => Finding::stop(
                format!("{there} renditions are too many to compare."),
                format!("Choose {} at most.", compare::MOST),
            ),
            What::Comparison if there > 2 && self.split == Some(Split::Diagonal) => Finding::stop(
                "A diagonal divides a picture in two parts.",
                "Choose two renditions, or divide it upright.",
            ),
            What::Ratio => {
                let checked = self.ratio.as_ref().map(|ratio| ratio.check(state.recipe()));
                match checked {
                    Some(Ok(())) => return Vec::new(),
                    Some(Err((what, hint))) => {
                        Finding::stop(format!("{what}."), format!("{hint}."))
                    }
                    None => Finding::stop("No ratio is chosen.", "Look at one first: press O."),
                }
            }
            _ => return Vec::new(),
        };
        vec![finding]
    }
}
