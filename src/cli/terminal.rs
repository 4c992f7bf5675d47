//! The two streams: results on standard output, the rest on standard error.

use std::io::{IsTerminal as _, Write as _};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::work::{Control, Error, Progress};

// Set by Ctrl-C; every job looks at it between bands.
static CANCEL: AtomicBool = AtomicBool::new(false);

// Who is told of it beside the jobs.
static LISTENER: Mutex<Option<Box<dyn Fn() + Send>>> = Mutex::new(None);

/// The terminal, or what stands in for it.
pub struct Terminal {
    quiet: bool,
    bar: ProgressBar,
    step: Mutex<String>,
}

impl Terminal {
    /// Takes the two streams; Ctrl-C asks the running job to stop from now on,
    /// a second one ends the program.
    pub fn new(quiet: bool) -> Self {
        ctrlc::set_handler(|| {
            if CANCEL.swap(true, Ordering::Relaxed) {
                std::process::exit(130);
            }
            if let Ok(listener) = LISTENER.lock()
                && let Some(tell) = &*listener
            {
                tell();
            }
        })
        .ok();
        let shown = !quiet && std::io::stderr().is_terminal();
        let target = if shown {
            ProgressDrawTarget::stderr_with_hz(10)
        } else {
            ProgressDrawTarget::hidden()
        };
        let bar = ProgressBar::with_draw_target(Some(1), target);
        if let Ok(style) =
            ProgressStyle::with_template("{msg:<24!} {wide_bar} {percent:>3} %  {eta:>4} left")
        {
            bar.set_style(style.progress_chars("=> "));
        }
        Self {
            quiet,
            bar,
            step: Mutex::new(String::new()),
        }
    }

    /// What a job is given.
    pub fn control(&self) -> Control<'_> {
        Control {
            progress: self,
            cancel: &CANCEL,
        }
    }

    /// Calls `tell` when the program is asked to stop: by Ctrl-C, or by the
    /// system. It is called at once where that was asked already.
    #[cfg(feature = "gui")]
    pub fn when_stopped(&self, tell: Box<dyn Fn() + Send>) {
        if let Ok(mut listener) = LISTENER.lock() {
            if CANCEL.load(Ordering::Relaxed) {
                tell();
            }
            *listener = Some(tell);
        }
    }

    /// Writes a result to standard output.
    ///
    /// # Errors
    /// When it cannot be written; a reader that has gone away is no error.
    pub fn result(&self, text: &str) -> Result<(), Error> {
        self.bar.finish_and_clear();
        let mut out = std::io::stdout().lock();
        match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(Error::request(
                format!("standard output: {error}"),
                "check where it goes",
            )),
            _ => Ok(()),
        }
    }

    /// Says something on standard error, unless it should be quiet.
    pub fn say(&self, text: &str) {
        if !self.quiet {
            self.bar.suspend(|| to_standard_error(&format!("{text}\n")));
        }
    }

    /// What a person should know, a line each.
    pub fn notes(&self, notices: &[String]) {
        for notice in notices {
            self.say(&format!("note: {notice}"));
        }
    }

    /// Says what went wrong and what to do.
    pub fn error(&self, error: &Error) {
        self.bar.finish_and_clear();
        let hint = error.hint();
        let next = if hint.is_empty() {
            String::new()
        } else {
            format!("  {hint}\n")
        };
        to_standard_error(&format!("linehue: {error}\n{next}"));
    }

    /// Whether standard output shows colours.
    pub fn shows_colors(&self) -> bool {
        std::io::stdout().is_terminal()
            && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
            && std::env::var_os("TERM").is_none_or(|term| term != "dumb")
    }
}

// Nobody can be told that nobody listens.
fn to_standard_error(text: &str) {
    std::io::stderr().write_all(text.as_bytes()).ok();
}

impl Progress for Terminal {
    fn report(&self, step: &str, done: u64, total: u64) {
        if self.bar.is_hidden() {
            return;
        }
        if let Ok(mut current) = self.step.lock()
            && *current != step
        {
            step.clone_into(&mut current);
            self.bar.reset();
            self.bar.set_message(step.to_owned());
        }
        self.bar.set_length(total);
        self.bar.set_position(done);
    }
}

/// Writes a JSON value to standard output, for programs.
///
/// # Errors
/// When it cannot be written.
pub fn json(terminal: &Terminal, value: &impl serde::Serialize) -> Result<(), Error> {
    let text = serde_json::to_string_pretty(value)
        .map_err(|error| Error::request(error.to_string(), "please report it"))?;
    terminal.result(&format!("{text}\n"))
}
