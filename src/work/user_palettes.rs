//! The user's own palettes: TOML files in the platform's configuration folder.

use std::path::{Path, PathBuf};

use crate::engine::palettes::{Palette, parse};

/// Where a user's palettes lie; None where the platform names no such folder.
pub fn folder() -> Option<PathBuf> {
    directories::ProjectDirs::from("", "", "linehue")
        .map(|places| places.config_dir().join("palettes"))
}

/// What was found in a folder of palettes.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// The palettes that hold, by file name.
    pub palettes: Vec<Palette>,
    /// The files that do not, each with what is wrong and what to do.
    pub refused: Vec<String>,
}

// A palette is a few lines of text: more than this is none.
const LARGEST_PALETTE: u64 = 1 << 20;

/// Reads every `.toml` in a folder. A folder that is not there holds none.
pub fn read(folder: &Path) -> Found {
    let mut found = Found::default();
    let Ok(entries) = std::fs::read_dir(folder) else {
        return found;
    };
    let mut paths: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| {
            path.extension()
                .is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
        })
        .collect();
    paths.sort();
    for path in paths {
        let name = path.display().to_string();
        let text = match std::fs::metadata(&path) {
            Ok(about) if about.len() > LARGEST_PALETTE => Err("too long for a palette".to_owned()),
            Ok(_) => std::fs::read_to_string(&path).map_err(|error| error.to_string()),
            Err(error) => Err(error.to_string()),
        };
        match text.map(|text| parse(&text, &name)) {
            Ok(Ok(palette)) => found.palettes.push(palette),
            Ok(Err(error)) => found.refused.push(format!("{error}; {}", error.hint)),
            Err(error) => found.refused.push(format!("{name}: {error}")),
        }
    }
    found
}

/// Reads the user's own folder.
pub fn own() -> Found {
    folder().map_or_else(Found::default, |folder| read(&folder))
}
