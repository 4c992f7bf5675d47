//! The way from bands to a file.
//!
//! [`Writer::put`] does what needs many cores (packing) in the caller's own
//! threads; one thread writes and one hashes the samples meanwhile. Uncompressed
//! samples are handed to both without a copy. At most [`IN_FLIGHT`] calls' worth
//! of rows wait for either, so memory stays bounded and a slow disk slows the
//! caller down.

use std::fs::File;
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::JoinHandle;

use super::atomic::Draft;
use super::pixels::PixelHash;
use super::{Format, Packing, Target, WriteError, Written, fits, jpeg, png, tiff};
use crate::engine::frame::{BAND_ROWS, Coded, CodedBand, Depth};

/// Calls of `put` that may wait for the disk.
const IN_FLIGHT: usize = 2;

/// Bytes collected before they go to the system.
const BUFFER: usize = 1 << 18;

/// Bytes after which the system is asked to bring them to the disk.
const WRITE_BACK: usize = 32 << 20;

/// What goes to the writing thread.
pub(crate) enum Piece {
    /// Rows as they are.
    Rows(Arc<CodedBand>),
    /// Packed bands of `BAND_ROWS` rows (the last one may be lower), in order.
    Packed(Vec<Vec<u8>>),
    /// Nothing more comes, and what came was all.
    End,
}

/// The pieces of one picture as they come.
pub(crate) struct Pieces(Receiver<Piece>);

impl Pieces {
    /// The next piece; none at the end of the picture.
    ///
    /// # Errors
    /// Where the writer was dropped before the end.
    pub(crate) fn next(&mut self) -> io::Result<Option<Piece>> {
        match self.0.recv() {
            Ok(Piece::End) => Ok(None),
            Ok(piece) => Ok(Some(piece)),
            Err(_) => Err(io::Error::other("given up before the last row")),
        }
    }
}

/// Takes finished bands from the top down and makes them a file.
///
/// Dropping it before [`Writer::finish`] leaves nothing behind; an old file of
/// the same name stays as it was. The bytes of the file depend neither on how
/// rows are divided among calls nor on the number of threads.
pub struct Writer {
    target: Arc<Target>,
    next_row: usize,
    packer: Packer,
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
            spawn("write", move || write(&target, draft, Pieces(come)))
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
        let piece = match &mut self.packer {
            Packer::Nothing => Ok(Piece::Rows(band)),
            Packer::Tiff(packing) => {
                tiff::pack(&band.samples, self.target.size.width, *packing).map(Piece::Packed)
            }
            Packer::Png(packer) => packer.pack(&band).map(Piece::Packed),
        };
        let piece = piece.map_err(|error| {
            self.pieces = None;
            WriteError::disk(&self.target.path)(error)
        })?;
        match &self.pieces {
            Some(pieces) if pieces.send(piece).is_ok() => Ok(()),
            _ => Err(self.failure()),
        }
    }

    /// Completes the file and gives it its name.
    ///
    /// # Errors
    /// [`WriteError::Rows`] where rows are missing; [`WriteError::Disk`].
    pub fn finish(mut self) -> Result<Written, WriteError> {
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
        let (sha256, bytes) = self.written()?.publish()?;
        let pixels_sha256 = match self.hashing.take().map(JoinHandle::join) {
            Some(Ok(hash)) => hash,
            _ => return Err(self.stopped()),
        };
        Ok(Written {
            sha256,
            pixels_sha256,
            bytes,
        })
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
        let pieces = &mut pieces;
        match target.format {
            Format::Tiff => tiff::write(target, pieces, &mut out),
            Format::Png => png::write(target, pieces, &mut out),
            Format::Jpeg => jpeg::write(target, pieces, &mut out),
            Format::Fits => fits::write(target, pieces, &mut out),
        }
        .and_then(|()| out.flush())
    })
    .map_err(WriteError::disk(draft.path()))?;
    Ok(draft)
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
