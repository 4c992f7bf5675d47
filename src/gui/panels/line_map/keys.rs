//! An end that has the focus is stepped by keys.

use egui::{EventFilter, Id, Key, Response, Ui};

use super::Scene;
use super::ends::label;
use super::gesture::Aspect;
use crate::engine::key::{End, Thread};
use crate::gui::asks::{Ask, Asks};

// The end whose keys are held: its steps are one step of the history.
fn held_id() -> Id {
    Id::unique("keys of a thread")
}

const STEPS: [Key; 6] = [
    Key::ArrowLeft,
    Key::ArrowRight,
    Key::ArrowUp,
    Key::ArrowDown,
    Key::PageUp,
    Key::PageDown,
];

/// Steps an end by the keys that were pressed while it has the focus.
pub fn step(
    ui: &Ui,
    scene: &Scene<'_>,
    thread: &Thread,
    end: &End,
    response: &Response,
    asks: &mut Asks,
) {
    if !response.has_focus() {
        return;
    }
    ui.memory_mut(|memory| {
        memory.set_focus_lock_filter(
            response.id,
            EventFilter {
                horizontal_arrows: true,
                vertical_arrows: true,
                ..Default::default()
            },
        );
    });
    let presses: Vec<(Key, egui::Modifiers)> = ui.input(|input| {
        let pressed = |event: &egui::Event| match event {
            egui::Event::Key {
                key,
                pressed: true,
                modifiers,
                ..
            } => Some((*key, *modifiers)),
            _ => None,
        };
        input.events.iter().filter_map(pressed).collect()
    });
    let mut shade = end.shade;
    let mut changed = None;
    for (key, modifiers) in presses {
        let degrees = match modifiers {
            m if m.shift => 0.1,
            m if m.command || m.ctrl => 10.0,
            _ => 1.0,
        };
        let small = if modifiers.shift { 0.002 } else { 0.02 };
        let aspect = match key {
            Key::ArrowLeft | Key::ArrowRight => {
                let sign = if key == Key::ArrowLeft { -1.0 } else { 1.0 };
                shade.hue = (shade.hue + sign * degrees).rem_euclid(360.0);
                if shade.is_white() {
                    shade.saturation = 1.0;
                }
                Aspect::Hue
            }
            Key::ArrowUp | Key::ArrowDown => {
                let sign = if key == Key::ArrowDown { -1.0 } else { 1.0 };
                shade.strength = (shade.strength + sign * small).max(0.0);
                Aspect::Strength
            }
            Key::PageUp | Key::PageDown => {
                let sign = if key == Key::PageDown { -1.0 } else { 1.0 };
                let most = shade.saturation.max(1.0);
                shade.saturation = (shade.saturation + sign * small).clamp(0.0, most);
                Aspect::Saturation
            }
            Key::Home => {
                super::editor::be_natural(scene.state, thread, asks);
                continue;
            }
            Key::Delete => {
                super::leave_out(scene.state, thread, asks);
                return;
            }
            _ => continue,
        };
        changed = Some(aspect);
    }
    if let Some(aspect) = changed {
        let recipe = super::with_color(scene.state, &thread.id, shade.value());
        asks.drag(label(aspect, thread), recipe);
        ui.request_repaint();
        ui.data_mut(|data| data.insert_temp(held_id(), true));
        if !any_held(ui) {
            settle(ui, asks);
        }
    }
}

fn any_held(ui: &Ui) -> bool {
    ui.input(|input| STEPS.iter().any(|key| input.key_down(*key)))
}

/// Steps by held keys become one step of the history when no key is held.
pub fn settle(ui: &Ui, asks: &mut Asks) {
    let moved = ui.data(|data| data.get_temp::<bool>(held_id())) == Some(true);
    if moved && !any_held(ui) {
        asks.push(Ask::Settle);
        ui.data_mut(|data| data.insert_temp(held_id(), false));
    }
}
