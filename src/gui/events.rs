//! What the desk tells becomes what the window knows.

use std::path::Path;
use std::sync::Arc;

use egui::Context;

use super::app::{App, Purpose};
use super::dialogs::Dialog;
use super::state::{FileRow, LineMap, Running};
use crate::engine::recipe::Recipe;
use crate::work::desk::{Event, Job, Layer, RowState, Ticket};

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
                is_kept,
                ratio,
                notices,
            } => {
                self.opened(ticket, *recipe, &folder, path.as_deref(), is_kept);
                if let Some(ratio) = ratio {
                    self.state.view.map = Some(LineMap::Ratio(*ratio));
                }
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
                // It comes without its parts, however alike the last one was.
                self.parted = None;
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
                    || self.picking_failed(ticket, &what, &hint)
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
                (Purpose::Parts, _) => self.parts_finished(cancelled),
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

    pub(super) fn tell_all(&mut self, notices: Vec<String>) {
        for notice in notices {
            if !self.state.notices.contains(&notice) {
                self.state.notices.push(notice);
            }
        }
    }
}
