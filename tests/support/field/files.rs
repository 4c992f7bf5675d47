//! Writing frames: FITS by hand, tile-compressed FITS through CFITSIO, TIFF.

use std::ffi::CString;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use fitsio::sys;
use tiff::encoder::{TiffEncoder, colortype};

/// A FITS block, bytes.
const BLOCK: usize = 2880;

/// The value of a header card.
#[derive(Clone, Debug)]
pub enum Value {
    Text(String),
    Whole(i64),
    Real(f64),
    Logical(bool),
}

impl From<&str> for Value {
    fn from(text: &str) -> Self {
        Value::Text(text.to_owned())
    }
}

impl From<f64> for Value {
    fn from(real: f64) -> Self {
        Value::Real(real)
    }
}

impl From<i64> for Value {
    fn from(whole: i64) -> Self {
        Value::Whole(whole)
    }
}

/// A header card: keyword, value, comment.
#[derive(Clone, Debug)]
pub struct Card {
    pub key: &'static str,
    pub value: Value,
    pub comment: &'static str,
}

impl Card {
    pub fn new(key: &'static str, value: impl Into<Value>, comment: &'static str) -> Self {
        Self {
            key,
            value: value.into(),
            comment,
        }
    }

    /// The card as 80 characters (FITS 4.0, section 4.2: fixed format).
    pub fn line(&self) -> String {
        let value = match &self.value {
            Value::Text(text) => format!("'{:<8}'", text.replace('\'', "''")),
            Value::Whole(whole) => format!("{whole:>20}"),
            Value::Real(real) => format!("{:>20}", format!("{real:?}").replace('e', "E")),
            Value::Logical(yes) => format!("{:>20}", if *yes { "T" } else { "F" }),
        };
        let line = if self.comment.is_empty() {
            format!("{:<8}= {value}", self.key)
        } else {
            format!("{:<8}= {value:<20} / {}", self.key, self.comment)
        };
        format!("{line:<80}").chars().take(80).collect()
    }
}

/// How samples are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Samples {
    /// 32-bit float.
    Float,
    /// Unsigned 16-bit: signed with an offset of 32768.
    Unsigned16,
}

/// The nearest 16-bit value.
pub fn to_u16(value: f32) -> u16 {
    libm::floorf(value + 0.5).clamp(0.0, 65_535.0) as u16
}

/// A FITS image being written row by row.
pub struct FitsWriter {
    out: BufWriter<File>,
    samples: Samples,
    written: usize,
}

impl FitsWriter {
    /// Begins a file with a single image of this size.
    pub fn create(
        path: &Path,
        (width, height): (usize, usize),
        samples: Samples,
        cards: &[Card],
    ) -> io::Result<Self> {
        let bits = match samples {
            Samples::Float => -32,
            Samples::Unsigned16 => 16,
        };
        let mut all = vec![
            Card::new("SIMPLE", Value::Logical(true), "Standard FITS"),
            Card::new("BITPIX", bits, "Bits of a sample; negative: float"),
            Card::new("NAXIS", 2, ""),
            Card::new("NAXIS1", width as i64, "Columns"),
            Card::new("NAXIS2", height as i64, "Rows"),
        ];
        if samples == Samples::Unsigned16 {
            all.push(Card::new("BSCALE", 1, ""));
            all.push(Card::new("BZERO", 32_768, "Samples are unsigned"));
        }
        all.extend_from_slice(cards);
        let mut header: String = all.iter().map(Card::line).collect();
        header.push_str(&format!("{:<80}", "END"));
        while !header.len().is_multiple_of(BLOCK) {
            header.push(' ');
        }
        let mut out = BufWriter::new(File::create(path)?);
        out.write_all(header.as_bytes())?;
        Ok(Self {
            out,
            samples,
            written: 0,
        })
    }

    /// Appends values, any number of rows at a time.
    pub fn append(&mut self, values: &[f32]) -> io::Result<()> {
        let bytes: Vec<u8> = match self.samples {
            Samples::Float => values.iter().flat_map(|v| v.to_be_bytes()).collect(),
            Samples::Unsigned16 => values
                .iter()
                .flat_map(|&v| (to_u16(v) ^ 0x8000).to_be_bytes())
                .collect(),
        };
        self.written += bytes.len();
        self.out.write_all(&bytes)
    }

    /// Pads the last block and closes the file.
    pub fn finish(mut self) -> io::Result<()> {
        let rest = self.written % BLOCK;
        if rest > 0 {
            self.out.write_all(&vec![0; BLOCK - rest])?;
        }
        self.out.flush()
    }
}

/// Writes a whole FITS image.
pub fn write_fits(
    path: &Path,
    size: (usize, usize),
    samples: Samples,
    cards: &[Card],
    values: &[f32],
) -> io::Result<()> {
    let mut file = FitsWriter::create(path, size, samples, cards)?;
    file.append(values)?;
    file.finish()
}

/// Writes a tile-compressed float image: Rice coding of values quantised to a
/// fourth of the noise, with subtractive dither (FITS 4.0, section 10).
pub fn write_rice(
    path: &Path,
    (width, height): (usize, usize),
    cards: &[Card],
    values: &[f32],
) -> io::Result<()> {
    const RICE: i32 = 11;
    const SUBTRACTIVE_DITHER_1: i32 = 1;
    const SEED: i32 = 77;
    const FLOAT: i32 = 42;
    assert_eq!(values.len(), width * height);
    // CFITSIO reads brackets in names as commands: write beside, then rename.
    let folder = path.parent().unwrap_or(Path::new("."));
    let folder = tempfile::tempdir_in(folder)?;
    let plain = folder.path().join("frame.fz");
    let name = plain
        .to_str()
        .and_then(|name| CString::new(name).ok())
        .ok_or_else(|| io::Error::other("the folder's name is not plain text"))?;
    let lines: Vec<CString> = cards
        .iter()
        .filter_map(|card| CString::new(card.line()).ok())
        .collect();
    let mut sizes = [width as _, height as _];
    let mut samples = values.to_vec();
    let mut status = 0;
    let mut file = core::ptr::null_mut();
    // SAFETY: all pointers are to live values of the types that CFITSIO asks
    // for; the sizes are those of `samples`; the handle is closed once.
    unsafe {
        sys::ffinit(&mut file, name.as_ptr(), &mut status);
        if status == 0 {
            sys::fits_set_compression_type(file, RICE, &mut status);
            sys::fits_set_quantize_level(file, 4.0, &mut status);
            sys::fits_set_quantize_dither(file, SUBTRACTIVE_DITHER_1, &mut status);
            sys::fits_set_dither_seed(file, SEED, &mut status);
            sys::ffcrim(file, -32, 2, sizes.as_mut_ptr(), &mut status);
            for line in &lines {
                sys::ffprec(file, line.as_ptr(), &mut status);
            }
            sys::ffppr(
                file,
                FLOAT,
                1,
                samples.len() as _,
                samples.as_mut_ptr().cast(),
                &mut status,
            );
            sys::ffclos(file, &mut status);
        }
    }
    if status != 0 {
        return Err(io::Error::other(format!("CFITSIO status {status}")));
    }
    std::fs::rename(&plain, path)
}

/// Writes a 16-bit grey TIFF without any further tags.
pub fn write_tiff(path: &Path, (width, height): (usize, usize), values: &[f32]) -> io::Result<()> {
    let codes: Vec<u16> = values.iter().map(|&v| to_u16(v)).collect();
    let mut out =
        TiffEncoder::new(BufWriter::new(File::create(path)?)).map_err(io::Error::other)?;
    out.write_image::<colortype::Gray16>(width as u32, height as u32, &codes)
        .map_err(io::Error::other)
}
