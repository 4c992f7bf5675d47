//! The other end of tiled images: a process that decodes one plane.
//!
//! ```text
//! linehue decode-fits PATH HDU PLANE WIDTH HEIGHT ROWS [until-stdin-closes]
//! ```
//!
//! HDU counts from 0, PLANE from 1. Standard output gets HEIGHT rows of WIDTH
//! little-endian 32-bit floats, from the first row on, NaN where there is no
//! data, and nothing else; ROWS rows are decoded at a time. Exit code 0 when all rows are written; otherwise 2,
//! and one line on standard error says why. With the last argument the process
//! ends itself when its standard input is closed, so that none is left behind.
//!
//! PATH is opened as a plain name of a file: nothing in it is an instruction.

use std::env::consts::EXE_SUFFIX;
use std::ffi::{CString, OsString, c_int, c_void};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::ptr;

use fitsio::sys;

/// The hidden subcommand.
pub const COMMAND: &str = "decode-fits";

/// The argument that ties the process to its standard input.
pub const UNTIL_STDIN_CLOSES: &str = "until-stdin-closes";

/// CFITSIO's code for 32-bit floats.
const TFLOAT: c_int = 42;

/// Where the program is that knows [`COMMAND`]: the environment variable
/// `LINEHUE_DECODER`, else this program if it is `linehue`, else `linehue`
/// beside it or one folder up.
pub(super) fn program() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("LINEHUE_DECODER").filter(|name| !name.is_empty()) {
        return std::path::absolute(named).ok();
    }
    let current = std::env::current_exe().ok()?;
    if current.file_stem().is_some_and(|stem| stem == "linehue") {
        return Some(current);
    }
    let name = format!("linehue{EXE_SUFFIX}");
    current
        .ancestors()
        .skip(1)
        .take(2)
        .map(|folder| folder.join(&name))
        .find(|p| p.is_file())
}

/// Runs the subcommand with the arguments after its name; the exit code.
pub fn decode_child(args: &[OsString]) -> i32 {
    match decode(args, &mut io::stdout().lock()) {
        Ok(()) => 0,
        Err(what) => {
            writeln!(io::stderr(), "{what}").ok();
            2
        }
    }
}

fn decode(args: &[OsString], out: &mut dyn Write) -> Result<(), String> {
    let usage = || format!("usage: {COMMAND} PATH HDU PLANE WIDTH HEIGHT ROWS");
    let number = |index: usize| {
        args.get(index)
            .and_then(|arg| arg.to_str()?.parse::<i32>().ok())
            .filter(|number| *number >= 0)
            .ok_or_else(usage)
    };
    let path = args.first().ok_or_else(usage)?;
    let (hdu, plane, width, height) = (number(1)?, number(2)?, number(3)?, number(4)?);
    let step = number(5)?;
    if plane == 0 || width == 0 || height == 0 || step == 0 {
        return Err("PLANE, WIDTH, HEIGHT and ROWS count from 1".to_owned());
    }
    if args.get(6).is_some_and(|arg| arg == UNTIL_STDIN_CLOSES) {
        std::thread::spawn(|| {
            io::stdin().lock().read_to_end(&mut Vec::new()).ok();
            std::process::exit(3);
        });
    }
    let mut image = Image::open(Path::new(path), hdu)?;
    let shape = image.shape()?;
    if shape[..2] != [i64::from(width), i64::from(height)] {
        return Err(format!("the image has {} x {} pixels", shape[0], shape[1]));
    }
    let (width, height, step) = (width as usize, height as usize, step as usize);
    let first = i64::from(plane - 1) * (width as i64) * (height as i64);
    let mut values = vec![0.0_f32; width * step.min(height)];
    let mut bytes = Vec::with_capacity(values.len() * 4);
    for row in (0..height).step_by(step) {
        let values = &mut values[..width * step.min(height - row)];
        image.read(first + (row * width) as i64, values)?;
        bytes.clear();
        bytes.extend(values.iter().flat_map(|value| value.to_le_bytes()));
        out.write_all(&bytes).map_err(|error| error.to_string())?;
    }
    out.flush().map_err(|error| error.to_string())
}

/// An image that CFITSIO has open.
struct Image {
    file: *mut sys::fitsfile,
}

impl Image {
    /// Opens by plain name and moves to the unit.
    fn open(path: &Path, hdu: c_int) -> Result<Self, String> {
        let name = CString::new(path.as_os_str().as_encoded_bytes())
            .map_err(|_| "the name holds a zero byte".to_owned())?;
        let (mut file, mut status) = (ptr::null_mut(), 0);
        // SAFETY: both pointers are to live locals, the name ends in a zero byte;
        // `ffdkopn` takes it as the plain name of a file on the disk (mode 0: read).
        unsafe { sys::ffdkopn(&raw mut file, name.as_ptr(), 0, &raw mut status) };
        checked(status)?;
        let image = Self { file };
        // SAFETY: the file is open; no type is asked for.
        unsafe {
            sys::ffmahd(
                image.file,
                hdu.saturating_add(1),
                ptr::null_mut(),
                &raw mut status,
            );
        }
        checked(status)?;
        Ok(image)
    }

    /// The axes; at least two.
    fn shape(&mut self) -> Result<Vec<i64>, String> {
        let (mut count, mut status) = (0, 0);
        // SAFETY: the file is open and the pointers are to live locals.
        unsafe { sys::ffgidm(self.file, &raw mut count, &raw mut status) };
        checked(status)?;
        let mut axes = vec![0_i64; usize::try_from(count).unwrap_or(0).max(2)];
        // SAFETY: as above; no more axes are written than the vector has.
        unsafe { sys::ffgiszll(self.file, count, axes.as_mut_ptr(), &raw mut status) };
        checked(status)?;
        Ok(axes)
    }

    /// Physical values from pixel `first` (from 0, over all planes) on.
    fn read(&mut self, first: i64, values: &mut [f32]) -> Result<(), String> {
        let (mut missing, mut found, mut status) = (f32::NAN, 0, 0);
        // SAFETY: the file is open; `values.len()` floats are written to `values`.
        unsafe {
            sys::ffgpv(
                self.file,
                TFLOAT,
                first + 1,
                values.len() as i64,
                (&raw mut missing).cast::<c_void>(),
                values.as_mut_ptr().cast::<c_void>(),
                &raw mut found,
                &raw mut status,
            )
        };
        for value in values.iter_mut().filter(|value| value.is_infinite()) {
            *value = f32::NAN;
        }
        checked(status)
    }
}

impl Drop for Image {
    fn drop(&mut self) {
        let mut status = 0;
        // SAFETY: the file is open and is not used again.
        unsafe { sys::ffclos(self.file, &raw mut status) };
    }
}

/// CFITSIO's status as words.
fn checked(status: c_int) -> Result<(), String> {
    if status == 0 {
        return Ok(());
    }
    let mut words = [0_u8; 81];
    // SAFETY: at most 81 bytes are written (in fact 31), the last of them zero.
    unsafe { sys::ffgerr(status, words.as_mut_ptr().cast()) };
    let end = words.iter().position(|byte| *byte == 0).unwrap_or(0);
    Err(format!(
        "{} (status {status})",
        String::from_utf8_lossy(&words[..end])
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arguments_are_checked() {
        let args = |words: &[&str]| words.iter().map(OsString::from).collect::<Vec<_>>();
        for words in [
            &[][..],
            &["x"],
            &["x", "0", "0", "1", "1", "1"],
            &["x", "0", "1", "-1", "1", "1"],
        ] {
            assert!(decode(&args(words), &mut io::sink()).is_err(), "{words:?}");
        }
        let missing = decode(
            &args(&["/no/such", "0", "1", "1", "1", "1"]),
            &mut io::sink(),
        );
        assert!(missing.is_err_and(|what| what.contains("status 104")));
    }
}
