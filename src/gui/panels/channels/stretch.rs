//! The stretch of the channel that is worked on: black and white on the
//! histogram, shape, amount, curve.

use egui::{Align, Color32, DragValue, Layout, Rect, RichText, Sense, Slider, Ui, pos2, vec2};

use super::{curve, ends, facts, grip};
use crate::engine::recipe::{Channel, Shape, Stretch};
use crate::engine::stretch::edit;
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::theme::bold;
use crate::gui::widgets::icon::{self, Icon};
use crate::work::desk::Layer;

/// What the parts of the editor work on.
pub struct Work<'a> {
    /// What the window knows.
    pub state: &'a State,
    /// The channel.
    pub channel: &'a Channel,
    /// Its data.
    pub layer: &'a Layer,
    /// What it is called.
    pub title: String,
    /// Its colour in the shown rendition.
    pub hue: Option<Color32>,
}

impl Work<'_> {
    /// Asks for another stretch, as part of a gesture or as a step.
    pub fn ask(&self, asks: &mut Asks, part: &str, stretch: Stretch, ongoing: bool) {
        let label = format!("{part} of {}", self.title);
        let recipe = self.with(stretch);
        if ongoing {
            asks.drag(label, recipe);
        } else {
            asks.edit(label, recipe);
        }
    }

    /// The recipe with another stretch of the channel.
    pub fn with(&self, stretch: Stretch) -> crate::engine::recipe::Recipe {
        self.state
            .with_channel(&self.channel.id, |channel| channel.stretch = stretch)
    }
}

/// Shows the editor.
pub fn show(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    head(ui, asks, work);
    ends::histogram(ui, asks, work);
    ends::values(ui, asks, work);
    shape(ui, asks, work);
    amount(ui, asks, work);
    curve::show(ui, asks, work);
}

fn head(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("Stretch").family(bold()))
            .on_hover_text(
                "Below: how many pixels have which value, counts on a log scale. The scale of \
                 values is even about the sky and logarithmic far from it. The line is the tone \
                 that each value gets.",
            );
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            ui.spacing_mut().button_padding.x = 6.0;
            let all = ui
                .add_enabled(
                    work.state.recipe().channels.len() > 1,
                    egui::Button::new("Same for all").small(),
                )
                .on_hover_text(
                    "Gives all channels this shape, amount and curve; black and white as far \
                     from each one's sky, in units of its noise",
                )
                .accessible_name(format!("Stretch of {} for all", work.title));
            if all.clicked() {
                same_for_all(asks, work);
            }
            let auto = ui
                .add(egui::Button::new("Auto").small())
                .on_hover_text("Measures a stretch that suits the channel")
                .accessible_name(format!("Auto stretch of {}", work.title));
            if auto.clicked() {
                asks.push(Ask::AutoStretch(work.channel.id.clone()));
            }
        });
    });
}

/// The same look for all others, as far as they have been measured.
fn same_for_all(asks: &mut Asks, work: &Work<'_>) {
    let Some(from) = &work.layer.levels else {
        return;
    };
    let mut recipe = work.state.recipe().clone();
    let mut left = Vec::new();
    for channel in &mut recipe.channels {
        if channel.id == work.channel.id {
            continue;
        }
        let layer = work.state.layers.get(&channel.id);
        let carried = layer
            .and_then(|layer| layer.levels.as_ref())
            .and_then(|to| edit::carried_over(&work.channel.stretch, from, to));
        match carried {
            Some(stretch) => channel.stretch = stretch,
            None => left.push(facts::title(work.state.recipe(), channel)),
        }
    }
    asks.edit(format!("Stretch of {} for all", work.title), recipe);
    if !left.is_empty() {
        let names = left.join(", ");
        asks.push(Ask::Say(format!(
            "{names} kept the old stretch: there is no measured noise to go by"
        )));
    }
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

fn shape(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    let stretch = &work.channel.stretch;
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
                .accessible_name(format!("Shape {name}"));
            if response.clicked() && stretch.shape != shape {
                let sky = work.layer.levels.as_ref().map(|levels| levels.sky);
                let changed = edit::with_shape(stretch, shape, sky);
                work.ask(asks, "Shape", changed, false);
            }
        }
    });
}

fn amount(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    let stretch = &work.channel.stretch;
    let Some(range) = edit::amounts(stretch.shape) else {
        return;
    };
    let label = format!("Amount of {}", work.title);
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
        grip::offer(asks, &response, &label, || {
            work.with(edit::with_amount(stretch, value))
        });
        let mut value = now;
        ui.spacing_mut().interact_size.x = typed;
        let response = ui
            .add(
                DragValue::new(&mut value)
                    .speed(now / 200.0)
                    .update_while_editing(false)
                    .clip_text(true)
                    .custom_formatter(|value, _| short(value, edit::decimals(value).min(6))),
            )
            .accessible_name(format!("Value of the amount of {}", work.title));
        grip::offer(asks, &response, &label, || {
            work.with(edit::with_amount(stretch, value))
        });
        let usual = format!("Usual amount of {}", work.title);
        if icon::button(ui, Icon::Reset, &usual, false).clicked() {
            let changed = edit::with_amount(stretch, range.start);
            work.ask(asks, "Amount", changed, false);
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
