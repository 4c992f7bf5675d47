//! The commands: arguments in, jobs asked for, words out. Results go to
//! standard output, progress and messages to standard error.

mod apart;

mod balance;

mod caption;

mod channels;

mod compare;

mod compose;

mod draft;

mod inspect;

mod key;

mod leading;

mod page;

mod palettes;

mod ratio;

mod sheet;

mod suggest;

mod terminal;

mod verify;

use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{CommandFactory as _, Parser, Subcommand};

use crate::work::Error;
use terminal::Terminal;

/// How a command ended that did its work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Outcome {
    Done,
    CheckFailed,
}

#[cfg(not(feature = "gui"))]
const NO_WINDOW: &str = "this build has no window";

const EXAMPLES: &str = "\
Examples:
  linehue inspect *.fits
  linehue draft lantern-ha.fits lantern-oiii.fits lantern-sii.fits -o lantern.toml
  linehue compose lantern.toml -o lantern.tif
  linehue verify lantern.tif.record.json
  linehue caption lantern.tif.record.json

Exit codes: 0 done, 1 a check did not hold (verify), 2 bad input or usage, 130 stopped.";

/// Decide which emission line becomes which hue, and keep the record.
#[derive(Debug, Parser)]
#[command(name = "linehue", version, after_help = EXAMPLES)]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,

    /// Stacks or a recipe to open in the window
    #[arg(value_name = "FILE")]
    files: Vec<PathBuf>,

    /// Say nothing but results and errors
    #[arg(short, long, global = true)]
    quiet: bool,
}

#[derive(Debug, Subcommand)]
enum Command {
    Inspect(inspect::Arguments),
    Draft(draft::Arguments),
    Compose(compose::Arguments),
    Channels(channels::Arguments),
    Verify(verify::Arguments),
    Caption(caption::Arguments),
    Palettes(palettes::Arguments),
    Key(key::Arguments),
    Sheet(sheet::Arguments),
    Compare(compare::Arguments),
    Page(page::Arguments),
    Apart(apart::Arguments),
    Suggest(suggest::Arguments),
    Balance(balance::Arguments),
    Leading(leading::Arguments),
    Ratio(ratio::Arguments),
    /// Write shell completions to standard output
    #[command(
        after_help = "Example:\n  linehue completions bash > ~/.local/share/bash-completion/completions/linehue"
    )]
    Completions {
        /// Which shell
        shell: clap_complete::Shell,
    },
}

// Reads a number of pixels within a range.
fn pixels(range: RangeInclusive<usize>) -> impl Fn(&str) -> Result<usize, String> + Clone {
    move |text| number(range.clone())(text).map_err(|wanted| format!("{wanted} pixels"))
}

// Reads a number within a range.
fn number(range: RangeInclusive<usize>) -> impl Fn(&str) -> Result<usize, String> + Clone {
    move |text| {
        let number = text.trim().parse().ok();
        number
            .filter(|number| range.contains(number))
            .ok_or_else(|| format!("from {} to {}", range.start(), range.end()))
    }
}

/// Runs the program on its command line.
pub fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let terminal = Terminal::new(arguments.quiet);
    match run(arguments, &terminal) {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::CheckFailed) => ExitCode::from(1),
        Err(error) => {
            terminal.error(&error);
            ExitCode::from(if matches!(error, Error::Cancelled) {
                130
            } else {
                2
            })
        }
    }
}

fn run(arguments: Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    match arguments.command {
        Some(Command::Inspect(arguments)) => inspect::run(&arguments, terminal),
        Some(Command::Draft(arguments)) => draft::run(&arguments, terminal),
        Some(Command::Compose(arguments)) => compose::run(&arguments, terminal),
        Some(Command::Channels(arguments)) => channels::run(&arguments, terminal),
        Some(Command::Verify(arguments)) => verify::run(&arguments, terminal),
        Some(Command::Caption(arguments)) => caption::run(&arguments, terminal),
        Some(Command::Palettes(arguments)) => palettes::run(&arguments, terminal),
        Some(Command::Key(arguments)) => key::run(&arguments, terminal),
        Some(Command::Sheet(arguments)) => sheet::run(&arguments, terminal),
        Some(Command::Compare(arguments)) => compare::run(&arguments, terminal),
        Some(Command::Page(arguments)) => page::run(&arguments, terminal),
        Some(Command::Apart(arguments)) => apart::run(&arguments, terminal),
        Some(Command::Balance(arguments)) => balance::run(&arguments, terminal),
        Some(Command::Suggest(arguments)) => suggest::run(&arguments, terminal),
        Some(Command::Leading(arguments)) => leading::run(&arguments, terminal),
        Some(Command::Ratio(arguments)) => ratio::run(&arguments, terminal),
        Some(Command::Completions { shell }) => {
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut Arguments::command(), "linehue", &mut script);
            terminal.result(&String::from_utf8_lossy(&script))?;
            Ok(Outcome::Done)
        }
        None => window(&arguments.files, terminal),
    }
}

// The window, on files if any were named.
fn window(files: &[PathBuf], terminal: &Terminal) -> Result<Outcome, Error> {
    if let Some(missing) = files.iter().find(|file| !file.exists()) {
        let name = missing.display();
        return Err(Error::request(
            format!("`{name}` is neither a command nor a file"),
            "see `linehue --help` for the commands",
        ));
    }
    #[cfg(feature = "gui")]
    {
        let stop = |tell| terminal.when_stopped(tell);
        crate::gui::start::open(files.to_vec(), &stop)
            .map(|()| Outcome::Done)
            .map_err(|error| Error::request(error.what, without_window(&error.hint)))
    }
    #[cfg(not(feature = "gui"))]
    {
        let _ = terminal;
        Err(Error::request(NO_WINDOW, without_window("")))
    }
}

// Which commands do the work without a window.
fn without_window(hint: &str) -> String {
    let mut text = String::new();
    if !hint.is_empty() {
        text.push_str(hint);
        text.push_str("; or ");
    }
    text.push_str("do the work without a window:\n\n");
    let command = Arguments::command();
    for sub in command.get_subcommands() {
        let about = sub.get_about().map(ToString::to_string).unwrap_or_default();
        text.push_str(&format!("  linehue {:<12} {about}\n", sub.get_name()));
    }
    text.push_str("\n`linehue COMMAND --help` has examples.");
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        Arguments::command().debug_assert();
    }
}
