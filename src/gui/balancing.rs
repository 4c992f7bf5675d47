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
        let is_it = |purpose: &Purpose| matches!(purpose, Purpose::Balance(_));
        if self.purposes.values().any(is_it) {
            self.say("A white balance is being measured already");
            return;
        }
        self.state.history.commit();
        let recipe = self.state.recipe().clone();
        let layers = self.state.layers.clone();
        let words = by.words();
        let job = Job::Balance {
            recipe,
            layers,
            rendition,
            by,
        };
        self.start(job, "Measuring the white balance", Purpose::Balance(words));
    }

    /// A white balance has come.
    pub(super) fn balanced(&mut self, ticket: Ticket, rendition: &str, balance: Balance) {
        let label = match self.purposes.get(&ticket) {
            Some(Purpose::Balance(words)) => format!("White balance {words}"),
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

    /// The next click or drag on the picture takes something up, or not.
    pub(super) fn pick(&mut self, picking: Option<Picking>) {
        self.state.picking = picking;
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
        let purpose = Purpose::Balance(BalanceBy::Stars.words());
        app.purposes.insert(5, purpose);
        app.balanced(5, "one", measured());
        let label = app.state.history.undo_label();
        assert_eq!(label, Some("White balance by average star"));
        let own = &app.state.recipe().renditions[0];
        assert_eq!(own.balance, Some(measured()));
        app.state.history.undo();
        assert_eq!(*app.state.recipe(), before);
    }

    #[test]
    fn a_rendition_that_left_meanwhile_is_named() {
        let mut app = app();
        app.balanced(5, "another", measured());
        assert_eq!(app.state.history.undo_label(), None);
        assert!(app.state.said.contains("another"));
    }
}
