//! The way from bands to a file.
//!
//! [`Writer::put`] does what needs many cores (packing) in the caller's own
//! threads, a few bands at a time; one thread writes and one hashes the samples
//! meanwhile. Uncompressed samples are handed to both without a copy. At most
//! [`IN_FLIGHT`] calls' worth of rows wait for either, so memory stays bounded
//! and a slow disk slows the caller down.

use std::fs::File;
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::JoinHandle;

use super::atomic::{Draft, Sealed};
use super::pieces::{Piece, Pieces, Strip};
use super::pixels::PixelHash;
use super::{Format, Packing, Target, WriteError, Written, fits, jpeg, png, tiff};
use crate::engine::frame::{BAND_ROWS, Coded, CodedBand, Depth};

/// Calls of `put` that may wait for the disk.
const IN_FLIGHT: usize = 2;

/// Strips that wait for each thread before all are packed.
const STRIPS_A_THREAD: usize = 2;

/// Bytes that may wait to be packed, however many threads there are.
const MOST_WAITING: usize = 64 << 20;

/// Bytes collected before they go to the system.
const BUFFER: usize = 1 << 18;

/// Bytes after which the system is asked to bring them to the disk.
const WRITE_BACK: usize = 32 << 20;

/// Takes finished bands from the top down and makes them a file.
///
/// Dropping it before [`Writer::finish`] leaves nothing behind; an old file of
/// the same name stays as it was. The bytes of the file depend neither on how
/// rows are divided among calls nor on the number of threads.
pub struct Writer {
    target: Arc<Target>,
    next_row: usize,
    packer: Packer,
    /// Bands that wait until there is work for every thread.
    waiting: Vec<Arc<CodedBand>>,
    pieces: Option<SyncSender<Piece>>,
    bands: Option<SyncSender<Arc<CodedBand>>>,
    writing: Option<JoinHandle<Result<Draft, WriteError>>>,
    hashing: Option<JoinHandle<String>>,
}

/// What is done to rows before they go to the writing thread.
enum Packer {
    Nothing,
    Tiff(Packing),
    Png(png::Packer),
}

impl Writer {
    /// Checks the target, opens a temporary file beside it and starts.
    ///
    /// # Errors
    /// As [`Target::check`]; or the system has no thread left.
    pub fn create(target: Target) -> Result<Self, WriteError> {
        target.check_kind()?;
        let draft = Draft::create(&target.path)?;
        let target = Arc::new(target);
        let packer = match (target.format, target.options.packing) {
            (Format::Png, _) => Packer::Png(png::Packer::new(&target)),
            (Format::Tiff, packing @ (Packing::Fast | Packing::Small)) => Packer::Tiff(packing),
            _ => Packer::Nothing,
        };
        let (pieces, come) = sync_channel(IN_FLIGHT);
        let writing = {
            let target = Arc::clone(&target);
            spawn("write", move || write(&target, draft, Pieces::new(come)))
        }
        .map_err(WriteError::disk(&target.path))?;
        let (bands, come) = sync_channel::<Arc<CodedBand>>(IN_FLIGHT);
        let hashing = spawn("hash", move || {
            let mut hash = PixelHash::new();
            while let Ok(band) = come.recv() {
                hash.update(&band.samples);
            }
            hash.finish()
        })
        .map_err(WriteError::disk(&target.path))?;
        Ok(Self {
            target,
            next_row: 0,
            packer,
            waiting: Vec::new(),
            pieces: Some(pieces),
            bands: Some(bands),
            writing: Some(writing),
            hashing: Some(hashing),
        })
    }

    /// Takes the next rows: a multiple of [`BAND_ROWS`], except at the end of
    /// the picture.
    ///
    /// # Errors
    /// [`WriteError::Rows`] where they are not the next ones or not of the
    /// announced depth; [`WriteError::Disk`] where writing failed, now or
    /// before. After an error the writer takes no more rows.
    pub fn put(&mut self, band: CodedBand) -> Result<(), WriteError> {
        if let Err(error) = self.check_band(&band) {
            self.pieces = None;
            return Err(error);
        }
        self.next_row += band.rows;
        let band = Arc::new(band);
        if let Some(bands) = &self.bands {
            bands.send(Arc::clone(&band)).ok();
        }
        let piece = if matches!(self.packer, Packer::Nothing) {
            Piece::Rows(band)
        } else {
            self.waiting.push(band);
            let rows: usize = self.waiting.iter().map(|band| band.rows).sum();
            let bytes = rows * self.target.size.width * 3 * self.target.depth.bytes();
            let enough = rows >= BAND_ROWS * STRIPS_A_THREAD * rayon::current_num_threads();
            let ended = self.next_row == self.target.size.height;
            if !(enough || ended || bytes >= MOST_WAITING) {
                return Ok(());
            }
            self.pack(ended).map(Piece::Packed).map_err(|error| {
                self.pieces = None;
                WriteError::disk(&self.target.path)(error)
            })?
        };
        match &self.pieces {
            Some(pieces) if pieces.send(piece).is_ok() => Ok(()),
            _ => Err(self.failure()),
        }
    }

    /// Completes the file and gives it its name.
    ///
    /// # Errors
    /// [`WriteError::Rows`] where rows are missing; [`WriteError::Disk`].
    pub fn finish(self) -> Result<Written, WriteError> {
        let finished = self.seal()?;
        let written = finished.written.clone();
        finished.publish()?;
        Ok(written)
    }

    /// Completes the file on the disk, without its name yet.
    ///
    /// # Errors
    /// [`WriteError::Rows`] where rows are missing; [`WriteError::Disk`].
    pub fn seal(mut self) -> Result<Finished, WriteError> {
        if self.next_row != self.target.size.height && self.pieces.is_some() {
            let what = format!(
                "only {} of {} rows were handed in",
                self.next_row, self.target.size.height
            );
            return Err(WriteError::Rows {
                path: self.target.path.clone(),
                what,
            });
        }
        self.bands = None;
        let ended = self
            .pieces
            .take()
            .is_some_and(|pieces| pieces.send(Piece::End).is_ok());
        if !ended {
            return Err(self.failure());
        }
        let sealed = self.written()?.seal()?;
        let pixels_sha256 = match self.hashing.take().map(JoinHandle::join) {
            Some(Ok(hash)) => hash,
            _ => return Err(self.stopped()),
        };
        let written = Written {
            sha256: sealed.sha256.clone(),
            pixels_sha256,
            bytes: sealed.bytes,
        };
        Ok(Finished { written, sealed })
    }

    /// Packs what waits, in as many threads as the caller's pool has.
    fn pack(&mut self, ended: bool) -> io::Result<Vec<Vec<u8>>> {
        let bands = std::mem::take(&mut self.waiting);
        let width = self.target.size.width;
        let strips = Strip::cut(&bands, width);
        match &mut self.packer {
            Packer::Nothing => Ok(Vec::new()),
            Packer::Tiff(packing) => tiff::pack(&strips, width, *packing),
            Packer::Png(packer) => packer.pack(&strips, ended),
        }
    }

    fn check_band(&self, band: &CodedBand) -> Result<(), WriteError> {
        let size = self.target.size;
        let wrong = |what: String| {
            Err(WriteError::Rows {
                path: self.target.path.clone(),
                what,
            })
        };
        if band.first_row != self.next_row {
            return wrong(format!(
                "row {} came where {} was due",
                band.first_row, self.next_row
            ));
        }
        let left = size.height - self.next_row;
        let whole = band.rows.is_multiple_of(BAND_ROWS) && band.rows < left;
        if band.rows == 0 || !(whole || band.rows == left) {
            return wrong(format!("{} rows came, with {left} to come", band.rows));
        }
        let (depth, samples) = match &band.samples {
            Coded::U8(samples) => (Depth::Eight, samples.len()),
            Coded::U16(samples) => (Depth::Sixteen, samples.len()),
            Coded::F32(samples) => (Depth::Float32, samples.len()),
        };
        if depth != self.target.depth || samples != band.rows * size.width * 3 {
            return wrong(format!(
                "{samples} samples of depth {} came for {} rows of {} pixels of depth {}",
                depth.name(),
                band.rows,
                size.width,
                self.target.depth.name()
            ));
        }
        Ok(())
    }

    /// Waits for the writing thread.
    fn written(&mut self) -> Result<Draft, WriteError> {
        match self.writing.take().map(JoinHandle::join) {
            Some(Ok(result)) => result,
            _ => Err(self.stopped()),
        }
    }

    /// Why the writing thread takes no more.
    fn failure(&mut self) -> WriteError {
        self.pieces = None;
        match self.written() {
            Err(error) => error,
            Ok(_) => self.stopped(),
        }
    }

    fn stopped(&self) -> WriteError {
        WriteError::disk(&self.target.path)(io::Error::other("writing had stopped before"))
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.pieces = None;
        self.bands = None;
        // The threads see that nothing more comes; the unfinished file goes
        // with the draft that the writing thread held.
        self.writing.take().map(JoinHandle::join);
        self.hashing.take().map(JoinHandle::join);
    }
}

fn spawn<T: Send + 'static>(
    name: &str,
    work: impl FnOnce() -> T + Send + 'static,
) -> io::Result<JoinHandle<T>> {
    std::thread::Builder::new()
        .name(format!("linehue-{name}"))
        .spawn(work)
}

/// The writing thread: the whole file, from its first byte to its last.
///
/// Beside it a helper asks the system to bring to the disk what is written
/// already, so that little is left to wait for at the end.
fn write(target: &Target, draft: Draft, mut pieces: Pieces) -> Result<Draft, WriteError> {
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

/// A finished file that waits for its name. Dropping it removes it.
#[derive(Debug)]
pub struct Finished {
    /// What was written.
    pub written: Written,
    sealed: Sealed,
}

impl Finished {
    /// Gives the file its name.
    ///
    /// # Errors
    /// [`WriteError::Disk`]; the file is removed then.
    pub fn publish(self) -> Result<(), WriteError> {
        self.sealed.publish()
    }
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
    use super::*;
    use crate::engine::color::space::Space;
    use crate::engine::frame::Size;
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
