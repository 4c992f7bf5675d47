//! Files that are saved, and the window's end.

use std::fs;
use std::sync::atomic::Ordering;

use egui::{Key, Modifiers, ViewportCommand, ViewportEvent, ViewportId};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use linehue::engine::recipe::text;
use linehue::gui::app::App;

use super::support::window_on_copy;

fn save(harness: &mut Harness<'static, App>) {
    harness.key_press_modifiers(Modifiers::COMMAND, Key::S);
    harness.run_steps(3);
}

/// Asks for the window's end, as its button does; true if it is granted.
fn closes(harness: &mut Harness<'static, App>) -> bool {
    let viewport = harness.input_mut().viewports.entry(ViewportId::ROOT);
    viewport.or_default().events.push(ViewportEvent::Close);
    harness.step();
    !commands(harness).contains(&ViewportCommand::CancelClose)
}

fn commands(harness: &Harness<'static, App>) -> Vec<ViewportCommand> {
    let outputs = harness.output().viewport_output.values();
    outputs.flat_map(|output| output.commands.clone()).collect()
}

/// Protects what somebody wrote into a recipe by hand.
#[test]
fn saving_an_edit_keeps_the_recipes_own_words() {
    let (mut harness, folder) = window_on_copy();
    let path = folder.path().join("lantern.toml");
    let before = fs::read_to_string(&path).unwrap();
    assert!(before.contains("# Sulfur glows like embers"));
    save(&mut harness);
    assert_eq!(
        fs::read_to_string(&path).unwrap(),
        before,
        "nothing changed"
    );

    let state = &mut harness.state_mut().state;
    let recipe = state.with_channel("ha", |channel| channel.stretch.black = 46.5);
    state.history.set("Black", recipe);
    save(&mut harness);
    let expected = before.replace("black = 46.0\n", "black = 46.5\n");
    assert_eq!(fs::read_to_string(&path).unwrap(), expected);
    assert!(!harness.state().state.is_edited());
    assert!(harness.state().state.notices.is_empty());
}

/// A text that became unreadable meanwhile cannot be edited; that is said.
#[test]
fn a_text_that_cannot_be_edited_is_written_anew_and_that_is_said() {
    let (mut harness, folder) = window_on_copy();
    let path = folder.path().join("lantern.toml");
    fs::write(&path, "# half a recipe\nrecipe = ").unwrap();
    save(&mut harness);
    let written = fs::read_to_string(&path).unwrap();
    let state = &harness.state().state;
    assert_eq!(text::parse(&written, "saved").as_ref(), Ok(state.recipe()));
    let said = state
        .notices
        .iter()
        .any(|notice| notice.contains("written anew"));
    assert!(said, "{:?}", state.notices);
}

/// A program that is asked to stop closes its window and asks nothing.
#[test]
fn a_stop_from_outside_closes_without_a_question() {
    let (mut harness, _folder) = window_on_copy();
    let state = &mut harness.state_mut().state;
    let recipe = state.with_rendition(|rendition| rendition.saturation = Some(0.5));
    state.history.set("Saturation", recipe);
    harness.run_steps(2);
    assert!(!commands(&harness).contains(&ViewportCommand::Close));
    harness.state().stop().store(true, Ordering::Relaxed);
    harness.step();
    assert!(commands(&harness).contains(&ViewportCommand::Close));
    assert!(closes(&mut harness));
    assert!(harness.query_by_label("Save the changes first?").is_none());
}
