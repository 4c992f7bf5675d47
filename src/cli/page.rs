//! `linehue page`: a page to hand on, as a folder or as one file.

use std::path::PathBuf;

use super::compose::on_threads;
use super::terminal::Terminal;
use super::{Error, Outcome, pixels};
use crate::io::write::{Format, Options};
use crate::work::key;
use crate::work::page::{self, LONG_EDGE, LONG_EDGES, Request, Source};
use crate::work::targets::bytes_words;

/// Make a page to hand on: the picture, mapped against natural, and what its colours mean
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue page lantern.tif.record.json -o lantern-page
  linehue page mapped.tif.record.json natural.tif.record.json -o lantern.html
  linehue page lantern.tif.record.json -o lantern-page --with-composite
  linehue page lantern.toml -o lantern.html --rendition mapped --long-edge 1600

Pictures are composed from the inputs that a record names; where these are gone,
the composite beside the record is taken. The page asks no network for anything.")]
pub struct Arguments {
    /// One record, or two of one recipe; or a recipe
    #[arg(value_name = "RECORD|RECIPE", required = true, num_args = 1..)]
    subjects: Vec<PathBuf>,

    /// A folder; or one file, where the name ends in .html
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,

    /// Which rendition, once or twice [default: the records', and one in natural
    /// colours beside a mapped one]
    #[arg(long = "rendition", value_name = "ID")]
    renditions: Vec<String>,

    /// Pixels of the pictures' longer side; they are never enlarged
    #[arg(long, value_name = "PX", default_value_t = LONG_EDGE, value_parser = pixels(LONG_EDGES))]
    long_edge: usize,

    /// How the pictures are written: jpeg or png
    #[arg(long, default_value = "jpeg", value_parser = parse_format)]
    format: Format,

    /// Quality of a JPEG, 1 to 100
    #[arg(long, default_value_t = 92, value_parser = clap::value_parser!(u8).range(1..=100))]
    quality: u8,

    /// The composites go along as they are
    #[arg(long)]
    with_composite: bool,

    /// Captions in words of one's own, or of another language (see `caption`)
    #[arg(long, value_name = "FILE")]
    template: Option<PathBuf>,

    /// A folder to look for inputs in that are not where the record says
    #[arg(long, value_name = "DIR")]
    inputs: Option<PathBuf>,
}

fn parse_format(text: &str) -> Result<Format, String> {
    match text {
        "jpeg" | "jpg" => Ok(Format::Jpeg),
        "png" => Ok(Format::Png),
        _ => Err("jpeg or png".to_owned()),
    }
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let request = Request {
        source: source(arguments)?,
        renditions: arguments.renditions.clone(),
        out: arguments.output.clone(),
        long_edge: arguments.long_edge,
        format: arguments.format,
        options: Options {
            quality: arguments.quality,
            ..Options::default()
        },
        with_composite: arguments.with_composite,
        template: arguments.template.clone(),
    };
    let done = on_threads(None, || page::run(&request, terminal.control()))?;
    terminal.notes(&done.notices);
    terminal.result(&format!(
        "{}  {}, {}\n",
        arguments.output.display(),
        done.renditions.join(" and "),
        bytes_words(done.bytes)
    ))?;
    Ok(Outcome::Done)
}

fn source(arguments: &Arguments) -> Result<Source, Error> {
    let records: Vec<bool> = arguments
        .subjects
        .iter()
        .map(|path| key::is_record(path))
        .collect();
    match arguments.subjects.as_slice() {
        [only] if !records[0] => Ok(Source::Recipe(Box::new(key::read(only)?))),
        subjects => Ok(Source::Records {
            paths: subjects.to_vec(),
            inputs: arguments.inputs.clone(),
        }),
    }
}
