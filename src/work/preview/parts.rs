//! What a composition needs of each pixel, on the grid of the screen.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use rayon::prelude::*;

use super::stage::{Source, Stage, window};
use super::{Grid, Request, common_size, layer};
use crate::engine::compose::{Composition, Slot};
use crate::engine::detail;
use crate::engine::frame::Size;
use crate::engine::recipe::Rendition;
use crate::engine::reduce::Reducer;
use crate::work::desk::{Apart, Layer};
use crate::work::needed;

type Values = Arc<Vec<f32>>;

/// The values of each slot of a composition. A part that is not made yet is the
/// channel itself: stars show as mixed, colours as sharp as they are. None where
/// a channel is not in memory, or `cancel` was set.
pub(super) fn values(
    stage: &mut Stage,
    request: &Request,
    rendition: &Rendition,
    composition: &Composition,
    cancel: &AtomicBool,
) -> Option<Vec<Values>> {
    let grid = &request.grid;
    let tellers = tellers(request, rendition, composition);
    let told = (rendition, &tellers[..]);
    let mut all: Vec<Values> = Vec::new();
    for slot in composition.slots() {
        let values = match slot {
            Slot::Brightness => brightness(stage, request, told, composition, cancel)?,
            other => channel(stage, request, told, *other, grid, cancel)?,
        };
        all.push(values);
    }
    Some(all)
}

// The channels that tell of a rendition's stars, if these are wanted apart.
fn tellers<'a>(
    request: &'a Request,
    rendition: &Rendition,
    composition: &Composition,
) -> Vec<&'a str> {
    let is_nebula = |slot: &Slot| matches!(slot, Slot::Nebula(_));
    if !composition.slots().iter().any(is_nebula) {
        return Vec::new();
    }
    let is_there = |index: usize| matches!(request.layers.get(index), Some(Some(_)));
    let recipe = request.unhidden.as_ref().unwrap_or(&request.recipe);
    let whole = recipe.rendition(&rendition.id);
    whole.map_or_else(Vec::new, |whole| needed::tellers(recipe, whole, is_there))
}

// How much of its noise a channel loses, for brightness and for colour.
fn shares(request: &Request, rendition: &Rendition, index: usize) -> [f64; 2] {
    let own = request.recipe.channels[index].denoise.unwrap_or(0.0);
    [own, own.max(rendition.smooth_color.unwrap_or(0.0))]
}

fn channel(
    stage: &mut Stage,
    request: &Request,
    (rendition, tellers): (&Rendition, &[&str]),
    slot: Slot,
    grid: &Grid,
    cancel: &AtomicBool,
) -> Option<Values> {
    let index = slot.channel()?;
    let layer: &Layer = layer(request, index)?;
    let [own, colored] = shares(request, rendition, index);
    let mut softened = |share: f64| match &layer.parts.smooth {
        Some(smooth) => stage.between([layer.into(), smooth.into()], share, grid, cancel),
        None => stage.of(layer, grid, cancel),
    };
    // Without their heights stars can only show as they are.
    let is_scaled = rendition.star_look().is_scaled();
    let is_whole = |apart: &&Apart| !is_scaled || apart.heights.whole().is_some();
    let apart = layer.parts.apart_by(tellers).filter(is_whole);
    match slot {
        Slot::Smooth(_) => softened(colored),
        Slot::Nebula(_) => match apart {
            Some(apart) if apart.denoise == own => stage.of(&apart.nebula, grid, cancel),
            // With another share of its noise until it is made anew, and before
            // noise reduction: what was taken off as stars is the same light.
            Some(apart) => {
                let (own, then) = (softened(own)?, softened(apart.denoise)?);
                let nebula = stage.of(&apart.nebula, grid, cancel)?;
                let parts = own.iter().zip(then.iter()).zip(nebula.iter());
                let nebula = parts.map(|((own, then), nebula)| own - (then - nebula));
                Some(Arc::new(nebula.collect()))
            }
            None => softened(own),
        },
        Slot::Height(_) => match apart.and_then(|apart| apart.heights.whole()) {
            Some(heights) => stage.of(heights, grid, cancel),
            None => Some(Arc::new(vec![0.0; grid.size.pixels()])),
        },
        Slot::Whole(_) | Slot::Brightness => softened(own),
    }
}

// The brightness with its fine structure brought out: worked out over a little
// more than what is seen, so that a picture has no rim.
fn brightness(
    stage: &mut Stage,
    request: &Request,
    told: (&Rendition, &[&str]),
    composition: &Composition,
    cancel: &AtomicBool,
) -> Option<Values> {
    let (rendition, _) = told;
    let luminance = rendition.luminance.as_ref()?;
    let settings = detail::Settings::new(luminance.detail.unwrap_or(0.0), request.grid.step);
    let margin = settings.margin_px();
    let Grid { corner, step, size } = request.grid;
    let wide = Grid {
        corner: corner.map(|edge| edge - margin as f64 * step),
        step,
        size: Size {
            width: size.width + 2 * margin,
            height: size.height + 2 * margin,
        },
    };
    // Beyond the picture's edges there is nothing that structure could be told
    // from.
    let picture = common_size(request)?;
    let [columns, rows] = Reducer::new(&window(&wide), picture, 1).inside();
    let mut seen = vec![0.0; size.pixels()];
    if columns.is_empty() || rows.is_empty() {
        return Some(Arc::new(seen));
    }
    let part = Grid {
        corner: [
            wide.corner[0] + columns.start as f64 * step,
            wide.corner[1] + rows.start as f64 * step,
        ],
        step,
        size: Size {
            width: columns.len(),
            height: rows.len(),
        },
    };
    let inputs: Vec<Values> = composition
        .slots()
        .iter()
        .filter(|slot| **slot != Slot::Brightness)
        .map(|slot| channel(stage, request, told, *slot, &part, cancel))
        .collect::<Option<_>>()?;
    let inputs: Vec<&[f32]> = inputs.iter().map(|values| values.as_slice()).collect();
    let light = brightness_of(composition, &inputs);
    let crisp = detail::brought_out(&light, part.size, &settings);
    // Columns and rows of the part that are on the screen.
    let from = columns.start.max(margin);
    let until = columns.end.min(margin + size.width);
    for (y, row) in rows.zip(crisp.chunks_exact(part.size.width)) {
        if from < until && (margin..margin + size.height).contains(&y) {
            let out = (y - margin) * size.width + from - margin;
            let row = &row[from - columns.start..until - columns.start];
            seen[out..out + row.len()].copy_from_slice(row);
        }
    }
    Some(Arc::new(seen))
}

impl<'a> From<&'a Arc<Layer>> for Source<'a> {
    fn from(layer: &'a Arc<Layer>) -> Self {
        (&**layer).into()
    }
}

// In parallel, in pieces that any number of threads divides alike.
fn brightness_of(composition: &Composition, inputs: &[&[f32]]) -> Vec<f32> {
    const PIECE: usize = 1 << 14;
    let mut light = vec![0.0; inputs.first().map_or(0, |values| values.len())];
    light
        .par_chunks_mut(PIECE)
        .enumerate()
        .for_each(|(index, out)| {
            let from = index * PIECE;
            let inputs: Vec<&[f32]> = inputs
                .iter()
                .map(|values| &values[from..from + out.len()])
                .collect();
            composition.brightness(&inputs, out);
        });
    light
}
