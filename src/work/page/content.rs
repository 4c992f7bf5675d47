//! What a page says, as plain data: every number and word a fact of a record.

use std::collections::BTreeMap;

use super::pictures::{Picture, Shown};
use super::subject::Subject;
use crate::engine::caption::facts::{Kind, sensible_s};
use crate::engine::caption::{Caption, Day, Facts, Template, hours_minutes, tidy};
use crate::engine::lines;
use crate::io::draw::{Scene, svg};
use crate::io::record::{Record, tags};
use crate::work::key::looks::{DARK, LIGHT, codes};
use crate::work::key::scene::{Plan, Setting, scene};
use crate::work::{Error, caption};

/// Units that a key is wide: its letters can be read on a telephone.
const KEY_UNITS: f64 = 420.0;

/// Everything that a page says.
pub struct Content {
    /// What the picture is called.
    pub title: String,
    /// For lists of pages: a sentence or two.
    pub short: String,
    /// The words under the picture, in paragraphs.
    pub long: Vec<String>,
    /// The language of these two.
    pub language: String,
    /// The renditions, one or two.
    pub parts: Vec<Part>,
    /// Why there is but one.
    pub alone: Option<String>,
    /// The table's rows.
    pub lines: Vec<Line>,
    /// Exposure of all lines together.
    pub integration: Option<String>,
    /// What is known of how it was taken: name and words.
    pub taken: Vec<(&'static str, String)>,
    /// How it was made.
    pub made_with: String,
}

/// A rendition.
pub struct Part {
    /// Its id.
    pub id: String,
    /// "Mapped", "Natural", ...; with the id where both are the same.
    pub label: String,
    /// What its colours are, in a sentence without a full stop.
    pub manner: &'static str,
    /// For someone who does not see it.
    pub alt: String,
    /// Its file and its size, what goes along.
    pub picture: Picture,
    /// Its key, for a light and for a dark page.
    pub keys: [String; 2],
}

/// A line or band.
pub struct Line {
    /// As it is printed: "Hα".
    pub symbol: String,
    /// In words.
    pub name: String,
    /// Middle of the passband.
    pub wavelength: String,
    /// Width of the passband; empty where it is not known.
    pub width: String,
    /// What else the filter lets through; empty where nothing is known to.
    pub also: String,
    /// Exposure; empty where it is not known.
    pub exposure: String,
    /// The colour in each rendition: CSS and a word; None where it gives none.
    pub colors: Vec<Option<(String, String)>>,
    /// What else is to be said of it in each rendition.
    pub roles: Vec<&'static str>,
}

/// Gathers what a page says of its pictures.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn gather(subject: &Subject, shown: Shown, template: &Template) -> Result<Content, Error> {
    let facts: Vec<Facts> = shown
        .pictures
        .iter()
        .filter_map(|picture| {
            let rendition = picture.record.recipe.rendition(&picture.id)?;
            Some(caption::facts(&picture.record, rendition))
        })
        .collect();
    let captions: Vec<Caption> = facts.iter().map(|facts| template.write(facts)).collect();
    let (Some(first), Some(words), Some(picture)) =
        (facts.first(), captions.first(), shown.pictures.first())
    else {
        return Err(Error::request(
            "there is no picture to show",
            "name a record",
        ));
    };
    let labels = labels(&facts);
    let title = [&first.title, &first.object]
        .map(|text| tidy::words(text))
        .into_iter()
        .find(|text| !text.is_empty())
        .unwrap_or_else(|| "A picture of the sky".to_owned());
    let records: Vec<&Record> = shown.pictures.iter().map(|p| &p.record).collect();
    let lines = table(&records, &facts);
    let mut content = Content {
        title,
        short: words.short.clone(),
        long: words.long.split("\n\n").map(str::to_owned).collect(),
        language: template.language().to_owned(),
        alone: shown.alone,
        lines,
        integration: first.integration_s().map(time),
        taken: taken(&picture.record, first),
        made_with: made_with(&picture.record),
        parts: Vec::new(),
    };
    for (index, picture) in shown.pictures.into_iter().enumerate() {
        let keys = keys(subject, &picture.id, index)?;
        content.parts.push(Part {
            id: picture.id.clone(),
            label: labels[index].clone(),
            manner: manner(facts[index].kind()),
            alt: captions[index].alt.clone(),
            picture,
            keys,
        });
    }
    Ok(content)
}

fn labels(facts: &[Facts]) -> Vec<String> {
    let word = |facts: &Facts| match facts.kind() {
        Kind::Natural => "Natural colour",
        Kind::Mapped => "Mapped colour",
        Kind::Partly => "Partly mapped colour",
        Kind::Grey => "Without colour",
    };
    let twice = matches!(facts, [a, b] if word(a) == word(b));
    let label = |facts: &Facts| match twice {
        true => format!("{} ({})", word(facts), facts.rendition),
        false => word(facts).to_owned(),
    };
    facts.iter().map(label).collect()
}

fn manner(kind: Kind) -> &'static str {
    match kind {
        Kind::Natural => "each light in its own hue",
        Kind::Mapped => "chosen to tell the lines apart, not what an eye would see",
        Kind::Partly => "some lines in hues chosen to tell them apart, not what an eye would see",
        Kind::Grey => "brightness alone",
    }
}

fn keys(subject: &Subject, id: &str, index: usize) -> Result<[String; 2], Error> {
    let recipe = subject.recipe_of(id);
    let Some(rendition) = recipe.rendition(id) else {
        return Ok(Default::default());
    };
    let draw = |looks, prefix: String| -> Result<String, Error> {
        let plan = Plan {
            width: KEY_UNITS,
            looks,
            setting: Setting::Among,
        };
        let scene = scene(recipe, rendition, plan)?;
        let scene = Scene {
            ground: None,
            ..scene
        };
        Ok(svg::within(&scene, KEY_UNITS, &prefix))
    };
    Ok([
        draw(LIGHT, format!("light{index}-"))?,
        draw(DARK, format!("dark{index}-"))?,
    ])
}

// The channels that any rendition shows, in the recipe's order.
fn table(records: &[&Record], facts: &[Facts]) -> Vec<Line> {
    let Some(first) = records.first() else {
        return Vec::new();
    };
    let weighs = |record: &Record, id: &str| {
        let rendition = record.recipe.rendition(&record.rendition);
        rendition
            .and_then(|rendition| rendition.luminance.as_ref())
            .is_some_and(|luminance| luminance.from.get(id).is_some_and(|w| *w > 0.0))
    };
    let mut rows = Vec::new();
    for channel in &first.recipe.channels {
        let id = channel.id.as_str();
        let entries: Vec<_> = records
            .iter()
            .map(|record| record.assignments.iter().find(|e| e.channel == id))
            .collect();
        let bright: Vec<bool> = records.iter().map(|record| weighs(record, id)).collect();
        let Some(line) = lines::line(&channel.line) else {
            continue;
        };
        if entries.iter().all(Option::is_none) && !bright.contains(&true) {
            continue;
        }
        let entry = entries.iter().copied().flatten().next();
        let also = entry.map_or(&[][..], |entry| &entry.also_passes);
        let also: Vec<&str> = also
            .iter()
            .filter_map(|id| Some(lines::line(id)?.symbol.as_str()))
            .collect();
        let width = channel.width_nm.or(entry.and_then(|entry| entry.width_nm));
        let input = records
            .iter()
            .flat_map(|record| &record.inputs)
            .find(|input| input.channel == id);
        let exposure = input
            .and_then(|input| input.exposure_s)
            .filter(|s| sensible_s(*s));
        let shared = first
            .recipe
            .channels
            .iter()
            .filter(|c| c.line == channel.line);
        let symbol = match shared.count() {
            1 => line.symbol.clone(),
            _ => format!("{} ({id})", line.symbol),
        };
        rows.push(Line {
            symbol,
            name: line.name.clone(),
            wavelength: format!("{:.1} nm", channel.center_nm.unwrap_or(line.center_nm)),
            width: width.map_or_else(String::new, |width| format!("{width} nm")),
            also: also.join(", "),
            exposure: exposure.map_or_else(String::new, time),
            colors: entries
                .iter()
                .zip(facts)
                .map(|(entry, facts)| {
                    let entry = (*entry)?;
                    let word = match entry.word() {
                        _ if facts.colorless => "grey".to_owned(),
                        "Grayscale" => "white".to_owned(),
                        word => tidy::words(&word.to_lowercase()),
                    };
                    // As the key has it.
                    let [r, g, b] = codes(entry.linear_srgb);
                    Some((format!("#{r:02x}{g:02x}{b:02x}"), word))
                })
                .collect(),
            roles: bright
                .iter()
                .map(|bright| if *bright { "gives brightness" } else { "" })
                .collect(),
        });
    }
    rows
}

// "6 h 40 m"; whole hours without minutes.
fn time(seconds: f64) -> String {
    let words = hours_minutes(seconds);
    words
        .strip_suffix(" 00 m")
        .map_or(words.clone(), str::to_owned)
}

// What headers say, each thing once.
fn taken(record: &Record, facts: &Facts) -> Vec<(&'static str, String)> {
    let mut all: Vec<(&'static str, String)> = Vec::new();
    let mut add = |name: &'static str, words: String| {
        let words = tidy::words(&words);
        if !words.is_empty() {
            all.push((name, words));
        }
    };
    let of = |keywords: &[&str]| -> String {
        let mut found: Vec<String> = Vec::new();
        for input in &record.inputs {
            let mut keys = keywords.iter();
            let words = keys.find_map(|keyword| words_of(&input.header, keyword));
            if let Some(words) = words.filter(|words| !found.contains(words)) {
                found.push(words);
            }
        }
        found.join(", ")
    };
    add("Object", tags::object(record));
    add("Made by", facts.creator.clone());
    add("Credit", facts.credit.clone());
    if let Some([from, to]) = facts.days {
        let day = |day: Day| format!("{:04}-{:02}-{:02}", day.year, day.month, day.day);
        add(
            "Taken",
            if from == to {
                day(from)
            } else {
                format!("{} to {}", day(from), day(to))
            },
        );
    }
    add("Telescope", of(&["TELESCOP"]));
    add("Camera", of(&["INSTRUME"]));
    let frames: Vec<String> = facts
        .lines
        .iter()
        .filter_map(|line| Some(format!("{} × {}", line.frames?, line.symbol)))
        .collect();
    add("Frames", frames.join(", "));
    let stars: Vec<String> = record
        .inputs
        .iter()
        .filter_map(|input| {
            Some(format!(
                "{} by {}",
                input.channel,
                input.align.as_ref()?.stars?
            ))
        })
        .collect();
    if !stars.is_empty() {
        add("Aligned", format!("{} stars", stars.join(", ")));
    }
    add("Rights", facts.rights.clone());
    all
}

fn words_of(header: &BTreeMap<String, serde_json::Value>, keyword: &str) -> Option<String> {
    let words = match header.get(keyword)? {
        serde_json::Value::String(text) => tidy::words(text),
        other => other.to_string(),
    };
    (!words.is_empty()).then_some(words)
}

fn made_with(record: &Record) -> String {
    let software = &record.software;
    let day = record.made_at.split('T').next().unwrap_or_default();
    let words = tidy::words(&format!("{} {}", software.name, software.version));
    match tidy::words(day) {
        day if day.is_empty() => words,
        day => format!("{words}, {day}"),
    }
}
