//! Paths that were opened lately.

use std::path::{Path, PathBuf};

use super::{folder, read, write};
use crate::work::Error;

/// At most so many are kept.
pub const MOST: usize = 12;

/// Paths, the latest first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Recent {
    paths: Vec<PathBuf>,
    file: Option<PathBuf>,
}

impl Recent {
    /// Those of the user; none where nothing is kept or what is kept is damaged.
    pub fn load() -> Self {
        folder().map_or_else(Self::default, |folder| Self::load_from(&folder))
    }

    /// Those kept in a folder.
    pub fn load_from(folder: &Path) -> Self {
        let file = folder.join("recent.json");
        let paths: Vec<serde_json::Value> = read(&file)
            .and_then(|text| serde_json::from_str(&text).ok())
            .unwrap_or_default();
        let mut recent = Self {
            paths: Vec::new(),
            file: Some(file),
        };
        for path in paths.iter().filter_map(serde_json::Value::as_str) {
            let path = PathBuf::from(path);
            if !path.as_os_str().is_empty() && !recent.paths.contains(&path) {
                recent.paths.push(path);
            }
        }
        recent.paths.truncate(MOST);
        recent
    }

    /// The latest first.
    pub fn paths(&self) -> &[PathBuf] {
        &self.paths
    }

    /// Puts a path first, and keeps the list. What another window has added
    /// since is kept too. A name that is not UTF-8 is not.
    ///
    /// # Errors
    /// When it cannot be written; the list in memory is new all the same.
    pub fn add(&mut self, path: &Path) -> Result<(), Error> {
        if path.to_str().is_none() {
            return Ok(());
        }
        let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        self.fetch();
        self.paths.retain(|other| *other != path);
        self.paths.insert(0, path);
        self.paths.truncate(MOST);
        self.save()
    }

    /// Takes a path out, one that is gone, say.
    ///
    /// # Errors
    /// When the list cannot be written.
    pub fn remove(&mut self, path: &Path) -> Result<(), Error> {
        self.fetch();
        self.paths.retain(|other| other != path);
        self.save()
    }

    /// Forgets all.
    ///
    /// # Errors
    /// When the list cannot be written.
    pub fn clear(&mut self) -> Result<(), Error> {
        self.paths.clear();
        self.save()
    }

    fn fetch(&mut self) {
        if let Some(folder) = self.file.as_deref().and_then(Path::parent) {
            let kept = Self::load_from(folder);
            if !kept.paths.is_empty() {
                self.paths = kept.paths;
            }
        }
    }

    fn save(&self) -> Result<(), Error> {
        let Some(file) = &self.file else {
            return Ok(());
        };
        let paths: Vec<&str> = self.paths.iter().filter_map(|path| path.to_str()).collect();
        write(file, &format!("{:#}\n", serde_json::json!(paths)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_latest_is_first_and_damage_is_no_error() {
        let root = tempfile::tempdir().expect("folder");
        let place = root.path().join("state");
        let mut recent = Recent::load_from(&place);
        assert!(recent.paths().is_empty());
        for number in 0..20 {
            recent
                .add(&root.path().join(format!("{number}.toml")))
                .expect("kept");
        }
        recent.add(&root.path().join("15.toml")).expect("kept");
        let again = Recent::load_from(&place);
        assert_eq!(again.paths(), recent.paths());
        assert_eq!(again.paths().len(), MOST);
        assert!(again.paths()[0].ends_with("15.toml"));
        assert!(again.paths()[1].ends_with("19.toml"));
        // Two windows: neither forgets what the other has added.
        let mut other = Recent::load_from(&place);
        recent.add(&root.path().join("a.toml")).expect("kept");
        other.add(&root.path().join("b.toml")).expect("kept");
        assert!(other.paths()[1].ends_with("a.toml"));
        for damage in ["", "[1, 2", "{}", "[1, null, \"/x/ha.fits\"]"] {
            std::fs::write(place.join("recent.json"), damage).expect("file");
            assert!(Recent::load_from(&place).paths().len() <= 1, "{damage}");
        }
    }
}
