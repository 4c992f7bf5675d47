//! How far a job is, and how to stop it.

use std::sync::atomic::{AtomicBool, Ordering};

use super::Error;

/// Someone who is told how far a job is.
pub trait Progress: Sync {
    /// `done` of `total` in the step called `step`. Called often, from any thread.
    fn report(&self, step: &str, done: u64, total: u64);
}

/// Nobody.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn report(&self, _: &str, _: u64, _: u64) {}
}

/// What a job is given to talk to the outside.
#[derive(Clone, Copy)]
pub struct Control<'a> {
    /// Told how far it is.
    pub progress: &'a dyn Progress,
    /// Set from elsewhere to stop it.
    pub cancel: &'a AtomicBool,
}

impl Control<'_> {
    /// Whether to go on.
    ///
    /// # Errors
    /// [`Error::Cancelled`] once someone has asked to stop.
    pub fn check(&self) -> Result<(), Error> {
        if self.cancel.load(Ordering::Relaxed) {
            Err(Error::Cancelled)
        } else {
            Ok(())
        }
    }
}
