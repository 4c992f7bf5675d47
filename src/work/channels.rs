//! The prepared channels as files of their own: aligned, cropped, levelled and
//! linear, with their headers and their place on the sky.

use std::path::{Path, PathBuf};

use super::inputs;
use super::prepare::prepare;
use super::{Control, Error};
use crate::engine::frame::{Rows, RowsError, Size};
use crate::engine::level::SkyModel;
use crate::engine::recipe::Recipe;
use crate::engine::wcs::moved;
use crate::io::write::atomic::Sealed;
use crate::io::write::channel::{About, ChannelError, prepare as write};

/// What was written.
#[derive(Debug, Clone, Default)]
pub struct Written {
    /// The files, in the recipe's order.
    pub files: Vec<PathBuf>,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Writes `DIR/ID.fits` for every channel of a checked recipe and, with
/// `models`, `DIR/ID.sky.fits` for every one that is levelled. All files get
/// their names at the end, when all of them are complete.
///
/// # Errors
/// When a channel cannot be prepared or written, or the job is stopped.
pub fn run(
    recipe: &Recipe,
    folder: &Path,
    out: &Path,
    models: bool,
    control: Control<'_>,
) -> Result<Written, Error> {
    let all: Vec<usize> = (0..recipe.channels.len()).collect();
    let locate = |file: &str| folder.join(file);
    let opened = inputs::open(recipe, &all, |channel| Ok(locate(&channel.file)))?;
    let stacks: Vec<PathBuf> = recipe
        .channels
        .iter()
        .map(|channel| locate(&channel.file))
        .collect();
    let paths: Vec<PathBuf> = recipe
        .channels
        .iter()
        .map(|channel| out.join(format!("{}.fits", channel.id)))
        .collect();
    let named: Vec<&Path> = paths.iter().map(PathBuf::as_path).collect();
    inputs::spare(&stacks, &named)?;
    std::fs::create_dir_all(out).map_err(|error| {
        Error::request(
            format!("{}: the folder cannot be made: {error}", out.display()),
            "name a folder that you may write to",
        )
    })?;
    let reference = recipe.reference().map(|channel| channel.id.as_str());
    let grid = opened
        .iter()
        .find(|input| Some(recipe.channels[input.channel].id.as_str()) == reference)
        .map(|input| input.facts.header.clone())
        .unwrap_or_default();
    let preparation = prepare(recipe, &opened, &all, control)?;
    let grid = moved(&grid, preparation.part.origin);
    let mut written = Written {
        files: Vec::new(),
        notices: preparation.notices,
    };
    let mut sealed: Vec<Sealed> = Vec::new();
    for ((input, channel), path) in opened.iter().zip(&preparation.channels).zip(&paths) {
        control.check()?;
        let described = &recipe.channels[input.channel];
        let mut about = About {
            own: Some(&input.facts.header),
            grid: Some(&grid),
            texts: vec![("FILTER", described.line.clone()), ("CREATOR", software())],
            numbers: described
                .exposure_s
                .map(|seconds| ("XPOSURE", seconds))
                .into_iter()
                .collect(),
            history: history(&described.file, channel),
            ..About::default()
        };
        let step = format!("{}: writing", described.id);
        let size = channel.rows.size();
        let tick = |row: usize| {
            control
                .progress
                .report(&step, row as u64, size.height as u64)
        };
        sealed.push(write(path, &*channel.rows, &about, &tick).map_err(told)?);
        written.files.push(path.clone());
        if let Some(model) = channel.model.as_ref().filter(|_| models) {
            let path = out.join(format!("{}.sky.fits", described.id));
            about.history = vec![format!("Sky model of {}: {}", described.file, model.kind)];
            let origin = preparation.part.origin;
            let rows = ModelRows {
                model,
                size,
                origin,
            };
            sealed.push(write(&path, &rows, &about, &tick).map_err(told)?);
            written.files.push(path);
        }
    }
    control.check()?;
    for file in sealed {
        file.publish()?;
    }
    Ok(written)
}

fn software() -> String {
    format!("Linehue {}", env!("CARGO_PKG_VERSION"))
}

fn told(error: ChannelError) -> Error {
    match error {
        ChannelError::Rows(error) => error.into(),
        ChannelError::Write(error) => error.into(),
    }
}

fn history(file: &str, channel: &super::prepare::Prepared) -> Vec<String> {
    let mut lines = vec![format!("From {file}")];
    if let Some(align) = &channel.align {
        let stars = align
            .stars
            .zip(align.rms_px)
            .map_or_else(String::new, |(stars, rms)| {
                format!(", {stars} stars, rms {rms:.3} px")
            });
        lines.push(format!(
            "Aligned by {} ({}{stars})",
            align.method, align.model
        ));
        for row in align.matrix {
            lines.push(format!(
                "  source to reference: {:.9} {:.9} {:.6}",
                row[0], row[1], row[2]
            ));
        }
    }
    if let Some(level) = &channel.level {
        lines.push(format!(
            "Sky evened: {}, amplitude {:.6}, {} samples, {} refused",
            level.kind, level.amplitude, level.samples, level.refused
        ));
    }
    if let Some(continuum) = &channel.continuum {
        let fitted = match (continuum.stars, continuum.uncertainty) {
            (Some(stars), Some(error)) => format!(" +- {error:.6}, fitted on {stars} stars"),
            _ => String::new(),
        };
        lines.push(format!(
            "Continuum taken out: {:.6} times {} above its sky{fitted}",
            continuum.scale, continuum.from
        ));
    }
    lines
}

// A sky model as a picture.
struct ModelRows<'a> {
    model: &'a SkyModel,
    size: Size,
    // Where its first pixel lies on the reference's grid.
    origin: [usize; 2],
}

impl Rows for ModelRows<'_> {
    fn size(&self) -> Size {
        self.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let [left, top] = self.origin;
        for (y, row) in (top + first_row..).zip(out.chunks_exact_mut(self.size.width)) {
            for (x, value) in (left..).zip(row) {
                *value = self.model.at(x as f64, y as f64) as f32;
            }
        }
        Ok(())
    }
}
