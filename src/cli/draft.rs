//! `linehue draft`: from stacks to a recipe to start from.

use std::path::PathBuf;

use super::terminal::Terminal;
use super::{Error, Outcome};
use crate::work::draft::{self, Request};
use crate::work::user_palettes;

/// Recognise lines, stretch each stack, and write a recipe to start from
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue draft lantern-*.fits -o lantern.toml
  linehue draft a.fits b.fits -o pair.toml --palette HOO
  linehue draft 'stack 1.tif' 'stack 2.tif' -o pair.toml --line 'stack 1.tif=Ha' --line 'stack 2.tif=OIII'

A line that the header and the name leave open is never guessed: say it with --line.")]
pub struct Arguments {
    /// The stacks, one for each filter; the sharpest becomes the reference
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    /// The recipe to write
    #[arg(short, long, value_name = "RECIPE")]
    output: PathBuf,

    /// The palette of the first rendition [default: one that fits the lines]
    #[arg(long, value_name = "NAME")]
    palette: Option<String>,

    /// Name the line of a file, such as 'stack 1.tif=Ha'
    #[arg(long, value_name = "FILE=LINE", value_parser = pair::<String>)]
    line: Vec<(String, String)>,

    /// Name the plane of a file, from 0, such as colour.tif=0
    #[arg(long, value_name = "FILE=N", value_parser = pair::<usize>)]
    plane: Vec<(String, usize)>,

    /// Name the header-data unit or page of a file, from 0
    #[arg(long, value_name = "FILE=N", value_parser = pair::<usize>)]
    hdu: Vec<(String, usize)>,
}

// The last `=` divides: file names may have one.
fn pair<T: std::str::FromStr>(text: &str) -> Result<(String, T), String> {
    let (file, value) = text
        .rsplit_once('=')
        .ok_or_else(|| "write it as FILE=VALUE".to_owned())?;
    let value = value
        .trim()
        .parse()
        .map_err(|_| format!("`{value}` does not fit here"))?;
    Ok((file.to_owned(), value))
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let own = user_palettes::own();
    terminal.notes(&own.refused);
    let request = Request {
        files: arguments.files.clone(),
        out: arguments.output.clone(),
        palette: arguments.palette.clone(),
        lines: arguments.line.clone(),
        planes: arguments.plane.clone(),
        hdus: arguments.hdu.clone(),
    };
    let drafted = draft::run(&request, &own.palettes, terminal.control())?;
    terminal.notes(&drafted.notices);
    let mut text = format!("{}\n", arguments.output.display());
    for (channel, why) in drafted.recipe.channels.iter().zip(&drafted.why) {
        text.push_str(&format!("  {:<6} {:<5} {why}\n", channel.id, channel.line));
    }
    let renditions: Vec<&str> = drafted
        .recipe
        .renditions
        .iter()
        .map(|r| r.id.as_str())
        .collect();
    text.push_str(&format!("  renditions: {}\n", renditions.join(", ")));
    terminal.result(&text)?;
    Ok(Outcome::Done)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_name_may_hold_an_equals_sign() {
        assert_eq!(
            pair::<String>("a=b.tif=Ha"),
            Ok(("a=b.tif".to_owned(), "Ha".to_owned()))
        );
        assert!(pair::<usize>("a.tif=x").is_err());
        assert!(pair::<usize>("a.tif").is_err());
    }
}
