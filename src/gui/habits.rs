//! What the window keeps from one time to the next: palettes, recent files,
//! looks; and what it keeps in case it ends badly.

use std::path::PathBuf;

use super::app::App;
use crate::engine::palettes::Palette;
use crate::work::user_palettes;

impl App {
    /// Reads the user's own palettes anew.
    pub(super) fn read_palettes(&mut self) {
        let found = user_palettes::own();
        self.state.own_palettes = found.palettes;
        for problem in found.refused {
            self.state.notices.push(problem.to_string());
        }
    }

    /// Keeps a palette among the user's own.
    pub(super) fn save_palette(&mut self, palette: &Palette) {
        let saved = user_palettes::folder()
            .ok_or_else(no_folder)
            .and_then(|folder| {
                user_palettes::save(&folder, palette).map_err(|e| (e.to_string(), e.hint()))
            });
        match saved {
            Ok(path) => {
                self.state.palette_problem = None;
                self.say(format!(
                    "Palette {} kept as {}",
                    palette.name,
                    path.display()
                ));
                self.read_palettes();
            }
            Err(problem) => self.state.palette_problem = Some(problem),
        }
    }

    /// Takes one of the user's own palettes away.
    pub(super) fn remove_palette(&mut self, name: &str) {
        let removed = user_palettes::folder()
            .ok_or_else(no_folder)
            .and_then(|folder| {
                user_palettes::remove(&folder, name).map_err(|e| (e.to_string(), e.hint()))
            });
        self.state.palette_problem = removed.err();
        self.read_palettes();
    }

    /// A stretch that suits a channel, from its pixels in memory.
    pub(super) fn auto_stretch(&mut self, id: &str) {
        let Some(layer) = self.state.layers.get(id) else {
            return;
        };
        match crate::work::desk::auto_stretch(layer) {
            Ok(stretch) => {
                let recipe = self
                    .state
                    .with_channel(id, |channel| channel.stretch = stretch);
                self.state.history.set(format!("Auto stretch {id}"), recipe);
            }
            Err(problem) => self.say(problem),
        }
    }

    pub(super) fn remember(&mut self, paths: &[PathBuf]) {
        let _ = paths;
    }

    pub(super) fn hints_seen(&mut self) {}

    pub(super) fn closing(&mut self) {}
}

fn no_folder() -> (String, String) {
    (
        "there is no folder for palettes: the home folder is not known".to_owned(),
        "set HOME and try again".to_owned(),
    )
}
