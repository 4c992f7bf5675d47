//! What is seldom done to a channel: a small menu on its card.

use egui::{Id, Popup, PopupCloseBehavior, Ui};

use super::continuum;
use crate::engine::recipe::{Channel, arrange};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::icon::{self, Icon};
use crate::work::mixing::finishing;

/// The button and, once it is pressed, the menu.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks, channel: &Channel, title: &str) {
    let response = icon::button(ui, Icon::Down, &format!("More for {title}"), false);
    let id = channel.id.as_str();
    Popup::menu(&response)
        // What is below the button comes and goes while a layer is made: the menu stays.
        .id(Id::unique(("more", id)))
        .accessible_name(format!("More for {title}"))
        .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
        .show(|ui| {
            ui.set_min_width(170.0);
            for (name, up) in [("Move up", true), ("Move down", false)] {
                let moved = arrange::moved(state.recipe(), id, up);
                let button = ui.add_enabled(moved.is_some(), egui::Button::new(name));
                if button.clicked()
                    && let Some(recipe) = moved
                {
                    asks.edit(format!("Move {title}"), recipe);
                    ui.close();
                }
            }
            let measured = state.layers.contains_key(id);
            if ui
                .add_enabled(measured, egui::Button::new("Auto stretch"))
                .on_hover_text("Measures a stretch that suits the channel")
                .clicked()
            {
                asks.push(Ask::AutoStretch(id.to_owned()));
                ui.close();
            }
            continuum::show(ui, state, asks, channel, title);
            ui.separator();
            let left = finishing::without_channel(state.recipe(), id);
            let button = ui
                .add_enabled(left.is_some(), egui::Button::new("Remove the channel"))
                .on_hover_text("The channel leaves the recipe, its file stays; undo brings it back")
                .on_disabled_hover_text("A rendition would show nothing without it");
            if button.clicked()
                && let Some(recipe) = left
            {
                asks.edit(format!("Take {title} out"), recipe);
                ui.close();
            }
        });
}
