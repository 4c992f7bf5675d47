//! The stretch of the channel that is worked on: black and white on the
//! histogram, shape, amount, curve.

use egui::{
    Align, Color32, DragValue, Id, Layout, Pos2, Rect, RichText, Sense, Slider, Stroke, Ui, pos2,
    vec2,
};

use super::{curve, facts, grip, plot};
use crate::engine::measure::Histogram;
use crate::engine::recipe::{Channel, Shape, Stretch};
use crate::engine::stretch::edit;
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::theme::{Theme, bold};
use crate::gui::widgets::icon::{self, Icon};
use crate::work::desk::Layer;

/// How high the histogram is, in points.
const HEIGHT: f32 = 112.0;

/// Steps of an arrow key across the histogram.
const STEPS: f64 = 200.0;

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
    histogram(ui, asks, work);
    ends(ui, asks, work);
    shape(ui, asks, work);
    amount(ui, asks, work);
    curve::show(ui, asks, work);
}

fn head(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("Stretch").family(bold()));
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

/// What a drag of a handle keeps: how far off the pointer took it, and the view
/// as it was, so that the scale stands still meanwhile.
#[derive(Clone, Copy)]
struct Grab {
    off: f32,
    view: plot::View,
}

fn histogram(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    let (stretch, histogram) = (&work.channel.stretch, &work.layer.histogram);
    let (rect, ground) = ui.allocate_exact_size(vec2(ui.available_width(), HEIGHT), Sense::hover());
    ground.on_hover_text(
        "How many pixels have which value, counts on a log scale. The scale of values is even \
         about the sky and logarithmic far from it. The line is the tone that each value gets.",
    );
    let base = Id::unique(("stretch", &work.channel.id));
    let grab: Option<Grab> = ui.data(|data| data.get_temp(base));
    let view = grab.map_or_else(|| plot::view(histogram, stretch), |grab| grab.view);
    plot::paint(
        ui,
        rect,
        (histogram, stretch),
        view,
        work.state.theme,
        work.hue,
    );
    for end in [End::Black, End::White] {
        handle(ui, asks, work, end, rect, view, base);
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum End {
    Black,
    White,
}

impl End {
    fn name(self) -> &'static str {
        match self {
            Self::Black => "Black point",
            Self::White => "White point",
        }
    }

    fn of(self, stretch: &Stretch) -> f64 {
        match self {
            Self::Black => stretch.black,
            Self::White => stretch.white,
        }
    }

    fn put(self, stretch: &Stretch, value: f64) -> Stretch {
        match self {
            Self::Black => edit::with_black(stretch, value),
            Self::White => edit::with_white(stretch, value),
        }
    }
}

fn handle(
    ui: &mut Ui,
    asks: &mut Asks,
    work: &Work<'_>,
    end: End,
    rect: Rect,
    view: plot::View,
    base: Id,
) {
    let stretch = &work.channel.stretch;
    let histogram: &Histogram = &work.layer.histogram;
    let inner = plot::inside(rect);
    let value = end.of(stretch);
    let x = plot::x_of(inner, view, histogram.position(value)).clamp(rect.left(), rect.right());
    let area = Rect::from_center_size(pos2(x, rect.center().y), vec2(14.0, rect.height()));
    let response = ui
        .interact(area, base.with(end.name()), Sense::click_and_drag())
        .on_hover_and_drag_cursor(egui::CursorIcon::ResizeHorizontal);
    let name = format!("{} of {}", end.name(), work.title);
    let bounds = [histogram.value(view[0]), histogram.value(view[1])];
    let nudge = grip::handle(ui, &response, &name, value, bounds);
    paint_handle(ui, work.state.theme, end, rect, x, &response);

    if response.clicked() || response.drag_started() {
        response.request_focus();
    }
    if let Some(pointer) = response.interact_pointer_pos() {
        if response.drag_started() {
            let from = ui.input(|input| input.pointer.press_origin());
            let off = from.unwrap_or(pointer).x - x;
            ui.data_mut(|data| data.insert_temp(base, Grab { off, view }));
        }
        if response.dragged() {
            let grab: Option<Grab> = ui.data(|data| data.get_temp(base));
            let off = grab.map_or(0.0, |grab| grab.off);
            let to = histogram.value(plot::position_at(inner, view, pointer.x - off));
            work.ask(asks, end.name(), end.put(stretch, to), true);
        }
    }
    if response.drag_stopped() {
        ui.data_mut(|data| data.remove::<Grab>(base));
        asks.push(Ask::Settle);
    }
    let steps = nudge.steps[0] + nudge.steps[1];
    let asked = nudge.value.or_else(|| {
        let step = (view[1] - view[0]) / STEPS;
        (steps != 0.0).then(|| histogram.value(histogram.position(value) + steps * step))
    });
    if let Some(asked) = asked {
        work.ask(asks, end.name(), end.put(stretch, asked), false);
    }
    response.on_hover_text(name);
}

fn paint_handle(ui: &Ui, theme: Theme, end: End, rect: Rect, x: f32, response: &egui::Response) {
    let colors = theme.colors();
    let live = response.hovered() || response.dragged() || response.has_focus();
    let color = if live { colors.accent } else { colors.text };
    let painter = ui.painter();
    let at = |y: f32| -> Pos2 { pos2(x, y) };
    painter.line_segment(
        [at(rect.top()), at(rect.bottom() - 6.0)],
        Stroke::new(if live { 2.0 } else { 1.25 }, color),
    );
    let fill = match (end, theme) {
        (End::Black, _) => Color32::BLACK,
        (End::White, Theme::Night) => colors.text,
        (End::White, _) => Color32::WHITE,
    };
    painter.circle(at(rect.bottom() - 6.0), 5.5, fill, Stroke::new(1.5, color));
}

fn ends(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    let stretch = &work.channel.stretch;
    let span = stretch.white - stretch.black;
    ui.columns(2, |columns| {
        for (ui, end) in columns.iter_mut().zip([End::Black, End::White]) {
            ui.horizontal(|ui| {
                let word = if end == End::Black { "Black" } else { "White" };
                ui.label(RichText::new(word).small());
                let mut value = end.of(stretch);
                let decimals = edit::decimals(span);
                ui.spacing_mut().interact_size.x = ui.available_width();
                let response = ui
                    .add(
                        DragValue::new(&mut value)
                            .speed(span / 1000.0)
                            .update_while_editing(false)
                            .clip_text(true)
                            .custom_formatter(move |value, _| short(value, decimals)),
                    )
                    .on_hover_text("In the file's units: drag sideways, or click to type")
                    .accessible_name(format!("Value of the {} of {}", lower(end), work.title));
                let label = format!("{} of {}", end.name(), work.title);
                grip::offer(asks, &response, &label, || {
                    work.with(end.put(stretch, value))
                });
            });
        }
    });
}

fn lower(end: End) -> &'static str {
    match end {
        End::Black => "black point",
        End::White => "white point",
    }
}

/// A number with so many decimals, and those that are 0 left off.
fn short(value: f64, decimals: usize) -> String {
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
