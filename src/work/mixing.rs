//! Changes to a rendition. Each takes a recipe and gives one that holds as a
//! whole, or none: nothing else may reach the history.

pub mod finishing;

mod painted;

use std::collections::BTreeMap;

use crate::engine::color::css;
use crate::engine::color::oklab::oklch;
use crate::engine::lines;
use crate::engine::mix::assign::{natural_color, vector};
use crate::engine::recipe::{Channel, ColorValue, Luminance, Recipe, Rendition, check};
pub use painted::{is_painted, painted, sampled, with_palette};

/// The largest component that a number of the matrix may have.
pub const MOST: f64 = 100.0;

/// The least strength of a colour that is not written as a hue: at 0 its hue
/// would be forgotten.
pub const LEAST_STRENGTH: f64 = 0.001;

/// A recipe with one change to a rendition; None where it would not hold.
pub fn changed(
    recipe: &Recipe,
    rendition: &str,
    change: impl FnOnce(&mut Rendition),
) -> Option<Recipe> {
    let mut recipe = recipe.clone();
    let found = recipe.renditions.iter_mut().find(|r| r.id == rendition)?;
    change(found);
    check::whole(&recipe).is_ok().then_some(recipe)
}

/// A recipe with another colour for a channel of a rendition.
pub fn colored(
    recipe: &Recipe,
    rendition: &str,
    channel: &str,
    value: ColorValue,
) -> Option<Recipe> {
    changed(recipe, rendition, |rendition| {
        rendition.colors.insert(channel.to_owned(), value);
    })
}

/// The vector of a channel's colour, without the eye's weights.
pub fn numbers(value: &ColorValue, channel: &Channel) -> Option<[f64; 3]> {
    vector(value, &channel.line, channel.center_nm)
        .ok()
        .flatten()
}

/// A colour with one of its numbers replaced: it is written as numbers then.
pub fn with_number(
    value: &ColorValue,
    channel: &Channel,
    component: usize,
    number: f64,
) -> Option<ColorValue> {
    let mut vector = numbers(value, channel)?;
    *vector.get_mut(component)? = number.clamp(-MOST, MOST);
    Some(ColorValue::Vector(vector))
}

/// How strong a colour is: a hue's own strength, else the largest of the
/// numbers, signs left out.
pub fn strength(value: &ColorValue, channel: &Channel) -> Option<f64> {
    match value {
        ColorValue::Hue { strength, .. } => Some(*strength),
        _ => numbers(value, channel).map(largest),
    }
}

fn largest(vector: [f64; 3]) -> f64 {
    vector.iter().fold(0.0, |most, c| c.abs().max(most))
}

/// A colour of another strength. A hue stays a hue; everything else is written
/// as numbers, all scaled alike. Black becomes grey.
pub fn with_strength(value: &ColorValue, channel: &Channel, wanted: f64) -> Option<ColorValue> {
    let wanted = wanted.clamp(0.0, MOST);
    if let ColorValue::Hue {
        hue, saturation, ..
    } = value
    {
        return Some(ColorValue::Hue {
            hue: *hue,
            saturation: *saturation,
            strength: wanted,
        });
    }
    let wanted = wanted.max(LEAST_STRENGTH);
    let vector = numbers(value, channel)?;
    let largest = largest(vector);
    Some(ColorValue::Vector(if largest > 0.0 {
        vector.map(|component| component * (wanted / largest))
    } else {
        [wanted; 3]
    }))
}

/// Reads what was typed as a colour: CSS, or `natural`.
///
/// # Errors
/// A sentence that says what would do.
pub fn typed(text: &str, channel: &Channel) -> Result<ColorValue, String> {
    let text = text.trim();
    if text.eq_ignore_ascii_case("natural") {
        return match natural_color(&channel.line, channel.center_nm) {
            Some(_) => Ok(ColorValue::Natural),
            None => Err("No eye sees this light: it has no colour of its own. \
                 Write one, such as #b04060."
                .to_owned()),
        };
    }
    match css::linear_srgb(text) {
        Ok(_) => Ok(ColorValue::Css(text.to_owned())),
        Err(css::CssError::Transparent(_)) => {
            Err("A channel's colour is opaque; its strength is the number beside it.".to_owned())
        }
        Err(css::CssError::Syntax(_)) => Err(format!(
            "\"{text}\" is no CSS colour. Write #e0603a, teal or oklch(0.7 0.15 150)."
        )),
    }
}

/// The colour for a channel that joins a rendition: its own where all others
/// have theirs, or where it is a broad band; else the hue farthest from theirs.
pub fn first_color(recipe: &Recipe, rendition: &Rendition, channel: &Channel) -> ColorValue {
    let natural = natural_color(&channel.line, channel.center_nm).is_some();
    let broad = lines::line(&channel.line).is_some_and(lines::Line::is_broad);
    let all_natural = rendition
        .colors
        .values()
        .all(|value| *value == ColorValue::Natural);
    if natural && (broad || all_natural) {
        return ColorValue::Natural;
    }
    let taken: Vec<f64> = rendition
        .colors
        .iter()
        .filter_map(|(id, value)| numbers(value, recipe.channel(id)?))
        .map(|vector| oklch(vector)[2])
        .collect();
    let between = |a: f64, b: f64| {
        let apart = (a - b).abs() % 360.0;
        apart.min(360.0 - apart)
    };
    let clearance = |hue: f64| {
        taken
            .iter()
            .map(|other| between(hue, *other))
            .fold(360.0, f64::min)
    };
    let hue = (0..24)
        .map(|step| f64::from(step) * 15.0)
        .max_by(|a, b| clearance(*a).total_cmp(&clearance(*b)).then(b.total_cmp(a)))
        .unwrap_or(0.0);
    ColorValue::Hue {
        hue,
        saturation: 1.0,
        strength: 1.0,
    }
}

/// A recipe in which a channel joins a rendition.
pub fn added(recipe: &Recipe, rendition: &str, channel: &str) -> Option<Recipe> {
    let value = first_color(
        recipe,
        recipe.rendition(rendition)?,
        recipe.channel(channel)?,
    );
    colored(recipe, rendition, channel, value)
}

/// A recipe in which a channel leaves a rendition; None for the last one.
pub fn left_out(recipe: &Recipe, rendition: &str, channel: &str) -> Option<Recipe> {
    changed(recipe, rendition, |rendition| {
        rendition.colors.remove(channel);
    })
}

/// A recipe whose rendition takes its brightness from channels by these
/// weights, or from the mix alone.
pub fn brightened(
    recipe: &Recipe,
    rendition: &str,
    luminance: Option<Luminance>,
) -> Option<Recipe> {
    changed(recipe, rendition, |rendition| {
        rendition.luminance = luminance;
    })
}

/// Brightness from every channel of a rendition alike.
pub fn all_alike(rendition: &Rendition, amount: f64) -> Luminance {
    Luminance {
        amount,
        ..Luminance::of(
            rendition
                .colors
                .keys()
                .map(|id| (id.clone(), 1.0))
                .collect(),
        )
    }
}

/// Brightness from one channel.
pub fn from_one(channel: &str, amount: f64) -> Luminance {
    Luminance {
        amount,
        ..Luminance::of(BTreeMap::from([(channel.to_owned(), 1.0)]))
    }
}

/// The channel of a rendition that stands out of its noise the most; where no
/// levels are known, Hα, or else the first in the recipe.
pub fn strongest(
    recipe: &Recipe,
    rendition: &Rendition,
    layers: &BTreeMap<String, std::sync::Arc<super::desk::Layer>>,
) -> Option<String> {
    let taking_part = || {
        recipe
            .channels
            .iter()
            .filter(|channel| rendition.colors.contains_key(&channel.id))
    };
    let measured = taking_part()
        .filter_map(|channel| {
            let levels = layers.get(&channel.id)?.levels?;
            (levels.noise > 0.0).then_some((levels.spread / levels.noise, channel))
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, channel)| channel);
    measured
        .or_else(|| taking_part().find(|channel| channel.line.eq_ignore_ascii_case("Ha")))
        .or_else(|| taking_part().next())
        .map(|channel| channel.id.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::palettes;
    use crate::engine::recipe::{Blend, Gamut};
    use proptest::prelude::*;

    fn recipe() -> Recipe {
        let channel = |id: &str, line: &str| {
            format!(
                "[[channel]]\nid = \"{id}\"\nfile = \"f\"\nline = \"{line}\"\n\
                 [channel.stretch]\nblack = 0\nwhite = 1\n"
            )
        };
        let text = format!(
            "recipe = 1\n{}{}{}{}[[rendition]]\nid = \"r\"\n\
             colors = {{ ha = \"natural\", oiii = {{ hue = 200 }} }}\n",
            channel("oiii", "OIII"),
            channel("ha", "Ha"),
            channel("sii", "SII"),
            channel("siii", "SIII"),
        );
        crate::engine::recipe::text::parse(&text, "test").expect("sound")
    }

    /// One thing that a person may do to the mix, with any numbers.
    #[derive(Debug, Clone)]
    enum Step {
        Number(usize, usize, f64),
        Strength(usize, f64),
        Typed(usize, String),
        Add(usize),
        LeaveOut(usize),
        Saturation(f64),
        Weight(usize, f64),
        Amount(f64),
        Alike,
        Palette(usize),
        NewFrom(usize),
        Blend(bool, bool),
    }

    fn steps() -> impl Strategy<Value = Vec<Step>> {
        let number = || prop_oneof![any::<f64>(), -3.0..3.0f64, Just(0.0)];
        let which = || 0usize..5;
        let text = prop_oneof![
            Just("natural".to_owned()),
            Just("#e0603a".to_owned()),
            Just("rgb(1 2 3 / 10%)".to_owned()),
            Just("color(xyz 1e30 0 0)".to_owned()),
            ".{0,12}"
        ];
        proptest::collection::vec(
            prop_oneof![
                (which(), 0usize..4, number()).prop_map(|(i, c, n)| Step::Number(i, c, n)),
                (which(), number()).prop_map(|(i, n)| Step::Strength(i, n)),
                (which(), text).prop_map(|(i, t)| Step::Typed(i, t)),
                which().prop_map(Step::Add),
                which().prop_map(Step::LeaveOut),
                number().prop_map(Step::Saturation),
                (which(), number()).prop_map(|(i, n)| Step::Weight(i, n)),
                number().prop_map(Step::Amount),
                Just(Step::Alike),
                (0usize..16).prop_map(Step::Palette),
                (0usize..16).prop_map(Step::NewFrom),
                any::<(bool, bool)>().prop_map(|(a, b)| Step::Blend(a, b)),
            ],
            1..20,
        )
    }

    fn done(recipe: &Recipe, step: &Step) -> Option<Recipe> {
        let id = |index: usize| recipe.channels.get(index).map_or("none", |c| &c.id);
        let color = |index: usize| {
            let channel = recipe.channels.get(index)?;
            Some((channel, recipe.renditions[0].colors.get(&channel.id)?))
        };
        let own = &recipe.renditions[0];
        match step {
            Step::Number(index, component, number) => {
                let (channel, value) = color(*index)?;
                let value = with_number(value, channel, *component, *number)?;
                colored(recipe, "r", &channel.id, value)
            }
            Step::Strength(index, wanted) => {
                let (channel, value) = color(*index)?;
                let value = with_strength(value, channel, *wanted)?;
                colored(recipe, "r", &channel.id, value)
            }
            Step::Typed(index, text) => {
                let channel = recipe.channels.get(*index)?;
                colored(recipe, "r", &channel.id, typed(text, channel).ok()?)
            }
            Step::Add(index) => added(recipe, "r", id(*index)),
            Step::LeaveOut(index) => left_out(recipe, "r", id(*index)),
            Step::Saturation(number) => changed(recipe, "r", |r| r.saturation = Some(*number)),
            Step::Weight(index, weight) => {
                let mut luminance = own.luminance.clone().unwrap_or_else(|| all_alike(own, 1.0));
                luminance.from.insert(id(*index).to_owned(), *weight);
                brightened(recipe, "r", Some(luminance))
            }
            Step::Amount(amount) => brightened(recipe, "r", Some(all_alike(own, *amount))),
            Step::Alike => brightened(recipe, "r", Some(from_one("ha", 0.5))),
            Step::Palette(index) => painted(recipe, "r", palettes::built_in().get(*index)?).ok(),
            Step::NewFrom(index) => with_palette(recipe, palettes::built_in().get(*index)?)
                .ok()
                .map(|(recipe, _)| recipe),
            Step::Blend(a, b) => changed(recipe, "r", |r| {
                r.blend = if *a { Blend::Screen } else { Blend::Tone };
                r.gamut = b.then_some(Gamut::Clip);
                r.eye = *b;
            }),
        }
    }

    proptest! {
        #[test]
        fn no_change_leaves_a_recipe_that_does_not_hold(steps in steps()) {
            let mut recipe = recipe();
            for step in &steps {
                if let Some(after) = done(&recipe, step) {
                    prop_assert_eq!(check::whole(&after), Ok(()), "{:?}", step);
                    let text = crate::engine::recipe::text::write(&after).expect("text");
                    let again = crate::engine::recipe::text::parse(&text, "again");
                    prop_assert!(again.is_ok(), "{:?}", again);
                    recipe = after;
                }
            }
        }
    }

    #[test]
    fn numbers_and_strength_rewrite_only_what_they_must() {
        let recipe = recipe();
        let ha = recipe.channel("ha").expect("there");
        let hue = ColorValue::Hue {
            hue: 29.0,
            saturation: 0.5,
            strength: 1.0,
        };
        assert_eq!(
            with_strength(&hue, ha, 0.0),
            Some(ColorValue::Hue {
                hue: 29.0,
                saturation: 0.5,
                strength: 0.0
            })
        );
        let vector = ColorValue::Vector([0.5, -0.25, 0.0]);
        assert_eq!(strength(&vector, ha), Some(0.5));
        assert_eq!(
            with_strength(&vector, ha, 2.0),
            Some(ColorValue::Vector([2.0, -1.0, 0.0]))
        );
        // The hue of numbers outlives a strength of nothing.
        let Some(ColorValue::Vector(low)) = with_strength(&vector, ha, 0.0) else {
            panic!("numbers stay numbers");
        };
        assert!(low[0] > 0.0 && low[1] < 0.0);
        assert_eq!(
            with_number(&ColorValue::Css("#ff0000".into()), ha, 2, 0.5),
            Some(ColorValue::Vector([1.0, 0.0, 0.5]))
        );
    }

    #[test]
    fn a_newcomer_gets_a_hue_of_its_own() {
        let recipe = recipe();
        let mut rendition = recipe.renditions[0].clone();
        let siii = recipe.channel("siii").expect("there");
        let sii = recipe.channel("sii").expect("there");
        // Hα is red (29 degrees) here and oxygen at 200: neither is taken again.
        let ColorValue::Hue { hue, .. } = first_color(&recipe, &rendition, siii) else {
            panic!("mapped among mapped");
        };
        assert!((280.0..320.0).contains(&hue), "{hue}");
        rendition.colors.remove("oiii");
        assert_eq!(first_color(&recipe, &rendition, sii), ColorValue::Natural);
        assert_ne!(first_color(&recipe, &rendition, siii), ColorValue::Natural);
    }

    #[test]
    fn the_last_channel_stays() {
        let recipe = recipe();
        let one = left_out(&recipe, "r", "ha").expect("oxygen is left");
        assert_eq!(left_out(&one, "r", "oiii"), None);
    }
}
