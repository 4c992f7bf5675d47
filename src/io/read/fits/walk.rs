//! From header to header through a file, plain or unpacked on the way.

use std::fs::File;
use std::io::{self, Read};

use super::cards::{BLOCK, CARD, is_end, parse_header};
use super::layout::Hdu;

/// A header that grows beyond this without an END has none.
const LONGEST_HEADER: usize = 16 << 20;

/// Units that are looked at, at most.
const MOST_UNITS: usize = 10_000;

/// Bytes that come from the front to the back.
pub(super) trait Forward {
    /// Offset of the next byte.
    fn position(&self) -> u64;

    /// Fills `buffer` as far as there are bytes; how many there were.
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize>;

    /// Passes over `count` bytes; false where there are not so many.
    fn skip(&mut self, count: u64) -> io::Result<bool>;
}

/// A plain file: positioned reads, free skips.
pub(super) struct FileForward<'a> {
    pub file: &'a File,
    pub length: u64,
    pub position: u64,
}

impl Forward for FileForward<'_> {
    fn position(&self) -> u64 {
        self.position
    }

    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut filled = 0;
        while filled < buffer.len() {
            match read_at(self.file, &mut buffer[filled..], self.position) {
                Ok(0) => break,
                Ok(count) => {
                    filled += count;
                    self.position += count as u64;
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(filled)
    }

    fn skip(&mut self, count: u64) -> io::Result<bool> {
        self.position = self.position.saturating_add(count);
        Ok(self.position <= self.length)
    }
}

/// One positioned read, which leaves no mark on the file: any thread may call it.
pub(super) fn read_at(file: &File, buffer: &mut [u8], offset: u64) -> io::Result<usize> {
    #[cfg(unix)]
    return std::os::unix::fs::FileExt::read_at(file, buffer, offset);
    #[cfg(windows)]
    return std::os::windows::fs::FileExt::seek_read(file, buffer, offset);
}

/// Anything that can only be read forward.
pub(super) struct StreamForward<R> {
    pub reader: R,
    pub position: u64,
}

impl<R: Read> Forward for StreamForward<R> {
    fn position(&self) -> u64 {
        self.position
    }

    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut filled = 0;
        while filled < buffer.len() {
            match self.reader.read(&mut buffer[filled..]) {
                Ok(0) => break,
                Ok(count) => filled += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        self.position += filled as u64;
        Ok(filled)
    }

    fn skip(&mut self, count: u64) -> io::Result<bool> {
        let passed = io::copy(&mut (&mut self.reader).take(count), &mut io::sink())?;
        self.position += passed;
        Ok(passed == count)
    }
}

/// Why a walk came to its end too soon.
#[derive(Debug)]
pub(super) enum Trouble {
    /// The system or the unpacking failed.
    Io(io::Error),
    /// The file is wrong there.
    Damaged(String),
}

/// The units that a walk found.
#[derive(Debug, Default)]
pub(super) struct Walk {
    pub hdus: Vec<Hdu>,
    /// What ended it, if that was not the end of the file or `enough`.
    pub trouble: Option<Trouble>,
    /// Offset of stray bytes after the last unit.
    pub stray: Option<u64>,
}

/// Reads headers from the front until `enough` says so or the file ends.
pub(super) fn walk(source: &mut dyn Forward, enough: impl Fn(&Hdu) -> bool) -> Walk {
    let mut found = Walk::default();
    loop {
        let index = found.hdus.len();
        let start = source.position();
        let bytes = match next_header(source, index == 0) {
            Ok(Next::Header(bytes)) => bytes,
            Ok(Next::End) => return found,
            Ok(Next::Stray) => {
                found.stray = Some(start);
                return found;
            }
            Err(trouble) => {
                found.trouble = Some(trouble);
                return found;
            }
        };
        let unit = parse_header(&bytes)
            .ok_or_else(|| "its header has no END card".to_owned())
            .and_then(|header| Hdu::new(index, start, header));
        let unit = match unit {
            Ok(unit) => unit,
            Err(what) => {
                found.trouble = Some(Trouble::Damaged(format!("HDU {index}: {what}")));
                return found;
            }
        };
        let rest = unit.next_start() - unit.data_start();
        let done = enough(&unit);
        found.hdus.push(unit);
        if !done && found.hdus.len() == MOST_UNITS {
            let what = format!("there are more than {MOST_UNITS} units");
            found.trouble = Some(Trouble::Damaged(what));
            return found;
        }
        if done {
            return found;
        }
        match source.skip(rest) {
            Ok(true) => {}
            Ok(false) => return found,
            Err(error) => {
                found.trouble = Some(Trouble::Io(error));
                return found;
            }
        }
    }
}

/// What stands where a header may stand.
enum Next {
    /// The blocks of a header.
    Header(Vec<u8>),
    /// The end of the file.
    End,
    /// Bytes that are no header, behind the last unit.
    Stray,
}

/// Reads the blocks of the next header.
fn next_header(source: &mut dyn Forward, primary: bool) -> Result<Next, Trouble> {
    let mut bytes = Vec::new();
    loop {
        let before = bytes.len();
        bytes.resize(before + BLOCK, 0);
        let count = source.read(&mut bytes[before..]).map_err(Trouble::Io)?;
        bytes.truncate(before + count);
        if before == 0 && primary && !super::is_fits(&bytes) {
            return Err(Trouble::Damaged(no_fits(&bytes)));
        }
        if before == 0 && !primary && !bytes.starts_with(b"XTENSION") {
            return Ok(if count == 0 { Next::End } else { Next::Stray });
        }
        if bytes[before..].chunks_exact(CARD).any(is_end) {
            return Ok(Next::Header(bytes));
        }
        if count < BLOCK || bytes.len() > LONGEST_HEADER {
            let what = format!("a header has no END card in its {} bytes", bytes.len());
            return Err(Trouble::Damaged(what));
        }
    }
}

/// Why a file that begins with these bytes is no FITS file.
fn no_fits(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(512)]).to_lowercase();
    if bytes.is_empty() {
        "the file is empty".to_owned()
    } else if bytes.starts_with(b"XTENSION") {
        "the file begins with an extension: its primary header is missing".to_owned()
    } else if text.contains("<html") || text.contains("<!doctype") {
        "this is a web page, not FITS: the download went wrong".to_owned()
    } else {
        "this is no FITS file: it does not begin with `SIMPLE  =`".to_owned()
    }
}
