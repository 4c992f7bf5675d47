//! Why a file could not be written.

use std::io;
use std::path::{Path, PathBuf};

/// Why a file could not be written; [`WriteError::hint`] says what to do.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The name's ending names no kind of file that is written.
    #[error("{}: {what}", path.display())]
    Ending {
        /// The name as given.
        path: PathBuf,
        /// What is wrong with the ending.
        what: String,
    },
    /// The kind of file cannot hold this.
    #[error("{}: {what}", path.display())]
    Unsuited {
        /// The file that was to be written.
        path: PathBuf,
        /// What does not go together.
        what: String,
        /// What to choose instead.
        hint: String,
    },
    /// The place is no place for a file: folder missing, not writable, ...
    #[error("{}: {what}", path.display())]
    Place {
        /// The file that was to be written.
        path: PathBuf,
        /// What is wrong with the place.
        what: String,
        /// What to do about it.
        hint: String,
    },
    /// The disk or the system refused; nothing of the new file is left, and an
    /// old one is as it was.
    #[error("{}: could not be written: {}", path.display(), cause(source))]
    Disk {
        /// The file that was to be written.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// The rows handed in do not make the picture that was announced.
    #[error("{}: {what}", path.display())]
    Rows {
        /// The file that was to be written.
        path: PathBuf,
        /// What is wrong with the rows.
        what: String,
    },
}

impl WriteError {
    /// What to do about it; empty where nothing can be said.
    pub fn hint(&self) -> String {
        match self {
            Self::Ending { .. } => format!("name the file with one of {}", super::ENDINGS),
            Self::Unsuited { hint, .. } | Self::Place { hint, .. } => hint.clone(),
            Self::Disk { source, .. } => match source.kind() {
                io::ErrorKind::StorageFull => "free some space or choose another disk".to_owned(),
                io::ErrorKind::QuotaExceeded => {
                    "free some of your own space on this disk or choose another".to_owned()
                }
                io::ErrorKind::ReadOnlyFilesystem | io::ErrorKind::PermissionDenied => {
                    "choose a folder that you may write to".to_owned()
                }
                _ => "try again, or choose another disk".to_owned(),
            },
            Self::Rows { .. } => {
                "this is a fault in the program, not in the recipe; please report it".to_owned()
            }
        }
    }

    /// The file that was to be written.
    pub fn path_mut(&mut self) -> &mut PathBuf {
        match self {
            Self::Ending { path, .. }
            | Self::Unsuited { path, .. }
            | Self::Place { path, .. }
            | Self::Disk { path, .. }
            | Self::Rows { path, .. } => path,
        }
    }

    /// Attaches the file's name to what the system said.
    pub(crate) fn disk(path: &Path) -> impl Fn(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Disk {
            path: path.clone(),
            source,
        }
    }
}

/// The reason in plain words where it is a common one.
fn cause(source: &io::Error) -> String {
    match source.kind() {
        io::ErrorKind::StorageFull => "the disk is full".to_owned(),
        io::ErrorKind::QuotaExceeded => "the disk quota is used up".to_owned(),
        io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only".to_owned(),
        io::ErrorKind::PermissionDenied => "permission denied".to_owned(),
        _ => source.to_string(),
    }
}
