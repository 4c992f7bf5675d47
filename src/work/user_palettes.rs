//! The user's own palettes: TOML files in the platform's configuration folder.

use std::path::{Path, PathBuf};

use super::Error;
use crate::engine::palettes::{Palette, parse, write};
use crate::io::write::atomic;

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

/// Writes a palette into a folder, which is made where it is missing. A palette
/// of the same name (in any case) is replaced. The file appears whole or not at
/// all; the result is its path.
///
/// # Errors
/// When the palette does not hold, or the file cannot be written.
pub fn save(folder: &Path, palette: &Palette) -> Result<PathBuf, Error> {
    let text = write(palette)?;
    std::fs::create_dir_all(folder).map_err(|error| {
        Error::request(
            format!("{}: the folder cannot be made: {error}", folder.display()),
            "check that you may write there",
        )
    })?;
    let path = match files_of(folder, &palette.name).into_iter().next() {
        Some(path) => path,
        None => free_path(folder, &palette.name),
    };
    atomic::write_whole(&path, text.as_bytes())?;
    Ok(path)
}

/// Removes the palette called `name` (in any case) from a folder.
///
/// # Errors
/// When there is none, or its file cannot be removed.
pub fn remove(folder: &Path, name: &str) -> Result<(), Error> {
    let paths = files_of(folder, name);
    if paths.is_empty() {
        return Err(Error::request(
            format!("{} holds no palette called `{name}`", folder.display()),
            "it may be gone already: open the program again",
        ));
    }
    for path in paths {
        std::fs::remove_file(&path).map_err(|error| {
            Error::request(
                format!("{}: cannot be removed: {error}", path.display()),
                "check that you may write there",
            )
        })?;
    }
    Ok(())
}

// The files of a folder that hold a palette of this name.
fn files_of(folder: &Path, name: &str) -> Vec<PathBuf> {
    let wanted = name.trim().to_lowercase();
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut paths: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| {
            path.extension()
                .is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
                && std::fs::metadata(path).is_ok_and(|about| about.len() <= LARGEST_PALETTE)
                && std::fs::read_to_string(path)
                    .ok()
                    .and_then(|text| parse(&text, "").ok())
                    .is_some_and(|palette| palette.name.to_lowercase() == wanted)
        })
        .collect();
    paths.sort();
    paths
}

// A name that no file has yet: the palette's own, in plain letters.
fn free_path(folder: &Path, name: &str) -> PathBuf {
    let plain = slug(name);
    let stem = if plain.is_empty() { "palette" } else { &plain };
    (1..)
        .map(|count| match count {
            1 => folder.join(format!("{stem}.toml")),
            _ => folder.join(format!("{stem}-{count}.toml")),
        })
        .find(|path| !path.exists())
        .unwrap_or_else(|| folder.join("palette.toml"))
}

/// A name in a-z, 0-9 and single hyphens, for files and ids; may be empty.
pub fn slug(name: &str) -> String {
    let mut plain = String::new();
    for letter in name.to_lowercase().chars() {
        if letter.is_ascii_alphanumeric() {
            plain.push(letter);
        } else if !plain.is_empty() && !plain.ends_with('-') {
            plain.push('-');
        }
    }
    plain.trim_end_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::palettes::built_in;

    fn named(name: &str) -> Palette {
        Palette {
            name: name.to_owned(),
            ..built_in()[1].clone()
        }
    }

    #[test]
    fn a_saved_palette_is_found_replaced_and_removed() {
        let root = tempfile::tempdir().expect("folder");
        let folder = root.path().join("new/palettes");
        let dusk = named("Dusk & dawn");
        let path = save(&folder, &dusk).expect("saved");
        assert_eq!(path, folder.join("dusk-dawn.toml"));
        assert_eq!(read(&folder).palettes, [dusk]);
        // The same name in another case is the same palette.
        let second = Palette {
            about: "Later.".to_owned(),
            ..named("DUSK & dawn")
        };
        assert_eq!(save(&folder, &second).expect("saved"), path);
        assert_eq!(read(&folder).palettes, [second]);
        // Another name that would give the same file keeps off it.
        let other = save(&folder, &named("Dusk, dawn")).expect("saved");
        assert_eq!(other, folder.join("dusk-dawn-2.toml"));
        remove(&folder, "dusk & DAWN").expect("removed");
        assert_eq!(read(&folder).palettes, [named("Dusk, dawn")]);
        let error = remove(&folder, "dusk & dawn").expect_err("gone");
        assert!(error.to_string().contains("no palette"), "{error}");
    }

    #[test]
    fn a_file_that_is_no_palette_is_never_overwritten() {
        let root = tempfile::tempdir().expect("folder");
        std::fs::write(root.path().join("dusk.toml"), "notes of mine").expect("file");
        save(root.path(), &named("dusk")).expect("saved");
        let notes = std::fs::read_to_string(root.path().join("dusk.toml")).expect("still there");
        assert_eq!(notes, "notes of mine");
        assert!(root.path().join("dusk-2.toml").exists());
    }

    #[test]
    fn slugs_are_plain() {
        for (name, plain) in [
            ("Lantern Shell: in 3 lines!", "lantern-shell-in-3-lines"),
            ("Hα", "h"),
            ("…", ""),
        ] {
            assert_eq!(slug(name), plain);
        }
    }
}
