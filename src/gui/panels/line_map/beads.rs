//! The ends as they are painted: stem, bead, name, and the marks that draw them.

use egui::{Pos2, Stroke, Ui, pos2, vec2};

use super::ends::{Bead, drawing_hues, middle, pull};
use super::gesture::{Aspect, Pull};
use super::ink::ink;
use super::{BEAD, Scene, font, small};
use crate::engine::key::layout::NATURAL_MARK;
use crate::engine::key::{End, Thread};

/// Paints stems, ends and their names.
pub fn paint(ui: &Ui, scene: &Scene<'_>, beads: &[Bead]) {
    let painter = ui.painter();
    let theme = scene.theme.colors();
    let mut hanging: Vec<(&Thread, End)> = scene
        .drawing
        .threads
        .iter()
        .filter_map(|thread| Some((thread, thread.end?)))
        .collect();
    // The one with the light on it lies over the others.
    hanging.sort_by_key(|(thread, _)| scene.lit.as_ref() == Some(&thread.id));
    for (thread, end) in &hanging {
        let at = middle(scene, end);
        let fade = if scene.is_dim(thread) { 0.3 } else { 1.0 };
        // Across the scale in the dark, so that the place can be read on it.
        painter.vline(at.x, scene.rows.scale, Stroke::new(4.0, theme.canvas));
        painter.line_segment(
            [pos2(at.x, scene.rows.scale.min), at],
            Stroke::new(1.6, ink(scene.theme, end.linear_srgb).gamma_multiply(fade)),
        );
    }
    if let Some(pull) = pull(ui).filter(|pull| !pull.ended && pull.aspect == Aspect::Hue)
        && let Some(thread) = scene.drawing.thread(&pull.channel)
    {
        snap_marks(ui, scene, thread, &pull);
    }
    for (thread, end) in &hanging {
        let at = middle(scene, end);
        let bead = beads.iter().find(|bead| bead.id == thread.id);
        let focused = bead.is_some_and(|bead| bead.response.has_focus());
        let hovered = bead.is_some_and(|bead| bead.pulled || bead.response.hovered());
        let fade = if scene.is_dim(thread) { 0.35 } else { 1.0 };
        let selected = scene.is_selected(thread);
        let radius = if hovered { BEAD + 1.0 } else { BEAD };
        let color = ink(scene.theme, end.linear_srgb);
        painter.circle_filled(at, radius + 2.5, theme.panel);
        painter.circle_filled(at, radius, color.gamma_multiply(fade));
        let ring = if selected || focused || hovered {
            theme.text
        } else {
            theme.faint.gamma_multiply(fade)
        };
        painter.circle_stroke(at, radius, Stroke::new(1.4, ring));
        if focused {
            painter.circle_stroke(at, radius + 2.6, Stroke::new(1.4, theme.accent));
        }
        name(ui, scene, thread, end, at, fade);
    }
}

fn name(ui: &Ui, scene: &Scene<'_>, thread: &Thread, end: &End, at: Pos2, fade: f32) {
    let theme = scene.theme.colors();
    let color = if scene.is_selected(thread) {
        theme.accent
    } else {
        theme.text
    };
    let galley =
        ui.painter()
            .layout_no_wrap(thread.symbol.clone(), font(), color.gamma_multiply(fade));
    let from = at + vec2(BEAD + 5.0, -0.5 * galley.size().y);
    let mark = end.natural.then(|| {
        let faint = theme.faint.gamma_multiply(fade);
        ui.painter()
            .layout_no_wrap(NATURAL_MARK.to_owned(), small(), faint)
    });
    let mut size = galley.size();
    let mark_from = pos2(from.x + size.x + 5.0, at.y + 0.5);
    if let Some(mark) = &mark {
        size.x += 5.0 + mark.size().x;
    }
    // Stems of ends that hang lower pass behind.
    ui.painter().rect_filled(
        egui::Rect::from_min_size(from, size).expand2(vec2(1.0, -1.0)),
        0.0,
        theme.panel,
    );
    ui.painter().galley(from, galley, color);
    if let Some(mark) = mark {
        let at = mark_from - vec2(0.0, 0.5 * mark.size().y);
        ui.painter().galley(at, mark, theme.faint);
    }
}

/// Where the end would be drawn to.
fn snap_marks(ui: &Ui, scene: &Scene<'_>, thread: &Thread, pull: &Pull) {
    let theme = scene.theme.colors();
    for snap in drawing_hues(scene, thread) {
        let x = scene
            .rows
            .at(crate::engine::key::strip::hue_place(snap.hue));
        let hit = pull.snapped.is_some_and(|now| now == snap);
        let (length, color) = if hit {
            (9.0, theme.accent)
        } else {
            (5.0, theme.faint.gamma_multiply(0.7))
        };
        ui.painter().vline(
            x,
            egui::Rangef::new(
                scene.rows.scale.max + 1.0,
                scene.rows.scale.max + 1.0 + length,
            ),
            Stroke::new(if hit { 2.0 } else { 1.0 }, color),
        );
    }
}
