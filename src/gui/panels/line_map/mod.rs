//! The line map: true spectrum above, hue below, a thread for each channel.
//! Pulling the lower end of a thread changes the hue its light is shown in.

mod beads;

mod editor;

mod ends;

mod gesture;

mod hint;

mod ink;

mod keys;

mod names;

mod rows;

mod strips;

mod threads;

use egui::{FontId, Id, Sense, Ui, vec2};

use crate::engine::key::{self, Drawing, Metrics, Thread};
use crate::engine::recipe::{ColorValue, Recipe};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::theme::Theme;

use rows::Rows;

/// Radius of an end, points.
const BEAD: f32 = 6.5;

/// What all parts of the panel draw from.
struct Scene<'a> {
    state: &'a State,
    drawing: Drawing,
    rows: Rows,
    theme: Theme,
    /// The channel under the pointer, or the one that is pulled.
    lit: Option<String>,
}

impl Scene<'_> {
    /// A thread without the light on it is drawn back while another has it, and
    /// so is one whose channel the picture does without for now.
    fn is_dim(&self, thread: &Thread) -> bool {
        match &self.lit {
            Some(id) => *id != thread.id,
            None => {
                self.state.hidden.contains(&thread.id)
                    || (self.state.solo.as_ref()).is_some_and(|id| *id != thread.id)
            }
        }
    }

    fn is_selected(&self, thread: &Thread) -> bool {
        self.state.selected.as_ref() == Some(&thread.id)
    }
}

/// Shows the panel in `ui`.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    ui.push_id("line map", |ui| match state.rendition() {
        Some(rendition) => {
            let drawing = lay_out(ui, state.recipe(), rendition);
            editor::show(ui, state, &drawing, asks);
            draw(ui, state, drawing, asks);
        }
        None => empty(ui, state),
    });
}

fn empty(ui: &mut Ui, state: &State) {
    editor::heading(ui, state);
    let rect = ui
        .allocate_exact_size(vec2(ui.available_width(), rows::LEAST), Sense::hover())
        .0;
    let scene = Scene {
        state,
        drawing: Drawing {
            axis: key::Axis::for_lines(std::iter::empty()),
            threads: Vec::new(),
            label_rows: 1,
            bracket_rows: 0,
            lanes: 0,
        },
        rows: Rows::within(rect, 1, 0, 0),
        theme: state.theme,
        lit: None,
    };
    strips::paint(ui, &scene);
    hint::paint(
        ui,
        &scene,
        "Open stacks: each channel appears at its wavelength, to be given a hue.",
    );
}

fn draw(ui: &mut Ui, state: &State, drawing: Drawing, asks: &mut Asks) {
    let height = rows::height(drawing.label_rows, drawing.bracket_rows, drawing.lanes);
    let rect = ui
        .allocate_exact_size(vec2(ui.available_width(), height), Sense::hover())
        .0;
    let rows = Rows::within(
        rect,
        drawing.label_rows,
        drawing.bracket_rows,
        drawing.lanes,
    );
    let mut scene = Scene {
        state,
        drawing,
        rows,
        theme: state.theme,
        lit: None,
    };
    let strand = threads::under_pointer(ui, &scene, asks);
    let tops = names::interact(ui, &scene, asks);
    let hanging = ends::interact(ui, &scene, asks);
    scene.lit = hanging
        .iter()
        .find(|bead| bead.pulled)
        .or(hanging.iter().find(|bead| bead.response.hovered()))
        .map(|bead| bead.id.clone())
        .or(tops
            .iter()
            .find(|(_, response)| response.hovered())
            .map(|(id, _)| id.clone()))
        .or(strand);
    strips::paint(ui, &scene);
    threads::paint(ui, &scene);
    names::paint(ui, &scene, &tops);
    beads::paint(ui, &scene, &hanging);
    let words = hint::words(ui, &scene, &hanging);
    hint::paint(ui, &scene, &words);
}

fn font() -> FontId {
    FontId::proportional(12.5)
}

fn small() -> FontId {
    FontId::proportional(11.0)
}

fn lay_out(ui: &Ui, recipe: &Recipe, rendition: &crate::engine::recipe::Rendition) -> Drawing {
    let width = f64::from(rows::length(ui.available_width()));
    let text = |text: &str| {
        let galley =
            ui.painter()
                .layout_no_wrap(text.to_owned(), font(), ui.visuals().text_color());
        f64::from(galley.size().x) / width
    };
    let pull = ends::pull(ui);
    key::drawing(
        recipe,
        rendition,
        &Metrics {
            text: &text,
            sign: f64::from(names::SIGN) / width,
            bead: f64::from(2.0 * BEAD + 4.0) / width,
            gap: 7.0 / width,
            margin: f64::from(rows::RIGHT - 6.0) / width,
            held: pull.as_ref().map(|pull| &pull.lanes),
        },
    )
}

/// A copy of the recipe in which the shown rendition gives a channel a colour.
fn with_color(state: &State, channel: &str, value: ColorValue) -> Recipe {
    state.with_rendition(|rendition| {
        rendition.colors.insert(channel.to_owned(), value);
    })
}

/// Takes a channel out of the shown rendition; the last one stays.
fn leave_out(state: &State, thread: &Thread, asks: &mut Asks) {
    let alone = state
        .rendition()
        .is_some_and(|rendition| rendition.colors.len() <= 1);
    if alone {
        asks.push(Ask::Say(format!(
            "{} stays: a rendition needs one channel at least.",
            thread.name
        )));
        return;
    }
    let recipe = state.with_rendition(|rendition| {
        rendition.colors.remove(&thread.id);
    });
    asks.edit(format!("Leave out {}", thread.name), recipe);
}

/// Gives a channel that was left out a colour: its own where the others have
/// theirs, else the hue that lies farthest from them.
fn give_color(state: &State, drawing: &Drawing, thread: &Thread, asks: &mut Asks) {
    let ends = || drawing.threads.iter().filter_map(|thread| thread.end);
    let has_own = thread.light.is_some();
    let value = if has_own && (ends().all(|end| end.natural) || thread.natural_hue.is_none()) {
        ColorValue::Natural
    } else {
        let hues: Vec<f64> = ends()
            .filter(|end| !end.shade.is_white())
            .map(|end| end.shade.hue)
            .collect();
        key::Shade {
            hue: key::snap::widest_gap(&hues),
            saturation: 1.0,
            strength: 1.0,
        }
        .value()
    };
    asks.edit(
        format!("Give {} a colour", thread.name),
        with_color(state, &thread.id, value),
    );
    asks.push(Ask::Select(Some(thread.id.clone())));
}

fn end_id(channel: &str) -> Id {
    Id::unique(("end of a thread", channel.to_owned()))
}
