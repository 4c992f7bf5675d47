//! After the mix: brightness, saturation, the eye, the gamut, the space.

use egui::{Checkbox, Label, RichText, Ui};

use super::brightness;
use crate::engine::color::space::Space;
use crate::engine::recipe::{ColorValue, Gamut, Rendition};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::form;
use crate::gui::widgets::icon::{self, Icon};
use crate::work::mixing;

/// Width of the words at the left.
const WORDS: f32 = 72.0;

pub(super) fn show(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    saturation(ui, state, rendition, asks);
    brightness::show(ui, state, rendition, asks);
    eye(ui, state, rendition, asks);
    ui.add_space(4.0);
    gamut(ui, state, rendition, asks);
    ui.add_space(4.0);
    space(ui, state, asks);
}

pub(super) fn title(ui: &mut Ui, state: &State, text: &str) {
    ui.label(RichText::new(text).color(state.theme.colors().faint));
}

fn note(ui: &mut Ui, state: &State, text: &str) {
    let faint = state.theme.colors().faint;
    ui.add(Label::new(RichText::new(text).small().color(faint)).wrap());
}

fn saturation(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let mut value = rendition.saturation.unwrap_or(1.0);
    let keep = |value: f64| {
        mixing::changed(state.recipe(), &rendition.id, |rendition| {
            rendition.saturation = (value != 1.0).then_some(value);
        })
    };
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        form::word(
            ui,
            WORDS,
            RichText::new("Saturation").color(state.theme.colors().faint),
        );
        let rest = ui.available_width() - 28.0;
        let touched = ui
            .allocate_ui(egui::vec2(rest, form::ROW), |ui| {
                form::amount(ui, "Saturation", &mut value, 0.0..=3.0)
            })
            .inner;
        for response in touched {
            form::ask(asks, &response, "Saturation", || keep(value));
        }
        ui.add_enabled_ui(rendition.saturation.is_some(), |ui| {
            if icon::button(ui, Icon::Reset, "Saturation as mixed", false).clicked()
                && let Some(recipe) = keep(1.0)
            {
                asks.edit("Saturation as mixed", recipe);
            }
        });
    });
}

fn eye(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let natural = rendition
        .colors
        .values()
        .any(|value| *value == ColorValue::Natural);
    let mut eye = rendition.eye;
    let response = ui
        .add_enabled(
            natural || eye,
            Checkbox::new(&mut eye, "Lines as bright as an eye sees them"),
        )
        .on_hover_text(
            "Lines in their natural colours are also weighed by how bright an eye sees \
             their wavelength; the brightest of them stays.",
        )
        .on_disabled_hover_text("No line of this rendition has its natural colour.");
    if response.changed()
        && let Some(recipe) = mixing::changed(state.recipe(), &rendition.id, |rendition| {
            rendition.eye = eye
        })
    {
        asks.edit(
            if eye {
                "Eye's weights"
            } else {
                "No eye's weights"
            },
            recipe,
        );
    }
}

const GAMUTS: [(Option<Gamut>, &str, &str); 3] = [
    (
        None,
        "As it comes",
        "Nothing is done: what lies outside is cut off when whole numbers are written, \
         and stays in float files.",
    ),
    (
        Some(Gamut::HoldHue),
        "Hold hue",
        "Colours outside move towards grey of the same brightness, and then down, until \
         they fit: their hue stays.",
    ),
    (
        Some(Gamut::Clip),
        "Clip",
        "Red, green and blue are cut off each by itself: vivid, but hues may shift.",
    ),
];

fn gamut(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    title(ui, state, "Colours outside the output space");
    if let Some(gamut) = form::choice(ui, rendition.gamut, &GAMUTS)
        && let Some(recipe) = mixing::changed(state.recipe(), &rendition.id, |rendition| {
            rendition.gamut = gamut;
        })
    {
        let word = GAMUTS.iter().find(|(value, ..)| *value == gamut);
        let word = word.map_or("", |(_, word, _)| word).to_lowercase();
        asks.edit(format!("Gamut: {word}"), recipe);
    }
    if let Some((_, _, about)) = GAMUTS.iter().find(|(value, ..)| *value == rendition.gamut) {
        note(ui, state, about);
    }
}

/// Output spaces, as both the mix and the export offer them.
pub const SPACES: [(Space, &str, &str); 3] = [
    (Space::Srgb, "sRGB", "Fits every screen and every web page."),
    (
        Space::DisplayP3,
        "Display P3",
        "Deeper reds and greens, for recent screens and phones.",
    ),
    (
        Space::Rec2020,
        "Rec. 2020",
        "The widest: for further work and for screens to come.",
    ),
];

fn space(ui: &mut Ui, state: &State, asks: &mut Asks) {
    title(ui, state, "Output space");
    if let Some(space) = form::choice(ui, state.space, &SPACES) {
        asks.push(Ask::Space(space));
    }
    if let Some((_, _, about)) = SPACES.iter().find(|(value, ..)| *value == state.space) {
        note(ui, state, about);
    }
}
