//! The parts of a stretch that need no histogram: black and white as numbers,
//! shape, amount.

use egui::{Rect, RichText, Sense, Slider, Ui, pos2, vec2};

use super::form;
use super::icon::{self, Icon};
use crate::engine::recipe::{Recipe, Shape, Stretch};
use crate::engine::stretch::edit;
use crate::gui::asks::Asks;

/// A stretch that is worked on.
pub struct Editing<'a> {
    /// It.
    pub stretch: &'a Stretch,
    /// Whose it is, for names and for the history: "Hα", "the brightness".
    pub title: &'a str,
    /// The sky's level in file units, if known.
    pub sky: Option<f64>,
    /// The recipe with another stretch in its place; None where it would not hold.
    pub with: &'a dyn Fn(Stretch) -> Option<Recipe>,
}

/// Black and white as numbers, in file units.
pub fn values(ui: &mut Ui, asks: &mut Asks, editing: &Editing<'_>) {
    type End = (
        &'static str,
        &'static str,
        fn(&Stretch) -> f64,
        fn(&Stretch, f64) -> Stretch,
    );
    const ENDS: [End; 2] = [
        ("Black", "point", |s| s.black, edit::with_black),
        ("White", "point", |s| s.white, edit::with_white),
    ];
    let stretch = editing.stretch;
    let span = stretch.white - stretch.black;
    ui.columns(2, |columns| {
        for (ui, (word, point, of, put)) in columns.iter_mut().zip(ENDS) {
            ui.horizontal(|ui| {
                ui.spacing_mut().button_padding.y = 2.0;
                ui.label(RichText::new(word).small());
                let mut value = of(stretch);
                let decimals = edit::decimals(span);
                ui.spacing_mut().interact_size.x = ui.available_width();
                let label = format!("{word} {point} of {}", editing.title);
                let write = move |value| short(value, decimals);
                let response = form::typed(&mut value, write, |drag| {
                    ui.add(drag.speed(span / 1000.0).clip_text(true))
                })
                .on_hover_text("In the file's units: drag sideways, or click to type")
                .accessible_name(format!(
                    "Value of the {} {point} of {}",
                    word.to_lowercase(),
                    editing.title
                ));
                // Even the same number would be rounded.
                if value != of(stretch) || response.drag_stopped() {
                    form::ask(asks, &response, &label, || {
                        (editing.with)(put(stretch, value))
                    });
                }
            });
        }
    });
}

/// A number with so many decimals, and those that are 0 left off.
pub fn short(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        let text = text.trim_end_matches('0').trim_end_matches('.');
        return text.to_owned();
    }
    text
}

/// The shapes, as a recipe writes them.
const SHAPES: [(Shape, &str, &str); 5] = [
    (Shape::Linear, "linear", "In proportion"),
    (
        Shape::Asinh,
        "asinh",
        "In proportion for what is faint, by powers for what is bright",
    ),
    (
        Shape::Log,
        "log",
        "By powers: equal factors become equal steps",
    ),
    (
        Shape::Power,
        "power",
        "A power of the light: below 1 lifts what is faint",
    ),
    (
        Shape::Bias,
        "bias",
        "A gentle bend: above 0.5 lifts what is faint",
    ),
];

/// The shapes side by side, called by their names and `suffix`.
pub fn shape(ui: &mut Ui, asks: &mut Asks, editing: &Editing<'_>, suffix: &str) {
    let stretch = editing.stretch;
    let gap = 2.0;
    let (row, _) = ui.allocate_exact_size(vec2(ui.available_width(), 22.0), Sense::hover());
    let size = vec2((row.width() - 4.0 * gap) / 5.0, row.height());
    ui.scope(|ui| {
        ui.spacing_mut().button_padding = vec2(2.0, 1.0);
        for (place, (shape, name, about)) in SHAPES.into_iter().enumerate() {
            let text = RichText::new(name).small();
            let button = egui::Button::selectable(stretch.shape == shape, text)
                .frame_when_inactive(true)
                .min_size(size);
            let left = row.left() + place as f32 * (size.x + gap);
            let rect = Rect::from_min_size(pos2(left, row.top()), size);
            let response = ui
                .put(rect, button)
                .on_hover_text(about)
                .accessible_name(format!("Shape {name}{suffix}"));
            if response.clicked()
                && stretch.shape != shape
                && let Some(recipe) = (editing.with)(edit::with_shape(stretch, shape, editing.sky))
            {
                asks.edit(format!("Shape of {}", editing.title), recipe);
            }
        }
    });
}

/// The shape's amount, where it has one.
pub fn amount(ui: &mut Ui, asks: &mut Asks, editing: &Editing<'_>) {
    let stretch = editing.stretch;
    let Some(range) = edit::amounts(stretch.shape) else {
        return;
    };
    let label = format!("Amount of {}", editing.title);
    let now = stretch.amount.unwrap_or(range.start);
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        ui.spacing_mut().button_padding.y = 2.0;
        ui.label(RichText::new("Amount").small());
        let typed = 62.0;
        ui.spacing_mut().slider_width = (ui.available_width() - typed - 22.0 - 12.0).max(40.0);
        let mut value = now;
        let low = range.low.min(now);
        let high = range.high.max(now);
        let slider = Slider::new(&mut value, low..=high)
            .logarithmic(range.wide)
            .smallest_positive(low)
            .show_value(false);
        let response = ui.add(slider).accessible_name(&label);
        form::ask(asks, &response, &label, || {
            (editing.with)(edit::with_amount(stretch, value))
        });
        let mut value = now;
        ui.spacing_mut().interact_size.x = typed;
        let write = |value| short(value, edit::decimals(value).min(6));
        let response = form::typed(&mut value, write, |drag| {
            ui.add(drag.speed(now / 200.0).clip_text(true))
        })
        .accessible_name(format!("Value of the amount of {}", editing.title));
        if value != now || response.drag_stopped() {
            form::ask(asks, &response, &label, || {
                (editing.with)(edit::with_amount(stretch, value))
            });
        }
        let usual = format!("Usual amount of {}", editing.title);
        if icon::button(ui, Icon::Reset, &usual, false).clicked()
            && let Some(recipe) = (editing.with)(edit::with_amount(stretch, range.start))
        {
            asks.edit(label, recipe);
        }
    });
}

#[cfg(test)]
mod tests {
    use super::short;

    #[test]
    fn numbers_carry_no_idle_zeros() {
        assert_eq!(short(20_000.0, 0), "20000");
        assert_eq!(short(46.0, 1), "46");
        assert_eq!(short(0.012_340, 6), "0.01234");
    }
}
