//! `linehue leading`: a picture of which line leads where.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use serde_json::{Value, json};

use super::compose::on_threads;
use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::engine::leading::{By, DETECTED_SIGMA};
use crate::work::inputs::folder_of;
use crate::work::leading::{self, Done, Request};
use crate::work::recipe_file;

/// Make a picture of which line leads where, and say how much of the nebula each leads
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue leading lantern.toml -o leading.png
  linehue leading lantern.toml -o leading.tif --rendition natural --json
  linehue leading lantern.toml -o leading.png --by noise

Hue says which line leads, lightness how clearly. Grey is undecided: the lead is
within 1 sigma of the noise of the sky. Black is sky: no line 3 sigma above it.
`--by shown` depends on the stretches and strengths of the rendition, `--by noise`
on how deep each stack is; neither is a ratio of fluxes.")]
pub struct Arguments {
    /// The recipe
    recipe: PathBuf,

    /// The picture: .png or .tif
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,

    /// Which rendition [default: the first in the recipe]
    #[arg(long, value_name = "ID")]
    rendition: Option<String>,

    /// What lines are compared by: shown (light, as in this rendition) or noise
    /// (signal to noise)
    #[arg(long, value_name = "HOW", default_value = "shown")]
    by: By,

    /// Threads to work with [default: one for each core]
    #[arg(long, value_name = "N")]
    threads: Option<NonZeroUsize>,

    /// Print the figures as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let request = Request {
        recipe: recipe_file::read(&arguments.recipe)?,
        folder: folder_of(&arguments.recipe).to_owned(),
        rendition: arguments.rendition.clone(),
        out: arguments.output.clone(),
        by: arguments.by,
    };
    let done = on_threads(arguments.threads, || {
        leading::run(&request, terminal.control())
    })?;
    terminal.notes(&done.notices);
    if arguments.json {
        json(terminal, &as_json(&request, &done))?;
    } else {
        terminal.result(&as_text(&request, &done))?;
    }
    Ok(Outcome::Done)
}

fn share(part: u64, whole: u64) -> f64 {
    if whole == 0 {
        0.0
    } else {
        part as f64 / whole as f64
    }
}

fn as_text(request: &Request, done: &Done) -> String {
    let counts = &done.counts;
    let percent = |part: u64| 100.0 * share(part, counts.nebula);
    let mut text = format!(
        "{}  {}, rendition {}\n",
        request.out.display(),
        done.size,
        done.rendition
    );
    text.push_str(&format!(
        "The nebula (pixels {DETECTED_SIGMA:.0} sigma above the sky in any line) is {:.1} % of the \
         field.\nLines are compared by {}.\n\n",
        100.0 * share(counts.nebula, counts.valid),
        request.by.words()
    ));
    let width = done
        .lines
        .iter()
        .map(|line| line.name.chars().count())
        .max();
    let width = width.unwrap_or(0).max("undecided".len());
    for (line, (led, leaning)) in done
        .lines
        .iter()
        .zip(counts.led.iter().zip(&counts.leaning))
    {
        text.push_str(&format!(
            "  {:<width$}  {}  leads {:5.1} %, and {:.1} % within the noise\n",
            line.name,
            line.css,
            percent(*led),
            percent(*leaning)
        ));
    }
    text.push_str(&format!(
        "  {:<width$}  grey           {:5.1} %\n",
        "undecided",
        percent(counts.undecided())
    ));
    text
}

fn as_json(request: &Request, done: &Done) -> Value {
    let counts = &done.counts;
    let lines: Vec<Value> = done
        .lines
        .iter()
        .zip(counts.led.iter().zip(&counts.leaning))
        .map(|(line, (led, leaning))| {
            json!({
                "channel": line.channel,
                "name": line.name,
                "css": line.css,
                "sky": line.sky,
                "noise": line.noise,
                "leads_px": led,
                "leads": share(*led, counts.nebula),
                "within_noise": share(*leaning, counts.nebula),
            })
        })
        .collect();
    json!({
        "file": request.out.display().to_string(),
        "width": done.size.width,
        "height": done.size.height,
        "rendition": done.rendition,
        "by": request.by.name(),
        "detected_sigma": DETECTED_SIGMA,
        "valid_px": counts.valid,
        "nebula_px": counts.nebula,
        "nebula": share(counts.nebula, counts.valid),
        "lines": lines,
        "undecided": share(counts.undecided(), counts.nebula),
        "legend": done.legend,
        "notices": done.notices,
    })
}
