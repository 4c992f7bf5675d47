//! Which line leads where.

use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, PoisonError};

use super::{Found, Known, Leader, RAMP, blank};
use crate::engine::apart::told;
use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::leading::{By, Leading, Line, line_color, undecided_color};
use crate::work::preview::canvas::{Drawn, fill};
use crate::work::preview::rendition::seen;
use crate::work::preview::stage::Stage;
use crate::work::preview::{Request, layer};

/// Draws the map of a rendition's lines.
pub fn draw(
    stage: &mut Stage,
    known: &mut Known,
    request: &Request,
    (id, by): (&str, By),
    cancel: &AtomicBool,
) -> Option<Drawn> {
    let recipe = &request.recipe;
    let code = |light| {
        let light = request.vision.see(light);
        light.map(|part| (255.0 * srgb_encode_exact(part)).round() as u8)
    };
    let told = told(recipe, recipe.rendition(id)?).ok()?;
    let mut lines = Vec::new();
    let mut leaders = Vec::new();
    let mut missing = Vec::new();
    let mut values: Vec<Arc<Vec<f32>>> = Vec::new();
    for line in &told.lines {
        // Channels that are not in memory take no part, which is said.
        let Some(layer) = layer(request, line.channel) else {
            missing.push(line.name.clone());
            continue;
        };
        let Some(side) = known.side(layer, request.grid.step) else {
            let what = format!("{} has no noise to measure by", line.name);
            let hint = "This works on stacks as a camera makes them; hide that channel";
            return blank(request, Found::nothing(what, hint));
        };
        lines.push(Line {
            stretch: &recipe.channels[line.channel].stretch,
            vector: line.vector,
            shown: line.shown,
            sky: side.sky,
            noise: side.noise,
        });
        leaders.push(Leader {
            name: line.name.clone(),
            ramp: std::array::from_fn(|step| {
                code(line_color(line.shown, step as f64 / (RAMP - 1) as f64))
            }),
        });
        values.push(stage.of(&**layer, &request.grid, cancel)?);
    }
    if lines.len() < 2 {
        let what = format!("{id} shows fewer than two lines");
        let hint = "Show another line in it, or look at another rendition";
        return blank(request, Found::nothing(what, hint));
    }
    let undecided = code(undecided_color());
    let leading = Leading::new(&lines, by);
    let counts = Mutex::new(leading.run(&[], &mut []));
    let drawn = fill(request, cancel, |piece| {
        let inputs: Vec<&[f32]> = values
            .iter()
            .map(|values| &values[piece.pixels.clone()])
            .collect();
        let mut codes = vec![0_u16; piece.rgb.len()];
        let found = leading.run(&inputs, &mut codes);
        for (code, deep) in piece.rgb.iter_mut().zip(codes) {
            *code = ((u32::from(deep) + 128) / 257) as u8;
        }
        seen(piece.rgb, request.vision);
        let mut sum = counts.lock().unwrap_or_else(PoisonError::into_inner);
        sum.add(&found);
    })?;
    Some(Drawn {
        found: Some(Found::Leading {
            lines: leaders,
            undecided,
            missing,
            counts: counts.into_inner().unwrap_or_else(PoisonError::into_inner),
        }),
        ..drawn
    })
}
