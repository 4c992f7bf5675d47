//! Renditions come and go.

use crate::engine::recipe::Rendition;
use crate::gui::app::App;
use crate::gui::panels::canvas::tabs::{free_id, insert, natural};

impl App {
    pub(super) fn add_rendition(&mut self, copy: bool) {
        let mut recipe = self.state.recipe().clone();
        if recipe.channels.is_empty() {
            return;
        }
        let shown = self.state.rendition().cloned();
        let base = match (&shown, copy) {
            (Some(shown), true) => shown.clone(),
            _ => natural(&recipe),
        };
        let id = free_id(&recipe, &base.id);
        let new = Rendition {
            id: id.clone(),
            ..base
        };
        insert(&mut recipe, shown.as_ref().map(|own| own.id.as_str()), new);
        self.state.history.set(format!("Add {id}"), recipe);
        self.show_rendition(id);
    }

    pub(super) fn delete_rendition(&mut self) {
        let mut recipe = self.state.recipe().clone();
        if recipe.renditions.len() < 2 {
            self.say("The last rendition stays: there would be no picture");
            return;
        }
        let id = self.state.view.rendition.clone();
        recipe.renditions.retain(|rendition| rendition.id != id);
        self.state
            .history
            .set(format!("Delete rendition {id}"), recipe);
        self.say(format!("Rendition {id} deleted; Ctrl+Z brings it back"));
        self.mend_view();
    }
}
