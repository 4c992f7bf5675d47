//! The colours as numbers: a row for each channel.

use egui::{Color32, Rect, RichText, Sense, Stroke, TextEdit, Ui, vec2};

use crate::engine::color::oklab::oklch;
use crate::engine::mix::assign::natural_color;
use crate::engine::recipe::{Channel, ColorValue, Rendition};
use crate::gui::asks::Asks;
use crate::gui::names;
use crate::gui::state::State;
use crate::gui::widgets::form::{self, ROW};
use crate::gui::widgets::icon::{self, Icon};
use crate::work::needed::{self, Part};
use crate::work::{describe, mixing};

const GAP: f32 = 6.0;
const COMPONENTS: [&str; 3] = ["red", "green", "blue"];

pub(super) fn show(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let recipe = state.recipe();
    let names = names::all(recipe);
    heads(ui, state);
    for (channel, name) in recipe.channels.iter().zip(&names) {
        ui.push_id((&rendition.id, &channel.id), |ui| {
            ui.spacing_mut().item_spacing = vec2(GAP, 4.0);
            form::compact(ui);
            match rendition.colors.get(&channel.id) {
                Some(value) => {
                    first_line(ui, state, rendition, (channel, name, value), asks);
                    numbers(ui, state, rendition, (channel, name, value), asks);
                }
                None => absent(ui, state, rendition, channel, name, asks),
            }
        });
        ui.add_space(4.0);
    }
}

fn column(ui: &Ui) -> f32 {
    ((ui.available_width() - 3.0 * GAP) / 4.0).floor()
}

fn heads(ui: &mut Ui, state: &State) {
    let faint = state.theme.colors().faint;
    let width = column(ui);
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = GAP;
        for head in COMPONENTS.into_iter().chain(["strength"]) {
            ui.add_sized(
                [width, 16.0],
                egui::Label::new(RichText::new(head).small().color(faint)).selectable(false),
            );
        }
    })
    .response
    .on_hover_text(
        "Each channel's colour in linear light on the sRGB primaries; numbers may \
         exceed 1 or be negative. Drag sideways, or click and type.",
    );
}

type Row<'a> = (&'a Channel, &'a String, &'a ColorValue);

/// How a colour is written now.
fn mark(value: &ColorValue) -> &'static str {
    match value {
        ColorValue::Natural => "natural",
        ColorValue::Hue { .. } => "hue",
        ColorValue::Css(_) => "CSS",
        ColorValue::Vector(_) => "numbers",
    }
}

fn swatch(ui: &mut Ui, state: &State, vector: Option<[f64; 3]>) {
    let (rect, _) = ui.allocate_exact_size(vec2(16.0, ROW), Sense::hover());
    let rect = Rect::from_center_size(rect.center(), vec2(16.0, 16.0));
    let color = vector
        .map(describe::css)
        .and_then(|hex| Color32::from_hex(&hex).ok());
    let line = Stroke::new(1.0, state.theme.colors().line);
    let painter = ui.painter();
    if let Some(color) = color {
        painter.rect_filled(rect, 4.0, form::shade(state.theme, color));
    }
    painter.rect_stroke(rect, 4.0, line, egui::StrokeKind::Inside);
}

fn first_line(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    (channel, name, value): Row<'_>,
    asks: &mut Asks,
) {
    let vector = mixing::numbers(value, channel);
    let mut said = None;
    ui.horizontal(|ui| {
        let full = ui.available_width();
        swatch(ui, state, vector);
        let word = if full > 270.0 { 64.0 } else { 50.0 };
        let short = names::short(state.recipe(), channel);
        form::word(ui, word, RichText::new(short).strong())
            .on_hover_text(format!("{name}: {}", channel.file));
        let (way, cross) = (56.0, 22.0);
        let field = (full - 16.0 - word - way - cross - 4.0 * GAP).max(40.0);
        said = text_field(ui, state, rendition, (channel, name, value), field, asks);
        written_as(ui, state, rendition, (channel, name, value), way, asks);
        let without = mixing::left_out(state.recipe(), &rendition.id, &channel.id);
        ui.add_enabled_ui(without.is_some(), |ui| {
            let response = icon::button(ui, Icon::Cross, &format!("Leave {name} out"), false)
                .on_disabled_hover_text("The last channel of a rendition stays");
            if let (true, Some(recipe)) = (response.clicked(), without) {
                asks.edit(format!("{name} left out"), recipe);
            }
        });
    });
    if let Some(said) = said {
        form::problem(ui, state.theme.colors().error, &said, "");
    }
}

/// What is being typed, and what was wrong with it when it was done.
#[derive(Clone)]
struct Typing {
    text: String,
    onto: ColorValue,
    problem: Option<String>,
}

// The colour as CSS; the result is what is wrong with what was typed.
fn text_field(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    (channel, name, value): Row<'_>,
    width: f32,
    asks: &mut Asks,
) -> Option<String> {
    let colors = state.theme.colors();
    let id = ui.make_persistent_id("css");
    let shown = match value {
        ColorValue::Css(text) => text.clone(),
        _ => mixing::numbers(value, channel).map_or_else(String::new, describe::css),
    };
    let mut typing = ui
        .data(|data| data.get_temp::<Typing>(id))
        .filter(|typing| typing.onto == *value)
        .unwrap_or_else(|| Typing {
            text: shown.clone(),
            onto: value.clone(),
            problem: None,
        });
    let own = matches!(value, ColorValue::Css(_)) || typing.text != shown;
    let response = ui
        .add_sized(
            [width, ROW],
            TextEdit::singleline(&mut typing.text)
                .id(id.with("field"))
                .desired_width(width)
                .text_color(if typing.problem.is_some() {
                    colors.error
                } else if own {
                    colors.text
                } else {
                    colors.faint
                })
                .margin(vec2(4.0, 3.0)),
        )
        .accessible_name(format!("{name} colour"));
    let response = response.on_hover_text(format!(
        "{}\nType any CSS colour, or natural; faint where it is only the nearest that sRGB can show",
        typing.text
    ));
    if response.changed() {
        typing.problem = None;
    }
    if response.lost_focus() {
        let given_up = ui.input(|input| input.key_pressed(egui::Key::Escape));
        if given_up || typing.text.trim() == shown {
            typing.text.clone_from(&shown);
            typing.problem = None;
        } else {
            match mixing::typed(&typing.text, channel) {
                Ok(new) => {
                    typing.problem = recolor(state, rendition, (channel, name), new, asks);
                }
                Err(problem) => typing.problem = Some(problem),
            }
        }
    }
    let problem = typing.problem.clone();
    let keep = response.has_focus() || problem.is_some();
    ui.data_mut(|data| {
        if keep {
            data.insert_temp(id, typing);
        } else {
            data.remove::<Typing>(id);
        }
    });
    problem
}

fn recolor(
    state: &State,
    rendition: &Rendition,
    (channel, name): (&Channel, &String),
    value: ColorValue,
    asks: &mut Asks,
) -> Option<String> {
    match mixing::colored(state.recipe(), &rendition.id, &channel.id, value) {
        Some(recipe) => {
            asks.edit(format!("Colour of {name}"), recipe);
            None
        }
        None => Some("This colour is beyond any use; give smaller numbers.".to_owned()),
    }
}

fn written_as(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    (channel, name, value): Row<'_>,
    width: f32,
    asks: &mut Asks,
) {
    let numbers = mixing::numbers(value, channel).unwrap_or([1.0; 3]);
    let strength = mixing::strength(value, channel).unwrap_or(1.0);
    let natural = natural_color(&channel.line, channel.center_nm).is_some();
    let mut chosen = None;
    let menu = |ui: &mut Ui| {
        let mut offer = |ui: &mut Ui, like: &ColorValue, about: &str| {
            let same = mark(like) == mark(value);
            let text = format!("{}: {about}", mark(like));
            if ui.selectable_label(same, text).clicked() && !same {
                chosen = Some(like.clone());
            }
        };
        ui.add_enabled_ui(natural, |ui| {
            let about = if natural {
                "the light's own colour"
            } else {
                "no eye sees this light"
            };
            offer(ui, &ColorValue::Natural, about);
        });
        let hue = ColorValue::Hue {
            hue: oklch(numbers)[2],
            saturation: 1.0,
            strength,
        };
        offer(ui, &hue, "the pure colour of this hue angle");
        let css = ColorValue::Css(describe::css(numbers));
        offer(ui, &css, "the nearest colour that sRGB shows");
        offer(
            ui,
            &ColorValue::Vector(numbers),
            "red, green, blue as they stand",
        );
    };
    ui.allocate_ui_with_layout(
        vec2(width, ROW),
        egui::Layout::top_down_justified(egui::Align::Center),
        |ui| {
            ui.spacing_mut().button_padding.x = 2.0;
            let words = RichText::new(mark(value)).small();
            let button = egui::Button::new(words).min_size(vec2(width, ROW));
            let (response, _) =
                egui::containers::menu::MenuButton::from_button(button).ui(ui, menu);
            response
                .accessible_name(format!("{name} written as"))
                .on_hover_text("How the recipe writes this colour; click for other ways");
        },
    );
    if let Some(value) = chosen {
        recolor(state, rendition, (channel, name), value, asks);
    }
}

fn numbers(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    (channel, name, value): Row<'_>,
    asks: &mut Asks,
) {
    let Some(vector) = mixing::numbers(value, channel) else {
        return;
    };
    let width = column(ui);
    let label = format!("Colour of {name}");
    ui.horizontal(|ui| {
        let well = state.theme.colors().well;
        ui.visuals_mut().widgets.inactive.weak_bg_fill = well;
        for (component, word) in COMPONENTS.into_iter().enumerate() {
            let mut number = vector[component];
            let response = field(ui, width, &mut number, -mixing::MOST)
                .accessible_name(format!("{name} {word}"));
            if is_new(&response, number, vector[component]) {
                form::ask(asks, &response, &label, || {
                    let value = mixing::with_number(value, channel, component, number)?;
                    mixing::colored(state.recipe(), &rendition.id, &channel.id, value)
                });
            }
        }
        let before = mixing::strength(value, channel).unwrap_or(0.0);
        let mut strength = before;
        let response = field(ui, width, &mut strength, 0.0)
            .accessible_name(format!("{name} strength"))
            .on_hover_text("Scales the whole colour");
        if is_new(&response, strength, before) {
            form::ask(asks, &response, &format!("Strength of {name}"), || {
                let value = mixing::with_strength(value, channel, strength)?;
                mixing::colored(state.recipe(), &rendition.id, &channel.id, value)
            });
        }
    });
}

fn is_new(response: &egui::Response, now: f64, before: f64) -> bool {
    response.dragged() || response.drag_stopped() || now != before
}

fn field(ui: &mut Ui, width: f32, number: &mut f64, least: f64) -> egui::Response {
    form::typed(
        number,
        |number| format!("{number:.3}"),
        |drag| {
            let drag = drag
                .range(least..=mixing::MOST)
                .clamp_existing_to_range(false)
                .speed(0.005);
            ui.add_sized([width, ROW], drag)
        },
    )
}

fn absent(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    channel: &Channel,
    name: &str,
    asks: &mut Asks,
) {
    let faint = state.theme.colors().faint;
    let part = match needed::part(state.recipe(), rendition, channel) {
        Part::Colors => "only colours stars",
        Part::Told => "only tells of stars",
        Part::Neither => "takes no part",
    };
    ui.horizontal(|ui| {
        swatch(ui, state, None);
        let add = 52.0;
        let width = (ui.available_width() - add - GAP).max(20.0);
        let short = names::short(state.recipe(), channel);
        form::word(
            ui,
            width,
            RichText::new(format!("{short}  {part}")).color(faint),
        )
        .on_hover_text(format!("{name}: {}", channel.file));
        let response = ui
            .add_sized([add, ROW], egui::Button::new("Add"))
            .accessible_name(format!("Add {name}"))
            .on_hover_text(format!("Give {name} a colour in this rendition"));
        if response.clicked()
            && let Some(recipe) = mixing::added(state.recipe(), &rendition.id, &channel.id)
        {
            asks.edit(format!("{name} added"), recipe);
        }
    });
}
