//! The bytes of a file, by position and from any thread.

use std::fs::File;
use std::io::{self, Read, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use crate::io::read::ReadError;
use crate::io::read::raster::{damaged, system};

/// An open file of known length.
#[derive(Debug)]
pub struct Source {
    path: PathBuf,
    file: Mutex<File>,
    length: u64,
}

impl Source {
    /// Opens the file.
    pub fn open(path: &Path) -> Result<Self, ReadError> {
        let file = File::open(path).map_err(|error| system(path, &error))?;
        let length = file.metadata().map_err(|error| system(path, &error))?.len();
        Ok(Self {
            path: path.to_owned(),
            file: Mutex::new(file),
            length,
        })
    }

    /// Where the file is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Its length in bytes when it was opened.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// Exactly `length` bytes from `offset` on, checked against the file's
    /// length before memory is taken.
    pub fn bytes(&self, offset: u64, length: u64, what: &str) -> Result<Vec<u8>, ReadError> {
        let inside = offset
            .checked_add(length)
            .is_some_and(|end| end <= self.length);
        let mut bytes = match usize::try_from(length) {
            Ok(length) if inside => vec![0; length],
            _ => {
                return Err(damaged(
                    &self.path,
                    format!(
                        "{what} would need {length} bytes at {offset}, but the file has {}",
                        self.length
                    ),
                ));
            }
        };
        self.section(offset, length, false)
            .read_exact(&mut bytes)
            .map_err(|error| system(&self.path, &error))?;
        Ok(bytes)
    }

    /// A part of the file as a stream; with `reversed` the bits of each byte
    /// are turned round (FillOrder 2).
    pub fn section(&self, offset: u64, length: u64, reversed: bool) -> Section<'_> {
        Section {
            source: self,
            offset,
            left: length,
            reversed,
        }
    }
}

/// A part of a [`Source`].
pub struct Section<'a> {
    source: &'a Source,
    offset: u64,
    left: u64,
    reversed: bool,
}

impl Read for Section<'_> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let most = out
            .len()
            .min(usize::try_from(self.left).unwrap_or(usize::MAX));
        if most == 0 {
            return Ok(0);
        }
        let read = {
            let mut file = self
                .source
                .file
                .lock()
                .unwrap_or_else(PoisonError::into_inner);
            file.seek(SeekFrom::Start(self.offset))?;
            file.read(&mut out[..most])?
        };
        self.offset += read as u64;
        self.left -= read as u64;
        if self.reversed {
            out[..read]
                .iter_mut()
                .for_each(|byte| *byte = byte.reverse_bits());
        }
        Ok(read)
    }
}
