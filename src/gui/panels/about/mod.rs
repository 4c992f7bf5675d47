//! Words about the picture, and the caption that follows from all of it.

use egui::{Id, Label, RichText, TextEdit, Ui};

use crate::engine::caption::Caption;
use crate::engine::recipe::{About, Recipe, Rendition};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::form;
use crate::work::caption::{self, Known};

type Field = (&'static str, &'static str, fn(&mut About) -> &mut String);

const FIELDS: [Field; 5] = [
    ("Title", "What the picture is called", |about| {
        &mut about.title
    }),
    (
        "Object",
        "What is seen; where empty, what the reference's header says",
        |about| &mut about.object,
    ),
    ("Creator", "Who made it", |about| &mut about.creator),
    ("Credit", "The line to print under it", |about| {
        &mut about.credit
    }),
    ("Rights", "The terms of use", |about| &mut about.rights),
];

/// Title, object, creator, credit and rights. Each visit of a field is one step
/// of the history.
pub fn fields(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let faint = state.theme.colors().faint;
    for (word, hint, place) in FIELDS {
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 6.0;
            let label = form::word(ui, 52.0, RichText::new(word).color(faint));
            let mut recipe: Recipe = state.recipe().clone();
            let text = place(&mut recipe.about);
            let shown = text.clone();
            let suggestion = if word == "Object" {
                header_object(state)
            } else {
                String::new()
            };
            let response = ui
                .add(
                    TextEdit::singleline(text)
                        .id(ui.make_persistent_id(("about", word)))
                        .desired_width(f32::INFINITY)
                        .hint_text(suggestion),
                )
                .labelled_by(label.id);
            let response = response.on_hover_text(if shown.is_empty() {
                hint.to_owned()
            } else {
                shown
            });
            if response.changed() {
                asks.drag(word, recipe);
            }
            if response.lost_focus() {
                asks.push(Ask::Settle);
            }
        });
    }
}

fn header_object(state: &State) -> String {
    state
        .recipe()
        .reference()
        .and_then(|reference| state.layers.get(&reference.id))
        .and_then(|layer| layer.header.text("OBJECT"))
        .unwrap_or_default()
}

/// The captions of a rendition as its record will hold them, but for what only
/// the files themselves say (dates, frames).
pub fn captions(state: &State, rendition: &Rendition) -> Option<Caption> {
    let recipe = state.recipe();
    let known = recipe
        .channels
        .iter()
        .map(|channel| {
            let layer = state.layers.get(&channel.id);
            let known = Known {
                exposure_s: channel
                    .exposure_s
                    .or_else(|| layer.and_then(|layer| layer.exposure_s)),
                ..Known::default()
            };
            (channel.id.as_str(), known)
        })
        .collect();
    let seen = caption::seen_of_layers(recipe, rendition, state.space, &state.layers);
    let object = header_object(state);
    caption::draft(recipe, rendition, state.space, &known, &object, seen).ok()
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Which {
    Short,
    Long,
    Alt,
}

const WHICH: [(Which, &str, &str); 3] = [
    (Which::Short, "Short", "For a post: a sentence or two."),
    (
        Which::Long,
        "Full",
        "For a gallery: which light is shown in which colour, and for how long.",
    ),
    (
        Which::Alt,
        "In words",
        "For someone who does not see the picture.",
    ),
];

/// The caption as it stands, to read, select and copy.
pub fn caption(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let Some(caption) = captions(state, rendition) else {
        return;
    };
    let id = Id::unique("which caption");
    let mut which = ui.data(|data| data.get_temp(id)).unwrap_or(Which::Long);
    if let Some(chosen) = form::choice(ui, which, &WHICH) {
        which = chosen;
        ui.data_mut(|data| data.insert_temp(id, chosen));
    }
    let text = match which {
        Which::Short => caption.short,
        Which::Long => caption.long,
        Which::Alt => caption.alt,
    };
    egui::Frame::new()
        .fill(state.theme.colors().well)
        .corner_radius(4.0)
        .inner_margin(8.0)
        .show(ui, |ui| {
            ui.set_min_width(ui.available_width());
            ui.add(Label::new(&text).wrap().selectable(true));
        });
    if ui
        .button("Copy caption")
        .on_hover_text("Puts this text on the clipboard")
        .clicked()
    {
        ui.copy_text(text);
        asks.push(Ask::Say("The caption is copied".to_owned()));
    }
}
