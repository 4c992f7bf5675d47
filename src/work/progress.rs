//! How far a job is, and how to stop it.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, Ordering};

use super::Error;
use crate::engine::frame::RowsError;

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

impl<'a> Control<'a> {
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

    /// What a long step of the engine is given: tells how far the step is, then
    /// breaks off once someone has asked to stop.
    pub fn tick(self, step: impl Into<String>) -> impl Fn(usize, usize) -> ControlFlow<()> + Sync {
        let step = step.into();
        move |done, total| {
            self.progress.report(&step, done as u64, total as u64);
            match self.check() {
                Ok(()) => ControlFlow::Continue(()),
                Err(_) => ControlFlow::Break(()),
            }
        }
    }

    /// The same for a step over `height` rows that can fail in reading them.
    pub fn row_tick(
        self,
        step: impl Into<String>,
        height: usize,
    ) -> impl Fn(usize) -> Result<(), RowsError> + Sync {
        let step = step.into();
        move |row| {
            self.progress.report(&step, row as u64, height as u64);
            self.check_rows()
        }
    }

    /// Whether to go on reading rows.
    ///
    /// # Errors
    /// Once someone has asked to stop.
    pub fn check_rows(&self) -> Result<(), RowsError> {
        self.check().map_err(|_| RowsError {
            message: "stopped".to_owned(),
            hint: String::new(),
        })
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;

    #[derive(Default)]
    struct Heard(Mutex<Vec<(String, u64, u64)>>);

    impl Progress for Heard {
        fn report(&self, step: &str, done: u64, total: u64) {
            let mut told = self.0.lock().expect("no one panicked");
            told.push((step.to_owned(), done, total));
        }
    }

    #[test]
    fn a_tick_tells_and_breaks_off_when_asked_to() {
        let (heard, cancel) = (Heard::default(), AtomicBool::new(false));
        let control = Control {
            progress: &heard,
            cancel: &cancel,
        };
        let (tick, rows) = (control.tick("ha: sky"), control.row_tick("ha: aligning", 9));
        assert_eq!(tick(1, 3), ControlFlow::Continue(()));
        assert_eq!(rows(4), Ok(()));
        cancel.store(true, Ordering::Relaxed);
        assert_eq!(tick(2, 3), ControlFlow::Break(()));
        assert!(rows(5).is_err());
        let told = heard.0.lock().expect("no one panicked");
        let expected = [
            ("ha: sky", 1, 3),
            ("ha: aligning", 4, 9),
            ("ha: sky", 2, 3),
            ("ha: aligning", 5, 9),
        ];
        assert_eq!(
            *told,
            expected.map(|(step, done, total)| (step.to_owned(), done, total))
        );
    }
}
