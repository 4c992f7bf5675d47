//! The white balance: measured on the desk, taken up as one step.

use egui::Context;

use super::app::{App, Purpose};
use super::files::Purpose as Choosing;
use super::state::Picking;
use crate::engine::recipe::Balance;
use crate::work::desk::{BalanceBy, Job, Ticket};
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
        let layers = recipe
            .channels
            .iter()
            .map(|channel| self.state.layers.get(&channel.id).cloned())
            .collect();
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
        match finishing::balanced(self.state.recipe(), rendition, Some(balance)) {
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
