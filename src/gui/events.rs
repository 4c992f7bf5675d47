//! What the desk tells becomes what the window knows.

use std::path::Path;
use std::sync::Arc;

use egui::Context;

use super::app::{App, Purpose};
use super::dialogs::Dialog;
use super::state::{FileRow, Running};
use crate::engine::recipe::Recipe;
use crate::work::desk::{Event, Job, Layer, RowState, Ticket, Wanted, keys, lacking};
use crate::work::history::History;

impl App {
    /// Takes in all that has come since the last time.
    pub(super) fn take_events(&mut self, context: &Context) {
        for event in self.worker.events() {
            self.take_event(context, event);
        }
    }

    fn take_event(&mut self, context: &Context, event: Event) {
        match event {
            Event::Progress {
                ticket,
                channel,
                step,
                share,
            } => self.progress(ticket, channel, step, share),
            Event::Row {
                ticket,
                path,
                state,
            } => self.row(ticket, &path, state),
            Event::Opened {
                ticket,
                recipe,
                folder,
                path,
                notices,
            } => {
                self.opened(ticket, *recipe, &folder, path.as_deref());
                self.tell_all(notices);
            }
            Event::Stretched {
                channel, stretch, ..
            } => {
                let change = |recipe: &mut Recipe| {
                    if let Some(found) = recipe.channels.iter_mut().find(|c| c.id == channel) {
                        found.stretch = stretch.clone();
                    }
                };
                self.state.history.amend(change);
                if let Some(saved) = &mut self.state.saved {
                    change(saved);
                }
            }
            Event::Layer { channel, layer, .. } => {
                self.state.failures.remove(&channel);
                self.refused.remove(&channel);
                self.state.rows.retain(
                    |row| !matches!(&row.state, RowState::Taken { channel: id } if *id == channel),
                );
                self.coming.remove(&channel);
                self.state.layers.insert(channel, layer);
            }
            Event::Parts {
                channel,
                key,
                parts,
                notices,
                ..
            } => {
                let layer = self.state.layers.get_mut(&channel);
                if let Some(layer) = layer.filter(|layer| layer.key == *key) {
                    *layer = Arc::new(Layer {
                        parts: *parts,
                        ..Layer::clone(layer)
                    });
                }
                self.tell_all(notices);
            }
            Event::Prepared {
                recipe,
                steps,
                notices,
                ticket,
            } => {
                self.prepared(ticket, &recipe);
                self.state.prepared = steps;
                self.tell_all(notices);
            }
            Event::Balanced {
                ticket,
                rendition,
                balance,
                notices,
            } => {
                self.balanced(ticket, &rendition, balance);
                self.tell_all(notices);
            }
            Event::Suggested {
                rendition,
                colors,
                words,
                ..
            } => self.suggested(context, &rendition, &colors, words),
            Event::Exported {
                path,
                bytes,
                ticket,
                ..
            } => self.exported(ticket, path, bytes),
            Event::Drawn {
                ticket,
                path,
                bytes,
                notices,
            } => self.drawn(ticket, path, bytes, notices),
            Event::ChannelFailed {
                channel,
                what,
                hint,
                ..
            } => {
                if let Some((key, _)) = self.coming.remove(&channel) {
                    self.refused.insert(channel.clone(), key);
                }
                self.state.failures.insert(channel, (what, hint));
            }
            Event::Failed { what, hint, ticket } => {
                self.refuse_rest(ticket, &what, &hint);
                if self.export_failed(ticket, &what, &hint)
                    || self.drawing_failed(ticket, &what, &hint)
                    || self.suggestion_failed(ticket, &what, &hint)
                {
                    return;
                }
                self.dialog = Some(Dialog::Problem { what, hint });
            }
            Event::Finished { ticket, cancelled } => self.finished(ticket, cancelled),
            Event::Picture {
                slot,
                generation,
                picture,
            } => self.picture(context, slot, generation, picture),
        }
    }

    fn progress(&mut self, ticket: Ticket, channel: Option<String>, step: String, share: f32) {
        if let Some(name) = &channel {
            for row in &mut self.state.rows {
                let is_it = row.path.to_string_lossy() == *name
                    || matches!(&row.state, RowState::Taken { channel: id } if id == name);
                if row.ticket == ticket && is_it {
                    row.share = share;
                }
            }
        }
        if let Some(job) = self.state.jobs.iter_mut().find(|job| job.ticket == ticket) {
            job.step = step;
            job.channel = channel;
            job.share = share;
        }
    }

    fn row(&mut self, ticket: Ticket, path: &Path, state: RowState) {
        if let RowState::Taken { channel } = &state
            && self.state.layers.contains_key(channel)
        {
            self.state.rows.retain(|row| row.path != path);
            return;
        }
        match self.state.rows.iter_mut().find(|row| row.path == path) {
            Some(row) => {
                row.state = state;
                row.ticket = ticket;
            }
            None => self.state.rows.push(FileRow {
                path: path.into(),
                ticket,
                state,
                share: 0.0,
            }),
        }
    }

    fn opened(&mut self, ticket: Ticket, recipe: Recipe, folder: &Path, path: Option<&Path>) {
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
            self.state.saved = path.map(|_| recipe.clone());
            self.state.history = History::new("Open", recipe);
        }
        self.expect_all(ticket);
        self.mend_view();
    }

    fn prepared(&mut self, ticket: Ticket, recipe: &Recipe) {
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

    // The job brings every layer that is not there as the recipe wants it.
    fn expect_all(&mut self, ticket: Ticket) {
        let recipe = self.state.recipe();
        for (channel, key) in recipe.channels.iter().zip(keys(recipe, &self.state.folder)) {
            let there = self.state.layers.get(&channel.id);
            if there.is_none_or(|layer| layer.key != key) {
                self.coming.insert(channel.id.clone(), (key, ticket));
            }
        }
        self.reconciled = None;
    }

    fn refuse_rest(&mut self, ticket: Ticket, what: &str, hint: &str) {
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

    fn finished(&mut self, ticket: Ticket, cancelled: bool) {
        if cancelled {
            self.refuse_rest(ticket, "stopped", "press Retry to read it after all");
        } else {
            // Nothing more comes of it.
            self.coming.retain(|_, (_, of)| *of != ticket);
        }
        self.state.jobs.retain(|job| job.ticket != ticket);
        if let Some(purpose) = self.purposes.remove(&ticket) {
            match (purpose, cancelled) {
                (Purpose::Export, true) => self.say("The export was stopped; nothing was written"),
                (Purpose::Parts, _) => self.state.parts_pending = false,
                (Purpose::Draw, true) => self.say("The drawing was stopped; nothing was written"),
                (_, true) => self.say("Stopped"),
                (Purpose::Prepare, false) => self.say("Prepared"),
                _ => {}
            }
        }
        self.reconciled = None;
    }

    /// Asks for a job and lists it among those that run.
    pub(super) fn start(&mut self, job: Job, title: &str, purpose: Purpose) -> Ticket {
        let ticket = self.worker.ask(job);
        self.purposes.insert(ticket, purpose);
        self.state.jobs.push(Running {
            ticket,
            title: title.to_owned(),
            step: String::new(),
            channel: None,
            share: 0.0,
        });
        ticket
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
        let has = |purpose: Purpose| self.purposes.values().any(|own| *own == purpose);
        if has(Purpose::Load) {
            return;
        }
        let recipe = self.state.history.settled().clone();
        let wanted = Wanted::by(&recipe, &self.state.folder);
        let same = self
            .parted
            .as_ref()
            .is_some_and(|(last, _)| *last == wanted);
        if has(Purpose::Parts) {
            let running = self
                .purposes
                .iter()
                .filter(|(_, own)| **own == Purpose::Parts);
            for (ticket, _) in running.filter(|_| !same) {
                self.worker.cancel(*ticket);
            }
            return;
        }
        // What was asked for and did not come is not asked for again; a channel
        // that came into memory since is.
        let lacking = lacking(&recipe, &self.state.layers);
        let asked = (wanted, lacking);
        if asked.1.is_empty() || self.parted.as_ref() == Some(&asked) {
            return;
        }
        self.parted = Some(asked);
        let job = Job::Parts {
            recipe,
            folder: self.state.folder.clone(),
            layers: self.state.layers.clone(),
        };
        self.start(job, "Telling stars and noise apart", Purpose::Parts);
        self.state.parts_pending = true;
    }

    pub(super) fn tell_all(&mut self, notices: Vec<String>) {
        for notice in notices {
            if !self.state.notices.contains(&notice) {
                self.state.notices.push(notice);
            }
        }
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
