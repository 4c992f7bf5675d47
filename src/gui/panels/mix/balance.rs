//! The white balance of R, G and B.

use egui::{Label, RichText, Ui, vec2};

use crate::engine::recipe::stars::missing_band;
use crate::engine::recipe::{Balance, BalancedBy, Rendition};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::{Picking, State};
use crate::gui::widgets::form;
use crate::work::balance::BalanceBy;
use crate::work::mixing::finishing::{self, BANDS, GAINS};

/// Whether there is anything to balance.
pub(super) fn is_for(state: &State, rendition: &Rendition) -> bool {
    rendition.balance.is_some() || finishing::is_balanceable(state.recipe(), rendition)
}

/// What is on, in a line.
pub(super) fn summary(rendition: &Rendition) -> String {
    let Some(balance) = &rendition.balance else {
        return "As the channels are".to_owned();
    };
    let [r, g, b] = balance.gains;
    format!("R {r:.2}, G {g:.2}, B {b:.2}, {}", balance.by.words())
}

pub(super) fn show(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    gains(ui, state, rendition, asks);
    if let Some(balance) = &rendition.balance {
        let faint = state.theme.colors().faint;
        let words = RichText::new(found(balance)).small().color(faint);
        ui.add(Label::new(words).wrap());
    }
    measured(ui, state, rendition, asks);
}

fn gains(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let faint = state.theme.colors().faint;
    let now = rendition.balance.as_ref().map_or([1.0; 3], |one| one.gains);
    let [least, most] = GAINS;
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        let letter = 10.0;
        let width = ((ui.available_width() - 3.0 * letter - 5.0 * 6.0) / 3.0).floor();
        ui.visuals_mut().widgets.inactive.weak_bg_fill = state.theme.colors().well;
        for (band, name) in BANDS.into_iter().enumerate() {
            form::word(ui, letter, RichText::new(name).color(faint));
            let mut gain = now[band];
            // Equal ways of the pointer are equal factors.
            let speed = 0.005 * gain;
            let label = format!("Gain of {name}");
            let response = form::typed(
                &mut gain,
                |gain| format!("{gain:.3}"),
                |drag| {
                    let drag = drag
                        .range(least..=most)
                        .clamp_existing_to_range(false)
                        .speed(speed);
                    ui.add_sized([width, form::ROW], drag)
                },
            )
            .on_hover_text(format!("Factor on the light of {name} above its sky"))
            .accessible_name(&label);
            let moved = response.dragged() || response.drag_stopped();
            if moved || gain != now[band] {
                form::ask(asks, &response, &label, || {
                    finishing::with_gain(state.recipe(), &rendition.id, band, gain)
                });
            }
        }
    });
}

// How the gains were found, how sure they are.
fn found(balance: &Balance) -> String {
    let mut words = match (balance.by, balance.stars) {
        (BalancedBy::Hand, _) => "Given by hand".to_owned(),
        (BalancedBy::Stars, Some(stars)) => format!("The average of {stars} stars is white"),
        (BalancedBy::Stars, None) => "The average star is white".to_owned(),
        (BalancedBy::Star, _) => "One star is white".to_owned(),
        (BalancedBy::Patch, _) => "A patch of the picture is grey".to_owned(),
        (BalancedBy::Catalogue, stars) => {
            let stars = stars.map_or("stars".to_owned(), |stars| format!("{stars} stars"));
            match &balance.catalogue {
                Some(file) => format!("By {stars} of {file}"),
                None => format!("By {stars} of a catalogue"),
            }
        }
    };
    if let Some(uncertainty) = balance.uncertainty {
        let parts = [0, 1, 2].map(|band| {
            let percent = 100.0 * uncertainty[band] / balance.gains[band];
            format!("{} {percent:.1} %", BANDS[band])
        });
        words.push_str(&format!("; uncertain by {}", parts.join(", ")));
    }
    words.push('.');
    words
}

// Why nothing can be measured now.
fn hindered(state: &State) -> Option<String> {
    let recipe = state.recipe();
    if let Some(missing) = missing_band(recipe) {
        return Some(format!(
            "Needs R, G and B, and there is no channel of {missing}: open its stack first"
        ));
    }
    let read = |band: &str| {
        let channel = recipe.band(band);
        channel.is_some_and(|channel| state.layers.contains_key(&channel.id))
    };
    (!BANDS.into_iter().all(read)).then(|| "R, G and B are not read yet".to_owned())
}

fn measured(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let why = hindered(state);
    let reason = why.as_deref().unwrap_or_default();
    ui.spacing_mut().item_spacing = vec2(4.0, 4.0);
    let ways: [(&str, &str, Ask, Option<Picking>); 4] = [
        (
            "Average star",
            "The average of the field's stars becomes white",
            Ask::Balance(BalanceBy::Stars),
            None,
        ),
        (
            "A star ...",
            "Click a star in the picture: it becomes white",
            Ask::Pick(Some(Picking::Star)),
            Some(Picking::Star),
        ),
        (
            "A patch ...",
            "Drag over a part of the picture: it becomes grey",
            Ask::Pick(Some(Picking::Patch)),
            Some(Picking::Patch),
        ),
        (
            "Catalogue ...",
            "Pick a table of stars (CSV) with their colours: the field's stars become so",
            Ask::ChooseCatalogue,
            None,
        ),
    ];
    ui.horizontal_wrapped(|ui| {
        for (name, about, ask, picking) in ways {
            let on = picking.is_some() && state.picking == picking;
            let response = ui
                .add_enabled(why.is_none(), egui::Button::new(name).selected(on))
                .on_hover_text(about)
                .on_disabled_hover_text(reason);
            if response.clicked() {
                asks.push(if on { Ask::Pick(None) } else { ask });
            }
        }
        let reset = ui
            .add_enabled(rendition.balance.is_some(), egui::Button::new("Reset"))
            .on_hover_text("No white balance: the channels as they are")
            .on_disabled_hover_text("The channels are as they are")
            .accessible_name("Reset the white balance");
        if reset.clicked()
            && let Some(recipe) = finishing::balanced(state.recipe(), &rendition.id, None)
        {
            asks.edit("No white balance", recipe);
        }
    });
}
