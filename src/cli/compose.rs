//! `linehue compose`: makes the composite and its record.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::engine::color::space::Space;
use crate::engine::frame::Depth;
use crate::io::write::{Options, Packing};
use crate::work::compose::{self, DEFAULT_MEMORY, Request};
use crate::work::inputs::folder_of;
pub use crate::work::recipe_file::read as read_recipe;

/// Make a composite and its record from a recipe
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue compose lantern.toml -o lantern.tif
  linehue compose lantern.toml -o web.jpg --rendition natural --long-edge 1600
  linehue compose lantern.toml -o wide.png --space display-p3 --depth 8
  linehue compose lantern.toml -o archive.tif --depth 32f --packing small")]
pub struct Arguments {
    /// The recipe
    recipe: PathBuf,

    /// The composite: .tif, .png, .jpg or .fits; its record goes beside it
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,

    /// Which rendition [default: the first in the recipe]
    #[arg(long, value_name = "ID")]
    rendition: Option<String>,

    /// The output space: srgb, display-p3 or rec2020
    #[arg(long, default_value = "srgb")]
    space: Space,

    /// Bits of a sample: 8, 16 or 32f [default: TIFF and PNG 16, JPEG 8, FITS 32f]
    #[arg(long)]
    depth: Option<Depth>,

    /// How a TIFF is packed: none, fast or small
    #[arg(long, default_value = "none", value_parser = parse_packing)]
    packing: Packing,

    /// Quality of a JPEG, 1 to 100
    #[arg(long, default_value_t = 92, value_parser = clap::value_parser!(u8).range(1..=100))]
    quality: u8,

    /// Bring the longer side to N pixels; a smaller picture keeps its size
    #[arg(long, value_name = "N")]
    long_edge: Option<NonZeroUsize>,

    /// Threads to work with [default: one for each core]
    #[arg(long, value_name = "N")]
    threads: Option<NonZeroUsize>,

    /// Memory for rows in flight, such as 64M or 1G
    #[arg(long, value_name = "SIZE", value_parser = parse_memory)]
    memory: Option<NonZeroUsize>,

    /// Print the record on standard output
    #[arg(long)]
    json: bool,
}

fn parse_packing(text: &str) -> Result<Packing, String> {
    match text {
        "none" => Ok(Packing::None),
        "fast" => Ok(Packing::Fast),
        "small" => Ok(Packing::Small),
        _ => Err("none, fast or small".to_owned()),
    }
}

/// Bytes with an optional K, M or G (powers of 1024).
pub fn parse_memory(text: &str) -> Result<NonZeroUsize, String> {
    let wanted = "a size such as 64M or 1G, at least 1M";
    let upper = text.trim().to_ascii_uppercase();
    let upper = upper
        .strip_suffix("IB")
        .or_else(|| upper.strip_suffix('B'))
        .unwrap_or(&upper);
    let (digits, shift) = match upper.as_bytes().last() {
        Some(b'K') => (&upper[..upper.len() - 1], 10),
        Some(b'M') => (&upper[..upper.len() - 1], 20),
        Some(b'G') => (&upper[..upper.len() - 1], 30),
        _ => (upper, 0),
    };
    let number: usize = digits.trim().parse().map_err(|_| wanted.to_owned())?;
    number
        .checked_mul(1 << shift)
        .filter(|bytes| *bytes >= 1 << 20)
        .and_then(NonZeroUsize::new)
        .ok_or_else(|| wanted.to_owned())
}

// Each has a stack of its own, and starting many takes minutes.
const MOST_THREADS: usize = 1024;

/// Runs work on a pool of `threads`, or of one thread for each core.
///
/// # Errors
/// Those of the work, or when the threads cannot be had.
pub fn on_threads<T: Send>(
    threads: Option<NonZeroUsize>,
    work: impl FnOnce() -> Result<T, Error> + Send,
) -> Result<T, Error> {
    if let Some(threads) = threads
        && threads.get() > MOST_THREADS
    {
        return Err(Error::request(
            format!("{threads} threads are more than any machine has work for"),
            format!("ask for {MOST_THREADS} or fewer, or leave `--threads` out"),
        ));
    }
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads.map_or(0, NonZeroUsize::get))
        .thread_name(|index| format!("linehue-{index}"))
        .build()
        .map_err(|error| Error::request(format!("no threads: {error}"), "ask for fewer"))?;
    pool.install(work)
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let request = Request {
        recipe: read_recipe(&arguments.recipe)?,
        folder: folder_of(&arguments.recipe).to_owned(),
        rendition: arguments.rendition.clone(),
        out: arguments.output.clone(),
        space: arguments.space,
        depth: arguments.depth,
        options: Options {
            packing: arguments.packing,
            quality: arguments.quality,
        },
        memory: arguments.memory.unwrap_or(DEFAULT_MEMORY),
        long_edge: arguments.long_edge.map(NonZeroUsize::get),
        askable: None,
    };
    let done = on_threads(arguments.threads, || {
        compose::run(&request, terminal.control())
    })?;
    terminal.notes(&done.record.notices);
    if arguments.json {
        json(terminal, &done.record)?;
        return Ok(Outcome::Done);
    }
    let composite = &done.record.composite;
    terminal.result(&format!(
        "{}  {} x {}, {}, {}\n{}\n",
        arguments.output.display(),
        composite.width,
        composite.height,
        composite.space.title(),
        match composite.depth.as_str() {
            "32f" => "32-bit float, linear".to_owned(),
            bits => format!("{bits} bit"),
        },
        done.record_path.display(),
    ))?;
    Ok(Outcome::Done)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_as_people_write_them() {
        for (text, bytes) in [
            ("64M", 64 << 20),
            ("1 g", 1 << 30),
            ("2GiB", 2 << 30),
            ("2048k", 2 << 20),
        ] {
            assert_eq!(
                parse_memory(text).map(NonZeroUsize::get),
                Ok(bytes),
                "{text}"
            );
        }
        for text in ["", "M", "-1M", "1T", "12", "99999999999999999999G", "1.5G"] {
            assert!(parse_memory(text).is_err(), "{text}");
        }
    }
}
