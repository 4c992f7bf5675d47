//! What lies behind the paths that were dropped, picked or typed.

use std::path::{Path, PathBuf};

/// Endings of files that may be stacks, in lower case.
const STACKS: [&str; 8] = ["fits", "fit", "fts", "fz", "gz", "tif", "tiff", "png"];

/// Paths, by what they are taken for.
#[derive(Debug, Default, PartialEq)]
pub struct Found {
    /// Stacks, in order.
    pub stacks: Vec<PathBuf>,
    /// Recipes.
    pub recipes: Vec<PathBuf>,
    /// Records of composites and of maps.
    pub records: Vec<PathBuf>,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Looks into folders, one level deep. A file that is named is taken whatever
/// its ending; the files of a folder by their endings.
pub fn look(paths: &[PathBuf]) -> Found {
    let mut found = Found::default();
    for path in paths {
        if path.is_dir() {
            let stacks = stacks_in(path);
            match stacks {
                Err(error) => found.notices.push(format!(
                    "{}: {error}: check the permissions",
                    path.display()
                )),
                Ok(stacks) if stacks.is_empty() => found.notices.push(format!(
                    "{}: there is no stack in this folder (FITS, TIFF or PNG)",
                    path.display()
                )),
                Ok(stacks) => found.stacks.extend(stacks),
            }
        } else if ends(path, ".json") {
            found.records.push(path.clone());
        } else if ends(path, ".toml") {
            found.recipes.push(path.clone());
        } else {
            found.stacks.push(path.clone());
        }
    }
    found
}

fn ends(path: &Path, ending: &str) -> bool {
    path.file_name().is_some_and(|name| {
        name.to_string_lossy()
            .to_ascii_lowercase()
            .ends_with(ending)
    })
}

fn stacks_in(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut stacks: Vec<PathBuf> = std::fs::read_dir(folder)?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| {
            let hidden = path
                .file_name()
                .is_some_and(|name| name.to_string_lossy().starts_with('.'));
            let ending = path
                .extension()
                .map(|ending| ending.to_string_lossy().to_ascii_lowercase());
            !hidden
                && ending.is_some_and(|ending| STACKS.contains(&ending.as_str()))
                && path.is_file()
        })
        .collect();
    stacks.sort();
    Ok(stacks)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_gives_its_stacks_one_level_deep() {
        let root = tempfile::tempdir().expect("folder");
        let at = |name: &str| root.path().join(name);
        std::fs::create_dir_all(at("deep")).expect("folder");
        std::fs::create_dir_all(at("empty")).expect("folder");
        for name in [
            "b.FIT",
            "a.fits.fz",
            ".c.fits",
            "notes.txt",
            "deep/d.fits",
            "r.toml",
        ] {
            std::fs::write(at(name), b"").expect("file");
        }
        let found = look(&[
            at(""),
            at("empty"),
            at("r.toml"),
            at("x.tif.record.json"),
            at("m.fits.ratio.json"),
            at("gone"),
        ]);
        assert_eq!(found.stacks, [at("a.fits.fz"), at("b.FIT"), at("gone")]);
        assert_eq!(found.recipes, [at("r.toml")]);
        let records = [at("x.tif.record.json"), at("m.fits.ratio.json")];
        assert_eq!(found.records, records);
        assert_eq!(found.notices.len(), 1);
        assert!(found.notices[0].contains("no stack"), "{:?}", found.notices);
    }
}
