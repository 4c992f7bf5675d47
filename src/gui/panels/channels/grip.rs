//! What painted handles have in common: keys, and the words of a screen reader.

use egui::accesskit::{Action, ActionData};
use egui::{EventFilter, Key, Response, Ui, WidgetInfo};

/// What keys and assistive tools ask of a handle.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Nudge {
    /// Steps to the right and up; a tenth of one with Shift.
    pub steps: [f64; 2],
    /// A value to take.
    pub value: Option<f64>,
    /// The handle is to go.
    pub delete: bool,
}

/// Names a handle for screen readers and reads its keys while it has the focus.
pub fn handle(
    ui: &Ui,
    response: &Response,
    name: &str,
    value: f64,
    [low, high]: [f64; 2],
) -> Nudge {
    response.widget_info(|| WidgetInfo::slider(ui.is_enabled(), value, name));
    ui.ctx().accesskit_node_builder(response.id, |node| {
        node.set_min_numeric_value(low);
        node.set_max_numeric_value(high);
        node.add_action(Action::SetValue);
        node.add_action(Action::Increment);
        node.add_action(Action::Decrement);
    });
    let mut nudge = Nudge::default();
    ui.input(|input| {
        let asked = |action| input.num_accesskit_action_requests(response.id, action) as f64;
        nudge.steps[0] = asked(Action::Increment) - asked(Action::Decrement);
        nudge.value = input
            .accesskit_action_requests(response.id, Action::SetValue)
            .filter_map(|request| match request.data {
                Some(ActionData::NumericValue(value)) => Some(value),
                _ => None,
            })
            .last();
    });
    if response.gained_focus() {
        response.scroll_to_me(None);
    }
    if response.has_focus() {
        let filter = EventFilter {
            horizontal_arrows: true,
            vertical_arrows: true,
            ..EventFilter::default()
        };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
        ui.input(|input| {
            let pressed = |key| input.num_presses(key) as f64;
            let size = if input.modifiers.shift { 0.1 } else { 1.0 };
            nudge.steps[0] += size * (pressed(Key::ArrowRight) - pressed(Key::ArrowLeft));
            nudge.steps[1] += size * (pressed(Key::ArrowUp) - pressed(Key::ArrowDown));
            nudge.delete = input.key_pressed(Key::Delete) || input.key_pressed(Key::Backspace);
        });
    }
    nudge
}
