//! The way from bands to a file.
//!
//! [`Writer::put`] does what needs many cores (packing) in the caller's own
//! threads, a few bands at a time; one thread writes and one hashes the samples
//! meanwhile. Uncompressed samples are handed to both without a copy. At most
//! [`IN_FLIGHT`] calls' worth of rows wait for either, so memory stays bounded
//! and a slow disk slows the caller down.

mod thread;

use std::io;
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::JoinHandle;

use super::atomic::{Draft, Sealed};
use super::pieces::{Piece, Pieces, Strip};
use super::pixels::PixelHash;
use super::{Format, Packing, Target, WriteError, Written, png, tiff};
use crate::engine::frame::{BAND_ROWS, Coded, CodedBand, Depth};
use thread::write;

/// Calls of `put` that may wait for the disk.
const IN_FLIGHT: usize = 2;

/// Strips that wait for each thread before all are packed.
const STRIPS_A_THREAD: usize = 2;

/// Bytes that may wait to be packed, however many threads there are.
const MOST_WAITING: usize = 64 << 20;

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
