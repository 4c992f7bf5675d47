//! FITS files in: every kind of sample, packing and tile, and what is refused.
//!
//! Files are made here, byte by byte or by CFITSIO, and what is read is held
//! against the numbers that went in or against CFITSIO's own reading.

#[path = "support/fits_files.rs"]
mod fits_files;

#[path = "read_fits/refused.rs"]
mod refused;

#[path = "read_fits/tiles.rs"]
mod tiles;

use std::fs;
use std::path::Path;

use fits_files::{
    BLOCK, FLOAT, Folder, Noise, SHORT, Tiles, assert_same, by_cfitsio, bzip2, compress, extension,
    gzip, primary, unit, write_tiles,
};
use linehue::engine::frame::Plane;
use linehue::io::read::fits::{HduKind, checksum_notice, list, open, sniff};
use linehue::io::read::{Pick, ReadError, SampleKind};

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
    // Stray bytes behind the stream are passed over; a wrong checksum is not.
    let padded = folder.file("padded", &[gzip(&bytes), vec![0; 600]].concat());
    assert_same(&values(&padded), &expected, "padded gzip");
    let mut wrong = gzip(&bytes);
    let checksum = wrong.len() - 8;
    wrong[checksum] ^= 1;
    let opened = open(&folder.file("wrong", &wrong), Pick::default()).expect("the start is sound");
    let error = Plane::from_rows(&*opened.rows).expect_err("the checksum is wrong");
    assert!(error.message.contains("damaged"), "{error}");
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
