//! What a draft asks of the worker.

use super::{DrawingDraft, What};
use crate::engine::recipe::Ratio;
use crate::gui::state::State;
use crate::io::write::{Format, Options};
use crate::work::desk::Drawing;
use crate::work::key::{self, Beneath, Onto, Subject};
use crate::work::{compare, leading, page, ratio, sheet};

pub(super) fn subject(state: &State) -> Subject {
    Subject::of(
        state.recipe().clone(),
        state.folder.clone(),
        state.path.clone(),
    )
}

/// The drawing as drafted.
pub fn request(draft: &DrawingDraft, state: &State) -> Drawing {
    let subject = subject(state);
    let out = draft.target(state);
    match draft.what {
        What::Key => Drawing::Key(key::Request {
            subject,
            rendition: draft.renditions.first().cloned(),
            out,
            width: draft.width,
            light: draft.light,
            onto: draft.place.map(|place| Onto {
                beneath: Beneath::Rendition {
                    long_edge: draft.long_edge,
                },
                place,
            }),
        }),
        What::Sheet => Drawing::Sheet(sheet::Request {
            subject,
            out,
            palettes: draft.palettes.clone().unwrap_or_default(),
            columns: draft.columns,
            width: draft.width,
            light: draft.light,
        }),
        What::Page => Drawing::Page(page::Request {
            source: page::Source::Recipe(Box::new(subject)),
            renditions: draft.renditions.clone(),
            out,
            long_edge: draft.long_edge,
            format: if draft.png { Format::Png } else { Format::Jpeg },
            options: Options::default(),
            with_composite: false,
            template: None,
        }),
        What::Leading => Drawing::Leading(leading::Request {
            recipe: state.recipe().clone(),
            folder: state.folder.clone(),
            rendition: draft.renditions.first().cloned(),
            out,
            by: draft.by,
        }),
        What::Ratio => Drawing::Ratio(ratio::Request {
            recipe: state.recipe().clone(),
            folder: state.folder.clone(),
            file: state.path.clone(),
            // Its findings stop a draft without a ratio.
            ratio: draft.ratio.clone().unwrap_or_else(|| Ratio::of("", "", "")),
            out,
        }),
        What::Comparison => Drawing::Comparison(compare::Request {
            subject,
            renditions: draft.renditions.clone(),
            out,
            split: draft.split,
            key: draft.keys,
            width: draft.width,
            light: draft.light,
        }),
    }
}
