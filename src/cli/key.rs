//! `linehue key`: the drawing that says which line is shown in which colour.

use std::path::PathBuf;

use super::terminal::Terminal;
use super::{Error, Outcome, pixels};
use crate::work::key::{self, Beneath, Done, Onto, Place, Request};

/// Draw the colour key: which line is shown in which colour
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue key lantern.tif.record.json -o key.svg
  linehue key lantern.toml --rendition natural -o key.png --width 2400 --light
  linehue key lantern.tif.record.json --onto lantern.tif -o with-key.png
  linehue key lantern.tif.record.json --onto lantern.tif -o with-key.jpg --place below

The picture named with --onto is only read; what is written is a copy.")]
pub struct Arguments {
    /// A recipe, or the record beside a composite
    #[arg(value_name = "RECORD|RECIPE")]
    subject: PathBuf,

    /// The key: .svg, .png or .pdf; with --onto the copy: .png, .tif or .jpg
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,

    /// Which rendition [default: the record's, or the first in the recipe]
    #[arg(long, value_name = "ID")]
    rendition: Option<String>,

    /// Pixels from side to side; a PDF has 300 of them to the inch, or as few as its
    /// letters need to be read
    #[arg(long, value_name = "PX", default_value_t = 1600,
        value_parser = pixels(key::WIDTHS), conflicts_with = "onto")]
    width: usize,

    /// Dark words on white, for paper
    #[arg(long)]
    light: bool,

    /// Lay the key on a copy of this picture: PNG, TIFF or JPEG
    #[arg(long, value_name = "PICTURE")]
    onto: Option<PathBuf>,

    /// Where on it: lower-left, lower-right, upper-left, upper-right or below
    #[arg(long, default_value = "lower-left", requires = "onto")]
    place: Place,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let request = Request {
        subject: key::read(&arguments.subject)?,
        rendition: arguments.rendition.clone(),
        out: arguments.output.clone(),
        width: arguments.width,
        light: arguments.light,
        onto: arguments.onto.clone().map(|picture| Onto {
            beneath: Beneath::Picture(picture),
            place: arguments.place,
        }),
    };
    let made = key::run(&request, terminal.control())?;
    terminal.notes(&made.notices);
    let Done { words, .. } = made;
    terminal.result(&format!("{}  {words}\n", arguments.output.display()))?;
    Ok(Outcome::Done)
}
