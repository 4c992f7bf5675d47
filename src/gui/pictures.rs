//! The app's side of pictures: what the canvas and the palettes need is asked
//! of the desk, and what comes is handed to them.

use std::sync::{Arc, Weak};

use egui::{ColorImage, Context, TextureOptions};

use super::app::App;
use super::panels::mix;
use super::theme::Theme;
use crate::engine::color::space::Space;
use crate::engine::color::vision::Vision;
use crate::engine::frame::{Plane, Size};
use crate::engine::palettes::Palette;
use crate::engine::recipe::{Channel, Recipe};
use crate::work::desk::Layer;
use crate::work::preview::{Grid, Picture, Request, Show};

/// Slots below belong to the canvas, those from here on to palettes.
const FIRST_THUMBNAIL: u32 = 100;

/// Screen pixels along a small picture.
const THUMBNAIL_WIDTH: usize = 200;

/// The small pictures of the palettes.
#[derive(Default)]
pub struct Thumbnails {
    // What they were last asked for.
    recipe: Option<Recipe>,
    planes: Vec<Option<Planes>>,
    own: Vec<Palette>,
    night: bool,
    names: Vec<String>,
    generation: u64,
}

// What a small picture shows of a channel: its stars are as they are.
struct Planes {
    plane: Weak<Plane>,
    smooth: Option<Weak<Plane>>,
}

impl Planes {
    fn of(channel: &Channel, layer: &Layer) -> Self {
        let smooth = layer.parts.smooth.as_ref();
        let is_smoothed = channel.denoise.is_some_and(|share| share > 0.0);
        Self {
            plane: Arc::downgrade(&layer.plane),
            smooth: smooth
                .filter(|_| is_smoothed)
                .map(|smooth| Arc::downgrade(&smooth.plane)),
        }
    }
}

impl PartialEq for Planes {
    fn eq(&self, other: &Self) -> bool {
        let same_smooth = match (&self.smooth, &other.smooth) {
            (Some(a), Some(b)) => a.ptr_eq(b),
            (None, None) => true,
            _ => false,
        };
        self.plane.ptr_eq(&other.plane) && same_smooth
    }
}

impl App {
    /// Asks for the pictures that are missing or stale.
    pub(super) fn ask_for_pictures(&mut self) {
        let Some(pane) = self.state.pane else {
            return;
        };
        for (slot, generation, request) in self.state.pictures.requests(&self.state, pane) {
            self.worker.draw(slot, generation, request.clone());
            self.state.pictures.asked(slot, generation, request);
        }
        self.state.pictures.let_go(&self.state.layers);
        self.ask_for_thumbnails();
    }

    // Small pictures follow once a gesture is over and no channel is on its way.
    fn ask_for_thumbnails(&mut self) {
        let recipe = self.state.history.settled();
        let planes: Vec<Option<Planes>> = recipe
            .channels
            .iter()
            .map(|channel| Some(Planes::of(channel, self.state.layers.get(&channel.id)?)))
            .collect();
        let night = self.state.theme == Theme::Night;
        let same_channels = self
            .thumbnails
            .recipe
            .as_ref()
            .is_some_and(|before| before.channels == recipe.channels);
        let own = &self.state.own_palettes;
        let is_fresh = self.thumbnails.planes == planes
            && same_channels
            && night == self.thumbnails.night
            && self.thumbnails.own == *own;
        if !self.coming.is_empty() || is_fresh {
            return;
        }
        let changed = self.thumbnails.own.iter();
        for palette in changed.filter(|palette| !own.contains(palette)) {
            self.state.thumbnails.remove(&palette.name);
        }
        self.thumbnails.own.clone_from(own);
        let Some(size) = self.state.size() else {
            return;
        };
        let wanted = mix::wanted(&self.state);
        self.thumbnails.recipe = Some(recipe.clone());
        self.thumbnails.planes = planes;
        self.thumbnails.night = night;
        self.thumbnails.generation += 1;
        self.thumbnails.names = wanted.iter().map(|(name, _)| name.clone()).collect();
        let grid = small(size);
        let layers = recipe.channels.iter();
        let layers: Vec<Option<Arc<Layer>>> = layers
            .map(|channel| self.state.layers.get(&channel.id).cloned())
            .collect();
        for (index, (_, recipe)) in wanted.into_iter().enumerate() {
            let request = Request {
                recipe: Arc::new(recipe),
                unhidden: None,
                layers: layers.clone(),
                show: Show::Rendition(mix::THUMBNAIL.to_owned()),
                grid,
                space: Space::Srgb,
                vision: Vision::Usual,
                marks: false,
            };
            let slot = FIRST_THUMBNAIL + index as u32;
            self.worker.draw(slot, self.thumbnails.generation, request);
        }
    }

    /// A picture has come.
    pub(super) fn picture(
        &mut self,
        context: &Context,
        slot: u32,
        generation: u64,
        picture: Picture,
    ) {
        let night = self.state.theme == Theme::Night;
        let Some(index) = slot.checked_sub(FIRST_THUMBNAIL) else {
            self.state.last_millis = picture.millis;
            self.state
                .pictures
                .take(context, slot, generation, picture, night);
            return;
        };
        let Some(name) = self.thumbnails.names.get(index as usize) else {
            return;
        };
        let Size { width, height } = picture.grid.size;
        if generation != self.thumbnails.generation || picture.rgba.len() != 4 * width * height {
            return;
        }
        let pixels = if night {
            super::panels::canvas::pictures::in_red(&picture.rgba)
        } else {
            picture.rgba
        };
        let image = ColorImage::from_rgba_unmultiplied([width, height], &pixels);
        let texture =
            context.load_texture(format!("palette {name}"), image, TextureOptions::LINEAR);
        self.state.thumbnails.insert(name.clone(), texture);
    }
}

// The middle of the picture, 1.6 : 1.
fn small(size: Size) -> Grid {
    let (width, height) = (size.width as f64, size.height as f64);
    let shown = [width.min(height * 1.6), height.min(width / 1.6)];
    let step = (shown[0] / THUMBNAIL_WIDTH as f64).max(1.0);
    let corner = [(width - shown[0]) / 2.0, (height - shown[1]) / 2.0];
    let cells = shown.map(|length| ((length / step).floor() as usize).max(1));
    Grid {
        corner: if step > 1.0 {
            corner
        } else {
            corner.map(f64::floor)
        },
        step,
        size: Size {
            width: cells[0],
            height: cells[1],
        },
    }
}
