//! `linehue ratio`: a map of how strong one line is beside another.

use std::path::PathBuf;

use serde_json::{Value, json};

use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::engine::ratio::words::INDICATIVE;
use crate::engine::recipe::Scale;
use crate::work::inputs::folder_of;
use crate::work::ratio::{self, Done, Request, Wish};
use crate::work::recipe_file;

/// Map the ratio of two lines, with its uncertainty
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue ratio lantern.toml sii/ha -o sii-ha.fits
  linehue ratio lantern.toml sii/ha -o sii-ha.png --min-snr 5 --bin 2
  linehue ratio lantern.toml oiii/ha -o oiii-ha.png --scale log --range 0.1,10

Ratios are taken of linear values above the sky, never of stretched ones, and
only where both lines stand out of their noise. FITS holds the ratios and, in the
extension SIGMA, their uncertainties. OUT.ratio.json tells how the map was made.
The stacks are not calibrated: the map is indicative.")]
pub struct Arguments {
    /// The recipe
    recipe: PathBuf,

    /// Two channels, or the id of a [[ratio]] of the recipe
    #[arg(value_name = "OVER/UNDER|ID")]
    ratio: String,

    /// The map: .fits for numbers, .png or .jpg for a picture
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,

    /// So many sigma both lines stand above their skies [default: the recipe's, or 3]
    #[arg(long, value_name = "X")]
    min_snr: Option<f64>,

    /// Means over N x N pixels, 1 to 16 [default: the recipe's, or 1]
    #[arg(long, value_name = "N")]
    bin: Option<u32>,

    /// The ratios that the scale of a picture begins and ends with [default: the
    /// recipe's, or by the map]
    #[arg(long, value_name = "LO,HI", value_parser = range, allow_hyphen_values = true)]
    range: Option<Range>,

    /// How that scale runs: linear or log [default: the recipe's, or linear]
    #[arg(long, value_name = "HOW")]
    scale: Option<Scale>,

    /// Print the figures as JSON
    #[arg(long)]
    json: bool,
}

/// Two numbers with a comma between them.
#[derive(Debug, Clone, Copy)]
struct Range([f64; 2]);

fn range(text: &str) -> Result<Range, String> {
    let number = |text: &str| text.trim().parse::<f64>().ok();
    text.split_once(',')
        .and_then(|(low, high)| Some(Range([number(low)?, number(high)?])))
        .ok_or_else(|| "two ratios with a comma between them, as in 0.1,0.8".to_owned())
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let recipe = recipe_file::read(&arguments.recipe)?;
    let wish = Wish {
        min_snr: arguments.min_snr,
        bin: arguments.bin,
        range: arguments.range.map(|Range(range)| range),
        scale: arguments.scale,
    };
    let request = Request {
        ratio: ratio::chosen(&recipe, &arguments.ratio, &wish)?,
        recipe,
        folder: folder_of(&arguments.recipe).to_owned(),
        file: Some(arguments.recipe.clone()),
        out: arguments.output.clone(),
    };
    let done = ratio::run(&request, terminal.control())?;
    terminal.notes(&done.notices);
    if arguments.json {
        json(terminal, &as_json(&request, &done))?;
    } else {
        terminal.result(&as_text(&request, &done))?;
    }
    Ok(Outcome::Done)
}

fn as_text(request: &Request, done: &Done) -> String {
    let mut text = format!(
        "{}  {}, {}\n\n",
        request.out.display(),
        done.size,
        done.name
    );
    for sentence in done.words.iter().chain(&done.caveats) {
        text.push_str(&format!("{sentence}\n"));
    }
    text
}

fn as_json(request: &Request, done: &Done) -> Value {
    let counts = &done.figures.counts;
    let side = |channel: &str, side: &crate::engine::ratio::Side| {
        json!({
            "channel": channel,
            "sky": side.sky,
            "sky_error": side.sky_error,
            "noise": side.noise,
        })
    };
    let marked = done.criterion.and_then(|criterion| criterion.mark);
    let compared = marked.filter(|_| done.figures.stands_out);
    json!({
        "file": request.out.display().to_string(),
        "record": done.record.display().to_string(),
        "width": done.size.width,
        "height": done.size.height,
        "name": done.name,
        "calibration": INDICATIVE,
        "min_snr": request.ratio.min_snr,
        "bin": request.ratio.bin,
        "over": side(&request.ratio.over, &done.sides[0]),
        "under": side(&request.ratio.under, &done.sides[1]),
        "data_px": counts.data,
        "known_px": counts.known,
        "known": done.figures.known(),
        "over_alone_px": counts.over_alone,
        "under_alone_px": counts.under_alone,
        "p16": done.figures.quantiles[0],
        "median": done.figures.quantiles[1],
        "p84": done.figures.quantiles[2],
        "stands_out": done.figures.stands_out,
        "mark": marked,
        "above": compared.map(|_| done.figures.above()),
        "surely_above": compared.map(|_| done.figures.surely_above()),
        "source": done.criterion.map(|criterion| criterion.source),
        "scale": { "low": done.span.low, "high": done.span.high, "runs": done.span.scale },
        "words": done.words,
        "caveats": done.caveats,
        "notices": done.notices,
    })
}
