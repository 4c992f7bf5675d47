//! The system's file dialogs: they are asked, and what they bring is taken up.

use std::path::{Path, PathBuf};

use egui::Context;

use super::name_of;
use crate::gui::app::App;
use crate::gui::dialogs::Dialog;
use crate::gui::files::{Picked, Purpose as Picking};
use crate::work::balance::BalanceBy;
use crate::work::inputs::folder_of;

impl App {
    pub(super) fn ask_open(&mut self, context: &Context) {
        let folder = self.state.folder.clone();
        self.pickers.ask(context, Picking::Open, &folder, "");
        self.say("Waiting for the file dialog; Ctrl+Shift+O types a path instead");
    }

    /// What the system's dialogs brought.
    pub(in crate::gui) fn take_picked(&mut self, context: &Context) {
        let Some(picked) = self.pickers.picked() else {
            return;
        };
        self.say("");
        match picked {
            Picked::Paths(Picking::Open, paths) => self.open_or_ask(paths),
            Picked::Paths(Picking::SaveAs, paths) => {
                if let Some(path) = paths.into_iter().next() {
                    self.save_to(context, &with_ending(path));
                }
            }
            Picked::Paths(Picking::Catalogue, paths) => {
                if let Some(path) = paths.into_iter().next() {
                    self.balance(BalanceBy::Catalogue(path));
                }
            }
            Picked::Paths(Picking::Export, paths) => {
                if let Some(path) = paths.into_iter().next() {
                    self.export_path_chosen(path);
                }
            }
            Picked::Paths(Picking::Drawing, paths) => {
                if let Some(path) = paths.into_iter().next() {
                    self.drawing_path_chosen(path);
                }
            }
            Picked::Nothing(_) => self.after_save = None,
            Picked::Unavailable(Picking::Export | Picking::Drawing, why) => self.say(format!(
                "There is no file dialog here ({why}); type the path instead"
            )),
            Picked::Unavailable(purpose, why) => {
                let text = if purpose == Picking::SaveAs {
                    self.suggested_path().to_string_lossy().into_owned()
                } else {
                    String::new()
                };
                let mut dialog = Dialog::path(purpose, text);
                dialog.note(format!("The system shows no file dialog here: {why}"));
                self.dialog = Some(dialog);
            }
        }
    }

    pub(super) fn choose_export_path(&mut self, context: &Context) {
        if let Some(draft) = &self.export {
            let path = self.state.folder.join(draft.path.trim());
            self.choose_path(context, Picking::Export, &path);
        }
    }

    pub(super) fn choose_drawing_path(&mut self, context: &Context) {
        if let Some(draft) = &self.drawing {
            let path = draft.target(&self.state);
            self.choose_path(context, Picking::Drawing, &path);
        }
    }

    fn choose_path(&mut self, context: &Context, purpose: Picking, path: &Path) {
        let name = name_of(path);
        self.pickers.ask(context, purpose, folder_of(path), &name);
        self.say("Waiting for the file dialog; the path can be typed as well");
    }
}

fn with_ending(path: PathBuf) -> PathBuf {
    if path.extension().is_some() {
        path
    } else {
        path.with_extension("toml")
    }
}
