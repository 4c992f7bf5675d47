//! The export dialog: what is chosen becomes a request, what stands in the way
//! is said, and the keys do what they should.

use std::path::{Path, PathBuf};

use egui::accesskit::Role;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::engine::color::space::Space;
use linehue::engine::frame::Depth;
use linehue::engine::recipe::{Crop, check};
use linehue::gui::asks::Ask;
use linehue::gui::panels::export::{self, ExportDraft, request, requests};
use linehue::gui::state::{Running, State};
use linehue::io::write::{Format, Packing};

use super::dialogs::Dialog;

// On the sample field, with a draft that `change` makes ready.
fn dialog(change: impl FnOnce(&mut State, &mut ExportDraft)) -> Dialog<ExportDraft> {
    let draft = |state: &mut State| {
        let mut draft = ExportDraft::new(state);
        change(state, &mut draft);
        draft
    };
    Dialog::new(draft, export::show)
}

impl Dialog<ExportDraft> {
    fn request(&self) -> linehue::work::compose::Request {
        request(&self.draft.borrow(), &self.harness.state().state)
    }

    fn exports(&self) -> Vec<ExportDraft> {
        let asked = self.harness.state().asked.iter();
        asked
            .filter_map(|ask| match ask {
                Ask::Export(draft) => Some((**draft).clone()),
                _ => None,
            })
            .collect()
    }

    fn closes(&self) -> usize {
        let asked = self.harness.state().asked.iter();
        asked.filter(|ask| matches!(ask, Ask::CloseExport)).count()
    }
}

#[test]
fn the_first_name_tells_title_and_rendition_beside_the_recipe() {
    let dialog = dialog(|_, _| {});
    let request = dialog.request();
    let name = request.out.file_name().unwrap();
    assert_eq!(name, "lantern-shell-in-three-lines-mapped.tif");
    assert_eq!(request.out.parent(), Some(request.folder.as_path()));
    assert_eq!(request.rendition.as_deref(), Some("mapped"));
    assert_eq!(request.depth, Some(Depth::Sixteen));
}

#[test]
fn every_choice_reaches_the_request() {
    let mut dialog = dialog(|_, _| {});
    dialog.click(Role::RadioButton, "8 bit");
    dialog.click(Role::RadioButton, "Small");
    dialog.click(Role::RadioButton, "Display P3");
    let asked = dialog.request();
    assert_eq!(asked.depth, Some(Depth::Eight));
    assert_eq!(asked.options.packing, Packing::Small);
    assert_eq!(asked.space, Space::DisplayP3);
    dialog.click(Role::RadioButton, "FITS");
    let asked = dialog.request();
    assert_eq!(asked.out.extension().unwrap(), "fits");
    assert_eq!(asked.depth, Some(Depth::Float32), "FITS keeps nothing else");
    dialog.click(Role::RadioButton, "JPEG");
    let slider = dialog
        .harness
        .get_by_role_and_label(Role::Slider, "Quality");
    slider.set_value_accesskit(80.0);
    dialog.harness.run();
    assert_eq!(dialog.request().options.quality, 80);
    assert_eq!(dialog.request().depth, Some(Depth::Eight));
}

#[test]
fn an_ending_that_is_typed_sets_kind_and_depth() {
    let mut dialog = dialog(|_, _| {});
    dialog.type_path("web.jpg");
    assert_eq!(dialog.draft.borrow().format(), Some(Format::Jpeg));
    assert_eq!(dialog.request().depth, Some(Depth::Eight));
    assert_eq!(
        dialog.request().out,
        dialog.request().folder.join("web.jpg")
    );
    // A point in a name is no ending that could be lost.
    dialog.type_path("m 1.5");
    dialog.click(Role::RadioButton, "PNG");
    assert_eq!(dialog.draft.borrow().path, "m 1.5.png");
}

#[test]
fn several_renditions_become_several_files() {
    let mut dialog = dialog(|_, draft| draft.path = "shell.png".into());
    dialog.click(Role::CheckBox, "natural");
    let state = &dialog.harness.state().state;
    let all = requests(&dialog.draft.borrow(), state);
    let names: Vec<_> = all
        .iter()
        .map(|request| (request.rendition.clone().unwrap(), request.out.clone()))
        .collect();
    let at = |name: &str| state.folder.join(name);
    assert_eq!(
        names,
        [
            ("mapped".to_owned(), at("shell-mapped.png")),
            ("natural".to_owned(), at("shell-natural.png"))
        ]
    );
    dialog.click(Role::CheckBox, "natural");
    dialog.click(Role::CheckBox, "mapped");
    assert!(dialog.says("No rendition is chosen"));
    dialog.key(egui::Key::Enter);
    assert!(dialog.exports().is_empty());
}

#[test]
fn the_name_follows_the_only_rendition() {
    let mut dialog = dialog(|_, draft| draft.path = "shell-mapped.png".into());
    dialog.click(Role::CheckBox, "natural");
    dialog.click(Role::CheckBox, "mapped");
    assert_eq!(dialog.draft.borrow().path, "shell-natural.png");
    // A name that tells no rendition is the user's own.
    dialog.draft.borrow_mut().path = "web.png".into();
    dialog.click(Role::CheckBox, "mapped");
    dialog.click(Role::CheckBox, "natural");
    assert_eq!(dialog.draft.borrow().path, "web.png");
}

#[test]
fn what_stands_in_the_way_is_said_and_stops_the_export() {
    let mut dialog = dialog(|state, _| {
        std::fs::write(state.folder.join("lantern-ha.fits"), b"x").unwrap();
        std::fs::write(state.folder.join("old.tif"), b"x").unwrap();
    });
    for (path, words) in [
        ("lantern-ha.fits", "one of the inputs"),
        ("nowhere/shell.tif", "is not there"),
        ("shell.webp", "webp"),
        ("shell", "no ending"),
        (" ", "has no name"),
    ] {
        dialog.type_path(path);
        assert!(dialog.says(words), "{path}");
        let button = dialog.harness.get_by_role_and_label(Role::Button, "Export");
        assert!(button.accesskit_node().is_disabled(), "{path}");
        dialog.key(egui::Key::Enter);
        assert!(dialog.exports().is_empty(), "{path}");
    }
    dialog.type_path("old.tif");
    assert!(dialog.says("old.tif is there already"));
    dialog.key(egui::Key::Enter);
    assert_eq!(dialog.exports().len(), 1, "a warning does not stop");
}

#[test]
fn enter_exports_and_escape_closes() {
    let mut dialog = dialog(|_, _| {});
    dialog.key(egui::Key::Enter);
    assert_eq!(dialog.exports().len(), 1);
    dialog.key(egui::Key::Escape);
    assert_eq!(dialog.closes(), 1);
    dialog.click(Role::Button, "Cancel");
    assert_eq!(dialog.closes(), 2);
    dialog.click(Role::Button, "Choose ...");
    let asked = &dialog.harness.state().asked;
    assert!(matches!(asked.last(), Some(Ask::ChooseExportPath)));
}

#[test]
fn escape_in_a_field_leaves_the_field_only() {
    let mut dialog = dialog(|_, _| {});
    dialog.type_path("shell.tif");
    dialog.key(egui::Key::Escape);
    assert_eq!(dialog.closes(), 0);
    dialog.key(egui::Key::Escape);
    assert_eq!(dialog.closes(), 1);
}

#[test]
fn a_size_is_shown_before_it_is_made() {
    let mut dialog = dialog(|state, _| {
        let mut recipe = state.recipe().clone();
        recipe.crop = Some(Crop::Part([10, 20, 3000, 1500]));
        state.history.set("Crop", recipe);
    });
    assert!(dialog.says("3000 x 1500 pixels"));
    dialog.click(Role::RadioButton, "Long edge");
    assert_eq!(dialog.draft.borrow().long_edge, Some(2048));
    assert!(dialog.says("2048 x 1024 pixels"));
}

#[test]
fn the_crop_is_an_edit_of_the_recipe() {
    let mut dialog = dialog(|_, _| {});
    dialog.click(Role::RadioButton, "Common part");
    let crop = |dialog: &Dialog<ExportDraft>| dialog.harness.state().state.recipe().crop;
    assert_eq!(crop(&dialog), Some(Crop::Common));
    dialog.click(Role::RadioButton, "A part");
    assert!(matches!(crop(&dialog), Some(Crop::Part(_))));
    assert_eq!(check::whole(dialog.harness.state().state.recipe()), Ok(()));
    dialog.click(Role::RadioButton, "All");
    assert_eq!(crop(&dialog), None);
    assert_eq!(dialog.harness.state().state.history.steps().len(), 4);
}

#[test]
fn the_caption_and_the_estimate_are_shown() {
    let dialog = dialog(|_, draft| draft.estimate = Some((26_100_000, 40_000_000)));
    assert!(dialog.says("26.1 MB to 40.0 MB"));
    assert!(dialog.says("Mapped colour, not what an eye would see"));
}

#[test]
fn a_running_export_is_followed_and_stopped() {
    let mut dialog = dialog(|state, draft| {
        draft.tickets = vec![7];
        for ticket in [7, 8] {
            state.jobs.push(Running {
                ticket,
                title: format!("Exporting {ticket}.tif"),
                step: "composing".into(),
                channel: None,
                share: 0.4,
            });
        }
    });
    assert!(dialog.says("composing 40 %"));
    assert!(!dialog.says("Exporting 8.tif"), "another's job");
    dialog.click(Role::Button, "Stop");
    let asked = &dialog.harness.state().asked;
    assert!(asked.iter().any(|ask| matches!(ask, Ask::Cancel(7))));
}

#[test]
fn what_was_written_is_shown_and_another_can_follow() {
    let path = PathBuf::from("pictures/shell.tif");
    let mut dialog = dialog(|_, draft| draft.done = vec![path.clone()]);
    dialog.click(Role::Button, "Show in folder");
    let asked = &dialog.harness.state().asked;
    assert!(asked.iter().any(
        |ask| matches!(ask, Ask::ShowInFolder(shown) if *shown == Path::new("pictures/shell.tif"))
    ));
    dialog.harness.get_by_label("Copy path").click();
    dialog.harness.step();
    let copied = dialog.harness.output().platform_output.commands.iter().any(|command| {
        matches!(command, egui::OutputCommand::CopyText(text) if text.ends_with("shell.tif"))
    });
    assert!(copied);
    dialog.click(Role::Button, "Export another");
    let button = dialog
        .harness
        .query_by_role_and_label(Role::Button, "Export");
    assert!(button.is_some());
    assert!(dialog.draft.borrow().done.is_empty());
}

/// What is shown while an export runs is low; the form comes back whole after a
/// failure, where the window has room for it.
#[test]
fn the_form_is_whole_again_after_a_failure() {
    let failure = ("The disk is full".to_owned(), "free some space".to_owned());
    let foot = |dialog: &Dialog<ExportDraft>| {
        let button = dialog.harness.get_by_role_and_label(Role::Button, "Export");
        button.rect().max.y
    };
    let at_once = dialog(|_, draft| draft.failed = Some(failure.clone()));
    let mut later = dialog(|state, draft| {
        draft.tickets = vec![7];
        state.jobs.push(Running {
            ticket: 7,
            title: "Exporting shell.tif".into(),
            step: "composing".into(),
            channel: None,
            share: 0.4,
        });
    });
    later.harness.state_mut().state.jobs.clear();
    later.draft.borrow_mut().failed = Some(failure);
    later.harness.run();
    assert_eq!(foot(&later), foot(&at_once));
}

#[test]
fn a_failure_is_said_in_place() {
    let dialog = dialog(|_, draft| {
        draft.failed = Some(("The disk is full".into(), "free some space".into()));
    });
    assert!(dialog.says("The disk is full") && dialog.says("free some space"));
}
