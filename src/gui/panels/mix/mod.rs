//! The mix: blend, colours as numbers, palettes, who can tell lines apart,
//! stars, white balance, noise, finish, words.

mod apart;

mod balance;

mod blend;

mod brightness;

mod finish;

mod matrix;

mod noise;

mod palettes;

mod stars;

use egui::{RichText, ScrollArea, Ui};

use super::about;
use crate::gui::asks::Asks;
use crate::gui::state::State;
use crate::gui::theme::bold;
use crate::gui::widgets::form;

pub use apart::close as close_suggestion;
pub use finish::SPACES;
pub use palettes::{THUMBNAIL, wanted};

/// Shows the panel in `ui`.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    ScrollArea::vertical()
        .id_salt("mix")
        .auto_shrink(false)
        .show(ui, |ui| {
            // Beside the bar that scrolls.
            ui.set_max_width(ui.available_width() - 4.0);
            body(ui, state, asks);
        });
}

fn body(ui: &mut Ui, state: &State, asks: &mut Asks) {
    ui.add_space(6.0);
    form::compact(ui);
    let heading = |ui: &mut Ui| ui.label(RichText::new("Mix").family(bold()).size(15.0));
    let Some(rendition) = state.rendition() else {
        heading(ui);
        ui.label(
            RichText::new("Open stacks, and what becomes of their light is decided here.")
                .color(state.theme.colors().faint),
        );
        return;
    };
    ui.horizontal(|ui| {
        heading(ui);
        let faint = state.theme.colors().faint;
        let name = RichText::new(&rendition.id).color(faint);
        ui.add(egui::Label::new(name).truncate());
    });
    blend::show(ui, state, rendition, asks);
    ui.add_space(4.0);
    matrix::show(ui, state, rendition, asks);
    form::section(ui, "Palettes", true, |ui| {
        palettes::show(ui, state, rendition, asks);
    });
    form::section(ui, "Told apart", true, |ui| {
        apart::show(ui, state, rendition, asks);
    });
    let faint = state.theme.colors().faint;
    form::folded(ui, "Stars", (&stars::summary(rendition), faint), |ui| {
        stars::show(ui, state, rendition, asks);
    });
    if balance::is_for(state, rendition) {
        let summary = balance::summary(rendition);
        form::folded(ui, "White balance", (&summary, faint), |ui| {
            balance::show(ui, state, rendition, asks);
        });
    }
    let summary = noise::summary(state, rendition);
    form::folded(ui, "Noise", (&summary, faint), |ui| {
        noise::show(ui, state, rendition, asks);
    });
    form::section(ui, "Finish", true, |ui| {
        finish::show(ui, state, rendition, asks);
    });
    form::section(ui, "About the picture", false, |ui| {
        about::fields(ui, state, asks);
    });
    form::section(ui, "Caption", true, |ui| {
        about::caption(ui, state, rendition, asks);
    });
    ui.add_space(8.0);
}
