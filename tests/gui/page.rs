//! A page to share, from the window: what is chosen becomes the command's own
//! page, what stands in the way is said, and what was written is told of.

use std::cell::RefCell;
use std::fs;
use std::path::Path;
use std::process::Command as Process;
use std::rc::Rc;

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::gui::app::{App, Opening};
use linehue::gui::asks::Ask;
use linehue::gui::panels::drawing::{self, DrawingDraft, What, request};
use linehue::gui::theme::{self, Theme};
use linehue::io::write::Format;
use linehue::work::desk::{Drawing, Worker};
use linehue::work::page::{Request, Source};

use super::support::{Stage, panel, sample};

struct Dialog {
    harness: Harness<'static, Stage>,
    draft: Rc<RefCell<DrawingDraft>>,
    folder: tempfile::TempDir,
}

// The sample field in a folder of its own, so that nothing is overwritten.
fn dialog() -> Dialog {
    let folder = tempfile::tempdir().unwrap();
    let mut state = sample();
    state.folder = folder.path().to_owned();
    state.path = Some(folder.path().join("lantern.toml"));
    let draft = Rc::new(RefCell::new(DrawingDraft::new(What::Page, &state)));
    let inside = Rc::clone(&draft);
    let mut harness = panel(state, [700.0, 900.0], move |ui, state, asks| {
        drawing::show(ui, state, &mut inside.borrow_mut(), asks);
    });
    harness.run();
    Dialog {
        harness,
        draft,
        folder,
    }
}

impl Dialog {
    fn click(&mut self, role: Role, label: &str) {
        self.harness.get_by_role_and_label(role, label).click();
        self.harness.run();
    }

    fn request(&self) -> Request {
        match request(&self.draft.borrow(), &self.harness.state().state) {
            Drawing::Page(request) => request,
            other => panic!("{other:?}"),
        }
    }

    fn name(&self) -> String {
        self.draft.borrow().path.clone()
    }

    fn says(&self, words: &str) -> bool {
        let mut found = self.harness.query_all_by_label_contains(words);
        found.next().is_some()
    }

    fn can_save(&self) -> bool {
        let button = self.harness.get_by_role_and_label(Role::Button, "Save");
        !button.accesskit_node().is_disabled()
    }
}

#[test]
fn every_choice_reaches_the_request() {
    let mut dialog = dialog();
    assert_eq!(dialog.name(), "lantern-shell-in-three-lines-page");
    let request = dialog.request();
    assert!(matches!(request.source, Source::Recipe(_)));
    assert_eq!(request.renditions, ["mapped", "natural"]);
    assert_eq!((request.format, request.long_edge), (Format::Jpeg, 2048));
    assert_eq!(request.out.parent(), Some(dialog.folder.path()));
    dialog.click(Role::RadioButton, "One file");
    assert_eq!(dialog.name(), "lantern-shell-in-three-lines-page.html");
    dialog.click(Role::RadioButton, "PNG");
    dialog.click(Role::CheckBox, "natural");
    let label = "Pixels of the picture's long edge";
    let field = dialog
        .harness
        .get_by_role_and_label(Role::SpinButton, label);
    field.set_value_accesskit(1200.0);
    dialog.harness.run();
    let request = dialog.request();
    assert_eq!(request.renditions, ["mapped"]);
    assert_eq!((request.format, request.long_edge), (Format::Png, 1200));
    dialog.click(Role::RadioButton, "Folder");
    assert_eq!(dialog.name(), "lantern-shell-in-three-lines-page");
    // What a page has no use for is not offered.
    for label in ["Dark", "PDF", "Divided"] {
        assert!(dialog.harness.query_by_label(label).is_none(), "{label}");
    }
    dialog.click(Role::Button, "Save");
    let asked = dialog.harness.state().asked.iter();
    assert_eq!(asked.filter(|ask| matches!(ask, Ask::Draw(_))).count(), 1);
}

#[test]
fn what_stands_in_the_way_is_said_before_anything_starts() {
    let mut dialog = dialog();
    assert!(dialog.can_save());
    dialog.click(Role::CheckBox, "natural");
    dialog.click(Role::CheckBox, "mapped");
    assert!(!dialog.can_save() && dialog.says("No rendition is chosen."));
    dialog.click(Role::CheckBox, "mapped");
    assert!(dialog.can_save());
    let there = dialog.folder.path().join(dialog.name());
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
    let folder = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-stacks/lantern");
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
    }
    let recipe = folder.path().join("lantern.toml");
    let mut harness = Harness::builder()
        .with_size([1440.0, 900.0])
        .with_max_steps(30)
        .with_context_setup(|context| theme::set_up(context, Theme::Dark))
        .build_eframe(move |_| App::new(Worker::inline(), Opening::Files(vec![recipe])));
    harness.run_steps(6);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::K);
    harness.run_steps(3);
    harness
        .get_by_role_and_label(Role::TextInput, "Search commands")
        .type_text("page to share");
    harness.run_steps(2);
    harness.key_press(Key::Enter);
    harness.run_steps(3);
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
