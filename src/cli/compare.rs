//! `linehue compare`: renditions beside each other, or as parts of one picture.

use std::path::PathBuf;

use super::compose::on_threads;
use super::terminal::Terminal;
use super::{Error, Outcome, pixels};
use crate::work::compare::{self, Request, Split};
use crate::work::key;

/// Show renditions beside each other, or as parts of one picture
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue compare lantern.toml mapped natural -o both.png
  linehue compare lantern.toml mapped natural -o divided.jpg --split diagonal
  linehue compare lantern.toml mapped natural -o print.pdf --key --light")]
pub struct Arguments {
    /// The recipe
    recipe: PathBuf,

    /// Renditions of the recipe by their ids, two or more
    #[arg(value_name = "ID", required = true, num_args = 2..)]
    renditions: Vec<String>,

    /// The comparison: .png, .jpg or .pdf
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,

    /// One picture of parts: vertical, or diagonal (two renditions)
    #[arg(long, value_name = "HOW")]
    split: Option<Split>,

    /// A colour key under each
    #[arg(long)]
    key: bool,

    /// Pixels from side to side; a PDF has 300 of them to the inch, or as few as its
    /// letters need to be read
    #[arg(long, value_name = "PX", default_value_t = 2400, value_parser = pixels(compare::WIDTHS))]
    width: usize,

    /// Dark words on white, for paper
    #[arg(long)]
    light: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let request = Request {
        subject: key::read(&arguments.recipe)?,
        renditions: arguments.renditions.clone(),
        out: arguments.output.clone(),
        split: arguments.split,
        key: arguments.key,
        width: arguments.width,
        light: arguments.light,
    };
    let done = on_threads(None, || compare::run(&request, terminal.control()))?;
    for notice in &done.notices {
        terminal.say(&format!("note: {notice}"));
    }
    let [width, height] = done.size;
    terminal.result(&format!(
        "{}  {width} x {height}, {}\n",
        arguments.output.display(),
        arguments.renditions.join(", ")
    ))?;
    Ok(Outcome::Done)
}
