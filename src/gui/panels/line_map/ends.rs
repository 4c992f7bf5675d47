//! The lower ends: pulled, stepped by keys, heard and set by screen readers.

use egui::{Id, Key, Pos2, Response, Sense, Ui, WidgetInfo};

use super::gesture::{Aspect, Pull};
use super::ink::around;
use super::{BEAD, Scene, end_id, keys};
use crate::engine::key::snap::{Snap, snaps};
use crate::engine::key::{End, Shade, Thread};
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

/// Where an end hangs.
pub fn middle(scene: &Scene<'_>, end: &End) -> Pos2 {
    let y = scene.rows.bead(end.lane);
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
    keys::settle(ui, asks);
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
        keys::step(ui, scene, thread, &end, &response, asks);
        requests(ui, scene, thread, &end, response.id, asks);
        beads.push(Bead {
            id: thread.id.clone(),
            response: response.on_hover_text(in_words(thread, &end)),
            pulled,
        });
    }
    beads
}

fn in_words(thread: &Thread, end: &End) -> String {
    let Shade {
        hue,
        saturation,
        strength,
    } = end.shade;
    let own = if end.natural { ", natural" } else { "" };
    let percent = 100.0 * saturation;
    format!(
        "{}: hue {hue:.1}°, saturation {percent:.0} %, strength {strength:.2}{own}",
        thread.name
    )
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

/// What a step of the history is called: "Hue of Hα".
pub fn label(aspect: Aspect, thread: &Thread) -> String {
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
        let mut begun = Pull::begin(&thread.id, end, before.clone(), pointer, way, modifiers);
        begun.lanes = scene.drawing.held();
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
            ui.request_repaint();
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

/// What the recipe says about a channel, where the rendition has it.
pub fn value<'a>(state: &'a crate::gui::state::State, id: &str) -> Option<&'a ColorValue> {
    state.rendition()?.colors.get(id)
}
