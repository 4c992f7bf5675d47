//! The edge between two renditions: dragged, or moved with the arrow keys.

use egui::{CursorIcon, Key, Rect, Sense, Stroke, Ui, WidgetInfo, vec2};

use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;

/// Where the edge stands in `rect`, points.
pub fn x(state: &State, rect: Rect) -> f32 {
    rect.left() + rect.width() * state.view.divide.clamp(0.0, 1.0)
}

/// Shows the edge between the renditions `left` and `right`.
pub fn show(ui: &mut Ui, state: &State, rect: Rect, names: [&str; 2], asks: &mut Asks) {
    let x = x(state, rect);
    let colors = state.theme.colors();
    let grip = Rect::from_center_size(egui::pos2(x, rect.center().y), vec2(16.0, rect.height()));
    let id = ui.scope_id().with("edge");
    let response = ui
        .interact(grip, id, Sense::click_and_drag())
        .on_hover_cursor(CursorIcon::ResizeHorizontal);
    let label = format!("Edge between {} and {}", names[0], names[1]);
    let value = f64::from(state.view.divide);
    response.widget_info(|| WidgetInfo::slider(true, value, &label));
    let mut divide = state.view.divide;
    if let (true, Some(pointer)) = (response.dragged(), response.interact_pointer_pos()) {
        divide = (pointer.x - rect.left()) / rect.width().max(1.0);
    }
    if response.has_focus() {
        ui.memory_mut(|memory| {
            let filter = egui::EventFilter {
                horizontal_arrows: true,
                ..egui::EventFilter::default()
            };
            memory.set_focus_lock_filter(id, filter);
        });
        let steps = ui.input(|input| {
            input.num_presses(Key::ArrowRight) as f32 - input.num_presses(Key::ArrowLeft) as f32
        });
        divide += steps * 0.01;
    }
    let divide = divide.clamp(0.0, 1.0);
    if (divide - state.view.divide).abs() > f32::EPSILON {
        let mut view = state.view.clone();
        view.divide = divide;
        asks.push(Ask::View(view));
    }
    let is_active = response.hovered() || response.dragged() || response.has_focus();
    let color = if is_active {
        colors.accent
    } else {
        colors.text
    };
    let painter = ui.painter();
    painter.vline(x, rect.y_range(), Stroke::new(1.5, color));
    painter.circle(
        egui::pos2(x, rect.center().y),
        8.0,
        colors.card,
        Stroke::new(1.5, color),
    );
    for side in [-2.0, 2.0] {
        let y = rect.center().y;
        painter.vline(x + side, y - 3.0..=y + 3.0, Stroke::new(1.0, color));
    }
}
