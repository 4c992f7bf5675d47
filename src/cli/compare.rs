//! `linehue compare`: renditions beside each other, or as parts of one picture.

use std::path::PathBuf;

use super::compose::on_threads;
use super::sheet::Looks;
use super::terminal::Terminal;
use super::{Error, Outcome};
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

    #[command(flatten)]
    looks: Looks,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let request = Request {
        subject: key::read(&arguments.recipe)?,
        renditions: arguments.renditions.clone(),
        out: arguments.output.clone(),
        split: arguments.split,
        key: arguments.key,
        width: arguments.looks.width,
        light: arguments.looks.light,
    };
    let done = on_threads(None, || compare::run(&request, terminal.control()))?;
    terminal.notes(&done.notices);
    let [width, height] = done.size;
    terminal.result(&format!(
        "{}  {width} x {height}, {}\n",
        arguments.output.display(),
        arguments.renditions.join(", ")
    ))?;
    Ok(Outcome::Done)
}
