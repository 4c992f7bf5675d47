//! The system's file dialogs, awaited beside the window, and what to do where
//! there are none.

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, Sender, channel};

use egui::Context;

/// What a dialog was opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// Stacks, recipes or records to open.
    Open,
    /// Where to save the recipe.
    SaveAs,
    /// Where an export goes.
    Export,
    /// Where a drawing goes.
    Drawing,
    /// A catalogue of stars for the white balance.
    Catalogue,
}

/// How a dialog ended.
#[derive(Debug, Clone, PartialEq)]
pub enum Picked {
    /// With these.
    Paths(Purpose, Vec<PathBuf>),
    /// The user closed it.
    Nothing(Purpose),
    /// The system has none to show; why.
    Unavailable(Purpose, String),
}

/// Asks for files without holding the window up.
pub struct Pickers {
    sender: Sender<Picked>,
    receiver: Receiver<Picked>,
    open: bool,
}

impl Default for Pickers {
    fn default() -> Self {
        let (sender, receiver) = channel();
        Self {
            sender,
            receiver,
            open: false,
        }
    }
}

impl Pickers {
    /// Whether a dialog is thought to be open.
    pub fn is_open(&self) -> bool {
        self.open
    }

    /// Opens a dialog that begins in `folder`, with a name to save under.
    pub fn ask(&mut self, context: &Context, purpose: Purpose, folder: &Path, name: &str) {
        listen_to_rfd();
        complaints().clear();
        let folder = folder.canonicalize().unwrap_or_else(|_| folder.into());
        let dialog = rfd::AsyncFileDialog::new().set_directory(&folder);
        let sender = self.sender.clone();
        let context = context.clone();
        self.open = true;
        // The dialog is made here, on the window's thread, and awaited there.
        let many = matches!(purpose, Purpose::Open).then(|| {
            dialog
                .clone()
                .set_title("Open stacks, a recipe or a record")
                .add_filter("Stacks, recipes and records", OPEN_ENDINGS)
                .add_filter("All files", &["*"])
                .pick_files()
        });
        let catalogue = (purpose == Purpose::Catalogue).then(|| {
            dialog
                .clone()
                .set_title("Pick a catalogue of stars")
                .add_filter("Tables (CSV)", &["csv", "CSV"])
                .add_filter("All files", &["*"])
                .pick_file()
        });
        let one = (many.is_none() && catalogue.is_none()).then(|| {
            let dialog = dialog.set_file_name(name);
            if purpose == Purpose::SaveAs {
                dialog
                    .set_title("Save the recipe")
                    .add_filter("Recipe", &["toml"])
                    .save_file()
            } else if purpose == Purpose::Drawing {
                dialog.set_title("Save the drawing").save_file()
            } else {
                dialog.set_title("Export the picture").save_file()
            }
        });
        let wait = move || {
            let paths: Option<Vec<PathBuf>> = pollster::block_on(async {
                match (many, catalogue, one) {
                    (Some(many), ..) => many
                        .await
                        .map(|files| files.iter().map(|file| file.path().into()).collect()),
                    (_, Some(one), _) => one.await.map(|file| vec![file.path().into()]),
                    (.., Some(one)) => one.await.map(|file| vec![file.path().into()]),
                    _ => None,
                }
            });
            let picked = match paths {
                Some(paths) => Picked::Paths(purpose, paths),
                None => match complaints().pop() {
                    Some(why) => Picked::Unavailable(purpose, why),
                    None => Picked::Nothing(purpose),
                },
            };
            sender.send(picked).ok();
            context.request_repaint();
        };
        let started = std::thread::Builder::new()
            .name("file dialog".to_owned())
            .spawn(wait);
        if let Err(error) = started {
            self.sender
                .send(Picked::Unavailable(purpose, error.to_string()))
                .ok();
        }
    }

    /// What has come since.
    pub fn picked(&mut self) -> Option<Picked> {
        let picked = self.receiver.try_recv().ok()?;
        self.open = false;
        Some(picked)
    }
}

/// Endings of files that can be opened.
pub const OPEN_ENDINGS: &[&str] = &[
    "fits", "fit", "fts", "fz", "gz", "tif", "tiff", "png", "toml", "json", "FITS", "FIT", "FTS",
    "TIF", "TIFF", "PNG",
];

// What the dialog library complained of: it tells a dialog that could not be
// shown from one that was closed only in its log.
static COMPLAINTS: Mutex<Vec<String>> = Mutex::new(Vec::new());

fn complaints() -> std::sync::MutexGuard<'static, Vec<String>> {
    COMPLAINTS
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
}

struct Listener;

impl log::Log for Listener {
    fn enabled(&self, metadata: &log::Metadata<'_>) -> bool {
        metadata.level() <= log::Level::Warn
    }

    fn log(&self, record: &log::Record<'_>) {
        if record.target().starts_with("rfd") && record.level() == log::Level::Error {
            complaints().push(record.args().to_string());
        }
    }

    fn flush(&self) {}
}

fn listen_to_rfd() {
    static LISTENER: Listener = Listener;
    if log::set_logger(&LISTENER).is_ok() {
        log::set_max_level(log::LevelFilter::Warn);
    }
}

/// Shows a file's folder in the system's file manager.
///
/// # Errors
/// In words, where there is no file manager to ask.
pub fn show_in_folder(path: &Path) -> Result<(), String> {
    let folder = crate::work::inputs::folder_of(path);
    let program = if cfg!(target_os = "macos") {
        "open"
    } else if cfg!(target_os = "windows") {
        "explorer"
    } else {
        "xdg-open"
    };
    std::process::Command::new(program)
        .arg(folder)
        .stdin(std::process::Stdio::null())
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .map(|_| ())
        .map_err(|error| format!("{program}: {error}; the picture is in {}", folder.display()))
}
