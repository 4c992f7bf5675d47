//! A page to share, from the window: what is chosen becomes the command's own
//! page, what stands in the way is said, and what was written is told of.

use std::fs;
use std::path::Path;
use std::process::Command as Process;

use egui::accesskit::Role;
use egui_kittest::kittest::Queryable as _;
use linehue::gui::panels::drawing::{DrawingDraft, What};
use linehue::io::write::Format;
use linehue::work::desk::Drawing;
use linehue::work::page::{Request, Source};

use super::dialogs::{Dialog, drawing};
use super::support::{run_by_name, window_on_copy};

fn asked_of(dialog: &Dialog<DrawingDraft>) -> Request {
    match dialog.request() {
        Drawing::Page(request) => request,
        other => panic!("{other:?}"),
    }
}

#[test]
fn every_choice_reaches_the_request() {
    let mut dialog = drawing(What::Page, |_| {});
    assert_eq!(dialog.path(), "lantern-shell-in-three-lines-page");
    let request = asked_of(&dialog);
    assert!(matches!(request.source, Source::Recipe(_)));
    assert_eq!(request.renditions, ["mapped", "natural"]);
    assert_eq!((request.format, request.long_edge), (Format::Jpeg, 2048));
    assert_eq!(request.out.parent(), Some(dialog.folder.path()));
    dialog.click(Role::RadioButton, "One file");
    assert_eq!(dialog.path(), "lantern-shell-in-three-lines-page.html");
    dialog.click(Role::RadioButton, "PNG");
    dialog.click(Role::CheckBox, "natural");
    dialog.number("Pixels of the picture's long edge", 1200.0);
    let request = asked_of(&dialog);
    assert_eq!(request.renditions, ["mapped"]);
    assert_eq!((request.format, request.long_edge), (Format::Png, 1200));
    dialog.click(Role::RadioButton, "Folder");
    assert_eq!(dialog.path(), "lantern-shell-in-three-lines-page");
    // What a page has no use for is not offered.
    for label in ["Dark", "PDF", "Divided"] {
        assert!(dialog.harness.query_by_label(label).is_none(), "{label}");
    }
    dialog.click(Role::Button, "Save");
    assert_eq!(dialog.asked(), 1);
}

#[test]
fn what_stands_in_the_way_is_said_before_anything_starts() {
    let mut dialog = drawing(What::Page, |_| {});
    assert!(dialog.can_save());
    dialog.click(Role::CheckBox, "natural");
    dialog.click(Role::CheckBox, "mapped");
    assert!(!dialog.can_save() && dialog.says("No rendition is chosen."));
    dialog.click(Role::CheckBox, "mapped");
    assert!(dialog.can_save());
    let there = dialog.folder.path().join(dialog.path());
    fs::create_dir(&there).unwrap();
    fs::write(there.join("photo.jpg"), "mine").unwrap();
    dialog.draft.borrow_mut().look_again();
    dialog.harness.run();
    assert!(!dialog.can_save() && dialog.says("no page that Linehue made"));
}

// The names and bytes of the pictures of a page.
fn pictures(page: &Path) -> Vec<Vec<u8>> {
    let read = |name: &str| fs::read(page.join(name)).unwrap();
    vec![read("mapped.jpg"), read("natural.jpg")]
}

#[test]
fn the_page_is_the_commands_own() {
    let (mut harness, folder) = window_on_copy();
    run_by_name(&mut harness, "page to share");
    harness.get_by_role_and_label(Role::Button, "Save").click();
    harness.run_steps(4);
    harness.get_by_label("The page is written.");
    let page = folder.path().join("lantern-shell-in-three-lines-page");
    let status = Process::new(env!("CARGO_BIN_EXE_linehue"))
        .args(["page", "lantern.toml", "-o", "command", "--quiet"])
        .current_dir(folder.path())
        .status()
        .unwrap();
    assert!(status.success());
    assert!(pictures(&page) == pictures(&folder.path().join("command")));
    assert!(page.join("mapped.jpg.record.json").is_file());
}
