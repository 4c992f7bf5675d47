//! `linehue channels`: the prepared channels as FITS files.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use super::compose::{on_threads, read_recipe};
use super::terminal::Terminal;
use super::{Error, Outcome};
use crate::work::channels;
use crate::work::inputs::folder_of;

/// Write the prepared channels (aligned, cropped, levelled, linear) as FITS
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue channels lantern.toml -o prepared
  linehue channels lantern.toml -o prepared --model

Each channel becomes DIR/ID.fits, each sky model DIR/ID.sky.fits, with the
headers' words, the reference's place on the sky, and what was done as HISTORY.")]
pub struct Arguments {
    /// The recipe
    recipe: PathBuf,

    /// The folder to write to; made where it is missing
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,

    /// Write the sky models too
    #[arg(long)]
    model: bool,

    /// Threads to work with [default: one for each core]
    #[arg(long, value_name = "N")]
    threads: Option<NonZeroUsize>,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let recipe = read_recipe(&arguments.recipe)?;
    let folder = folder_of(&arguments.recipe);
    let written = on_threads(arguments.threads, || {
        channels::run(
            &recipe,
            folder,
            &arguments.output,
            arguments.model,
            terminal.control(),
        )
    })?;
    terminal.notes(&written.notices);
    let mut text = String::new();
    for file in &written.files {
        text.push_str(&format!("{}\n", file.display()));
    }
    terminal.result(&text)?;
    Ok(Outcome::Done)
}
