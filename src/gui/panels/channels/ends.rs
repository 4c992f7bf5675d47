//! Black and white: handles on the histogram.

use egui::{Color32, Id, Pos2, Rect, Sense, Stroke, Ui, pos2, vec2};

use super::stretch::Work;
use super::{grip, plot};
use crate::engine::measure::Histogram;
use crate::engine::recipe::Stretch;
use crate::engine::stretch::edit;
use crate::gui::asks::{Ask, Asks};
use crate::gui::theme::Theme;
use crate::gui::widgets::stretch::short;

/// How high the histogram is, in points.
const HEIGHT: f32 = 112.0;

/// Steps of an arrow key across the histogram.
const STEPS: f64 = 200.0;

/// What a drag of a handle keeps: how far off the pointer took it, and the view
/// as it was, so that the scale stands still meanwhile.
#[derive(Clone, Copy)]
struct Grab {
    off: f32,
    view: plot::View,
}

/// The histogram, with black and white to drag.
pub fn histogram(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    let (stretch, histogram) = (&work.channel.stretch, &work.layer.histogram);
    let (rect, _) = ui.allocate_exact_size(vec2(ui.available_width(), HEIGHT), Sense::hover());
    let base = Id::unique(("stretch", &work.channel.id));
    let taken = [End::Black, End::White]
        .into_iter()
        .any(|end| ui.ctx().is_being_dragged(base.with(end.name())));
    let grab: Option<Grab> = ui.data(|data| data.get_temp(base).filter(|_| taken));
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
    let figure = short(value, edit::decimals(stretch.white - stretch.black));
    response.on_hover_text(format!("{name}: {figure}"));
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
