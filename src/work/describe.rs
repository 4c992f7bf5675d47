//! What is known of a composite before its pixels are made: its record, but
//! for hashes and measures.

use super::Error;
use super::compose::Request;
use super::inputs::{Input, folder_of, relative};
use crate::engine::caption::{Caption, Seen};
use crate::engine::color::oklab::oklch;
use crate::engine::color::space::Space;
use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::color::words::color_name;
use crate::engine::compose::Composition;
use crate::engine::exposure::exposure;
use crate::engine::finish::gamut::hold_hue;
use crate::engine::frame::{Depth, Size};
use crate::engine::lines;
use crate::engine::mix::assign::{AssignError, Assignment, assignments};
use crate::engine::recipe::{Channel, Recipe, Rendition};
use crate::io::record::{self, AssignmentEntry, Composite, Record, ShownColor, Software, tags};

/// The record of a composite that is still to be made. `inputs` are the files
/// that take part, `seen` is what the picture will look like.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn record(
    request: &Request,
    rendition: &Rendition,
    depth: Depth,
    inputs: &[Input],
    size: Size,
    seen: Option<Seen>,
) -> Result<Record, Error> {
    let recipe = &request.recipe;
    let mut record = Record {
        record: record::VERSION,
        software: Software {
            name: "Linehue".into(),
            version: env!("CARGO_PKG_VERSION").into(),
        },
        made_at: String::new(),
        composite: Composite {
            file: request
                .out
                .file_name()
                .map(|name| name.to_string_lossy().into_owned())
                .unwrap_or_default(),
            sha256: String::new(),
            pixels_sha256: String::new(),
            width: size.width,
            height: size.height,
            space: request.space,
            depth: depth.name().into(),
            long_edge: None,
        },
        rendition: rendition.id.clone(),
        assignments: entries(recipe, rendition, request.space)?,
        inputs: Vec::new(),
        recipe: recipe.clone(),
        caption: Caption {
            short: String::new(),
            long: String::new(),
            alt: String::new(),
        },
        integration_s: None,
        crop: None,
        seen,
        notices: Vec::new(),
    };
    for input in inputs {
        add_input(&mut record, recipe, input, folder_of(&request.out));
    }
    Ok(record)
}

fn add_input(record: &mut Record, recipe: &Recipe, input: &Input, record_folder: &std::path::Path) {
    let channel = &recipe.channels[input.channel];
    let facts = &input.facts;
    let exposed = exposure(&facts.header);
    if channel.exposure_s.is_none()
        && let Some(doubt) = &exposed.doubt
    {
        record.notices.push(format!("{}: {doubt}", channel.id));
    }
    record.notices.extend(
        facts
            .notices
            .iter()
            .map(|notice| format!("{}: {notice}", channel.id)),
    );
    record.inputs.push(record::Input {
        channel: channel.id.clone(),
        file: relative(record_folder, &input.path),
        sha256: String::new(),
        width: facts.size.width,
        height: facts.size.height,
        exposure_s: channel.exposure_s.or(exposed.seconds),
        header: tags::kept(&facts.header),
        sky: None,
        noise: None,
        align: None,
        level: None,
        continuum: None,
        noise_smoothed: None,
        stars: None,
    });
}

/// Which channel becomes which colour in a rendition.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn entries(
    recipe: &Recipe,
    rendition: &Rendition,
    space: Space,
) -> Result<Vec<AssignmentEntry>, AssignError> {
    let composition = Composition::new(recipe, rendition, space, Depth::Float32)?;
    let assigned = assignments(recipe, rendition)?;
    let made = assigned.iter().map(|assignment| AssignmentEntry {
        shown: composition
            .alone(assignment.channel, HALF_TONE)
            .map(|light| ShownColor {
                css: css(light),
                color_name: color_name(light).into(),
            }),
        ..entry(&recipe.channels[assignment.channel], assignment)
    });
    Ok(made.collect())
}

// The tone at which a colour is named: neither near black nor near white.
const HALF_TONE: f32 = 0.5;

fn entry(channel: &Channel, assignment: &Assignment) -> AssignmentEntry {
    let line = lines::line(&channel.line);
    let center_nm = channel
        .center_nm
        .or_else(|| line.map(|line| line.center_nm))
        .unwrap_or_default();
    let width_nm = channel
        .width_nm
        .or_else(|| line.and_then(|line| line.width_nm));
    let emission = line.is_some_and(|line| !line.is_broad());
    let also_passes = match width_nm {
        Some(width) if emission => lines::also_passes(&channel.line, center_nm, width)
            .into_iter()
            .map(|passing| passing.line)
            .collect::<std::collections::BTreeSet<_>>()
            .into_iter()
            .collect(),
        _ => Vec::new(),
    };
    AssignmentEntry {
        channel: channel.id.clone(),
        line: line.map_or_else(|| channel.line.clone(), |line| line.id.clone()),
        name: line.map_or_else(String::new, |line| line.name.clone()),
        center_nm,
        width_nm,
        also_passes,
        css: css(assignment.linear_srgb),
        linear_srgb: assignment.linear_srgb,
        oklch: oklch(assignment.linear_srgb),
        color_name: color_name(assignment.linear_srgb).into(),
        natural: assignment.natural,
        shown: None,
    }
}

/// The nearest colour that sRGB can show, as `#rrggbb`: hue held, brought to
/// full scale where it is brighter.
pub fn css(linear_srgb: [f64; 3]) -> String {
    let weights = Space::Srgb.luminance_weights().map(|weight| weight as f32);
    let held = hold_hue(linear_srgb.map(|c| c as f32), weights);
    let [r, g, b] = held.map(|light| (srgb_encode_exact(f64::from(light)) * 255.0).round() as u8);
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// HISTORY lines of a FITS composite.
pub fn history(record: &Record) -> Vec<String> {
    let mut lines = vec![format!(
        "Linehue {}: rendition {}, linear {} light",
        record.software.version,
        record.rendition,
        record.composite.space.title()
    )];
    for channel in &record.recipe.channels {
        let Some(entry) = record
            .assignments
            .iter()
            .find(|entry| entry.channel == channel.id)
        else {
            continue;
        };
        let stretch = &channel.stretch;
        let [r, g, b] = entry.linear_srgb;
        lines.push(format!(
            "{} ({}) from {}",
            entry.channel, entry.line, channel.file
        ));
        lines.push(format!(
            "  stretch {:?} black {} white {} amount {}",
            stretch.shape,
            stretch.black,
            stretch.white,
            stretch
                .amount
                .map_or_else(|| "-".into(), |amount| amount.to_string())
        ));
        lines.push(format!("  color {} = linear sRGB {r} {g} {b}", entry.css));
    }
    lines.push(format!(
        "The whole recipe is in {}.record.json",
        record.composite.file
    ));
    lines
}
