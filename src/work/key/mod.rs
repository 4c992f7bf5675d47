//! The colour key of a composite or of a recipe: by itself, or on a copy of the
//! composite.

pub mod facts;

pub mod looks;

mod onto;

pub mod scene;

pub use onto::{Beneath, Onto, Place};

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use super::compose::pick_rendition;
use super::inputs::{folder_of, sha256, spare, spare_composite, spare_map};
use super::{Control, Error, recipe_file};
use crate::engine::recipe::{Recipe, Rendition};
use crate::io::draw::file::{self, How, Kind};
use crate::io::draw::pixels;
use crate::io::draw::{Picture, Scene};
use crate::io::record;
use looks::Looks;
use scene::{Plan, Setting};

/// What a key speaks of.
#[derive(Debug, Clone, PartialEq)]
pub struct Subject {
    /// The recipe.
    pub recipe: Recipe,
    /// What its files are relative to.
    pub folder: PathBuf,
    /// Which rendition unless another is asked for; None: the first.
    pub rendition: Option<String>,
    /// Files that an output must not replace.
    pub inputs: Vec<PathBuf>,
    /// The composite that a record tells of, and its SHA-256.
    pub composite: Option<(PathBuf, String)>,
}

impl Subject {
    /// A recipe that is in memory; `file` is its own, if it has one.
    pub fn of(recipe: Recipe, folder: PathBuf, file: Option<PathBuf>) -> Self {
        let stacks = recipe.channels.iter().map(|c| folder.join(&c.file));
        let inputs = stacks.chain(file).collect();
        Self {
            recipe,
            folder,
            rendition: None,
            inputs,
            composite: None,
        }
    }
}

/// Reads a recipe, or a record with its recipe.
///
/// # Errors
/// When the file cannot be read or holds neither.
pub fn read(path: &Path) -> Result<Subject, Error> {
    let folder = folder_of(path).to_owned();
    if !is_record(path) {
        let recipe = recipe_file::read(path)?;
        return Ok(Subject::of(recipe, folder, Some(path.to_owned())));
    }
    let record = record::read(path)?;
    let composite = folder.join(&record.composite.file);
    let mut inputs = vec![path.to_owned(), composite.clone()];
    inputs.extend(record.inputs.iter().map(|input| folder.join(&input.file)));
    Ok(Subject {
        recipe: record.recipe,
        folder,
        rendition: Some(record.rendition),
        inputs,
        composite: Some((composite, record.composite.sha256)),
    })
}

/// Whether a file is a record: JSON, which begins with a brace, as no recipe does.
pub fn is_record(path: &Path) -> bool {
    let mut begins = Vec::new();
    File::open(path)
        .and_then(|file| file.take(4096).read_to_end(&mut begins))
        .is_ok_and(|_| {
            let begins = begins
                .strip_prefix("\u{feff}".as_bytes())
                .unwrap_or(&begins);
            begins.trim_ascii_start().starts_with(b"{")
        })
}

/// What is to be made.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// What the key speaks of.
    pub subject: Subject,
    /// Id of the rendition; None: the record's, or the recipe's first.
    pub rendition: Option<String>,
    /// Where the key goes; its ending tells the kind of file.
    pub out: PathBuf,
    /// Pixels from side to side, where it is made by itself.
    pub width: usize,
    /// Whether it is for paper.
    pub light: bool,
    /// A picture to lay it on.
    pub onto: Option<Onto>,
}

/// Widths that a key can have, pixels.
pub const WIDTHS: std::ops::RangeInclusive<usize> = 320..=16_000;

/// Units that a key by itself is wide.
const UNITS: f64 = 960.0;

const ALONE: [Kind; 3] = [Kind::Svg, Kind::Png, Kind::Pdf];

/// What was made.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// In words: size, rendition or space.
    pub words: String,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Makes the key.
///
/// # Errors
/// [`Error`]; nothing is left half-written, and no input is ever replaced.
pub fn run(request: &Request, control: Control<'_>) -> Result<Done, Error> {
    let subject = &request.subject;
    let mut inputs = subject.inputs.clone();
    if let Some(Onto {
        beneath: Beneath::Picture(picture),
        ..
    }) = &request.onto
    {
        inputs.push(picture.clone());
    }
    spare(&inputs, &[&request.out])?;
    spare_composite(&request.out)?;
    spare_map(&request.out)?;
    let wanted = request
        .rendition
        .as_deref()
        .or(subject.rendition.as_deref());
    let rendition = pick_rendition(&subject.recipe, wanted)?;
    let looks = Looks::of(request.light);
    control.check()?;
    if let Some(onto) = &request.onto {
        let lay = |plan| Ok(scene::scene(&subject.recipe, rendition, plan)?);
        let (words, mut notices) = onto::run(
            (subject, rendition),
            onto,
            &request.out,
            looks,
            control,
            lay,
        )?;
        notices.extend(changed(subject, onto, control)?);
        return Ok(Done { words, notices });
    }
    let kind = file::kind_of(&request.out, &ALONE)?;
    let plan = Plan {
        width: UNITS,
        looks,
        setting: Setting::Alone,
    };
    let scene = scene::scene(&subject.recipe, rendition, plan)?;
    let scale = request.width as f64 / scene.size[0];
    let how = How {
        kind,
        scale,
        points: scale * file::PRINT,
    };
    file::write(&scene, &request.out, how, &subject.recipe.about)?;
    let [width, height] = scene.size.map(|side| (side * scale).round());
    Ok(Done {
        words: format!("{width} x {height}, rendition {}", rendition.id),
        notices: Vec::new(),
    })
}

/// The key as it will be, as a small picture for the screen, this many pixels
/// wide; None where a colour cannot be worked out.
pub fn preview(
    recipe: &Recipe,
    rendition: &Rendition,
    width: usize,
    light: bool,
    setting: Setting,
) -> Option<Picture> {
    let looks = Looks::of(light);
    let plan = Plan {
        width: match setting {
            Setting::OnPicture => onto::CORNER_UNITS,
            Setting::Alone | Setting::Among => UNITS,
        },
        looks,
        setting,
    };
    let scene = scene::scene(recipe, rendition, plan).ok()?;
    let ground = Some(looks.ground);
    let scene = Scene { ground, ..scene };
    pixels::picture(&scene, width as f64 / scene.size[0])
}

// A composite that is no longer the one of the record may have other colours.
fn changed(subject: &Subject, onto: &Onto, control: Control<'_>) -> Result<Option<String>, Error> {
    let (Some((composite, hash)), Beneath::Picture(picture)) = (&subject.composite, &onto.beneath)
    else {
        return Ok(None);
    };
    let same = composite.canonicalize().ok() == picture.canonicalize().ok();
    if !same || sha256(picture, control)? == *hash {
        return Ok(None);
    }
    Ok(Some(format!(
        "{} was changed after its record was written: the key may not tell its colours",
        picture.display()
    )))
}
