//! Everything in one go: the grid, the crop, the skies, the stretches.

use std::path::Path;
use std::sync::{Arc, Mutex};

use super::load::{Desk, Made, Places, at_once, ready_order};
use super::tell::{Tell, lock};
use super::{Event, Step};
use crate::engine::frame::Rows as _;
use crate::engine::recipe::{Channel, Crop, Recipe, check};
use crate::work::inputs::Input;
use crate::work::prepare::{each, stars_of};
use crate::work::{Error, arrange, balance};

/// Prepares all channels. One that fails keeps its old state and is told.
///
/// # Errors
/// When nothing is left, or the job is stopped.
pub fn run(old: Recipe, folder: &Path, tell: &Tell<'_>) -> Result<(), Error> {
    let mut notices = Vec::new();
    let mut recipe = old.clone();
    // Nothing hangs on the old grid while the new one is sought.
    for channel in &mut recipe.channels {
        channel.align = None;
        channel.level = None;
    }
    recipe.crop = None;
    let mut inputs = grid(&old, &mut recipe, folder, &mut notices, tell)?;
    skies(&mut recipe, &mut inputs, folder, tell)?;
    // What failed is as it was before.
    let stays = |index: usize| !inputs.iter().any(|input| input.channel == index);
    for index in 0..recipe.channels.len() {
        if stays(index) {
            recipe.channels[index] = old.channels[index].clone();
        }
    }
    let needed: Vec<usize> = inputs.iter().map(|input| input.channel).collect();
    let whole = recipe.clone();
    let desk = Desk::new(&whole, folder, &Places::new(), tell);
    let (prepared, more) = desk.prepared(&whole, &inputs, &needed, &needed)?;
    notices.extend(more);
    let made: Mutex<Vec<(usize, Made)>> = Mutex::default();
    at_once(&prepared, |(index, ready)| {
        let Some(input) = inputs.iter().find(|input| input.channel == *index) else {
            return Ok(());
        };
        match desk.measured(input, ready.clone(), ready_order(input, ready)) {
            Ok(one) => lock(&made).push((*index, one)),
            Err(error) => desk.failed(*index, error)?,
        }
        Ok(())
    })?;
    drop(prepared);
    tell.control().check()?;
    let mut made = std::mem::take(&mut *lock(&made));
    made.sort_by_key(|(index, _)| *index);
    let mut layers = Vec::new();
    for index in 0..recipe.channels.len() {
        let one = made.iter().position(|(own, _)| *own == index);
        let one = one.map(|position| made.remove(position).1);
        match one {
            Some(Made {
                layer,
                stretch: Ok(stretch),
            }) => {
                recipe.channels[index].stretch = stretch;
                layers.push((index, layer));
            }
            Some(Made {
                stretch: Err(error),
                ..
            }) => {
                recipe.channels[index] = old.channels[index].clone();
                let name = &recipe.channels[index].file;
                let error = Error::request(format!("{name}: {error}"), error.hint());
                desk.failed(index, error)?;
            }
            None => recipe.channels[index] = old.channels[index].clone(),
        }
    }
    notices.extend(balance::kept(&old, &mut recipe));
    check::whole(&recipe).map_err(|problem| {
        Error::request(format!("{}: {}", problem.place, problem.what), problem.hint)
    })?;
    let steps = steps(&recipe, &layers);
    tell.event(Event::Prepared {
        ticket: tell.ticket,
        recipe: Box::new(recipe.clone()),
        steps,
        notices,
    });
    for (index, layer) in layers {
        tell.event(Event::Layer {
            ticket: tell.ticket,
            channel: recipe.channels[index].id.clone(),
            layer: Arc::new(layer),
        });
    }
    Ok(())
}

// Reference, alignment and crop; the result is what takes part.
fn grid(
    old: &Recipe,
    recipe: &mut Recipe,
    folder: &Path,
    notices: &mut Vec<String>,
    tell: &Tell<'_>,
) -> Result<Vec<Input>, Error> {
    let asked = recipe.clone();
    let desk = Desk::new(&asked, folder, &Places::new(), tell);
    let (mut inputs, mut stars) = (Vec::new(), Vec::new());
    for index in 0..asked.channels.len() {
        let input = desk.open(index).and_then(|input| {
            let found = stars_of(&input, &asked.channels[index].id, desk.control(index))?;
            Ok((input, found))
        });
        match input {
            Ok((input, found)) => {
                inputs.push(input);
                stars.push(found);
            }
            Err(error) => desk.failed(index, error)?,
        }
    }
    match inputs.as_slice() {
        [] => {
            return Err(Error::request(
                "no channel can be read",
                "bring the files back, or open them from where they are",
            ));
        }
        [one] => recipe.reference = Some(asked.channels[one.channel].id.clone()),
        _ => arrange::by_stars(recipe, &inputs, &stars, notices),
    }
    // A part that was chosen by hand stays while its grid does.
    let same = old.reference().map(|c| &c.id) == recipe.reference().map(|c| &c.id);
    if let (true, Some(Crop::Part(part))) = (same, old.crop) {
        recipe.crop = Some(Crop::Part(part));
    }
    // One that no grid takes cannot be prepared with the others.
    let reference = recipe.reference().map(|channel| channel.id.clone());
    let size = inputs
        .iter()
        .find(|input| Some(&recipe.channels[input.channel].id) == reference.as_ref())
        .map(|input| input.facts.size);
    let (fitting, odd): (Vec<Input>, Vec<Input>) = inputs.into_iter().partition(|input| {
        recipe.channels[input.channel].align.is_some() || Some(input.facts.size) == size
    });
    for input in odd {
        let error = Error::request(
            format!(
                "its stars do not match the reference's, and it is {} where that is {}",
                input.facts.size,
                size.map_or_else(String::new, |size| size.to_string())
            ),
            "give it a matrix of its own in the recipe, or stack it on the reference's grid",
        );
        desk.failed(input.channel, error)?;
    }
    Ok(fitting)
}

// Which skies are worth levelling shows on the whole grid.
fn skies(
    recipe: &mut Recipe,
    inputs: &mut Vec<Input>,
    folder: &Path,
    tell: &Tell<'_>,
) -> Result<(), Error> {
    let whole = Recipe {
        crop: None,
        ..recipe.clone()
    };
    let desk = Desk::new(&whole, folder, &Places::new(), tell);
    let needed: Vec<usize> = inputs.iter().map(|input| input.channel).collect();
    let preparation = each(
        &whole,
        inputs,
        &needed,
        &|index| desk.control(index),
        &mut |index, error| desk.failed(index, error),
        tell.control(),
    )?;
    let mut good = Vec::new();
    for (index, prepared) in preparation.indices.iter().zip(preparation.channels) {
        let id = &whole.channels[*index].id;
        match arrange::sky(&*prepared.rows, id, desk.control(*index)) {
            Ok(found) => {
                recipe.channels[*index].level = found.map(|(level, _)| level);
                good.push(*index);
            }
            Err(error) => desk.failed(*index, error)?,
        }
    }
    inputs.retain(|input| good.contains(&input.channel));
    Ok(())
}

fn steps(recipe: &Recipe, layers: &[(usize, super::Layer)]) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut add = |channel: &Channel, step: &'static str, outcome: String| {
        steps.push(Step {
            channel: channel.id.clone(),
            step,
            outcome,
        });
    };
    let reference = recipe.reference().map(|channel| channel.id.clone());
    for (index, layer) in layers {
        let channel = &recipe.channels[*index];
        let outcome = match &layer.align {
            None if Some(&channel.id) == reference.as_ref() => "the reference".to_owned(),
            None => "lies on the reference as it stands".to_owned(),
            Some(entry) => match (entry.stars, entry.rms_px) {
                (Some(stars), Some(rms)) => format!("matched {stars} stars, {rms:.2} px"),
                _ => format!("laid on the reference by {}", entry.model),
            },
        };
        add(channel, "align", outcome);
    }
    if recipe.crop.is_some()
        && let Some((index, layer)) = layers.first()
    {
        let size = layer.plane.size();
        let channel = recipe.reference().unwrap_or(&recipe.channels[*index]);
        add(channel, "crop", format!("cropped to {size}"));
    }
    for (index, layer) in layers {
        let outcome = match &layer.level {
            None => "even enough: left alone".to_owned(),
            Some(entry) => {
                let ends = entry.amplitude_over_noise.unwrap_or_default();
                format!("glow {ends:.0} times the noise, {}", entry.kind)
            }
        };
        add(&recipe.channels[*index], "level", outcome);
    }
    for (index, _) in layers {
        let channel = &recipe.channels[*index];
        let stretch = &channel.stretch;
        let outcome = format!("black {}, white {}", stretch.black, stretch.white);
        add(channel, "stretch", outcome);
    }
    steps
}
