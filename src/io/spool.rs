//! A grey picture in a temporary file: written once from the top, then read in
//! any order. Keeps what was costly to make (a decoded or resampled channel) out
//! of memory, however large it is.

use std::fs::File;
use std::io::{BufWriter, Write as _};

use crate::engine::frame::{BAND_ROWS, Rows, RowsError, Size};

/// A finished spool. Its file goes when it is dropped.
#[derive(Debug)]
pub struct Spool {
    size: Size,
    file: File,
}

fn failed(error: &std::io::Error) -> RowsError {
    RowsError {
        message: format!("a temporary file failed: {error}"),
        hint: "free some space where temporary files go, or name another place in TMPDIR"
            .to_owned(),
    }
}

impl Spool {
    /// Reads all rows of a picture into a temporary file. `step` may say
    /// [`RowsError`] to stop, and hears the rows that are done.
    ///
    /// # Errors
    /// What the source meets, what `step` says, or what the disk says.
    pub fn of(
        rows: &dyn Rows,
        step: &dyn Fn(usize) -> Result<(), RowsError>,
    ) -> Result<Self, RowsError> {
        let size = rows.size();
        let file = tempfile::tempfile().map_err(|error| failed(&error))?;
        let mut out = BufWriter::with_capacity(1 << 20, file);
        let mut values = vec![0.0; size.width * BAND_ROWS.min(size.height)];
        let mut bytes = Vec::with_capacity(values.len() * 4);
        for first_row in (0..size.height).step_by(BAND_ROWS) {
            step(first_row)?;
            let count = BAND_ROWS.min(size.height - first_row) * size.width;
            rows.read(first_row, &mut values[..count])?;
            bytes.clear();
            bytes.extend(values[..count].iter().flat_map(|value| value.to_ne_bytes()));
            out.write_all(&bytes).map_err(|error| failed(&error))?;
        }
        let file = out.into_inner().map_err(|error| failed(error.error()))?;
        Ok(Self { size, file })
    }
}

impl Rows for Spool {
    fn size(&self) -> Size {
        self.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let mut bytes = vec![0; out.len() * 4];
        let offset = first_row as u64 * self.size.width as u64 * 4;
        read_at(&self.file, &mut bytes, offset).map_err(|error| failed(&error))?;
        for (value, four) in out.iter_mut().zip(bytes.as_chunks::<4>().0) {
            *value = f32::from_ne_bytes(*four);
        }
        Ok(())
    }
}

#[cfg(unix)]
fn read_at(file: &File, bytes: &mut [u8], offset: u64) -> std::io::Result<()> {
    std::os::unix::fs::FileExt::read_exact_at(file, bytes, offset)
}

#[cfg(windows)]
fn read_at(file: &File, mut bytes: &mut [u8], mut offset: u64) -> std::io::Result<()> {
    while !bytes.is_empty() {
        match std::os::windows::fs::FileExt::seek_read(file, bytes, offset)? {
            0 => return Err(std::io::ErrorKind::UnexpectedEof.into()),
            count => {
                bytes = &mut bytes[count..];
                offset += count as u64;
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Plane;

    #[test]
    fn rows_come_back_in_any_order() {
        let plane = Plane::new(ndarray::Array2::from_shape_fn((150, 7), |(y, x)| {
            (y * 7 + x) as f32
        }));
        let spool = Spool::of(&plane, &|_| Ok(())).expect("spooled");
        assert_eq!(spool.size(), plane.size());
        let mut row = [0.0; 14];
        for first_row in [148, 0, 64, 63] {
            spool.read(first_row, &mut row).expect("reads");
            assert_eq!(row[0], (first_row * 7) as f32);
            assert_eq!(row[13], (first_row * 7 + 13) as f32);
        }
        let stop = RowsError {
            message: "stopped".into(),
            hint: String::new(),
        };
        let stopped = Spool::of(&plane, &|row| {
            if row > 0 { Err(stop.clone()) } else { Ok(()) }
        });
        assert_eq!(stopped.err(), Some(stop));
    }
}
