//! The window as a whole: menus, keys, dialogs, history.

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::gui::app::{App, Opening};
use linehue::gui::command::{COMMANDS, Command};
use linehue::gui::theme::{self, Theme};
use linehue::work::desk::Worker;

use super::support::sample;

/// The whole window at a size in points, on the sample's recipe.
fn window(size: [f32; 2]) -> Harness<'static, App> {
    let mut harness = Harness::builder()
        .with_size(size)
        .with_max_steps(30)
        .with_context_setup(|context| theme::set_up(context, Theme::Dark))
        .build_eframe(|_| {
            let mut app = App::new(Worker::inline(), Opening::Nothing);
            app.state = sample();
            app
        });
    harness.run_steps(3);
    harness
}

#[test]
fn every_command_has_a_line_in_the_table_and_no_key_stands_twice() {
    let mut keys = Vec::new();
    for entry in COMMANDS {
        assert_eq!(entry.command.entry().name, entry.name);
        assert!(!entry.about.is_empty());
        if let Some(key) = entry.key {
            assert!(!keys.contains(&key), "{}: {key:?} stands twice", entry.name);
            keys.push(key);
        }
    }
}

#[test]
fn undo_and_redo_by_key_and_by_button() {
    let mut harness = window([1440.0, 900.0]);
    let before = harness.state().state.recipe().clone();
    let mut after = before.clone();
    after.renditions[0].saturation = Some(1.5);
    harness
        .state_mut()
        .state
        .history
        .set("Saturation", after.clone());
    harness.run_steps(2);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    harness.run_steps(2);
    assert_eq!(*harness.state().state.recipe(), before);
    harness.get_by_role_and_label(Role::Button, "Redo").click();
    harness.run_steps(2);
    assert_eq!(*harness.state().state.recipe(), after);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    harness.run_steps(2);
    harness.key_press_modifiers(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z);
    harness.run_steps(2);
    assert_eq!(*harness.state().state.recipe(), after);
}

#[test]
fn the_command_list_is_searched_and_runs() {
    let mut harness = window([1440.0, 900.0]);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::K);
    harness.run_steps(3);
    harness
        .get_by_role_and_label(Role::TextInput, "Search commands")
        .type_text("next looks");
    harness.run_steps(2);
    harness.key_press(Key::Enter);
    harness.run_steps(3);
    assert_eq!(harness.state().state.theme, Theme::Light);
}

#[test]
fn a_step_of_the_history_is_gone_back_to() {
    let mut harness = window([1440.0, 900.0]);
    for saturation in [0.5, 0.7, 0.9] {
        let mut recipe = harness.state().state.recipe().clone();
        recipe.renditions[0].saturation = Some(saturation);
        harness
            .state_mut()
            .state
            .history
            .set(format!("Saturation {saturation}"), recipe);
    }
    harness.key_press_modifiers(Modifiers::COMMAND, Key::H);
    harness.run_steps(3);
    harness.get_by_label("Saturation 0.5").click();
    harness.run_steps(2);
    assert_eq!(
        harness.state().state.recipe().renditions[0].saturation,
        Some(0.5)
    );
    harness.get_by_role_and_label(Role::Button, "Close").click();
    harness.run_steps(2);
    assert!(harness.query_by_label("Saturation 0.7").is_none());
}

#[test]
fn saving_under_a_typed_path_writes_a_recipe_whose_stacks_are_found() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.toml");
    let mut harness = window([1440.0, 900.0]);
    harness
        .state_mut()
        .type_path_to_save(&path.to_string_lossy());
    harness.run_steps(3);
    harness.key_press(Key::Enter);
    harness.run_steps(3);
    let text = std::fs::read_to_string(&path).unwrap();
    let recipe = linehue::engine::recipe::text::parse(&text, "mine.toml").unwrap();
    for channel in &recipe.channels {
        assert!(
            folder.path().join(&channel.file).is_file(),
            "{}",
            channel.file
        );
    }
    let state = &harness.state().state;
    assert!(!state.is_edited());
    assert_eq!(state.path.as_deref(), Some(path.as_path()));
}

#[test]
fn opening_another_recipe_asks_before_changes_are_lost() {
    let mut harness = window([1440.0, 900.0]);
    assert!(harness.state().state.is_edited());
    harness.key_press_modifiers(Modifiers::COMMAND, Key::K);
    harness.run_steps(3);
    harness
        .get_by_role_and_label(Role::TextInput, "Search commands")
        .type_text("sample field");
    harness.run_steps(2);
    harness.key_press(Key::Enter);
    harness.run_steps(3);
    harness.get_by_label("Save the changes first?");
    harness
        .get_by_role_and_label(Role::Button, "Cancel")
        .click();
    harness.run_steps(3);
    assert!(harness.query_by_label("Save the changes first?").is_none());
    assert!(harness.state().state.is_edited());
}

#[test]
fn hints_lead_through_and_end() {
    let mut harness = window([1440.0, 900.0]);
    harness.key_press(Key::F1);
    harness.run_steps(3);
    harness.get_by_label("1 of 3");
    harness.get_by_role_and_label(Role::Button, "Next").click();
    harness.run_steps(3);
    harness.get_by_role_and_label(Role::Button, "Next").click();
    harness.run_steps(3);
    harness.get_by_role_and_label(Role::Button, "Begin").click();
    harness.run_steps(3);
    assert_eq!(harness.state().state.hint, None);
}

#[test]
fn hints_are_left_by_escape() {
    let mut harness = window([1440.0, 900.0]);
    harness.key_press(Key::F1);
    harness.run_steps(3);
    harness.get_by_label("1 of 3");
    harness.key_press(Key::Escape);
    harness.run_steps(3);
    assert_eq!(harness.state().state.hint, None);
}

#[test]
fn menus_show_what_can_be_done_now() {
    let mut harness = window([1440.0, 900.0]);
    harness.get_by_label("Edit").click();
    harness.run_steps(3);
    let name = format!("{} ", Command::Prepare.entry().name);
    let row = harness.get_by_label_contains(&name);
    assert!(!row.accesskit_node().is_disabled());
}

/// The raw stacks as a user opens them, with a file that is none.
fn raw_stacks(bad: &std::path::Path) -> Harness<'static, App> {
    let mut files: Vec<_> = std::fs::read_dir("sample-stacks/lantern-raw")
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    files.push(bad.to_owned());
    let mut harness = Harness::builder()
        .with_size([1440.0, 900.0])
        .with_context_setup(|context| theme::set_up(context, Theme::Dark))
        .build_eframe(move |_| App::new(Worker::inline(), Opening::Files(files)));
    harness.run_steps(6);
    harness
}

#[test]
fn stacks_are_opened_prepared_and_undone() {
    let folder = tempfile::tempdir().unwrap();
    let bad = folder.path().join("not a stack.fits");
    std::fs::write(&bad, b"").unwrap();
    // The decoder of packed files is a program of its own.
    let decoder = env!("CARGO_BIN_EXE_linehue");
    // SAFETY: no other thread of this test's process reads the environment
    // while it is written; tests that need the decoder set the same value.
    unsafe { std::env::set_var("LINEHUE_DECODER", decoder) };
    let mut harness = raw_stacks(&bad);
    // What could not be read stays listed with its reason.
    harness.get_by_label_contains("the file is empty");
    let state = &harness.state().state;
    assert_eq!(state.recipe().channels.len(), 5);
    assert_eq!(state.layers.len(), 5);
    assert!(state.recipe().channels.iter().all(|c| c.align.is_none()));

    harness.get_by_label("Prepare").click();
    harness.run_steps(6);
    let state = &harness.state().state;
    let size = state.size().unwrap();
    assert!(state.layers.values().all(|layer| layer.size() == size));
    assert!(state.recipe().channels.iter().any(|c| c.align.is_some()));
    assert!(state.prepared.iter().any(|step| step.step == "align"));
    harness.get_by_label_contains("Prepared in");
    let made: Vec<_> = state.layers.values().map(|layer| layer.size()).collect();

    // One step back: the channels are as they came, in memory too.
    harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    harness.run_steps(6);
    let state = &harness.state().state;
    assert!(state.recipe().channels.iter().all(|c| c.align.is_none()));
    let again: Vec<_> = state.layers.values().map(|layer| layer.size()).collect();
    assert_ne!(made, again);
    assert!(state.failures.is_empty(), "{:?}", state.failures);
}

#[test]
fn the_picture_follows_a_hue_and_an_export_is_what_the_command_writes() {
    let folder = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir("sample-stacks/lantern").unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
    }
    let recipe = folder.path().join("lantern.toml");
    let mut harness = Harness::builder()
        .with_size([1440.0, 900.0])
        .with_context_setup(|context| theme::set_up(context, Theme::Dark))
        .build_eframe(move |_| App::new(Worker::inline(), Opening::Files(vec![recipe])));
    harness.run_steps(6);
    let shown = |harness: &Harness<'_, App>| {
        let shown = harness.state().state.pictures.shown(0).unwrap();
        shown.picture.rgba.clone()
    };
    let before = shown(&harness);
    assert!(
        before
            .chunks(4)
            .any(|pixel| pixel[0] > 60 && pixel[3] == 255)
    );
    harness.get_by_label("Hue of [O III]").focus();
    harness.run_steps(2);
    for _ in 0..5 {
        harness.key_press_modifiers(Modifiers::COMMAND, Key::ArrowRight);
        harness.run_steps(1);
    }
    harness.run_steps(4);
    assert_ne!(shown(&harness), before, "the picture stood still");

    harness.key_press_modifiers(Modifiers::COMMAND, Key::E);
    harness.run_steps(3);
    harness.key_press(Key::Enter);
    harness.run_steps(6);
    let record = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.to_string_lossy().ends_with(".record.json"))
        .expect("an export");
    let record: serde_json::Value =
        serde_json::from_slice(&std::fs::read(record).unwrap()).unwrap();
    assert_eq!(record["rendition"], "mapped");
    assert_eq!(record["composite"]["depth"], "16");
}

#[test]
fn nothing_is_named_twice_or_left_nameless_at_the_smallest_window() {
    for theme in Theme::ALL {
        let mut harness = window([1024.0, 640.0]);
        harness.state_mut().state.theme = theme;
        theme.apply(&harness.ctx);
        harness.run_steps(3);
        let export = harness.get_by_role_and_label(Role::Button, "Export").rect();
        assert!(export.max.x <= 1024.0 && export.min.y >= 0.0, "{export:?}");
        let status = harness.get_by_label("Ctrl+K lists all commands").rect();
        assert!(status.max.y <= 640.0, "{status:?}");
    }
}
