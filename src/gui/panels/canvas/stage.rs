//! Pointer and keys on the picture, and its pixels.

use egui::{Align2, Color32, Key, PointerButton, Rect, Sense, Ui, WidgetInfo, pos2, vec2};

use super::geometry::{Mapping, Pane};
use super::pictures::{
    BACKDROP, DIFFERENCE, OTHER, OTHER_BACKDROP, SHOWN, comparison, other, panes,
};
use super::{edge, maps, overlays, pick, probe, turns};
use crate::engine::frame::Size;
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::{Compare, Place, State, View};

/// Shows the picture in `rect`; the pixel under the pointer.
pub fn show(
    ui: &mut Ui,
    state: &State,
    rect: Rect,
    view: Pane,
    asks: &mut Asks,
) -> Option<[usize; 2]> {
    let Some(size) = state.size() else {
        overlays::words(ui, state, rect, "Reading the channels ...");
        return None;
    };
    let ppp = ui.pixels_per_point();
    let how = comparison(state);
    let panes = panes(state, view);
    let pointer = ui.input(|input| input.pointer.hover_pos());
    let physical = pointer.map(|p| [f64::from(p.x * ppp), f64::from(p.y * ppp)]);
    let pane = if physical.is_some_and(|p| p[0] >= panes[1].min[0]) {
        panes[1]
    } else {
        panes[0]
    };
    let place = pane.place(state.view.place, size);
    let response = ui.interact(rect, ui.scope_id().with("picture"), Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(egui::Role::Image, true, "Picture"));
    // Not while the pointer is on a control that lies over the picture.
    let on_plate = pointer.is_some_and(|p| overlays::zoom_plate(rect).contains(p));
    let is_over = response.hovered() && !on_plate || response.dragged();
    let at = physical.filter(|_| is_over);
    let moved = keys(ui, &response, pane, place, at, size)
        .or_else(|| pointed(ui, state, &response, pane, place, at, size));
    let hovered = at.and_then(|at| pane.mapping(place).pixel(at, size));
    let mut new = moved.map(|place| View {
        place,
        ..state.view.clone()
    });
    let probe_key =
        is_over && !ui.ctx().egui_wants_keyboard_input() && ui.input(|i| i.key_pressed(Key::P));
    let picking = state.picking;
    if picking.is_none() && (response.clicked() || probe_key) && !response.double_clicked() {
        let mut view = new.take().unwrap_or_else(|| state.view.clone());
        view.probe = if view.probe.is_some() { None } else { hovered };
        new = Some(view);
        response.request_focus();
    }
    if picking.is_none() && response.double_clicked() {
        // Its first click was none of its own: nothing is held.
        let mut view = new.take().unwrap_or_else(|| state.view.clone());
        view.probe = None;
        new = Some(view);
    }
    asks_view(new, state, asks);

    let bounds = panes.map(|pane| rect_of(pane, ppp));
    let maps = panes.map(|pane| pane.mapping(pane.place(state.view.place, size)));
    let edge_x = edge::x(state, rect);
    let [one, two] = [
        state
            .rendition()
            .map_or("", |rendition| rendition.id.as_str()),
        other(state).unwrap_or(""),
    ];
    match how {
        Compare::One => draw(ui, state, &[BACKDROP, SHOWN], maps[0], rect),
        Compare::Divided => {
            let left = Rect::from_min_max(rect.min, pos2(edge_x, rect.bottom()));
            let right = Rect::from_min_max(pos2(edge_x, rect.top()), rect.max);
            draw(ui, state, &[BACKDROP, SHOWN], maps[0], left);
            draw(ui, state, &[OTHER_BACKDROP, OTHER], maps[1], right);
            edge::show(ui, state, rect, [one, two], asks);
            tag(ui, state, left, Align2::LEFT_TOP, one);
            tag(ui, state, right, Align2::RIGHT_TOP, two);
        }
        Compare::Beside => {
            draw(ui, state, &[BACKDROP, SHOWN], maps[0], bounds[0]);
            draw(ui, state, &[OTHER_BACKDROP, OTHER], maps[1], bounds[1]);
            tag(ui, state, bounds[0], Align2::LEFT_TOP, one);
            tag(ui, state, bounds[1], Align2::LEFT_TOP, two);
        }
        Compare::Turns => {
            let strip = Rect::from_min_size(rect.min + vec2(8.0, 40.0), vec2(260.0, 28.0));
            let mut ui_turns = ui.new_child(egui::UiBuilder::new().max_rect(strip));
            let is_other = turns::is_other_now(&ui_turns, state);
            let (slots, name) = if is_other {
                ([OTHER_BACKDROP, OTHER], two)
            } else {
                ([BACKDROP, SHOWN], one)
            };
            draw(ui, state, &slots, maps[0], rect);
            tag(ui, state, rect, Align2::LEFT_TOP, name);
            turns::show(&mut ui_turns, state);
        }
        Compare::Difference => {
            draw(ui, state, &[DIFFERENCE], maps[0], rect);
            overlays::difference(ui, state, rect, asks);
        }
    }
    overlays::show(ui, state, rect, pane, place, size, asks);
    maps::show(ui, state, rect, asks);
    if let Some(picking) = picking {
        let map = pane.mapping(place);
        pick::show(ui, state, picking, (&response, rect), (map, size), asks);
        return hovered;
    }
    if let Some(at) = state.view.probe.or(hovered)
        && (state.view.probe.is_some() || rested(ui))
        && let Some(reading) = probe::reading(state, at)
    {
        let side_at = usize::from(how == Compare::Beside && pane == panes[1]);
        let (map, bounds) = (maps[side_at], bounds[side_at]);
        let corner = map.screen([at[0] as f64, at[1] as f64]);
        let min = pos2(corner[0] as f32 / ppp, corner[1] as f32 / ppp);
        let side = (map.zoom as f32 / ppp).max(1.0);
        let pixel = Rect::from_min_size(min, vec2(side, side));
        if bounds.intersects(pixel) {
            probe::show(ui, state, bounds, pixel, &reading);
        }
    }
    hovered
}

fn rested(ui: &Ui) -> bool {
    let still = ui.input(|input| input.pointer.time_since_last_movement());
    if still < 0.4 {
        ui.ctx()
            .request_repaint_after(std::time::Duration::from_millis(420));
    }
    still >= 0.4 && !ui.input(|input| input.pointer.any_down())
}

fn rect_of(pane: Pane, ppp: f32) -> Rect {
    let min = pos2(pane.min[0] as f32 / ppp, pane.min[1] as f32 / ppp);
    Rect::from_min_size(
        min,
        vec2(pane.size[0] as f32 / ppp, pane.size[1] as f32 / ppp),
    )
}

fn asks_view(new: Option<View>, state: &State, asks: &mut Asks) {
    if let Some(view) = new.filter(|view| *view != state.view) {
        asks.push(Ask::View(view));
    }
}

/// What the pointer does to the place: Some(None) fits it.
fn pointed(
    ui: &Ui,
    state: &State,
    response: &egui::Response,
    pane: Pane,
    place: Place,
    at: Option<[f64; 2]>,
    size: Size,
) -> Option<Option<Place>> {
    let ppp = ui.pixels_per_point();
    let is_free = state.picking.is_none();
    if is_free && response.dragged_by(PointerButton::Primary)
        || response.dragged_by(PointerButton::Middle)
    {
        let by = response.drag_delta() * ppp;
        return Some(Some(pane.panned(
            place,
            [f64::from(by.x), f64::from(by.y)],
            size,
        )));
    }
    let at = at?;
    if is_free && response.double_clicked() {
        let is_full = (place.zoom - 1.0).abs() < 1e-6;
        return Some((!is_full).then(|| pane.zoomed(place, at, 1.0 / place.zoom, size)));
    }
    let (scroll, pinch) = ui.input(|input| (input.smooth_scroll_delta().y, input.zoom_delta()));
    let factor = f64::from(pinch) * libm::exp2(f64::from(scroll) / 120.0);
    ((factor - 1.0).abs() > 1e-6).then(|| Some(pane.zoomed(place, at, factor, size)))
}

fn keys(
    ui: &Ui,
    response: &egui::Response,
    pane: Pane,
    place: Place,
    at: Option<[f64; 2]>,
    size: Size,
) -> Option<Option<Place>> {
    if !response.has_focus() {
        return None;
    }
    ui.memory_mut(|memory| {
        let filter = egui::EventFilter {
            horizontal_arrows: true,
            vertical_arrows: true,
            ..egui::EventFilter::default()
        };
        memory.set_focus_lock_filter(response.id, filter);
    });
    // Taken, so that the window's commands do not act on the same press.
    let take =
        |key| ui.input_mut(|input| input.count_and_consume_key(egui::Modifiers::NONE, key)) as f64;
    let by = [
        (take(Key::ArrowLeft) - take(Key::ArrowRight)) * 40.0,
        (take(Key::ArrowUp) - take(Key::ArrowDown)) * 40.0,
    ];
    let (fit, full) = (take(Key::F), take(Key::Num1));
    let plus = take(Key::Plus) + take(Key::Equals) - take(Key::Minus);
    let centre = [0, 1].map(|i| pane.min[i] + pane.size[i] / 2.0);
    let at = at.unwrap_or(centre);
    if fit > 0.0 {
        Some(None)
    } else if full > 0.0 {
        Some(Some(pane.zoomed(place, at, 1.0 / place.zoom, size)))
    } else if by != [0.0, 0.0] {
        Some(Some(pane.panned(place, by, size)))
    } else {
        (plus != 0.0).then(|| Some(pane.zoomed(place, at, libm::exp2(plus * 0.5), size)))
    }
}

fn draw(ui: &Ui, state: &State, slots: &[u32], map: Mapping, clip: Rect) {
    let painter = ui.painter().with_clip_rect(clip);
    let uv = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
    let mut is_empty = true;
    for shown in slots.iter().filter_map(|slot| state.pictures.shown(*slot)) {
        let rect = map.rect(&shown.picture.grid, ui.pixels_per_point());
        painter.image(shown.texture.id(), rect, uv, Color32::WHITE);
        is_empty = false;
    }
    if is_empty {
        let all_hidden = state
            .rendition()
            .is_some_and(|rendition| super::pictures::effective(state, &[&rendition.id]).is_none());
        let text = if all_hidden {
            "No channel of this rendition is shown"
        } else {
            "Drawing ..."
        };
        overlays::words(ui, state, clip, text);
    }
}

/// The name of a side, elided to the side's width.
fn tag(ui: &Ui, state: &State, side: Rect, align: Align2, name: &str) {
    overlays::tag(ui, state, side, align, name);
}
