//! The recipe is written to its file.

use std::path::{Path, PathBuf};

use egui::Context;

use super::name_of;
use crate::engine::recipe::Recipe;
use crate::gui::app::App;
use crate::gui::dialogs::Dialog;
use crate::gui::files::Purpose as Picking;
use crate::gui::panels::canvas::tabs::id_of;
use crate::work::desk::LayerKey;
use crate::work::inputs::{folder_of, relative};
use crate::work::recipe_file::{self, Written};

impl App {
    /// Saves to the recipe's own file, or asks where.
    pub(in crate::gui) fn save(&mut self, context: &Context) {
        match self.state.path.clone() {
            Some(path) => self.save_to(context, &path),
            None => self.ask_save_as(context),
        }
    }

    pub(super) fn ask_save_as(&mut self, context: &Context) {
        if self.state.recipe().channels.is_empty() {
            self.say("There is nothing to save yet");
            return;
        }
        let path = self.suggested_path();
        let name = name_of(&path);
        self.pickers
            .ask(context, Picking::SaveAs, folder_of(&path), &name);
        self.say("Waiting for the file dialog");
    }

    pub(super) fn suggested_path(&self) -> PathBuf {
        if let Some(path) = &self.state.path {
            return path.clone();
        }
        let about = &self.state.recipe().about;
        let words = [&about.title, &about.object];
        let words = words.iter().find(|words| !words.is_empty());
        let stem = words.map_or("picture".to_owned(), |words| as_id(words));
        self.state.folder.join(format!("{stem}.toml"))
    }

    /// Writes the recipe; paths of the stacks follow it to another folder.
    pub(in crate::gui) fn save_to(&mut self, context: &Context, path: &Path) {
        self.state.history.commit();
        let (old, new) = (self.state.folder.clone(), folder_of(path).to_owned());
        let moved = old.canonicalize().ok() != new.canonicalize().ok();
        let follow = |recipe: &mut Recipe| {
            if moved {
                for channel in &mut recipe.channels {
                    channel.file = relative(&new, &old.join(&channel.file));
                }
            }
        };
        let mut recipe = self.state.recipe().clone();
        follow(&mut recipe);
        match recipe_file::write(path, self.state.path.as_deref(), &recipe) {
            Ok(written) => {
                self.state.history.amend(follow);
                self.state.folder = new;
                self.state.path = Some(path.to_owned());
                self.state.saved = Some(recipe);
                for layer in self.state.layers.values_mut() {
                    let layer = std::sync::Arc::make_mut(layer);
                    rebase(&mut layer.key, &old, &self.state.folder);
                }
                self.reconciled = None;
                self.remember(&[path.to_owned()]);
                self.say(format!("Saved {}", name_of(path)));
                if written == Written::Anew {
                    self.tell_all(vec![format!(
                        "{}: written anew, because its own text could not be edited; comments in \
                         it are gone",
                        name_of(path)
                    )]);
                }
                if let Some(after) = self.after_save.take() {
                    self.go_on(context, after);
                }
            }
            Err(error) => {
                self.after_save = None;
                self.dialog = Some(Dialog::Problem {
                    what: format!("the recipe was not saved: {error}"),
                    hint: "choose another place with Save as; nothing of your work is lost"
                        .to_owned(),
                });
            }
        }
    }
}

// A layer's files under the names that they have from another folder.
fn rebase(key: &mut LayerKey, old: &Path, new: &Path) {
    for path in std::iter::once(&mut key.file).chain(&mut key.grid) {
        let file = path.strip_prefix(old).unwrap_or(path);
        *path = new.join(relative(new, &old.join(file)));
    }
}

// Words as an id, whatever they are.
fn as_id(words: &str) -> String {
    let id = id_of(words);
    if id.is_empty() {
        "unnamed".to_owned()
    } else {
        id
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_become_ids() {
        assert_eq!(as_id("My mix!"), "my-mix");
        assert_eq!(as_id("  Lantern Shell (2) "), "lantern-shell-2");
        assert_eq!(as_id("Ω"), "unnamed");
    }
}
