//! `linehue sheet`: a contact sheet of palettes.

use std::path::PathBuf;

use super::compose::on_threads;
use super::terminal::Terminal;
use super::{Error, Outcome, number, pixels};
use crate::work::key;
use crate::work::sheet::{self, Request};

/// Show every palette that fits on this very data, side by side
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue sheet lantern.toml -o palettes.png
  linehue sheet lantern.toml -o three.pdf --palette SHO --palette lampwick --palette natural
  linehue sheet lantern.toml -o wide.jpg --columns 6 --width 4000

Without --palette it shows the palettes of the program and your own.")]
pub struct Arguments {
    /// The recipe
    recipe: PathBuf,

    /// The sheet: .png, .jpg or .pdf
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,

    /// A palette by its name; may be given again
    #[arg(long = "palette", value_name = "NAME")]
    palettes: Vec<String>,

    /// Pictures in a row [default: as many as make a handy sheet]
    #[arg(long, value_name = "N", value_parser = number(sheet::COLUMNS))]
    columns: Option<usize>,

    #[command(flatten)]
    looks: Looks,
}

/// How a sheet of pictures looks.
#[derive(Debug, clap::Args)]
pub struct Looks {
    /// Pixels from side to side; a PDF has 300 of them to the inch, or as few as its
    /// letters need to be read
    #[arg(long, value_name = "PX", default_value_t = 2400, value_parser = pixels(sheet::WIDTHS))]
    pub(super) width: usize,

    /// Dark words on white, for paper
    #[arg(long)]
    pub(super) light: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let request = Request {
        subject: key::read(&arguments.recipe)?,
        out: arguments.output.clone(),
        palettes: arguments.palettes.clone(),
        columns: arguments.columns,
        width: arguments.looks.width,
        light: arguments.looks.light,
    };
    let done = on_threads(None, || sheet::run(&request, terminal.control()))?;
    terminal.notes(&done.notices);
    let [width, height] = done.size;
    let mut text = format!(
        "{}  {width} x {height}, {} {}: {}\n",
        arguments.output.display(),
        done.shown.len(),
        if done.shown.len() == 1 {
            "palette"
        } else {
            "palettes"
        },
        done.shown.join(", ")
    );
    for (name, reason) in &done.left_out {
        let same = format!("{name}: ");
        let reason = reason.strip_prefix(&same).unwrap_or(reason);
        text.push_str(&format!("left out {name}: {reason}\n"));
    }
    terminal.result(&text)?;
    Ok(Outcome::Done)
}
