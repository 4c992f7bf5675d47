//! How stars show.

use egui::{PointerButton, Response, RichText, Ui};

use crate::engine::recipe::stars::{LEAST_SIZE, MOST_BRIGHTNESS};
use crate::engine::recipe::{Rendition, ShowStars, StarLook};
use crate::gui::asks::Asks;
use crate::gui::state::State;
use crate::gui::widgets::form;
use crate::gui::widgets::icon::{self, Icon};
use crate::work::mixing::finishing;

const WORDS: f32 = 72.0;

const WAYS: [(ShowStars, &str, &str); 4] = [
    (
        ShowStars::AsMixed,
        "As mixed",
        "Stars have the colours that the mix gives them.",
    ),
    (
        ShowStars::Neutral,
        "Neutral",
        "Takes the false colour from stars, leaves the nebula's alone.",
    ),
    (
        ShowStars::Broadband,
        "RGB",
        "Stars have the true colours of the channels R, G and B.",
    ),
    (
        ShowStars::None,
        "None",
        "The nebula alone: stars are left out.",
    ),
];

/// What is on, in a line.
pub(super) fn summary(rendition: &Rendition) -> String {
    let look = rendition.star_look();
    if look.is_plain() {
        return "As mixed, as they are".to_owned();
    }
    let mut words = look.show.name().to_owned();
    words[..1].make_ascii_uppercase();
    if look.show != ShowStars::None {
        if look.size != 1.0 {
            words.push_str(&format!(", size {:.0} %", look.size * 100.0));
        }
        if look.brightness != 1.0 {
            words.push_str(&format!(", brightness {:.0} %", look.brightness * 100.0));
        }
    }
    words
}

pub(super) fn show(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let recipe = state.recipe();
    let look = rendition.star_look();
    let with = |look: StarLook| finishing::with_stars(recipe, &rendition.id, look);
    let hindered = |show| finishing::stars_hindered(recipe, show);
    if let Some(show) = form::choice_where(ui, look.show, &WAYS, hindered)
        && let Some(recipe) = with(StarLook { show, ..look })
    {
        asks.edit(format!("Stars {}", show.name()), recipe);
    }
    // Where there are none, their size says nothing.
    ui.add_enabled_ui(look.show != ShowStars::None, |ui| {
        let size = |size: f64| with(StarLook { size, ..look });
        row(
            ui,
            state,
            asks,
            ("Size", "Star size", "Finer stars: their width is scaled"),
            look.size,
            LEAST_SIZE..=1.0,
            size,
        );
        let brightness = |brightness: f64| with(StarLook { brightness, ..look });
        row(
            ui,
            state,
            asks,
            (
                "Brightness",
                "Star brightness",
                "Their light is scaled: below 1 dims, above 1 brightens",
            ),
            look.brightness,
            0.0..=MOST_BRIGHTNESS,
            brightness,
        );
    });
}

fn row(
    ui: &mut Ui,
    state: &State,
    asks: &mut Asks,
    (short, name, about): (&str, &str, &str),
    now: f64,
    range: std::ops::RangeInclusive<f64>,
    with: impl Fn(f64) -> Option<crate::engine::recipe::Recipe>,
) {
    let as_it_is = format!("{name} as it is");
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        let text = RichText::new(short).color(state.theme.colors().faint);
        form::word(ui, WORDS, text).on_hover_text(about);
        let rest = ui.available_width() - 28.0;
        let mut value = now;
        let [slider, field] = ui
            .allocate_ui(egui::vec2(rest, form::ROW), |ui| {
                form::amount(ui, name, &mut value, range)
            })
            .inner;
        let slider = slider.on_hover_text(format!("{about}; a double click puts it back"));
        for response in [&slider, &field] {
            form::ask(asks, response, name, || with(value));
        }
        let is_off = now != 1.0;
        let reset = ui
            .add_enabled_ui(is_off, |ui| icon::button(ui, Icon::Reset, &as_it_is, false))
            .inner;
        if (reset.clicked() || is_double_clicked(&slider))
            && let Some(recipe) = with(1.0)
        {
            asks.edit(as_it_is, recipe);
        }
    });
}

// A slider takes drags alone: the pointer itself knows of double clicks.
fn is_double_clicked(slider: &Response) -> bool {
    slider.contains_pointer()
        && slider.enabled()
        && slider
            .ctx
            .input(|input| input.pointer.button_double_clicked(PointerButton::Primary))
}
