//! One channel, or its sky model, in grey.

use std::sync::atomic::AtomicBool;

use super::canvas::{Drawn, fill};
use super::stage::Stage;
use super::{Request, layer};
use crate::engine::compose::FULL;
use crate::engine::level::SkyModel;
use crate::engine::num::LANES;
use crate::engine::stretch::Prepared;
use crate::work::desk::Layer;

/// A channel, stretched; what is at or above white counts as full.
pub(super) fn channel(
    stage: &mut Stage,
    request: &Request,
    index: usize,
    cancel: &AtomicBool,
) -> Option<Drawn> {
    let recipe_channel = request.recipe.channels.get(index)?;
    let values = stage.of(layer(request, index)?, &request.grid, cancel)?;
    let stretch = Prepared::new(&recipe_channel.stretch);
    let white = recipe_channel.stretch.white;
    fill(request, cancel, |piece| {
        let values = &values[piece.pixels.clone()];
        let mut block = [0.0; LANES];
        let mut tones = [0.0; LANES];
        for (at, values) in values.chunks(LANES).enumerate() {
            block[..values.len()].copy_from_slice(values);
            stretch.tones(&block, &mut tones);
            for (i, (value, tone)) in values.iter().zip(tones).enumerate() {
                let pixel = at * LANES + i;
                let code = (tone * 255.0 + 0.5) as u8;
                piece.rgb[3 * pixel..3 * pixel + 3].fill(code);
                piece.looks[pixel] = u8::from(f64::from(*value) >= white) * FULL;
            }
        }
    })
}

/// Output pixels between the places at which a sky model is worked out.
const MESH: usize = 8;

/// Places along each side of the whole picture that tell a model's range.
const PLACES: usize = 65;

/// The sky model of a channel, from its lowest value over the whole picture to
/// its highest.
pub(super) fn sky(request: &Request, index: usize) -> Option<Drawn> {
    let layer = layer(request, index)?;
    let model = layer.model.as_ref()?;
    // A model lies on the grid before it is cropped.
    let origin = layer.origin.map(|side| side as f64);
    let (low, high) = range(model, layer, origin);
    let scale = if high > low { 1.0 / (high - low) } else { 0.0 };
    let grid = request.grid;
    // Pixel centres of the model count from 0, corners of the grid from -0.5.
    let place = |side: usize, output: usize| {
        origin[side] + grid.corner[side] + (output as f64 + 0.5) * grid.step - 0.5
    };
    let columns = grid.size.width.div_ceil(MESH) + 1;
    let nodes: Vec<f64> = (0..grid.size.height.div_ceil(MESH) + 1)
        .flat_map(|row| {
            let y = place(1, row * MESH);
            (0..columns).map(move |column| (column, y))
        })
        .map(|(column, y)| (model.at(place(0, column * MESH), y) - low) * scale)
        .collect();
    fill(request, &AtomicBool::new(false), |piece| {
        for (pixel, rgb) in piece.pixels.clone().zip(piece.rgb.chunks_exact_mut(3)) {
            let (x, y) = (pixel % grid.size.width, pixel / grid.size.width);
            let (u, v) = (
                (x % MESH) as f64 / MESH as f64,
                (y % MESH) as f64 / MESH as f64,
            );
            let at = y / MESH * columns + x / MESH;
            let upper = nodes[at] + u * (nodes[at + 1] - nodes[at]);
            let below = at + columns;
            let lower = nodes[below] + u * (nodes[below + 1] - nodes[below]);
            let tone = (upper + v * (lower - upper)).clamp(0.0, 1.0);
            rgb.fill((tone * 255.0 + 0.5) as u8);
        }
    })
}

fn range(model: &SkyModel, layer: &Layer, origin: [f64; 2]) -> (f64, f64) {
    let size = layer.size();
    let last = (PLACES - 1) as f64;
    let place = |side: usize, length: usize, index: usize| {
        origin[side] + (length - 1) as f64 * index as f64 / last
    };
    let mut range = (f64::INFINITY, f64::NEG_INFINITY);
    for row in 0..PLACES {
        for column in 0..PLACES {
            let value = model.at(place(0, size.width, column), place(1, size.height, row));
            range = (range.0.min(value), range.1.max(value));
        }
    }
    range
}
