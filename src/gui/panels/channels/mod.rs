//! The channels: files that are being opened, a card for each channel with its
//! histogram, and the stretch of the one that is worked on.

mod card;

mod continuum;

mod curve;

mod done;

mod elide;

mod ends;

mod facts;

mod grip;

mod head;

pub mod hue;

mod more;

mod noise;

mod plot;

mod rows;

mod start;

mod stretch;

use egui::{ScrollArea, Ui};

use crate::gui::asks::Asks;
use crate::gui::state::State;

/// Shows the panel in `ui`.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let nothing = state.recipe().channels.is_empty() && state.rows.is_empty();
    head::show(ui, state, asks, nothing && state.jobs.is_empty());
    ScrollArea::vertical()
        .id_salt("channels")
        .auto_shrink(false)
        .show(ui, |ui| {
            // The scroll bar gets a strip of its own.
            ui.set_max_width((ui.available_width() - 4.0).max(120.0));
            head::jobs(ui, state, asks);
            rows::show(ui, state, asks);
            done::show(ui, state);
            if nothing && state.jobs.is_empty() {
                start::show(ui, state, asks);
            }
            let hues = hue::all(state);
            for (channel, hue) in state.recipe().channels.iter().zip(hues) {
                card::show(ui, state, asks, channel, hue);
            }
            ui.add_space(8.0);
        });
}
