//! Renditions of the same channels beside each other, or as parts of one
//! picture.

mod layout;

mod split;

use std::path::PathBuf;
use std::str::FromStr;

use super::compose::pick_rendition;
use super::key::Subject;
use super::key::facts::facts;
use super::key::looks::Looks;
use super::key::scene::{self, Plan, Setting};
use super::sheet::{channels, file};
use super::{Control, Error};
use crate::engine::recipe::Rendition;
use layout::{Layout, Part};

/// How one picture is divided among renditions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Split {
    /// Upright lines, equally far apart.
    Vertical,
    /// A line from the lower left to the upper right corner; two renditions.
    Diagonal,
}

impl FromStr for Split {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "vertical" => Ok(Self::Vertical),
            "diagonal" => Ok(Self::Diagonal),
            _ => Err("vertical or diagonal".to_owned()),
        }
    }
}

/// What is to be made.
#[derive(Debug, Clone)]
pub struct Request {
    /// The recipe, and its files, which no output may replace.
    pub subject: Subject,
    /// Ids of renditions, two or more.
    pub renditions: Vec<String>,
    /// Where it goes; the ending tells the kind of file.
    pub out: PathBuf,
    /// How one picture is divided; None: one picture for each.
    pub split: Option<Split>,
    /// Whether a colour key stands under each.
    pub key: bool,
    /// Pixels from side to side.
    pub width: usize,
    /// Whether it is for paper.
    pub light: bool,
}

/// The most renditions that are compared at a time.
pub const MOST: usize = 12;

/// What was made.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// Width and height in pixels.
    pub size: [usize; 2],
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Makes the comparison.
///
/// # Errors
/// [`Error`]; nothing is left half-written.
pub fn run(request: &Request, control: Control<'_>) -> Result<Done, Error> {
    let kind = file::kind(&request.subject, &request.out)?;
    let Subject { recipe, folder, .. } = &request.subject;
    let renditions = request
        .renditions
        .iter()
        .map(|id| pick_rendition(recipe, Some(id)))
        .collect::<Result<Vec<&Rendition>, Error>>()?;
    check(request)?;
    let needed = channels::needed(renditions.iter().map(|rendition| (recipe, *rendition)))?;
    let prepared = channels::prepared(recipe, folder, needed, control)?;
    let looks = Looks::of(request.light);
    let layout = Layout::new(request, prepared.size(), looks)?;
    let small = prepared.read(
        renditions.iter().map(|rendition| (recipe, *rendition)),
        layout.long_edge(),
        control,
    )?;
    let mut parts = Vec::new();
    for rendition in renditions {
        control.check()?;
        let key = match request.key {
            true => Some(scene::laid(
                recipe,
                rendition,
                Plan {
                    width: layout.key_units(),
                    looks,
                    setting: Setting::Among,
                },
            )?),
            false => None,
        };
        parts.push(Part {
            picture: small.picture(recipe, rendition)?,
            facts: facts(recipe, rendition)?,
            key,
        });
    }
    let scene = layout.scene(recipe, small.size, parts);
    control.check()?;
    let size = file::write(&scene, &request.out, kind, &recipe.about)?;
    Ok(Done {
        size,
        notices: prepared.notices().to_vec(),
    })
}

fn check(request: &Request) -> Result<(), Error> {
    let ids = &request.renditions;
    if !(2..=MOST).contains(&ids.len()) {
        return Err(Error::request(
            format!("{} renditions cannot be compared", ids.len()),
            format!("name from 2 to {MOST}"),
        ));
    }
    if let Some(twice) = (1..ids.len()).find(|index| ids[..*index].contains(&ids[*index])) {
        return Err(Error::request(
            format!("`{}` is named twice", ids[twice]),
            "name each rendition once",
        ));
    }
    if request.split == Some(Split::Diagonal) && ids.len() > 2 {
        return Err(Error::request(
            format!("a diagonal divides a picture in two, not in {}", ids.len()),
            "name two renditions, or take `--split vertical`",
        ));
    }
    Ok(())
}
