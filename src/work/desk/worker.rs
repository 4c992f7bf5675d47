//! The threads behind the window.

use super::{Event, Job, Ticket};
use crate::work::preview::Request;

/// Runs jobs and draws pictures behind the window.
pub struct Worker {
    last: Ticket,
    events: Vec<Event>,
}

impl Worker {
    /// Starts the threads; `wake` is called when an event has come.
    pub fn spawn(wake: impl Fn() + Send + Sync + 'static) -> Self {
        let _ = wake;
        Self::inline()
    }

    /// Without threads: jobs run at once, in the caller. For tests.
    pub fn inline() -> Self {
        Self {
            last: 0,
            events: Vec::new(),
        }
    }

    /// Asks for a job.
    pub fn ask(&mut self, job: Job) -> Ticket {
        let _ = job;
        self.last += 1;
        self.last
    }

    /// Asks for a picture; an older request for the same slot is dropped.
    pub fn draw(&mut self, slot: u32, generation: u64, request: Request) {
        let _ = (slot, generation, request);
    }

    /// Stops a job.
    pub fn cancel(&self, ticket: Ticket) {
        let _ = ticket;
    }

    /// Stops what is done for one channel or file (its id, or its path) alone.
    pub fn cancel_part(&self, ticket: Ticket, part: &str) {
        let _ = (ticket, part);
    }

    /// What has come since the last time.
    pub fn events(&mut self) -> Vec<Event> {
        std::mem::take(&mut self.events)
    }
}
