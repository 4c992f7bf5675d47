//! The picture on the screen: the visible part of a rendition, in the path's
//! own arithmetic, at the size of the screen.
//!
//! Below full size, channels are averaged over the area of each output pixel
//! in their own units, before the stretch, as an export of that size does.
//! At full size and above, one output pixel is one pixel of the channels.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::desk::Layer;
use crate::engine::color::space::Space;
use crate::engine::color::vision::Vision;
use crate::engine::frame::Size;
use crate::engine::recipe::Recipe;

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
}

/// What is to be drawn.
#[derive(Clone)]
pub struct Request {
    /// A checked recipe; hidden channels are already left out of its renditions.
    pub recipe: Arc<Recipe>,
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
    /// R G B A, one byte each, opaque.
    pub rgba: Vec<u8>,
    /// Milliseconds that it took.
    pub millis: f32,
    /// Share of the pixels with a component at or above full scale.
    pub clipped: f32,
    /// Share of the pixels outside the output space before the gamut step.
    pub outside: f32,
}

/// Draws pictures; keeps what a change of colours does not touch.
#[derive(Default)]
pub struct Preview {}

impl Preview {
    /// Draws. None where `cancel` was set meanwhile, or nothing can be shown.
    pub fn draw(&mut self, request: &Request, cancel: &AtomicBool) -> Option<Picture> {
        let _ = (request, cancel);
        None
    }
}
