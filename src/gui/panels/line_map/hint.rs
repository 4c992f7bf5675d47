//! The line below the drawing: what the pointer is on, and what a hand can do.

use egui::{Align2, Ui, pos2};

use super::ends::{Bead, pull};
use super::gesture::{Aspect, Pull};
use super::{Scene, names, small};
use crate::engine::color::words::color_name;
use crate::engine::key::Thread;
use crate::engine::key::snap::Why;

/// The words for now.
pub fn words(ui: &Ui, scene: &Scene<'_>, beads: &[Bead]) -> String {
    if let Some(pull) = pull(ui).filter(|pull| !pull.ended)
        && let Some(thread) = scene.drawing.thread(&pull.channel)
    {
        return pulled(scene, thread, &pull);
    }
    if beads.iter().any(|bead| bead.response.hovered()) {
        return "Pull sideways: hue · up or down: strength, with Ctrl saturation · \
                Shift: finely · Alt: past the marks · Escape: back"
            .into();
    }
    if let Some(thread) = scene.lit.as_ref().and_then(|id| scene.drawing.thread(id)) {
        return about(thread);
    }
    if beads.iter().any(|bead| bead.response.has_focus()) {
        return "Left, Right: hue (Shift 0.1°, Ctrl 10°) · Up, Down: strength · \
                Page Up, Page Down: saturation · Home: natural · Delete: leave out"
            .into();
    }
    String::new()
}

fn about(thread: &Thread) -> String {
    let words = names::about(thread);
    match thread.end {
        None => format!("{words}: not in this rendition"),
        Some(end) if end.natural => format!("{words}: in its own colour"),
        Some(end) => {
            let name = color_name(end.linear_srgb).to_lowercase();
            let name = if name == "grayscale" {
                "grey".into()
            } else {
                name
            };
            format!("{words}: shown {name}")
        }
    }
}

fn pulled(scene: &Scene<'_>, thread: &Thread, pull: &Pull) -> String {
    let shade = pull.shade;
    match pull.aspect {
        Aspect::Saturation => format!("Saturation {:.0} %", 100.0 * shade.saturation),
        Aspect::Strength => format!("Strength {:.2}", shade.strength),
        Aspect::Hue if shade.is_white() => "White".into(),
        Aspect::Hue => {
            let mut words = format!("Hue {:.1}°", shade.hue);
            if let Some(snap) = pull.snapped {
                words += match snap.why {
                    Why::Natural => " · the hue of its own light",
                    Why::Same => " · the same as ",
                    Why::Opposite => " · opposite to ",
                    Why::Third => " · a third of the wheel from ",
                };
                if snap.why != Why::Natural {
                    words += &whose(scene, thread, snap.hue, snap.why);
                }
            }
            words
        }
    }
}

/// The channel that a hue is drawn from.
fn whose(scene: &Scene<'_>, thread: &Thread, hue: f64, why: Why) -> String {
    let turns: &[f64] = match why {
        Why::Natural | Why::Same => &[0.0],
        Why::Opposite => &[180.0],
        Why::Third => &[120.0, 240.0],
    };
    let others = scene.drawing.threads.iter();
    let found = others.filter(|other| other.id != thread.id).find(|other| {
        other.end.is_some_and(|end| {
            let from = end.shade.hue;
            turns
                .iter()
                .any(|turn| crate::engine::key::snap::apart(from + turn, hue) < 1e-6)
        })
    });
    found.map_or_else(String::new, |other| other.name.clone())
}

/// Paints them, cut to the room there is.
pub fn paint(ui: &Ui, scene: &Scene<'_>, words: &str) {
    let rows = &scene.rows;
    let color = scene.theme.colors().faint;
    let mut job = egui::text::LayoutJob::simple_singleline(words.to_owned(), small(), color);
    job.wrap = egui::text::TextWrapping::truncate_at_width(rows.all.right() - rows.x.min);
    let galley = ui.painter().layout_job(job);
    let at = Align2::LEFT_CENTER.anchor_size(pos2(rows.x.min, rows.hint.center()), galley.size());
    ui.painter().galley(at.min, galley, color);
}
