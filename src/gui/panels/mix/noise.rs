//! What of the noise is smoothed away, and the picture before that.

use egui::{Label, RichText, Ui};

use crate::engine::recipe::Rendition;
use crate::gui::asks::Asks;
use crate::gui::command::Command;
use crate::gui::names;
use crate::gui::panels::top;
use crate::gui::state::State;
use crate::gui::widgets::form;
use crate::work::mixing::finishing;

const ABOUT: &str = "Noise is smoothed out of colours, not of brightness: fine structure stays";

/// What is on, in a line.
pub(super) fn summary(state: &State, rendition: &Rendition) -> String {
    let recipe = state.recipe();
    let percent = |name: &str, share: f64| format!("{name} {:.0} %", share * 100.0);
    let channels = names::all(recipe)
        .into_iter()
        .zip(&recipe.channels)
        .filter_map(|(name, channel)| Some((name, channel.denoise.filter(|s| *s > 0.0)?)))
        .map(|(name, share)| percent(&name, share));
    let colors = rendition.smooth_color.filter(|share| *share > 0.0);
    let colors = colors.map(|share| percent("colours", share));
    let words: Vec<String> = channels.chain(colors).collect();
    if words.is_empty() {
        return "As it is".to_owned();
    }
    words.join(", ")
}

pub(super) fn show(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let faint = state.theme.colors().faint;
    let recipe = state.recipe();
    let name = "Smoother colours";
    ui.label(RichText::new(name).color(faint))
        .on_hover_text(ABOUT);
    let mut value = rendition.smooth_color.unwrap_or(0.0);
    let touched = ui
        .horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 6.0;
            form::percent(ui, name, &mut value)
        })
        .inner;
    for response in touched {
        form::ask(asks, &response, name, || {
            finishing::with_smooth_color(recipe, &rendition.id, value)
        });
    }
    let words = "Each channel's own noise is on its card.";
    ui.add(Label::new(RichText::new(words).small().color(faint)).wrap());
    let command = Command::BeforeNoise;
    let on = state.view.before_noise;
    let possible = top::possible(state, command);
    let button = egui::Button::new(command.entry().name).selected(on);
    let response = ui.add_enabled(possible, button);
    response.widget_info(|| {
        egui::WidgetInfo::selected(egui::Role::Button, possible, on, command.entry().name)
    });
    let response = response.on_disabled_hover_text("No noise is smoothed away here yet");
    let response = if possible {
        top::tip(response, command)
    } else {
        response
    };
    if response.clicked() {
        asks.run(command);
    }
}
