//! Changes to how a rendition is finished: stars, noise, brightness, white
//! balance, continuum. As with every change to the mix, what comes out holds as
//! a whole, or is none.

use std::collections::BTreeMap;

use super::{brightened, changed};
use crate::engine::lines;
use crate::engine::mix::assign::natural_color;
use crate::engine::recipe::stars::missing_band;
use crate::engine::recipe::{
    Balance, Blend, Channel, ColorValue, Continuum, Gamut, Luminance, Recipe, Rendition, ShowStars,
    StarLook, Stretch, arrange, check,
};

/// The bands that a white balance is for, in its order.
pub const BANDS: [&str; 3] = ["R", "G", "B"];

/// The least and the most factor of a white balance that the window offers.
pub const GAINS: [f64; 2] = [0.01, 100.0];

fn is_broad(channel: &Channel) -> bool {
    lines::line(&channel.line).is_some_and(lines::Line::is_broad)
}

fn band_of(channel: &Channel) -> Option<usize> {
    let line = lines::line(&channel.line)?;
    BANDS.iter().position(|band| *band == line.id)
}

/// A recipe with one change to a channel; None where it would not hold.
pub fn channel_changed(
    recipe: &Recipe,
    channel: &str,
    change: impl FnOnce(&mut Channel),
) -> Option<Recipe> {
    let mut recipe = recipe.clone();
    let found = recipe.channels.iter_mut().find(|c| c.id == channel)?;
    change(found);
    check::whole(&recipe).is_ok().then_some(recipe)
}

// 0 is not written.
fn share(value: f64) -> Option<f64> {
    (value > 0.0).then_some(value.min(1.0))
}

/// A recipe whose rendition shows stars so.
pub fn with_stars(recipe: &Recipe, rendition: &str, look: StarLook) -> Option<Recipe> {
    changed(recipe, rendition, |rendition| {
        rendition.stars = (!look.is_plain()).then_some(look);
    })
}

/// Why a way of showing stars cannot be had from these channels.
pub fn stars_hindered(recipe: &Recipe, show: ShowStars) -> Option<String> {
    let missing = missing_band(recipe).filter(|_| show == ShowStars::Broadband)?;
    Some(format!(
        "Needs R, G and B, and there is no channel of {missing}: open its stack first"
    ))
}

/// A recipe in which a channel's noise is smoothed by this share, 0..1.
pub fn denoised(recipe: &Recipe, channel: &str, value: f64) -> Option<Recipe> {
    channel_changed(recipe, channel, |channel| channel.denoise = share(value))
}

/// A recipe in which the noise of all channels is smoothed by the same share.
pub fn all_denoised(recipe: &Recipe, value: f64) -> Option<Recipe> {
    let mut recipe = recipe.clone();
    for channel in &mut recipe.channels {
        channel.denoise = share(value);
    }
    check::whole(&recipe).is_ok().then_some(recipe)
}

/// A recipe whose rendition takes smoother colours, 0..1.
pub fn with_smooth_color(recipe: &Recipe, rendition: &str, value: f64) -> Option<Recipe> {
    changed(recipe, rendition, |rendition| {
        rendition.smooth_color = share(value);
    })
}

/// Whether any noise is smoothed away in the picture of a rendition.
pub fn is_smoothed(recipe: &Recipe, rendition: &Rendition) -> bool {
    let some = |share: Option<f64>| share.is_some_and(|share| share > 0.0);
    some(rendition.smooth_color) || recipe.channels.iter().any(|c| some(c.denoise))
}

/// The recipe with all its noise left in, to look at.
pub fn unsmoothed(recipe: &mut Recipe) {
    for channel in &mut recipe.channels {
        channel.denoise = None;
    }
    for rendition in &mut recipe.renditions {
        rendition.smooth_color = None;
    }
}

/// A stretch for the weighted mean of the channels of a luminance: their black
/// and white points by the same weights, the shape of the heaviest.
pub fn own_stretch(recipe: &Recipe, from: &BTreeMap<String, f64>) -> Option<Stretch> {
    let parts: Vec<(f64, &Stretch)> = recipe
        .channels
        .iter()
        .filter_map(|channel| Some((*from.get(&channel.id)?, &channel.stretch)))
        .filter(|(weight, _)| *weight > 0.0)
        .collect();
    let total: f64 = parts.iter().map(|(weight, _)| weight).sum();
    let (_, heaviest) = parts
        .iter()
        .rev()
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .copied()?;
    let mean = |end: fn(&Stretch) -> f64| {
        parts
            .iter()
            .map(|(w, stretch)| w * end(stretch))
            .sum::<f64>()
            / total
    };
    Some(Stretch {
        black: mean(|stretch| stretch.black),
        white: mean(|stretch| stretch.white),
        ..heaviest.clone()
    })
}

/// A recipe whose rendition takes its brightness from other channels; a stretch
/// of its own begins anew from theirs, fine structure stays.
pub fn reweighted(recipe: &Recipe, rendition: &str, from: BTreeMap<String, f64>) -> Option<Recipe> {
    let now = recipe.rendition(rendition)?.luminance.clone();
    let own = now.as_ref().is_some_and(|now| now.stretch.is_some());
    let new = Luminance {
        amount: now.as_ref().map_or(1.0, |now| now.amount),
        stretch: own.then(|| own_stretch(recipe, &from)).flatten(),
        detail: now.and_then(|now| now.detail),
        from,
    };
    brightened(recipe, rendition, Some(new))
}

/// A recipe whose rendition brings out this much of the fine structure, 0..1.
/// None where its brightness is that of the mix.
pub fn with_detail(recipe: &Recipe, rendition: &str, value: f64) -> Option<Recipe> {
    let mut luminance = recipe.rendition(rendition)?.luminance.clone()?;
    luminance.detail = share(value);
    brightened(recipe, rendition, Some(luminance))
}

/// A recipe whose rendition stretches the brightness by itself, or no longer.
pub fn with_own_stretch(
    recipe: &Recipe,
    rendition: &str,
    stretch: Option<Stretch>,
) -> Option<Recipe> {
    let mut luminance = recipe.rendition(rendition)?.luminance.clone()?;
    luminance.stretch = stretch;
    brightened(recipe, rendition, Some(luminance))
}

/// Whether a white balance changes anything in a rendition: it shows R, G or B,
/// or stars by them.
pub fn is_balanceable(recipe: &Recipe, rendition: &Rendition) -> bool {
    let shows = |channel: &Channel| {
        rendition.colors.contains_key(&channel.id)
            || (rendition.luminance.as_ref())
                .is_some_and(|luminance| luminance.from.contains_key(&channel.id))
    };
    rendition.star_look().show == ShowStars::Broadband
        || recipe
            .channels
            .iter()
            .any(|channel| band_of(channel).is_some() && shows(channel))
}

/// A recipe with one gain of the white balance given by hand. What was measured
/// before no longer holds and goes.
pub fn with_gain(recipe: &Recipe, rendition: &str, band: usize, gain: f64) -> Option<Recipe> {
    let [least, most] = GAINS;
    let before = recipe.rendition(rendition)?.balance.clone();
    let mut balance = Balance {
        gains: before.as_ref().map_or([1.0; 3], |before| before.gains),
        sky: before.and_then(|before| before.sky),
        by: crate::engine::recipe::BalancedBy::Hand,
        uncertainty: None,
        stars: None,
        catalogue: None,
    };
    *balance.gains.get_mut(band)? = gain.clamp(least, most);
    balanced(recipe, rendition, Some(balance))
}

/// A recipe whose rendition has this white balance, or none.
pub fn balanced(recipe: &Recipe, rendition: &str, balance: Option<Balance>) -> Option<Recipe> {
    changed(recipe, rendition, |rendition| rendition.balance = balance)
}

/// The broad channels that can take the stars' light out of a channel, by index;
/// none for a broad one.
pub fn continuum_sources(recipe: &Recipe, channel: &Channel) -> Vec<usize> {
    if is_broad(channel) {
        return Vec::new();
    }
    (0..recipe.channels.len())
        .filter(|index| is_broad(&recipe.channels[*index]))
        .collect()
}

/// A recipe in which a broad channel takes the stars' light out of another.
pub fn without_continuum(
    recipe: &Recipe,
    channel: &str,
    continuum: Option<Continuum>,
) -> Option<Recipe> {
    channel_changed(recipe, channel, |channel| channel.continuum = continuum)
}

/// A rendition called `id` in true colour, the emission of narrow channels added
/// in their own: R, G and B, those narrow channels whose continuum is taken out,
/// and the brightness of L where there is one.
///
/// # Errors
/// In words, where the channels for it are not there.
pub fn true_color_with_emission(recipe: &Recipe, id: &str) -> Result<Rendition, String> {
    if let Some(missing) = missing_band(recipe) {
        return Err(format!(
            "There is no channel of {missing}: open its stack first"
        ));
    }
    let emission = |channel: &&Channel| {
        channel.continuum.is_some() && natural_color(&channel.line, channel.center_nm).is_some()
    };
    let narrow: Vec<&Channel> = recipe.channels.iter().filter(emission).collect();
    if narrow.is_empty() {
        return Err(
            "No narrow channel has its continuum taken out: choose a broad one for it in the \
             menu of its card"
                .to_owned(),
        );
    }
    let broad = BANDS.iter().filter_map(|band| recipe.band(band));
    let mut made = Rendition::blank(id);
    made.blend = Blend::Light;
    made.gamut = Some(Gamut::HoldHue);
    made.colors = broad
        .chain(narrow)
        .map(|channel| (channel.id.clone(), ColorValue::Natural))
        .collect();
    made.luminance = recipe
        .band("L")
        .map(|light| Luminance::of(BTreeMap::from([(light.id.clone(), 1.0)])));
    Ok(made)
}

/// A recipe without a channel: what was made with its light is as it was before.
/// None where a rendition would show nothing.
pub fn without_channel(recipe: &Recipe, id: &str) -> Option<Recipe> {
    let mut left = arrange::without(recipe, id)?;
    for channel in &mut left.channels {
        if channel.continuum.as_ref().is_some_and(|one| one.from == id) {
            channel.continuum = None;
        }
    }
    if missing_band(&left).is_some() {
        for rendition in &mut left.renditions {
            let look = rendition.star_look();
            if look.show == ShowStars::Broadband {
                rendition.stars = Some(StarLook {
                    show: ShowStars::Neutral,
                    ..look
                });
            }
        }
    }
    check::whole(&left).is_ok().then_some(left)
}

#[cfg(test)]
mod tests;
