//! `linehue apart`: whether readers can tell the lines of a rendition apart.

use std::path::PathBuf;

use serde_json::{Value, json};

use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::engine::apart::{LOOK_ALIKE, TONES, Told};
use crate::engine::color::vision::Vision;
use crate::work::apart::{Report, report, subject};
use crate::work::describe::css;

/// Tell how far the lines of a rendition look apart, for four kinds of colour vision
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue apart lantern.toml
  linehue apart lantern.toml --rendition natural
  linehue apart lantern.tif.record.json --json

Each line is shown alone, through mix, finish and gamut, at tones of 0.35, 0.5,
0.75 and 1; a figure is the least CIEDE2000 difference over them. About 1 is just
noticeable side by side; below 10 (marked *) two lines may be taken for one.
Colour-vision deficiencies are simulated at full strength.")]
pub struct Arguments {
    /// A recipe, or the record beside a composite
    #[arg(value_name = "RECIPE|RECORD")]
    file: PathBuf,

    /// Which rendition [default: the record's, or the first in the recipe]
    #[arg(long, value_name = "ID")]
    rendition: Option<String>,

    /// Print JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let (recipe, rendition) = subject(&arguments.file, arguments.rendition.as_deref())?;
    let report = report(&recipe, &rendition)?;
    if arguments.json {
        json(terminal, &as_json(&rendition.id, &report))?;
    } else {
        terminal.result(&as_text(&rendition.id, &report))?;
    }
    Ok(Outcome::Done)
}

fn as_text(rendition: &str, report: &Report) -> String {
    let mut text = format!("{rendition}: least CIEDE2000 between lines\n");
    text.push_str(&table(&report.told));
    for warning in &report.warnings {
        text.push_str(&format!("\n{}\n  {}\n", warning.what, warning.hint));
    }
    text
}

/// A row for every pair and one for the least, a column for every reader.
pub(super) fn table(told: &Told) -> String {
    if told.pairs.is_empty() {
        return "  there are no two lines to tell apart\n".to_owned();
    }
    let named: Vec<String> = told
        .pairs
        .iter()
        .map(|pair| told.names(pair).join(" and "))
        .collect();
    let width = named.iter().map(|name| name.chars().count()).max();
    let width = width.unwrap_or(0).max("least of all".len());
    let mut text = format!("  {:<width$}", "");
    for head in ["ordinary", "no red", "no green", "no blue"] {
        text.push_str(&format!("  {head:>9}"));
    }
    text.push_str(&format!("\n  {:<width$}", ""));
    for head in ["sight", "cones", "cones", "cones"] {
        text.push_str(&format!("  {head:>9}"));
    }
    text.push('\n');
    let mut row = |name: &str, figures: [f64; Vision::ALL.len()]| {
        text.push_str(&format!("  {name:<width$}"));
        for figure in figures {
            let mark = if figure < LOOK_ALIKE { '*' } else { ' ' };
            text.push_str(&format!("  {figure:>8.1}{mark}"));
        }
        text.truncate(text.trim_end().len());
        text.push('\n');
    };
    for (name, pair) in named.iter().zip(&told.pairs) {
        row(name, pair.apart);
    }
    if told.pairs.len() > 1 {
        row("least of all", least(told));
    }
    text
}

fn least(told: &Told) -> [f64; Vision::ALL.len()] {
    std::array::from_fn(|vision| told.nearest(vision).map_or(0.0, |pair| pair.apart[vision]))
}

/// Figures by reader, as `linehue palettes --json` names them.
pub(super) fn by_reader(figures: [f64; Vision::ALL.len()]) -> Value {
    let [usual, protan, deutan, tritan] = figures;
    json!({ "usual": usual, "protan": protan, "deutan": deutan, "tritan": tritan })
}

pub(super) fn told_json(told: &Told) -> Value {
    let lines: Vec<Value> = told
        .lines
        .iter()
        .map(|line| {
            json!({
                "channel": line.id,
                "name": line.name,
                "shown": css(line.shown),
                "dark": line.dark,
            })
        })
        .collect();
    let pairs: Vec<Value> = told
        .pairs
        .iter()
        .map(|pair| {
            json!({
                "channels": [told.lines[pair.one].id, told.lines[pair.other].id],
                "ciede2000": by_reader(pair.apart),
                "at_tone": by_reader(pair.tones),
            })
        })
        .collect();
    json!({
        "tones": TONES,
        "lines": lines,
        "pairs": pairs,
        "least": (!told.pairs.is_empty()).then(|| by_reader(least(told))),
    })
}

fn as_json(rendition: &str, report: &Report) -> Value {
    let mut value = told_json(&report.told);
    let warnings: Vec<Value> = report
        .warnings
        .iter()
        .map(|warning| json!({ "what": warning.what, "hint": warning.hint }))
        .collect();
    if let Some(map) = value.as_object_mut() {
        map.insert("rendition".to_owned(), rendition.into());
        map.insert("look_alike_below".to_owned(), LOOK_ALIKE.into());
        map.insert("warnings".to_owned(), warnings.into());
    }
    value
}
