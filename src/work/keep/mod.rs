//! What is kept between one window and the next: copies of unsaved work, paths
//! opened lately, small choices. Nothing of it is ever worth an error at start.

pub mod autosave;

pub mod recent;

pub mod settings;

pub use autosave::{Autosave, Offer, offers};
pub use recent::Recent;
pub use settings::Settings;

use std::path::{Path, PathBuf};

/// The variable that names another place for all of this.
pub const PLACE: &str = "LINEHUE_STATE_DIR";

/// The folder: what [`PLACE`] says, or the user's state folder (the local data
/// folder where a platform has none). None where the platform names neither.
pub fn folder() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os(PLACE).filter(|named| !named.is_empty()) {
        return Some(PathBuf::from(named));
    }
    let places = directories::ProjectDirs::from("", "", "linehue")?;
    let folder = places.state_dir().unwrap_or(places.data_local_dir());
    Some(folder.to_owned())
}

/// More than this is none of ours.
const LARGEST: u64 = 16 << 20;

// The text of a small file; None where there is none, or it is damaged.
fn read(path: &Path) -> Option<String> {
    let about = std::fs::metadata(path).ok()?;
    if !about.is_file() || about.len() > LARGEST {
        return None;
    }
    std::fs::read_to_string(path).ok()
}

// Replaces a file whole; its folder is made where it is missing.
fn write(path: &Path, text: &str) -> Result<(), super::Error> {
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(|error| {
            super::Error::request(
                format!("{}: {error}", folder.display()),
                format!("check the permissions, or name another folder in {PLACE}"),
            )
        })?;
    }
    crate::io::write::atomic::write_whole(path, text.as_bytes())?;
    Ok(())
}
