//! The rows of one plane, unpacked strip by strip or tile by tile.
//!
//! Chunks are independent of each other, so rows can be had in any order and
//! from any thread. Plain data are read where they lie. A packed row of chunks
//! that is wanted in full goes straight to the caller; one that is taller than
//! the band is kept for the next bands.

use std::io::{self, Read};
use std::ops::Range;
use std::sync::{Arc, Mutex, PoisonError};

use super::page::Page;
use super::source::Source;
use super::unpack::Compression;
use crate::engine::frame::{Rows, RowsError, Size};
use crate::io::read::ReadError;
use crate::io::read::raster::samples::RowLayout;
use crate::io::read::raster::{damaged, rows_asked, system};

/// Rows of chunks are kept two at a time up to this many values each (256 MiB
/// for both), so that threads at the border of two do not undo each other.
const KEEP_TWO_AT_MOST: usize = 32 << 20;

/// One plane of a page.
pub struct Chunks {
    source: Arc<Source>,
    page: Page,
    plane: usize,
    row: RowLayout,
    kept: Mutex<Vec<(usize, Arc<Vec<f32>>)>>,
}

impl Chunks {
    /// A plane (from 0) that [`Page::check_plane`] found sound.
    pub fn new(source: Arc<Source>, page: Page, plane: usize) -> Self {
        let row = page.row(plane);
        Self {
            source,
            page,
            plane,
            row,
            kept: Mutex::new(Vec::new()),
        }
    }

    /// The whole picture rows of the chunks number `down`, from memory if possible.
    fn kept(&self, down: usize) -> Result<Arc<Vec<f32>>, ReadError> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, values)) = kept.iter().find(|(index, _)| *index == down) {
            return Ok(Arc::clone(values));
        }
        let rows = self.page.rows_in(down);
        let length = rows * self.page.size.width;
        let keep = if length <= KEEP_TWO_AT_MOST { 2 } else { 1 };
        kept.truncate(keep - 1);
        let mut values = vec![0.0; length];
        self.unpack(down, 0..rows, &mut values)?;
        let values = Arc::new(values);
        kept.insert(0, (down, Arc::clone(&values)));
        Ok(values)
    }

    /// Unpacks `rows` (counted within the chunks) of the chunks number `down`
    /// into `out`, whole picture rows.
    fn unpack(&self, down: usize, rows: Range<usize>, out: &mut [f32]) -> Result<(), ReadError> {
        let width = self.page.size.width;
        let row_bytes = self.row.row_bytes().unwrap_or(0);
        let mut packed_row = vec![0; row_bytes as usize];
        for across in 0..self.page.across() {
            let index = self.page.chunk_index(self.plane, down, across);
            let fail = |error: &io::Error| self.failed(index, error);
            let (mut offset, mut length) = self.page.section(&self.source, index);
            let mut skip = rows.start;
            if self.page.compression == Compression::None {
                let before = row_bytes * rows.start as u64;
                offset += before;
                length = length
                    .saturating_sub(before)
                    .min(row_bytes * rows.len() as u64);
                skip = 0;
            }
            let section = self.source.section(offset, length, self.page.reversed);
            let mut stream = self.page.compression.unpack(section);
            for _ in 0..skip {
                stream
                    .read_exact(&mut packed_row)
                    .map_err(|error| fail(&error))?;
            }
            let left = across * self.page.chunk_width();
            let columns = left..width.min(left + self.page.chunk_width());
            for out_row in out.chunks_exact_mut(width) {
                stream
                    .read_exact(&mut packed_row)
                    .map_err(|error| fail(&error))?;
                self.row
                    .decode(&mut packed_row, &mut out_row[columns.clone()]);
            }
            if self.page.compression == Compression::Deflate && rows.end == self.page.chunk_rows() {
                checksum(&mut stream).map_err(|error| fail(&error))?;
            }
        }
        Ok(())
    }

    /// What went wrong in a chunk.
    fn failed(&self, index: usize, error: &io::Error) -> ReadError {
        match error.kind() {
            io::ErrorKind::UnexpectedEof => damaged(
                self.source.path(),
                format!("strip or tile {index} holds fewer pixels than it should"),
            ),
            io::ErrorKind::InvalidData | io::ErrorKind::InvalidInput => damaged(
                self.source.path(),
                format!("strip or tile {index} cannot be unpacked: {error}"),
            ),
            _ => system(self.source.path(), error),
        }
    }
}

/// Lets the decoder see the end of its stream, where the checksum is. A stream
/// that is cut right before it, or goes on, is let through.
fn checksum(stream: &mut impl Read) -> io::Result<()> {
    match stream.read(&mut [0]) {
        Err(error) if error.kind() != io::ErrorKind::UnexpectedEof => Err(error),
        _ => Ok(()),
    }
}

impl Rows for Chunks {
    fn size(&self) -> Size {
        self.page.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let Size { width, .. } = self.page.size;
        let rows = rows_asked(self.source.path(), self.page.size, first_row, out.len())?;
        let chunk_rows = self.page.chunk_rows();
        let end = first_row + rows;
        let mut row = first_row;
        while row < end {
            let down = row / chunk_rows;
            let top = down * chunk_rows;
            let inside = row - top..self.page.rows_in(down).min(end - top);
            let out = &mut out[(row - first_row) * width..][..inside.len() * width];
            row += inside.len();
            if self.page.compression == Compression::None || inside.len() == self.page.rows_in(down)
            {
                self.unpack(down, inside, out)?;
            } else {
                let values = self.kept(down)?;
                out.copy_from_slice(&values[inside.start * width..inside.end * width]);
            }
        }
        Ok(())
    }
}
