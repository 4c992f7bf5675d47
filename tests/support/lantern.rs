//! Makes stacks of the Lantern Shell, an invented nebula.
//!
//! `lantern --out sample-stacks` makes the two sets that come with the project;
//! `lantern --size 6248x4176 --lines ha,oiii,sii --out DIR` makes frames of any
//! size, in bands, as 32-bit float FITS.

use std::io;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;

#[path = "field/mod.rs"]
mod field;

use field::files::{Card, FitsWriter, Samples};
use field::filters::Filter;
use field::{Backdrop, Grid, Scene, Spec, render_over, sets};

/// Rows made at a time: bounds the memory.
const BAND: usize = 768;

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
    write_any(size, arguments)
}

/// Frames of any size, band by band, all filters of a band from the same gas.
fn write_any((width, height): (usize, usize), arguments: &Arguments) -> io::Result<()> {
    let scene = Scene::new(width, height, arguments.seed);
    let begin = |&filter: &Filter| {
        let spec = Spec::new(width, height, filter);
        let cards = [
            Card::new("OBJECT", "Lantern Shell", "An imaginary nebula"),
            Card::new("FILTER", filter.id(), ""),
            Card::new("EXPTIME", spec.exposure_s, "[s] One sub-exposure"),
            Card::new("NCOMBINE", i64::from(spec.frames), "Sub-exposures averaged"),
        ];
        let path = arguments.out.join(sets::aligned_name(filter));
        let file = FitsWriter::create(&path, (width, height), Samples::Float, &cards)?;
        Ok((spec, file))
    };
    let mut frames: Vec<_> = arguments
        .lines
        .iter()
        .map(begin)
        .collect::<io::Result<_>>()?;
    let mut first = 0;
    while first < height {
        let rows = first..(first + BAND).min(height);
        let backdrop = Backdrop::new(&scene, Grid::reference(width, height), rows.clone());
        for (spec, file) in &mut frames {
            file.append(&render_over(&scene, &backdrop, spec, rows.clone()))?;
        }
        first = rows.end;
    }
    frames.into_iter().try_for_each(|(_, file)| file.finish())
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
