//! A contact sheet: every palette that fits, on the recipe's own channels.

pub mod channels;

pub mod file;

mod layout;

pub mod page;

use std::ops::RangeInclusive;
use std::path::PathBuf;

use rayon::prelude::*;

use super::key::Subject;
use super::key::facts::facts;
use super::key::looks::Looks;
use super::{Control, Error, mixing, user_palettes};
use crate::engine::palettes::{Palette, built_in, find};
use crate::engine::recipe::Recipe;
pub use file::WIDTHS;
use layout::{Sheet, Tile};

/// What is to be made.
#[derive(Debug, Clone)]
pub struct Request {
    /// The recipe, and its files, which no output may replace.
    pub subject: Subject,
    /// Where the sheet goes; its ending tells the kind of file.
    pub out: PathBuf,
    /// Names of palettes; empty: all that are known.
    pub palettes: Vec<String>,
    /// Pictures in a row; None: so that the sheet is a little wider than high.
    pub columns: Option<usize>,
    /// Pixels from side to side.
    pub width: usize,
    /// Whether it is for paper.
    pub light: bool,
}

/// How many pictures a row may have.
pub const COLUMNS: RangeInclusive<usize> = 1..=24;

/// What was made.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// Width and height in pixels.
    pub size: [usize; 2],
    /// Palettes shown.
    pub shown: Vec<String>,
    /// Palettes that do not fit, each with the reason.
    pub left_out: Vec<(String, String)>,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Makes the sheet.
///
/// # Errors
/// [`Error`]; nothing is left half-written.
pub fn run(request: &Request, control: Control<'_>) -> Result<Done, Error> {
    let kind = file::kind(&request.subject, &request.out)?;
    let Subject { recipe, folder, .. } = &request.subject;
    let own = user_palettes::own();
    let mut left_out = Vec::new();
    let mut fitting: Vec<(&Palette, Recipe)> = Vec::new();
    for palette in wanted(&request.palettes, &own.palettes)? {
        match mixing::sampled(recipe, palette, "sheet") {
            Ok(sampled) => fitting.push((palette, sampled)),
            Err(error) => left_out.push((palette.name.clone(), error.to_string())),
        }
    }
    if fitting.is_empty() {
        let (name, reason) = left_out.first().cloned().unwrap_or_default();
        return Err(Error::request(
            format!("no palette fits these channels ({name}: {reason})"),
            "see `linehue palettes` for what each needs, or leave `--palette` out",
        ));
    }
    let needed = channels::needed(fitting.iter().filter_map(|(_, recipe)| first(recipe)))?;
    let prepared = channels::prepared(recipe, folder, needed, control)?;
    let sheet = Sheet::new(
        request.width,
        request.columns,
        fitting.len(),
        prepared.size(),
        Looks::of(request.light),
    )?;
    let small = prepared.read(
        fitting.iter().filter_map(|(_, recipe)| first(recipe)),
        sheet.long_edge(),
        control,
    )?;
    let tiles = fitting
        .par_iter()
        .map(|(palette, recipe)| {
            control.check()?;
            let (recipe, rendition) =
                first(recipe).ok_or_else(|| Error::request("no rendition", "please report it"))?;
            Ok(Tile {
                name: palette.name.clone(),
                picture: small.picture(recipe, rendition)?,
                lines: facts(recipe, rendition)?.lines,
            })
        })
        .collect::<Result<Vec<Tile>, Error>>()?;
    let shown: Vec<String> = tiles.iter().map(|tile| tile.name.clone()).collect();
    let scene = sheet.scene(recipe, small.size, tiles, &left_out);
    control.check()?;
    let size = file::write(&scene, &request.out, kind, &recipe.about)?;
    let mut notices = own.refused;
    notices.extend_from_slice(prepared.notices());
    Ok(Done {
        size,
        shown,
        left_out,
        notices,
    })
}

fn first(recipe: &Recipe) -> Option<(&Recipe, &crate::engine::recipe::Rendition)> {
    recipe.renditions.first().map(|first| (recipe, first))
}

/// All palettes: one's own, then those of the program whose names they do not
/// take.
pub fn known(own: &[Palette]) -> Vec<&Palette> {
    let is_own = |name: &str| own.iter().any(|p| p.name.to_lowercase() == name);
    let ours = built_in()
        .iter()
        .filter(|palette| !is_own(&palette.name.to_lowercase()));
    own.iter().chain(ours).collect()
}

// The palettes asked for, or all.
fn wanted<'a>(names: &[String], own: &'a [Palette]) -> Result<Vec<&'a Palette>, Error> {
    if names.is_empty() {
        return Ok(known(own));
    }
    let mut all: Vec<&Palette> = Vec::new();
    for name in names {
        let found = find(name, own)?;
        if !all.iter().any(|palette| palette.name == found.name) {
            all.push(found);
        }
    }
    Ok(all)
}
