//! The white balance: measured on the desk, taken up as one step.

use egui::Context;

use super::app::{App, Purpose};
use super::files::Purpose as Choosing;
use super::state::Picking;
use crate::engine::recipe::Balance;
use crate::work::balance::BalanceBy;
use crate::work::desk::{Job, Ticket};
use crate::work::mixing::finishing;

impl App {
    /// Has the white balance of the shown rendition measured.
    pub(super) fn balance(&mut self, by: BalanceBy) {
        self.pick(None);
        let Some(rendition) = self.state.rendition().map(|rendition| rendition.id.clone()) else {
            return;
        };
        let is_it = |purpose: &Purpose| matches!(purpose, Purpose::Balance(..));
        if self.purposes.values().any(is_it) {
            self.say("A white balance is being measured already");
            return;
        }
        self.state.history.commit();
        let recipe = self.state.recipe().clone();
        let layers = self.state.layers.clone();
        let picked = match by {
            BalanceBy::Star(_) => Some(Picking::Star),
            BalanceBy::Patch(_) => Some(Picking::Patch),
            BalanceBy::Stars | BalanceBy::Catalogue(_) => None,
        };
        let purpose = Purpose::Balance(by.words(), picked);
        let job = Job::Balance {
            recipe,
            layers,
            rendition,
            by,
        };
        self.start(job, "Measuring the white balance", purpose);
    }

    /// A white balance has come.
    pub(super) fn balanced(&mut self, ticket: Ticket, rendition: &str, balance: Balance) {
        let label = match self.purposes.get(&ticket) {
            Some(Purpose::Balance(words, _)) => format!("White balance {words}"),
            _ => "White balance".to_owned(),
        };
        if self.state.recipe().rendition(rendition).is_none() {
            self.say(format!(
                "The white balance is for {rendition}, which is no longer there"
            ));
            return;
        }
        match crate::work::balance::balanced(self.state.recipe(), rendition, &balance) {
            Some(recipe) => {
                self.state.history.set(label.clone(), recipe);
                self.say(label);
            }
            None => self.say("The white balance that was measured is beyond any use"),
        }
    }

    /// Whether a ticket was for what was pointed at in the picture: then that is
    /// told on it, and something else may be pointed at.
    pub(super) fn picking_failed(&mut self, ticket: Ticket, what: &str, hint: &str) -> bool {
        let Some(Purpose::Balance(_, Some(picked))) = self.purposes.get(&ticket) else {
            return false;
        };
        // Whoever went on to something else is not called back.
        let is_waiting = self.state.picking.is_none()
            && self.state.solo.is_none()
            && self.state.view.sky.is_none();
        if !is_waiting {
            return false;
        }
        self.pick(Some(*picked));
        self.state.picking_problem = Some((what.to_owned(), hint.to_owned()));
        true
    }

    /// The next click or drag on the picture takes something up, or not.
    pub(super) fn pick(&mut self, picking: Option<Picking>) {
        self.state.picking = picking;
        self.state.picking_problem = None;
        if picking.is_some() {
            // The picture itself is pointed at.
            self.state.solo = None;
            self.state.view.sky = None;
            self.state.view.probe = None;
        }
    }

    /// The user picks a catalogue of stars.
    pub(super) fn choose_catalogue(&mut self, context: &Context) {
        let folder = self.state.folder.clone();
        self.pickers.ask(context, Choosing::Catalogue, &folder, "");
        self.say("Waiting for the file dialog");
    }

    /// The picture with all its noise, or without what is smoothed away.
    pub(super) fn before_noise(&mut self) {
        let view = &self.state.view;
        let smoothed = |rendition| finishing::is_smoothed(self.state.recipe(), rendition);
        if !view.before_noise && !self.state.rendition().is_some_and(smoothed) {
            self.say("No noise is smoothed away in this picture");
            return;
        }
        self.state.view.before_noise = !self.state.view.before_noise;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::{BalancedBy, text::parse};
    use crate::gui::app::Opening;
    use crate::work::desk::Worker;
    use crate::work::history::History;

    fn app() -> App {
        let text = "recipe = 1\n[[channel]]\nid = \"r\"\nfile = \"f\"\nline = \"R\"\n\
                    [channel.stretch]\nblack = 0\nwhite = 1\n\
                    [[rendition]]\nid = \"one\"\ncolors = { r = \"natural\" }\n";
        let mut app = App::new(Worker::inline(), Opening::Nothing);
        app.state.history = History::new("Open", parse(text, "test").expect("sound"));
        app
    }

    fn measured() -> Balance {
        Balance {
            gains: [1.2, 1.0, 0.9],
            sky: None,
            by: BalancedBy::Stars,
            uncertainty: Some([0.01; 3]),
            stars: Some(214),
            catalogue: None,
        }
    }

    #[test]
    fn what_was_measured_is_one_step_that_is_undone() {
        let mut app = app();
        let before = app.state.recipe().clone();
        let purpose = Purpose::Balance(BalanceBy::Stars.words(), None);
        app.purposes.insert(5, purpose);
        app.balanced(5, "one", measured());
        let label = app.state.history.undo_label();
        assert_eq!(label, Some("White balance by average star"));
        let own = &app.state.recipe().renditions[0];
        assert_eq!(own.balance, Some(measured()));
        app.state.history.undo();
        assert_eq!(*app.state.recipe(), before);
    }

    /// A click beside every star is told on the picture, and the next may follow.
    #[test]
    fn what_was_pointed_at_in_vain_is_pointed_at_again() {
        let mut app = app();
        let by = BalanceBy::Star([3.0, 4.0]);
        let purpose = Purpose::Balance(by.words(), Some(Picking::Star));
        app.purposes.insert(5, purpose);
        assert!(app.picking_failed(5, "no star is there", "click one"));
        assert_eq!(app.state.picking, Some(Picking::Star));
        assert!(app.state.picking_problem.is_some());
        app.pick(None);
        assert_eq!(app.state.picking_problem, None);
        let purpose = Purpose::Balance(BalanceBy::Stars.words(), None);
        app.purposes.insert(6, purpose);
        assert!(!app.picking_failed(6, "no stars", "take a patch"));
    }

    #[test]
    fn a_rendition_that_left_meanwhile_is_named() {
        let mut app = app();
        app.balanced(5, "another", measured());
        assert_eq!(app.state.history.undo_label(), None);
        assert!(app.state.said.contains("another"));
    }
}
