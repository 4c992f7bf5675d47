//! How much of a channel's noise is smoothed away.

use egui::{Align, Layout, RichText, Ui};

use super::stretch::Work;
use crate::gui::asks::Asks;
use crate::gui::theme::bold;
use crate::gui::widgets::form;
use crate::work::mixing::finishing;

const ABOUT: &str = "How much of this channel's noise is smoothed away: 0 leaves it as it is";

/// Shows the row.
pub fn show(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    let recipe = work.state.recipe();
    let id = &work.channel.id;
    let now = work.channel.denoise.unwrap_or(0.0);
    let name = format!("Noise of {}", work.title);
    ui.horizontal(|ui| {
        ui.label(RichText::new("Noise").family(bold()))
            .on_hover_text(ABOUT);
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            ui.spacing_mut().button_padding.x = 6.0;
            let all = finishing::all_denoised(recipe, now).filter(|all| all != recipe);
            let button = ui
                .add_enabled(all.is_some(), egui::Button::new("Same for all").small())
                .on_hover_text("Smooths the noise of all channels by this share")
                .on_disabled_hover_text("All channels have this share already")
                .accessible_name(format!("Noise of {} for all", work.title));
            if button.clicked()
                && let Some(all) = all
            {
                asks.edit(format!("Noise of {} for all", work.title), all);
            }
        });
    });
    let mut value = now;
    let touched = ui
        .horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 6.0;
            form::percent(ui, &name, &mut value)
        })
        .inner;
    for response in touched {
        form::ask(asks, &response, &name, || {
            finishing::denoised(recipe, id, value)
        });
    }
}
