//! One job from its first word to its last.

use std::panic::{AssertUnwindSafe, catch_unwind};

use super::tell::Tell;
use super::{Event, Job, balance, draw, export, load, open, parts, prepare, suggest};
use crate::work::Error;

/// Does a job; whatever becomes of it, the last word is [`Event::Finished`].
pub fn run(job: Job, tell: &Tell<'_>) {
    guarded(tell, || match job {
        Job::Open { paths, onto, lines } => open::run(&paths, onto, &lines, tell),
        Job::Load {
            recipe,
            folder,
            channels,
        } => load::named(&recipe, &folder, &channels, tell),
        Job::Prepare { recipe, folder } => prepare::run(recipe, &folder, tell),
        Job::Balance {
            recipe,
            layers,
            rendition,
            by,
        } => balance::run(&recipe, &layers, rendition, &by, tell),
        Job::Suggest {
            recipe,
            layers,
            rendition,
            wish,
        } => suggest::run(&recipe, &layers, rendition, &wish, tell),
        Job::Parts {
            recipe,
            folder,
            layers,
        } => parts::run(&recipe, &folder, &layers, tell),
        Job::Export(request) => export::run(&request, tell),
        Job::Draw(drawing) => draw::run(&drawing, tell),
    });
}

fn guarded(tell: &Tell<'_>, work: impl FnOnce() -> Result<(), Error>) {
    let ticket = tell.ticket;
    let failed = |what: String, hint: String| {
        tell.event(Event::Failed { ticket, what, hint });
    };
    let work = || -> Result<(), Error> {
        tell.control().check()?;
        work()
    };
    let mut cancelled = false;
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(Ok(())) => cancelled = tell.stops.stopped(),
        Ok(Err(Error::Cancelled)) => cancelled = true,
        Ok(Err(error)) => failed(error.to_string(), error.hint()),
        Err(panic) => failed(
            format!("an error in Linehue itself: {}", words(&*panic)),
            "save the recipe; then try again, and report what you did".to_owned(),
        ),
    }
    tell.event(Event::Finished { ticket, cancelled });
}

/// What a panic said.
pub fn words(panic: &(dyn std::any::Any + Send)) -> &str {
    panic
        .downcast_ref::<&str>()
        .copied()
        .or_else(|| panic.downcast_ref::<String>().map(String::as_str))
        .unwrap_or("it did not say what")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    #[test]
    fn a_panic_is_told_in_words_and_the_job_is_over() {
        let told = Mutex::new(Vec::new());
        let send = |event: Event| told.lock().expect("open").push(event);
        let tell = Tell::new(7, Default::default(), &send);
        guarded(&tell, || panic!("the lantern fell"));
        let told = told.lock().expect("open");
        assert!(matches!(&told[0], Event::Failed { ticket: 7, what, .. }
            if what.contains("the lantern fell")));
        assert!(matches!(
            told[1],
            Event::Finished {
                ticket: 7,
                cancelled: false
            }
        ));
    }
}
