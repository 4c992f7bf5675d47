//! Whether a rendition makes sense.

use super::channel::stretch;
use super::numbers::{Checked, MOST_LIGHT, MOST_SATURATION, bounded, fail, finite, share};
use crate::engine::color::css::linear_srgb;
use crate::engine::mix::assign::natural_color;
use crate::engine::recipe::text::nearest_hint;
use crate::engine::recipe::{Channel, ColorValue, Luminance, Recipe, Rendition};

pub(super) fn rendition(rendition: &Rendition, recipe: &Recipe) -> Checked {
    let ids = || recipe.channels.iter().map(|channel| channel.id.as_str());
    if rendition.colors.is_empty() {
        return fail(
            "`colors` names no channel",
            "give at least one channel a color",
        );
    }
    for (id, value) in &rendition.colors {
        let Some(channel) = recipe.channel(id) else {
            let what = format!("`colors` names the channel `{id}`, which is not there");
            return fail(what, nearest_hint(id, ids()));
        };
        color(id, value, channel)?;
    }
    if let Some(saturation) = rendition.saturation {
        bounded("saturation", saturation, MOST_SATURATION)?;
        if saturation < 0.0 {
            return fail(
                format!("`saturation = {saturation}` is below 0"),
                "0 is grey, 1 as mixed",
            );
        }
    }
    if let Some(balance) = &rendition.balance {
        balance.check()?;
    }
    if let Some(stars) = &rendition.stars {
        stars.check(recipe)?;
    }
    share("smooth_color", rendition.smooth_color)?;
    match &rendition.luminance {
        Some(luminance) => self::luminance(luminance, recipe),
        None => Ok(()),
    }
}

fn color(id: &str, value: &ColorValue, channel: &Channel) -> Checked {
    match value {
        ColorValue::Css(text) => match linear_srgb(text) {
            Ok(_) => Ok(()),
            Err(error) => fail(
                format!("colors.{id}: {error}"),
                "see CSS Color 4 for the notation",
            ),
        },
        ColorValue::Vector(vector) => vector
            .iter()
            .try_for_each(|component| bounded(&format!("colors.{id}"), *component, MOST_LIGHT)),
        ColorValue::Hue {
            hue,
            saturation,
            strength,
        } => {
            finite(&format!("colors.{id}.hue"), *hue)?;
            bounded(&format!("colors.{id}.strength"), *strength, MOST_LIGHT)?;
            bounded(
                &format!("colors.{id}.saturation"),
                *saturation,
                MOST_SATURATION,
            )?;
            if *saturation < 0.0 {
                let what = format!("`colors.{id}.saturation = {saturation}` is below 0");
                return fail(what, "0 is white, 1 the pure color, more lies beyond it");
            }
            if *strength < 0.0 {
                let what = format!("`colors.{id}.strength = {strength}` is below 0");
                return fail(what, "to take light away, write the color as a vector");
            }
            Ok(())
        }
        ColorValue::Natural => match natural_color(&channel.line, channel.center_nm) {
            Some(_) => Ok(()),
            None => fail(
                format!("the light of channel `{id}` is invisible: it has no natural color"),
                format!("give it a mapped one, for example `{id} = \"#b04060\"`, or leave it out"),
            ),
        },
    }
}

fn luminance(luminance: &Luminance, recipe: &Recipe) -> Checked {
    for (id, weight) in &luminance.from {
        if recipe.channel(id).is_none() {
            let ids = recipe.channels.iter().map(|channel| channel.id.as_str());
            let what = format!("`luminance.from` names the channel `{id}`, which is not there");
            return fail(what, nearest_hint(id, ids));
        }
        finite(&format!("luminance.from.{id}"), *weight)?;
        if *weight < 0.0 {
            let what = format!("`luminance.from.{id} = {weight}` is below 0");
            return fail(what, "weights are 0 or more");
        }
    }
    let total: f64 = luminance.from.values().sum();
    if total <= 0.0 || !total.is_finite() {
        return fail(
            "the weights of `luminance.from` sum to nothing",
            "give one at least above 0",
        );
    }
    if !(0.0..=1.0).contains(&luminance.amount) {
        let what = format!("`luminance.amount = {}` is out of range", luminance.amount);
        return fail(
            what,
            "0 leaves the mix alone, 1 takes the brightness wholly",
        );
    }
    share("luminance.detail", luminance.detail)?;
    match &luminance.stretch {
        Some(stretch) => self::stretch(stretch)
            .map_err(|(what, hint)| (what.replacen("stretch.", "luminance.stretch.", 1), hint)),
        None => Ok(()),
    }
}
