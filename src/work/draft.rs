//! From stacks to a recipe to start from.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;

use super::arrange;
use super::inputs::{Input, folder_of, relative, spare};
use super::prepare::prepare;
use super::{Control, Error};
use crate::engine::exposure::exposure;
use crate::engine::lines::{self, Recognition, recognise};
use crate::engine::measure::{Survey, SurveyError, survey};
use crate::engine::mix::assign::natural_color;
use crate::engine::palettes::{self, Palette};
use crate::engine::recipe::text::{nearest_hint, write};
use crate::engine::recipe::{
    About, Blend, Channel, ColorValue, Gamut, Recipe, Rendition, Shape, Stretch, VERSION, check,
};
use crate::engine::stretch::auto;
use crate::io::read::{self, Opened, Pick};
use crate::io::write::atomic::{try_place, write_whole};

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

/// Palettes that are tried in this order when none is named.
const FIRST_CHOICES: [&str; 4] = ["lampwick", "HOO", "SOO", "natural"];

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

/// The channels that a rendition may show: of two stacks of one line, the first.
pub(super) fn first_of_each_line(channels: &[Channel]) -> Vec<Channel> {
    channels
        .iter()
        .enumerate()
        .filter(|(index, channel)| !channels[..*index].iter().any(|c| c.line == channel.line))
        .map(|(_, channel)| channel.clone())
        .collect()
}

/// A sentence for each channel that no rendition shows.
pub(super) fn left_out(
    channels: &[Channel],
    shown: &[Channel],
    renditions: &[Rendition],
) -> Vec<String> {
    channels
        .iter()
        .filter(|channel| {
            !renditions
                .iter()
                .any(|r| r.colors.contains_key(&channel.id))
        })
        .map(|channel| {
            let twin = shown
                .iter()
                .find(|other| other.line == channel.line && other.id != channel.id);
            match twin {
                Some(twin) => format!(
                    "{} holds the same line as {} and is left out: combine the two stacks, or give \
                     each its share of the color",
                    channel.id, twin.id
                ),
                None => format!(
                    "{} takes part in no rendition: give it a color there, or a weight in \
                     `luminance`",
                    channel.id
                ),
            }
        })
        .collect()
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

fn name_of(file: &Path) -> String {
    file.file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}

// What the user said of a file, by its path or by its name.
fn named<'a, T>(said: &'a [(String, T)], file: &Path) -> Option<&'a T> {
    said.iter()
        .find(|(name, _)| means(name, file))
        .map(|(_, value)| value)
}

fn means(name: &str, file: &Path) -> bool {
    Path::new(name) == file || *name == name_of(file)
}

// A name that is none of the files is a slip of the keyboard.
fn all_meant(request: &Request) -> Result<(), Error> {
    let lines = request.lines.iter().map(|(name, _)| ("--line", name));
    let planes = request.planes.iter().map(|(name, _)| ("--plane", name));
    let hdus = request.hdus.iter().map(|(name, _)| ("--hdu", name));
    for (option, name) in lines.chain(planes).chain(hdus) {
        if !request.files.iter().any(|file| means(name, file)) {
            let names: Vec<String> = request.files.iter().map(|file| name_of(file)).collect();
            return Err(Error::request(
                format!("{option} names `{name}`, which is not among the files"),
                nearest_hint(name, names.iter().map(String::as_str)),
            ));
        }
    }
    Ok(())
}

type Found = (String, Option<f64>, Option<f64>, String);

fn line_of(request: &Request, file: &Path, recognition: &Recognition) -> Result<Found, Error> {
    let known = || lines::lines().iter().map(|line| line.id.as_str());
    if let Some(id) = named(&request.lines, file) {
        let Some(line) = lines::line(id) else {
            let what = format!(
                "`{id}`, named for {}, is not in the line table",
                file.display()
            );
            return Err(Error::request(what, nearest_hint(id, known())));
        };
        let width = match recognition {
            Recognition::Known {
                line: seen,
                width_nm,
                ..
            } if *seen == line.id => *width_nm,
            _ => None,
        };
        return Ok((
            line.id.clone(),
            None,
            width,
            "named on the command line".to_owned(),
        ));
    }
    let ask = |what: String, ids: &str| {
        Err(Error::request(
            format!("{}: {what}", file.display()),
            format!(
                "set its `line`: add --line '{}={ids}' (ids: {})",
                name_of(file),
                known().collect::<Vec<_>>().join(" ")
            ),
        ))
    };
    match recognition {
        Recognition::Known {
            line,
            center_nm,
            width_nm,
            why,
        } => Ok((line.clone(), *center_nm, *width_nm, why.clone())),
        Recognition::Ambiguous { candidates, why } => {
            let choice = candidates.first().map_or("ID", String::as_str);
            ask(
                format!("its line is {}: {why}", candidates.join(" or ")),
                choice,
            )
        }
        Recognition::Unknown { why } => ask(format!("its line is not known: {why}"), "Ha"),
    }
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

/// Whether it is L, R, G or B.
pub(super) fn is_broad(channel: &Channel) -> bool {
    lines::line(&channel.line).is_some_and(lines::Line::is_broad)
}

/// Renditions to start with: a palette that fits, and true or natural colour.
///
/// # Errors
/// When the palette does not fit, or none does.
pub(super) fn renditions(
    wanted: Option<&str>,
    own: &[Palette],
    channels: &[Channel],
    notices: &mut Vec<String>,
) -> Result<Vec<Rendition>, Error> {
    let mut all = Vec::new();
    let there: Vec<(&str, &str)> = channels
        .iter()
        .map(|channel| (channel.id.as_str(), channel.line.as_str()))
        .collect();
    match wanted {
        Some(name) => {
            let palette = palettes::find(name, own)?;
            all.push(mapped(palette, palettes::apply(palette, &there)?));
        }
        None => {
            let emission: Vec<(&str, &str)> = channels
                .iter()
                .filter(|channel| !is_broad(channel))
                .map(|channel| (channel.id.as_str(), channel.line.as_str()))
                .collect();
            if emission.len() > 1 {
                all.extend(first_choice(&emission));
            }
        }
    }
    let (natural, left_out) = natural(channels);
    for id in left_out {
        notices.push(format!(
            "{id} is left out of the natural rendition: its light is invisible"
        ));
    }
    if let Some(natural) = natural
        && all
            .iter()
            .all(|rendition: &Rendition| rendition.colors != natural.colors)
    {
        all.push(natural);
    }
    if all.is_empty() {
        return Err(Error::request(
            "no palette fits these lines",
            "name one with --palette; `linehue palettes` lists them",
        ));
    }
    Ok(all)
}

// The first palette that gives every line a colour, or else the most of them.
fn first_choice(emission: &[(&str, &str)]) -> Option<Rendition> {
    let fitting: Vec<(&Palette, BTreeMap<String, ColorValue>)> = FIRST_CHOICES
        .iter()
        .filter_map(|name| {
            let palette = palettes::find(name, &[]).ok()?;
            Some((palette, palettes::apply(palette, emission).ok()?))
        })
        .collect();
    let most = fitting.iter().map(|(_, colors)| colors.len()).max()?;
    let (palette, colors) = fitting
        .into_iter()
        .find(|(_, colors)| colors.len() == most)?;
    Some(mapped(palette, colors))
}

fn mapped(palette: &Palette, colors: BTreeMap<String, ColorValue>) -> Rendition {
    let natural = colors.values().all(|color| *color == ColorValue::Natural);
    Rendition {
        id: if natural { "natural" } else { "mapped" }.to_owned(),
        blend: palette.blend,
        gamut: palette.gamut,
        saturation: None,
        luminance: None,
        balance: None,
        stars: None,
        smooth_color: None,
        eye: false,
        colors,
    }
}

// True colour from R, G and B where all three are there, else the lines in
// their own light; with the ids of lines that no eye sees.
fn natural(channels: &[Channel]) -> (Option<Rendition>, Vec<String>) {
    let has = |line: &str| channels.iter().any(|channel| channel.line == line);
    let broad = ["R", "G", "B"].into_iter().all(has);
    let takes_part = |channel: &&Channel| {
        if broad {
            is_broad(channel) && channel.line != "L"
        } else {
            !is_broad(channel)
        }
    };
    let (visible, hidden): (Vec<&Channel>, Vec<&Channel>) = channels
        .iter()
        .filter(takes_part)
        .partition(|channel| natural_color(&channel.line, channel.center_nm).is_some());
    let colors: BTreeMap<String, ColorValue> = visible
        .iter()
        .map(|channel| (channel.id.clone(), ColorValue::Natural))
        .collect();
    let rendition = (!colors.is_empty()).then(|| Rendition {
        id: "natural".to_owned(),
        blend: Blend::Light,
        gamut: Some(Gamut::HoldHue),
        saturation: None,
        luminance: None,
        balance: None,
        stars: None,
        smooth_color: None,
        eye: false,
        colors,
    });
    (
        rendition,
        hidden
            .into_iter()
            .map(|channel| channel.id.clone())
            .collect(),
    )
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
