//! What a job tells, and how it hears that it is to stop.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use super::{Event, Ticket};
use crate::work::{Control, Error, Progress};

/// At most so often is it told how far a job is.
const BETWEEN: Duration = Duration::from_millis(50);

/// A lock whose holder cannot have left it half-changed.
pub fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What is to stop in one job.
#[derive(Debug, Default)]
pub struct Stops {
    whole: AtomicBool,
    parts: Mutex<Parts>,
}

#[derive(Debug, Default)]
struct Parts {
    /// Names that were stopped.
    named: BTreeSet<String>,
    /// Flags that were given out, by the names they go under.
    flags: BTreeMap<String, Vec<Arc<AtomicBool>>>,
}

impl Stops {
    /// Stops everything.
    pub fn stop(&self) {
        self.whole.store(true, Ordering::Relaxed);
        for flag in lock(&self.parts).flags.values().flatten() {
            flag.store(true, Ordering::Relaxed);
        }
    }

    /// Stops what goes under this name.
    pub fn stop_part(&self, name: &str) {
        let mut parts = lock(&self.parts);
        parts.named.insert(name.to_owned());
        for flag in parts.flags.get(name).into_iter().flatten() {
            flag.store(true, Ordering::Relaxed);
        }
    }

    /// The flag of something that goes under these names; it is set when one
    /// of them, or everything, is stopped, or was before.
    pub fn part(&self, names: &[&str]) -> Arc<AtomicBool> {
        let mut parts = lock(&self.parts);
        let stopped = names.iter().any(|name| parts.named.contains(*name));
        let flag = Arc::new(AtomicBool::new(
            stopped || self.whole.load(Ordering::Relaxed),
        ));
        for name in names {
            let flags = parts.flags.entry((*name).to_owned()).or_default();
            flags.push(Arc::clone(&flag));
        }
        flag
    }

    /// Whether everything is to stop.
    pub fn stopped(&self) -> bool {
        self.whole.load(Ordering::Relaxed)
    }
}

/// The line from a job to the window.
pub struct Tell<'a> {
    /// Which job.
    pub ticket: Ticket,
    /// What of it is to stop.
    pub stops: Arc<Stops>,
    send: &'a (dyn Fn(Event) + Sync),
    last: Mutex<Option<Instant>>,
}

impl<'a> Tell<'a> {
    /// For one job.
    pub fn new(ticket: Ticket, stops: Arc<Stops>, send: &'a (dyn Fn(Event) + Sync)) -> Self {
        Self {
            ticket,
            stops,
            send,
            last: Mutex::new(None),
        }
    }

    /// Tells something.
    pub fn event(&self, event: Event) {
        (self.send)(event);
    }

    /// Tells how far it is, unless that was told just now.
    pub fn progress(&self, channel: Option<&str>, step: &str, share: f32) {
        {
            let mut last = lock(&self.last);
            let now = Instant::now();
            if last.is_some_and(|last| now.duration_since(last) < BETWEEN) {
                return;
            }
            *last = Some(now);
        }
        self.event(Event::Progress {
            ticket: self.ticket,
            channel: channel.map(str::to_owned),
            step: step.to_owned(),
            share: share.clamp(0.0, 1.0),
        });
    }

    /// A channel could not be had.
    pub fn channel_failed(&self, channel: &str, error: &Error) {
        self.event(Event::ChannelFailed {
            ticket: self.ticket,
            channel: channel.to_owned(),
            what: error.to_string(),
            hint: error.hint(),
        });
    }

    /// For work that stops with the whole job.
    pub fn control(&self) -> Control<'_> {
        Control {
            progress: self,
            cancel: &self.stops.whole,
        }
    }
}

/// Steps that begin with a channel's id and a colon are about that channel.
impl Progress for Tell<'_> {
    fn report(&self, step: &str, done: u64, total: u64) {
        let share = done as f32 / total.max(1) as f32;
        match step.split_once(": ") {
            Some((channel, step)) => self.progress(Some(channel), step, share),
            None => self.progress(None, step, share),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_stops_by_any_of_its_names_before_and_after_it_began() {
        let stops = Stops::default();
        stops.stop_part("ha");
        assert!(stops.part(&["ha", "/x/ha.fits"]).load(Ordering::Relaxed));
        let flag = stops.part(&["oiii", "/x/oiii.fits"]);
        assert!(!flag.load(Ordering::Relaxed));
        stops.stop_part("/x/oiii.fits");
        assert!(flag.load(Ordering::Relaxed));
        let other = stops.part(&["sii"]);
        assert!(!other.load(Ordering::Relaxed) && !stops.stopped());
        stops.stop();
        assert!(other.load(Ordering::Relaxed) && stops.stopped());
        assert!(stops.part(&["new"]).load(Ordering::Relaxed));
    }
}
