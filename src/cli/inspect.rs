//! `linehue inspect`: what is in each file.

use std::path::PathBuf;

use serde_json::json;

use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::engine::caption::hours_minutes;
use crate::engine::lines::{self, Recognition};
use crate::io::read::{Container, Pick, SampleKind};
use crate::work::inspect::{self, Report};

/// Tell what is in each file: size, line and why, exposure, sky, noise, pixels
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue inspect lantern-ha.fits
  linehue inspect *.fits --json
  linehue inspect colour.tif --plane 0")]
pub struct Arguments {
    /// The files
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    /// Which header-data unit or page, from 0
    #[arg(long, value_name = "N")]
    hdu: Option<usize>,

    /// Which plane of a cube or colour file, from 0
    #[arg(long, value_name = "N")]
    plane: Option<usize>,

    /// Print JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let pick = Pick {
        hdu: arguments.hdu,
        plane: arguments.plane,
    };
    let mut reports = Vec::new();
    let mut failure = None;
    for file in &arguments.files {
        match inspect::run(file, pick, terminal.control()) {
            Ok(report) if arguments.json => reports.push(as_json(&report)),
            Ok(report) => terminal.result(&as_text(&report))?,
            Err(Error::Cancelled) => return Err(Error::Cancelled),
            Err(error) => {
                // The others are still told about; the last error ends the command.
                if let Some(earlier) = failure.replace(error) {
                    terminal.error(&earlier);
                }
            }
        }
    }
    if arguments.json {
        json(terminal, &reports)?;
    }
    match failure {
        Some(error) => Err(error),
        None => Ok(Outcome::Done),
    }
}

fn sample_words(report: &Report) -> String {
    let sample = report.facts.sample;
    let kind = match sample.kind {
        SampleKind::Unsigned => "unsigned",
        SampleKind::Signed => "signed",
        SampleKind::Float => "float",
    };
    format!("{}-bit {kind}", sample.bits)
}

fn container_words(report: &Report) -> String {
    let kind = match report.facts.container {
        Container::Fits | Container::FitsTiled => "FITS",
        Container::Tiff => "TIFF",
        Container::Png => "PNG",
    };
    match report.facts.packing.as_str() {
        "" => kind.to_owned(),
        packing => format!("{kind} ({packing})"),
    }
}

fn line_words(recognition: &Recognition) -> String {
    match recognition {
        Recognition::Known {
            line,
            width_nm,
            why,
            ..
        } => {
            let name = lines::line(line).map_or(line.as_str(), |known| known.name.as_str());
            let width = width_nm.map_or_else(String::new, |width| format!(", {width} nm wide"));
            format!("{line} ({name}{width}): {why}")
        }
        Recognition::Ambiguous { candidates, why } => {
            format!(
                "ambiguous, {}: {why}; say which with `line`",
                candidates.join(" or ")
            )
        }
        Recognition::Unknown { why } => format!("unknown: {why}; say which with `line`"),
    }
}

fn as_text(report: &Report) -> String {
    let facts = &report.facts;
    let mut text = format!("{}\n", report.path.display());
    let mut row = |name: &str, value: String| text.push_str(&format!("  {name:<9} {value}\n"));
    row(
        "picture",
        format!(
            "{}, {}, {}",
            facts.size,
            sample_words(report),
            container_words(report)
        ),
    );
    if facts.planes > 1 {
        row(
            "plane",
            format!("{} of {}, counted from 0", facts.plane, facts.planes),
        );
    }
    row("line", line_words(&report.recognition));
    match report.exposure.seconds {
        Some(seconds) => row(
            "exposure",
            format!(
                "{} ({seconds} s, {})",
                hours_minutes(seconds),
                report.exposure.why
            ),
        ),
        None => row("exposure", report.exposure.why.clone()),
    }
    let survey = &report.survey;
    match survey.levels {
        Some(levels) => {
            row(
                "sky",
                format!("{}, noise {}", short(levels.sky), short(levels.noise)),
            );
            row(
                "range",
                format!("{} to {}", short(levels.min), short(levels.max)),
            );
        }
        None => row("sky", "no pixel holds data".to_owned()),
    }
    let saturated = match survey.saturation {
        Some(level) => format!("{} saturated at {}", survey.saturated, short(level)),
        None => "none saturated".to_owned(),
    };
    row(
        "pixels",
        format!(
            "{saturated}, {} missing, {} in an empty border",
            survey.missing, survey.empty
        ),
    );
    row("stars", star_words(report));
    for note in facts.notices.iter().chain(&report.exposure.doubt) {
        row("note", note.clone());
    }
    text
}

fn star_words(report: &Report) -> String {
    let stars = &report.stars;
    let mut text = match stars.stars.len() {
        0 => return "none found".to_owned(),
        1 => "1".to_owned(),
        count => count.to_string(),
    };
    if let Some(fwhm_px) = stars.fwhm_px {
        text.push_str(&format!(", FWHM {fwhm_px:.2} px"));
        if let Some(scale) = report.scale_arcsec {
            text.push_str(&format!(" ({:.2}\")", fwhm_px * scale));
        }
    }
    if let Some(elongation) = stars.elongation {
        text.push_str(&format!(", elongation {elongation:.2}"));
    }
    text
}

// Five significant figures, without an exponent where it can be helped.
fn short(value: f64) -> String {
    let size = value.abs();
    if size != 0.0 && !(1e-4..1e7).contains(&size) {
        return format!("{value:.4e}");
    }
    let whole_digits = if size < 1.0 {
        0
    } else {
        libm::log10(size) as usize + 1
    };
    let text = format!("{value:.*}", 5_usize.saturating_sub(whole_digits).min(6));
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

fn as_json(report: &Report) -> serde_json::Value {
    let (facts, survey) = (&report.facts, &report.survey);
    let (state, line, center_nm, width_nm, candidates) = match &report.recognition {
        Recognition::Known {
            line,
            center_nm,
            width_nm,
            ..
        } => (
            "known",
            Some(line.clone()),
            *center_nm,
            *width_nm,
            Vec::new(),
        ),
        Recognition::Ambiguous { candidates, .. } => {
            ("ambiguous", None, None, None, candidates.clone())
        }
        Recognition::Unknown { .. } => ("unknown", None, None, None, Vec::new()),
    };
    let notices: Vec<&String> = facts
        .notices
        .iter()
        .chain(report.exposure.doubt.as_ref())
        .collect();
    json!({
        "file": report.path.to_string_lossy(),
        "width": facts.size.width,
        "height": facts.size.height,
        "container": container_words(report),
        "sample": { "bits": facts.sample.bits, "kind": sample_words(report).rsplit(' ').next() },
        "hdu": facts.hdu,
        "plane": facts.plane,
        "planes": facts.planes,
        "line": {
            "state": state,
            "id": line,
            "center_nm": center_nm,
            "width_nm": width_nm,
            "candidates": candidates,
            "why": report.recognition.why(),
        },
        "exposure_s": report.exposure.seconds,
        "exposure_from": report.exposure.why,
        "sky": survey.levels.map(|levels| levels.sky),
        "noise": survey.levels.map(|levels| levels.noise),
        "min": survey.levels.map(|levels| levels.min),
        "max": survey.levels.map(|levels| levels.max),
        "saturation": survey.saturation,
        "saturated": survey.saturated,
        "missing": survey.missing,
        "empty": survey.empty,
        "stars": report.stars.stars.len(),
        "fwhm_px": report.stars.fwhm_px,
        "fwhm_arcsec": report.stars.fwhm_px.zip(report.scale_arcsec).map(|(px, scale)| px * scale),
        "elongation": report.stars.elongation,
        "notices": notices,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short() {
        for (value, text) in [
            (0.0, "0"),
            (212.437_8, "212.44"),
            (0.002_134_56, "0.00213"),
            (65_535.0, "65535"),
            (1e-9, "1.0000e-9"),
            (-3.5, "-3.5"),
            (100.0, "100"),
        ] {
            assert_eq!(short(value), text);
        }
    }
}
