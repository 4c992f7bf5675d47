//! What the writing thread does.

use std::fs::File;
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::sync::mpsc::{SyncSender, sync_channel};

use crate::io::write::atomic::Draft;
use crate::io::write::pieces::Pieces;
use crate::io::write::{Format, Target, WriteError, fits, jpeg, png, tiff};

/// Bytes collected before they go to the system.
const BUFFER: usize = 1 << 18;

/// Bytes after which the system is asked to bring them to the disk.
const WRITE_BACK: usize = 32 << 20;

/// The writing thread: the whole file, from its first byte to its last.
///
/// Beside it a helper asks the system to bring to the disk what is written
/// already, so that little is left to wait for at the end.
pub(super) fn write(
    target: &Target,
    draft: Draft,
    mut pieces: Pieces,
) -> Result<Draft, WriteError> {
    let file = draft.file();
    let (due, dues) = sync_channel(1);
    std::thread::scope(|scope| {
        scope.spawn(move || {
            // What fails here fails again, and is told, when all is synced.
            while dues.recv().is_ok() {
                file.sync_data().ok();
            }
        });
        let out = Flow {
            file,
            due,
            waiting: 0,
        };
        let mut out = BufWriter::with_capacity(BUFFER, out);
        write_as(target, &mut pieces, &mut out).and_then(|()| out.flush())
    })
    .map_err(WriteError::disk(draft.path()))?;
    Ok(draft)
}

fn write_as(target: &Target, pieces: &mut Pieces, out: &mut (impl Write + Seek)) -> io::Result<()> {
    match target.format {
        Format::Tiff => tiff::write(target, pieces, out),
        Format::Png => png::write(target, pieces, out),
        Format::Jpeg => jpeg::write(target, pieces, out),
        Format::Fits => fits::write(target, pieces, out),
    }
}

/// The file, with a word to the helper after each [`WRITE_BACK`] bytes.
struct Flow<'a> {
    file: &'a File,
    due: SyncSender<()>,
    waiting: usize,
}

impl Write for Flow<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.file.write(bytes)?;
        self.waiting += count;
        if self.waiting >= WRITE_BACK && self.due.try_send(()).is_ok() {
            self.waiting = 0;
        }
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Seek for Flow<'_> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::engine::color::space::Space;
    use crate::engine::frame::{Coded, CodedBand, Depth, Size};
    use crate::io::write::pieces::{Piece, Strip};
    use crate::io::write::{Options, Tags, format_of};

    /// A disk with room for so many bytes.
    struct SmallDisk {
        bytes: io::Cursor<Vec<u8>>,
        room: usize,
    }

    impl Write for SmallDisk {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            let count = bytes.len().min(self.room);
            if count == 0 && !bytes.is_empty() {
                return Err(io::ErrorKind::StorageFull.into());
            }
            self.room -= count;
            self.bytes.write(&bytes[..count])
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    impl Seek for SmallDisk {
        fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
            self.bytes.seek(to)
        }
    }

    #[test]
    fn a_full_disk_is_told_as_such_wherever_it_strikes() {
        let (width, height) = (50, 100);
        for (name, depth) in [
            ("a.tif", Depth::Sixteen),
            ("a.tif", Depth::Float32),
            ("a.png", Depth::Eight),
            ("a.jpg", Depth::Eight),
            ("a.fits", Depth::Float32),
        ] {
            let target = Target {
                path: name.into(),
                format: format_of(name.as_ref()).expect("known"),
                size: Size { width, height },
                depth,
                space: Space::Srgb,
                options: Options::default(),
                tags: Tags {
                    xmp: "tags".repeat(100),
                    software: "Linehue".to_owned(),
                    ..Tags::default()
                },
            };
            let values = 0..width * height * 3;
            let samples = match depth {
                Depth::Eight => Coded::U8(values.map(|v| (v * v) as u8).collect()),
                Depth::Sixteen => Coded::U16(values.map(|v| (v * v) as u16).collect()),
                Depth::Float32 => Coded::F32(values.map(|v| v as f32).collect()),
            };
            let band = Arc::new(CodedBand {
                first_row: 0,
                rows: height,
                samples,
            });
            let run = |room| {
                let piece = if target.format == Format::Png {
                    let bands = [Arc::clone(&band)];
                    let strips = Strip::cut(&bands, width);
                    let packed = png::Packer::new(&target).pack(&strips, true);
                    Piece::Packed(packed.expect("packed"))
                } else {
                    Piece::Rows(Arc::clone(&band))
                };
                let mut disk = SmallDisk {
                    bytes: io::Cursor::default(),
                    room,
                };
                let result = write_as(&target, &mut Pieces::of(vec![piece]), &mut disk);
                (
                    result,
                    disk.bytes.into_inner().len(),
                    usize::MAX - disk.room,
                )
            };
            let (result, length, written) = run(usize::MAX);
            result.expect("there is room");
            assert!(length > 400, "{name}");
            for room in (0..written).step_by(written / 29 + 1).chain([written - 1]) {
                let error = run(room).0.expect_err("no room");
                assert_eq!(
                    error.kind(),
                    io::ErrorKind::StorageFull,
                    "{name}, {room}: {error}"
                );
            }
        }
    }
}
