//! `linehue palettes`: the palettes known, built in and the user's own.

use serde_json::json;

use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::engine::lines;
use crate::engine::mix::assign::vector;
use crate::engine::palettes::{Palette, built_in};
use crate::engine::recipe::ColorValue;
use crate::work::describe::css;
use crate::work::user_palettes;

/// List the palettes known, built in and your own, with their colors
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue palettes
  linehue palettes --json

A palette of your own is a TOML file in the folder that the list ends with:
  palette = 1
  name = \"dusk\"
  [colors]
  Ha = \"#e0603a\"
  OIII = { hue = 230 }
  SII = [0.6, 0.0, 0.1]")]
pub struct Arguments {
    /// Print JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let own = user_palettes::own();
    terminal.notes(&own.refused);
    let all = || {
        let mine = own.palettes.iter().map(|palette| (palette, "yours"));
        mine.chain(built_in().iter().map(|palette| (palette, "built in")))
    };
    if arguments.json {
        let list: Vec<serde_json::Value> = all()
            .map(|(palette, from)| as_json(palette, from))
            .collect();
        json(terminal, &list)?;
        return Ok(Outcome::Done);
    }
    let swatches = terminal.shows_colors();
    let mut text = String::new();
    for (palette, from) in all() {
        text.push_str(&as_text(palette, from, swatches));
    }
    if let Some(folder) = user_palettes::folder() {
        text.push_str(&format!("Your own: {}\n", folder.join("*.toml").display()));
    }
    terminal.result(&text)?;
    Ok(Outcome::Done)
}

fn hex(color: &ColorValue, line: &str) -> Option<String> {
    vector(color, line, None).ok()?.map(css)
}

// The lines of a palette and their colours; for one that colours everything,
// the three most used.
fn colors(palette: &Palette) -> Vec<(String, String)> {
    let every = palette.every.iter().flat_map(|color| {
        ["SII", "Ha", "OIII"]
            .into_iter()
            .map(move |line| (line.to_owned(), color))
    });
    palette
        .colors
        .iter()
        .map(|(line, color)| (line.clone(), color))
        .chain(every)
        .filter_map(|(line, color)| {
            let hex = hex(color, &line)?;
            let symbol = lines::line(&line).map_or(line.clone(), |known| known.symbol.clone());
            Some((symbol, hex))
        })
        .collect()
}

fn as_text(palette: &Palette, from: &str, swatches: bool) -> String {
    let mut text = format!("{}  ({from})\n", palette.name);
    if !palette.about.is_empty() {
        text.push_str(&format!("  {}\n", palette.about));
    }
    let colors: Vec<String> = colors(palette)
        .into_iter()
        .map(|(symbol, hex)| {
            let swatch = if swatches {
                swatch(&hex)
            } else {
                String::new()
            };
            format!("{swatch}{symbol} {hex}")
        })
        .collect();
    text.push_str(&format!("  {}\n", colors.join("  ")));
    if let Some(apart) = palette.apart {
        text.push_str(&format!(
            "  told apart (CIEDE2000): {:.0} by most, {:.0} without red cones, {:.0} without green, \
             {:.0} without blue\n",
            apart.usual, apart.protan, apart.deutan, apart.tritan
        ));
    }
    text.push('\n');
    text
}

// Two cells of the colour, for a terminal with 24-bit colours.
fn swatch(hex: &str) -> String {
    let part = |at: usize| {
        hex.get(at..at + 2)
            .and_then(|two| u8::from_str_radix(two, 16).ok())
    };
    match (part(1), part(3), part(5)) {
        (Some(r), Some(g), Some(b)) => format!("\x1b[48;2;{r};{g};{b}m  \x1b[0m "),
        _ => String::new(),
    }
}

fn as_json(palette: &Palette, from: &str) -> serde_json::Value {
    let colors: serde_json::Map<String, serde_json::Value> = colors(palette)
        .into_iter()
        .map(|(symbol, hex)| (symbol, hex.into()))
        .collect();
    json!({
        "name": palette.name,
        "from": from,
        "about": palette.about,
        "needs": palette.needs,
        "colors": colors,
        "blend": palette.blend,
        "gamut": palette.gamut,
        "ciede2000": palette.apart.map(|apart| json!({
            "usual": apart.usual,
            "protan": apart.protan,
            "deutan": apart.deutan,
            "tritan": apart.tritan,
        })),
    })
}
