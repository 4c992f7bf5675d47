//! Which pictures the canvas needs, and those that came.

use std::sync::Arc;

use egui::{ColorImage, Context, TextureHandle, TextureOptions};

use super::geometry::Pane;
use super::maps;
use crate::engine::frame::Size;
use crate::engine::recipe::{About, Recipe};
use crate::gui::state::{Compare, State};
use crate::work::desk::Layers;
use crate::work::mixing::finishing;
use crate::work::preview::{Grid, Picture, Request, Show};

/// The rendition shown.
pub const SHOWN: u32 = 0;
/// The one that it is held against.
pub const OTHER: u32 = 1;
/// How far they lie apart.
pub const DIFFERENCE: u32 = 2;
/// The whole of the first, coarse: fills what is not drawn yet.
pub const BACKDROP: u32 = 3;
/// The whole of the second, coarse.
pub const OTHER_BACKDROP: u32 = 4;

const SLOTS: usize = 5;
/// Pixels along the longer side of a backdrop.
const COARSE: usize = 512;

/// A picture that came, on the graphics card.
pub struct Shown {
    /// Its pixels.
    pub texture: TextureHandle,
    /// Its pixels and where they lie.
    pub picture: Picture,
    night: bool,
}

#[derive(Default)]
struct Slot {
    asked: u64,
    taken: u64,
    request: Option<Request>,
    shown: Option<Shown>,
}

/// The canvas's pictures.
#[derive(Default)]
pub struct Pictures {
    slots: [Slot; SLOTS],
}

impl Pictures {
    /// What is missing or stale: slot, generation, request. Say
    /// [`asked`](Self::asked) of each that is passed on.
    pub fn requests(&self, state: &State, view: Pane) -> Vec<(u32, u64, Request)> {
        wanted(state, view)
            .into_iter()
            .filter_map(|(slot, request)| {
                let kept = self.slots.get(slot as usize)?;
                let is_new = kept.request.as_ref().is_none_or(|had| !same(had, &request));
                is_new.then_some((slot, kept.asked + 1, request))
            })
            .collect()
    }

    /// A request is on its way.
    pub fn asked(&mut self, slot: u32, generation: u64, request: Request) {
        if let Some(slot) = self.slots.get_mut(slot as usize) {
            slot.asked = generation;
            slot.request = Some(request);
        }
    }

    /// A picture has come. One that is older than what is shown, or that was
    /// never asked for, is dropped; so is one whose bytes do not fit its size.
    pub fn take(
        &mut self,
        context: &Context,
        slot: u32,
        generation: u64,
        picture: Picture,
        night: bool,
    ) {
        let name = format!("picture {slot}");
        let Some(slot) = self.slots.get_mut(slot as usize) else {
            return;
        };
        let is_late = generation <= slot.taken || generation > slot.asked;
        if is_late || picture.rgba.len() != picture.grid.size.pixels() * 4 {
            return;
        }
        slot.taken = generation;
        let texture = upload(context, name, &picture, night);
        slot.shown = Some(Shown {
            texture,
            picture,
            night,
        });
    }

    /// Turns the pictures red for the night, or back.
    pub fn look(&mut self, context: &Context, night: bool) {
        for shown in self.slots.iter_mut().filter_map(|slot| slot.shown.as_mut()) {
            if shown.night != night {
                shown.texture = upload(context, "picture".into(), &shown.picture, night);
                shown.night = night;
            }
        }
    }

    /// Lets go of channels that are not in memory any more: a picture of them is
    /// asked for anew before it shows again.
    pub fn let_go(&mut self, layers: &Layers) {
        for slot in &mut self.slots {
            let request = slot.request.take();
            slot.request = request.filter(|request| {
                let channels = request.recipe.channels.iter();
                channels.zip(&request.layers).all(|(channel, layer)| {
                    let now = layers.get(&channel.id);
                    layer
                        .as_ref()
                        .is_none_or(|own| now.is_some_and(|now| Arc::ptr_eq(own, now)))
                })
            });
        }
    }

    /// What came last for a slot.
    pub fn shown(&self, slot: u32) -> Option<&Shown> {
        self.slots.get(slot as usize)?.shown.as_ref()
    }

    /// Whether something newer than what is shown is on its way.
    pub fn waits(&self, slot: u32) -> bool {
        self.slots
            .get(slot as usize)
            .is_some_and(|slot| slot.taken < slot.asked)
    }

    /// Forgets all of them, when other channels take the desk.
    pub fn clear(&mut self) {
        for slot in &mut self.slots {
            // A picture that is still on its way must not come back.
            slot.taken = slot.asked;
            slot.request = None;
            slot.shown = None;
        }
    }
}

fn upload(context: &Context, name: String, picture: &Picture, night: bool) -> TextureHandle {
    let size = [picture.grid.size.width, picture.grid.size.height];
    let image = if night {
        ColorImage::from_rgba_unmultiplied(size, &in_red(&picture.rgba))
    } else {
        ColorImage::from_rgba_unmultiplied(size, &picture.rgba)
    };
    let options = TextureOptions {
        minification: egui::TextureFilter::Linear,
        ..TextureOptions::NEAREST
    };
    context.load_texture(name, image, options)
}

/// R G B A in red alone, each pixel by its brightness.
pub fn in_red(rgba: &[u8]) -> Vec<u8> {
    rgba.chunks_exact(4).flat_map(red).collect()
}

/// The brightness of a pixel, in red: what is green is not black at night.
fn red(rgba: &[u8]) -> [u8; 4] {
    let [r, g, b] = [0, 1, 2].map(|i| u32::from(rgba[i]));
    let grey = (r * 54 + g * 183 + b * 19) / 256;
    [grey.min(255) as u8, 0, 0, rgba[3]]
}

fn same(a: &Request, b: &Request) -> bool {
    let same_layer = |(a, b): (&Option<Arc<_>>, &Option<Arc<_>>)| match (a, b) {
        (Some(a), Some(b)) => Arc::ptr_eq(a, b),
        (None, None) => true,
        _ => false,
    };
    a.grid == b.grid
        && a.show == b.show
        && a.space == b.space
        && a.vision == b.vision
        && a.marks == b.marks
        && a.layers.len() == b.layers.len()
        && a.layers.iter().zip(&b.layers).all(same_layer)
        && a.recipe == b.recipe
        && a.unhidden == b.unhidden
}

/// The recipe as it is shown: these renditions alone, hidden channels left out
/// of their colours and of their brightness, noise left in where that is looked at. None where one has no channel left.
pub fn effective(state: &State, renditions: &[&str]) -> Option<Recipe> {
    let mut recipe = chosen(state, renditions)?;
    for rendition in &mut recipe.renditions {
        rendition.colors.retain(|id, _| !state.hidden.contains(id));
        if rendition.colors.is_empty() {
            return None;
        }
        if let Some(luminance) = &mut rendition.luminance {
            luminance.from.retain(|id, _| !state.hidden.contains(id));
            if !luminance.from.values().any(|weight| *weight > 0.0) {
                rendition.luminance = None;
            }
        }
    }
    Some(recipe)
}

// The recipe without its words, noise left in where that is looked at.
fn plain(state: &State) -> Recipe {
    let mut recipe = state.recipe().clone();
    recipe.about = About::default();
    if state.view.before_noise {
        finishing::unsmoothed(&mut recipe);
    }
    recipe
}

// These renditions alone, hidden channels and all.
fn chosen(state: &State, renditions: &[&str]) -> Option<Recipe> {
    let mut recipe = plain(state);
    recipe
        .renditions
        .retain(|rendition| renditions.contains(&rendition.id.as_str()));
    let wanted: std::collections::BTreeSet<&str> = renditions.iter().copied().collect();
    (recipe.renditions.len() == wanted.len()).then_some(recipe)
}

/// The rendition that the shown one is held against: the chosen one, or else
/// the first that is not shown.
pub fn other(state: &State) -> Option<&str> {
    let shown = state.rendition()?;
    let chosen = state.view.other.as_deref();
    let chosen = chosen.filter(|id| *id != shown.id && state.recipe().rendition(id).is_some());
    chosen.or_else(|| {
        let mut all = state.recipe().renditions.iter();
        all.find(|rendition| rendition.id != shown.id)
            .map(|rendition| rendition.id.as_str())
    })
}

/// How the picture is held against another, as far as there is one.
pub fn comparison(state: &State) -> Compare {
    if single(state).is_some() || other(state).is_none() {
        Compare::One
    } else {
        state.view.compare
    }
}

/// The panes of the shown rendition and of the other.
pub fn panes(state: &State, view: Pane) -> [Pane; 2] {
    if comparison(state) == Compare::Beside {
        view.halves()
    } else {
        [view, view]
    }
}

/// What is shown instead of the picture.
pub fn single(state: &State) -> Option<Show> {
    let index = |id: &String| state.recipe().channels.iter().position(|c| c.id == *id);
    (state.view.sky.as_ref().and_then(index).map(Show::Sky))
        .or_else(|| state.solo.as_ref().and_then(index).map(Show::Channel))
        .or_else(|| maps::wanted(state))
}

fn wanted(state: &State, view: Pane) -> Vec<(u32, Request)> {
    let (Some(size), Some(rendition)) = (state.size(), state.rendition()) else {
        return Vec::new();
    };
    let [first, second] = panes(state, view);
    let coarse = coarse(size);
    let is_near = state.view.place.is_some();
    let mut list = Vec::new();
    let mut add = |slot: u32, show: &Show, grid: Option<Grid>| {
        if let Some(request) = grid.and_then(|grid| request(state, show, grid)) {
            list.push((slot, request));
        }
    };
    let grid = |pane: Pane| pane.grid(pane.place(state.view.place, size), size);
    let one = single(state).unwrap_or_else(|| Show::Rendition(rendition.id.clone()));
    let how = comparison(state);
    if let (Compare::Difference, Some(other)) = (how, other(state)) {
        let show = Show::Difference {
            one: rendition.id.clone(),
            other: other.to_owned(),
            full: state.view.difference_full,
        };
        add(DIFFERENCE, &show, grid(first));
        return list;
    }
    add(SHOWN, &one, grid(first));
    if is_near {
        add(BACKDROP, &one, Some(coarse));
    }
    if let (true, Some(other)) = (how != Compare::One, other(state)) {
        let show = Show::Rendition(other.to_owned());
        add(OTHER, &show, grid(second));
        if is_near {
            add(OTHER_BACKDROP, &show, Some(coarse));
        }
    }
    list
}

fn coarse(size: Size) -> Grid {
    let step = (size.width.max(size.height) as f64 / COARSE as f64).max(1.0);
    let count = |length: usize| ((length as f64 / step) as usize).max(1);
    Grid {
        corner: [0.0, 0.0],
        step,
        size: Size {
            width: count(size.width),
            height: count(size.height),
        },
    }
}

fn request(state: &State, show: &Show, grid: Grid) -> Option<Request> {
    let renditions: Vec<&str> = match show {
        Show::Rendition(id) | Show::Leading { rendition: id, .. } => vec![id],
        Show::Difference { one, other, .. } => vec![one, other],
        Show::Channel(_) | Show::Sky(_) | Show::Ratio(_) => Vec::new(),
    };
    let recipe = if renditions.is_empty() {
        let mut recipe = plain(state);
        recipe.renditions.truncate(1);
        recipe
    } else {
        effective(state, &renditions)?
    };
    let hides = !state.hidden.is_empty() && !renditions.is_empty();
    let unhidden = hides.then(|| chosen(state, &renditions)).flatten();
    let layers = recipe.channels.iter();
    let layers: Vec<_> = layers
        .map(|channel| state.layers.get(&channel.id).cloned())
        .collect();
    layers.iter().any(Option::is_some).then(|| Request {
        recipe: Arc::new(recipe),
        unhidden: unhidden.map(Arc::new),
        layers,
        show: show.clone(),
        grid,
        space: state.space,
        vision: state.view.vision,
        marks: state.view.marks,
    })
}
