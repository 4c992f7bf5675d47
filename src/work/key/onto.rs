//! A key on a copy of a composite. The composite itself is only read.

use std::path::{Path, PathBuf};
use std::str::FromStr;

use super::looks::Looks;
use super::scene::{Plan, Setting};
use crate::engine::frame::{Coded, Depth};
use crate::io::draw::base::{self, Base};
use crate::io::draw::{Scene, file, pixels};
use crate::io::write::{self, Format, Options, Target};
use crate::work::{Control, Error};

/// Where a key goes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Place {
    /// On the picture, in its lower left corner.
    #[default]
    Corner,
    /// Under the picture, which becomes higher.
    Below,
}

impl FromStr for Place {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "corner" => Ok(Self::Corner),
            "below" => Ok(Self::Below),
            _ => Err("corner or below".to_owned()),
        }
    }
}

/// A picture to lay a key on.
#[derive(Debug, Clone, PartialEq)]
pub struct Onto {
    /// The picture; it is only read.
    pub picture: PathBuf,
    /// Where the key goes.
    pub place: Place,
}

/// Units that a key in a corner is wide.
const CORNER_UNITS: f64 = 560.0;
/// The share of a picture's width that a key in its corner takes.
const SHARE: f64 = 0.4;
/// Pixels to the unit below which words cannot be read.
const LEAST_SCALE: f64 = 0.75;

/// Reads the picture, draws the key on a copy, writes that. `key` lays it out.
///
/// # Errors
/// [`Error`]; nothing is left half-written.
pub fn run(
    onto: &Onto,
    out: &Path,
    looks: Looks,
    control: Control<'_>,
    key: impl Fn(Plan) -> Result<Scene, Error>,
) -> Result<String, Error> {
    let format = write::format_of(out)?;
    if format == Format::Fits {
        return Err(Error::request(
            format!("{}: a FITS file has no place for a key", out.display()),
            "name a file that ends in .png, .tif or .jpg",
        ));
    }
    let step = |done: u64| {
        control.progress.report("drawing the key", done, 3);
        control.check()
    };
    step(0)?;
    let mut base = base::read(&onto.picture)?;
    step(1)?;
    let small = || {
        Error::request(
            format!(
                "{}: {} is too small for a key that can be read",
                onto.picture.display(),
                base.size
            ),
            "make the key by itself, without `--onto`",
        )
    };
    let width = base.size.width as f64;
    let (units, scale, setting) = match onto.place {
        Place::Corner => {
            let scale = (SHARE * width / CORNER_UNITS).max(LEAST_SCALE);
            (CORNER_UNITS, scale, Setting::OnPicture)
        }
        Place::Below => {
            let units = (width / 1.25).clamp(560.0, 1300.0);
            (units, width / units, Setting::Alone)
        }
    };
    let scene = key(Plan {
        width: units,
        looks,
        setting,
    })?;
    let layer = pixels::layer(&scene, scale).ok_or_else(small)?;
    let [across, down] = layer.size;
    match onto.place {
        Place::Corner => {
            let margin = (0.02 * width).round() as usize;
            if across + 2 * margin > base.size.width || down + 2 * margin > base.size.height {
                return Err(small());
            }
            let top = base.size.height - down - margin;
            base.lay(&layer, [margin, top]);
        }
        Place::Below => {
            if scale < LEAST_SCALE {
                return Err(small());
            }
            let top = base.size.height;
            base = base.extended(down, looks.ground);
            base.lay(&layer, [0, top]);
        }
    }
    step(2)?;
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
        tags: file::tags(&scene.title, &scene.about),
    };
    file::put(target, samples)?;
    Ok(format!("{size}, {}", space.title()))
}
