//! Paths as people type them.

use std::path::{Path, PathBuf};

/// A typed path: blanks and quotes around it go, a leading `~` is the home
/// folder, `file://` addresses are decoded.
pub fn typed(text: &str) -> PathBuf {
    let text = text.trim();
    let text = match text.as_bytes() {
        [b'"', .., b'"'] | [b'\'', .., b'\''] if text.len() >= 2 => &text[1..text.len() - 1],
        _ => text,
    };
    if let Some(address) = text.strip_prefix("file://") {
        return PathBuf::from(decoded(address));
    }
    if let Some(rest) = text.strip_prefix('~')
        && (rest.is_empty() || rest.starts_with(['/', '\\']))
        && let Some(home) = directories::BaseDirs::new()
    {
        let rest = rest.trim_start_matches(['/', '\\']);
        return home.home_dir().join(rest);
    }
    PathBuf::from(text)
}

fn decoded(address: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = address.bytes();
    while let Some(byte) = rest.next() {
        let pair = (byte == b'%').then(|| rest.clone().take(2).collect::<Vec<_>>());
        let code = pair
            .and_then(|pair| String::from_utf8(pair).ok())
            .and_then(|pair| u8::from_str_radix(&pair, 16).ok());
        match code {
            Some(code) => {
                bytes.push(code);
                rest.nth(1);
            }
            None => bytes.push(byte),
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Paths that begin like the typed one, folders with a `/` at the end, at most
/// `most` of them, in order.
pub fn completions(text: &str, most: usize) -> Vec<String> {
    let path = typed(text);
    let ends_in_folder = text.ends_with(['/', '\\']);
    let (folder, start) = if ends_in_folder {
        (path.as_path(), String::new())
    } else {
        let start = path
            .file_name()
            .map(|name| name.to_string_lossy().to_lowercase())
            .unwrap_or_default();
        (path.parent().unwrap_or(Path::new("")), start)
    };
    let look_in = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    let Ok(entries) = std::fs::read_dir(look_in) else {
        return Vec::new();
    };
    let mut found: Vec<String> = entries
        .filter_map(|entry| {
            let entry = entry.ok()?;
            let name = entry.file_name().into_string().ok()?;
            let fits = name.to_lowercase().starts_with(&start);
            let hidden = name.starts_with('.') && !start.starts_with('.');
            if !fits || hidden {
                return None;
            }
            let mut whole = folder.join(&name).to_string_lossy().into_owned();
            if entry.path().is_dir() {
                whole.push('/');
            }
            Some(whole)
        })
        .collect();
    found.sort_unstable();
    found.truncate(most);
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_type_or_paste_is_understood() {
        assert_eq!(typed("  a b.fits "), PathBuf::from("a b.fits"));
        assert_eq!(
            typed("\"/x/[O III].fits\""),
            PathBuf::from("/x/[O III].fits")
        );
        assert_eq!(
            typed("file:///x/a%20b%5B1%5D.fits"),
            PathBuf::from("/x/a b[1].fits")
        );
        assert_eq!(typed("file:///x/100%.fits"), PathBuf::from("/x/100%.fits"));
        assert_eq!(typed("~x"), PathBuf::from("~x"));
    }

    #[test]
    fn completions_are_of_the_typed_folder() {
        let folder = tempfile::tempdir().expect("folder");
        for name in ["Ha.fits", "hb.fits", "oiii.fits", ".hidden"] {
            std::fs::write(folder.path().join(name), b"").expect("file");
        }
        std::fs::create_dir(folder.path().join("hours")).expect("folder");
        let typed = folder.path().join("H").to_string_lossy().into_owned();
        let names: Vec<String> = completions(&typed, 10)
            .into_iter()
            .map(|path| path[folder.path().to_string_lossy().len() + 1..].to_owned())
            .collect();
        assert_eq!(names, ["Ha.fits", "hb.fits", "hours/"]);
        let all = format!("{}/", folder.path().display());
        assert_eq!(completions(&all, 10).len(), 4);
        assert_eq!(completions(&all, 2).len(), 2);
    }
}
