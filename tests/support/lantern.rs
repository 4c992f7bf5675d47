//! Makes stacks of the Lantern Shell, an invented nebula.
//!
//! `lantern --out sample-stacks` makes the two sets that come with the project;
//! `lantern --size 6248x4176 --lines ha,oiii,sii --out DIR` makes frames of any
//! size, in bands, as 32-bit float FITS.

use std::io;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser;

#[path = "field/mod.rs"]
mod field;

use field::files::{Card, FitsWriter, Samples};
use field::filters::Filter;
use field::{Scene, Spec, render_rows, sets};

/// Rows made at a time: a multiple of the generator's own strips.
const BAND: usize = 384;

/// Makes stacks of the Lantern Shell, an invented nebula.
#[derive(Parser)]
struct Arguments {
    /// Folder for the files.
    #[arg(long)]
    out: PathBuf,
    /// Width and height, px (64 to 40000 each); without it the two sample sets.
    #[arg(long, value_parser = size)]
    size: Option<(usize, usize)>,
    /// Filters of a frame of any size: ha, oiii, sii, l, r, g, b.
    #[arg(long, value_delimiter = ',', default_value = "ha,oiii,sii", value_parser = filter)]
    lines: Vec<Filter>,
    /// Seed of the sky.
    #[arg(long, default_value_t = sets::SEED)]
    seed: u64,
}

fn size(text: &str) -> Result<(usize, usize), String> {
    let side = |text: &str| {
        text.parse::<usize>()
            .ok()
            .filter(|side| (64..=40_000).contains(side))
    };
    text.split_once('x')
        .and_then(|(width, height)| Some((side(width)?, side(height)?)))
        .ok_or_else(|| format!("{text} is no size; write WIDTHxHEIGHT, 64 to 40000 px each"))
}

fn filter(text: &str) -> Result<Filter, String> {
    Filter::from_id(text)
        .ok_or_else(|| format!("{text} is no filter; take ha, oiii, sii, l, r, g or b"))
}

fn run(arguments: &Arguments) -> io::Result<()> {
    let Some(size) = arguments.size else {
        let (aligned, raw) = (
            arguments.out.join("lantern"),
            arguments.out.join("lantern-raw"),
        );
        std::fs::create_dir_all(&aligned)?;
        std::fs::create_dir_all(&raw)?;
        sets::write_aligned(&aligned)?;
        return sets::write_raw(&raw);
    };
    std::fs::create_dir_all(&arguments.out)?;
    let scene = Scene::new(size.0, size.1, arguments.seed);
    for &filter in &arguments.lines {
        write_any(&scene, size, filter, &arguments.out)?;
    }
    Ok(())
}

/// A frame of any size, band by band.
fn write_any(scene: &Scene, size: (usize, usize), filter: Filter, out: &Path) -> io::Result<()> {
    let spec = Spec::new(size.0, size.1, filter);
    let cards = [
        Card::new("OBJECT", "Lantern Shell", "An imaginary nebula"),
        Card::new("FILTER", filter.id(), ""),
        Card::new("EXPTIME", spec.exposure_s, "[s] One sub-exposure"),
        Card::new("NCOMBINE", i64::from(spec.frames), "Sub-exposures averaged"),
    ];
    let path = out.join(sets::aligned_name(filter));
    let mut file = FitsWriter::create(&path, size, Samples::Float, &cards)?;
    let mut first = 0;
    while first < size.1 {
        let last = (first + BAND).min(size.1);
        file.append(&render_rows(scene, &spec, first..last))?;
        first = last;
    }
    file.finish()
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match run(&arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{}: {error}", arguments.out.display());
            ExitCode::from(2)
        }
    }
}
