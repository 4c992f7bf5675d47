//! The folder of a page: it appears whole or not at all.
//!
//! Files are gathered in a hidden folder beside the target, which takes the
//! target's name at the end. A list of them, `page.json`, lies among them; a
//! folder that holds anything else is never replaced.

use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use tempfile::TempDir;

use super::is_one_file;
use crate::io::write::WriteError;
use crate::io::write::atomic::{PREFIX, hex, write_whole};
use crate::work::Error;
use crate::work::inputs::folder_of;

/// The list of a page's files.
pub const LIST: &str = "page.json";

/// The format version of the list.
const VERSION: u32 = 1;

#[derive(Debug, Serialize, Deserialize)]
struct List {
    page: u32,
    software: String,
    title: String,
    files: Vec<Entry>,
}

#[derive(Debug, Serialize, Deserialize)]
struct Entry {
    path: String,
    bytes: u64,
    sha256: String,
}

/// A page's files in the making. Dropping it removes them.
pub struct Staging {
    folder: TempDir,
    files: Vec<String>,
}

impl Staging {
    /// Opens a hidden folder beside the page to be.
    ///
    /// # Errors
    /// Where no folder can be made there.
    pub fn new(out: &Path) -> Result<Self, Error> {
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            // The system takes the umask off, as it does for any new folder.
            builder.permissions(fs::Permissions::from_mode(0o777));
        }
        let folder = builder
            .tempdir_in(place(out)?.0)
            .map_err(WriteError::disk(out))?;
        Ok(Self {
            folder,
            files: Vec::new(),
        })
    }

    /// Where a file of the page lies meanwhile.
    pub fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// An error that names a file of the page where it will be, not where it lies
    /// meanwhile.
    pub fn named(hidden: &Path, out: &Path, error: Error) -> Error {
        let Error::Write(mut error) = error else {
            return error;
        };
        let path = error.path_mut();
        if let Ok(rest) = path.strip_prefix(hidden) {
            *path = match is_one_file(out) || rest.as_os_str().is_empty() {
                true => out.to_owned(),
                false => out.join(rest),
            };
        }
        error.into()
    }

    /// The hidden folder.
    pub fn folder(&self) -> PathBuf {
        self.folder.path().to_owned()
    }

    /// Counts a file that was written there as one of the page's.
    pub fn keep(&mut self, name: &str) {
        self.files.push(name.to_owned());
    }

    /// Removes a file that was written there.
    ///
    /// # Errors
    /// Whatever the disk says.
    pub fn discard(&self, name: &str) -> Result<(), Error> {
        let path = self.at(name);
        Ok(fs::remove_file(&path).map_err(WriteError::disk(&path))?)
    }

    /// Writes a file of the page; `name` may have folders, with `/`.
    ///
    /// # Errors
    /// Whatever the disk says.
    pub fn add(&mut self, name: &str, bytes: &[u8]) -> Result<(), Error> {
        let path = self.room_for(name)?;
        write_whole(&path, bytes)?;
        self.keep(name);
        Ok(())
    }

    /// Makes the folders for a file of the page; gives where it goes.
    ///
    /// # Errors
    /// Whatever the disk says.
    pub fn room_for(&self, name: &str) -> Result<PathBuf, Error> {
        let path = self.at(name);
        fs::create_dir_all(folder_of(&path)).map_err(WriteError::disk(&path))?;
        Ok(path)
    }

    /// The bytes of a file of the page.
    ///
    /// # Errors
    /// Whatever the disk says.
    pub fn bytes(&self, name: &str) -> Result<Vec<u8>, Error> {
        let path = self.at(name);
        Ok(fs::read(&path).map_err(WriteError::disk(&path))?)
    }

    /// Writes the list and gives the folder its name. Gives how many bytes the
    /// files have.
    ///
    /// # Errors
    /// Whatever the disk says; an old page stays as it was.
    pub fn publish(self, out: &Path, title: &str) -> Result<u64, Error> {
        let entries = self
            .files
            .iter()
            .map(|name| {
                let bytes = self.bytes(name)?;
                Ok(Entry {
                    path: name.clone(),
                    bytes: bytes.len() as u64,
                    sha256: hex(&Sha256::digest(&bytes)),
                })
            })
            .collect::<Result<Vec<Entry>, Error>>()?;
        let total = entries.iter().map(|entry| entry.bytes).sum();
        let list = List {
            page: VERSION,
            software: format!("Linehue {}", env!("CARGO_PKG_VERSION")),
            title: title.to_owned(),
            files: entries,
        };
        let text = serde_json::to_string_pretty(&list).map_err(io::Error::other);
        let text = text.map_err(WriteError::disk(out))? + "\n";
        write_whole(&self.at(LIST), text.as_bytes())?;
        self.swap(out).map_err(WriteError::disk(out))?;
        Ok(total)
    }

    // The old page waits aside until the new one has its name.
    fn swap(self, out: &Path) -> io::Result<()> {
        let (folder, target) = place(out).map_err(io::Error::other)?;
        let aside = tempfile::Builder::new().prefix(PREFIX).tempdir_in(folder)?;
        let old = aside.path().join("old");
        let there = target.exists();
        if there {
            // Somebody may have added files since the first look.
            look(&target).map_err(io::Error::other)?;
            fs::rename(&target, &old)?;
        }
        if let Err(error) = fs::rename(self.folder.path(), &target) {
            if there && fs::rename(&old, &target).is_err() {
                // Better a hidden old page than none.
                let kept = aside.keep();
                return Err(io::Error::other(format!(
                    "{error}; the old page is in {}",
                    kept.display()
                )));
            }
            return Err(error);
        }
        // It has another name now: there is nothing to remove.
        drop(self.folder.keep());
        Ok(())
    }
}

// The folder that the page's own folder is in, and the latter, links followed.
fn place(out: &Path) -> Result<(PathBuf, PathBuf), Error> {
    let named = |target: &Path| {
        let name = target.file_name()?;
        let folder = folder_of(target).canonicalize().ok()?;
        let whole = folder.join(name);
        Some((folder, whole))
    };
    let target = out.canonicalize().unwrap_or_else(|_| out.to_owned());
    named(&target).ok_or_else(|| {
        let folder = folder_of(out);
        if out.file_name().is_none() {
            return Error::request(
                format!("{} is no name for a page", out.display()),
                "name a folder, such as lantern-page",
            );
        }
        Error::request(
            format!(
                "{}: the folder {} does not exist",
                out.display(),
                folder.display()
            ),
            "make the folder, or correct its name",
        )
    })
}

/// Says before any work what stands in a folder's way: it is no page of ours, or
/// holds one of `inputs`. Gives whether an old page would be replaced.
///
/// # Errors
/// The reason, with a way out.
pub fn check(out: &Path, inputs: &[PathBuf]) -> Result<bool, Error> {
    let (_, target) = place(out)?;
    if std::env::current_dir().is_ok_and(|here| here.starts_with(&target)) {
        return Err(Error::request(
            format!("{} is the folder you are in", out.display()),
            "name a new folder, such as lantern-page",
        ));
    }
    let replaces = target.exists() && look(&target)?;
    for input in inputs {
        if input
            .canonicalize()
            .is_ok_and(|path| path.starts_with(&target))
        {
            return Err(Error::request(
                format!(
                    "{} holds {}, which the page is made from",
                    out.display(),
                    input.file_name().unwrap_or_default().to_string_lossy()
                ),
                "choose another folder",
            ));
        }
    }
    Ok(replaces)
}

// Whether a page of ours is there, or nothing.
fn look(target: &Path) -> Result<bool, Error> {
    let refused = |what: String, hint: &str| {
        Err(Error::request(
            format!("{} {what}", target.display()),
            hint.to_owned(),
        ))
    };
    if !target.is_dir() {
        return refused(
            "is a file; a page is a folder, or a file that ends in .html".to_owned(),
            "choose another name",
        );
    }
    let mut there = Vec::new();
    gather(target, "", &mut there).map_err(WriteError::disk(target))?;
    if there.is_empty() {
        return Ok(false);
    }
    let list = fs::read(target.join(LIST)).ok();
    let Some(list) = list.and_then(|text| serde_json::from_slice::<List>(&text).ok()) else {
        return refused(
            "is no page that Linehue made, and is not empty".to_owned(),
            "choose another folder, or empty this one",
        );
    };
    let own: BTreeSet<&str> = list.files.iter().map(|entry| entry.path.as_str()).collect();
    match there
        .iter()
        .find(|name| *name != LIST && !own.contains(name.as_str()))
    {
        Some(other) => refused(
            format!("holds {other}, which is not of the page"),
            "move that elsewhere, or choose another folder",
        ),
        None => Ok(true),
    }
}

// The names of everything below a folder, with `/`; an empty folder counts as
// its name with a `/` at its end.
fn gather(folder: &Path, before: &str, into: &mut Vec<String>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = format!("{before}{}", entry.file_name().to_string_lossy());
        if entry.file_type()?.is_dir() {
            let already = into.len();
            gather(&entry.path(), &format!("{name}/"), into)?;
            if into.len() == already {
                into.push(format!("{name}/"));
            }
        } else {
            into.push(name);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page(out: &Path, words: &str) -> Result<u64, Error> {
        let mut staging = Staging::new(out)?;
        staging.add("index.html", words.as_bytes())?;
        staging.add("files/a/b.json", b"{}")?;
        staging.publish(out, "</script>\"\u{1}")
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names = Vec::new();
        gather(folder, "", &mut names).expect("read");
        names.sort();
        names
    }

    #[test]
    fn a_page_is_replaced_whole_and_nothing_else_is() {
        let root = tempfile::tempdir().expect("folder");
        let out = root.path().join("page");
        assert_eq!(page(&out, "one").expect("written"), 5);
        assert!(check(&out, &[]).expect("ours"));
        assert_eq!(page(&out, "two!").expect("written"), 6);
        assert_eq!(fs::read(out.join("index.html")).expect("read"), b"two!");
        let all = ["page/files/a/b.json", "page/index.html", "page/page.json"];
        assert_eq!(names(root.path()), all);
        // What somebody added stays, whatever it takes.
        fs::write(out.join("notes.txt"), "mine").expect("written");
        let error = check(&out, &[]).expect_err("not ours alone");
        assert!(error.to_string().contains("notes.txt"), "{error}");
        assert!(page(&out, "three").is_err());
        assert_eq!(fs::read(out.join("index.html")).expect("read"), b"two!");
        assert_eq!(names(root.path()).len(), 4);
    }

    #[test]
    fn a_page_that_is_given_up_leaves_nothing() {
        let root = tempfile::tempdir().expect("folder");
        let mut staging = Staging::new(&root.path().join("page")).expect("begun");
        staging.add("index.html", b"half").expect("written");
        drop(staging);
        assert!(names(root.path()).is_empty());
    }

    #[test]
    fn folders_that_are_no_place_say_why() {
        let root = tempfile::tempdir().expect("folder");
        let at = |name: &str| root.path().join(name);
        let said = |out: &Path, inputs: &[PathBuf]| {
            let error = check(out, inputs).expect_err("no place");
            assert!(!error.hint().is_empty());
            error.to_string()
        };
        fs::create_dir(at("stacks")).expect("made");
        assert!(!check(&at("stacks"), &[]).expect("empty"));
        fs::write(at("stacks/ha.fits"), "x").expect("written");
        assert!(said(&at("stacks"), &[]).contains("no page that Linehue made"));
        let out = at("page");
        page(&out, "one").expect("written");
        assert!(said(&out, &[out.join("files/a/b.json")]).contains("holds b.json"));
        assert!(said(&at("stacks/ha.fits"), &[]).contains("is a file"));
        assert!(said(&at("no/such"), &[]).contains("does not exist"));
        assert!(said(Path::new("."), &[]).contains("the folder you are in"));
    }
}
