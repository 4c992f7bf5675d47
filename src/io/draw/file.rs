//! A drawing as a file: whole or not at all, tagged sRGB.

use std::path::Path;

use super::pixels::{self, LONGEST};
use super::{Picture, Scene, on_one_line, pdf, svg};
use crate::engine::color::space::Space;
use crate::engine::frame::{BAND_ROWS, Coded, CodedBand, Depth, Size};
use crate::engine::recipe::About;
use crate::io::write::xmp::{self, Description};
use crate::io::write::{Finished, Format, Options, Tags, Target, WriteError, Writer, atomic};

/// Kinds of files that drawings are written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// `.svg`
    Svg,
    /// `.pdf`
    Pdf,
    /// `.png`
    Png,
    /// `.jpg`, `.jpeg`
    Jpeg,
}

impl Kind {
    fn endings(self) -> &'static [&'static str] {
        match self {
            Self::Svg => &["svg"],
            Self::Pdf => &["pdf"],
            Self::Png => &["png"],
            Self::Jpeg => &["jpg", "jpeg"],
        }
    }
}

/// Points of a page to a pixel: 300 pixels to the inch.
pub const PRINT: f64 = 72.0 / 300.0;

/// Letters smaller than this cannot be read in print: a page is made larger
/// until its smallest ones have it, points.
const LEAST_LETTERS: f64 = 5.5;

/// Tells the kind of file by the ending of its name, among those that do.
///
/// # Errors
/// [`WriteError::Unsuited`] for another ending or none.
pub fn kind_of(path: &Path, among: &[Kind]) -> Result<Kind, WriteError> {
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase())
        .unwrap_or_default();
    let found = among
        .iter()
        .find(|kind| kind.endings().contains(&ending.as_str()));
    found.copied().ok_or_else(|| {
        let endings: Vec<String> = among
            .iter()
            .filter_map(|kind| Some(format!(".{}", kind.endings().first()?)))
            .collect();
        WriteError::Unsuited {
            path: path.to_owned(),
            what: if ending.is_empty() {
                "the name has no ending that tells the kind of file".to_owned()
            } else {
                format!("`.{ending}` is not a kind of file that this is written as")
            },
            hint: format!("name a file that ends in {}", endings.join(", ")),
        }
    })
}

/// How a drawing is written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct How {
    /// As what.
    pub kind: Kind,
    /// Pixels to the unit; SVG is shown at this size.
    pub scale: f64,
    /// Points to the unit, for PDF; more where letters would be too small.
    pub points: f64,
}

/// Writes a drawing of a picture that `from` tells of.
///
/// # Errors
/// [`WriteError`]; nothing is left half-written.
pub fn write(scene: &Scene, path: &Path, how: How, from: &About) -> Result<(), WriteError> {
    match how.kind {
        Kind::Svg => {
            let text = svg::write(scene, scene.size[0] * how.scale);
            atomic::write_whole(path, text.as_bytes())
        }
        Kind::Pdf => {
            let points = readable(scene, how.points);
            let bytes = pdf::write(scene, points, &on_one_line(&from.creator), &software());
            atomic::write_whole(path, &bytes)
        }
        Kind::Png => raster(scene, path, Format::Png, how.scale, from)?.publish(),
        Kind::Jpeg => raster(scene, path, Format::Jpeg, how.scale, from)?.publish(),
    }
}

// Points to the unit at which the smallest letters can be read.
fn readable(scene: &Scene, points: f64) -> f64 {
    let sizes = scene.words().into_iter().map(|words| words.size);
    let smallest = sizes.fold(f64::INFINITY, f64::min);
    points.max(LEAST_LETTERS / smallest)
}

/// Draws a picture that `from` tells of as a file of pixels, `scale` of them to
/// the unit; it still has to be published.
///
/// # Errors
/// [`WriteError`]; nothing is left then.
pub fn raster(
    scene: &Scene,
    path: &Path,
    format: Format,
    scale: f64,
    from: &About,
) -> Result<Finished, WriteError> {
    let picture = pixels::picture(scene, scale).ok_or_else(|| {
        let [width, height] = scene.size.map(|side| (side * scale).round());
        WriteError::Unsuited {
            path: path.to_owned(),
            what: format!("it would be {width} x {height}, the longest side is {LONGEST}"),
            hint: "choose a smaller --width".to_owned(),
        }
    })?;
    let Picture {
        size: [width, height],
        rgb,
    } = picture;
    let target = Target {
        path: path.to_owned(),
        format,
        size: Size { width, height },
        depth: Depth::Eight,
        space: Space::Srgb,
        options: Options::default(),
        tags: tags(&scene.title, &scene.about, from),
    };
    sealed(target, Coded::U8(rgb))
}

/// Writes samples that are all there.
///
/// # Errors
/// [`WriteError`]; nothing is left half-written.
pub fn put(target: Target, samples: Coded) -> Result<(), WriteError> {
    sealed(target, samples)?.publish()
}

fn sealed(target: Target, samples: Coded) -> Result<Finished, WriteError> {
    let row = (3 * target.size.width).max(1);
    let band = row * BAND_ROWS;
    let mut writer = Writer::create(target)?;
    let mut first_row = 0;
    let mut next = |samples: Coded, length: usize| {
        let rows = length / row;
        let band = CodedBand {
            first_row,
            rows,
            samples,
        };
        first_row += rows;
        writer.put(band)
    };
    match samples {
        Coded::U8(all) => all
            .chunks(band)
            .try_for_each(|part| next(Coded::U8(part.to_vec()), part.len()))?,
        Coded::U16(all) => all
            .chunks(band)
            .try_for_each(|part| next(Coded::U16(part.to_vec()), part.len()))?,
        Coded::F32(all) => all
            .chunks(band)
            .try_for_each(|part| next(Coded::F32(part.to_vec()), part.len()))?,
    }
    writer.seal()
}

/// What travels inside a picture file beside its pixels: what it is, what it
/// shows, and whose the picture is that it was made of.
pub fn tags(title: &str, about: &str, from: &About) -> Tags {
    let (title, about) = (on_one_line(title), on_one_line(about));
    let creator = on_one_line(&from.creator);
    Tags {
        xmp: xmp::packet(&Description {
            title: title.clone(),
            description: about.clone(),
            alt_text: about,
            creators: Some(creator)
                .filter(|c| !c.is_empty())
                .into_iter()
                .collect(),
            credit: on_one_line(&from.credit),
            rights: on_one_line(&from.rights),
            software: software(),
            ..Description::default()
        }),
        description: title,
        software: software(),
        ..Tags::default()
    }
}

fn software() -> String {
    format!("Linehue {}", env!("CARGO_PKG_VERSION"))
}
