//! Names above the spectrum: a click selects the channel, or gives one that is
//! left out a colour.

use egui::{Align2, Rect, Response, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::ink::around;
use super::{Scene, font};
use crate::engine::key::{Kind, Thread};
use crate::gui::asks::{Ask, Asks};
use crate::gui::widgets::icon::{self, Icon};

/// Width of the sign beside the name of a channel that is left out, points.
pub const SIGN: f32 = 13.0;

fn place(ui: &Ui, scene: &Scene<'_>, thread: &Thread) -> Rect {
    let y = match scene.drawing.bracket_row(thread) {
        Some(row) => scene.rows.bracket(row),
        None => scene.rows.name(thread.label_row),
    };
    let width = ui
        .painter()
        .layout_no_wrap(thread.symbol.clone(), font(), egui::Color32::WHITE)
        .size()
        .x;
    let sign = if thread.end.is_none() { SIGN } else { 0.0 };
    around(pos2(scene.rows.at(thread.label_x), y), width + sign, 14.0)
}

/// What a channel is, in words: "Hα, 656.3 nm, 5 nm wide".
pub fn about(thread: &Thread) -> String {
    let mut words = format!("{}, {:.1} nm", thread.name, thread.center_nm);
    if let Some(width) = thread.width_nm {
        words += &format!(", {width} nm wide");
    }
    words
}

/// Takes clicks. Gives the channels' ids and responses.
pub fn interact(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Asks) -> Vec<(String, Response)> {
    let mut all = Vec::new();
    for thread in &scene.drawing.threads {
        let rect = place(ui, scene, thread).expand2(vec2(2.0, 0.0));
        let id = ui.scope_id().with(("name", &thread.id));
        let given = thread.end.is_some();
        // The keyboard finds a channel with a colour at its lower end.
        let sense = if given { Sense::CLICK } else { Sense::click() };
        let response = ui
            .interact(rect, id, sense)
            .on_hover_cursor(egui::CursorIcon::PointingHand);
        let name = if given {
            format!("Select {}", thread.name)
        } else {
            format!("Give {} a colour", thread.name)
        };
        response.widget_info(|| {
            WidgetInfo::selected(Role::Button, true, scene.is_selected(thread), &name)
        });
        if response.clicked() {
            if given {
                asks.push(Ask::Select(Some(thread.id.clone())));
            } else {
                super::give_color(scene.state, &scene.drawing, thread, asks);
            }
        }
        // Of a channel with a colour the line of hints says more.
        let response = if given {
            response
        } else {
            response.on_hover_text(name)
        };
        all.push((thread.id.clone(), response));
    }
    all
}

/// Paints them with their leaders.
pub fn paint(ui: &Ui, scene: &Scene<'_>, responses: &[(String, Response)]) {
    let theme = scene.theme.colors();
    for thread in &scene.drawing.threads {
        let rect = place(ui, scene, thread);
        let given = thread.end.is_some();
        let fade = if scene.is_dim(thread) { 0.4 } else { 1.0 };
        let color = if scene.is_selected(thread) {
            theme.accent
        } else if given {
            theme.text
        } else {
            theme.faint
        };
        if thread.kind == Kind::Line {
            leader(ui, scene, thread, rect, fade);
        } else {
            ui.painter()
                .rect_filled(rect.expand2(vec2(4.0, 0.0)), 0.0, theme.panel);
        }
        ui.painter().text(
            rect.left_center(),
            Align2::LEFT_CENTER,
            &thread.symbol,
            font(),
            color.gamma_multiply(fade),
        );
        if !given {
            let sign = around(rect.right_center() - vec2(4.5, 0.0), 8.0, 8.0);
            icon::paint(
                ui.painter(),
                Icon::Plus,
                sign,
                theme.accent.gamma_multiply(fade),
            );
        }
        let focused = responses
            .iter()
            .any(|(id, response)| *id == thread.id && response.has_focus());
        if focused {
            ui.painter().rect_stroke(
                rect.expand2(vec2(3.0, 1.0)),
                3.0,
                Stroke::new(1.0, theme.accent),
                egui::StrokeKind::Outside,
            );
        }
    }
}

/// From a name to its place on the spectrum.
fn leader(ui: &Ui, scene: &Scene<'_>, thread: &Thread, name: Rect, fade: f32) {
    let rows = &scene.rows;
    let color = scene.theme.colors().faint.gamma_multiply(0.75 * fade);
    let x = rows.at(thread.x);
    let from = pos2(name.center().x, name.bottom() - 0.5);
    let knee = pos2(x, rows.names.max + 7.0);
    ui.painter().line(
        vec![from, knee, pos2(x, rows.spectrum.min)],
        Stroke::new(1.0, color),
    );
}
