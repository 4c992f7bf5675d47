//! The threads from light to colour.

use egui::epaint::{PathShape, PathStroke};
use egui::{Color32, Pos2, Shape, Stroke, Ui, pos2};

use super::Scene;
use super::ink::{between, ink};
use crate::engine::key::{Thread, curve};
use crate::gui::asks::{Ask, Asks};

const STEPS: usize = 56;
/// How near the pointer must come, points.
const REACH: f32 = 5.0;

fn course(scene: &Scene<'_>, thread: &Thread) -> Option<Vec<Pos2>> {
    let end = thread.end?;
    let top = [
        f64::from(scene.rows.at(thread.x)),
        f64::from(scene.rows.spectrum.max),
    ];
    let bottom = [
        f64::from(scene.rows.at(end.x)),
        f64::from(scene.rows.scale.min),
    ];
    let points = (0..=STEPS).map(|step| {
        let [x, y] = curve::point(top, bottom, step as f64 / STEPS as f64);
        pos2(x as f32, y as f32)
    });
    Some(points.collect())
}

/// The channel whose thread the pointer is on; a click selects it.
pub fn under_pointer(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Asks) -> Option<String> {
    let rect = egui::Rect::from_x_y_ranges(
        scene.rows.all.x_range(),
        egui::Rangef::new(scene.rows.spectrum.min, scene.rows.scale.max),
    );
    let response = ui.interact(rect, ui.scope_id().with("threads"), egui::Sense::CLICK);
    response.widget_info(|| {
        egui::WidgetInfo::labeled(egui::Role::Image, true, "Threads from light to colour")
    });
    let pointer = response.hover_pos()?;
    let near = |thread: &Thread| {
        let points = course(scene, thread)?;
        points
            .windows(2)
            .map(|pair| distance(pointer, pair[0], pair[1]))
            .min_by(f32::total_cmp)
    };
    let (thread, _) = scene
        .drawing
        .threads
        .iter()
        .filter_map(|thread| Some((thread, near(thread)?)))
        .filter(|(_, distance)| *distance <= REACH)
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    ui.set_cursor_icon(egui::CursorIcon::PointingHand);
    if response.clicked() {
        asks.push(Ask::Select(Some(thread.id.clone())));
    }
    Some(thread.id.clone())
}

fn distance(point: Pos2, from: Pos2, to: Pos2) -> f32 {
    let along = to - from;
    let share = ((point - from).dot(along) / along.length_sq().max(1e-6)).clamp(0.0, 1.0);
    point.distance(from + along * share)
}

/// Paints them, the one with the light on it last.
pub fn paint(ui: &Ui, scene: &Scene<'_>) {
    let is_over = |thread: &&Thread| {
        scene.lit.as_ref() == Some(&thread.id) || (scene.lit.is_none() && scene.is_selected(thread))
    };
    let all = &scene.drawing.threads;
    for thread in all.iter().filter(|thread| !is_over(thread)) {
        one(ui, scene, thread);
    }
    for thread in all.iter().filter(is_over) {
        one(ui, scene, thread);
    }
}

fn one(ui: &Ui, scene: &Scene<'_>, thread: &Thread) {
    let theme = scene.theme.colors();
    let light = thread
        .light
        .map_or(theme.faint, |light| ink(scene.theme, light));
    let (Some(end), Some(points)) = (thread.end, course(scene, thread)) else {
        dangling(ui, scene, thread, light);
        return;
    };
    let shown = ink(scene.theme, end.linear_srgb);
    let fade = if scene.is_dim(thread) { 0.22 } else { 1.0 };
    // Night leaves dark colours no light of their own.
    let visible = |color: Color32| {
        if scene.theme == crate::gui::theme::Theme::Night {
            between(color, theme.faint, 0.45)
        } else {
            color
        }
    };
    let (light, shown) = (visible(light), visible(shown));
    let width = 1.6 + 1.2 * (end.shade.strength as f32).clamp(0.0, 1.6);
    // A rim in the panel's colour: where threads cross, one lies above.
    ui.painter().add(Shape::line(
        points.clone(),
        Stroke::new(width + 3.0, theme.panel),
    ));
    if scene.theme == crate::gui::theme::Theme::Light {
        // Pale colours have an edge on a pale panel.
        ui.painter().add(Shape::line(
            points.clone(),
            Stroke::new(width + 1.3, theme.text.gamma_multiply(0.45 * fade)),
        ));
    }
    let (top, bottom) = (scene.rows.spectrum.max, scene.rows.scale.min);
    let stroke = PathStroke::new_uv(width, move |_, point| {
        let share = (point.y - top) / (bottom - top);
        between(light, shown, curve::blend(f64::from(share)) as f32).gamma_multiply(fade)
    });
    ui.painter().add(PathShape::line(points, stroke));
}

/// A short loose end: the channel is left out.
fn dangling(ui: &Ui, scene: &Scene<'_>, thread: &Thread, light: Color32) {
    let fade = if scene.is_dim(thread) { 0.3 } else { 1.0 };
    let top = scene.rows.point(thread.x, scene.rows.spectrum.max);
    let color = light.gamma_multiply(0.8 * fade);
    let points: Vec<Pos2> = (0..=10)
        .map(|step| {
            let t = step as f32 / 10.0;
            top + egui::vec2(3.0 * t * t, 15.0 * t)
        })
        .collect();
    let end = points.last().copied().unwrap_or(top);
    let (from, to) = (top.y, end.y);
    let stroke = PathStroke::new_uv(1.4, move |_, point| {
        let share = ((point.y - from) / (to - from)).clamp(0.0, 1.0);
        color.gamma_multiply(1.0 - 0.6 * share)
    });
    ui.painter().add(PathShape::line(points, stroke));
    ui.painter()
        .circle_stroke(end + egui::vec2(0.0, 2.5), 2.5, Stroke::new(1.0, color));
}
