//! A key on a copy of a picture. The picture itself is only read.

use std::path::{Path, PathBuf};
use std::str::FromStr;

use super::Subject;
use super::looks::Looks;
use super::scene::{Plan, Setting};
use crate::engine::color::space::Space;
use crate::engine::frame::{Coded, Depth, Size};
use crate::engine::recipe::Rendition;
use crate::io::draw::base::{self, Base};
use crate::io::draw::{Scene, file, pixels};
use crate::io::write::{self, Format, Options, Target};
use crate::work::sheet::channels;
use crate::work::{Control, Error};

/// Where a key goes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Place {
    /// On the picture, in its lower left corner.
    #[default]
    LowerLeft,
    /// In its lower right corner.
    LowerRight,
    /// In its upper left corner.
    UpperLeft,
    /// In its upper right corner.
    UpperRight,
    /// Under the picture, which becomes higher.
    Below,
}

impl Place {
    /// All of them, with their names.
    pub const ALL: [(Self, &'static str); 5] = [
        (Self::LowerLeft, "lower-left"),
        (Self::LowerRight, "lower-right"),
        (Self::UpperLeft, "upper-left"),
        (Self::UpperRight, "upper-right"),
        (Self::Below, "below"),
    ];
}

impl FromStr for Place {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let found = Self::ALL.into_iter().find(|(_, name)| *name == text);
        found.map(|(place, _)| place).ok_or_else(|| {
            let names = Self::ALL.map(|(_, name)| name);
            format!("one of {}", names.join(", "))
        })
    }
}

/// What lies beneath a key.
#[derive(Debug, Clone, PartialEq)]
pub enum Beneath {
    /// A finished picture, which is only read.
    Picture(PathBuf),
    /// The rendition itself, composed in sRGB for this alone, its longer side
    /// at most so many pixels.
    Rendition {
        /// Pixels of the longer side.
        long_edge: usize,
    },
}

/// A picture to lay a key on.
#[derive(Debug, Clone, PartialEq)]
pub struct Onto {
    /// The picture.
    pub beneath: Beneath,
    /// Where the key goes.
    pub place: Place,
}

/// Units that a key in a corner is wide.
pub const CORNER_UNITS: f64 = 560.0;
/// The share of a picture's width that a key in its corner takes.
const SHARE: f64 = 0.4;
/// Pixels to the unit below which words cannot be read.
const LEAST_SCALE: f64 = 0.75;

/// Reads or composes the picture, draws the key on a copy, writes that. `key`
/// lays it out.
///
/// # Errors
/// [`Error`]; nothing is left half-written.
pub fn run(
    (subject, rendition): (&Subject, &Rendition),
    onto: &Onto,
    out: &Path,
    looks: Looks,
    control: Control<'_>,
    key: impl Fn(Plan) -> Result<Scene, Error>,
) -> Result<(String, Vec<String>), Error> {
    let format = write::format_of(out)?;
    if format == Format::Fits {
        return Err(Error::request(
            format!("{}: a FITS file has no place for a key", out.display()),
            "name a file that ends in .png, .tif or .jpg",
        ));
    }
    let (mut base, notices) = match &onto.beneath {
        Beneath::Picture(path) => {
            control.progress.report("reading the picture", 0, 1);
            (base::read(path)?, Vec::new())
        }
        Beneath::Rendition { long_edge } => composed(subject, rendition, *long_edge, control)?,
    };
    control.check()?;
    control.progress.report("drawing the key", 0, 1);
    let small = || {
        let what = match &onto.beneath {
            Beneath::Picture(path) => path.display().to_string(),
            Beneath::Rendition { .. } => "the picture".to_owned(),
        };
        Error::request(
            format!(
                "{what}: {} is too small for a key that can be read",
                base.size
            ),
            "make the key by itself",
        )
    };
    let width = base.size.width as f64;
    let (units, scale, setting) = match onto.place {
        Place::Below => {
            let units = (width / 1.25).clamp(560.0, 1300.0);
            (units, width / units, Setting::Alone)
        }
        _ => {
            let scale = (SHARE * width / CORNER_UNITS).max(LEAST_SCALE);
            (CORNER_UNITS, scale, Setting::OnPicture)
        }
    };
    let scene = key(Plan {
        width: units,
        looks,
        setting,
    })?;
    let layer = pixels::layer(&scene, scale).ok_or_else(small)?;
    let at = place(onto.place, base.size, layer.size).filter(|_| scale >= LEAST_SCALE);
    let at = at.ok_or_else(small)?;
    if onto.place == Place::Below {
        base = base.extended(layer.size[1], looks.ground);
    }
    base.lay(&layer, at);
    control.check()?;
    if format == Format::Jpeg {
        base = base.in_eight_bits();
    }
    let Base {
        size,
        samples,
        space,
    } = base;
    let target = Target {
        path: out.to_owned(),
        format,
        size,
        depth: match samples {
            Coded::U16(_) => Depth::Sixteen,
            _ => Depth::Eight,
        },
        space,
        options: Options::default(),
        tags: file::tags(&scene.title, &scene.about, &subject.recipe.about),
    };
    file::put(target, samples)?;
    Ok((format!("{size}, {}", space.title()), notices))
}

// Where a key's upper left corner lies on a picture; None where it has no room.
fn place(place: Place, picture: Size, [across, down]: [usize; 2]) -> Option<[usize; 2]> {
    if place == Place::Below {
        return Some([0, picture.height]);
    }
    let margin = (0.02 * picture.width as f64).round() as usize;
    let right = picture.width.checked_sub(across + margin)?;
    let bottom = picture.height.checked_sub(down + margin)?;
    if right < margin || bottom < margin {
        return None;
    }
    Some(match place {
        Place::UpperLeft => [margin, margin],
        Place::UpperRight => [right, margin],
        Place::LowerRight => [right, bottom],
        Place::LowerLeft | Place::Below => [margin, bottom],
    })
}

fn composed(
    subject: &Subject,
    rendition: &Rendition,
    long_edge: usize,
    control: Control<'_>,
) -> Result<(Base, Vec<String>), Error> {
    let recipe = &subject.recipe;
    let needed = channels::needed(std::iter::once((recipe, rendition)))?;
    let prepared = channels::prepared(recipe, &subject.folder, needed, control)?;
    let small = prepared.read(std::iter::once((recipe, rendition)), long_edge, control)?;
    let picture = small.picture(recipe, rendition)?;
    let base = Base {
        size: small.size,
        samples: Coded::U8(picture.rgb),
        space: Space::Srgb,
    };
    Ok((base, prepared.notices().to_vec()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corners_are_where_they_are_called() {
        let picture = Size {
            width: 1000,
            height: 500,
        };
        let at = |where_to| place(where_to, picture, [400, 200]);
        assert_eq!(at(Place::UpperLeft), Some([20, 20]));
        assert_eq!(at(Place::UpperRight), Some([580, 20]));
        assert_eq!(at(Place::LowerLeft), Some([20, 280]));
        assert_eq!(at(Place::LowerRight), Some([580, 280]));
        assert_eq!(at(Place::Below), Some([0, 500]));
        assert_eq!(place(Place::UpperLeft, picture, [400, 470]), None);
        assert_eq!(place(Place::LowerRight, picture, [970, 200]), None);
    }

    #[test]
    fn places_have_names() {
        for (place, name) in Place::ALL {
            assert_eq!(name.parse(), Ok(place));
        }
        assert!("corner".parse::<Place>().is_err());
    }
}
