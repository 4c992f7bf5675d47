//! A copy of the recipe that is being edited, for when the power goes.
//!
//! Each window keeps one file of its own, and holds a lock on another beside it
//! for as long as it lives. The system gives the lock back however the process
//! ends; a copy whose lock is free was left behind.

use std::fs::{File, OpenOptions};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use serde::{Deserialize, Serialize};

use super::{folder, read, write};
use crate::engine::recipe::Recipe;
use crate::engine::recipe::text;
use crate::work::Error;

/// A window's copy.
#[derive(Debug)]
pub struct Autosave {
    file: PathBuf,
    // Held, not read.
    _lock: File,
    lock_file: PathBuf,
    kept: Option<Kept>,
}

/// A copy that a window left behind.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// The recipe as it was last.
    pub recipe: Recipe,
    /// What its files are relative to.
    pub folder: PathBuf,
    /// The recipe's own file, if it had one.
    pub path: Option<PathBuf>,
    /// When the copy was made: `2026-03-01T20:15:00Z`.
    pub when: String,
    /// The copy itself.
    pub file: PathBuf,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Kept {
    path: Option<String>,
    folder: String,
    when: String,
    process: u32,
    /// As TOML.
    recipe: String,
}

const ENDING: &str = "unsaved.json";

static WINDOWS: AtomicU32 = AtomicU32::new(0);

impl Autosave {
    /// For a new window; None where the user has no place for it.
    pub fn open() -> Option<Self> {
        Self::open_in(&folder()?.join("unsaved"))
    }

    /// In a folder.
    pub fn open_in(folder: &Path) -> Option<Self> {
        std::fs::create_dir_all(folder).ok()?;
        let process = std::process::id();
        // A process number comes again; a name that is taken is passed over.
        for _ in 0..1000 {
            let window = WINDOWS.fetch_add(1, Ordering::Relaxed);
            let file = folder.join(format!("{process}-{window}.{ENDING}"));
            let lock_file = lock_of(&file);
            if file.exists() || lock_file.exists() {
                continue;
            }
            let lock = OpenOptions::new()
                .write(true)
                .create_new(true)
                .open(&lock_file);
            let Ok(lock) = lock else { continue };
            lock.try_lock().ok()?;
            return Some(Self {
                file,
                _lock: lock,
                lock_file,
                kept: None,
            });
        }
        None
    }

    /// Keeps a copy, unless the last one was the same.
    ///
    /// # Errors
    /// When it cannot be written; work can go on.
    pub fn keep(
        &mut self,
        recipe: &Recipe,
        folder: &Path,
        path: Option<&Path>,
    ) -> Result<(), Error> {
        let recipe = text::write(recipe).map_err(|error| {
            Error::request(
                format!("no copy can be kept: {error}"),
                "save the recipe yourself",
            )
        })?;
        let when = jiff::Timestamp::now()
            .strftime("%Y-%m-%dT%H:%M:%SZ")
            .to_string();
        let mut kept = Kept {
            path: path.map(|path| absolute(path).to_string_lossy().into_owned()),
            folder: absolute(folder).to_string_lossy().into_owned(),
            when,
            process: std::process::id(),
            recipe,
        };
        if let Some(last) = &self.kept {
            let when = std::mem::replace(&mut kept.when, last.when.clone());
            if *last == kept {
                return Ok(());
            }
            kept.when = when;
        }
        let text = serde_json::to_string_pretty(&kept).map_err(|error| {
            Error::request(
                format!("no copy can be kept: {error}"),
                "save the recipe yourself",
            )
        })?;
        write(&self.file, &text)?;
        self.kept = Some(kept);
        Ok(())
    }

    /// The recipe is saved, or the window is closed at the user's will: no copy
    /// is needed.
    pub fn clear(&mut self) {
        self.kept = None;
        std::fs::remove_file(&self.file).ok();
    }
}

/// The copy stays: whoever ends cleanly clears it first.
impl Drop for Autosave {
    fn drop(&mut self) {
        std::fs::remove_file(&self.lock_file).ok();
    }
}

/// Copies that windows left behind that are gone, the latest first.
pub fn offers() -> Vec<Offer> {
    folder().map_or_else(Vec::new, |folder| offers_in(&folder.join("unsaved")))
}

/// Those in a folder.
pub fn offers_in(folder: &Path) -> Vec<Offer> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut offers: Vec<Offer> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|file| {
            let name = file.file_name().unwrap_or_default().to_string_lossy();
            name.ends_with(ENDING) && is_left_behind(file)
        })
        .filter_map(|file| {
            let kept: Kept = serde_json::from_str(&read(&file)?).ok()?;
            Some(Offer {
                recipe: text::parse(&kept.recipe, "the kept copy").ok()?,
                folder: kept.folder.into(),
                path: kept.path.map(PathBuf::from),
                when: kept.when,
                file,
            })
        })
        .collect();
    offers.sort_by(|a, b| b.when.cmp(&a.when).then_with(|| a.file.cmp(&b.file)));
    offers
}

impl Offer {
    /// Taken up or turned down: it is not offered again.
    pub fn discard(&self) {
        std::fs::remove_file(&self.file).ok();
        std::fs::remove_file(lock_of(&self.file)).ok();
    }
}

fn absolute(path: &Path) -> PathBuf {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned())
}

fn lock_of(file: &Path) -> PathBuf {
    file.with_extension("lock")
}

// Nobody holds the lock any more, or it is gone.
fn is_left_behind(file: &Path) -> bool {
    match OpenOptions::new().write(true).open(lock_of(file)) {
        Ok(lock) => lock.try_lock().is_ok(),
        Err(error) => error.kind() == std::io::ErrorKind::NotFound,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recipe(id: &str) -> Recipe {
        let text = format!(
            "recipe = 1\n[[channel]]\nid = '{id}'\nfile = 'a.fits'\nline = 'Ha'\n\
             stretch = {{ black = 0.1, white = 1 }}\n[[rendition]]\nid = 'one'\n\
             colors = {{ {id} = 'natural' }}\n"
        );
        text::parse(&text, "test").expect("holds")
    }

    #[test]
    fn a_copy_is_offered_once_its_window_is_gone() {
        let root = tempfile::tempdir().expect("folder");
        let at = root.path().join("unsaved");
        let mut first = Autosave::open_in(&at).expect("a place");
        let mut second = Autosave::open_in(&at).expect("a place");
        first
            .keep(
                &recipe("ha"),
                root.path(),
                Some(&root.path().join("x.toml")),
            )
            .expect("kept");
        second.keep(&recipe("b"), root.path(), None).expect("kept");
        assert_eq!(offers_in(&at), [], "both windows live");
        // A process that was killed leaves its lock's file, and nobody in it.
        let crashed = at.join(format!("1-0.{ENDING}"));
        std::fs::copy(&first.file, &crashed).expect("copied");
        File::create(lock_of(&crashed)).expect("file");
        let offers = offers_in(&at);
        assert_eq!(offers.len(), 1);
        assert_eq!(offers[0].file, crashed);
        offers[0].discard();
        drop(first);
        let offers = offers_in(&at);
        assert_eq!(offers.len(), 1);
        assert_eq!(offers[0].recipe, recipe("ha"));
        assert_eq!(offers[0].folder, root.path());
        assert_eq!(offers[0].path, Some(root.path().join("x.toml")));
        offers[0].discard();
        second.clear();
        drop(second);
        assert_eq!(offers_in(&at), []);
        assert_eq!(std::fs::read_dir(&at).expect("folder").count(), 0);
    }

    #[test]
    fn a_damaged_copy_is_passed_over() {
        let root = tempfile::tempdir().expect("folder");
        for (name, text) in [("1-0", ""), ("2-0", "{"), ("3-0", "{\"recipe\": 5}")] {
            std::fs::write(root.path().join(format!("{name}.{ENDING}")), text).expect("file");
        }
        assert_eq!(offers_in(root.path()), []);
    }
}
