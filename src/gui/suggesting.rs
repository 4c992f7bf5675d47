//! The app's side of suggested colours: asked of the desk, taken up as one step.

use egui::Context;

use super::app::{App, Purpose};
use super::panels::mix;
use crate::engine::apart::suggest::Wish;
use crate::work::desk::{Job, Ticket};
use crate::work::suggest::{Colors, recolored};

impl App {
    /// Has colours for the shown rendition worked out.
    pub(super) fn suggest(&mut self, wish: Wish) {
        let Some(rendition) = self.state.rendition().map(|rendition| rendition.id.clone()) else {
            return;
        };
        if self.purposes.values().any(|own| *own == Purpose::Suggest) {
            self.say("Colours are being looked for already");
            return;
        }
        self.state.suggestion_problem = None;
        self.state.history.commit();
        let job = Job::Suggest {
            recipe: self.state.recipe().clone(),
            layers: self.state.layers.clone(),
            rendition,
            wish,
        };
        self.start(job, "Looking for colours", Purpose::Suggest);
    }

    /// Colours have come.
    pub(super) fn suggested(
        &mut self,
        context: &Context,
        rendition: &str,
        colors: &Colors,
        words: String,
    ) {
        if self.state.recipe().rendition(rendition).is_none() {
            self.say(format!(
                "The suggested colours are for {rendition}, which is no longer there"
            ));
            return;
        }
        match recolored(self.state.recipe(), rendition, colors) {
            Ok(recipe) if recipe == *self.state.recipe() => {
                self.say("No colours were found that keep these lines farther apart");
            }
            Ok(recipe) => {
                self.state.history.set("Suggested colours", recipe);
                self.say(words);
            }
            Err(error) => {
                self.state.suggestion_problem = Some((error.to_string(), error.hint()));
                return;
            }
        }
        mix::close_suggestion(context);
    }

    /// Whether the failure belongs to the form, which tells it itself.
    pub(super) fn suggestion_failed(&mut self, ticket: Ticket, what: &str, hint: &str) -> bool {
        let is_it = self.purposes.get(&ticket) == Some(&Purpose::Suggest);
        if is_it {
            self.state.suggestion_problem = Some((what.to_owned(), hint.to_owned()));
        }
        is_it
    }
}
