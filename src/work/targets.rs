//! What can be said of an export before it starts: its size, its name, and
//! what would stand in its way.

use std::path::{Path, PathBuf};

use super::inputs;
use super::user_palettes::slug;
use crate::engine::frame::{Depth, Size};
use crate::engine::recipe::Recipe;
use crate::io::record;
use crate::io::write::{Format, format_of};

/// Something about an output.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What is so.
    pub what: String,
    /// What to do; empty where nothing must be done.
    pub hint: String,
    /// Whether nothing can be written until it is settled.
    pub stops: bool,
}

impl Finding {
    /// One that stops the writing.
    pub fn stop(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self {
            what: what.into(),
            hint: hint.into(),
            stops: true,
        }
    }
}

/// What would stand in the way of writing these files, and which files would be
/// replaced. `folder` is what the recipe's files are relative to.
pub fn findings(recipe: &Recipe, folder: &Path, outputs: &[PathBuf]) -> Vec<Finding> {
    let mut found = Vec::new();
    let stacks: Vec<PathBuf> = recipe
        .channels
        .iter()
        .map(|channel| folder.join(&channel.file))
        .collect();
    let mut there = Vec::new();
    for output in outputs {
        let Some(name) = output.file_name() else {
            found.push(Finding::stop(
                "The file has no name.",
                "Write one, such as lantern.tif.",
            ));
            continue;
        };
        let name = name.to_string_lossy().into_owned();
        if let Err(error) = format_of(output) {
            found.push(Finding::stop(error.to_string(), error.hint()));
            continue;
        }
        if let Some(finding) = no_place(output, &name) {
            found.push(finding);
            continue;
        }
        let record = record::path_for(output);
        if let Err(error) = inputs::spare(&stacks, &[output, &record]) {
            found.push(Finding::stop(error.to_string(), error.hint()));
            continue;
        }
        if output.exists() {
            there.push(name);
        }
    }
    found.dedup();
    match there.as_slice() {
        [] => {}
        [one] => found.push(replaced(one)),
        several => found.push(Finding {
            what: format!(
                "{} are there already and will be replaced.",
                several.join(", ")
            ),
            hint: String::new(),
            stops: false,
        }),
    }
    found
}

/// The same for a drawing: one file, of one of these endings; `stay` are files
/// that it must not replace.
pub fn drawing(stay: &[PathBuf], output: &Path, endings: &[&str]) -> Vec<Finding> {
    let Some(name) = output.file_name() else {
        return vec![Finding::stop(
            "The file has no name.",
            "Write one, such as key.png.",
        )];
    };
    let name = name.to_string_lossy().into_owned();
    let ending = output
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    if !ending.is_some_and(|ending| endings.contains(&ending.as_str())) {
        let known: Vec<String> = endings.iter().map(|ending| format!(".{ending}")).collect();
        return vec![Finding::stop(
            format!("The ending of {name} does not tell the kind of file."),
            format!("It may be one of {}.", known.join(", ")),
        )];
    }
    if let Some(finding) = no_place(output, &name) {
        return vec![finding];
    }
    let spared = inputs::spare(stay, &[output]).and_then(|()| inputs::spare_composite(output));
    if let Err(error) = spared {
        return vec![Finding::stop(error.to_string(), error.hint())];
    }
    if output.exists() {
        return vec![replaced(&name)];
    }
    Vec::new()
}

/// The same of a page to hand on: a folder, or one file.
pub fn page(stay: &[PathBuf], output: &Path) -> Vec<Finding> {
    let name = output.file_name().unwrap_or_default().to_string_lossy();
    match super::page::check(output, stay) {
        Ok(true) => vec![replaced(&name)],
        Ok(false) => Vec::new(),
        Err(error) => vec![Finding::stop(error.to_string(), error.hint())],
    }
}

fn no_place(output: &Path, name: &str) -> Option<Finding> {
    let place = inputs::folder_of(output);
    if !place.is_dir() {
        return Some(Finding::stop(
            format!("The folder {} is not there.", place.display()),
            "Choose another, or make it first.",
        ));
    }
    output
        .is_dir()
        .then(|| Finding::stop(format!("{name} is a folder."), "Choose another name."))
}

fn replaced(name: &str) -> Finding {
    Finding {
        what: format!("{name} is there already and will be replaced."),
        hint: String::new(),
        stops: false,
    }
}

/// The size of a picture whose longer side is brought to `long_edge` pixels;
/// never enlarged.
pub fn fitted(size: Size, long_edge: Option<usize>) -> Size {
    let longest = size.width.max(size.height).max(1);
    let Some(wanted) = long_edge.map(|edge| edge.clamp(1, longest)) else {
        return size;
    };
    let side = |pixels: usize| ((pixels * wanted + longest / 2) / longest).max(1);
    Size {
        width: side(size.width),
        height: side(size.height),
    }
}

/// Where a typed path leads that is relative to `folder`.
pub fn placed(folder: &Path, typed: &str) -> PathBuf {
    let path = folder.join(typed.trim());
    // `./` adds nothing for a reader.
    path.strip_prefix("./").map_or(path.clone(), Path::to_owned)
}

/// A typed path with another ending, in place of the old one if that is `known`.
pub fn retyped(typed: &str, known: bool, ending: &str) -> String {
    let path = Path::new(typed.trim());
    // What looks like an ending may be part of the name: "m 1.5".
    let path = if known || path.extension().is_none() {
        path.with_extension(ending)
    } else {
        PathBuf::from(format!("{}.{ending}", path.display()))
    };
    path.to_string_lossy().into_owned()
}

/// The usual ending of a kind of file.
pub fn ending(format: Format) -> &'static str {
    match format {
        Format::Tiff => "tif",
        Format::Png => "png",
        Format::Jpeg => "jpg",
        Format::Fits => "fits",
    }
}

/// A name for a composite: of its title or object, and its rendition.
pub fn name(recipe: &Recipe, object: &str, rendition: &str, format: Format) -> String {
    format!("{}-{rendition}.{}", stem(recipe, object), ending(format))
}

/// Title or object, as files are called.
pub fn stem(recipe: &Recipe, object: &str) -> String {
    let about = &recipe.about;
    [about.title.as_str(), about.object.as_str(), object]
        .into_iter()
        .map(slug)
        .find(|stem| !stem.is_empty())
        .unwrap_or_else(|| "composite".to_owned())
}

/// Where each rendition goes: one alone to the path itself, several to its name
/// with the rendition's id added.
pub fn paths(path: &Path, renditions: &[String]) -> Vec<PathBuf> {
    if renditions.len() <= 1 {
        return vec![path.to_owned()];
    }
    let stem = path
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned())
        .unwrap_or_default();
    // A name that already ends with one of the ids is not made longer.
    let stem = renditions
        .iter()
        .find_map(|id| stem.strip_suffix(&format!("-{id}")))
        .unwrap_or(&stem);
    let ending = path
        .extension()
        .map(|ending| format!(".{}", ending.to_string_lossy()))
        .unwrap_or_default();
    renditions
        .iter()
        .map(|id| path.with_file_name(format!("{stem}-{id}{ending}")))
        .collect()
}

/// A depth in words.
pub fn depth_words(depth: Depth) -> &'static str {
    match depth {
        Depth::Eight => "8 bit",
        Depth::Sixteen => "16 bit",
        Depth::Float32 => "32-bit float",
    }
}

/// Bytes as people read them: `26.1 MB`.
pub fn bytes_words(bytes: u64) -> String {
    let mut value = bytes as f64;
    for unit in ["B", "kB", "MB", "GB"] {
        if value < 1000.0 {
            let digits = usize::from(value < 100.0 && unit != "B");
            return format!("{value:.digits$} {unit}");
        }
        value /= 1000.0;
    }
    format!("{value:.1} TB")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typed_names_keep_what_only_looks_like_an_ending() {
        assert_eq!(retyped(" shell.tif ", true, "png"), "shell.png");
        assert_eq!(retyped("shell", false, "png"), "shell.png");
        assert_eq!(retyped("shell 1.5", false, "png"), "shell 1.5.png");
        let folder = Path::new("./");
        assert_eq!(placed(folder, " shell.png"), Path::new("shell.png"));
        assert_eq!(placed(folder, "/x/shell.png"), Path::new("/x/shell.png"));
    }

    #[test]
    fn sizes_keep_their_shape_and_are_never_enlarged() {
        let size = Size {
            width: 6200,
            height: 4100,
        };
        assert_eq!(fitted(size, None), size);
        assert_eq!(fitted(size, Some(9000)), size);
        let small = fitted(size, Some(2048));
        assert_eq!((small.width, small.height), (2048, 1354));
        let thin = Size {
            width: 10_000,
            height: 1,
        };
        assert_eq!(fitted(thin, Some(10)).height, 1);
    }

    #[test]
    fn several_renditions_get_names_of_their_own() {
        let ids = ["mapped".to_owned(), "natural".to_owned()];
        let path = Path::new("a/lantern-mapped.tif");
        assert_eq!(paths(path, &ids[..1]), [path]);
        assert_eq!(
            paths(path, &ids),
            [path, Path::new("a/lantern-natural.tif")]
        );
        assert_eq!(
            paths(Path::new("web.jpg"), &ids)[1],
            Path::new("web-natural.jpg")
        );
    }

    #[test]
    fn what_stands_in_the_way_is_found() {
        let root = tempfile::tempdir().expect("folder");
        let text = "recipe = 1\n[[channel]]\nid = \"ha\"\nfile = \"ha.fits\"\nline = \"Ha\"\n\
            [channel.stretch]\nblack = 0\nwhite = 1\n[[rendition]]\nid = \"r\"\n\
            colors = { ha = \"natural\" }\n";
        let recipe = crate::engine::recipe::text::parse(text, "test").expect("sound");
        std::fs::write(root.path().join("ha.fits"), b"x").expect("file");
        std::fs::write(root.path().join("old.png"), b"x").expect("file");
        let found = |name: &str| findings(&recipe, root.path(), &[root.path().join(name)]);
        assert_eq!(found("new.tif"), []);
        for (name, word) in [
            ("ha.fits", "one of the inputs"),
            ("new.webp", "webp"),
            ("new", "no ending"),
            ("sub/new.tif", "not there"),
        ] {
            let found = found(name);
            assert!(found[0].stops && found[0].what.contains(word), "{found:?}");
            assert!(!found[0].hint.is_empty());
        }
        let old = found("old.png");
        assert!(!old[0].stops && old[0].what.contains("replaced"), "{old:?}");
    }

    #[test]
    fn bytes_are_rounded_as_people_read_them() {
        for (bytes, words) in [
            (0, "0 B"),
            (999, "999 B"),
            (1500, "1.5 kB"),
            (26_100_000, "26.1 MB"),
            (153_000_000, "153 MB"),
        ] {
            assert_eq!(bytes_words(bytes), words);
        }
    }
}
