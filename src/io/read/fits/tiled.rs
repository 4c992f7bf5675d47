//! Tile-compressed images, decoded in a process of their own.
//!
//! Source: FITS standard 4.0, section 10. The decoders for these tiles are C
//! code that damaged data can bring down; in a child process that is one error
//! message. See [`super::child`] for the other end.

use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

use super::child;
use super::in_order::{Decoder, InOrder, Start};
use super::tile_table::Tiles;
use crate::engine::frame::{BAND_ROWS, RowsError, Size};
use crate::io::read::ReadError;

/// Without a byte for so long, the decoder is taken to be stuck.
const PATIENCE: Duration = Duration::from_secs(60);

/// Which tiled picture a decoder is to decode.
#[derive(Clone)]
pub(super) struct TiledPicture {
    /// The file as the user named it, for messages.
    pub path: PathBuf,
    /// The file to decode; the same unless that was packed.
    pub decoded: Arc<Source>,
    pub hdu: usize,
    /// From 1.
    pub plane: usize,
    pub size: Size,
    pub tiles: Tiles,
}

/// A file on the disk, or a temporary one that goes when nobody needs it.
pub(super) enum Source {
    Named(PathBuf),
    Unpacked(tempfile::NamedTempFile),
}

impl Source {
    fn path(&self) -> &Path {
        match self {
            Self::Named(path) => path,
            Self::Unpacked(file) => file.path(),
        }
    }
}

impl TiledPicture {
    /// Rows on demand; the decoder starts with the first one.
    pub fn rows(self) -> InOrder {
        let size = self.size;
        let start: Start =
            Box::new(move || Ok(Box::new(ChildDecoder::start(self.clone())?) as Box<dyn Decoder>));
        InOrder::new(size, start)
    }

    fn damaged(&self, what: &str) -> RowsError {
        let what = format!(
            "the {} tiles of HDU {} are damaged: {what}",
            self.tiles.kind, self.hdu
        );
        ReadError::Damaged {
            path: self.path.clone(),
            what,
        }
        .into()
    }

    fn system(&self, what: String) -> RowsError {
        ReadError::System {
            path: self.path.clone(),
            what,
        }
        .into()
    }
}

/// The folder to run a decoder in, and the file's name there: short whatever
/// the path, and with none of the first letters that mean something.
fn located(path: &Path) -> io::Result<(PathBuf, PathBuf)> {
    // Links such as `/dev/stdin` mean another file in another process. On
    // Windows the resolved form of a path is not for the old interfaces.
    let whole = if cfg!(windows) {
        std::path::absolute(path)
    } else {
        path.canonicalize()
    }?;
    match (whole.parent(), whole.file_name()) {
        (Some(folder), Some(name)) => Ok((folder.to_owned(), Path::new(".").join(name))),
        _ => Err(io::ErrorKind::InvalidFilename.into()),
    }
}

/// A decoder process and the pipe from it.
struct ChildDecoder {
    picture: TiledPicture,
    child: Child,
    bands: Receiver<Vec<f32>>,
    band: Vec<f32>,
    used: usize,
    rows: usize,
}

impl ChildDecoder {
    fn start(picture: TiledPicture) -> Result<Self, RowsError> {
        let program = child::program().ok_or_else(|| {
            picture.system("the program `linehue`, which decodes its tiles, is not found".into())
        })?;
        let (folder, name) = located(picture.decoded.path())
            .map_err(|error| picture.system(format!("cannot be found: {error}")))?;
        let TiledPicture {
            hdu,
            plane,
            size: Size { width, height },
            ref tiles,
            ..
        } = picture;
        let mut child = Command::new(&program)
            .arg(child::COMMAND)
            .arg(name)
            .args([hdu, plane, width, height, tiles.step].map(|n| n.to_string()))
            .arg(child::UNTIL_STDIN_CLOSES)
            .current_dir(folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|error| {
                picture.system(format!(
                    "its decoder {} does not start: {error}",
                    program.display()
                ))
            })?;
        let (sender, bands) = sync_channel(2);
        let mut pipe = child.stdout.take().map(BufReader::new);
        let pump = move || {
            let Some(pipe) = &mut pipe else { return };
            let mut bytes = vec![0; width * 4 * BAND_ROWS.min(height)];
            for row in (0..height).step_by(BAND_ROWS) {
                let bytes = &mut bytes[..width * 4 * BAND_ROWS.min(height - row)];
                if pipe.read_exact(bytes).is_err() {
                    return;
                }
                let (samples, _) = bytes.as_chunks::<4>();
                if sender
                    .send(samples.iter().map(|s| f32::from_le_bytes(*s)).collect())
                    .is_err()
                {
                    return;
                }
            }
        };
        let decoder = Self {
            picture,
            child,
            bands,
            band: Vec::new(),
            used: 0,
            rows: 0,
        };
        std::thread::Builder::new()
            .name("tile decoder".to_owned())
            .spawn(pump)
            .map_err(|error| decoder.picture.system(format!("no thread for it: {error}")))?;
        Ok(decoder)
    }

    /// What to say when no more rows come.
    fn failure(&mut self, why: RecvTimeoutError) -> RowsError {
        if why == RecvTimeoutError::Timeout {
            let what = format!("the decoder stopped answering after row {}", self.rows);
            return self.picture.damaged(&what);
        }
        let mut words = String::new();
        if let Some(errors) = self.child.stderr.take() {
            errors.take(2000).read_to_string(&mut words).ok();
        }
        let status = self
            .child
            .wait()
            .map_or_else(|error| error.to_string(), |s| s.to_string());
        let words = match words.trim() {
            "" => status,
            words => words.lines().next().unwrap_or_default().to_owned(),
        };
        self.picture
            .damaged(&format!("decoding ended after row {} ({words})", self.rows))
    }
}

impl Decoder for ChildDecoder {
    fn next_rows(&mut self, out: &mut [f32]) -> Result<(), RowsError> {
        let mut filled = 0;
        while filled < out.len() {
            if self.used == self.band.len() {
                self.band = match self.bands.recv_timeout(PATIENCE) {
                    Ok(band) => band,
                    Err(why) => return Err(self.failure(why)),
                };
                self.used = 0;
                self.rows += self.band.len() / self.picture.size.width;
            }
            let count = (out.len() - filled).min(self.band.len() - self.used);
            out[filled..filled + count].copy_from_slice(&self.band[self.used..self.used + count]);
            self.used += count;
            filled += count;
        }
        Ok(())
    }
}

impl Drop for ChildDecoder {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}
