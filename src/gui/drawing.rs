//! The app's side of drawings about the picture: the draft, its job, and what
//! becomes of it.

use std::path::PathBuf;

use super::app::{App, Purpose};
use super::panels::drawing::{DrawingDraft, What, request};
use crate::work::desk::{Job, Ticket};

impl App {
    /// Opens the dialog of a drawing, with what suits the desk.
    pub(super) fn open_drawing(&mut self, what: What) {
        if self.state.recipe().channels.is_empty() {
            self.say("There is nothing to draw yet: open stacks first");
            return;
        }
        self.state.history.commit();
        let same = |draft: &DrawingDraft| draft.what == what && draft.ticket.is_some();
        if !self.drawing.as_ref().is_some_and(same) {
            self.drawing = Some(DrawingDraft::new(what, &self.state));
        }
    }

    /// Asks for what the draft says.
    pub(super) fn start_drawing(&mut self, mut draft: DrawingDraft) {
        draft.failed = None;
        draft.done.clear();
        draft.notices.clear();
        let drawing = request(&draft, &self.state);
        let verb = if draft.what == What::Page {
            "Making"
        } else {
            "Drawing"
        };
        let title = format!("{verb} {}", super::act::name_of(drawing.out()));
        let ticket = self.start(Job::Draw(Box::new(drawing)), &title, Purpose::Draw);
        draft.ticket = Some(ticket);
        self.drawing = Some(draft);
    }

    /// The user chose a place in the system's dialog.
    pub(super) fn drawing_path_chosen(&mut self, path: PathBuf) {
        if let Some(draft) = &mut self.drawing {
            draft.path = path.to_string_lossy().into_owned();
            draft.look_again();
        }
    }

    /// The file is written.
    pub(super) fn drawn(
        &mut self,
        ticket: Ticket,
        path: PathBuf,
        bytes: u64,
        notices: Vec<String>,
    ) {
        // Stopped a moment too late, it is there all the same.
        self.purposes.remove(&ticket);
        let size = crate::work::targets::bytes_words(bytes);
        self.say_made(format!("Saved {} ({size})", path.display()), &path);
        if let Some(draft) = &mut self.drawing
            && draft.ticket == Some(ticket)
        {
            draft.done.push(path);
            draft.notices = notices;
            draft.look_again();
        }
    }

    /// Whether the failure belongs to the dialog, which tells it itself.
    pub(super) fn drawing_failed(&mut self, ticket: Ticket, what: &str, hint: &str) -> bool {
        match &mut self.drawing {
            Some(draft) if draft.ticket == Some(ticket) => {
                draft.failed = Some((what.to_owned(), hint.to_owned()));
                draft.look_again();
                true
            }
            _ => false,
        }
    }
}
