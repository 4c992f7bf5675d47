//! The rings: imports point inward.
//!
//! Protects the engine from knowing about files, and everything below the
//! commands from knowing about them. `gui`, `cli` -> `work` -> `io` -> `engine`.

use std::fs;
use std::path::{Path, PathBuf};

const RINGS: [(&str, &[&str]); 3] = [
    ("engine", &["io", "work", "cli", "gui"]),
    ("io", &["work", "cli", "gui"]),
    ("work", &["cli", "gui"]),
];

fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("the folder is there") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            into.push(path);
        }
    }
}

// The first names after `crate::` in a line, comments left out.
fn named(line: &str) -> Vec<String> {
    let code = line.split("//").next().unwrap_or_default();
    let mut names = Vec::new();
    for after in code.split("crate::").skip(1) {
        let list = match after.strip_prefix('{') {
            Some(list) => list.split('}').next().unwrap_or(list),
            None => after,
        };
        let parts: Vec<&str> = if after.starts_with('{') {
            list.split(',').collect()
        } else {
            vec![list]
        };
        names.extend(parts.into_iter().map(|part| {
            let is_name = |c: &char| c.is_ascii_alphanumeric() || *c == '_';
            part.trim().chars().take_while(is_name).collect::<String>()
        }));
    }
    names
}

#[test]
fn no_ring_knows_the_ones_outside_it() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    for (ring, outside) in RINGS {
        let mut files = Vec::new();
        sources(&root.join(ring), &mut files);
        assert!(!files.is_empty(), "{ring} is empty");
        for file in files {
            let text = fs::read_to_string(&file).expect("UTF-8");
            for (index, line) in text.lines().enumerate() {
                for name in named(line) {
                    if outside.contains(&name.as_str()) {
                        wrong.push(format!("{}:{}: {line}", file.display(), index + 1));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_engine_touches_neither_files_nor_clocks() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/engine");
    let mut files = Vec::new();
    sources(&root, &mut files);
    let mut wrong = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).expect("UTF-8");
        // Tests at the foot of a file may read what they test against.
        let code = text.split("#[cfg(test)]").next().unwrap_or_default();
        if file.file_name().is_some_and(|name| name == "tests.rs") {
            continue;
        }
        for (index, line) in code.lines().enumerate() {
            let line = line.split("//").next().unwrap_or_default();
            for word in [
                "std::fs",
                "std::net",
                "std::process",
                "Instant::now",
                "SystemTime",
            ] {
                if line.contains(word) {
                    wrong.push(format!("{}:{}: {line}", file.display(), index + 1));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn names_are_found_in_every_kind_of_import() {
    assert_eq!(named("use crate::io::read;"), ["io"]);
    assert_eq!(named("use crate::{io::read, work};"), ["io", "work"]);
    assert_eq!(named("    crate::cli::main() // crate::gui"), ["cli"]);
    assert!(named("// use crate::gui;").is_empty());
}
