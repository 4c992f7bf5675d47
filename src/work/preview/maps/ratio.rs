//! How strong one line is beside another.

use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, PoisonError};

use super::{Found, Known, blank};
use crate::engine::ratio::criteria::criterion;
use crate::engine::ratio::paint::{Ramp, UNKNOWN};
use crate::engine::ratio::words::name;
use crate::engine::ratio::{Counts, Law, Point};
use crate::engine::recipe::Ratio;
use crate::work::desk::Layer;
use crate::work::preview::canvas::{Drawn, fill};
use crate::work::preview::rendition::seen;
use crate::work::preview::stage::Stage;
use crate::work::preview::{Grid, Request, layer};
use crate::work::ratio::remarks as doubts;

// The output pixels into which one went at which a detector was full.
fn full(layers: &[&Arc<Layer>], grid: &Grid) -> Vec<bool> {
    let mut found = vec![false; grid.size.pixels()];
    let reach = |pixel: usize, corner: f64, length: usize| {
        let from = (pixel as f64 - corner) / grid.step;
        let to = (pixel as f64 + 1.0 - corner) / grid.step;
        let whole = |place: f64| place.clamp(0.0, length as f64) as usize;
        whole(from.floor())..whole(to.ceil())
    };
    for [x, y] in layers
        .iter()
        .filter_map(|layer| layer.full.as_ref())
        .flat_map(|marks| marks.places())
    {
        let columns = reach(x, grid.corner[0], grid.size.width);
        for row in reach(y, grid.corner[1], grid.size.height) {
            found[row * grid.size.width..][columns.clone()].fill(true);
        }
    }
    found
}

/// Draws the map of a ratio; its `bin` is the screen's own.
pub fn draw(
    stage: &mut Stage,
    known: &mut Known,
    request: &Request,
    ratio: &Ratio,
    cancel: &AtomicBool,
) -> Option<Drawn> {
    let channels = &request.recipe.channels;
    let place = |id: &String| channels.iter().position(|channel| channel.id == *id);
    let places = [place(&ratio.over)?, place(&ratio.under)?];
    let [over, under] = places.map(|index| &channels[index]);
    let layers = places.map(|index| layer(request, index));
    let [Some(one), Some(other)] = layers else {
        let gone = if layers[0].is_none() { over } else { under };
        let what = format!("{} is not on the common grid", gone.id);
        let hint = "It is still being read, or its card in the list says what it needs";
        return blank(request, Found::nothing(what, hint));
    };
    let layers = [one, other];
    known.measure(&layers);
    let mut sides = Vec::new();
    let mut remarks = Vec::new();
    for (layer, channel) in layers.into_iter().zip([over, under]) {
        let Some(side) = known.side(layer, request.grid.step) else {
            let what = format!("{} has no noise to measure by", channel.id);
            let hint = "This works on stacks as a camera makes them; take another channel";
            return blank(request, Found::nothing(what, hint));
        };
        sides.push(side);
        let levels = known.levels(layer);
        remarks.extend(doubts(channel, levels, layer.level.is_some()));
    }
    let law = Law {
        over: sides[0],
        under: sides[1],
        min_snr: ratio.min_snr,
        bin: 1,
    };
    let name = name(over, under);
    let mark = criterion(&over.line, &under.line).and_then(|criterion| criterion.mark);
    let Some(span) = known.span(layers.map(|layer| &**layer), ratio, mark) else {
        let what = format!(
            "{name}: nowhere do both lines stand {} sigma above their skies, but by chance",
            ratio.min_snr
        );
        let hint = "Ask for less, or look whether the sky of each is even";
        return blank(request, Found::nothing(what, hint));
    };
    let [one, other] = layers.map(|layer| stage.of(&**layer, &request.grid, cancel));
    let (one, other) = (one?, other?);
    let [its, theirs] = layers.map(|layer| known.data(layer));
    let grid = request.grid;
    let width = grid.size.width;
    // The columns that both have data in, of the row under a row of the screen.
    let data = |row: usize| {
        let y = grid.corner[1] + (row as f64 + 0.5) * grid.step;
        match (its.get(y as usize), theirs.get(y as usize)) {
            (Some(one), Some(other)) => one.0.max(other.0) as f64..one.1.min(other.1) as f64,
            _ => 0.0..0.0,
        }
    };
    let full = full(&layers, &grid);
    let ramp = Ramp::new();
    let counts = Mutex::new(Counts::default());
    let drawn = fill(request, cancel, |piece| {
        let mut found = Counts::default();
        let first = piece.pixels.start / width;
        let over = one[piece.pixels.clone()].chunks_exact(width);
        let under = other[piece.pixels.clone()].chunks_exact(width);
        let rows = over.zip(under).zip(piece.rgb.chunks_exact_mut(3 * width));
        for (row, ((over, under), codes)) in (first..).zip(rows) {
            let data = data(row);
            let pixels = over.iter().zip(under).zip(codes.chunks_exact_mut(3));
            for (column, ((over, under), code)) in pixels.enumerate() {
                let x = grid.corner[0] + (column as f64 + 0.5) * grid.step;
                let is_known = data.contains(&x) && !full[row * width + column];
                let point = match is_known {
                    true => law.of_pixels(*over, *under),
                    false => Point::NoData,
                };
                found.take(point, mark);
                code.copy_from_slice(&match point {
                    Point::Known { ratio, .. } => ramp.color(span.place(ratio)),
                    _ => UNKNOWN,
                });
            }
        }
        seen(piece.rgb, request.vision);
        let mut sum = counts.lock().unwrap_or_else(PoisonError::into_inner);
        sum.add(&found);
    })?;
    Some(Drawn {
        found: Some(Found::Ratio {
            name,
            span,
            mark,
            counts: counts.into_inner().unwrap_or_else(PoisonError::into_inner),
            remarks,
        }),
        ..drawn
    })
}
