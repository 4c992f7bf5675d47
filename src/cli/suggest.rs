//! `linehue suggest`: a palette that keeps this data's lines apart.

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde_json::json;

use super::apart::{table, told_json};
use super::compose::on_threads;
use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::engine::apart::suggest::Wish;
use crate::engine::palettes::write;
use crate::engine::recipe::{ColorValue, Recipe};
use crate::io::write::atomic::write_whole;
use crate::work::compose::pick_rendition;
use crate::work::inputs::{folder_of, spare};
use crate::work::{mixing, recipe_file, suggest};

/// Suggest colours that keep the lines of this data apart for every reader
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue suggest lantern.toml -o lantern-apart.toml
  linehue suggest lantern.toml -o ordered.toml --keep-order --name ordered
  linehue suggest lantern.toml -o gold.toml --pin ha=#e0b040

Lines that meet in the stacks are kept farthest apart; all readers, with and
without red, green or blue cones, count alike. The same stacks give the same
colours. The result is a palette file, as `linehue palettes` lists them.")]
pub struct Arguments {
    /// The recipe
    recipe: PathBuf,

    /// The palette file to write
    #[arg(short, long, value_name = "PALETTE.toml")]
    output: PathBuf,

    /// What the palette is called [default: the file's name]
    #[arg(long)]
    name: Option<String>,

    /// Whose blend and finish it is for [default: the first rendition]
    #[arg(long, value_name = "ID")]
    rendition: Option<String>,

    /// Hues follow the wavelengths: the longest towards red, the shortest towards violet
    #[arg(long)]
    keep_order: bool,

    /// A colour that is given: a channel's id and a CSS colour or `natural`
    #[arg(long = "pin", value_name = "ID=COLOUR")]
    pins: Vec<String>,

    /// Print the figures as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let recipe = recipe_file::read(&arguments.recipe)?;
    let rendition = pick_rendition(&recipe, arguments.rendition.as_deref())?;
    let folder = folder_of(&arguments.recipe);
    let wish = Wish {
        keep_order: arguments.keep_order,
        pinned: pins(&recipe, &arguments.pins)?,
    };
    let mut inputs: Vec<PathBuf> = recipe
        .channels
        .iter()
        .map(|channel| folder.join(&channel.file))
        .collect();
    inputs.push(arguments.recipe.clone());
    spare(&inputs, &[&arguments.output])?;
    let stem = arguments.output.file_stem();
    let name = arguments
        .name
        .clone()
        .or_else(|| stem.map(|stem| stem.to_string_lossy().into_owned()))
        .unwrap_or_default();
    let made = on_threads(None, || {
        suggest::palette(&recipe, rendition, folder, &wish, &name, terminal.control())
    })?;
    write_whole(&arguments.output, write(&made.palette)?.as_bytes())?;
    terminal.notes(&made.notices);
    if arguments.json {
        let value = json!({
            "palette": made.palette.name,
            "file": arguments.output.display().to_string(),
            "colors": made.palette.colors,
            "before": told_json(&made.before),
            "after": told_json(&made.after),
            "score": {
                "before": made.suggestion.before.map(|score| score.total),
                "after": made.suggestion.after.total,
            },
        });
        json(terminal, &value)?;
        return Ok(Outcome::Done);
    }
    let now = format!("in the colours of {}", rendition.id);
    terminal.result(&format!(
        "{}  palette {}\n\nleast CIEDE2000 between lines, {now}\n{}\nas suggested\n{}",
        arguments.output.display(),
        made.palette.name,
        table(&made.before),
        table(&made.after),
    ))?;
    Ok(Outcome::Done)
}

fn pins(recipe: &Recipe, given: &[String]) -> Result<BTreeMap<String, ColorValue>, Error> {
    let mut pins = BTreeMap::new();
    for pin in given {
        let (id, color) = pin.split_once('=').ok_or_else(|| {
            Error::request(
                format!("`--pin {pin}` names no colour"),
                "write a channel's id, = and a colour: --pin ha=#e0b040",
            )
        })?;
        let channel = recipe.channel(id).ok_or_else(|| {
            let ids: Vec<&str> = recipe.channels.iter().map(|c| c.id.as_str()).collect();
            Error::request(
                format!("the recipe has no channel `{id}` to pin"),
                format!("it has {}", ids.join(", ")),
            )
        })?;
        let value = mixing::typed(color, channel).map_err(|what| {
            Error::request(format!("`--pin {pin}`: {what}"), "or leave this line free")
        })?;
        if pins.insert(id.to_owned(), value).is_some() {
            return Err(Error::request(
                format!("`{id}` is pinned twice"),
                "pin each channel once",
            ));
        }
    }
    Ok(pins)
}
