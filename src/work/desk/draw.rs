//! Drawings about the picture, made by the same functions as the commands'.

use super::tell::Tell;
use super::{Drawing, Event};
use crate::work::{Error, compare, key, leading, page, ratio, sheet};

pub fn run(drawing: &Drawing, tell: &Tell<'_>) -> Result<(), Error> {
    let control = tell.control();
    let mut whole = None;
    let notices = match drawing {
        Drawing::Key(request) => key::run(request, control)?.notices,
        Drawing::Sheet(request) => {
            let done = sheet::run(request, control)?;
            let left_out = match done.left_out.len() {
                0 => None,
                1 => Some("1 palette does not fit these channels".to_owned()),
                many => Some(format!("{many} palettes do not fit these channels")),
            };
            done.notices.into_iter().chain(left_out).collect()
        }
        Drawing::Comparison(request) => compare::run(request, control)?.notices,
        Drawing::Page(request) => {
            let done = page::run(request, control)?;
            whole = Some(done.bytes);
            done.notices
        }
        Drawing::Leading(request) => {
            let done = leading::run(request, control)?;
            let words = leading::figures(&done);
            words.into_iter().chain(done.notices).collect()
        }
        Drawing::Ratio(request) => {
            let done = ratio::run(request, control)?;
            done.words.into_iter().chain(done.notices).collect()
        }
    };
    let path = drawing.out().to_owned();
    // A page may be a folder.
    let bytes = whole.unwrap_or_else(|| std::fs::metadata(&path).map_or(0, |about| about.len()));
    tell.event(Event::Drawn {
        ticket: tell.ticket,
        path,
        bytes,
        notices,
    });
    Ok(())
}
