//! A file appears whole or not at all.
//!
//! The bytes go to a temporary file in the target's own folder, which takes the
//! target's name only when everything is on the disk. Until then an old file
//! keeps its bytes, and whatever fails leaves nothing behind.
//!
//! A target that is a symbolic link stays one: the file it points to is
//! replaced, in its own folder, as if that name had been given. Something that
//! is no file (a folder, a device) is never replaced.

use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use tempfile::NamedTempFile;

use super::error::WriteError;

/// How the names of temporary files begin.
pub const PREFIX: &str = ".linehue-";

/// Links that are followed before they count as a loop, as Linux does.
const MOST_LINKS: usize = 40;

/// Bytes read at a time for the hash.
const HASH_BUFFER: usize = 1 << 20;

/// A file in the making. Dropping it removes it.
#[derive(Debug)]
pub struct Draft {
    temporary: NamedTempFile,
    /// The name as given, for messages.
    named: PathBuf,
    /// The file that will be replaced, links followed.
    place: PathBuf,
}

impl Draft {
    /// Opens a temporary file beside `path`.
    ///
    /// # Errors
    /// [`WriteError::Place`] where the folder is missing or refuses files, or
    /// where `path` is something else than a file.
    pub fn create(path: &Path) -> Result<Self, WriteError> {
        let place = follow_links(path)?;
        let old = old_file(path, &place)?;
        let folder = folder_of(&place);
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            // The system takes the umask off, as it does for any new file.
            builder.permissions(fs::Permissions::from_mode(0o666));
        }
        let temporary = builder
            .tempfile_in(folder)
            .map_err(|source| place_error(path, &source))?;
        if let Some(old) = old {
            let permissions = old.permissions();
            if permissions.readonly() {
                return Err(WriteError::Place {
                    path: path.to_owned(),
                    what: "is there already and is read-only".to_owned(),
                    hint: "allow writing to it, or choose another name".to_owned(),
                });
            }
            temporary
                .as_file()
                .set_permissions(permissions)
                .map_err(WriteError::disk(path))?;
        }
        Ok(Self {
            temporary,
            named: path.to_owned(),
            place,
        })
    }

    /// The temporary file, to write to.
    pub fn file(&self) -> &File {
        self.temporary.as_file()
    }

    /// The name as given.
    pub fn path(&self) -> &Path {
        &self.named
    }

    /// Forces the bytes to the disk, hashing them meanwhile from the system's
    /// cache.
    ///
    /// # Errors
    /// Whatever the disk says; the temporary file is removed then.
    pub fn seal(self) -> Result<Sealed, WriteError> {
        let file = self.temporary.as_file();
        let (synced, hashed) = std::thread::scope(|scope| {
            let syncing = scope.spawn(|| file.sync_all());
            let hashed = hash_file(file);
            let synced = syncing
                .join()
                .unwrap_or_else(|_| Err(io::Error::other("syncing stopped")));
            (synced, hashed)
        });
        synced.map_err(WriteError::disk(&self.named))?;
        let (sha256, bytes) = hashed.map_err(WriteError::disk(&self.named))?;
        Ok(Sealed {
            draft: self,
            sha256,
            bytes,
        })
    }
}

/// A file that is complete and on the disk, but does not have its name yet.
/// Dropping it removes it.
#[derive(Debug)]
pub struct Sealed {
    draft: Draft,
    /// SHA-256 of all bytes, lower-case hex.
    pub sha256: String,
    /// How many bytes.
    pub bytes: u64,
}

impl Sealed {
    /// Gives the file its name.
    ///
    /// # Errors
    /// Whatever the disk says; the file is removed then.
    pub fn publish(self) -> Result<(), WriteError> {
        let Draft {
            temporary,
            named,
            place,
        } = self.draft;
        temporary
            .persist(&place)
            .map_err(|error| WriteError::disk(&named)(error.error))?;
        // The file is whole by now and in its place. That the folder remembers
        // its new name across a power cut is asked for as well; some file
        // systems cannot sync folders, which is no reason to call it failed.
        #[cfg(unix)]
        if let Ok(folder) = File::open(folder_of(&place)) {
            folder.sync_all().ok();
        }
        Ok(())
    }
}

/// Writes a small file whole or not at all.
///
/// # Errors
/// [`WriteError::Place`] or [`WriteError::Disk`].
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), WriteError> {
    prepare_whole(path, bytes)?.publish()
}

/// Writes a small file beside its place; it still has to be published.
///
/// # Errors
/// [`WriteError::Place`] or [`WriteError::Disk`].
pub fn prepare_whole(path: &Path, bytes: &[u8]) -> Result<Sealed, WriteError> {
    let draft = Draft::create(path)?;
    draft
        .file()
        .write_all(bytes)
        .map_err(WriteError::disk(path))?;
    draft.seal()
}

/// Tries whether a file could be made at `path`, and leaves nothing there.
///
/// # Errors
/// [`WriteError::Place`].
pub fn try_place(path: &Path) -> Result<(), WriteError> {
    Draft::create(path).map(drop)
}

/// Bytes as lower-case hex.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn hash_file(mut file: &File) -> io::Result<(String, u64)> {
    file.seek(SeekFrom::Start(0))?;
    let mut hash = Sha256::new();
    let mut buffer = vec![0; HASH_BUFFER];
    let mut bytes = 0;
    loop {
        match file.read(&mut buffer) {
            Ok(0) => break,
            Ok(count) => {
                hash.update(&buffer[..count]);
                bytes += count as u64;
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok((hex(&hash.finalize()), bytes))
}

/// The folder of a file; a bare name lies in the current one.
fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Follows symbolic links to the file itself, which need not exist.
fn follow_links(path: &Path) -> Result<PathBuf, WriteError> {
    let mut place = path.to_owned();
    for _ in 0..MOST_LINKS {
        match fs::symlink_metadata(&place) {
            Ok(meta) if meta.is_symlink() => {
                let next = fs::read_link(&place).map_err(WriteError::disk(path))?;
                place = folder_of(&place).join(next);
            }
            _ => return Ok(place),
        }
    }
    Err(WriteError::Place {
        path: path.to_owned(),
        what: "is a symbolic link that leads to itself".to_owned(),
        hint: "remove the link, or choose another name".to_owned(),
    })
}

/// What lies at the place now: a file, nothing, or something not to touch.
fn old_file(path: &Path, place: &Path) -> Result<Option<fs::Metadata>, WriteError> {
    if place.file_name().is_none() {
        return Err(WriteError::Place {
            path: path.to_owned(),
            what: "is no file name".to_owned(),
            hint: "name a file, such as lantern.tif".to_owned(),
        });
    }
    match fs::metadata(place) {
        Ok(meta) if meta.is_file() => Ok(Some(meta)),
        Ok(meta) => Err(WriteError::Place {
            path: path.to_owned(),
            what: if meta.is_dir() {
                "is a folder"
            } else {
                "is a device, not a file"
            }
            .to_owned(),
            hint: "name a file, such as lantern.tif".to_owned(),
        }),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(place_error(path, &error)),
    }
}

fn place_error(path: &Path, error: &io::Error) -> WriteError {
    let folder = folder_of(path).display();
    let (what, hint) = match error.kind() {
        io::ErrorKind::NotFound => (
            format!("the folder {folder} does not exist"),
            "make the folder, or correct its name".to_owned(),
        ),
        io::ErrorKind::NotADirectory => (
            format!("{folder} is not a folder"),
            "choose a folder that exists".to_owned(),
        ),
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => (
            format!("no file may be made in the folder {folder}"),
            "choose a folder that you may write to".to_owned(),
        ),
        io::ErrorKind::StorageFull => (
            format!("the disk that holds {folder} is full"),
            "free some space or choose another disk".to_owned(),
        ),
        _ => (
            format!("no file can be made in the folder {folder}: {error}"),
            "choose another folder".to_owned(),
        ),
    };
    WriteError::Place {
        path: path.to_owned(),
        what,
        hint,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<_> = fs::read_dir(folder)
            .expect("the folder is there")
            .map(|entry| {
                entry
                    .expect("an entry")
                    .file_name()
                    .to_string_lossy()
                    .into_owned()
            })
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_is_replaced_whole_or_left_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("lantern.toml");
        write_whole(&path, b"old").expect("written");
        let draft = Draft::create(&path).expect("a draft");
        draft.file().write_all(b"half of the n").expect("written");
        assert_eq!(fs::read(&path).expect("read"), b"old");
        assert_eq!(names(folder.path()).len(), 2);
        drop(draft);
        assert_eq!(names(folder.path()), ["lantern.toml"]);
        write_whole(&path, b"new").expect("written");
        assert_eq!(fs::read(&path).expect("read"), b"new");
        assert_eq!(names(folder.path()), ["lantern.toml"]);
    }

    #[test]
    fn the_hash_is_that_of_the_standard() {
        let folder = tempfile::tempdir().expect("a folder");
        let draft = Draft::create(&folder.path().join("abc")).expect("a draft");
        draft.file().write_all(b"abc").expect("written");
        // FIPS 180-2, appendix B.1.
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        let sealed = draft.seal().expect("sealed");
        assert_eq!((sealed.sha256.as_str(), sealed.bytes), (expected, 3));
    }

    #[test]
    fn places_that_are_none_say_why() {
        let folder = tempfile::tempdir().expect("a folder");
        let missing = folder.path().join("no/such/lantern.tif");
        let error = try_place(&missing).expect_err("no folder");
        assert!(error.to_string().contains("does not exist"), "{error}");
        assert!(error.hint().contains("make the folder"));
        let error = try_place(folder.path()).expect_err("a folder");
        assert!(error.to_string().contains("is a folder"), "{error}");
        write_whole(&folder.path().join("file"), b"").expect("written");
        let error = try_place(&folder.path().join("file/lantern.tif")).expect_err("in a file");
        assert!(error.to_string().contains("is not a folder"), "{error}");
        assert_eq!(names(folder.path()), ["file"]);
    }

    #[cfg(unix)]
    #[test]
    fn modes_and_links_stay() {
        use std::os::unix::fs::{PermissionsExt as _, symlink};
        let folder = tempfile::tempdir().expect("a folder");
        let (path, link) = (folder.path().join("real"), folder.path().join("link"));
        symlink("real", &link).expect("a link");
        write_whole(&link, b"made through a link that led nowhere").expect("written");
        let plain = folder.path().join("plain");
        File::create(&plain).expect("made the usual way");
        let mode = |path: &Path| fs::metadata(path).expect("meta").permissions().mode() & 0o777;
        assert_eq!(mode(&path), mode(&plain), "a new file has the usual mode");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).expect("set");
        write_whole(&link, b"new").expect("written");
        assert_eq!(mode(&path), 0o640);
        assert!(fs::symlink_metadata(&link).expect("meta").is_symlink());
        assert_eq!(fs::read(&path).expect("read"), b"new");
        symlink("ring", folder.path().join("ring")).expect("a link");
        let error = try_place(&folder.path().join("ring")).expect_err("a ring");
        assert!(error.to_string().contains("leads to itself"), "{error}");
        let device = try_place(Path::new("/dev/null")).expect_err("a device");
        assert!(device.to_string().contains("device"), "{device}");
    }
}
