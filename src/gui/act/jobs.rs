//! Jobs that the user starts and stops by hand.

use crate::gui::app::{App, Purpose};
use crate::work::desk::Job;

impl App {
    pub(super) fn prepare(&mut self) {
        if self.state.recipe().channels.is_empty() {
            self.say("There is nothing to prepare: open stacks first");
            return;
        }
        if self
            .purposes
            .values()
            .any(|purpose| *purpose == Purpose::Prepare)
        {
            self.say("Preparing goes on already");
            return;
        }
        self.state.history.commit();
        self.give_parts_up();
        let job = Job::Prepare {
            recipe: self.state.recipe().clone(),
            folder: self.state.folder.clone(),
        };
        self.start(job, "Preparing", Purpose::Prepare);
    }

    /// Leaves what is going on: the first hints, a click that is waited for, one channel alone, a
    /// map; then the jobs.
    pub(super) fn step_back(&mut self) {
        if self.state.hint.take().is_some() {
            self.hints_seen();
        } else if self.state.picking.is_some() {
            self.pick(None);
        } else if self.state.solo.is_some() || self.state.view.sky.is_some() {
            self.state.solo = None;
            self.state.view.sky = None;
        } else if self.state.view.probe.is_some() {
            self.state.view.probe = None;
        } else if self.state.view.map.is_some() && self.state.jobs.is_empty() {
            self.state.view.map = None;
        } else {
            for job in &self.state.jobs {
                self.worker.cancel(job.ticket);
            }
        }
    }
}
