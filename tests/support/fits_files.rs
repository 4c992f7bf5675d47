//! FITS files for tests: made byte by byte or by CFITSIO, packed in every way.

use std::ffi::{CString, c_int, c_long};
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::ptr;

use fitsio::sys;

pub const BLOCK: usize = 2880;

/// One header-data unit out of its cards (without END) and its data.
pub fn unit(cards: &[String], data: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for card in cards.iter().map(String::as_str).chain(["END"]) {
        bytes.extend_from_slice(format!("{card:<80}").as_bytes());
    }
    bytes.resize(bytes.len().next_multiple_of(BLOCK), b' ');
    bytes.extend_from_slice(data);
    bytes.resize(bytes.len().next_multiple_of(BLOCK), 0);
    bytes
}

/// The first cards of a primary image.
pub fn primary(bitpix: i64, axes: &[i64], more: &[&str]) -> Vec<String> {
    structure("SIMPLE  =                    T", bitpix, axes, more)
}

/// The first cards of an image extension.
pub fn extension(bitpix: i64, axes: &[i64], more: &[&str]) -> Vec<String> {
    let mut cards = structure(
        "XTENSION= 'IMAGE   '",
        bitpix,
        axes,
        &["PCOUNT  = 0", "GCOUNT  = 1"],
    );
    cards.extend(more.iter().map(ToString::to_string));
    cards
}

fn structure(first: &str, bitpix: i64, axes: &[i64], more: &[&str]) -> Vec<String> {
    let mut cards = vec![
        first.to_owned(),
        format!("BITPIX  = {bitpix}"),
        format!("NAXIS   = {}", axes.len()),
    ];
    cards.extend(
        (1..)
            .zip(axes)
            .map(|(n, axis)| format!("{:<8}= {axis}", format!("NAXIS{n}"))),
    );
    cards.extend(more.iter().map(ToString::to_string));
    cards
}

/// A folder that goes with the test, and files in it.
pub struct Folder(pub tempfile::TempDir);

impl Folder {
    pub fn new() -> Self {
        Self(tempfile::tempdir().expect("a temporary folder"))
    }

    pub fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.0.path().join(name);
        fs::write(&path, bytes).expect("a file can be written");
        path
    }
}

/// Equal bits, with every NaN equal to every other.
pub fn assert_same(ours: &[f32], theirs: &[f32], what: &str) {
    assert_eq!(ours.len(), theirs.len(), "{what}");
    for (index, (our, their)) in ours.iter().zip(theirs).enumerate() {
        let same = our.to_bits() == their.to_bits() || our.is_nan() && their.is_nan();
        assert!(same, "{what}: pixel {index} is {our}, not {their}");
    }
}

/// Numbers without a pattern (a linear congruential generator).
pub struct Noise(pub u64);

impl Noise {
    pub fn next(&mut self) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        self.0 >> 16
    }

    pub fn bytes(&mut self, count: usize) -> Vec<u8> {
        (0..count).map(|_| (self.next() >> 20) as u8).collect()
    }
}

/// What CFITSIO makes of an image: `count` values of one unit (from 0).
pub fn by_cfitsio(path: &Path, hdu: c_int, count: usize) -> Vec<f32> {
    let name = CString::new(path.as_os_str().as_encoded_bytes()).expect("no zero byte");
    let (mut file, mut status, mut found, mut missing) = (ptr::null_mut(), 0, 0, f32::NAN);
    let mut values = vec![0.0_f32; count];
    // SAFETY: all pointers are to live values, and `values` has room for `count`.
    unsafe {
        sys::ffdkopn(&raw mut file, name.as_ptr(), 0, &raw mut status);
        sys::ffmahd(file, hdu + 1, ptr::null_mut(), &raw mut status);
        sys::ffgpv(
            file,
            42,
            1,
            count as i64,
            (&raw mut missing).cast(),
            values.as_mut_ptr().cast(),
            &raw mut found,
            &raw mut status,
        );
        assert_eq!(status, 0, "CFITSIO reads {}", path.display());
        sys::ffclos(file, &raw mut status);
    }
    values
}

/// How CFITSIO is to write tiles.
#[derive(Clone, Copy)]
pub struct Tiles {
    /// RICE_1 11, GZIP_1 21, GZIP_2 22, PLIO_1 31, HCOMPRESS_1 41, none -1.
    pub kind: c_int,
    pub tile: [c_long; 2],
    /// Dithering of floats: 0, 1 or 2; below 0 they are not quantised.
    pub dither: c_int,
}

/// Writes compressed tiles: `bitpix` and values in the type of `type_code`.
pub fn write_tiles<T: Clone>(
    path: &Path,
    tiles: Tiles,
    bitpix: c_int,
    type_code: c_int,
    axes: &[i64],
    values: &[T],
) {
    let name = CString::new(path.as_os_str().as_encoded_bytes()).expect("no zero byte");
    let (mut file, mut status) = (ptr::null_mut(), 0);
    let (mut axes, mut tile, mut values) = (axes.to_vec(), [1, 1, 1], values.to_vec());
    tile[..2].copy_from_slice(&tiles.tile);
    // SAFETY: all pointers are to live values of the lengths that are given.
    unsafe {
        sys::ffdkinit(&raw mut file, name.as_ptr(), &raw mut status);
        sys::fits_set_compression_type(file, tiles.kind, &raw mut status);
        sys::fits_set_tile_dim(
            file,
            axes.len() as c_int,
            tile.as_mut_ptr(),
            &raw mut status,
        );
        if tiles.dither >= 0 {
            let method = [-1, 1, 2][tiles.dither as usize];
            sys::fits_set_quantize_method(file, method, &raw mut status);
            sys::fits_set_quantize_level(file, 16.0, &raw mut status);
        } else {
            sys::fits_set_quantize_level(file, 0.0, &raw mut status);
        }
        sys::ffcrimll(
            file,
            bitpix,
            axes.len() as c_int,
            axes.as_mut_ptr(),
            &raw mut status,
        );
        let mut missing = MISSING;
        if type_code == FLOAT {
            sys::ffppn(
                file,
                type_code,
                1,
                values.len() as i64,
                values.as_mut_ptr().cast(),
                (&raw mut missing).cast(),
                &raw mut status,
            );
        } else {
            let count = values.len() as i64;
            sys::ffppr(
                file,
                type_code,
                1,
                count,
                values.as_mut_ptr().cast(),
                &raw mut status,
            );
        }
        sys::ffclos(file, &raw mut status);
    }
    assert_eq!(status, 0, "CFITSIO writes {}", path.display());
}

pub const SHORT: c_int = 21;
pub const FLOAT: c_int = 42;

/// What [`write_tiles`] writes as no data.
pub const MISSING: f32 = -9999.0;

pub fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).expect("memory takes it");
    encoder.finish().expect("memory takes it")
}

pub fn bzip2(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = bzip2::write::BzEncoder::new(Vec::new(), bzip2::Compression::fast());
    encoder.write_all(bytes).expect("memory takes it");
    encoder.finish().expect("memory takes it")
}

/// Unix compress with literals only: the table fills all the same, so codes
/// grow from 9 to 16 bits, with the unused rest of each group of eight.
pub fn compress(bytes: &[u8]) -> Vec<u8> {
    let mut out = vec![0x1f, 0x9d, 0x90];
    let (mut bits, mut held, mut free, mut codes) = (9, Vec::new(), 257_usize, 0);
    let mut flush = |held: &mut Vec<bool>, whole: usize| {
        held.resize(held.len().max(whole), false);
        for byte in held.chunks(8) {
            out.push(
                byte.iter()
                    .rev()
                    .fold(0, |all, bit| all << 1 | u8::from(*bit)),
            );
        }
        held.clear();
    };
    for (index, byte) in bytes.iter().enumerate() {
        if free > (1 << bits) - 1 && bits < 16 {
            if codes > 0 {
                flush(&mut held, bits * 8);
            }
            bits += 1;
            codes = 0;
        }
        held.extend((0..bits).map(|bit| bit < 8 && byte >> bit & 1 == 1));
        codes += 1;
        if codes == 8 {
            flush(&mut held, bits * 8);
            codes = 0;
        }
        free += usize::from(index > 0 && free < 1 << 16);
    }
    flush(&mut held, 0);
    out
}
