//! The threads behind the window: one for jobs, one for pictures.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, SyncSender, TrySendError, channel, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

use super::pictures::Pictures;
use super::tell::{Stops, Tell, lock};
use super::{Event, Job, Ticket, run};
use crate::work::preview::{Preview, Request};

/// Jobs that may wait. Nobody drops so much that it matters.
const MOST_WAITING: usize = 64;

/// Runs jobs and draws pictures behind the window. Dropping it stops both.
pub struct Worker {
    last: Ticket,
    stops: Arc<Mutex<BTreeMap<Ticket, Arc<Stops>>>>,
    sender: Sender<Event>,
    events: Receiver<Event>,
    behind: Behind,
}

type Waiting = (Ticket, Arc<Stops>, Box<Job>);

enum Behind {
    Threads {
        jobs: Option<SyncSender<Waiting>>,
        pictures: Arc<Pictures>,
        closing: Arc<AtomicBool>,
        handles: Vec<JoinHandle<()>>,
    },
    Inline(Box<Preview>),
}

impl Worker {
    /// Starts the threads; `wake` is called when an event has come. Where the
    /// system has no thread left, jobs run at once, in the caller.
    pub fn spawn(wake: impl Fn() + Send + Sync + 'static) -> Self {
        let mut worker = Self::inline();
        let wake: Arc<dyn Fn() + Send + Sync> = Arc::new(wake);
        let (jobs, come) = sync_channel::<Waiting>(MOST_WAITING);
        let pictures = Arc::new(Pictures::default());
        let closing = Arc::new(AtomicBool::new(false));
        let mut handles = Vec::new();
        let jobs_thread = {
            let (events, wake) = (worker.sender.clone(), Arc::clone(&wake));
            let (stops, closing) = (Arc::clone(&worker.stops), Arc::clone(&closing));
            thread("jobs", move || {
                let send = sender(&events, &*wake);
                while let Ok((ticket, own, job)) = come.recv() {
                    if closing.load(Ordering::Relaxed) {
                        return;
                    }
                    run::run(*job, &Tell::new(ticket, own, &send));
                    lock(&stops).remove(&ticket);
                }
            })
        };
        let pictures_thread = {
            let (events, wake) = (worker.sender.clone(), Arc::clone(&wake));
            let pictures = Arc::clone(&pictures);
            thread("pictures", move || {
                let send = sender(&events, &*wake);
                let mut preview = Preview::default();
                while let Some(due) = pictures.next() {
                    draw(
                        &mut preview,
                        due.slot,
                        due.generation,
                        &due.request,
                        &due.cancel,
                        &send,
                    );
                }
            })
        };
        let complete = jobs_thread.is_ok() && pictures_thread.is_ok();
        handles.extend(jobs_thread);
        handles.extend(pictures_thread);
        let threads = Behind::Threads {
            jobs: Some(jobs),
            pictures,
            closing,
            handles,
        };
        if complete {
            worker.behind = threads;
        } else {
            let unused = std::mem::replace(&mut worker.behind, threads);
            worker.close();
            worker.behind = unused;
        }
        worker
    }

    /// Without threads: jobs run at once, in the caller. For tests.
    pub fn inline() -> Self {
        let (sender, events) = channel();
        Self {
            last: 0,
            stops: Arc::default(),
            sender,
            events,
            behind: Behind::Inline(Box::default()),
        }
    }

    /// Asks for a job.
    pub fn ask(&mut self, job: Job) -> Ticket {
        self.last += 1;
        let ticket = self.last;
        let own = Arc::clone(lock(&self.stops).entry(ticket).or_default());
        match &self.behind {
            Behind::Threads { jobs, .. } => {
                let sent = jobs
                    .as_ref()
                    .map(|jobs| jobs.try_send((ticket, own, Box::new(job))));
                let what = match sent {
                    Some(Ok(())) => return ticket,
                    Some(Err(TrySendError::Full(_))) => "too much is waiting to be done",
                    _ => "what works behind the window has stopped",
                };
                let hint = "wait for what runs, or stop it; then try again".to_owned();
                let what = what.to_owned();
                self.sender.send(Event::Failed { ticket, what, hint }).ok();
                let cancelled = false;
                self.sender.send(Event::Finished { ticket, cancelled }).ok();
            }
            Behind::Inline(_) => {
                let sender = self.sender.clone();
                let send = move |event: Event| {
                    sender.send(event).ok();
                };
                run::run(job, &Tell::new(ticket, own, &send));
            }
        }
        lock(&self.stops).remove(&ticket);
        ticket
    }

    /// Asks for a picture; an older request for the same slot is dropped.
    pub fn draw(&mut self, slot: u32, generation: u64, request: Request) {
        let sender = self.sender.clone();
        match &mut self.behind {
            Behind::Threads { pictures, .. } => pictures.push(slot, generation, request),
            Behind::Inline(preview) => {
                let send = move |event: Event| {
                    sender.send(event).ok();
                };
                let cancel = AtomicBool::new(false);
                draw(preview, slot, generation, &request, &cancel, &send);
            }
        }
    }

    /// Stops a job. One that was not asked for yet stops as soon as it is.
    pub fn cancel(&self, ticket: Ticket) {
        if let Some(stops) = self.stops_of(ticket) {
            stops.stop();
        }
    }

    /// Stops what is done for one channel or file (its id, or its path) alone.
    pub fn cancel_part(&self, ticket: Ticket, part: &str) {
        if let Some(stops) = self.stops_of(ticket) {
            stops.stop_part(part);
        }
    }

    fn stops_of(&self, ticket: Ticket) -> Option<Arc<Stops>> {
        let mut all = lock(&self.stops);
        if ticket > self.last {
            return Some(Arc::clone(all.entry(ticket).or_default()));
        }
        all.get(&ticket).map(Arc::clone)
    }

    /// What has come since the last time.
    pub fn events(&mut self) -> Vec<Event> {
        self.events.try_iter().collect()
    }

    fn close(&mut self) {
        if let Behind::Threads {
            jobs,
            pictures,
            closing,
            handles,
        } = &mut self.behind
        {
            closing.store(true, Ordering::Relaxed);
            for stops in lock(&self.stops).values() {
                stops.stop();
            }
            *jobs = None;
            pictures.close();
            for handle in handles.drain(..) {
                handle.join().ok();
            }
        }
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        self.close();
    }
}

fn thread(name: &str, work: impl FnOnce() + Send + 'static) -> std::io::Result<JoinHandle<()>> {
    std::thread::Builder::new()
        .name(format!("linehue-{name}"))
        .spawn(work)
}

// The channel has no bound: events are small (layers are shared), and a job
// that waited for the window could never be stopped by it.
fn sender<'a>(
    events: &'a Sender<Event>,
    wake: &'a (dyn Fn() + Send + Sync),
) -> impl Fn(Event) + Sync + 'a {
    move |event| {
        if events.send(event).is_ok() {
            wake();
        }
    }
}

fn draw(
    preview: &mut Preview,
    slot: u32,
    generation: u64,
    request: &Request,
    cancel: &AtomicBool,
    send: &(dyn Fn(Event) + Sync),
) {
    match catch_unwind(AssertUnwindSafe(|| preview.draw(request, cancel))) {
        Ok(Some(picture)) => send(Event::Picture {
            slot,
            generation,
            picture,
        }),
        Ok(None) => {}
        Err(panic) => {
            // What it kept may be half-made.
            *preview = Preview::default();
            send(Event::Failed {
                ticket: 0,
                what: format!(
                    "an error in Linehue itself while drawing: {}",
                    run::words(&*panic)
                ),
                hint: "the recipe is unharmed: save it, and report what you did".to_owned(),
            });
        }
    }
}
