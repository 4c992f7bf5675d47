//! The picture on the screen: the visible part of a rendition, in the path's
//! own arithmetic, at the size of the screen.
//!
//! Below full size, channels are averaged over the area of each output pixel
//! in their own units, before the stretch, as an export of that size does.
//! At full size and above, one output pixel is one pixel of the channels.

mod canvas;

mod difference;

mod grey;

pub mod maps;

mod moved;

mod parts;

pub mod probe;

mod pyramid;

mod rendition;

mod stage;

pub use pyramid::pyramid;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use super::desk::Layer;
use crate::engine::color::space::Space;
use crate::engine::color::vision::Vision;
use crate::engine::frame::Size;
use crate::engine::leading::By;
use crate::engine::recipe::{Ratio, Recipe};
use maps::{Found, Known};
use stage::Stage;

/// Which part of the common grid lies under which output pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// The upper left corner of output pixel (0, 0), in pixels of the common
    /// grid counted from the upper left corner of its first pixel (whose centre
    /// is at 0.5 here).
    pub corner: [f64; 2],
    /// Pixels of the common grid along one output pixel, at least 1.
    pub step: f64,
    /// Output pixels.
    pub size: Size,
}

/// What is shown.
#[derive(Debug, Clone, PartialEq)]
pub enum Show {
    /// A rendition, by its id.
    Rendition(String),
    /// One channel, stretched, in grey; index in the recipe.
    Channel(usize),
    /// The sky model of a channel, from its lowest (black) to its highest (white).
    Sky(usize),
    /// How far two renditions lie apart, CIEDE2000, 0 (black) to `full` (white).
    Difference {
        /// Id of one.
        one: String,
        /// Id of the other.
        other: String,
        /// The difference that is shown white.
        full: f32,
    },
    /// Which line of a rendition leads where.
    Leading {
        /// The rendition's id.
        rendition: String,
        /// What lines are compared by.
        by: By,
    },
    /// How strong one line is beside another, in means over the output pixels.
    Ratio(Ratio),
}

/// What is to be drawn.
#[derive(Clone)]
pub struct Request {
    /// A checked recipe; hidden channels are already left out of its renditions.
    pub recipe: Arc<Recipe>,
    /// The same with hidden channels in their places, where there are some: these
    /// go on telling where the others' stars are.
    pub unhidden: Option<Arc<Recipe>>,
    /// By the recipe's channels; None where one is not in memory.
    pub layers: Vec<Option<Arc<Layer>>>,
    /// What is shown.
    pub show: Show,
    /// Where.
    pub grid: Grid,
    /// The output space whose gamut is held; the screen is taken for sRGB.
    pub space: Space,
    /// As whom.
    pub vision: Vision,
    /// Whether pixels that clip or leave the gamut are marked.
    pub marks: bool,
}

/// A drawn picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Where it lies.
    pub grid: Grid,
    /// R G B A, one byte each; A is 255 over the picture and 0 beside it.
    pub rgba: Vec<u8>,
    /// Milliseconds that it took.
    pub millis: f32,
    /// Share of the pixels over the picture with a component at or above full
    /// scale before the gamut step, 0..1.
    pub clipped: f32,
    /// Share of the pixels over the picture with a component below zero before
    /// the gamut step: colours that the output space lacks, 0..1.
    pub outside: f32,
    /// What a map found.
    pub found: Option<Found>,
}

/// Draws pictures; keeps what a change of colours does not touch.
#[derive(Default)]
pub struct Preview {
    stage: Stage,
    known: Known,
}

impl Preview {
    /// Draws. None where `cancel` was set meanwhile, or nothing can be shown.
    pub fn draw(&mut self, request: &Request, cancel: &AtomicBool) -> Option<Picture> {
        let start = Instant::now();
        let grid = request.grid;
        let fits = grid.size.width > 0
            && grid.size.height > 0
            && grid.step >= 1.0
            && grid.step.is_finite()
            && grid.corner.iter().all(|edge| edge.is_finite());
        if !fits {
            return None;
        }
        let drawn = match &request.show {
            Show::Rendition(id) => rendition::draw(&mut self.stage, request, id, cancel),
            Show::Channel(index) => grey::channel(&mut self.stage, request, *index, cancel),
            Show::Sky(index) => grey::sky(request, *index),
            Show::Difference { one, other, full } => {
                difference::draw(&mut self.stage, request, [one, other], *full, cancel)
            }
            Show::Leading { rendition, by } => {
                let Self { stage, known } = self;
                maps::leading(stage, known, request, (rendition, *by), cancel)
            }
            Show::Ratio(ratio) => {
                let Self { stage, known } = self;
                maps::ratio(stage, known, request, ratio, cancel)
            }
        }?;
        if cancel.load(Ordering::Relaxed) {
            return None;
        }
        Some(Picture {
            grid,
            rgba: drawn.rgba,
            millis: start.elapsed().as_secs_f32() * 1000.0,
            clipped: drawn.clipped,
            outside: drawn.outside,
            found: drawn.found,
        })
    }
}

/// The layer of a channel, where it is in memory and lies on the common grid:
/// the reference's, or that of the first layer there is.
fn layer(request: &Request, index: usize) -> Option<&Arc<Layer>> {
    let common = common_size(request)?;
    let layer = request.layers.get(index)?.as_ref()?;
    (layer.size() == common).then_some(layer)
}

/// The size of the common grid.
fn common_size(request: &Request) -> Option<Size> {
    let recipe = &request.recipe;
    let reference = recipe
        .reference()
        .and_then(|wanted| recipe.channels.iter().position(|c| c.id == wanted.id));
    reference
        .and_then(|index| request.layers.get(index)?.as_ref())
        .or_else(|| request.layers.iter().flatten().next())
        .map(|layer| layer.size())
}
