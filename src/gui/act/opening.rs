//! Files, folders and recipes are opened.

use std::path::{Path, PathBuf};

use super::name_of;
use crate::gui::app::{After, App, Purpose};
use crate::gui::dialogs::Dialog;
use crate::work::desk::Job;

impl App {
    pub(super) fn open_sample(&mut self) {
        match sample_recipe() {
            Some(path) => self.open_or_ask(vec![path]),
            None => {
                self.dialog = Some(Dialog::Problem {
                    what: "the sample field is not where the program looks for it".to_owned(),
                    hint: "start Linehue in its source folder, or open sample-stacks/lantern/\
                           lantern.toml yourself"
                        .to_owned(),
                })
            }
        }
    }

    // A recipe replaces what lies on the desk: unsaved changes come first.
    pub(super) fn open_or_ask(&mut self, paths: Vec<PathBuf>) {
        let replaces = paths.iter().any(|path| is_recipe(path));
        if replaces && self.state.is_edited() {
            self.dialog = Some(Dialog::Unsaved(After::Open(paths)));
        } else {
            self.open(paths);
        }
    }

    /// Opens files without asking.
    pub(in crate::gui) fn open(&mut self, paths: Vec<PathBuf>) {
        self.open_with(paths, Vec::new());
    }

    pub(super) fn name_line(&mut self, path: PathBuf, line: String) {
        self.state.rows.retain(|row| row.path != path);
        let lines = vec![(path.clone(), line)];
        self.open_with(vec![path], lines);
    }

    fn open_with(&mut self, paths: Vec<PathBuf>, lines: Vec<(PathBuf, String)>) {
        if paths.is_empty() {
            return;
        }
        let replaces = paths.iter().any(|path| is_recipe(path));
        let onto = (!replaces && !self.state.recipe().channels.is_empty())
            .then(|| (self.state.recipe().clone(), self.state.folder.clone()));
        let purpose = Purpose::Open {
            onto: onto.is_some(),
        };
        self.give_parts_up();
        self.remember(&paths);
        let title = match paths.as_slice() {
            [one] => format!("Opening {}", name_of(one)),
            many => format!("Opening {} files", many.len()),
        };
        self.start(Job::Open { paths, onto, lines }, &title, purpose);
    }
}

/// Whether a path is a recipe or a record by its name.
fn is_recipe(path: &Path) -> bool {
    path.extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("toml") || ending == "json")
}

/// Where the sample field's recipe is.
fn sample_recipe() -> Option<PathBuf> {
    let inside = Path::new("sample-stacks/lantern/lantern.toml");
    let beside_program = std::env::current_exe().ok().and_then(|program| {
        let shared = program.parent()?.parent()?.join("share/linehue");
        Some(shared.join(inside))
    });
    [
        Some(inside.to_owned()),
        beside_program,
        Some(Path::new(env!("CARGO_MANIFEST_DIR")).join(inside)),
    ]
    .into_iter()
    .flatten()
    .find(|path| path.is_file())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sample_field_is_found() {
        assert!(sample_recipe().is_some());
    }

    #[test]
    fn recipes_are_told_by_their_ending() {
        assert!(is_recipe(Path::new("a/b.TOML")));
        assert!(is_recipe(Path::new("x.tif.record.json")));
        assert!(!is_recipe(Path::new("x.fits")));
    }
}
