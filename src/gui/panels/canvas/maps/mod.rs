//! What the lines say, shown instead of the picture: which one leads where, and
//! how strong one is beside another; with the legend of its colours.

mod leading;

mod legend;

mod ratio;

use egui::{
    Align, Button, Frame, Id, Label, Layout, Rect, RichText, ScrollArea, Sense, Stroke, Ui,
    UiBuilder, vec2,
};

use super::pictures::SHOWN;
use crate::engine::lines::line;
use crate::engine::ratio::criteria::criterion;
use crate::engine::recipe::{Channel, Ratio, Recipe};
use crate::gui::asks::{Ask, Asks};
use crate::gui::command::Command;
use crate::gui::panels::top::tip;
use crate::gui::state::{LineMap, State, View};
use crate::gui::theme::bold;
use crate::gui::widgets::icon::{self, Icon};
use crate::work::preview::Show;
use crate::work::preview::maps::Found;

/// Points; on lower pictures the plate begins folded.
const LEAST_HEIGHT: f32 = 340.0;

/// Points along the plate.
const WIDTH: f32 = 330.0;

/// Whether two lines or more take part in the shown rendition.
pub fn can_lead(state: &State) -> bool {
    let recipe = state.recipe();
    let Some(rendition) = state.rendition() else {
        return false;
    };
    let shown = |channel: &&Channel| {
        rendition.colors.contains_key(&channel.id) && !state.hidden.contains(&channel.id)
    };
    lines(recipe).filter(shown).count() > 1
}

/// Whether there are two lines to divide.
pub fn can_divide(state: &State) -> bool {
    lines(state.recipe()).count() > 1
}

fn lines(recipe: &Recipe) -> impl Iterator<Item = &Channel> {
    let is_line = |channel: &&Channel| line(&channel.line).is_some_and(|line| !line.is_broad());
    recipe.channels.iter().filter(is_line)
}

/// The ratio to begin with: the recipe's first, or the first with something
/// published on it, or the first two lines.
pub fn first_ratio(recipe: &Recipe) -> Option<Ratio> {
    if let Some(kept) = recipe.ratios.first() {
        return Some(kept.clone());
    }
    let pairs = || {
        lines(recipe).flat_map(|over| {
            lines(recipe)
                .filter(|under| under.id != over.id)
                .map(move |under| (over, under))
        })
    };
    let published = pairs().find(|(over, under)| criterion(&over.line, &under.line).is_some());
    let (over, under) = published.or_else(|| pairs().next())?;
    Some(ratio_of(&over.id, &under.id))
}

fn ratio_of(over: &str, under: &str) -> Ratio {
    Ratio::of(&format!("{over}-{under}"), over, under)
}

/// The map that is shown; None where the picture is, or another thing.
pub fn shown(state: &State) -> Option<&LineMap> {
    if state.view.sky.is_some() || state.solo.is_some() {
        return None;
    }
    state.view.map.as_ref().filter(|map| match map {
        LineMap::Leading(_) => can_lead(state),
        LineMap::Ratio(ratio) => {
            let has = |id: &str| state.recipe().channel(id).is_some();
            has(&ratio.over) && has(&ratio.under)
        }
    })
}

/// What is to be drawn for it.
pub fn wanted(state: &State) -> Option<Show> {
    Some(match shown(state)? {
        LineMap::Leading(by) => Show::Leading {
            rendition: state.rendition()?.id.clone(),
            by: *by,
        },
        LineMap::Ratio(ratio) => Show::Ratio(Ratio {
            // These play no part on the screen.
            id: String::new(),
            bin: 1,
            ..ratio.clone()
        }),
    })
}

/// The legend and its controls, on a plate in the upper left corner of `rect`.
pub fn show(ui: &mut Ui, state: &State, rect: Rect, asks: &mut Asks) {
    let Some(map) = shown(state) else {
        return;
    };
    let colors = state.theme.colors();
    let picture = state.pictures.shown(SHOWN);
    let found = picture.and_then(|shown| shown.picture.found.as_ref());
    let width = WIDTH.min(rect.width() - 28.0);
    let room = vec2(width, (rect.height() - 16.0).max(60.0));
    let place = Rect::from_min_size(rect.min + vec2(8.0, 8.0), room);
    // Where it lay last time: the pointer there is not on the picture.
    let id = Id::unique("plate of a map");
    if let Some(last) = ui.data(|data| data.get_temp::<Rect>(id)) {
        ui.interact(last, id.with("ground"), Sense::click_and_drag());
    }
    let builder = UiBuilder::new().max_rect(place);
    let plate = ui.scope_builder(builder, |ui| {
        Frame::new()
            .fill(colors.card)
            .stroke(Stroke::new(1.0, colors.line))
            .corner_radius(6.0)
            .inner_margin(10.0)
            .show(ui, |ui| {
                ui.set_width(width - 22.0);
                ui.spacing_mut().item_spacing = vec2(6.0, 5.0);
                if let Some(Found::Nothing { what, hint }) = found {
                    let words = RichText::new(format!("{what}. {hint}.")).color(colors.warning);
                    ui.add(Label::new(words).wrap());
                }
                let is_large = rect.height() >= LEAST_HEIGHT;
                if !title(ui, state, (map, is_large), found, asks) {
                    return;
                }
                // All of it can be reached in the smallest window.
                let room = (rect.bottom() - ui.cursor().top() - 18.0).max(40.0);
                ScrollArea::vertical()
                    .id_salt("legend")
                    .max_height(room)
                    .auto_shrink([false, true])
                    .show(ui, |ui| match map {
                        LineMap::Leading(by) => leading::show(ui, state, *by, found, asks),
                        LineMap::Ratio(ratio) => ratio::show(ui, state, ratio, found, asks),
                    });
            });
    });
    ui.data_mut(|data| data.insert_temp(id, plate.response.rect));
}

fn see(state: &State, map: Option<LineMap>, asks: &mut Asks) {
    asks.push(Ask::View(View {
        map,
        ..state.view.clone()
    }));
}

// The name of the map and what is done with it; the rest of the plate folds
// away. Whether it is open.
fn title(
    ui: &mut Ui,
    state: &State,
    (map, is_large): (&LineMap, bool),
    found: Option<&Found>,
    asks: &mut Asks,
) -> bool {
    let id = Id::unique("legend of a map");
    let mut is_open = ui
        .data(|data| data.get_temp::<bool>(id))
        .unwrap_or(is_large);
    let words = match map {
        LineMap::Leading(_) => "Which line leads",
        LineMap::Ratio(_) => "Ratio of lines",
    };
    ui.horizontal(|ui| {
        ui.add(Label::new(RichText::new(words).family(bold())).selectable(false));
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            if icon::button(ui, Icon::Cross, "Back to the picture", false).clicked() {
                see(state, None, asks);
            }
            let (word, about) = match is_open {
                true => ("Fold", "Leave the name alone over the picture"),
                false => ("Unfold", "Show the colours, the figures and the choices"),
            };
            if ui.button(word).on_hover_text(about).clicked() {
                is_open = !is_open;
                ui.data_mut(|data| data.insert_temp(id, is_open));
            }
            let is_there = matches!(found, Some(Found::Leading { .. } | Found::Ratio { .. }));
            let save = ui.add_enabled(is_there, Button::new("Save ..."));
            if tip(save, Command::SaveMap).clicked() {
                asks.run(Command::SaveMap);
            }
        });
    });
    is_open
}
