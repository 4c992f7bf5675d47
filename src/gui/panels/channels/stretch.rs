//! The stretch of the channel that is worked on: black and white on the
//! histogram, shape, amount, curve; and how much of its noise goes.

use egui::{Align, Color32, Layout, RichText, Ui};

use super::{curve, ends, noise};
use crate::engine::recipe::{Channel, Stretch};
use crate::engine::stretch::edit;
use crate::gui::asks::{Ask, Asks};
use crate::gui::names;
use crate::gui::state::State;
use crate::gui::theme::bold;
use crate::gui::widgets::stretch::{self, Editing};
use crate::work::desk::Layer;

/// What the parts of the editor work on.
pub struct Work<'a> {
    /// What the window knows.
    pub state: &'a State,
    /// The channel.
    pub channel: &'a Channel,
    /// Its data.
    pub layer: &'a Layer,
    /// What it is called.
    pub title: String,
    /// Its colour in the shown rendition.
    pub hue: Option<Color32>,
}

impl Work<'_> {
    /// Asks for another stretch, as part of a gesture or as a step.
    pub fn ask(&self, asks: &mut Asks, part: &str, stretch: Stretch, ongoing: bool) {
        let label = format!("{part} of {}", self.title);
        let recipe = self.with(stretch);
        if ongoing {
            asks.drag(label, recipe);
        } else {
            asks.edit(label, recipe);
        }
    }

    /// The recipe with another stretch of the channel.
    pub fn with(&self, stretch: Stretch) -> crate::engine::recipe::Recipe {
        self.state
            .with_channel(&self.channel.id, |channel| channel.stretch = stretch)
    }
}

/// Shows the editor.
pub fn show(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    head(ui, asks, work);
    ends::histogram(ui, asks, work);
    let editing = Editing {
        stretch: &work.channel.stretch,
        title: &work.title,
        sky: work.layer.levels.as_ref().map(|levels| levels.sky),
        with: &|stretch| Some(work.with(stretch)),
    };
    stretch::values(ui, asks, &editing);
    stretch::shape(ui, asks, &editing, "");
    stretch::amount(ui, asks, &editing);
    curve::show(ui, asks, work);
    noise::show(ui, asks, work);
}

fn head(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("Stretch").family(bold()))
            .on_hover_text(
                "Below: how many pixels have which value, counts on a log scale. The scale of \
                 values is even about the sky and logarithmic far from it. The line is the tone \
                 that each value gets.",
            );
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            ui.spacing_mut().button_padding.x = 6.0;
            let all = ui
                .add_enabled(
                    work.state.recipe().channels.len() > 1,
                    egui::Button::new("Same for all").small(),
                )
                .on_hover_text(
                    "Gives all channels this shape, amount and curve; black and white as far \
                     from each one's sky, in units of its noise",
                )
                .accessible_name(format!("Stretch of {} for all", work.title));
            if all.clicked() {
                same_for_all(asks, work);
            }
            let auto = ui
                .add(egui::Button::new("Auto").small())
                .on_hover_text("Measures a stretch that suits the channel")
                .accessible_name(format!("Auto stretch of {}", work.title));
            if auto.clicked() {
                asks.push(Ask::AutoStretch(work.channel.id.clone()));
            }
        });
    });
}

/// The same look for all others, as far as they have been measured.
fn same_for_all(asks: &mut Asks, work: &Work<'_>) {
    let Some(from) = &work.layer.levels else {
        return;
    };
    let mut recipe = work.state.recipe().clone();
    let mut left = Vec::new();
    for channel in &mut recipe.channels {
        if channel.id == work.channel.id {
            continue;
        }
        let layer = work.state.layers.get(&channel.id);
        let carried = layer
            .and_then(|layer| layer.levels.as_ref())
            .and_then(|to| edit::carried_over(&work.channel.stretch, from, to));
        match carried {
            Some(stretch) => channel.stretch = stretch,
            None => left.push(names::of(work.state.recipe(), channel)),
        }
    }
    asks.edit(format!("Stretch of {} for all", work.title), recipe);
    if !left.is_empty() {
        let names = left.join(", ");
        asks.push(Ask::Say(format!(
            "{names} kept the old stretch: there is no measured noise to go by"
        )));
    }
}
