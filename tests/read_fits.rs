//! FITS files in: every kind of sample, packing and tile, and what is refused.
//!
//! Files are made here, byte by byte or by CFITSIO, and what is read is held
//! against the numbers that went in or against CFITSIO's own reading.

use std::ffi::{CString, c_int, c_long};
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::ptr;

use fitsio::sys;
use linehue::engine::frame::Plane;
use linehue::engine::header::Value;
use linehue::io::read::fits::{HduKind, checksum_notice, list, open, sniff};
use linehue::io::read::{Container, Pick, ReadError, SampleKind};

const BLOCK: usize = 2880;

/// One header-data unit out of its cards (without END) and its data.
fn unit(cards: &[String], data: &[u8]) -> Vec<u8> {
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
fn primary(bitpix: i64, axes: &[i64], more: &[&str]) -> Vec<String> {
    structure("SIMPLE  =                    T", bitpix, axes, more)
}

/// The first cards of an image extension.
fn extension(bitpix: i64, axes: &[i64], more: &[&str]) -> Vec<String> {
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
struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a temporary folder"))
    }

    fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.0.path().join(name);
        fs::write(&path, bytes).expect("a file can be written");
        path
    }
}

fn read(path: &Path, pick: Pick) -> Plane {
    let opened = open(path, pick).unwrap_or_else(|error| panic!("{error}"));
    Plane::from_rows(&*opened.rows).unwrap_or_else(|error| panic!("{error}"))
}

fn values(path: &Path) -> Vec<f32> {
    read(path, Pick::default())
        .values()
        .iter()
        .copied()
        .collect()
}

/// Equal bits, with every NaN equal to every other.
fn assert_same(ours: &[f32], theirs: &[f32], what: &str) {
    assert_eq!(ours.len(), theirs.len(), "{what}");
    for (index, (our, their)) in ours.iter().zip(theirs).enumerate() {
        let same = our.to_bits() == their.to_bits() || our.is_nan() && their.is_nan();
        assert!(same, "{what}: pixel {index} is {our}, not {their}");
    }
}

/// Numbers without a pattern (a linear congruential generator).
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        self.0 >> 16
    }

    fn bytes(&mut self, count: usize) -> Vec<u8> {
        (0..count).map(|_| (self.next() >> 20) as u8).collect()
    }
}

/// What CFITSIO makes of an image: `count` values of one unit (from 0).
fn by_cfitsio(path: &Path, hdu: c_int, count: usize) -> Vec<f32> {
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
struct Tiles {
    /// RICE_1 11, GZIP_1 21, GZIP_2 22, PLIO_1 31, HCOMPRESS_1 41, none -1.
    kind: c_int,
    tile: [c_long; 2],
    /// Dithering of floats: 0, 1 or 2; below 0 they are not quantised.
    dither: c_int,
}

/// Writes compressed tiles: `bitpix` and values in the type of `type_code`.
fn write_tiles<T: Clone>(
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

const SHORT: c_int = 21;
const FLOAT: c_int = 42;

/// What [`write_tiles`] writes as no data.
const MISSING: f32 = -9999.0;

#[test]
fn every_sample_type_gives_the_bits_that_cfitsio_gives() {
    let folder = Folder::new();
    let (width, height) = (37, 150);
    let mut noise = Noise(7);
    let scalings: [(&[&str], &str); 6] = [
        (&[], "plain"),
        (&["BSCALE  = 0.0123", "BZERO   = -7.25D1"], "scaled"),
        (&["BLANK   = 77"], "blank"),
        (
            &["BSCALE  = 3.7", "BZERO   = 11", "BLANK   = 77"],
            "scaled and blank",
        ),
        (&["BZERO   = 32768"], "unsigned 16"),
        (&["BZERO   = 9223372036854775808"], "unsigned 64"),
    ];
    for bitpix in [8, 16, 32, 64, -32, -64_i64] {
        let count = (width * height) as usize;
        let size = bitpix.unsigned_abs() as usize / 8;
        let mut data = noise.bytes(count * size);
        for (index, sample) in data.chunks_exact_mut(size).enumerate() {
            match bitpix {
                // Some samples are the BLANK value.
                8..=64 if index % 5 == 0 => {
                    sample.fill(0);
                    sample[size - 1] = 77;
                }
                // Floats of usual sizes, and the special ones.
                -32 => {
                    let value = (noise.next() as f64 / 1e9 - 1e5) as f32;
                    let special = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.0];
                    let value = special.get(index % 50).copied().unwrap_or(value);
                    sample.copy_from_slice(&value.to_be_bytes());
                }
                -64 => {
                    let value = noise.next() as f64 / 1e9 - 1e5;
                    let special = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0];
                    let value = special.get(index % 50).copied().unwrap_or(value);
                    sample.copy_from_slice(&value.to_be_bytes());
                }
                _ => {}
            }
        }
        for (cards, what) in scalings {
            let bytes = unit(&primary(bitpix, &[width, height], cards), &data);
            let path = folder.file("image.fits", &bytes);
            let what = format!("BITPIX {bitpix}, {what}");
            assert_same(&values(&path), &by_cfitsio(&path, 0, count), &what);
        }
    }
}

#[test]
fn bands_may_be_read_in_any_order_from_any_thread() {
    let folder = Folder::new();
    let (width, height) = (50, 700_usize);
    let data: Vec<u8> = (0..width * height)
        .flat_map(|n| (n as f32).to_be_bytes())
        .collect();
    let bytes = unit(&primary(-32, &[width as i64, height as i64], &[]), &data);
    let plain = folder.file("plain.fits", &bytes);
    let packed = folder.file("packed.fits", &gzip(&bytes));
    let tiled = folder.0.path().join("tiled.fits");
    let floats: Vec<f32> = (0..width * height).map(|n| n as f32).collect();
    let tiles = Tiles {
        kind: 22,
        tile: [50, 32],
        dither: -1,
    };
    write_tiles(
        &tiled,
        tiles,
        -32,
        FLOAT,
        &[width as i64, height as i64],
        &floats,
    );
    for path in [plain, packed, tiled] {
        let opened = open(&path, Pick::default()).expect("the file is sound");
        let rows = &*opened.rows;
        std::thread::scope(|scope| {
            for thread in 0..4 {
                scope.spawn(move || {
                    for step in 0..20 {
                        let first = (thread * 173 + step * 97) % (height - 40);
                        let mut out = vec![0.0; 40 * width];
                        rows.read(first, &mut out).expect("the rows are there");
                        let expected = (first * width..).map(|n| n as f32);
                        assert!(out.iter().copied().zip(expected).all(|(a, b)| a == b));
                    }
                });
            }
        });
    }
}

#[test]
fn integers_come_back_from_every_kind_of_tile() {
    let folder = Folder::new();
    let (width, height) = (60, 90);
    let mut noise = Noise(3);
    let numbers: Vec<i16> = (0..width * height)
        .map(|_| (noise.next() % 3000) as i16)
        .collect();
    let expected: Vec<f32> = numbers.iter().map(|n| f32::from(*n)).collect();
    for (kind, name) in [
        (11, "RICE_1 tiles"),
        (21, "GZIP_1 tiles"),
        (22, "GZIP_2 tiles"),
        (31, "PLIO_1 tiles"),
        (41, "HCOMPRESS_1 tiles"),
    ] {
        for tile in [[60, 1], [60, 16], [25, 32]] {
            if kind == 41 && tile[1] == 1 {
                continue; // HCOMPRESS needs tiles of four rows or more.
            }
            let path = folder
                .0
                .path()
                .join(format!("tiles-{kind}-{}.fits", tile[1]));
            write_tiles(
                &path,
                Tiles {
                    kind,
                    tile,
                    dither: -1,
                },
                16,
                SHORT,
                &[width, height],
                &numbers,
            );
            let opened = open(&path, Pick::default()).unwrap_or_else(|error| panic!("{error}"));
            assert_eq!(opened.facts.packing, name);
            assert_eq!(opened.facts.container, Container::FitsTiled);
            assert_eq!((opened.facts.hdu, opened.facts.sample.bits), (1, 16));
            assert_eq!(
                opened.facts.header.get("NAXIS1"),
                Some(&Value::Integer(width))
            );
            assert_eq!(opened.facts.header.get("ZCMPTYPE"), None);
            assert_same(&values(&path), &expected, name);
        }
    }
}

#[test]
fn quantised_floats_come_back_as_cfitsio_reads_them() {
    let folder = Folder::new();
    let (width, height) = (64, 80);
    let mut noise = Noise(11);
    let mut floats: Vec<f32> = (0..width * height)
        .map(|n| (n % 64) as f32 + (noise.next() % 1000) as f32 / 100.0)
        .collect();
    floats[5] = MISSING;
    floats[700] = 0.0;
    for dither in [-1, 0, 1, 2] {
        let kind = if dither < 0 { 22 } else { 11 };
        let path = folder.0.path().join(format!("floats{dither}.fits"));
        let tiles = Tiles {
            kind,
            tile: [64, 16],
            dither,
        };
        write_tiles(&path, tiles, -32, FLOAT, &[width, height], &floats);
        let ours = values(&path);
        assert_same(
            &ours,
            &by_cfitsio(&path, 1, floats.len()),
            &format!("dither {dither}"),
        );
        assert!(ours[5].is_nan());
        let worst = ours
            .iter()
            .zip(&floats)
            .filter(|(_, float)| **float != MISSING)
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f32::max);
        assert!(
            worst < if dither < 0 { f32::MIN_POSITIVE } else { 1.0 },
            "{worst}"
        );
        assert!(dither != 2 || ours[700] == 0.0, "method 2 keeps zeros");
    }
}

#[test]
fn a_plane_of_a_compressed_cube() {
    let folder = Folder::new();
    let path = folder.0.path().join("cube.fits");
    let numbers: Vec<i16> = (0..3 * 20 * 30).collect();
    write_tiles(
        &path,
        Tiles {
            kind: 11,
            tile: [20, 1],
            dither: -1,
        },
        16,
        SHORT,
        &[20, 30, 3],
        &numbers,
    );
    let plane = read(
        &path,
        Pick {
            hdu: None,
            plane: Some(3),
        },
    );
    let expected: Vec<f32> = (1200..1800).map(|n| n as f32).collect();
    assert_eq!(plane.values().iter().copied().collect::<Vec<_>>(), expected);
}

#[test]
fn a_name_is_only_a_name() {
    let folder = Folder::new();
    let data: Vec<u8> = (0..24_u8).collect();
    let plain = unit(&primary(8, &[6, 4], &[]), &data);
    let numbers: Vec<i16> = (0..24).collect();
    let tiled = folder.0.path().join("t.fits");
    write_tiles(
        &tiled,
        Tiles {
            kind: 11,
            tile: [6, 1],
            dither: -1,
        },
        16,
        SHORT,
        &[6, 4],
        &numbers,
    );
    let tiled = fs::read(tiled).expect("the file is there");
    let expected: Vec<f32> = (0..24).map(|n| n as f32).collect();
    let mut names: Vec<std::ffi::OsString> = [
        "a[1].fits",
        "b+1.fits",
        "c(out.fits).fits",
        "!d.fits",
        "e f.fits",
        "-",
        "mem:",
        "~root",
        "Hα Nebel.fits",
        "x.fits[col a=b]",
        "stdin",
        "$(touch hit).fits",
        "g.fits.gz",
        "'q' \"r\";.fits",
        "*.fits",
        "@list",
    ]
    .map(Into::into)
    .to_vec();
    #[cfg(target_os = "linux")]
    names.push(std::os::unix::ffi::OsStringExt::from_vec(
        b"latin-\xfc.fits".to_vec(),
    ));
    for name in names {
        let inner = Folder::new();
        for bytes in [&plain, &tiled] {
            let path = inner.0.path().join(&name);
            fs::write(&path, bytes).expect("a file can be written");
            assert_same(&values(&path), &expected, &name.to_string_lossy());
        }
        let left = fs::read_dir(inner.0.path())
            .expect("the folder is there")
            .count();
        assert_eq!(left, 1, "{} made files", name.display());
    }
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).expect("memory takes it");
    encoder.finish().expect("memory takes it")
}

fn bzip2(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = bzip2::write::BzEncoder::new(Vec::new(), bzip2::Compression::fast());
    encoder.write_all(bytes).expect("memory takes it");
    encoder.finish().expect("memory takes it")
}

/// Unix compress with literals only: the table fills all the same, so codes
/// grow from 9 to 16 bits, with the unused rest of each group of eight.
fn compress(bytes: &[u8]) -> Vec<u8> {
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

#[test]
fn packed_files_hold_the_same_picture() {
    let folder = Folder::new();
    let data = Noise(5).bytes(2 * 300 * 280);
    let empty = unit(&primary(8, &[], &["FILTER  = 'SII'"]), &[]);
    let image = unit(
        &extension(16, &[300, 280], &["EXTNAME = 'STACK'", "BZERO   = 32768"]),
        &data,
    );
    let bytes = [empty, image].concat();
    let expected = values(&folder.file("plain.fits", &bytes));
    let halves = [gzip(&bytes[..5000]), gzip(&bytes[5000..])].concat();
    for (packed, words) in [
        (gzip(&bytes), "gzip"),
        (halves, "gzip"),
        (bzip2(&bytes), "bzip2"),
        (compress(&bytes), "compress (LZW)"),
    ] {
        let path = folder.file("any name", &packed);
        assert!(sniff(&packed[..8]));
        let opened =
            open(&path, Pick::default()).unwrap_or_else(|error| panic!("{words}: {error}"));
        assert_eq!(
            (opened.facts.packing.as_str(), opened.facts.hdu),
            (words, 1)
        );
        assert_eq!(opened.facts.ceiling, Some(65535.0));
        assert_eq!(opened.facts.header.text("FILTER").as_deref(), Some("SII"));
        assert_same(&values(&path), &expected, words);
        // Once more from the top, by the same source.
        let first = Plane::from_rows(&*opened.rows).expect("the rows are there");
        let second = Plane::from_rows(&*opened.rows).expect("the rows are there");
        assert_eq!(first, second);
        // Cut short, it is refused in words when it is read.
        let cut = folder.file("cut", &packed[..packed.len() * 2 / 3]);
        let error = match open(&cut, Pick::default()) {
            Ok(opened) => {
                Plane::from_rows(&*opened.rows)
                    .expect_err("rows are missing")
                    .message
            }
            Err(error) => error.to_string(),
        };
        assert!(error.contains("cut"), "{error}");
    }
}

#[test]
fn tiles_inside_gzip() {
    let folder = Folder::new();
    let tiled = folder.0.path().join("t.fits");
    let numbers: Vec<i16> = (0..2400).collect();
    write_tiles(
        &tiled,
        Tiles {
            kind: 41,
            tile: [40, 16],
            dither: -1,
        },
        16,
        SHORT,
        &[40, 60],
        &numbers,
    );
    let path = folder.file(
        "t.fz.gz",
        &gzip(&fs::read(&tiled).expect("the file is there")),
    );
    let opened = open(&path, Pick::default()).expect("the file is sound");
    assert_eq!(opened.facts.packing, "gzip, HCOMPRESS_1 tiles");
    assert_eq!(opened.facts.path, path);
    let expected: Vec<f32> = (0..2400).map(|n| n as f32).collect();
    assert_same(&values(&path), &expected, "gzip of tiles");
}

#[test]
fn a_small_packed_file_cannot_claim_a_huge_picture() {
    let folder = Folder::new();
    let bytes = unit(&primary(-32, &[100_000, 100_000], &[]), &[0; 50_000]);
    for packed in [gzip(&bytes), bzip2(&bytes), compress(&bytes)] {
        let error =
            open(&folder.file("huge", &packed), Pick::default()).expect_err("it is too short");
        assert!(matches!(error, ReadError::Damaged { .. }));
        assert!(error.to_string().contains("bytes are missing"), "{error}");
    }
}

#[test]
fn units_and_planes_are_picked() {
    let folder = Folder::new();
    let bytes = [
        unit(
            &primary(8, &[], &["FILTER  = 'OIII'", "OBJECT  = 'Lantern Shell'"]),
            &[],
        ),
        unit(&extension(8, &[5], &["EXTNAME = 'LINE'"]), &[0; 5]),
        unit(
            &extension(8, &[2, 2, 1, 1], &["EXTNAME = 'FLAT'", "FILTER  = 'Ha'"]),
            &[1, 2, 3, 4],
        ),
        unit(
            &extension(8, &[2, 1, 3, 2], &["EXTNAME = 'CUBE'", "INHERIT = F"]),
            &(0..12).collect::<Vec<u8>>(),
        ),
    ]
    .concat();
    let path = folder.file("many.fits", &bytes);
    let found = list(&path).expect("the file is sound");
    assert_eq!(found.len(), 4);
    assert_eq!(
        (found[2].name.as_deref(), found[2].kind, found[2].bitpix),
        (Some("FLAT"), HduKind::Image, 8)
    );
    assert_eq!(found[3].axes, [2, 1, 3, 2]);

    let opened = open(&path, Pick::default()).expect("there is a picture");
    let facts = &opened.facts;
    assert_eq!(
        (facts.hdu, facts.planes, facts.plane, facts.ceiling),
        (2, 1, 1, Some(255.0))
    );
    assert_eq!(facts.sample.kind, SampleKind::Unsigned);
    assert_eq!(facts.header.text("FILTER").as_deref(), Some("Ha"));
    assert_eq!(
        facts.header.text("OBJECT").as_deref(),
        Some("Lantern Shell")
    );
    assert_eq!(
        facts
            .header
            .inherited
            .iter()
            .filter(|card| card.keyword == "BITPIX")
            .count(),
        0
    );

    let plane = read(
        &path,
        Pick {
            hdu: Some(3),
            plane: Some(6),
        },
    );
    assert_eq!(plane.values().as_slice(), Some(&[10.0, 11.0][..]));
    let alone = open(
        &path,
        Pick {
            hdu: Some(3),
            plane: Some(1),
        },
    )
    .expect("there is a plane");
    assert_eq!(alone.facts.header.text("OBJECT"), None);
    for (pick, word) in [
        (
            Pick {
                hdu: Some(3),
                plane: None,
            },
            "a cube of 6 planes",
        ),
        (
            Pick {
                hdu: Some(3),
                plane: Some(7),
            },
            "no plane 7",
        ),
        (
            Pick {
                hdu: Some(3),
                plane: Some(0),
            },
            "no plane 0",
        ),
        (
            Pick {
                hdu: Some(2),
                plane: Some(2),
            },
            "no plane 2",
        ),
        (
            Pick {
                hdu: Some(1),
                plane: None,
            },
            "HDU 1 `LINE` is an image of 5",
        ),
        (
            Pick {
                hdu: Some(9),
                plane: None,
            },
            "no HDU 9",
        ),
    ] {
        let error = open(&path, pick).expect_err("the pick is wrong");
        assert!(matches!(error, ReadError::Pick { .. }), "{error}");
        assert!(error.to_string().contains(word), "{error}");
    }
}

#[test]
fn what_is_wrong_is_said() {
    let folder = Folder::new();
    let small = |bitpix, axes: &[i64], more: &[&str]| unit(&primary(bitpix, axes, more), &[0; 100]);
    let mut endless = small(8, &[10, 10], &[]);
    endless.truncate(4 * 80);
    let cases: Vec<(&str, Vec<u8>, &str)> = vec![
        ("empty", vec![], "the file is empty"),
        (
            "page",
            b"<!DOCTYPE html><html>not found</html>".to_vec(),
            "web page",
        ),
        (
            "text",
            b"SIMPLE words, nothing else".to_vec(),
            "no FITS file",
        ),
        (
            "extension first",
            unit(&extension(8, &[10, 10], &[]), &[0; 100]),
            "primary header is missing",
        ),
        ("cut header", endless, "no END card"),
        (
            "header without an end",
            vec![b' '; 0]
                .into_iter()
                .chain(small(8, &[10, 10], &[]).into_iter().take(240))
                .chain(vec![b' '; 3000])
                .collect(),
            "no END card",
        ),
        ("bits", small(12, &[10, 10], &[]), "BITPIX is 12"),
        ("negative axis", small(8, &[10, -10], &[]), "NAXIS2 is -10"),
        ("wide", small(16, &[4_000_000_000, 1], &[]), "are missing"),
        (
            "overflow",
            small(16, &[4_000_000_000, 4_000_000_000, 4_000_000_000], &[]),
            "more than any file",
        ),
        ("long", small(16, &[10, 4_000_000_000], &[]), "are missing"),
        (
            "no scale",
            small(8, &[10, 10], &["BSCALE  = 0.0"]),
            "BSCALE is 0",
        ),
        (
            "scale in words",
            small(8, &[10, 10], &["BSCALE  = 'one'"]),
            "BSCALE is no number",
        ),
    ];
    for (name, bytes, word) in cases {
        let path = folder.file(name, &bytes);
        let error = open(&path, Pick::default()).expect_err(name);
        assert!(
            matches!(error, ReadError::Damaged { .. }),
            "{name}: {error:?}"
        );
        assert!(error.to_string().contains(word), "{name}: {error}");
        assert!(!error.hint().is_empty());
    }

    let whole = unit(&primary(16, &[30, 40], &[]), &[0; 2400]);
    let error =
        open(&folder.file("cut", &whole[..BLOCK + 2300]), Pick::default()).expect_err("cut");
    assert!(
        error.to_string().contains("100 bytes of them are missing"),
        "{error}"
    );
    let opened = open(&folder.file("pad", &whole[..BLOCK + 2400]), Pick::default()).expect("whole");
    assert_eq!(opened.facts.notices.len(), 1);
    let stray = [&whole[..], b"stray"].concat();
    let opened = open(&folder.file("stray", &stray), Pick::default()).expect("whole");
    assert_eq!(opened.facts.notices, ["5 stray bytes follow the data"]);

    let groups = primary(16, &[0, 10], &["GROUPS  = T", "PCOUNT  = 1", "GCOUNT  = 1"]);
    for (name, bytes, word) in [
        (
            "header",
            unit(&primary(8, &[], &[]), &[]),
            "a header without data",
        ),
        ("line", small(8, &[100], &[]), "an image of 100"),
        ("nothing", small(8, &[0, 100], &[]), "an image of 0 x 100"),
        ("groups", unit(&groups, &[0; 22]), "random groups"),
        (
            "mosaic",
            small(8, &[10, 10], &["BAYERPAT= 'RGGB'"]),
            "BAYERPAT = RGGB",
        ),
    ] {
        let error = open(&folder.file(name, &bytes), Pick::default()).expect_err(name);
        assert!(
            matches!(error, ReadError::Unsuitable { .. }),
            "{name}: {error:?}"
        );
        assert!(error.to_string().contains(word), "{name}: {error}");
    }

    for path in [
        folder.0.path().to_owned(),
        folder.0.path().join("missing.fits"),
    ] {
        let error = open(&path, Pick::default()).expect_err("no file");
        assert!(matches!(error, ReadError::System { .. }), "{error:?}");
    }
}

#[test]
fn checksums_are_verified() {
    let folder = Folder::new();
    // The sum of the words 1, 2, ..., 25 is 325.
    let data: Vec<u8> = (1..=25_u32).flat_map(u32::to_be_bytes).collect();
    let good = unit(&primary(32, &[5, 5], &["DATASUM = '325'"]), &data);
    assert_eq!(checksum_notice(&folder.file("good", &good), 0), None);
    let mut bad = good;
    bad[BLOCK] ^= 1;
    assert!(
        checksum_notice(&folder.file("bad", &bad), 0).is_some_and(|words| words.contains("HDU 0"))
    );
    let none = unit(&primary(32, &[5, 5], &[]), &data);
    assert_eq!(checksum_notice(&folder.file("none", &none), 0), None);
}

#[test]
fn damaged_tiles_end_in_values_or_in_words() {
    let folder = Folder::new();
    let mut noise = Noise(99);
    let numbers: Vec<i16> = (0..40 * 48).map(|_| (noise.next() % 900) as i16).collect();
    let sound: Vec<Vec<u8>> = [11, 21, 31, 41]
        .map(|kind| {
            let path = folder.0.path().join(format!("{kind}.fits"));
            let tiles = Tiles {
                kind,
                tile: [40, 16],
                dither: -1,
            };
            write_tiles(&path, tiles, 16, SHORT, &[40, 48], &numbers);
            fs::read(path).expect("the file is there")
        })
        .to_vec();
    let mut refused = 0;
    for round in 0..80 {
        let mut bytes = sound[round % sound.len()].clone();
        for _ in 0..1 + noise.next() % 6 {
            // The table's header, or its rows and tiles.
            let from = if round % 3 == 0 { BLOCK } else { 3 * BLOCK };
            let from = from.min(bytes.len() - 1);
            let at = from + noise.next() as usize % (bytes.len() - from);
            bytes[at] = noise.next() as u8;
        }
        let path = folder.file("damaged.fits", &bytes);
        let outcome = open(&path, Pick::default())
            .map_err(|error| error.to_string())
            .and_then(|opened| Plane::from_rows(&*opened.rows).map_err(|error| error.message));
        if let Err(words) = outcome {
            assert!(words.contains("damaged.fits"), "{words}");
            refused += 1;
        }
    }
    assert!(refused > 5, "damage was noticed in {refused} files");
}

#[test]
fn damaged_headers_and_packings_end_in_values_or_in_words() {
    let folder = Folder::new();
    let mut noise = Noise(17);
    let cards = [
        "BSCALE  = 2.0",
        "BZERO   = 1.0",
        "BLANK   = 3",
        "EXTEND  = T",
    ];
    let bytes = [
        unit(&primary(16, &[20, 30], &cards), &noise.bytes(1200)),
        unit(
            &extension(-32, &[5, 5, 2], &["EXTNAME = 'MORE'"]),
            &noise.bytes(200),
        ),
    ]
    .concat();
    let sound = [bytes.clone(), gzip(&bytes), bzip2(&bytes), compress(&bytes)];
    let letters = b"0123456789-.'=& /TFDE";
    for round in 0..1500 {
        let mut damaged = sound[if round % 2 == 0 { 0 } else { round % 4 }].clone();
        for _ in 0..1 + noise.next() % 5 {
            let cards = if round % 2 == 0 {
                12 * 80
            } else {
                damaged.len()
            };
            let at = noise.next() as usize % cards;
            let letter = letters[noise.next() as usize % letters.len()];
            damaged[at] = if round % 2 == 0 {
                letter
            } else {
                noise.next() as u8
            };
        }
        if round % 7 == 0 {
            damaged.truncate(noise.next() as usize % damaged.len());
        }
        let path = folder.file("damaged.fits", &damaged);
        let outcome = open(
            &path,
            Pick {
                hdu: None,
                plane: Some(1),
            },
        )
        .map_err(|error| error.to_string())
        .and_then(|opened| Plane::from_rows(&*opened.rows).map_err(|error| error.message));
        match outcome {
            Ok(plane) => assert!(plane.values().iter().all(|value| !value.is_infinite())),
            Err(words) => assert!(words.contains("damaged.fits"), "{words}"),
        }
        list(&path).ok();
        checksum_notice(&path, 0);
    }
}
