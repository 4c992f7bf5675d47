//! The composite, made by the same function as the command's.

use super::Event;
use super::tell::Tell;
use crate::work::{Error, compose};

pub fn run(request: &compose::Request, tell: &Tell<'_>) -> Result<(), Error> {
    let done = compose::run(request, tell.control())?;
    let bytes = std::fs::metadata(&request.out).map_or(0, |about| about.len());
    tell.event(Event::Exported {
        ticket: tell.ticket,
        path: request.out.clone(),
        record: done.record_path,
        bytes,
    });
    Ok(())
}
