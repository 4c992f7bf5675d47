//! Which broad channel takes the stars' light out of a narrow one.

use egui::{RichText, Ui};

use crate::engine::recipe::{Channel, Continuum};
use crate::gui::asks::Asks;
use crate::gui::names;
use crate::gui::state::State;
use crate::gui::widgets::form;
use crate::work::mixing::finishing;

/// Where a factor begins of which nothing was measured.
const FACTOR: f64 = 0.1;

const ABOUT: &str = "A scaled broad channel is taken out of this one, so that the light of \
                     stars goes and the line's own emission stays";

/// Shows the choice; nothing for a broad channel.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks, channel: &Channel, title: &str) {
    let recipe = state.recipe();
    let line = crate::engine::lines::line(&channel.line);
    if line.is_none_or(crate::engine::lines::Line::is_broad) {
        return;
    }
    let faint = state.theme.colors().faint;
    ui.separator();
    ui.label(RichText::new("Continuum taken out").small().color(faint))
        .on_hover_text(ABOUT);
    let label = format!("Continuum of {title}");
    let put = |asks: &mut Asks, continuum: Option<Continuum>, ongoing: bool| {
        if let Some(recipe) = finishing::without_continuum(recipe, &channel.id, continuum) {
            if ongoing {
                asks.drag(label.clone(), recipe);
            } else {
                asks.edit(label.clone(), recipe);
            }
        }
    };
    let now = channel.continuum.as_ref();
    let sources = finishing::continuum_sources(recipe, channel);
    if sources.is_empty() {
        ui.add_enabled(false, egui::Button::new("None"))
            .on_disabled_hover_text("There is no broad channel (L, R, G or B) to take it from")
            .accessible_name(format!("No continuum out of {title}"));
        return;
    }
    ui.horizontal_wrapped(|ui| {
        form::compact(ui);
        ui.spacing_mut().item_spacing.x = 3.0;
        let none = ui
            .add(egui::Button::selectable(now.is_none(), "None").frame_when_inactive(true))
            .on_hover_text("The stars' light stays in this channel")
            .accessible_name(format!("No continuum out of {title}"));
        if none.clicked() && now.is_some() {
            put(asks, None, false);
        }
        let names = names::all(recipe);
        for index in sources {
            let broad = &recipe.channels[index];
            let is_it = now.is_some_and(|continuum| continuum.from == broad.id);
            let button = ui
                .add(egui::Button::selectable(is_it, &names[index]).frame_when_inactive(true))
                .on_hover_text(ABOUT)
                .accessible_name(format!("Continuum of {title} from {}", names[index]));
            if button.clicked() && !is_it {
                let from = broad.id.clone();
                let scale = now.and_then(|continuum| continuum.scale);
                put(asks, Some(Continuum { from, scale }), false);
            }
        }
    });
    let Some(now) = now else {
        return;
    };
    let with = |scale: Option<f64>| {
        Some(Continuum {
            scale,
            ..now.clone()
        })
    };
    ui.horizontal(|ui| {
        form::compact(ui);
        ui.spacing_mut().item_spacing.x = 3.0;
        let fitted = now.scale.is_none();
        let button = ui
            .add(egui::Button::selectable(fitted, "Fitted on stars").frame_when_inactive(true))
            .on_hover_text("The factor that makes stars vanish is measured")
            .accessible_name(format!("Continuum of {title} fitted on stars"));
        if button.clicked() && !fitted {
            put(asks, with(None), false);
        }
        let button = ui
            .add(egui::Button::selectable(!fitted, "Factor").frame_when_inactive(true))
            .on_hover_text(
                "Give the factor on the broad channel's light above its sky; it starts at the one that was \
                 fitted",
            )
            .accessible_name(format!("Continuum of {title} by a factor"));
        if button.clicked() && fitted {
            let measured = (state.layers.get(&channel.id))
                .and_then(|layer| layer.continuum.as_ref())
                .filter(|taken| taken.from == now.from && taken.stars.is_some());
            put(
                asks,
                with(Some(measured.map_or(FACTOR, |taken| taken.scale))),
                false,
            );
        }
        if let Some(scale) = now.scale {
            let mut value = scale;
            let response = form::typed(
                &mut value,
                |value| format!("{value:.4}"),
                |drag| {
                    let drag = drag
                        .range(0.0..=1000.0)
                        .clamp_existing_to_range(false)
                        .speed((scale / 200.0).max(0.0005));
                    ui.add(drag)
                },
            )
            .accessible_name(format!("Continuum factor of {title}"));
            if value != scale {
                put(asks, with(Some(value)), response.dragged());
            }
            if response.drag_stopped() {
                asks.push(crate::gui::asks::Ask::Settle);
            }
        }
    });
}
