//! Captions of records, and of pictures that are still in work.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::io::Read as _;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::desk::Layer;
use super::progress::Silent;
use super::{Control, Error, describe, needed, ratio};
use crate::engine::caption::{Caption, Day, Facts, Seen, Shown, Template, facts::sensible_s};
use crate::engine::color::space::Space;
use crate::engine::compose::{Composition, Slot};
use crate::engine::frame::{Depth, Plane, Rows};
use crate::engine::lines;
use crate::engine::mix::assign::AssignError;
use crate::engine::recipe::{Channel, Recipe, Rendition, ShowStars};
use crate::io::read::ReadError;
use crate::io::record::{self, AssignmentEntry, Record, tags};

/// What a file says of itself that a caption may use.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// Seconds of exposure.
    pub exposure_s: Option<f64>,
    /// Cards of its header, as a record keeps them.
    pub header: BTreeMap<String, serde_json::Value>,
}

/// What the caption of a record may say.
pub fn facts(record: &Record, rendition: &Rendition) -> Facts {
    let known: BTreeMap<&str, Known> = record
        .inputs
        .iter()
        .map(|input| {
            let known = Known {
                exposure_s: input.exposure_s,
                header: input.header.clone(),
            };
            (input.channel.as_str(), known)
        })
        .collect();
    Facts {
        object: tags::object(record),
        cropped: record.crop.is_some(),
        seen: record.seen.clone(),
        ..gather(&record.recipe, rendition, &record.assignments, &known)
    }
}

/// The captions of a rendition that is still in work, as far as they can be
/// known: `known` by the channels' ids, `object` what the reference's header
/// calls it.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn draft(
    recipe: &Recipe,
    rendition: &Rendition,
    space: Space,
    known: &BTreeMap<&str, Known>,
    object: &str,
    seen: Option<Seen>,
) -> Result<Caption, AssignError> {
    let entries = describe::entries(recipe, rendition, space)?;
    let own = recipe.about.object.trim();
    let facts = Facts {
        object: if own.is_empty() { object } else { own }.to_owned(),
        cropped: recipe.crop.is_some(),
        seen,
        ..gather(recipe, rendition, &entries, known)
    };
    Ok(crate::engine::caption::write(&facts))
}

/// Reads a record and writes its captions, by a template or in English; with
/// them goes the language's tag.
///
/// # Errors
/// When a file cannot be read or does not hold.
pub fn of_record(path: &Path, template: Option<&Path>) -> Result<(Caption, String), Error> {
    if let Some(told) = ratio::read_record(path)? {
        return match template {
            None => Ok((told.caption(), "en".to_owned())),
            Some(_) => Err(Error::request(
                format!("{}: templates are for composites", path.display()),
                "leave --template out for a map of ratios",
            )),
        };
    }
    let mut record = record::read(path)?;
    let template = template_of(template)?;
    name_shown(&mut record)?;
    let rendition = rendition_of(&record, path)?;
    let caption = template.write(&facts(&record, rendition));
    Ok((caption, template.language().to_owned()))
}

/// The rendition that a record tells of.
///
/// # Errors
/// When its recipe has none of that name.
pub fn rendition_of<'a>(record: &'a Record, path: &Path) -> Result<&'a Rendition, Error> {
    record.recipe.rendition(&record.rendition).ok_or_else(|| {
        Error::request(
            format!(
                "{}: its recipe has no rendition `{}`",
                path.display(),
                record.rendition
            ),
            "the record was edited; restore it",
        )
    })
}

/// Fills in what records of the first builds do not say: what was on the screen.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn name_shown(record: &mut Record) -> Result<(), Error> {
    let Some(rendition) = record.recipe.rendition(&record.rendition) else {
        return Ok(());
    };
    if record.assignments.iter().all(|entry| entry.shown.is_some()) {
        return Ok(());
    }
    let anew = describe::entries(&record.recipe, rendition, record.composite.space)?;
    for entry in &mut record.assignments {
        let same = anew.iter().find(|other| other.channel == entry.channel);
        if let Some(same) = same.filter(|_| entry.shown.is_none()) {
            entry.shown.clone_from(&same.shown);
        }
    }
    Ok(())
}

/// A template of one's own, or the English one.
///
/// # Errors
/// When the file cannot be read or does not hold.
pub fn template_of(path: Option<&Path>) -> Result<Cow<'static, Template>, Error> {
    Ok(match path {
        None => Cow::Borrowed(Template::english()),
        Some(path) => Cow::Owned(read_template(path)?),
    })
}

// A template is a page of text: more than this is none.
const LARGEST_TEMPLATE: u64 = 1 << 20;

fn read_template(path: &Path) -> Result<Template, Error> {
    let system = |error: std::io::Error| ReadError::System {
        path: path.to_owned(),
        what: error.to_string(),
    };
    let not_text = |what: &str| {
        Error::request(
            format!("{}: {what}", path.display()),
            "`linehue caption --print-template` shows a whole template",
        )
    };
    let file = std::fs::File::open(path).map_err(system)?;
    let mut bytes = Vec::new();
    let length = file
        .take(LARGEST_TEMPLATE + 1)
        .read_to_end(&mut bytes)
        .map_err(system)?;
    if length as u64 > LARGEST_TEMPLATE {
        return Err(not_text("too long for a template"));
    }
    let text = String::from_utf8(bytes).map_err(|_| not_text("not text in UTF-8"))?;
    Template::parse(&text, &path.display().to_string())
        .map_err(|error| Error::request(error.to_string(), error.hint))
}

fn gather(
    recipe: &Recipe,
    rendition: &Rendition,
    entries: &[AssignmentEntry],
    known: &BTreeMap<&str, Known>,
) -> Facts {
    let weight = |id: &str| {
        let luminance = rendition.luminance.as_ref()?;
        luminance.from.get(id).copied().filter(|w| *w > 0.0)
    };
    let lights_stars = |id: &str| {
        let bands = || {
            ["R", "G", "B"]
                .into_iter()
                .filter_map(|band| recipe.band(band))
        };
        rendition.star_look().show == ShowStars::Broadband && bands().any(|band| band.id == id)
    };
    let reference = recipe.reference().map(|channel| channel.id.as_str());
    let mut lines_shown = Vec::new();
    let mut days: Vec<Day> = Vec::new();
    for channel in &recipe.channels {
        let id = channel.id.as_str();
        let colored = rendition.colors.contains_key(id);
        if !colored && weight(id).is_none() && !lights_stars(id) {
            continue;
        }
        let Some(line) = lines::line(&channel.line) else {
            continue;
        };
        let entry = entries.iter().find(|entry| entry.channel == id);
        let known = known.get(id);
        let header = known.map(|known| &known.header);
        days.extend(header.into_iter().flat_map(days_of));
        let also = entry.map_or(&[][..], |entry| &entry.also_passes);
        lines_shown.push(Shown {
            line: line.id.clone(),
            name: line.name.clone(),
            symbol: line.symbol.clone(),
            center_nm: channel.center_nm.unwrap_or(line.center_nm),
            width_nm: channel.width_nm,
            broad: line.is_broad(),
            also_passes: also
                .iter()
                .filter_map(|id| Some(lines::line(id)?.symbol.clone()))
                .collect(),
            color_name: entry
                .filter(|_| colored)
                .map(|entry| entry.word().to_owned()),
            natural: entry.is_some_and(|entry| entry.natural),
            brightens: weight(id).is_some(),
            exposure_s: known
                .and_then(|known| known.exposure_s)
                .filter(|seconds| sensible_s(*seconds)),
            frames: header.and_then(frames_of),
            align: channel
                .align
                .as_ref()
                .filter(|_| reference != Some(id))
                .map(|align| align.method),
            leveled: channel.level.is_some(),
            shape: channel.stretch.shape,
            curved: channel.stretch.curve.is_some(),
            emission: channel.continuum.is_some(),
            smoothed: channel.denoise.is_some_and(|share| share > 0.0),
        });
    }
    let about = &recipe.about;
    Facts {
        title: about.title.clone(),
        object: String::new(),
        creator: about.creator.clone(),
        credit: about.credit.clone(),
        rights: about.rights.clone(),
        rendition: rendition.id.clone(),
        lines: lines_shown,
        colorless: rendition.saturation == Some(0.0),
        eye: rendition.eye,
        luminance_amount: rendition.luminance.as_ref().map(|l| l.amount),
        detail: rendition
            .luminance
            .as_ref()
            .is_some_and(|luminance| luminance.detail.is_some_and(|detail| detail > 0.0)),
        smooth_color: rendition.smooth_color.is_some_and(|share| share > 0.0),
        stars: rendition.star_look().show,
        stars_scaled: rendition.star_look().is_scaled(),
        balance: rendition
            .balance
            .as_ref()
            .filter(|_| broad_bands(recipe, rendition))
            .map(|balance| (balance.by, balance.stars)),
        days: days
            .iter()
            .min()
            .copied()
            .zip(days.iter().max().copied())
            .map(|(a, b)| [a, b]),
        cropped: false,
        seen: None,
    }
}

// Whether a white balance does anything to a rendition.
fn broad_bands(recipe: &Recipe, rendition: &Rendition) -> bool {
    let balanced = |channel: &Channel| {
        lines::line(&channel.line).is_some_and(|line| ["R", "G", "B"].contains(&line.id.as_str()))
    };
    let takes_part = |channel: &Channel| {
        let luminance = rendition.luminance.as_ref();
        rendition.colors.contains_key(&channel.id)
            || luminance.is_some_and(|luminance| luminance.from.contains_key(&channel.id))
            || rendition.star_look().show == ShowStars::Broadband
    };
    let mut channels = recipe.channels.iter();
    channels.any(|channel| balanced(channel) && takes_part(channel))
}

const DAYS: [&str; 4] = ["DATE-OBS", "DATE-BEG", "DATE-AVG", "DATE-END"];
const COUNTS: [&str; 2] = ["NCOMBINE", "STACKCNT"];

fn days_of(header: &BTreeMap<String, serde_json::Value>) -> impl Iterator<Item = Day> + '_ {
    DAYS.iter()
        .filter_map(|keyword| Day::parse(header.get(*keyword)?.as_str()?))
}

fn frames_of(header: &BTreeMap<String, serde_json::Value>) -> Option<u64> {
    let count = |keyword: &&str| {
        let value = header.get(*keyword)?;
        let number = match value {
            serde_json::Value::String(text) => text.trim().parse().ok()?,
            other => other.as_f64()?,
        };
        let sound = (1.0..1e7).contains(&number) && number == number.trunc();
        sound.then_some(number as u64)
    };
    COUNTS.iter().find_map(count)
}

// Samples each way: enough for what a sentence says.
const SAMPLES: usize = 96;

/// What the picture will look like: its light at a grid of samples. `sources`
/// are the rows of each of [`Composition::slots`], all of one size.
///
/// # Errors
/// When rows cannot be read, or the job is stopped.
pub fn glance(
    composition: &Composition,
    sources: &[&dyn Rows],
    control: Control<'_>,
) -> Result<Option<Seen>, Error> {
    let Some(first) = sources.first() else {
        return Ok(None);
    };
    let size = first.size();
    let at = |i: usize, n: usize, length: usize| (2 * i + 1) * length / (2 * n);
    let (columns, rows) = (size.width.min(SAMPLES), size.height.min(SAMPLES));
    let mut row = vec![0.0; size.width];
    let mut values = vec![vec![0.0; columns * rows]; sources.len()];
    // One source after the other, from the top down: some can only be decoded so.
    for (source, values) in sources.iter().zip(&mut values) {
        for (y, values) in values.chunks_exact_mut(columns.max(1)).enumerate() {
            control.check()?;
            source.read(at(y, rows, size.height), &mut row)?;
            for (x, value) in values.iter_mut().enumerate() {
                *value = row[at(x, columns, size.width)];
            }
        }
    }
    let inputs: Vec<&[f32]> = values.iter().map(Vec::as_slice).collect();
    Ok(Seen::measure(&composition.looks(&inputs), columns))
}

/// What a rendition looks like from channels in memory, by their smallest
/// copies; None while a channel of it is missing.
pub fn seen_of_layers(
    recipe: &Recipe,
    rendition: &Rendition,
    space: Space,
    layers: &BTreeMap<String, Arc<Layer>>,
) -> Option<Seen> {
    let small = rendition.in_small();
    let composition = Composition::new(recipe, &small, space, Depth::Float32).ok()?;
    let layer = |slot: &Slot| layers.get(&recipe.channels.get(slot.channel()?)?.id);
    let is_there = |index: usize| layers.contains_key(&recipe.channels[index].id);
    let tellers = needed::tellers(recipe, rendition, is_there);
    let planes: Vec<Arc<Plane>> = composition
        .slots()
        .iter()
        .map(|slot| {
            let (plane, reduced) = layer(slot)?.stand_in(*slot, &tellers);
            Some(Arc::clone(reduced.last().unwrap_or(plane)))
        })
        .collect::<Option<_>>()?;
    let size = planes.first()?.size();
    if planes.iter().any(|plane| plane.size() != size) {
        return None;
    }
    let rows: Vec<&dyn Rows> = planes.iter().map(|plane| &**plane as &dyn Rows).collect();
    let nobody = AtomicBool::new(false);
    let control = Control {
        progress: &Silent,
        cancel: &nobody,
    };
    glance(&composition, &rows, control).ok().flatten()
}
