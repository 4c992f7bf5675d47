//! What is asked of a map of lines.

use egui::{DragValue, RichText, Ui};

use super::DrawingDraft;
use crate::engine::leading::By;
use crate::engine::recipe::MOST_BIN;
use crate::gui::names;
use crate::gui::state::State;
use crate::gui::widgets::dialog::row;
use crate::gui::widgets::form::{self, ROW};
use crate::gui::widgets::output;

pub(super) fn by(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let ways = [
        (
            By::Shown,
            "Light shown",
            "The light that the rendition shows of each line above that of its sky.",
        ),
        (
            By::Noise,
            "Signal to noise",
            "How far each line stands out of its noise.",
        ),
    ];
    row(ui, state, "Lines by", |ui| {
        if let Some(by) = form::choice(ui, draft.by, &ways) {
            draft.by = by;
        }
    });
    note(
        ui,
        state,
        "At full size; the figures are told when it is done",
    );
}

pub(super) fn ratio(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let Some(ratio) = &mut draft.ratio else {
        return;
    };
    row(ui, state, "Ratio", |ui| {
        let words = format!(
            "{} / {}, both {} sigma above their skies",
            names::of_id(state.recipe(), &ratio.over),
            names::of_id(state.recipe(), &ratio.under),
            ratio.min_snr
        );
        let width = ui.available_width();
        form::word(ui, width, RichText::new(words));
    });
    row(ui, state, "Means over", |ui| {
        ui.horizontal(|ui| {
            ui.add_sized(
                [92.0, ROW],
                DragValue::new(&mut ratio.bin)
                    .range(1..=MOST_BIN)
                    .speed(0.05)
                    .suffix(" px")
                    .update_while_editing(false),
            )
            .accessible_name("Pixels along each side of a mean")
            .on_hover_text("More pixels in each mean show fainter parts, in a smaller map");
            output::note(ui, state, "along each side");
        });
    });
    note(
        ui,
        state,
        "With its uncertainties in FITS, with a scale as a picture",
    );
}

fn note(ui: &mut Ui, state: &State, words: &str) {
    let faint = state.theme.colors().faint;
    row(ui, state, "", |ui| {
        let width = ui.available_width();
        form::word(ui, width, RichText::new(words).small().color(faint));
    });
}
