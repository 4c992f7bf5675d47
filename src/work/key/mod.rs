//! The colour key of a composite or of a recipe: by itself, or on a copy of the
//! composite.

pub mod facts;

pub mod looks;

mod onto;

pub mod scene;

pub use onto::{Onto, Place};

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use super::compose::pick_rendition;
use super::inputs::{folder_of, spare};
use super::{Control, Error, recipe_file};
use crate::engine::recipe::Recipe;
use crate::io::draw::file::{self, How, Kind};
use crate::io::record;
use looks::Looks;
use scene::{Plan, Setting};

/// What a key speaks of.
#[derive(Debug, Clone, PartialEq)]
pub struct Subject {
    /// The recipe.
    pub recipe: Recipe,
    /// Which rendition unless another is asked for; None: the first.
    pub rendition: Option<String>,
    /// Files that an output must not replace.
    pub inputs: Vec<PathBuf>,
}

/// Reads a recipe, or a record with its recipe.
///
/// # Errors
/// When the file cannot be read or holds neither.
pub fn read(path: &Path) -> Result<Subject, Error> {
    let folder = folder_of(path);
    let mut inputs = vec![path.to_owned()];
    let (recipe, rendition) = if is_record(path) {
        let record = record::read(path)?;
        inputs.push(folder.join(&record.composite.file));
        inputs.extend(record.inputs.iter().map(|input| folder.join(&input.file)));
        (record.recipe, Some(record.rendition))
    } else {
        let recipe = recipe_file::read(path)?;
        inputs.extend(recipe.channels.iter().map(|c| folder.join(&c.file)));
        (recipe, None)
    };
    Ok(Subject {
        recipe,
        rendition,
        inputs,
    })
}

// A record is JSON and begins with a brace, which no recipe does.
fn is_record(path: &Path) -> bool {
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
#[derive(Debug, Clone)]
pub struct Request {
    /// A recipe or a record.
    pub subject: PathBuf,
    /// Id of the rendition; None: the record's, or the recipe's first.
    pub rendition: Option<String>,
    /// Where the key goes; its ending tells the kind of file.
    pub out: PathBuf,
    /// Pixels from side to side.
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

/// Makes the key. Gives in words what was made.
///
/// # Errors
/// [`Error`]; nothing is left half-written, and no input is ever replaced.
pub fn run(request: &Request, control: Control<'_>) -> Result<String, Error> {
    let subject = read(&request.subject)?;
    let mut inputs = subject.inputs;
    inputs.extend(request.onto.iter().map(|onto| onto.picture.clone()));
    spare(&inputs, &[&request.out])?;
    let wanted = request
        .rendition
        .as_deref()
        .or(subject.rendition.as_deref());
    let rendition = pick_rendition(&subject.recipe, wanted)?;
    let looks = Looks::of(request.light);
    control.check()?;
    if let Some(onto) = &request.onto {
        return onto::run(onto, &request.out, looks, control, |plan| {
            Ok(scene::scene(&subject.recipe, rendition, plan)?)
        });
    }
    let kind = file::kind_of(&request.out, &[Kind::Svg, Kind::Png, Kind::Pdf])?;
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
    file::write(&scene, &request.out, how)?;
    let [width, height] = scene.size.map(|side| (side * scale).round());
    Ok(format!("{width} x {height}, rendition {}", rendition.id))
}
