//! What the window keeps from one time to the next: palettes, recent files,
//! looks; and what it keeps in case it ends badly.

use std::path::PathBuf;

use super::app::App;
use super::dialogs::Dialog;
use super::theme::Theme;
use crate::engine::palettes::Palette;
use crate::engine::recipe::Recipe;
use crate::work::balance;
use crate::work::keep::{Autosave, Offer, Recent, Settings, offers};
use crate::work::user_palettes;

/// The name under which the first hints count as seen.
const HINTS: &str = "first steps";

/// What is kept in the user's own folders.
pub struct Habits {
    settings: Settings,
    recent: Recent,
    autosave: Option<Autosave>,
    // What was last kept a copy of.
    kept: Option<Recipe>,
}

impl Habits {
    /// The user's.
    pub fn load() -> Self {
        Self {
            settings: Settings::load(),
            recent: Recent::load(),
            autosave: Autosave::open(),
            kept: None,
        }
    }
}

impl App {
    /// Takes up the user's habits: looks, recent files, hints, and work that an
    /// earlier window left behind.
    pub fn with_habits(mut self, habits: Habits) -> Self {
        let theme = Theme::ALL
            .into_iter()
            .find(|theme| theme.name() == habits.settings.theme);
        self.state.theme = theme.unwrap_or_default();
        self.state.recent = habits.recent.paths().to_vec();
        if !habits.settings.hints_seen.contains(HINTS) {
            self.state.hint = Some(0);
        }
        let left = offers();
        if !left.is_empty() {
            self.dialog = Some(Dialog::Recover(left));
        }
        self.habits = Some(habits);
        self
    }

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
        // Under a measured white balance red and blue go by green's stretch.
        let leads = balance::leading(self.state.recipe(), id).map(str::to_owned);
        let own = leads.as_deref().unwrap_or(id);
        let Some(layer) = self.state.layers.get(own) else {
            let own = own.to_owned();
            self.say(format!("{own} is not in memory yet"));
            return;
        };
        match crate::work::desk::auto_stretch(layer) {
            Ok(stretch) => {
                let old = self.state.recipe().clone();
                let mut recipe = self
                    .state
                    .with_channel(own, |channel| channel.stretch = stretch);
                let label = match &leads {
                    Some(_) => "Auto stretch R, G and B".to_owned(),
                    None => format!("Auto stretch {id}"),
                };
                let notices = leads.map(|_| balance::kept(&old, &mut recipe));
                self.state.history.set(label, recipe);
                match notices {
                    Some(notices) if notices.is_empty() => {
                        self.say(
                            "R, G and B now share one stretch, as their white balance requires",
                        );
                    }
                    Some(notices) => self.tell_all(notices),
                    None => {}
                }
            }
            Err(problem) => self.say(problem),
        }
    }

    /// Opened and saved files are remembered.
    pub(super) fn remember(&mut self, paths: &[PathBuf]) {
        let Some(habits) = &mut self.habits else {
            return;
        };
        for path in paths {
            // A list that cannot be written is no reason to stop anyone.
            habits.recent.add(path).ok();
        }
        self.state.recent = habits.recent.paths().to_vec();
    }

    /// The first hints do not come back.
    pub(super) fn hints_seen(&mut self) {
        if let Some(habits) = &mut self.habits {
            habits.settings.hints_seen.insert(HINTS.to_owned());
            habits.settings.save().ok();
        }
    }

    /// The looks are kept for the next time.
    pub(super) fn keep_theme(&mut self) {
        if let Some(habits) = &mut self.habits {
            habits.settings.theme = self.state.theme.name().to_owned();
            habits.settings.save().ok();
        }
    }

    /// A copy of unsaved work is kept after every step.
    pub(super) fn keep_copy(&mut self) {
        let Some(habits) = &mut self.habits else {
            return;
        };
        let settled = self.state.history.settled();
        if habits.kept.as_ref() == Some(settled) {
            return;
        }
        habits.kept = Some(settled.clone());
        let Some(autosave) = &mut habits.autosave else {
            return;
        };
        if settled.channels.is_empty() || self.state.saved.as_ref() == Some(settled) {
            autosave.clear();
        } else {
            let kept = autosave.keep(settled, &self.state.folder, self.state.path.as_deref());
            if let Err(error) = kept {
                self.state.said = format!("No copy of unsaved work could be kept: {error}");
            }
        }
    }

    /// The window closes at the user's will: no copy is needed.
    pub(super) fn closing(&mut self) {
        if let Some(Habits {
            autosave: Some(autosave),
            ..
        }) = &mut self.habits
        {
            autosave.clear();
        }
    }

    /// Takes up work that an earlier window left behind.
    pub(super) fn recover(&mut self, offer: Offer) {
        let Offer {
            recipe,
            folder,
            path,
            file,
            ..
        } = offer;
        self.state.clear_desk();
        self.state.saved = path
            .as_deref()
            .and_then(|path| std::fs::read_to_string(path).ok())
            .and_then(|text| crate::engine::recipe::text::parse(&text, "saved").ok());
        self.state.path = path;
        self.state.folder = folder;
        self.state.history = crate::work::history::History::new("Recovered", recipe);
        self.reconciled = None;
        self.mend_view();
        // Kept under this window's name first, so that it is never in no file.
        self.keep_copy();
        std::fs::remove_file(file).ok();
        self.say("Recovered; save it to keep it");
    }
}

fn no_folder() -> (String, String) {
    (
        "there is no folder for palettes: the home folder is not known".to_owned(),
        "set HOME and try again".to_owned(),
    )
}
