//! Which line leads where: a picture and its figures.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::compose::pick_rendition;
use super::describe::css;
use super::inputs::{self, Input};
use super::prepare::{Prepared, prepare};
use super::{Control, Error};
use crate::engine::apart::{LOOK_ALIKE, Told, told};
use crate::engine::color::difference::{Lab, ciede2000};
use crate::engine::color::space::Space;
use crate::engine::frame::{BAND_ROWS, Coded, CodedBand, Depth, Size};
use crate::engine::leading::{By, Counts, DETECTED_SIGMA, Leading, Line, line_color};
use crate::engine::measure;
use crate::engine::recipe::Recipe;
use crate::io::write::xmp::{self, Description};
use crate::io::write::{self, Format, Options, Tags, Target, Writer};

/// What is to be made.
#[derive(Debug, Clone)]
pub struct Request {
    /// A checked recipe.
    pub recipe: Recipe,
    /// The folder that its files are relative to.
    pub folder: PathBuf,
    /// Id of the rendition; None: the first.
    pub rendition: Option<String>,
    /// The picture: PNG or TIFF by its ending.
    pub out: PathBuf,
    /// What lines are compared by.
    pub by: By,
}

/// A line in the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Key {
    /// The channel's id.
    pub channel: String,
    /// The line's symbol.
    pub name: String,
    /// Its colour where it is alone, as CSS.
    pub css: String,
    /// Its sky in file units.
    pub sky: f64,
    /// Sigma of its noise in file units.
    pub noise: f64,
}

/// What was made.
#[derive(Debug, Clone)]
pub struct Done {
    /// Id of the rendition.
    pub rendition: String,
    /// Width and height.
    pub size: Size,
    /// The lines, in the recipe's order.
    pub lines: Vec<Key>,
    /// The figures.
    pub counts: Counts,
    /// What the picture shows, in words: it goes into the file too.
    pub legend: String,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Makes the picture.
///
/// # Errors
/// When channels cannot be prepared, a noise cannot be measured, fewer than
/// two lines take part, or the picture cannot be written.
pub fn run(request: &Request, control: Control<'_>) -> Result<Done, Error> {
    let recipe = &request.recipe;
    let rendition = pick_rendition(recipe, request.rendition.as_deref())?;
    let format = write::format_of(&request.out)?;
    if !matches!(format, Format::Png | Format::Tiff) {
        return Err(Error::request(
            format!(
                "{}: this picture is not written as {}",
                request.out.display(),
                format.name()
            ),
            "take .png or .tif, which keep its colours as they are",
        ));
    }
    let told = told(recipe, rendition)?;
    if told.lines.len() < 2 {
        return Err(Error::request(
            format!(
                "the rendition `{}` holds fewer than two lines",
                rendition.id
            ),
            "give another line a colour, or take another rendition",
        ));
    }
    let stacks: Vec<PathBuf> = recipe
        .channels
        .iter()
        .map(|channel| request.folder.join(&channel.file))
        .collect();
    inputs::spare(&stacks, &[&request.out])?;
    inputs::spare_composite(&request.out)?;
    inputs::spare_map(&request.out)?;
    let needed: Vec<usize> = told.lines.iter().map(|line| line.channel).collect();
    let opened = inputs::open(recipe, &inputs::shaping(recipe, &needed), |channel| {
        Ok(request.folder.join(&channel.file))
    })?;
    let preparation = prepare(recipe, &opened, &needed, control)?;
    let measured = measured(recipe, &opened, &needed, &preparation.channels)?;
    let lines: Vec<Line<'_>> = told
        .lines
        .iter()
        .zip(&measured)
        .map(|(line, (sky, noise))| Line {
            stretch: &recipe.channels[line.channel].stretch,
            vector: line.vector,
            shown: line.shown,
            sky: *sky,
            noise: *noise,
        })
        .collect();
    let size = preparation.part.size;
    let legend = legend(&told, &rendition.id, request.by);
    let target = target(&request.out, format, size, &legend);
    let leading = Leading::new(&lines, request.by);
    let counts = pixels(&leading, &preparation.channels, size, target, control)?;
    let mut notices = preparation.notices;
    notices.extend(one_hue(&told, &rendition.id));
    let keys = told
        .lines
        .iter()
        .zip(&measured)
        .map(|(line, (sky, noise))| Key {
            channel: line.id.clone(),
            name: line.name.clone(),
            css: css(line_color(line.shown, 1.0)),
            sky: *sky,
            noise: *noise,
        });
    Ok(Done {
        rendition: rendition.id.clone(),
        size,
        lines: keys.collect(),
        counts,
        legend,
        notices,
    })
}

/// What was found, in a sentence; None where no line stands out anywhere.
pub fn figures(done: &Done) -> Option<String> {
    let counts = &done.counts;
    if counts.nebula == 0 {
        return None;
    }
    let percent = |part: u64| 100.0 * part as f64 / counts.nebula as f64;
    let lines = done.lines.iter().zip(&counts.led);
    let mut parts: Vec<String> = lines
        .map(|(line, led)| format!("{} leads {:.1} %", line.name, percent(*led)))
        .collect();
    parts.push(format!(
        "{:.1} % are undecided",
        percent(counts.undecided())
    ));
    Some(format!(
        "Of the pixels with a line {DETECTED_SIGMA:.0} sigma above its sky ({:.1} % of the field), {}",
        100.0 * counts.nebula as f64 / counts.valid.max(1) as f64,
        parts.join(", ")
    ))
}

// Sky and noise of each prepared channel.
fn measured(
    recipe: &Recipe,
    inputs: &[Input],
    needed: &[usize],
    channels: &[Prepared],
) -> Result<Vec<(f64, f64)>, Error> {
    let one = |(index, channel): (&usize, &Prepared)| {
        let input = inputs.iter().find(|input| input.channel == *index);
        let ceiling = input.and_then(|input| input.facts.ceiling);
        let levels = measure::glance(&*channel.rows, ceiling)?.levels;
        match levels {
            Some(levels) if levels.noise > 0.0 => Ok((levels.sky, levels.noise)),
            _ => Err(Error::request(
                format!(
                    "{}: it has no noise to measure by",
                    recipe.channels[*index].id
                ),
                "this works on stacks as a camera makes them; leave that channel out",
            )),
        }
    };
    needed.iter().zip(channels).map(one).collect()
}

fn target(out: &Path, format: Format, size: Size, legend: &str) -> Target {
    let description = Description {
        title: "Which line leads where".to_owned(),
        description: legend.to_owned(),
        software: format!("Linehue {}", env!("CARGO_PKG_VERSION")),
        ..Description::default()
    };
    Target {
        path: out.to_owned(),
        format,
        size,
        depth: Depth::Sixteen,
        space: Space::Srgb,
        options: Options::default(),
        tags: Tags {
            xmp: xmp::packet(&description),
            description: description.title,
            software: description.software,
            ..Tags::default()
        },
    }
}

fn pixels(
    leading: &Leading,
    channels: &[Prepared],
    size: Size,
    target: Target,
    control: Control<'_>,
) -> Result<Counts, Error> {
    // Rows that one thread takes at a time.
    const PIECE_ROWS: usize = 16;
    let mut writer = Writer::create(target)?;
    let mut counts = leading.run(&[], &mut []);
    for first_row in (0..size.height).step_by(BAND_ROWS) {
        control.check()?;
        let rows = BAND_ROWS.min(size.height - first_row);
        let values: Vec<Vec<f32>> = channels
            .par_iter()
            .map(|channel| {
                let mut values = vec![0.0; rows * size.width];
                channel.rows.read(first_row, &mut values)?;
                Ok(values)
            })
            .collect::<Result<_, Error>>()?;
        let mut codes = vec![0_u16; 3 * rows * size.width];
        let piece = PIECE_ROWS * size.width;
        let found: Vec<Counts> = codes
            .par_chunks_mut(3 * piece)
            .enumerate()
            .map(|(index, codes)| {
                let from = index * piece;
                let to = from + codes.len() / 3;
                let inputs: Vec<&[f32]> = values.iter().map(|values| &values[from..to]).collect();
                leading.run(&inputs, codes)
            })
            .collect();
        found.iter().for_each(|part| counts.add(part));
        writer.put(CodedBand {
            first_row,
            rows,
            samples: Coded::U16(codes),
        })?;
        let (done, total) = (first_row as u64, size.height as u64);
        control.progress.report("comparing lines", done, total);
    }
    let sealed = writer.seal()?;
    control.check()?;
    sealed.publish()?;
    Ok(counts)
}

fn legend(told: &Told, rendition: &str, by: By) -> String {
    let lines: Vec<String> = told
        .lines
        .iter()
        .map(|line| format!("{} {}", css(line_color(line.shown, 1.0)), line.name))
        .collect();
    format!(
        "Hue: the line that leads in the rendition {rendition} ({}). Lightness: how clearly, from \
         level with the next line (dark) to alone (light). Grey: undecided, the lead is within 1 \
         sigma of the noise. Black: no line {DETECTED_SIGMA:.0} sigma above the sky. Lines are \
         compared by {}.",
        lines.join(", "),
        by.words()
    )
}

// Two lines whose leads look the same in this picture.
fn one_hue(told: &Told, rendition: &str) -> Vec<String> {
    let seen = |index: usize| Lab::from_linear_srgb(line_color(told.lines[index].shown, 0.5));
    told.pairs
        .iter()
        .filter(|pair| ciede2000(seen(pair.one), seen(pair.other)) < LOOK_ALIKE)
        .map(|pair| {
            let [one, other] = told.names(pair);
            format!(
                "{one} and {other} have nearly one hue in `{rendition}`: the picture does not tell \
                 them apart, the figures do"
            )
        })
        .collect()
}
