//! The tone curve: a square from the tone that the shape gives (across) to the
//! tone that comes out (up), with points to drag.

use egui::{Align, Id, Layout, Rect, RichText, Sense, Stroke, Ui, pos2, vec2};

use super::stretch::Work;
use super::{grip, plot};
use crate::engine::stretch::curve::Curve;
use crate::engine::stretch::edit::points;
use crate::gui::asks::{Ask, Asks};
use crate::gui::theme::bold;
use crate::gui::widgets::icon::{self, Icon};

/// How high the box is, in points.
const HEIGHT: f32 = 132.0;

/// How far an arrow key moves a point.
const STEP: f64 = 0.01;

/// Shows heading, box and points.
pub fn show(ui: &mut Ui, asks: &mut Asks, work: &Work<'_>) {
    let stretch = &work.channel.stretch;
    let now = points::of(stretch);
    let change = |asks: &mut Asks, points: Vec<[f64; 2]>, ongoing: bool| {
        work.ask(asks, "Curve", points::with(stretch, points), ongoing);
    };
    let focus = Id::unique(("curve focus", &work.channel.id));
    ui.horizontal(|ui| {
        ui.label(RichText::new("Curve").family(bold()))
            .on_hover_text("Bends the tones that the shape gives: across before, up after");
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            ui.spacing_mut().item_spacing.x = 2.0;
            ui.add_enabled_ui(stretch.curve.is_some(), |ui| {
                let name = format!("Straighten the curve of {}", work.title);
                if icon::button(ui, Icon::Reset, &name, false).clicked() {
                    let straight = vec![[0.0, 0.0], [1.0, 1.0]];
                    change(asks, straight, false);
                }
            });
            let name = format!("Add a point to the curve of {}", work.title);
            if icon::button(ui, Icon::Plus, &name, false).clicked() {
                let gap = points::widest_gap(&now);
                let on_curve = [gap[0], Curve::through(&now).at(gap[0])];
                if let Some((more, place)) = points::added(&now, on_curve) {
                    ui.data_mut(|data| data.insert_temp(focus, place));
                    change(asks, more, false);
                }
            }
        });
    });
    let (rect, ground) = ui.allocate_exact_size(vec2(ui.available_width(), HEIGHT), Sense::CLICK);
    let inner = rect.shrink(7.0);
    paint(ui, rect, inner, &now, work);
    if ground.double_clicked()
        && let Some(pointer) = ground.interact_pointer_pos()
        && let Some((more, place)) = points::added(&now, at(inner, pointer))
    {
        ui.data_mut(|data| data.insert_temp(focus, place));
        change(asks, more, false);
    }
    let wanted: Option<usize> = ui.data_mut(|data| data.remove_temp(focus));
    let mut told = None;
    for (place, point) in now.iter().enumerate() {
        let id = Id::unique(("curve point", &work.channel.id, place));
        let spot = on(inner, *point);
        let area = Rect::from_center_size(spot, vec2(16.0, 16.0));
        let response = ui
            .interact(area, id, Sense::click_and_drag())
            .on_hover_cursor(egui::CursorIcon::Grab);
        let name = format!("Curve point {} of {}", place + 1, work.title);
        let nudge = grip::handle(ui, &response, &name, point[1], [0.0, 1.0]);
        if wanted == Some(place) || response.clicked() || response.drag_started() {
            response.request_focus();
        }
        if response.dragged()
            && let Some(pointer) = response.interact_pointer_pos()
        {
            change(asks, points::moved(&now, place, at(inner, pointer)), true);
        }
        if response.drag_stopped() {
            asks.push(Ask::Settle);
        }
        if nudge.delete || response.secondary_clicked() {
            change(asks, points::removed(&now, place), false);
        } else if let Some(y) = nudge.value {
            change(asks, points::moved(&now, place, [point[0], y]), false);
        } else if nudge.steps != [0.0, 0.0] {
            let [x, y] = nudge.steps.map(|steps| steps * STEP);
            let to = [point[0] + x, point[1] + y];
            change(asks, points::moved(&now, place, to), false);
        }
        let live = response.has_focus() || response.dragged() || response.hovered();
        dot(ui, work, spot, live);
        if live {
            told = Some(*point);
        }
    }
    let colors = work.state.theme.colors();
    let words = told.map_or_else(
        || "Double-click adds, right-click removes".to_owned(),
        |[x, y]| format!("Tone {x:.3} becomes {y:.3}"),
    );
    ui.label(RichText::new(words).small().color(colors.faint));
}

fn on(inner: Rect, [x, y]: [f64; 2]) -> egui::Pos2 {
    pos2(
        inner.left() + inner.width() * x as f32,
        inner.bottom() - inner.height() * y as f32,
    )
}

fn at(inner: Rect, pointer: egui::Pos2) -> [f64; 2] {
    [
        f64::from((pointer.x - inner.left()) / inner.width()),
        f64::from((inner.bottom() - pointer.y) / inner.height()),
    ]
}

fn paint(ui: &Ui, rect: Rect, inner: Rect, points: &[[f64; 2]], work: &Work<'_>) {
    let colors = work.state.theme.colors();
    plot::well(ui, rect, &colors);
    let painter = ui.painter();
    let thin = Stroke::new(1.0, colors.line.gamma_multiply(0.7));
    for quarter in [0.25, 0.5, 0.75] {
        painter.line_segment([on(inner, [quarter, 0.0]), on(inner, [quarter, 1.0])], thin);
        painter.line_segment([on(inner, [0.0, quarter]), on(inner, [1.0, quarter])], thin);
    }
    painter.extend(egui::Shape::dashed_line(
        &[on(inner, [0.0, 0.0]), on(inner, [1.0, 1.0])],
        Stroke::new(1.0, colors.faint.gamma_multiply(0.6)),
        3.0,
        4.0,
    ));
    let font = egui::FontId::proportional(10.5);
    let color = colors.faint.gamma_multiply(0.85);
    for (place, align, word) in [
        (inner.left_top(), egui::Align2::LEFT_TOP, "after"),
        (inner.right_bottom(), egui::Align2::RIGHT_BOTTOM, "before"),
    ] {
        painter.text(place, align, word, font.clone(), color);
    }
    let curve = Curve::through(points);
    let steps = inner.width().max(16.0) as u32;
    let line = (0..=steps)
        .map(|step| {
            let x = f64::from(step) / f64::from(steps);
            on(inner, [x, curve.at(x)])
        })
        .collect();
    plot::line(painter, line, work.state.theme, work.hue);
}

fn dot(ui: &Ui, work: &Work<'_>, spot: egui::Pos2, live: bool) {
    let colors = work.state.theme.colors();
    let (radius, fill) = if live {
        (5.5, colors.accent)
    } else {
        (4.5, colors.text)
    };
    ui.painter()
        .circle(spot, radius, fill, Stroke::new(1.5, colors.well));
}
