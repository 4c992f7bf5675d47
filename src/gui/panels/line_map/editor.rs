//! The row above the drawing: the selected channel's colour in numbers.

use egui::{Button, DragValue, Id, Label, Response, RichText, TextEdit, Ui};

use super::{ends, with_color};
use crate::engine::color::css;
use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::key::shade::shown;
use crate::engine::key::{Drawing, End, Shade, Thread};
use crate::engine::recipe::ColorValue;
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::theme;
use crate::gui::widgets::form;

/// Height of the row, points.
const ROW: f32 = 27.0;

/// The panel's name.
pub fn heading(ui: &mut Ui, state: &State) {
    ui.horizontal(|ui| {
        ui.set_min_height(ROW);
        title(ui, state);
    });
}

fn title(ui: &mut Ui, state: &State) {
    ui.label(
        RichText::new("Line map")
            .family(theme::bold())
            .color(state.theme.colors().text),
    );
}

/// Shows the row.
pub fn show(ui: &mut Ui, state: &State, drawing: &Drawing, asks: &mut Asks) {
    let faint = state.theme.colors().faint;
    // What a narrow window does without: the panel's name, the colour as text,
    // the words before the numbers.
    let width = ui.available_width();
    ui.horizontal(|ui| {
        ui.set_min_height(ROW);
        if state.selected.is_none() || width > 730.0 {
            title(ui, state);
            ui.add_space(10.0);
        }
        let selected = state.selected.as_ref().and_then(|id| drawing.thread(id));
        match selected.map(|thread| (thread, thread.end)) {
            None => {
                let words = "Pull the lower end of a thread to give its light another hue.";
                ui.add(Label::new(RichText::new(words).color(faint)).truncate());
            }
            Some((thread, None)) => {
                ui.label(&thread.name);
                ui.label(RichText::new("is not in this rendition").color(faint));
                if ui.button("Give it a colour").clicked() {
                    super::give_color(state, drawing, thread, asks);
                }
            }
            Some((thread, Some(end))) => {
                ui.label(RichText::new(&thread.name).color(state.theme.colors().accent));
                ui.add_space(2.0);
                numbers(ui, state, thread, &end, width > 560.0, asks);
                if width > 650.0 {
                    text(ui, state, thread, &end, asks);
                }
                buttons(ui, state, thread, &end, asks);
            }
        }
    });
}

fn numbers(ui: &mut Ui, state: &State, thread: &Thread, end: &End, worded: bool, asks: &mut Asks) {
    let faint = state.theme.colors().faint;
    let one = |ui: &mut Ui, word: &str, value: DragValue<'_>| -> Response {
        ui.spacing_mut().item_spacing.x = 5.0;
        let response = if worded {
            let label = ui.label(RichText::new(word).color(faint));
            ui.add(value).labelled_by(label.id)
        } else {
            ui.add(value).accessible_name(word).on_hover_text(word)
        };
        ui.add_space(6.0);
        response
    };
    let before = end.shade;
    let (mut hue, mut percent, mut strength) =
        (before.hue, 100.0 * before.saturation, before.strength);
    let most = percent.max(100.0);
    let tenths = |value: f64| format!("{value:.1}");
    let responses = [
        form::typed(&mut hue, tenths, |drag| {
            one(ui, "Hue", drag.range(0.0..=360.0).speed(0.5).suffix("°"))
        }),
        form::typed(&mut percent, tenths, |drag| {
            let drag = drag.range(0.0..=most).speed(0.5).suffix(" %");
            one(ui, "Saturation", drag)
        }),
        form::typed(
            &mut strength,
            |value| format!("{value:.3}"),
            |drag| one(ui, "Strength", drag.range(0.0..=1e9).speed(0.01)),
        ),
    ];
    let after = [
        Shade { hue, ..before },
        Shade {
            // There and back a share may come out another.
            saturation: if percent == 100.0 * before.saturation {
                before.saturation
            } else {
                percent / 100.0
            },
            ..before
        },
        Shade { strength, ..before },
    ];
    for ((response, word), shade) in responses
        .into_iter()
        .zip(["Hue", "Saturation", "Strength"])
        .zip(after)
    {
        if response.changed() && shade != before {
            let recipe = with_color(state, &thread.id, shade.value());
            asks.drag(format!("{word} of {}", thread.name), recipe);
        }
        if response.drag_stopped() || response.lost_focus() {
            asks.push(Ask::Settle);
        }
    }
}

/// The colour in the notation of style sheets.
fn written(value: Option<&ColorValue>, end: &End) -> String {
    if let Some(ColorValue::Css(text)) = value {
        return text.clone();
    }
    let [r, g, b] = shown(end.linear_srgb)
        .map(|c| (255.0 * srgb_encode_exact(c.clamp(0.0, 1.0))).round() as u8);
    format!("#{r:02x}{g:02x}{b:02x}")
}

fn text(ui: &mut Ui, state: &State, thread: &Thread, end: &End, asks: &mut Asks) {
    let id = Id::unique(("colour text", &thread.id));
    let kept = ui
        .data(|data| data.get_temp::<Option<String>>(id))
        .flatten();
    let mut text = kept.unwrap_or_else(|| written(ends::value(state, &thread.id), end));
    let problem = css::linear_srgb(&text).err();
    let theme = state.theme.colors();
    let color = if problem.is_some() {
        theme.error
    } else {
        theme.text
    };
    let response = ui
        .add(
            TextEdit::singleline(&mut text)
                .id(id.with("field"))
                .desired_width(92.0)
                .text_color(color),
        )
        .accessible_name("Colour as text");
    if response.changed() {
        if css::linear_srgb(&text).is_ok() {
            let recipe = with_color(state, &thread.id, ColorValue::Css(text.trim().to_owned()));
            asks.drag(format!("Colour of {}", thread.name), recipe);
        }
        ui.data_mut(|data| data.insert_temp(id, Some(text)));
    }
    if response.lost_focus() {
        if let Some(problem) = &problem {
            // What began well and ended badly leaves the colour as it was.
            let settled = state.history.settled().clone();
            asks.drag(format!("Colour of {}", thread.name), settled);
            asks.push(Ask::Say(problem.to_string()));
        }
        asks.push(Ask::Settle);
        ui.data_mut(|data| data.insert_temp(id, None::<String>));
    }
    response.on_hover_text(match problem {
        Some(problem) => problem.to_string(),
        None => "Any CSS colour: #e0603a, oklch(0.7 0.15 150), goldenrod".into(),
    });
}

fn buttons(ui: &mut Ui, state: &State, thread: &Thread, end: &End, asks: &mut Asks) {
    let own = thread.light.is_some();
    let natural = ui
        .add_enabled(own, Button::selectable(end.natural, "Natural"))
        .on_hover_text("In the colour of its own light (Home)")
        .on_disabled_hover_text("Its light is invisible: it has no colour of its own");
    if natural.clicked() {
        be_natural(state, thread, asks);
    }
    let many = state
        .rendition()
        .is_some_and(|rendition| rendition.colors.len() > 1);
    let out = ui
        .add_enabled(many, Button::new("Leave out"))
        .on_hover_text("Out of this rendition (Delete)")
        .on_disabled_hover_text("A rendition needs one channel at least");
    if out.clicked() {
        super::leave_out(state, thread, asks);
    }
}

/// The channel in the colour of its own light, where it has one.
pub fn be_natural(state: &State, thread: &Thread, asks: &mut Asks) {
    if thread.light.is_none() {
        asks.push(Ask::Say(format!(
            "The light of {} is invisible: it has no colour of its own.",
            thread.name
        )));
        return;
    }
    asks.edit(
        format!("Natural colour of {}", thread.name),
        with_color(state, &thread.id, ColorValue::Natural),
    );
}
