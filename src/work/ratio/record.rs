//! The record beside a map: from which files, by which settings, with which
//! result.

use serde_json::{Value, json};

use super::Made;
use super::fits::center_nm;
use crate::engine::ratio::words::{INDICATIVE, name, symbol};
use crate::engine::ratio::{Map, Side};
use crate::engine::recipe::Channel;
use crate::work::inputs::{folder_of, relative, sha256};
use crate::work::{Control, Error};

/// The format version that this build writes and reads.
pub(super) const VERSION: u32 = 1;

/// The record as text.
///
/// # Errors
/// When a file cannot be read, or the job is stopped.
pub fn text(
    made: &Made<'_>,
    map: &Map<'_>,
    its_sha256: &str,
    control: Control<'_>,
) -> Result<String, Error> {
    let request = made.request;
    let folder = folder_of(&request.out);
    let mut files = Vec::new();
    for (channel, path) in made.files {
        files.push(json!({
            "channel": request.recipe.channels[*channel].id,
            "file": relative(folder, path),
            "sha256": sha256(path, control)?,
        }));
    }
    let part = made.preparation.part;
    let record = json!({
        "ratio_record": VERSION,
        "software": { "name": "Linehue", "version": env!("CARGO_PKG_VERSION") },
        "made_at": jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
        "map": {
            "file": request.out.file_name().map(|name| name.to_string_lossy()),
            "sha256": its_sha256,
            "width": map.size().width,
            "height": map.size().height,
            "part": [part.origin[0], part.origin[1], part.size.width, part.size.height],
        },
        "name": name(made.over, made.under),
        "calibration": INDICATIVE,
        "ratio": request.ratio,
        "over": line(made.over, &made.sides[0]),
        "under": line(made.under, &made.sides[1]),
        "inputs": files,
        "figures": figures(made),
        "criterion": criterion(made),
        "scale": { "low": made.span.low, "high": made.span.high, "runs": made.span.scale },
        "words": made.words,
        "caveats": made.caveats,
        "notices": made.notices,
        "recipe": request.recipe,
    });
    let text = serde_json::to_string_pretty(&record).map_err(|error| {
        Error::request(
            format!("the record cannot be written: {error}"),
            "please report it",
        )
    })?;
    Ok(format!("{text}\n"))
}

fn line(channel: &Channel, side: &Side) -> Value {
    json!({
        "channel": channel.id,
        "line": channel.line,
        "symbol": symbol(channel),
        "center_nm": center_nm(channel),
        "width_nm": channel.width_nm,
        "sky": side.sky,
        "sky_error": side.sky_error,
        "noise": side.noise,
        "full": side.full,
    })
}

fn figures(made: &Made<'_>) -> Value {
    let figures = &made.figures;
    let counts = &figures.counts;
    json!({
        "pixels": figures.pixels,
        "data_px": counts.data,
        "known_px": counts.known,
        "known": figures.known(),
        "over_alone_px": counts.over_alone,
        "under_alone_px": counts.under_alone,
        "p16": figures.quantiles[0],
        "median": figures.quantiles[1],
        "p84": figures.quantiles[2],
        "stands_out": figures.stands_out,
    })
}

fn criterion(made: &Made<'_>) -> Value {
    made.criterion.map_or(Value::Null, |criterion| {
        let marked = criterion.mark.is_some() && made.figures.stands_out;
        json!({
            "mark": criterion.mark,
            "reading": criterion.reading,
            "source": criterion.source,
            "above": marked.then(|| made.figures.above()),
            "surely_above": marked.then(|| made.figures.surely_above()),
        })
    })
}
