//! Rows straight from an uncompressed file: positioned reads, no lock.

use std::cell::RefCell;
use std::fs::File;
use std::path::PathBuf;

use super::values::Coding;
use super::walk::{FileForward, Forward};
use crate::engine::frame::{Rows, RowsError, Size};
use crate::io::read::ReadError;

/// Bytes read at a time: small enough to stay in the processor's cache.
const PIECE: usize = 256 << 10;

thread_local! {
    /// Every thread reads into its own bytes, again and again.
    static BYTES: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
}

/// One plane of an uncompressed image.
pub(super) struct PlainRows {
    pub file: File,
    pub path: PathBuf,
    pub size: Size,
    pub coding: Coding,
    /// Offset of the plane's first sample.
    pub offset: u64,
}

impl Rows for PlainRows {
    fn size(&self) -> Size {
        self.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let sample = self.coding.stored.bytes();
        let start = self.offset + (first_row as u64) * (self.size.width as u64) * sample as u64;
        let mut source = FileForward {
            file: &self.file,
            length: u64::MAX,
            position: start,
        };
        BYTES.with_borrow_mut(|bytes| {
            bytes.resize(PIECE, 0);
            for values in out.chunks_mut(PIECE / sample) {
                let bytes = &mut bytes[..values.len() * sample];
                let count = source.read(bytes).map_err(|error| ReadError::System {
                    path: self.path.clone(),
                    what: format!("cannot be read: {error}"),
                })?;
                if count < bytes.len() {
                    return Err(RowsError::from(ReadError::Damaged {
                        path: self.path.clone(),
                        what: "the file became shorter while it was being read".to_owned(),
                    }));
                }
                self.coding.decode(bytes, values);
            }
            Ok(())
        })
    }
}
