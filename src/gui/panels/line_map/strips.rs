//! The spectrum with its numbers and brackets, and the hue scale.

use egui::{Align2, Painter, Rangef, Rect, Stroke, StrokeKind, Ui, pos2, vec2};

use super::ink::{ink, strip};
use super::{Scene, font, small};
use crate::engine::key::strip as colors;
use crate::engine::key::{Kind, Thread};

/// Paints everything behind the threads.
pub fn paint(ui: &Ui, scene: &Scene<'_>) {
    let painter = ui.painter();
    let theme = scene.theme.colors();
    for (range, words) in [
        (scene.rows.spectrum, "emitted"),
        (scene.rows.scale, "shown"),
    ] {
        painter.text(
            pos2(scene.rows.x.min - 12.0, range.center()),
            Align2::RIGHT_CENTER,
            words,
            font(),
            theme.faint,
        );
    }
    spectrum(painter, scene);
    numbers(painter, scene);
    for thread in &scene.drawing.threads {
        passband(painter, scene, thread);
        if let Some(row) = scene.drawing.bracket_row(thread) {
            bracket(painter, scene, thread, row);
        }
    }
    scale(painter, scene);
}

fn spectrum(painter: &Painter, scene: &Scene<'_>) {
    let rows = &scene.rows;
    let theme = scene.theme.colors();
    for section in &scene.drawing.axis.sections {
        let x = Rangef::new(rows.at(section.x[0]), rows.at(section.x[1]));
        let rect = Rect::from_x_y_ranges(x, rows.spectrum);
        painter.rect_filled(rect, 0.0, theme.canvas);
        let steps = (x.span() / 2.0).ceil().max(2.0) as usize;
        painter.add(strip(x, rows.spectrum, steps, |share| {
            let nm = section.nm[0] + f64::from(share) * (section.nm[1] - section.nm[0]);
            ink(scene.theme, colors::light(nm))
        }));
        if section.folded {
            // What no eye sees: hatched.
            let clip = painter.with_clip_rect(rect);
            let mut at = rect.left() - rect.height();
            while at < rect.right() {
                clip.line_segment(
                    [
                        pos2(at, rect.bottom()),
                        pos2(at + rect.height(), rect.top()),
                    ],
                    Stroke::new(1.0, theme.line.gamma_multiply(0.8)),
                );
                at += 6.0;
            }
            painter.rect_stroke(rect, 0.0, Stroke::new(1.0, theme.line), StrokeKind::Inside);
        }
    }
    for x in scene.drawing.axis.breaks() {
        for side in [-2.0, 2.0] {
            let at = rows.at(x) + side;
            painter.line_segment(
                [
                    pos2(at - 2.5, rows.spectrum.max + 2.0),
                    pos2(at + 2.5, rows.spectrum.min - 2.0),
                ],
                Stroke::new(1.2, theme.faint),
            );
        }
    }
}

fn numbers(painter: &Painter, scene: &Scene<'_>) {
    let rows = &scene.rows;
    let theme = scene.theme.colors();
    // A leader through a number would cross it out.
    let is_free = |x: f32| {
        scene
            .drawing
            .threads
            .iter()
            .filter(|thread| thread.kind == Kind::Line)
            .all(|thread| (rows.at(thread.x) - x).abs() > 13.0)
    };
    for tick in scene.drawing.axis.ticks() {
        let x = rows.at(tick.x);
        let length = if tick.labelled { 3.0 } else { 2.0 };
        painter.vline(
            x,
            Rangef::new(rows.spectrum.min - 1.0 - length, rows.spectrum.min - 1.0),
            Stroke::new(1.0, theme.line),
        );
        if tick.labelled && is_free(x) {
            painter.text(
                pos2(x, rows.numbers.min - 2.5),
                Align2::CENTER_TOP,
                format!("{:.0}", tick.nm),
                small(),
                theme.faint,
            );
        }
    }
    painter.text(
        pos2(rows.x.max + 14.0, rows.numbers.min - 2.5),
        Align2::LEFT_TOP,
        "nm",
        small(),
        theme.faint,
    );
}

/// What a filter lets through, to scale on the spectrum.
fn passband(painter: &Painter, scene: &Scene<'_>, thread: &Thread) {
    if thread.kind == Kind::Broad {
        return;
    }
    let rows = &scene.rows;
    let theme = scene.theme.colors();
    let middle = rows.at(thread.x);
    let half = 0.5 * (rows.at(thread.band[1]) - rows.at(thread.band[0])).max(1.5);
    let x = Rangef::new(middle - half, middle + half);
    let rect = Rect::from_x_y_ranges(x, rows.spectrum);
    let strength = if scene.is_dim(thread) { 0.35 } else { 1.0 };
    let mark = if scene.theme == crate::gui::theme::Theme::Night {
        theme.text
    } else {
        egui::Color32::WHITE
    };
    if thread.end.is_some() {
        painter.rect_filled(rect, 0.0, mark.gamma_multiply(0.34 * strength));
        painter.vline(
            middle,
            rows.spectrum,
            Stroke::new(1.5, mark.gamma_multiply(strength)),
        );
    } else {
        painter.rect_stroke(
            rect.expand2(vec2(1.0, 0.0)),
            0.0,
            Stroke::new(1.0, mark.gamma_multiply(0.55 * strength)),
            StrokeKind::Inside,
        );
    }
}

/// What a broad band spans, above the spectrum.
fn bracket(painter: &Painter, scene: &Scene<'_>, thread: &Thread, row: usize) {
    let rows = &scene.rows;
    let theme = scene.theme.colors();
    let y = rows.bracket(row);
    let [from, to] = thread.band.map(|x| rows.at(x));
    let color = match thread.light {
        Some(light) if thread.end.is_some() => {
            super::ink::between(ink(scene.theme, light), theme.text, 0.4)
        }
        _ => theme.faint,
    };
    let color = if scene.is_dim(thread) {
        color.gamma_multiply(0.35)
    } else {
        color
    };
    let foot = 4.0;
    painter.line(
        vec![
            pos2(from + 1.0, y + foot),
            pos2(from + 1.0, y),
            pos2(to - 1.0, y),
            pos2(to - 1.0, y + foot),
        ],
        Stroke::new(1.2, color),
    );
}

fn scale(painter: &Painter, scene: &Scene<'_>) {
    let rows = &scene.rows;
    let theme = scene.theme.colors();
    let x = Rangef::new(rows.x.min, rows.at(colors::SCALE_END));
    painter.add(strip(x, rows.scale, 360, |share| {
        let step = (share * 360.0).round() as usize;
        ink(scene.theme, colors::hues()[step.min(360)])
    }));
    let half = rows.at(1.0) - rows.at(colors::WHITE_STOP);
    let middle = rows.at(colors::WHITE_STOP);
    let stop = Rect::from_x_y_ranges(Rangef::new(middle - half, middle + half), rows.scale);
    painter.rect_filled(stop, 0.0, ink(scene.theme, [1.0; 3]));
    painter.rect_stroke(stop, 0.0, Stroke::new(1.0, theme.line), StrokeKind::Inside);
    painter.text(
        pos2(rows.x.max + 10.0, rows.scale.center()),
        Align2::LEFT_CENTER,
        "white",
        small(),
        theme.faint,
    );
}
