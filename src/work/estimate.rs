//! How large a composite's file will be, told before it is made.

use std::ops::RangeInclusive;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::Error;
use super::compose::DEFAULT_MEMORY;
use super::desk::Layer;
use super::needed;
use crate::engine::color::space::Space;
use crate::engine::compose::{self, Composition, Run, Source};
use crate::engine::crop::{Cropped, Rectangle};
use crate::engine::frame::{Depth, Rows, Size};
use crate::engine::recipe::{Recipe, Rendition};
use crate::io::write::{Format, Options, Packing, Tags, Target, Writer};

/// What a composite is to be written as.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// Width and height.
    pub size: Size,
    /// The kind of file.
    pub format: Format,
    /// How samples are kept.
    pub depth: Depth,
    /// The output space.
    pub space: Space,
    /// How to pack.
    pub options: Options,
}

/// What the picture holds, to try on.
#[derive(Clone, Copy)]
pub struct Sample<'a> {
    /// A checked recipe.
    pub recipe: &'a Recipe,
    /// One of its renditions.
    pub rendition: &'a Rendition,
    /// By the recipe's channels; None where one is not in memory.
    pub layers: &'a [Option<Arc<Layer>>],
}

/// Bytes that profiles, tags and tables take beside the pixels, at most.
const TAGS: u64 = 96 << 10;

/// Side of the part that is tried, px.
const TRIED_PX: usize = 512;

/// The file's size in bytes lies in this range: exact to the tags where samples
/// are kept as they are, else 0.6 to 1.6 times what a part from the picture's
/// middle takes in the real coder (skies pack worse or better than nebulae).
/// Without a sample, or where it cannot be coded: for PNG and packed TIFF 0.4
/// to 1 of the samples' bytes, for JPEG 0.05 to 0.6 (noisy skies at a quality of 60
/// to 95; outside of that it may be off).
pub fn estimate(shape: &Shape, sample: Option<&Sample<'_>>) -> RangeInclusive<u64> {
    let plain = 3 * shape.depth.bytes() as u64 * shape.size.pixels() as u64;
    let as_they_are = match shape.format {
        Format::Tiff => shape.options.packing == Packing::None,
        Format::Fits => true,
        Format::Png | Format::Jpeg => false,
    };
    if as_they_are {
        return plain..=plain + TAGS;
    }
    let scaled = |low: f64, high: f64| {
        let bytes = plain as f64;
        (low * bytes) as u64..=(high * bytes) as u64 + TAGS
    };
    match sample.and_then(|sample| tried(shape, sample).ok().flatten()) {
        Some(share) => scaled(0.6 * share, 1.6 * share),
        None if shape.format == Format::Jpeg => scaled(0.05, 0.6),
        None => scaled(0.4, 1.0),
    }
}

// Coded bytes of a part from the middle, as a share of its samples' bytes.
fn tried(shape: &Shape, sample: &Sample<'_>) -> Result<Option<f64>, Error> {
    let small = sample.rendition.in_small();
    let composition = Composition::new(sample.recipe, &small, shape.space, shape.depth)?;
    let Sample {
        recipe,
        rendition,
        layers,
    } = *sample;
    let is_there = |index: usize| matches!(layers.get(index), Some(Some(_)));
    let tellers = needed::tellers(recipe, rendition, is_there);
    let mut planes: Vec<Arc<dyn Rows>> = Vec::new();
    for slot in composition.slots() {
        match slot.channel().and_then(|index| layers.get(index)) {
            Some(Some(layer)) => {
                let (plane, _) = layer.stand_in(*slot, &tellers);
                planes.push(Arc::clone(plane) as Arc<dyn Rows>);
            }
            _ => return Ok(None),
        }
    }
    let Some(size) = planes.first().map(|plane| plane.size()) else {
        return Ok(None);
    };
    if planes.iter().any(|plane| plane.size() != size) {
        return Ok(None);
    }
    let side = |length: usize| length.min(TRIED_PX);
    let middle = middle(size, side(size.width), side(size.height));
    let tiny = coded(shape, &composition, &planes, self::middle(size, 1, 1))?;
    let whole = coded(shape, &composition, &planes, middle)?;
    let (Some(tiny), Some(whole)) = (tiny, whole) else {
        return Ok(None);
    };
    let bytes = 3 * shape.depth.bytes() * middle.size.pixels();
    Ok(Some(whole.saturating_sub(tiny) as f64 / bytes as f64))
}

fn middle(size: Size, width: usize, height: usize) -> Rectangle {
    Rectangle {
        origin: [(size.width - width) / 2, (size.height - height) / 2],
        size: Size { width, height },
    }
}

fn coded(
    shape: &Shape,
    composition: &Composition,
    planes: &[Arc<dyn Rows>],
    part: Rectangle,
) -> Result<Option<u64>, Error> {
    let folder = tempfile::tempdir().map_err(|error| {
        Error::request(
            format!("no temporary folder: {error}"),
            "free some space, or name another place in TMPDIR",
        )
    })?;
    let parts: Option<Vec<Cropped>> = planes
        .iter()
        .map(|plane| Cropped::new(Arc::clone(plane), part))
        .collect();
    let Some(parts) = parts else { return Ok(None) };
    let mut sources: Vec<Source<'_>> = parts
        .iter()
        .map(|rows| Source { rows, watch: None })
        .collect();
    let mut writer = Writer::create(Target {
        path: folder.path().join("part"),
        format: shape.format,
        size: part.size,
        depth: shape.depth,
        space: shape.space,
        options: shape.options,
        tags: Tags::default(),
    })?;
    let rows = compose::rows_in_flight(part.size, parts.len(), shape.depth, DEFAULT_MEMORY);
    let cancel = AtomicBool::new(false);
    let run = Run {
        cancel: &cancel,
        progress: &|_| {},
    };
    compose::compose(composition, &mut sources, &mut writer, rows, &run)?;
    Ok(Some(writer.finish()?.bytes))
}
