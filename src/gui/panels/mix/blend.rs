//! How the channels come together.

use egui::Ui;

use crate::engine::recipe::{Blend, Rendition};
use crate::gui::asks::Asks;
use crate::gui::state::State;
use crate::gui::widgets::form;
use crate::work::mixing;

const WAYS: [(Blend, &str, &str); 3] = [
    (
        Blend::Light,
        "Light",
        "Light adds as light does: each channel's colour, times its light, summed.",
    ),
    (
        Blend::Tone,
        "Tone",
        "The stretched tones are summed with the colours as weights, as channel arithmetic is written.",
    ),
    (
        Blend::Screen,
        "Screen",
        "Layers that brighten each other and never clip, however many there are.",
    ),
];

pub(super) fn show(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    if let Some(way) = form::choice(ui, rendition.blend, &WAYS)
        && let Some(recipe) = mixing::changed(state.recipe(), &rendition.id, |rendition| {
            rendition.blend = way;
        })
    {
        let word = WAYS.iter().find(|(value, ..)| *value == way);
        asks.edit(
            format!(
                "Blend {}",
                word.map_or("", |(_, word, _)| word).to_lowercase()
            ),
            recipe,
        );
    }
}
