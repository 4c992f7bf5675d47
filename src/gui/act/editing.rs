//! Steps of the history: taken, undone and done again.

use crate::engine::recipe::Recipe;
use crate::gui::app::App;

impl App {
    pub(super) fn edit(&mut self, label: String, recipe: Recipe, ongoing: bool) {
        self.state.history.propose(label, recipe);
        if !ongoing {
            // What was said is of another recipe.
            self.say("");
            self.state.history.commit();
        }
        self.mend_view();
    }

    pub(super) fn undo(&mut self) {
        if let Some(label) = self.state.history.undo().map(str::to_owned) {
            self.say(format!("Undone: {label}"));
        }
        self.mend_view();
    }

    pub(super) fn redo(&mut self) {
        if let Some(label) = self.state.history.redo().map(str::to_owned) {
            self.say(format!("Done again: {label}"));
        }
        self.mend_view();
    }
}
