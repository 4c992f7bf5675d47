//! `linehue caption`: the words that go under a picture.

use std::path::PathBuf;

use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::engine::caption::{Caption, Format, template::ENGLISH_TEXT};
use crate::work::caption;

/// Write the words that go under a picture, from its record
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue caption lantern.tif.record.json
  linehue caption lantern.tif.record.json --length short
  linehue caption lantern.tif.record.json --length alt --format html
  linehue caption sii-ha.png.ratio.json --length alt
  linehue caption --print-template > my-words.toml
  linehue caption lantern.tif.record.json --template my-words.toml")]
pub struct Arguments {
    /// The record beside a composite or a map of ratios
    #[arg(required_unless_present = "print_template")]
    record: Option<PathBuf>,

    /// Which words: short (a post, at most 280 characters), long (a gallery) or
    /// alt (for someone who does not see the picture)
    #[arg(long, default_value = "long", value_parser = parse_length)]
    length: Length,

    /// How they are written: text, markdown or html
    #[arg(long, default_value = "text")]
    format: Format,

    /// Words of one's own, or of another language
    #[arg(long, value_name = "FILE")]
    template: Option<PathBuf>,

    /// Print the English template, which explains itself
    #[arg(long, conflicts_with_all = ["record", "template", "json"])]
    print_template: bool,

    /// Print all three lengths as JSON
    #[arg(long, conflicts_with = "length")]
    json: bool,
}

#[derive(Debug, Clone, Copy)]
enum Length {
    Short,
    Long,
    Alt,
}

fn parse_length(text: &str) -> Result<Length, String> {
    match text {
        "short" => Ok(Length::Short),
        "long" => Ok(Length::Long),
        "alt" => Ok(Length::Alt),
        _ => Err("short, long or alt".to_owned()),
    }
}

#[derive(serde::Serialize)]
struct Words {
    language: String,
    format: &'static str,
    short: String,
    long: String,
    alt: String,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let Some(record) = arguments
        .record
        .as_ref()
        .filter(|_| !arguments.print_template)
    else {
        terminal.result(ENGLISH_TEXT)?;
        return Ok(Outcome::Done);
    };
    let (Caption { short, long, alt }, language) =
        caption::of_record(record, arguments.template.as_deref())?;
    let format = arguments.format;
    let written = |text: &str| format.write(text, &language);
    if arguments.json {
        let words = Words {
            format: format.name(),
            short: written(&short),
            long: written(&long),
            alt: written(&alt),
            language,
        };
        json(terminal, &words)?;
    } else {
        let text = match arguments.length {
            Length::Short => short,
            Length::Long => long,
            Length::Alt => alt,
        };
        terminal.result(&format!("{}\n", written(&text)))?;
    }
    Ok(Outcome::Done)
}
