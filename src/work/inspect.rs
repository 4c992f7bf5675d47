//! What is in a file.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use super::{Control, Error};
use crate::engine::exposure::{Exposure, exposure};
use crate::engine::lines::{Recognition, recognise};
use crate::engine::measure::{Survey, SurveyError, survey};
use crate::io::read::{self, Facts, Pick};

/// What is in a file.
#[derive(Debug, Clone)]
pub struct Report {
    /// The file.
    pub path: PathBuf,
    /// Its kind, size, header.
    pub facts: Facts,
    /// Which line it seems to hold, and why.
    pub recognition: Recognition,
    /// How long it was exposed.
    pub exposure: Exposure,
    /// Its levels, counted over all pixels.
    pub survey: Survey,
}

/// Reads a file from end to end and tells what is in it.
///
/// # Errors
/// When it cannot be read, or the job is stopped.
pub fn run(path: &Path, pick: Pick, control: Control<'_>) -> Result<Report, Error> {
    let opened = read::open(path, pick)?;
    let name = path
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default();
    let recognition = recognise(&opened.facts.header, &name);
    let exposure = exposure(&opened.facts.header);
    let mut tick = |done: usize, total: usize| {
        control.progress.report(&name, done as u64, total as u64);
        match control.check() {
            Ok(()) => ControlFlow::Continue(()),
            Err(_) => ControlFlow::Break(()),
        }
    };
    let survey =
        survey(&*opened.rows, opened.facts.ceiling, &mut tick).map_err(|error| match error {
            SurveyError::Rows(error) => Error::Rows(error),
            SurveyError::Stopped => Error::Cancelled,
        })?;
    let mut facts = opened.facts;
    if matches!(
        facts.container,
        read::Container::Fits | read::Container::FitsTiled
    ) && let Some(notice) = read::fits::checksum_notice(path, facts.hdu)
    {
        facts.notices.push(notice);
    }
    Ok(Report {
        path: path.to_owned(),
        facts,
        recognition,
        exposure,
        survey,
    })
}
