//! Where the brightness comes from, how it is stretched, how much of its fine
//! structure is brought out.

use std::collections::BTreeMap;

use egui::{Checkbox, RichText, Ui};

use super::finish::title;
use crate::engine::recipe::{Luminance, Rendition};
use crate::gui::asks::Asks;
use crate::gui::names;
use crate::gui::state::State;
use crate::gui::widgets::form;
use crate::gui::widgets::stretch::{self, Editing};
use crate::work::mixing::{self, finishing};

/// Width of the words at the left.
const WORDS: f32 = 72.0;

/// What it is called beside channels.
const NAME: &str = "the brightness";

pub(super) fn show(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    title(ui, state, "Brightness from");
    let weighted = rendition.luminance.is_some();
    let ways = [
        (false, "The mix", "As bright as the mixed colours come out."),
        (
            true,
            "Channels",
            "Each pixel takes its brightness from chosen channels; hue and saturation stay.",
        ),
    ];
    match form::choice(ui, weighted, &ways) {
        Some(true) => {
            let from = mixing::all_alike(rendition, 1.0);
            if let Some(recipe) = mixing::brightened(state.recipe(), &rendition.id, Some(from)) {
                asks.edit("Brightness from channels", recipe);
            }
        }
        Some(false) => {
            if let Some(recipe) = mixing::brightened(state.recipe(), &rendition.id, None) {
                asks.edit("Brightness from the mix", recipe);
            }
        }
        None => {}
    }
    if let Some(luminance) = &rendition.luminance {
        quick(ui, state, rendition, luminance, asks);
        weights(ui, state, rendition, luminance, asks);
        detail(ui, state, rendition, luminance, asks);
        own_stretch(ui, state, rendition, luminance, asks);
    }
}

// Weights that are often wanted.
fn quick(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    luminance: &Luminance,
    asks: &mut Asks,
) {
    let recipe = state.recipe();
    let put = |asks: &mut Asks, label: &str, from: BTreeMap<String, f64>| {
        if from != luminance.from
            && let Some(recipe) = finishing::reweighted(recipe, &rendition.id, from)
        {
            asks.edit(label, recipe);
        }
    };
    let alone = |id: &str| BTreeMap::from([(id.to_owned(), 1.0)]);
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 4.0;
        ui.spacing_mut().button_padding.x = 6.0;
        if let Some(strongest) = mixing::strongest(recipe, rendition, &state.layers) {
            let name = name_of(state, &strongest);
            let response = ui.button("The strongest line").on_hover_text(format!(
                "From {name} alone, which stands out of its noise the most"
            ));
            if response.clicked() {
                put(
                    asks,
                    "Brightness from the strongest line",
                    alone(&strongest),
                );
            }
        }
        let response = ui
            .button("All alike")
            .on_hover_text("From all channels of this rendition, with equal weights");
        if response.clicked() {
            let all = mixing::all_alike(rendition, luminance.amount);
            put(asks, "Brightness from all alike", all.from);
        }
        if let Some(light) = recipe.band("L") {
            let response = ui
                .button("L")
                .on_hover_text("From the luminance channel alone")
                .accessible_name("Brightness from L alone");
            if response.clicked() {
                put(asks, "Brightness from L", alone(&light.id));
            }
        }
    });
}

fn name_of(state: &State, id: &str) -> String {
    let recipe = state.recipe();
    names::all(recipe)
        .into_iter()
        .zip(&recipe.channels)
        .find(|(_, channel)| channel.id == id)
        .map_or_else(|| id.to_owned(), |(name, _)| name)
}

fn left_word(ui: &mut Ui, state: &State, word: &str, about: &str) {
    let faint = state.theme.colors().faint;
    form::word(ui, WORDS, RichText::new(word).color(faint)).on_hover_text(about);
}

fn weights(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    luminance: &Luminance,
    asks: &mut Asks,
) {
    let recipe = state.recipe();
    let row = |ui: &mut Ui, word: &str, name: &str, value: &mut f64| {
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 6.0;
            left_word(ui, state, word, word);
            form::amount(ui, name, value, 0.0..=1.0)
        })
        .inner
    };
    for (channel, word) in recipe.channels.iter().zip(names::all(recipe)) {
        let name = format!("Brightness from {word}");
        let mut weight = luminance.from.get(&channel.id).copied().unwrap_or(0.0);
        for response in row(ui, &word, &name, &mut weight) {
            form::ask(asks, &response, &name, || {
                let mut new = luminance.clone();
                if weight > 0.0 {
                    new.from.insert(channel.id.clone(), weight);
                } else {
                    new.from.remove(&channel.id);
                }
                mixing::brightened(recipe, &rendition.id, Some(new))
            });
        }
    }
    let mut amount = luminance.amount;
    for response in row(ui, "Amount", "Brightness amount", &mut amount) {
        form::ask(asks, &response, "Brightness amount", || {
            let new = Luminance {
                amount,
                ..luminance.clone()
            };
            mixing::brightened(recipe, &rendition.id, Some(new))
        });
    }
}

fn detail(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    luminance: &Luminance,
    asks: &mut Asks,
) {
    let about = "How much of the fine structure is brought out";
    let name = "Brightness detail";
    let mut value = luminance.detail.unwrap_or(0.0);
    let touched = ui
        .horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 6.0;
            left_word(ui, state, "Detail", about);
            form::percent(ui, name, &mut value)
        })
        .inner;
    for response in touched {
        form::ask(asks, &response, name, || {
            finishing::with_detail(state.recipe(), &rendition.id, value)
        });
    }
}

fn own_stretch(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    luminance: &Luminance,
    asks: &mut Asks,
) {
    let recipe = state.recipe();
    let mut own = luminance.stretch.is_some();
    let response = ui
        .add(Checkbox::new(&mut own, "Stretched by itself"))
        .on_hover_text(
            "The channels' values are averaged by these weights and stretched anew; without \
             it their stretched light is averaged",
        );
    if response.changed() {
        let begun = own.then(|| finishing::own_stretch(recipe, &luminance.from));
        let label = if own {
            "Brightness stretched by itself"
        } else {
            "Brightness stretched with the channels"
        };
        if let Some(recipe) = finishing::with_own_stretch(recipe, &rendition.id, begun.flatten()) {
            asks.edit(label, recipe);
        }
    }
    let Some(own) = &luminance.stretch else {
        return;
    };
    let editing = Editing {
        stretch: own,
        title: NAME,
        sky: None,
        with: &|stretch| finishing::with_own_stretch(recipe, &rendition.id, Some(stretch)),
    };
    form::compact(ui);
    stretch::values(ui, asks, &editing);
    stretch::shape(ui, asks, &editing, " of the brightness");
    stretch::amount(ui, asks, &editing);
}
