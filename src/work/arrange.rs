//! What a draft switches on: which channel is the reference, which ones have to
//! be aligned, whether to crop, and whose sky has to be evened.

use super::inputs::Input;
use super::prepare::{points, stars_of};
use super::{Control, Error};
use crate::engine::align::matching::match_stars;
use crate::engine::align::sky_grid;
use crate::engine::align::stars::Stars;
use crate::engine::align::transform::Transform;
use crate::engine::frame::{Rows, Size};
use crate::engine::level::{self, LevelError, Notice, SkyModel};
use crate::engine::recipe::{Align, AlignMethod, Crop, Level, Recipe};
use crate::engine::wcs::Wcs;

/// Channels that lie on each other this well are left as they stand, px.
const SAME_GRID_PX: f64 = 0.1;

/// Stars at most this much wider than those of the sharpest channel, as a factor.
const NEARLY_AS_SHARP: f64 = 1.1;

/// Less of the field than this is no sky that a model could be trusted on.
const LEAST_SKY: f64 = 0.025;

/// Glow that varies by more than this over the field, in units of one pixel's
/// noise, is worth taking out.
const WORTH_LEVELLING: f64 = 5.0;

/// Sets reference, `align` and `crop` of a draft.
///
/// # Errors
/// When a file cannot be read, or the job is stopped.
pub fn arrange(
    recipe: &mut Recipe,
    inputs: &[Input],
    notices: &mut Vec<String>,
    control: Control<'_>,
) -> Result<(), Error> {
    if inputs.len() > 1 {
        let stars: Vec<Stars> = inputs
            .iter()
            .map(|input| stars_of(input, &recipe.channels[input.channel].id, control))
            .collect::<Result<_, _>>()?;
        by_stars(recipe, inputs, &stars, notices);
    }
    Ok(())
}

/// As [`arrange`], with the stars of each input, found before.
pub fn by_stars(recipe: &mut Recipe, inputs: &[Input], stars: &[Stars], notices: &mut Vec<String>) {
    let id = |recipe: &Recipe, input: &Input| recipe.channels[input.channel].id.clone();
    // The one with the most stars is the easiest to lay the others on; which
    // one is sharpest shows once they share its scale.
    let Some(first) = (0..inputs.len()).max_by_key(|i| (stars[*i].stars.len(), usize::MAX - i))
    else {
        return;
    };
    let onto_first: Vec<Option<Transform>> = inputs
        .iter()
        .enumerate()
        .map(|(i, input)| {
            if i == first {
                return Transform::from_matrix([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);
            }
            match_stars(
                &points(&stars[i].stars),
                &points(&stars[first].stars),
                input.facts.size,
                inputs[first].facts.size,
            )
            .ok()
            .map(|matched| matched.transform)
        })
        .collect();
    let enough = (stars[first].stars.len() / 4).max(15);
    // A channel that no rendition shows is no reference.
    let shown = |i: usize| {
        let id = &recipe.channels[inputs[i].channel].id;
        recipe
            .renditions
            .iter()
            .any(|rendition| rendition.colors.contains_key(id))
    };
    let sharpness = |i: usize| {
        let [[a, b, _], [c, d, _], _] = onto_first[i].as_ref()?.to_reference.matrix;
        let scale = (a * d - b * c).abs().sqrt();
        (stars[i].stars.len() >= enough).then_some(stars[i].fwhm_px? * scale)
    };
    let candidates: Vec<(f64, usize)> = (0..inputs.len())
        .filter(|i| shown(*i))
        .filter_map(|i| Some((sharpness(i)?, i)))
        .collect();
    let best = candidates
        .iter()
        .map(|(width, _)| *width)
        .fold(f64::INFINITY, f64::min);
    // Among the nearly sharpest, one that knows its place on the sky.
    let on_sky = |i: usize| Wcs::from_header(&inputs[i].facts.header).is_some();
    let reference = candidates
        .iter()
        .filter(|(width, _)| *width <= best * NEARLY_AS_SHARP)
        .min_by(|a, b| on_sky(b.1).cmp(&on_sky(a.1)).then(a.0.total_cmp(&b.0)))
        .map_or(first, |(_, i)| *i);
    recipe.reference = Some(id(recipe, &inputs[reference]));
    for (i, input) in inputs.iter().enumerate() {
        if i == reference {
            continue;
        }
        let name = id(recipe, input);
        let method = match (&onto_first[i], &onto_first[reference]) {
            (Some(own), Some(theirs))
                if said_to_be_one_grid(input, &inputs[reference])
                    && same_grid(
                        own,
                        theirs,
                        input.facts.size,
                        inputs[reference].facts.size,
                        1.0,
                    ) =>
            {
                None
            }
            (Some(own), Some(theirs)) => (!same_grid(
                own,
                theirs,
                input.facts.size,
                inputs[reference].facts.size,
                SAME_GRID_PX,
            ))
            .then_some(AlignMethod::Stars),
            _ => unmatched(input, &inputs[reference], &name, notices),
        };
        recipe.channels[input.channel].align = method.map(|method| Align {
            method,
            matrix: None,
        });
    }
    if recipe
        .channels
        .iter()
        .any(|channel| channel.align.is_some())
    {
        recipe.crop = Some(Crop::Common);
    }
}

// Whether two pictures lie on each other as they stand.
fn same_grid(
    own: &Transform,
    theirs: &Transform,
    size: Size,
    reference: Size,
    within_px: f64,
) -> bool {
    let (right, bottom) = ((size.width - 1) as f64, (size.height - 1) as f64);
    let corners = [[0.0, 0.0], [right, 0.0], [0.0, bottom], [right, bottom]];
    size == reference
        && corners.into_iter().all(|corner| {
            let [x, y] = theirs.to_source.apply(own.to_reference.apply(corner));
            (x - corner[0]).abs() < within_px && (y - corner[1]).abs() < within_px
        })
}

// Whether both headers give the sky the same place in the picture: few stars
// say less of it than that.
fn said_to_be_one_grid(input: &Input, reference: &Input) -> bool {
    let (size, other) = (input.facts.size, reference.facts.size);
    let (Ok((transform, _)), Some(identity)) = (
        sky_grid::between(&input.facts.header, size, &reference.facts.header, other),
        Transform::from_matrix([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    ) else {
        return false;
    };
    same_grid(&transform, &identity, size, other, 0.02)
}

// What to do where stars do not match: world coordinates, or as it stands.
fn unmatched(
    input: &Input,
    reference: &Input,
    name: &str,
    notices: &mut Vec<String>,
) -> Option<AlignMethod> {
    let by_sky = sky_grid::between(
        &input.facts.header,
        input.facts.size,
        &reference.facts.header,
        reference.facts.size,
    );
    if let Ok((transform, _)) = by_sky {
        let identity = Transform::from_matrix([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);
        let stands = identity.is_some_and(|identity| {
            same_grid(
                &transform,
                &identity,
                input.facts.size,
                reference.facts.size,
                SAME_GRID_PX,
            )
        });
        return (!stands).then_some(AlignMethod::Wcs);
    }
    if input.facts.size == reference.facts.size {
        notices.push(format!(
            "{name}: its stars do not match the reference's; it is used as it stands"
        ));
        return None;
    }
    notices.push(format!(
        "{name}: its stars do not match the reference's, and it is {} where that is {}: give it \
         `align` with `method = \"given\"` and a matrix",
        input.facts.size, reference.facts.size
    ));
    None
}

/// Whether and how the sky of a prepared channel has to be evened: by the
/// stiffest model that its samples follow, where there is enough sky to say so
/// and glow worth taking out.
///
/// # Errors
/// When it cannot be read, or the job is stopped.
pub fn sky(
    rows: &dyn Rows,
    id: &str,
    control: Control<'_>,
) -> Result<Option<(Level, SkyModel)>, Error> {
    for degree in [1, 2] {
        let level = Level {
            degree: Some(degree),
            ..Level::default()
        };
        let Some(model) = model(rows, id, &level, control)? else {
            continue;
        };
        let uneven = |notice: &Notice| matches!(notice, Notice::Uneven { .. });
        let share = model.samples as f64 / (model.samples + model.refused).max(1) as f64;
        if share < LEAST_SKY || model.notices.iter().any(uneven) {
            continue;
        }
        let worth = model
            .amplitude_over_noise
            .is_some_and(|amplitude| amplitude > WORTH_LEVELLING);
        return Ok(worth.then_some((level, model)));
    }
    Ok(None)
}

fn model(
    rows: &dyn Rows,
    id: &str,
    level: &Level,
    control: Control<'_>,
) -> Result<Option<SkyModel>, Error> {
    let mut tick = control.tick(format!("{id}: sky"));
    match level::model(rows, level, &mut tick) {
        Ok(model) => Ok(Some(model)),
        Err(LevelError::Rows(error)) => Err(error.into()),
        Err(LevelError::Stopped) => Err(Error::Cancelled),
        // No sky to speak of: nothing to even.
        Err(_) => Ok(None),
    }
}
