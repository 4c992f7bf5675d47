//! What is in a file.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::inputs::Input;
use super::prepare::stars_of;
use super::{Control, Error};
use crate::engine::align::stars::Stars;
use crate::engine::exposure::{Exposure, exposure};
use crate::engine::header::Header;
use crate::engine::lines::{Recognition, recognise};
use crate::engine::measure::{Survey, survey};
use crate::engine::wcs::Wcs;
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
    /// Its stars.
    pub stars: Stars,
    /// Arc seconds of a pixel, from the world coordinates, else from focal
    /// length (mm) and pixel size (um).
    pub scale_arcsec: Option<f64>,
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
    let mut tick = control.tick(&name);
    let survey = survey(&*opened.rows, opened.facts.ceiling, &mut tick)?;
    let input = Input {
        channel: 0,
        path: path.to_owned(),
        facts: opened.facts,
        rows: Arc::from(opened.rows),
    };
    let stars = stars_of(&input, &name, control)?;
    let mut facts = input.facts;
    if matches!(
        facts.container,
        read::Container::Fits | read::Container::FitsTiled
    ) && let Some(notice) = read::fits::checksum_notice(path, facts.hdu)
    {
        facts.notices.push(notice);
    }
    let scale_arcsec = scale(&facts.header);
    Ok(Report {
        path: path.to_owned(),
        facts,
        recognition,
        exposure,
        survey,
        stars,
        scale_arcsec,
    })
}

fn scale(header: &Header) -> Option<f64> {
    if let Some(wcs) = Wcs::from_header(header) {
        let [x, y] = wcs.scale_deg();
        return Some((x * y).sqrt() * 3600.0);
    }
    let positive = |keyword: &str| header.number(keyword).filter(|value| *value > 0.0);
    // 1 um at 1 mm is 206.265 arc seconds.
    Some(206.264_806 * positive("XPIXSZ")? / positive("FOCALLEN")?)
}
