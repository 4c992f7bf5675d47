//! Files that are opened, dropped and saved, and the window's end.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use egui::{Key, Modifiers, ViewportCommand, ViewportEvent, ViewportId};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use linehue::engine::recipe::text;
use linehue::gui::app::{App, Opening};
use linehue::gui::state::LineMap;
use linehue::gui::theme::{self, Theme};
use linehue::work::desk::Worker;

use super::support::window_on_copy;

fn window_on(path: &Path) -> Harness<'static, App> {
    let files = vec![path.to_owned()];
    let mut harness = Harness::builder()
        .with_size([1440.0, 900.0])
        .with_max_steps(30)
        .with_context_setup(|context| theme::set_up(context, Theme::Dark))
        .build_eframe(move |_| App::new(Worker::inline(), Opening::Files(files)));
    harness.run_steps(6);
    harness
}

/// A file as the system drops it.
#[derive(Debug)]
struct Dropped(PathBuf);

impl egui::DroppedFile for Dropped {
    fn path(&self) -> &Path {
        &self.0
    }

    fn bytes(&self) -> Result<Vec<u8>, String> {
        fs::read(&self.0).map_err(|error| error.to_string())
    }
}

fn drop_file(harness: &mut Harness<'static, App>, path: &Path) {
    let file = std::sync::Arc::new(Dropped(path.to_owned()));
    harness.input_mut().dropped_files.push(file);
    harness.run_steps(6);
}

fn save(harness: &mut Harness<'static, App>) {
    harness.key_press_modifiers(Modifiers::COMMAND, Key::S);
    harness.run_steps(3);
}

/// The one file in a folder whose name ends so.
fn ending(folder: &Path, ending: &str) -> PathBuf {
    fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.to_string_lossy().ends_with(ending))
        .unwrap()
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

/// A record that was only looked at has nothing to save.
#[test]
fn a_record_that_was_only_looked_at_closes_without_a_question() {
    let (mut harness, folder) = window_on_copy();
    harness.key_press_modifiers(Modifiers::COMMAND, Key::E);
    harness.run_steps(3);
    harness.key_press(Key::Enter);
    harness.run_steps(6);
    let record = ending(folder.path(), ".record.json");

    let mut harness = window_on(&record);
    assert_eq!(harness.state().state.layers.len(), 3);
    assert!(closes(&mut harness), "it asks");

    // What was changed is asked about, and has no file of its own yet.
    let mut harness = window_on(&record);
    let state = &mut harness.state_mut().state;
    let recipe = state.with_rendition(|rendition| rendition.saturation = Some(0.5));
    state.history.set("Saturation", recipe);
    assert!(!closes(&mut harness), "it does not ask");
    assert_eq!(harness.state().state.path, None);
}

/// The record of a ratio map, dropped onto the window, shows that map.
#[test]
fn a_ratio_maps_record_is_opened_for_what_it_is() {
    let (harness, folder) = window_on_copy();
    let recipe = harness.state().state.recipe().clone();
    drop(harness);
    let wish = linehue::work::ratio::Wish {
        min_snr: Some(4.0),
        ..Default::default()
    };
    let request = linehue::work::ratio::Request {
        ratio: linehue::work::ratio::chosen(&recipe, "sii/ha", &wish).unwrap(),
        recipe: recipe.clone(),
        folder: folder.path().to_owned(),
        file: None,
        out: folder.path().join("sii-ha.fits"),
    };
    let stop = std::sync::atomic::AtomicBool::new(false);
    let control = linehue::work::Control {
        progress: &linehue::work::progress::Silent,
        cancel: &stop,
    };
    let done = linehue::work::ratio::run(&request, control).unwrap();
    let mut harness = window_on(&folder.path().join("lantern.toml"));
    drop_file(&mut harness, &done.record);
    let state = &harness.state().state;
    assert_eq!(state.view.map, Some(LineMap::Ratio(request.ratio)));
    assert_eq!(state.layers.len(), 3, "{:?}", state.failures);
    assert!(state.rows.is_empty(), "{:?}", state.rows);
    assert_eq!(state.recipe().renditions, recipe.renditions);
    assert!(!state.is_edited());
    harness.get_by_label_contains("Known in");
}

/// Other JSON is named for what it is not, and never taken for a stack.
#[test]
fn a_json_file_that_is_no_record_is_refused_as_such() {
    let (mut harness, folder) = window_on_copy();
    let path = folder.path().join("notes.json");
    fs::write(&path, "{\"night\": 1}").unwrap();
    drop_file(&mut harness, &path);
    harness.get_by_label_contains("there is no `record` version in it");
    assert!(harness.query_by_label_contains("FITS").is_none());
    assert_eq!(harness.state().state.layers.len(), 3);
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
