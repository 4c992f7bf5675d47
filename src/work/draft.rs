//! From stacks to a recipe to start from.

mod named;

mod renditions;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;

use super::arrange;
use super::inputs::{Input, folder_of, relative, spare};
use super::prepare::prepare;
use super::{Control, Error};
use crate::engine::exposure::exposure;
use crate::engine::lines::recognise;
use crate::engine::measure::{Survey, SurveyError, survey};
use crate::engine::palettes::Palette;
use crate::engine::recipe::text::write;
use crate::engine::recipe::{About, Channel, Recipe, Shape, Stretch, VERSION, check};
use crate::engine::stretch::auto;
use crate::io::read::{self, Opened, Pick};
use crate::io::write::atomic::{try_place, write_whole};
use named::{all_meant, line_of, name_of, named};
pub(super) use renditions::{first_of_each_line, is_broad, left_out, renditions};

/// What is to be drafted.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// The stacks, in order.
    pub files: Vec<PathBuf>,
    /// The recipe.
    pub out: PathBuf,
    /// Name of a palette; None: one that fits.
    pub palette: Option<String>,
    /// Lines that the user names: file (path or name) and id.
    pub lines: Vec<(String, String)>,
    /// Planes that the user names.
    pub planes: Vec<(String, usize)>,
    /// Header-data units that the user names.
    pub hdus: Vec<(String, usize)>,
}

/// What was drafted.
#[derive(Debug, Clone)]
pub struct Drafted {
    /// The recipe, as it was written.
    pub recipe: Recipe,
    /// For each channel, why its line was taken.
    pub why: Vec<String>,
    /// What a person should look at.
    pub notices: Vec<String>,
}

/// Recognises the lines, stretches each stack, and writes a recipe.
///
/// # Errors
/// When a file cannot be read or stretched, when a line is not clear (the
/// message names the key that settles it), or when the palette does not fit.
pub fn run(request: &Request, own: &[Palette], control: Control<'_>) -> Result<Drafted, Error> {
    if request.files.is_empty() {
        return Err(Error::request(
            "no stack was named",
            "name one file for each filter",
        ));
    }
    if let Some(file) = request.files.iter().find(|file| file.to_str().is_none()) {
        return Err(Error::request(
            format!("{}: the name is not UTF-8, as a recipe is", file.display()),
            "rename the file",
        ));
    }
    spare(&request.files, &[&request.out])?;
    for (index, file) in request.files.iter().enumerate() {
        let real = file.canonicalize().ok();
        if real.is_some()
            && request.files[..index]
                .iter()
                .any(|f| f.canonicalize().ok() == real)
        {
            return Err(Error::request(
                format!("{} is named twice", file.display()),
                "name each stack once",
            ));
        }
    }
    all_meant(request)?;
    // A place that cannot be written to is told before the stacks are read.
    try_place(&request.out)?;
    let mut channels: Vec<Channel> = Vec::new();
    let mut inputs = Vec::new();
    let (mut why, mut notices) = (Vec::new(), Vec::new());
    for file in &request.files {
        control.check()?;
        let pick = Pick {
            hdu: named(&request.hdus, file).copied(),
            plane: named(&request.planes, file).copied(),
        };
        let Opened { facts, rows } = read::open(file, pick)?;
        let recognition = recognise(&facts.header, &name_of(file));
        let (line, center_nm, width_nm, reason) = line_of(request, file, &recognition)?;
        let exposed = exposure(&facts.header);
        if let Some(doubt) = &exposed.doubt {
            notices.push(format!("{}: {doubt}", file.display()));
        }
        why.push(format!("{}: {reason}", name_of(file)));
        channels.push(Channel {
            id: free_id(&line, &channels),
            file: relative(folder_of(&request.out), file),
            line,
            center_nm,
            width_nm,
            exposure_s: exposed.seconds,
            plane: pick.plane,
            hdu: pick.hdu,
            align: None,
            level: None,
            continuum: None,
            denoise: None,
            stretch: UNSTRETCHED,
        });
        inputs.push(Input {
            channel: inputs.len(),
            path: file.clone(),
            facts,
            rows: Arc::from(rows),
        });
    }
    let shown = first_of_each_line(&channels);
    let renditions = renditions(request.palette.as_deref(), own, &shown, &mut notices)?;
    notices.extend(left_out(&channels, &shown, &renditions));
    let object = inputs
        .iter()
        .find_map(|input| input.facts.header.text("OBJECT"));
    let mut recipe = Recipe {
        recipe: VERSION,
        reference: channels.first().map(|channel| channel.id.clone()),
        crop: None,
        about: About {
            object: object.unwrap_or_default(),
            ..About::default()
        },
        renditions,
        channels,
        ratios: Vec::new(),
    };
    arrange::arrange(&mut recipe, &inputs, &mut notices, control)?;
    stretch(&mut recipe, &inputs, &mut notices, control)?;
    check::whole(&recipe).map_err(|problem| {
        Error::request(format!("{}: {}", problem.place, problem.what), problem.hint)
    })?;
    let text = with_comments(&recipe, &why)?;
    control.check()?;
    if let Some(old) = keep_old(&request.out, &text)? {
        notices.push(format!(
            "the recipe that was there is kept as {}",
            old.display()
        ));
    }
    write_whole(&request.out, text.as_bytes())?;
    Ok(Drafted {
        recipe,
        why,
        notices,
    })
}

// A recipe may hold an evening's work: a draft in its place keeps it.
fn keep_old(out: &Path, text: &str) -> Result<Option<PathBuf>, Error> {
    let Ok(old) = std::fs::read(out) else {
        return Ok(None);
    };
    if old == text.as_bytes() {
        return Ok(None);
    }
    let mut name = out.file_name().unwrap_or_default().to_owned();
    name.push(".old");
    let kept = out.with_file_name(name);
    write_whole(&kept, &old)?;
    Ok(Some(kept))
}

/// Stands in until a channel is measured.
pub(super) const UNSTRETCHED: Stretch = Stretch {
    black: 0.0,
    white: 1.0,
    shape: Shape::Linear,
    amount: None,
    curve: None,
};

// Each channel's level and stretch, from what it is once it is on the grid.
fn stretch(
    recipe: &mut Recipe,
    inputs: &[Input],
    notices: &mut Vec<String>,
    control: Control<'_>,
) -> Result<(), Error> {
    let all: Vec<usize> = (0..recipe.channels.len()).collect();
    // Whose sky has to be evened shows on the whole grid.
    let whole = Recipe {
        crop: None,
        ..recipe.clone()
    };
    let preparation = prepare(&whole, inputs, &all, control)?;
    for (channel, prepared) in recipe.channels.iter_mut().zip(preparation.channels) {
        if let Some((level, model)) = arrange::sky(&*prepared.rows, &channel.id, control)? {
            let ends = model.amplitude_over_noise.unwrap_or_default();
            notices.push(format!(
                "{}: its glow, {ends:.0} times the noise from end to end, is taken out by a {}",
                channel.id, model.kind
            ));
            channel.level = Some(level);
        }
    }
    let preparation = prepare(recipe, inputs, &all, control)?;
    notices.extend(preparation.notices);
    let surveys: Vec<Survey> = preparation
        .channels
        .par_iter()
        .zip(inputs)
        .map(|(channel, input)| {
            let mut tick = control.tick("measuring");
            survey(&*channel.rows, input.facts.ceiling, &mut tick)
        })
        .collect::<Result<_, SurveyError>>()?;
    for ((channel, input), survey) in recipe.channels.iter_mut().zip(inputs).zip(surveys) {
        channel.stretch = auto::auto(&survey).map_err(|error| {
            Error::request(format!("{}: {error}", input.path.display()), error.hint())
        })?;
    }
    Ok(())
}

/// `ha`, or `ha-2` for the second stack of a line.
pub(super) fn free_id(line: &str, channels: &[Channel]) -> String {
    let base = line.to_ascii_lowercase();
    let mut id = base.clone();
    let mut number = 2;
    while channels.iter().any(|channel| channel.id == id) {
        id = format!("{base}-{number}");
        number += 1;
    }
    id
}

// The recipe's text with a word on each channel.
fn with_comments(recipe: &Recipe, why: &[String]) -> Result<String, Error> {
    let text = write(recipe).map_err(|error| {
        Error::request(
            format!("the recipe cannot be written: {error}"),
            "please report it",
        )
    })?;
    let mut out = "# A draft to start from: change what you like.\n".to_owned();
    let mut reasons = why.iter();
    for line in text.lines() {
        if line == "[[channel]]"
            && let Some(reason) = reasons.next()
        {
            out.push_str(&format!(
                "# {}\n",
                reason.replace(|c: char| c.is_control(), " ")
            ));
        }
        out.push_str(line);
        out.push('\n');
    }
    Ok(out)
}
