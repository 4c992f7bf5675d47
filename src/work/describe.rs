//! What is known of a composite before its pixels are made: its record, but
//! for hashes and measures.

use super::Error;
use super::compose::Request;
use super::inputs::{Input, folder_of, relative};
use crate::engine::caption::{self, Caption, Shown};
use crate::engine::color::oklab::oklch;
use crate::engine::color::space::Space;
use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::color::words::color_name;
use crate::engine::exposure::exposure;
use crate::engine::finish::gamut::hold_hue;
use crate::engine::frame::{Depth, Size};
use crate::engine::header::Header;
use crate::engine::lines;
use crate::engine::mix::assign::{AssignError, Assignment, assignments};
use crate::engine::recipe::{Channel, Recipe, Rendition};
use crate::io::record::{self, AssignmentEntry, Composite, Record, Software, tags};

/// The record of a composite that is still to be made. `needed` are the
/// channels (by index) that take part in it; the reference may be beside them.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn record(
    request: &Request,
    rendition: &Rendition,
    depth: Depth,
    inputs: &[Input],
    reference: &Header,
    size: Size,
    needed: &[usize],
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
        assignments: entries(recipe, &assignments(recipe, rendition)?),
        inputs: Vec::new(),
        recipe: recipe.clone(),
        caption: Caption {
            short: String::new(),
            long: String::new(),
            alt: String::new(),
        },
        integration_s: None,
        crop: None,
        notices: Vec::new(),
    };
    for input in inputs {
        add_input(&mut record, recipe, input, folder_of(&request.out));
    }
    let taking_part: Vec<(usize, Option<f64>)> = inputs
        .iter()
        .zip(&record.inputs)
        .filter(|(input, _)| needed.contains(&input.channel))
        .map(|(input, entry)| (input.channel, entry.exposure_s))
        .collect();
    let shown = shown(recipe, &record.assignments, &taking_part);
    let total: f64 = taking_part
        .iter()
        .filter_map(|(_, exposure_s)| *exposure_s)
        .sum();
    let object = tags::object(&record, reference);
    record.caption = caption::write(&recipe.about, &object, &shown);
    record.integration_s = (total > 0.0).then_some(total);
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
    });
}

fn entries(recipe: &Recipe, assigned: &[Assignment]) -> Vec<AssignmentEntry> {
    assigned
        .iter()
        .map(|assignment| entry(&recipe.channels[assignment.channel], assignment))
        .collect()
}

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

/// The captions of a rendition, as its record will hold them. `exposure_s` says
/// how many seconds each channel (by its index) was exposed, as far as that is
/// known; `object` is what the reference's header calls the object.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn caption(
    recipe: &Recipe,
    rendition: &Rendition,
    exposure_s: impl Fn(usize) -> Option<f64>,
    object: &str,
) -> Result<Caption, AssignError> {
    let entries = entries(recipe, &assignments(recipe, rendition)?);
    let taking_part: Vec<(usize, Option<f64>)> = taking_part(recipe, rendition)
        .map(|index| (index, exposure_s(index)))
        .collect();
    let shown = shown(recipe, &entries, &taking_part);
    let own = recipe.about.object.trim();
    let object = if own.is_empty() { object.trim() } else { own };
    Ok(caption::write(&recipe.about, object, &shown))
}

// The channels that give colour or brightness, as the path picks them.
fn taking_part<'a>(
    recipe: &'a Recipe,
    rendition: &'a Rendition,
) -> impl Iterator<Item = usize> + 'a {
    let weight = |id: &String| rendition.luminance.as_ref()?.from.get(id).copied();
    (0..recipe.channels.len()).filter(move |index| {
        let id = &recipe.channels[*index].id;
        rendition.colors.contains_key(id) || weight(id).is_some_and(|weight| weight > 0.0)
    })
}

// `taking_part`: channels by index, each with its seconds of exposure.
fn shown(
    recipe: &Recipe,
    entries: &[AssignmentEntry],
    taking_part: &[(usize, Option<f64>)],
) -> Vec<Shown> {
    taking_part
        .iter()
        .filter_map(|(index, exposure_s)| {
            let channel = recipe.channels.get(*index)?;
            let line = lines::line(&channel.line)?;
            let entry = entries.iter().find(|entry| entry.channel == channel.id);
            Some(Shown {
                name: line.name.clone(),
                center_nm: channel.center_nm.unwrap_or(line.center_nm),
                width_nm: channel.width_nm,
                broad: line.is_broad(),
                also_passes: entry.map_or_else(Vec::new, |entry| {
                    entry
                        .also_passes
                        .iter()
                        .filter_map(|id| Some(lines::line(id)?.symbol.clone()))
                        .collect()
                }),
                color_name: entry.map(|entry| match entry.color_name.as_str() {
                    "Grayscale" => "white".to_owned(),
                    word => word.to_lowercase(),
                }),
                natural: entry.is_some_and(|entry| entry.natural),
                exposure_s: *exposure_s,
            })
        })
        .collect()
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_caption_needs_no_pixels() {
        let text = "recipe = 1\n\
            [[channel]]\nid = \"ha\"\nfile = \"f\"\nline = \"Ha\"\n\
            [channel.stretch]\nblack = 0\nwhite = 1\n\
            [[channel]]\nid = \"oiii\"\nfile = \"f\"\nline = \"OIII\"\n\
            [channel.stretch]\nblack = 0\nwhite = 1\n\
            [[rendition]]\nid = \"r\"\ncolors = { ha = [1, 0, 0] }\n\
            luminance = { from = { oiii = 1.0, ha = 0.0 } }\n";
        let mut recipe = crate::engine::recipe::text::parse(text, "test").expect("sound");
        let seconds = |index: usize| Some([3600.0, 1800.0][index]);
        let made =
            caption(&recipe, &recipe.renditions[0], seconds, "Lantern Shell").expect("sound");
        assert!(made.short.starts_with("Lantern Shell. Mapped colour"));
        assert!(
            made.long
                .contains("The brightness comes from doubly ionised oxygen"),
            "{}",
            made.long
        );
        assert!(made.long.contains("1 h 30 m in all"), "{}", made.long);
        // A channel that takes no part is not spoken of.
        recipe.renditions[0].luminance = None;
        let made = caption(&recipe, &recipe.renditions[0], seconds, "").expect("sound");
        assert!(!made.long.contains("oxygen"), "{}", made.long);
    }
}
