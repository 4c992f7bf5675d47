//! `linehue verify`: whether a record still holds.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use super::compose::{on_threads, parse_memory};
use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::work::compose::DEFAULT_MEMORY;
use crate::work::verify;

/// Check that a record still holds: inputs, composite, and pixels and words made again
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue verify lantern.tif.record.json
  linehue verify lantern.tif.record.json --inputs /media/archive/stacks --json
  linehue verify sii-ha.fits.ratio.json

Exit code 1 says that something does not hold.")]
pub struct Arguments {
    /// The record beside a composite or a map of ratios
    record: PathBuf,

    /// A folder to look for inputs in that are not where the record says
    #[arg(long, value_name = "DIR")]
    inputs: Option<PathBuf>,

    /// Threads to work with [default: one for each core]
    #[arg(long, value_name = "N")]
    threads: Option<NonZeroUsize>,

    /// Memory for rows in flight, such as 64M or 1G
    #[arg(long, value_name = "SIZE", value_parser = parse_memory)]
    memory: Option<NonZeroUsize>,

    /// Print the checks as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let memory = arguments.memory.unwrap_or(DEFAULT_MEMORY);
    let verdict = on_threads(arguments.threads, || {
        verify::run(
            &arguments.record,
            arguments.inputs.as_deref(),
            memory,
            terminal.control(),
        )
    })?;
    if arguments.json {
        json(terminal, &verdict)?;
    } else {
        let mut text = String::new();
        for check in &verdict.checks {
            let mark = if check.holds { "ok " } else { "NOT" };
            let file = check.file.as_deref().unwrap_or_default();
            text.push_str(&format!(
                "{mark}  {:<14} {file:<32} {}\n",
                check.what, check.detail
            ));
        }
        text.push_str(if verdict.holds {
            "The record holds.\n"
        } else {
            "The record does not hold.\n"
        });
        terminal.result(&text)?;
    }
    Ok(if verdict.holds {
        Outcome::Done
    } else {
        Outcome::CheckFailed
    })
}
