//! Parts of forms: choices in a row, names beside fields, sections that fold,
//! what is wrong in place.

use egui::{
    Align, Button, CollapsingHeader, Color32, DragValue, Label, Layout, Response, RichText, Role,
    Slider, Ui, WidgetInfo, vec2,
};

use super::icon::{self, Icon};
use crate::engine::recipe::Recipe;
use crate::gui::asks::{Ask, Asks};
use crate::gui::theme::{Theme, bold};

/// Height of a row of fields, points.
pub const ROW: f32 = 24.0;

/// Buttons and fields of this part fit into a [`ROW`], and have an edge that
/// shows in all looks.
pub fn compact(ui: &mut Ui) {
    ui.spacing_mut().button_padding = vec2(7.0, 2.0);
    let line = ui.visuals().widgets.noninteractive.bg_stroke;
    ui.visuals_mut().widgets.inactive.bg_stroke = line;
}

/// A few ways of which one holds, side by side. `options` are
/// value, word and tooltip; the result is what was chosen anew.
pub fn choice<T: Copy + PartialEq>(
    ui: &mut Ui,
    current: T,
    options: &[(T, &str, &str)],
) -> Option<T> {
    choice_where(ui, current, options, |_| None)
}

/// The same where some ways cannot be had: `hindered` says why, in a sentence.
pub fn choice_where<T: Copy + PartialEq>(
    ui: &mut Ui,
    current: T,
    options: &[(T, &str, &str)],
    hindered: impl Fn(T) -> Option<String>,
) -> Option<T> {
    let gap = 4.0;
    let count = options.len().max(1) as f32;
    let font = egui::TextStyle::Button.resolve(ui.style());
    let words: Vec<f32> = options
        .iter()
        .map(|(_, word, _)| {
            let color = ui.visuals().text_color();
            let galley =
                ui.fonts_mut(|fonts| fonts.layout_no_wrap((*word).to_owned(), font.clone(), color));
            galley.size().x
        })
        .collect();
    // Equal where that is enough, else by what the words need.
    let total = ui.available_width() - gap * (count - 1.0);
    let even = total / count;
    let longest = words.iter().copied().fold(0.0, f32::max) + 8.0;
    let rest = (total - words.iter().sum::<f32>()) / count;
    let width = |word: f32| if longest <= even { even } else { word + rest };
    let mut chosen = None;
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = gap;
        compact(ui);
        ui.spacing_mut().button_padding.x = 3.0;
        for ((value, word, about), needs) in options.iter().zip(&words) {
            let selected = *value == current;
            let text = if selected {
                RichText::new(*word).color(ui.visuals().hyperlink_color)
            } else {
                RichText::new(*word)
            };
            let button = Button::new(text).selected(selected).truncate();
            let button = if selected {
                button
                    .fill(ui.visuals().widgets.inactive.weak_bg_fill)
                    .stroke(egui::Stroke::new(1.0, ui.visuals().hyperlink_color))
            } else {
                button
            };
            let why = hindered(*value);
            let enabled = ui.is_enabled() && why.is_none();
            let response = ui
                .add_enabled_ui(enabled, |ui| {
                    ui.add_sized([width(*needs).floor(), ROW], button)
                })
                .inner;
            response
                .widget_info(|| WidgetInfo::selected(Role::RadioButton, enabled, selected, *word));
            let response = response
                .on_hover_text(*about)
                .on_disabled_hover_text(why.as_deref().unwrap_or(about));
            if response.clicked() && !selected {
                chosen = Some(*value);
            }
        }
    });
    chosen
}

/// A word of fixed width at the left of a field; elided where it is too long.
pub fn word(ui: &mut Ui, width: f32, text: impl Into<RichText>) -> Response {
    ui.allocate_ui_with_layout(
        vec2(width, ROW),
        Layout::left_to_right(Align::Center),
        |ui| {
            ui.set_min_width(width);
            ui.add(Label::new(text.into()).truncate().selectable(false))
        },
    )
    .inner
}

/// A slider that fills the row, and its number beside it. The slider is called
/// `name`, the number "`name`, number".
pub fn amount(
    ui: &mut Ui,
    name: &str,
    value: &mut f64,
    range: std::ops::RangeInclusive<f64>,
) -> [Response; 2] {
    number(ui, name, value, range, 2, "")
}

/// The same for whole numbers.
pub fn whole_amount(
    ui: &mut Ui,
    name: &str,
    value: &mut f64,
    range: std::ops::RangeInclusive<f64>,
) -> [Response; 2] {
    number(ui, name, value, range, 0, "")
}

/// The same for a share, 0..1, in whole percent.
pub fn percent(ui: &mut Ui, name: &str, share: &mut f64) -> [Response; 2] {
    let before = *share * 100.0;
    let mut value = before;
    let responses = number(ui, name, &mut value, 0.0..=100.0, 0, " %");
    if value != before {
        *share = value / 100.0;
    }
    responses
}

fn number(
    ui: &mut Ui,
    name: &str,
    value: &mut f64,
    range: std::ops::RangeInclusive<f64>,
    decimals: usize,
    suffix: &str,
) -> [Response; 2] {
    let width = 52.0;
    ui.spacing_mut().slider_width =
        (ui.available_width() - width - ui.spacing().item_spacing.x).max(40.0);
    compact(ui);
    let well = ui.visuals().extreme_bg_color;
    // The rail shows in light looks too.
    ui.visuals_mut().widgets.inactive.bg_fill = ui.visuals().widgets.noninteractive.bg_stroke.color;
    let slider = ui
        .add(
            Slider::new(value, range.clone())
                .show_value(false)
                .step_by(if decimals == 0 { 1.0 } else { 0.0 })
                .trailing_fill(true)
                .clamping(egui::SliderClamping::Edits),
        )
        .accessible_name(name);
    ui.visuals_mut().widgets.inactive.weak_bg_fill = well;
    let write = move |value: f64| format!("{value:.decimals$}");
    let field = typed(value, write, |drag| {
        let drag = drag
            .range(range)
            .clamp_existing_to_range(false)
            .speed(if decimals == 0 { 0.25 } else { 0.01 })
            .suffix(suffix);
        ui.add_sized([width, ROW], drag)
    })
    .accessible_name(format!("{name}, number"));
    [slider, field]
}

/// A number to drag sideways or to type, as `write` writes it; `show` puts it there.
/// A field that was entered and left has read its own digits: they change nothing.
pub fn typed(
    value: &mut f64,
    write: impl Fn(f64) -> String + Clone,
    show: impl FnOnce(DragValue<'_>) -> Response,
) -> Response {
    let before = *value;
    let written = write.clone();
    let response = show(
        DragValue::new(value)
            .update_while_editing(false)
            .custom_formatter(move |value, _| written(value)),
    );
    let moved = response.dragged() || response.drag_stopped();
    if !moved && write(*value) == write(before) {
        *value = before;
    }
    response
}

/// Turns what happened to a number into asks: a drag is one step, a typed
/// number another. `recipe` is what it leads to, None where it would not hold.
pub fn ask(
    asks: &mut Asks,
    response: &Response,
    label: &str,
    recipe: impl FnOnce() -> Option<Recipe>,
) {
    let stopped = response.drag_stopped();
    if response.changed()
        && let Some(recipe) = recipe()
    {
        if response.dragged() || stopped || response.is_pointer_button_down_on() {
            asks.drag(label, recipe);
        } else {
            asks.edit(label, recipe);
        }
    }
    if stopped {
        asks.push(Ask::Settle);
    }
}

/// A part of a panel that folds.
pub fn section(ui: &mut Ui, title: &str, open: bool, body: impl FnOnce(&mut Ui)) {
    ui.add_space(2.0);
    ui.separator();
    CollapsingHeader::new(RichText::new(title).family(bold()).size(14.0))
        .default_open(open)
        .show_unindented(ui, |ui| {
            ui.add_space(2.0);
            body(ui);
            ui.add_space(4.0);
        });
}

/// A part of a panel that is folded until it is wanted; meanwhile `summary` says
/// in a line, in the colour beside it, what is on.
pub fn folded(
    ui: &mut Ui,
    title: &str,
    (summary, faint): (&str, Color32),
    body: impl FnOnce(&mut Ui),
) {
    ui.add_space(2.0);
    ui.separator();
    let shown = CollapsingHeader::new(RichText::new(title).family(bold()).size(14.0))
        .show_unindented(ui, |ui| {
            ui.add_space(2.0);
            body(ui);
            ui.add_space(4.0);
        });
    if shown.fully_closed() {
        ui.add(Label::new(RichText::new(summary).small().color(faint)).truncate())
            .on_hover_text(summary);
    }
}

/// What is wrong and what to do, with a sign, in the colour of `color`.
pub fn problem(ui: &mut Ui, color: Color32, what: &str, hint: &str) {
    ui.horizontal_top(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        let (rect, _) = ui.allocate_exact_size(vec2(14.0, 16.0), egui::Sense::hover());
        icon::paint(
            ui.painter(),
            Icon::Warning,
            egui::Rect::from_center_size(rect.center(), vec2(11.0, 11.0)),
            color,
        );
        ui.vertical(|ui| {
            ui.spacing_mut().item_spacing.y = 2.0;
            ui.add(Label::new(RichText::new(what).color(color).small()).wrap());
            if !hint.is_empty() {
                ui.add(Label::new(RichText::new(hint).small()).wrap());
            }
        });
    });
}

/// A colour as it is painted in these looks: at night only its red is left, by
/// its brightness.
pub fn shade(theme: Theme, color: Color32) -> Color32 {
    if theme != Theme::Night {
        return color;
    }
    let [r, g, b, a] = color.to_array().map(u32::from);
    let light = (r * 54 + g * 183 + b * 19) / 256;
    Color32::from_rgba_premultiplied(light.min(255) as u8, 0, 0, a as u8)
}
