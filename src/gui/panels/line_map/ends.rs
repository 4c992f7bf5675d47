//! The lower ends: pulled, stepped by keys, heard and set by screen readers.

use egui::{EventFilter, Id, Key, Pos2, Response, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::gesture::{Aspect, Pull};
use super::ink::{around, ink};
use super::{BEAD, Scene, end_id, font, small};
use crate::engine::key::layout::NATURAL_MARK;
use crate::engine::key::snap::{Snap, snaps};
use crate::engine::key::{End, Thread};
use crate::engine::recipe::ColorValue;
use crate::gui::asks::{Ask, Asks};

/// An end on the screen.
pub struct Bead {
    /// Its channel.
    pub id: String,
    /// Its response.
    pub response: Response,
    /// Whether it is being pulled.
    pub pulled: bool,
}

/// The pull that goes on, if any.
pub fn pull(ui: &Ui) -> Option<Pull> {
    ui.data(|data| data.get_temp::<Option<Pull>>(Id::unique("pull of a thread")))
        .flatten()
}

fn keep(ui: &Ui, pull: Option<Pull>) {
    ui.data_mut(|data| data.insert_temp(Id::unique("pull of a thread"), pull));
}

// The end whose keys are held: its steps are one step of the history.
fn held_id() -> Id {
    Id::unique("keys of a thread")
}

fn middle(scene: &Scene<'_>, end: &End) -> Pos2 {
    let y = scene.rows.bead(end.lane, scene.drawing.lanes);
    scene.rows.point(end.x, y)
}

/// The hues that draw an end.
pub fn drawing_hues(scene: &Scene<'_>, thread: &Thread) -> Vec<Snap> {
    let others: Vec<f64> = scene
        .drawing
        .threads
        .iter()
        .filter(|other| other.id != thread.id)
        .filter_map(|other| other.end)
        .filter(|end| !end.shade.is_white())
        .map(|end| end.shade.hue)
        .collect();
    snaps(&others, thread.natural_hue)
}

/// Takes pulls and keys.
pub fn interact(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Asks) -> Vec<Bead> {
    settle_keys(ui, asks);
    let mut beads = Vec::new();
    for thread in &scene.drawing.threads {
        let Some(end) = thread.end else { continue };
        let rect = around(middle(scene, &end), 2.0 * BEAD + 5.0, 2.0 * BEAD + 3.0);
        let response = ui
            .interact(rect, end_id(&thread.id), Sense::click_and_drag())
            .on_hover_cursor(egui::CursorIcon::Grab);
        let name = format!("Hue of {}", thread.name);
        response.widget_info(|| WidgetInfo::slider(true, end.shade.hue, &name));
        describe(ui, &response);
        if response.clicked() {
            response.request_focus();
        }
        if response.clicked() || response.drag_started() || response.gained_focus() {
            asks.push(Ask::Select(Some(thread.id.clone())));
        }
        let pulled = pulling(ui, scene, thread, &end, &response, asks);
        keys(ui, scene, thread, &end, &response, asks);
        requests(ui, scene, thread, &end, response.id, asks);
        beads.push(Bead {
            id: thread.id.clone(),
            response,
            pulled,
        });
    }
    beads
}

fn describe(ui: &Ui, response: &Response) {
    ui.ctx().accesskit_node_builder(response.id, |node| {
        use egui::accesskit::Action;
        node.set_min_numeric_value(0.0);
        node.set_max_numeric_value(360.0);
        node.set_numeric_value_step(1.0);
        node.add_action(Action::SetValue);
        node.add_action(Action::Increment);
        node.add_action(Action::Decrement);
    });
}

fn label(aspect: Aspect, thread: &Thread) -> String {
    format!("{} of {}", aspect.word(), thread.name)
}

fn pulling(
    ui: &Ui,
    scene: &Scene<'_>,
    thread: &Thread,
    end: &End,
    response: &Response,
    asks: &mut Asks,
) -> bool {
    let pointer = response.interact_pointer_pos();
    let modifiers = ui.input(|input| input.modifiers);
    if response.drag_started()
        && let Some(pointer) = pointer
        && let Some(rendition) = scene.state.rendition()
        && let Some(before) = rendition.colors.get(&thread.id)
    {
        let origin = ui.input(|input| input.pointer.press_origin());
        let way = pointer - origin.unwrap_or(pointer);
        let begun = Pull::begin(&thread.id, end, before.clone(), pointer, way, modifiers);
        keep(ui, Some(begun));
        response.request_focus();
    }
    let Some(mut pull) = pull(ui).filter(|pull| pull.channel == thread.id) else {
        return false;
    };
    if !pull.ended && ui.input(|input| input.key_pressed(Key::Escape)) {
        let back = super::with_color(scene.state, &thread.id, pull.before.clone());
        asks.drag(label(pull.aspect, thread), back);
        asks.push(Ask::Settle);
        pull.ended = true;
    }
    if let Some(pointer) = pointer.filter(|_| response.dragged() && !pull.ended) {
        let hues = drawing_hues(scene, thread);
        if pull.go(pointer, scene.rows.x.span(), modifiers, &hues) {
            let recipe = super::with_color(scene.state, &thread.id, pull.shade.value());
            asks.drag(label(pull.aspect, thread), recipe);
        }
        ui.set_cursor_icon(egui::CursorIcon::Grabbing);
    }
    let over = response.drag_stopped() || !response.dragged();
    if over {
        if !pull.ended {
            asks.push(Ask::Settle);
        }
        keep(ui, None);
        return false;
    }
    let pulled = !pull.ended;
    keep(ui, Some(pull));
    pulled
}

const STEPS: [Key; 6] = [
    Key::ArrowLeft,
    Key::ArrowRight,
    Key::ArrowUp,
    Key::ArrowDown,
    Key::PageUp,
    Key::PageDown,
];

fn keys(
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
        ui.data_mut(|data| data.insert_temp(held_id(), true));
        if !any_held(ui) {
            settle_keys(ui, asks);
        }
    }
}

fn any_held(ui: &Ui) -> bool {
    ui.input(|input| STEPS.iter().any(|key| input.key_down(*key)))
}

/// Steps by held keys become one step of the history when no key is held.
fn settle_keys(ui: &Ui, asks: &mut Asks) {
    let moved = ui.data(|data| data.get_temp::<bool>(held_id())) == Some(true);
    if moved && !any_held(ui) {
        asks.push(Ask::Settle);
        ui.data_mut(|data| data.insert_temp(held_id(), false));
    }
}

/// What a screen reader asks for.
fn requests(ui: &Ui, scene: &Scene<'_>, thread: &Thread, end: &End, id: Id, asks: &mut Asks) {
    use egui::accesskit::{Action, ActionData};
    let (steps, set) = ui.input(|input| {
        let steps = input.num_accesskit_action_requests(id, Action::Increment) as f64
            - input.num_accesskit_action_requests(id, Action::Decrement) as f64;
        let set = input
            .accesskit_action_requests(id, Action::SetValue)
            .filter_map(|request| match request.data {
                Some(ActionData::NumericValue(value)) => Some(value),
                _ => None,
            })
            .last();
        (steps, set)
    });
    if steps == 0.0 && set.is_none() {
        return;
    }
    let mut shade = end.shade;
    shade.hue = (set.unwrap_or(shade.hue) + steps).rem_euclid(360.0);
    if shade.is_white() {
        shade.saturation = 1.0;
    }
    let recipe = super::with_color(scene.state, &thread.id, shade.value());
    asks.edit(label(Aspect::Hue, thread), recipe);
}

/// Paints stems, ends and their names.
pub fn paint(ui: &Ui, scene: &Scene<'_>, beads: &[Bead]) {
    let painter = ui.painter();
    let theme = scene.theme.colors();
    let hanging = || {
        scene
            .drawing
            .threads
            .iter()
            .filter_map(|thread| Some((thread, thread.end?)))
    };
    for (thread, end) in hanging() {
        let at = middle(scene, &end);
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
    for (thread, end) in hanging() {
        let at = middle(scene, &end);
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
        name(ui, scene, thread, &end, at, fade);
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

/// What the recipe says about a channel, where the rendition has it.
pub fn value<'a>(scene_state: &'a crate::gui::state::State, id: &str) -> Option<&'a ColorValue> {
    scene_state.rendition()?.colors.get(id)
}
