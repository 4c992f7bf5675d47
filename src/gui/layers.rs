//! The app's side of channels in memory: which are asked for, which are on their
//! way, which could not be had.

use super::app::{App, Purpose};
use crate::work::desk::{Job, Ticket, Wanted, forget, keys, lacking};

/// What the last job of parts was to make.
pub(super) struct Parted {
    /// What renditions needed.
    wanted: Wanted,
    /// Channels of which it did not come, as far as that is known.
    left: Vec<String>,
    /// The user stopped it.
    stopped: bool,
}

impl App {
    /// The job brings every layer that is not there as the recipe wants it.
    pub(super) fn expect_all(&mut self, ticket: Ticket) {
        let recipe = self.state.recipe();
        for (channel, key) in recipe.channels.iter().zip(keys(recipe, &self.state.folder)) {
            let there = self.state.layers.get(&channel.id);
            if there.is_none_or(|layer| layer.key != key) {
                self.coming.insert(channel.id.clone(), (key, ticket));
            }
        }
        self.reconciled = None;
    }

    /// What a job was to bring and cannot is not asked for again.
    pub(super) fn refuse_rest(&mut self, ticket: Ticket, what: &str, hint: &str) {
        let rest: Vec<String> = self
            .coming
            .iter()
            .filter(|(_, (_, of))| *of == ticket)
            .map(|(id, _)| id.clone())
            .collect();
        for id in rest {
            if let Some((key, _)) = self.coming.remove(&id) {
                self.refused.insert(id.clone(), key);
                self.state
                    .failures
                    .insert(id, (what.to_owned(), hint.to_owned()));
            }
        }
    }

    /// Asks for layers that the recipe wants and nobody brings yet; takes away
    /// those that it no longer wants.
    pub(super) fn reconcile(&mut self) {
        if self.reconciled.as_ref() == Some(self.state.history.settled()) {
            return;
        }
        let recipe = self.state.history.settled().clone();
        let wanted = keys(&recipe, &self.state.folder);
        let ids = || recipe.channels.iter().map(|channel| &channel.id);
        self.state
            .layers
            .retain(|id, _| recipe.channel(id).is_some());
        self.state
            .failures
            .retain(|id, _| recipe.channel(id).is_some());
        let missing: Vec<String> = ids()
            .zip(&wanted)
            .filter(|(id, key)| {
                let there = self.state.layers.get(*id).is_some_and(|l| l.key == **key);
                let coming = self.coming.get(*id).is_some_and(|(of, _)| of == *key);
                let refused = self.refused.get(*id) == Some(*key);
                !there && !coming && !refused
            })
            .map(|(id, _)| id.clone())
            .collect();
        self.reconciled = Some(recipe.clone());
        self.mend_view();
        if missing.is_empty() {
            self.part();
            return;
        }
        self.give_parts_up();
        let job = Job::Load {
            recipe: recipe.clone(),
            folder: self.state.folder.clone(),
            channels: missing.clone(),
        };
        let ticket = self.start(job, "Reading channels", Purpose::Load);
        for (id, key) in ids().zip(wanted) {
            if missing.contains(id) {
                self.coming.insert(id.clone(), (key, ticket));
            }
        }
    }

    // Asks for what renditions need beside the channels' values, once these are
    // there; what is being made and no longer wanted is given up.
    fn part(&mut self) {
        // Channels that are replaced meanwhile would get parts of the old ones.
        let replaces = |purpose: &Purpose| {
            matches!(
                purpose,
                Purpose::Open { .. } | Purpose::Load | Purpose::Prepare
            )
        };
        if self.purposes.values().any(replaces) {
            return;
        }
        let recipe = self.state.history.settled().clone();
        let wanted = Wanted::by(&recipe, &self.state.folder);
        let same = self.parted.as_ref().filter(|last| last.wanted == wanted);
        let mut running = self.purposes.values();
        if running.any(|purpose| *purpose == Purpose::Parts) {
            let serves = |last: &Parted| last.wanted.serves(&wanted);
            if !self.parted.as_ref().is_some_and(serves) {
                self.give_parts_up();
            }
            return;
        }
        // What was asked for and did not come is not asked for again; a channel
        // that came into memory since is.
        forget(&recipe, &mut self.state.layers);
        let lacking = lacking(&recipe, &self.state.layers);
        let known = same.filter(|last| lacking.iter().all(|id| last.left.contains(id)));
        self.state.parts_stopped = !lacking.is_empty() && known.is_some_and(|last| last.stopped);
        if lacking.is_empty() || known.is_some() {
            return;
        }
        self.parted = Some(Parted {
            wanted,
            left: lacking,
            stopped: false,
        });
        let job = Job::Parts {
            recipe,
            folder: self.state.folder.clone(),
            layers: self.state.layers.clone(),
        };
        self.start(job, "Telling stars and noise apart", Purpose::Parts);
        self.state.parts_pending = true;
    }

    /// The job that made parts is over: what did not come of it is left.
    pub(super) fn parts_finished(&mut self, stopped: bool) {
        self.state.parts_pending = false;
        let left = lacking(self.state.history.settled(), &self.state.layers);
        if let Some(last) = &mut self.parted {
            (last.stopped, last.left) = (stopped, left);
        }
        if stopped && self.parted.is_some() {
            self.say("Stopped");
        }
    }

    /// What was stopped is made after all.
    pub(super) fn go_on_with_parts(&mut self) {
        self.parted = None;
        self.reconciled = None;
    }

    /// Stops what is made of channels that go: what comes in their place would
    /// wait for it. What is lacking then is asked for anew.
    pub(super) fn give_parts_up(&mut self) {
        let all = self.purposes.iter();
        for (ticket, _) in all.filter(|(_, purpose)| **purpose == Purpose::Parts) {
            self.worker.cancel(*ticket);
        }
        self.parted = None;
    }
}

#[cfg(test)]
mod tests;
