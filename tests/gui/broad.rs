//! The sample field with broad bands beside its lines, and what tests of its
//! panels do to it.

use egui::Key;
use egui::accesskit::Role;
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::engine::recipe::{Channel, ColorValue, Rendition, check};
use linehue::gui::app::{App, Opening};
use linehue::gui::panels::mix;
use linehue::gui::state::State;
use linehue::gui::theme::{self, Theme};
use linehue::work::desk::Worker;
use linehue::work::history::History;

use super::support::{Stage, layer, panel, sample};

/// The sample field with L, R, G and B beside the lines, R, G and B shown, every
/// channel in memory.
pub fn broad() -> State {
    let mut state = sample();
    let mut recipe = state.recipe().clone();
    let like = recipe.channels[1].clone();
    for line in ["L", "R", "G", "B"] {
        let id = line.to_lowercase();
        recipe.renditions[0]
            .colors
            .insert(id.clone(), ColorValue::Natural);
        recipe.channels.push(Channel {
            file: format!("lantern-{id}.fits"),
            id,
            line: line.to_owned(),
            width_nm: None,
            ..like.clone()
        });
    }
    recipe.renditions[0].colors.remove("l");
    assert_eq!(check::whole(&recipe), Ok(()));
    for channel in &recipe.channels {
        let layer = layer(64, 48, 60.0, 250.0);
        state.layers.insert(channel.id.clone(), layer);
    }
    state.selected = Some("ha".to_owned());
    state.history = History::new("Open", recipe);
    state
}

/// The mix panel, as long as it likes to be.
pub fn mixing(state: State) -> Harness<'static, Stage> {
    let mut harness = panel(state, [300.0, 3000.0], mix::show);
    harness.run();
    harness
}

/// Unfolds a section.
pub fn open(harness: &mut Harness<'static, Stage>, section: &str) {
    harness.get_by_label(section).click();
    harness.run();
    harness.run();
}

pub fn click(harness: &mut Harness<'static, Stage>, role: Role, label: &str) {
    harness.get_by_role_and_label(role, label).click();
    harness.run();
}

pub fn rendition(harness: &Harness<'static, Stage>) -> Rendition {
    harness.state().state.rendition().unwrap().clone()
}

pub fn channel(harness: &Harness<'static, Stage>, id: &str) -> Channel {
    harness.state().state.recipe().channel(id).unwrap().clone()
}

pub fn steps(harness: &Harness<'static, Stage>) -> Vec<String> {
    let history = &harness.state().state.history;
    assert_eq!(check::whole(history.current()), Ok(()));
    let steps = history.steps().iter().skip(1);
    steps.map(|step| step.label.clone()).collect()
}

pub fn type_number(harness: &mut Harness<'static, Stage>, label: &str, number: &str) {
    harness.get_by_label(label).click();
    harness.run();
    harness.get_by_label(label).focus();
    harness.run();
    harness.key_press_modifiers(egui::Modifiers::COMMAND, Key::A);
    harness.run();
    harness.get_by_label(label).type_text(number);
    harness.run();
    harness.key_press(Key::Enter);
    harness.run();
}

pub fn says(harness: &Harness<'static, Stage>, text: &str) -> bool {
    harness.query_all_by_label_contains(text).next().is_some()
}

/// That a control is off, and that a pointer on it is told why.
pub fn is_off(harness: &mut Harness<'static, Stage>, label: &str, why: &str) {
    let node = harness.get_by_label(label);
    assert!(node.accesskit_node().is_disabled(), "{label}");
    node.hover();
    // A tooltip waits until the pointer has rested.
    harness.run_steps(8);
    assert!(says(harness, why), "{label} does not say: {why}");
}

/// The whole window on the sample's stacks.
pub fn window(state: State, size: [f32; 2], look: Theme) -> Harness<'static, App> {
    let mut harness = Harness::builder()
        .with_size(size)
        .with_max_steps(30)
        .with_context_setup(move |context| theme::set_up(context, look))
        .build_eframe(move |_| {
            let mut app = App::new(Worker::inline(), Opening::Nothing);
            app.state = state;
            app.state.theme = look;
            app
        });
    look.apply(&harness.ctx);
    harness.run_steps(4);
    harness
}

/// Keeps a picture of a panel to look at, where a folder for them is named.
pub fn picture(harness: &mut Harness<'static, Stage>, name: &str) {
    if let Some(folder) = std::env::var_os("LINEHUE_PANEL_PICTURES") {
        let file = std::path::Path::new(&folder).join(format!("{name}.png"));
        harness.render().unwrap().save(file).unwrap();
    }
}
