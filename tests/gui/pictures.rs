//! Drawings about the picture, from the window: what is chosen becomes the
//! command's own file, what stands in the way is said, and what was written is
//! told of.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command as Process;

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable as _;
use linehue::gui::asks::Ask;
use linehue::gui::panels::drawing::{DrawingDraft, What};
use linehue::gui::state::Running;
use linehue::work::compare::Split;
use linehue::work::desk::Drawing;
use linehue::work::key::{Beneath, Place};

use super::dialogs::{Dialog, drawing};
use super::support::{run_by_name, window_on_copy};

#[test]
fn a_key_is_called_after_the_picture_and_every_choice_reaches_the_request() {
    let mut dialog = drawing(What::Key, |_| {});
    assert_eq!(dialog.path(), "lantern-shell-in-three-lines-key.png");
    dialog.harness.get_by_label("The colour key as it will be");
    dialog.click(Role::RadioButton, "SVG");
    assert_eq!(dialog.path(), "lantern-shell-in-three-lines-key.svg");
    dialog.click(Role::RadioButton, "natural");
    dialog.click(Role::RadioButton, "Light");
    dialog.number("Pixels from side to side", 900.0);
    let Drawing::Key(request) = dialog.request() else {
        panic!("a key");
    };
    assert_eq!(request.rendition.as_deref(), Some("natural"));
    assert_eq!((request.light, request.width), (true, 900));
    assert_eq!(request.onto, None);
    assert_eq!(request.out.parent(), Some(dialog.folder.path()));
}

#[test]
fn a_key_on_the_picture_is_of_a_kind_that_holds_one() {
    let mut dialog = drawing(What::Key, |_| {});
    dialog.click(Role::RadioButton, "SVG");
    dialog.click(Role::RadioButton, "In a corner");
    assert!(dialog.path().ends_with("key.png"), "{}", dialog.path());
    assert!(dialog.harness.query_by_label("SVG").is_none());
    dialog.click(Role::RadioButton, "Upper right");
    dialog.click(Role::RadioButton, "JPEG");
    dialog.number("Pixels of the picture's long edge", 1200.0);
    let onto = |dialog: &Dialog<DrawingDraft>| match dialog.request() {
        Drawing::Key(request) => request.onto.unwrap(),
        other => panic!("{other:?}"),
    };
    assert_eq!(onto(&dialog).place, Place::UpperRight);
    assert_eq!(
        onto(&dialog).beneath,
        Beneath::Rendition { long_edge: 1200 }
    );
    assert!(dialog.path().ends_with("key.jpg"));
    dialog.click(Role::RadioButton, "Below");
    assert_eq!(onto(&dialog).place, Place::Below);
    // Back to a key alone, which is no JPEG.
    dialog.click(Role::RadioButton, "By itself");
    assert!(dialog.path().ends_with("key.png"), "{}", dialog.path());
}

#[test]
fn a_sheet_shows_all_palettes_or_those_that_were_chosen() {
    let mut dialog = drawing(What::Sheet, |_| {});
    let sheet = |dialog: &Dialog<DrawingDraft>| match dialog.request() {
        Drawing::Sheet(request) => request,
        other => panic!("{other:?}"),
    };
    assert!(sheet(&dialog).palettes.is_empty() && sheet(&dialog).columns.is_none());
    dialog.click(Role::RadioButton, "Chosen ones");
    assert!(dialog.says("No palette is chosen") && !dialog.can_save());
    dialog.click(Role::CheckBox, "SHO");
    dialog.click(Role::CheckBox, "natural");
    dialog.click(Role::CheckBox, "lampwick");
    dialog.click(Role::CheckBox, "lampwick");
    assert_eq!(sheet(&dialog).palettes, ["natural", "SHO"]);
    dialog.click(Role::RadioButton, "A number");
    dialog.number("Pictures in a row", 2.0);
    assert_eq!(sheet(&dialog).columns, Some(2));
    assert!(dialog.can_save());
}

#[test]
fn a_comparison_begins_with_the_two_that_are_compared() {
    let mut dialog = drawing(What::Comparison, |state| {
        let mut recipe = state.recipe().clone();
        let mut third = recipe.renditions[0].clone();
        third.id = "third".to_owned();
        recipe.renditions.push(third);
        state.history.set("Add rendition third", recipe);
        state.view.other = Some("third".to_owned());
    });
    let compared = |dialog: &Dialog<DrawingDraft>| match dialog.request() {
        Drawing::Comparison(request) => request,
        other => panic!("{other:?}"),
    };
    assert_eq!(compared(&dialog).renditions, ["mapped", "third"]);
    dialog.click(Role::CheckBox, "natural");
    assert!(dialog.says("In this order: mapped, third, natural"));
    dialog.click(Role::RadioButton, "Diagonal");
    assert!(dialog.says("divides a picture in two") && !dialog.can_save());
    dialog.click(Role::CheckBox, "third");
    assert!(dialog.can_save());
    dialog.click(Role::CheckBox, "A colour key under each");
    let request = compared(&dialog);
    assert_eq!(request.renditions, ["mapped", "natural"]);
    assert_eq!((request.split, request.key), (Some(Split::Diagonal), false));
    dialog.click(Role::CheckBox, "natural");
    assert!(dialog.says("One rendition alone") && !dialog.can_save());
    dialog.key(Key::Enter);
    assert_eq!(dialog.asked(), 0);
}

#[test]
fn what_stands_in_the_way_is_said_and_nothing_is_asked_for() {
    let mut dialog = drawing(What::Key, |state| {
        let file = |name: &str| fs::write(state.folder.join(name), b"x").unwrap();
        file("lantern-ha.fits");
        file("lantern.png");
        file("lantern.png.record.json");
        file("old.svg");
    });
    for (path, words) in [
        ("lantern-ha.fits", "does not tell the kind of file"),
        ("lantern.png", "is the composite that"),
        ("nowhere/key.png", "is not there"),
        ("key.jpg", "may be one of .png, .svg, .pdf"),
        ("key", "does not tell the kind of file"),
        (" ", "has no name"),
    ] {
        dialog.type_path(path);
        assert!(dialog.says(words), "{path}");
        assert!(!dialog.can_save(), "{path}");
        dialog.key(Key::Enter);
        assert_eq!(dialog.asked(), 0, "{path}");
    }
    dialog.type_path("old.svg");
    assert!(dialog.says("old.svg is there already"));
    dialog.key(Key::Enter);
    assert_eq!(dialog.asked(), 1, "a warning does not stop");
}

#[test]
fn a_running_drawing_is_followed_and_stopped() {
    let mut dialog = drawing(What::Sheet, |state| {
        for ticket in [7, 8] {
            state.jobs.push(Running {
                ticket,
                title: format!("Drawing {ticket}.png"),
                step: "reading channels".into(),
                channel: None,
                share: 0.4,
            });
        }
    });
    dialog.draft.borrow_mut().ticket = Some(7);
    dialog.harness.run();
    assert!(dialog.says("reading channels 40 %"));
    assert!(!dialog.says("Drawing 8.png"), "another's job");
    dialog.click(Role::Button, "Stop");
    dialog.click(Role::Button, "Hide");
    let asked = &dialog.harness.state().asked;
    assert!(asked.iter().any(|ask| matches!(ask, Ask::Cancel(7))));
    assert!(matches!(asked.last(), Some(Ask::CloseDrawing)));
}

#[test]
fn escape_closes_and_a_failure_is_said_in_place() {
    let mut dialog = drawing(What::Key, |_| {});
    dialog.draft.borrow_mut().failed = Some(("The disk is full".into(), "free some".into()));
    dialog.harness.run();
    assert!(dialog.says("The disk is full") && dialog.says("free some"));
    dialog.click(Role::Button, "Choose ...");
    let asked = &dialog.harness.state().asked;
    assert!(matches!(asked.last(), Some(Ask::ChooseDrawingPath)));
    dialog.key(Key::Escape);
    let asked = &dialog.harness.state().asked;
    assert!(matches!(asked.last(), Some(Ask::CloseDrawing)));
}

fn by_command(folder: &Path, arguments: &[&str]) -> Vec<u8> {
    let out = folder.join(arguments.last().unwrap());
    let done = Process::new(env!("CARGO_BIN_EXE_linehue"))
        .args(arguments)
        .current_dir(folder)
        .env("XDG_CONFIG_HOME", folder)
        .env("HOME", folder)
        .output()
        .unwrap();
    assert!(done.status.success(), "{done:?}");
    fs::read(out).unwrap()
}

fn written(folder: &Path, suffix: &str) -> PathBuf {
    let paths = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    paths
        .into_iter()
        .find(|path| path.to_string_lossy().ends_with(suffix))
        .expect("it was written")
}

#[test]
fn what_the_window_saves_is_what_the_commands_write() {
    let (mut harness, folder) = window_on_copy();
    let commands: [(&str, &str, &[&str]); 2] = [
        (
            "colour key",
            "-key.png",
            &["key", "lantern.toml", "-o", "by-command.png"],
        ),
        (
            "save a comparison",
            "-compared.png",
            &[
                "compare",
                "lantern.toml",
                "mapped",
                "natural",
                "--key",
                "-o",
                "by-command.png",
            ],
        ),
    ];
    for (words, suffix, arguments) in commands {
        run_by_name(&mut harness, words);
        harness.key_press(Key::Enter);
        harness.run_steps(4);
        let mine = fs::read(written(folder.path(), suffix)).unwrap();
        assert_eq!(mine, by_command(folder.path(), arguments), "{suffix}");
        harness.get_by_label_contains("is written.");
        harness.get_by_role_and_label(Role::Button, "Close").click();
        harness.run_steps(3);
        // The status line tells of it, and leads to it.
        harness.get_by_label_contains("Saved ");
        harness.get_by_role_and_label(Role::Button, "Show in folder");
    }
    // Anything else that is said takes the way to the file away.
    harness.key_press(Key::N);
    harness.run_steps(3);
    let button = harness.query_by_role_and_label(Role::Button, "Show in folder");
    assert!(button.is_none());
}

#[test]
fn a_key_tells_the_colours_on_the_desk_saved_or_not() {
    let (mut harness, folder) = window_on_copy();
    let before = by_command(folder.path(), &["key", "lantern.toml", "-o", "before.svg"]);
    harness.get_by_label("Hue of [O III]").focus();
    harness.run_steps(2);
    for _ in 0..40 {
        harness.key_press_modifiers(Modifiers::COMMAND, Key::ArrowRight);
        harness.run_steps(1);
    }
    run_by_name(&mut harness, "colour key");
    harness
        .get_by_role_and_label(Role::RadioButton, "SVG")
        .click();
    harness.run_steps(2);
    harness.get_by_role_and_label(Role::Button, "Save").click();
    harness.run_steps(4);
    let now = fs::read_to_string(written(folder.path(), "-key.svg")).unwrap();
    assert_ne!(now.as_bytes(), before);
    assert!(harness.state().state.is_edited(), "nothing else was saved");
    assert!(now.contains("doubly ionised oxygen ([O III], 500.7 nm) is shown"));
}

#[test]
fn a_key_below_the_picture_is_written_beside_it_as_a_copy() {
    let (mut harness, folder) = window_on_copy();
    run_by_name(&mut harness, "colour key");
    harness
        .get_by_role_and_label(Role::RadioButton, "Below")
        .click();
    harness.run_steps(2);
    harness.get_by_role_and_label(Role::Button, "Save").click();
    harness.run_steps(4);
    let path = written(folder.path(), "-key.png");
    let file = std::io::BufReader::new(fs::File::open(path).unwrap());
    let reader = png::Decoder::new(file).read_info().unwrap();
    let about = reader.info();
    // The sample is 864 x 576; a key of some height follows.
    assert!(about.width == 864 && about.height > 900, "{about:?}");
    assert!(about.icc_profile.is_some());
}
