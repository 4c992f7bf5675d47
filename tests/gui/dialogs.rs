//! A dialog that makes files, on its own: what every test does with one.

use std::cell::RefCell;
use std::rc::Rc;

use egui::accesskit::Role;
use egui::{Key, Modifiers, Ui};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::gui::asks::{Ask, Asks};
use linehue::gui::panels::drawing::{self, DrawingDraft, What};
use linehue::gui::state::State;
use linehue::work::desk::Drawing;

use super::support::{Stage, panel, sample};

pub struct Dialog<Draft> {
    pub harness: Harness<'static, Stage>,
    pub draft: Rc<RefCell<Draft>>,
    pub folder: tempfile::TempDir,
}

/// The dialog of a drawing on the sample field, which `change` makes ready.
pub fn drawing(what: What, change: impl FnOnce(&mut State)) -> Dialog<DrawingDraft> {
    let draft = |state: &mut State| {
        change(state);
        DrawingDraft::new(what, state)
    };
    Dialog::new(draft, drawing::show)
}

impl<Draft: 'static> Dialog<Draft> {
    /// On the sample field in a folder of its own, so that nothing is overwritten.
    pub fn new(
        draft: impl FnOnce(&mut State) -> Draft,
        show: fn(&mut Ui, &State, &mut Draft, &mut Asks),
    ) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut state = sample();
        state.folder = folder.path().to_owned();
        state.path = Some(folder.path().join("lantern.toml"));
        let draft = Rc::new(RefCell::new(draft(&mut state)));
        let inside = Rc::clone(&draft);
        let mut harness = panel(state, [700.0, 900.0], move |ui, state, asks| {
            show(ui, state, &mut inside.borrow_mut(), asks);
        });
        harness.run();
        Self {
            harness,
            draft,
            folder,
        }
    }

    pub fn click(&mut self, role: Role, label: &str) {
        self.harness.get_by_role_and_label(role, label).click();
        self.harness.run();
    }

    pub fn number(&mut self, label: &str, value: f64) {
        let field = self.harness.get_by_role_and_label(Role::SpinButton, label);
        field.set_value_accesskit(value);
        self.harness.run();
    }

    pub fn key(&mut self, key: Key) {
        self.harness.key_press(key);
        self.harness.run();
    }

    pub fn type_path(&mut self, text: &str) {
        self.harness
            .get_by_role_and_label(Role::TextInput, "File")
            .focus();
        self.harness.run();
        self.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
        self.harness.run();
        self.harness
            .get_by_role_and_label(Role::TextInput, "File")
            .type_text(text);
        self.harness.run();
    }

    pub fn says(&self, words: &str) -> bool {
        let mut found = self.harness.query_all_by_label_contains(words);
        found.next().is_some()
    }

    pub fn can_save(&self) -> bool {
        let button = self.harness.get_by_role_and_label(Role::Button, "Save");
        !button.accesskit_node().is_disabled()
    }
}

impl Dialog<DrawingDraft> {
    pub fn path(&self) -> String {
        self.draft.borrow().path.clone()
    }

    pub fn request(&self) -> Drawing {
        drawing::request(&self.draft.borrow(), &self.harness.state().state)
    }

    /// How often the drawing was asked for.
    pub fn asked(&self) -> usize {
        let asked = self.harness.state().asked.iter();
        asked.filter(|ask| matches!(ask, Ask::Draw(_))).count()
    }
}
