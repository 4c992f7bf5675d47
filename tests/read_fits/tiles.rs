//! Compressed tiles.

use std::fs;

use linehue::engine::frame::Plane;
use linehue::engine::header::Value;
use linehue::io::read::fits::{HduKind, list, open};
use linehue::io::read::{Container, Pick};

use crate::fits_files::{
    BLOCK, FLOAT, Folder, MISSING, Noise, SHORT, Tiles, assert_same, by_cfitsio, gzip, write_tiles,
};
use crate::{read, values};

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

/// A sound table of tiles, with some of its cards changed.
fn changed(sound: &[u8], changes: &[(&str, &str)]) -> Vec<u8> {
    let mut bytes = sound.to_vec();
    for (keyword, value) in changes {
        let name = format!("{keyword:<8}=");
        let mut cards = bytes.chunks_exact_mut(80).skip(BLOCK / 80);
        let card = cards.find(|card| card.starts_with(name.as_bytes()));
        let card = card.unwrap_or_else(|| panic!("there is a card {keyword}"));
        card.copy_from_slice(format!("{name} {value:<70}").as_bytes());
    }
    bytes
}

#[test]
fn a_table_of_tiles_is_checked_before_it_is_decoded() {
    let folder = Folder::new();
    let path = folder.0.path().join("sound.fits");
    let numbers: Vec<i16> = (0..40 * 48).collect();
    let tiles = Tiles {
        kind: 11,
        tile: [40, 16],
        dither: -1,
    };
    write_tiles(&path, tiles, 16, SHORT, &[40, 48], &numbers);
    let sound = fs::read(&path).expect("the file is there");
    for (changes, word) in [
        (&[("ZTILE1", "0")][..], "ZTILE1 is not above zero"),
        (&[("ZTILE2", "-16")], "ZTILE2 is not above zero"),
        (&[("ZTILE2", "8")], "3 rows for 6 tiles"),
        (&[("ZVAL1", "0")], "BLOCKSIZE is 0"),
        (&[("ZVAL2", "3")], "BYTEPIX is 3"),
        (&[("ZBITPIX", "17")], "ZBITPIX is 17"),
        (&[("ZNAXIS1", "-40")], "ZNAXIS1 is -40"),
        (
            &[("ZNAXIS1", "4000000000"), ("ZTILE1", "4000000000")],
            "cannot come out of a file",
        ),
        (&[("PCOUNT", "99999999")], "cut short"),
        (&[("PCOUNT", "10")], "lies outside its data"),
        (&[("TFORM1", "'1QB(9)'")], "rows have"),
        (&[("TTYPE1", "'OTHER_DATA'")], "no column COMPRESSED_DATA"),
        (&[("ZCMPTYPE", "'LATER_9'")], "`LATER_9` is unknown"),
        (&[("ZCMPTYPE", "'NOCOMPRESS'")], "said to be uncompressed"),
    ] {
        let path = folder.file("changed.fits", &changed(&sound, changes));
        let error = open(&path, Pick::default()).expect_err(word);
        assert!(error.to_string().contains(word), "{error}");
    }
    let found = list(&path).expect("the file is sound");
    assert_eq!((found[1].kind, found[1].bitpix), (HduKind::TiledImage, 16));
    assert_eq!(found[1].axes, [40, 48]);
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
