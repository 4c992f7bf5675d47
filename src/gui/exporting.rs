//! The app's side of exports: the draft, its jobs, and what becomes of them.

use std::path::PathBuf;

use super::app::{App, Purpose};
use super::panels::export::{ExportDraft, requests};
use crate::work::desk::{Job, Ticket};
use crate::work::estimate::{Sample, Shape, estimate};

impl App {
    /// Opens the dialog, with what suits the desk or what runs already.
    pub(super) fn open_export(&mut self) {
        if self.state.layers.is_empty() {
            self.say("There is nothing to export yet: open stacks first");
            return;
        }
        self.state.history.commit();
        if self.export.is_none() {
            self.export = Some(ExportDraft::new(&self.state));
        }
    }

    /// How large the files will be, told anew whenever the draft changes.
    pub(super) fn estimate_export(&mut self) {
        let Some(draft) = &mut self.export else {
            self.estimated = None;
            return;
        };
        let (Some(format), Some(size)) = (draft.format(), draft.size(&self.state)) else {
            draft.estimate = None;
            return;
        };
        let shape = Shape {
            size,
            format,
            depth: draft.depth,
            space: draft.space,
            options: draft.options,
        };
        let wanted = (draft.renditions.clone(), shape);
        if self.estimated.as_ref() == Some(&wanted) {
            return;
        }
        let recipe = self.state.history.settled();
        let layers: Vec<_> = recipe
            .channels
            .iter()
            .map(|channel| self.state.layers.get(&channel.id).cloned())
            .collect();
        let (mut least, mut most) = (0, 0);
        for id in &draft.renditions {
            let sample = recipe.rendition(id).map(|rendition| Sample {
                recipe,
                rendition,
                layers: &layers,
            });
            let range = estimate(&shape, sample.as_ref());
            least += range.start();
            most += range.end();
        }
        draft.estimate = (most > 0).then_some((least, most));
        self.estimated = Some(wanted);
    }

    /// Asks for what the draft says.
    pub(super) fn start_export(&mut self, mut draft: ExportDraft) {
        draft.failed = None;
        draft.done.clear();
        draft.tickets.clear();
        for request in requests(&draft, &self.state) {
            let title = format!("Exporting {}", super::act::name_of(&request.out));
            let ticket = self.start(Job::Export(Box::new(request)), &title, Purpose::Export);
            draft.tickets.push(ticket);
        }
        self.export = Some(draft);
    }

    /// The user chose a place in the system's dialog.
    pub(super) fn export_path_chosen(&mut self, path: PathBuf) {
        if let Some(draft) = &mut self.export {
            draft.path = path.to_string_lossy().into_owned();
            draft.look_again();
        }
    }

    /// A composite and its record are written.
    pub(super) fn exported(&mut self, ticket: Ticket, path: PathBuf, bytes: u64) {
        // Stopped a moment too late, it is there all the same.
        self.purposes.remove(&ticket);
        let size = crate::work::targets::bytes_words(bytes);
        self.say_made(format!("Exported {} ({size})", path.display()), &path);
        if let Some(draft) = &mut self.export
            && draft.tickets.contains(&ticket)
        {
            draft.done.push(path);
            draft.look_again();
        }
    }

    /// Whether the failure belongs to the export dialog, which tells it itself.
    pub(super) fn export_failed(&mut self, ticket: Ticket, what: &str, hint: &str) -> bool {
        match &mut self.export {
            Some(draft) if draft.tickets.contains(&ticket) => {
                draft.failed = Some((what.to_owned(), hint.to_owned()));
                draft.look_again();
                true
            }
            _ => false,
        }
    }
}
