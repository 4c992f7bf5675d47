//! The app's side of opening and preparing: a recipe has come.

use std::path::Path;

use super::app::{App, Purpose};
use crate::engine::recipe::Recipe;
use crate::work::desk::Ticket;
use crate::work::history::History;

impl App {
    pub(super) fn opened(
        &mut self,
        ticket: Ticket,
        recipe: Recipe,
        folder: &Path,
        path: Option<&Path>,
        is_kept: bool,
    ) {
        let onto = matches!(
            self.purposes.get(&ticket),
            Some(Purpose::Open { onto: true })
        );
        if onto && !self.state.recipe().channels.is_empty() {
            let merged = joined(self.state.recipe(), &recipe);
            let more = merged.channels.len() - self.state.recipe().channels.len();
            if more > 0 {
                let label = format!("Add {more} stack{}", if more == 1 { "" } else { "s" });
                self.state.history.set(label, merged);
            }
        } else {
            self.state.clear_desk();
            self.refused.clear();
            folder.clone_into(&mut self.state.folder);
            self.state.path = path.map(Into::into);
            // What a file holds as it is has nothing to save.
            self.state.saved = is_kept.then(|| recipe.clone());
            self.state.history = History::new("Open", recipe);
        }
        self.expect_all(ticket);
        self.mend_view();
    }

    pub(super) fn prepared(&mut self, ticket: Ticket, recipe: &Recipe) {
        let mut now = self.state.recipe().clone();
        now.reference.clone_from(&recipe.reference);
        now.crop = recipe.crop;
        for channel in &mut now.channels {
            if let Some(done) = recipe.channel(&channel.id) {
                channel.align.clone_from(&done.align);
                channel.level.clone_from(&done.level);
                channel.stretch.clone_from(&done.stretch);
            }
        }
        self.state.history.set("Prepare", now);
        self.expect_all(ticket);
    }
}

// The channels that came in, and their colours, added to what is there.
fn joined(now: &Recipe, opened: &Recipe) -> Recipe {
    let mut joined = now.clone();
    for channel in &opened.channels {
        if joined.channel(&channel.id).is_some() {
            continue;
        }
        joined.channels.push(channel.clone());
        for rendition in &opened.renditions {
            let Some(color) = rendition.colors.get(&channel.id) else {
                continue;
            };
            if let Some(same) = joined.renditions.iter_mut().find(|r| r.id == rendition.id) {
                same.colors
                    .entry(channel.id.clone())
                    .or_insert(color.clone());
            }
        }
    }
    for rendition in &opened.renditions {
        if joined.rendition(&rendition.id).is_none() {
            joined.renditions.push(rendition.clone());
        }
    }
    joined
}
