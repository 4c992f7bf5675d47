//! TIFF and PNG files through the public reader: values, planes, pages, words.
//!
//! The files under `regressions/raster` were written by an independent TIFF
//! library. They are 37 x 20 ramps (one of 12 rows): sample `s` of the pixel in row `y`, column
//! `x` is `1000 s + 37 y + x`, changed as each test says.

#[path = "support/raster_files.rs"]
mod raster_files;

use std::io::Cursor;
use std::path::{Path, PathBuf};

use linehue::engine::frame::Plane;
use linehue::engine::header::Value;
use linehue::io::read::raster::{list, open};
use linehue::io::read::{Container, Pick, ReadError, SampleKind};
use proptest::prelude::*;
use raster_files::{Made, deflated, file, png_file, png_of, png_value, shapes};
use tiff::encoder::{Compression, Predictor, TiffEncoder, colortype};

const WIDTH: usize = 37;
const HEIGHT: usize = 20;

fn regression(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/regressions/raster")
        .join(name)
}

fn plane(plane: usize) -> Pick {
    Pick {
        plane: Some(plane),
        hdu: None,
    }
}

fn values(path: &Path, pick: Pick) -> Vec<f32> {
    let opened = open(path, pick).expect("a sound file");
    let plane = Plane::from_rows(&*opened.rows).expect("sound pixels");
    plane.values().iter().copied().collect()
}

fn ramp(sample: usize, change: impl Fn(f32) -> f32) -> Vec<f32> {
    (0..HEIGHT * WIDTH)
        .map(|i| change((1000 * sample + 37 * (i / WIDTH) + i % WIDTH) as f32))
        .collect()
}

#[test]
fn files_of_another_library_read_as_their_formula() {
    for sample in 0..3 {
        let path = regression("planar-tiles-f32-predictor3.tif");
        assert_eq!(values(&path, plane(sample + 1)), ramp(sample, |v| v / 8.0));
    }
    for sample in 0..2 {
        let path = regression("two-bands-u16-lzw-predictor2.tif");
        assert_eq!(values(&path, plane(sample + 1)), ramp(sample, |v| v));
    }
    for sample in 0..4 {
        let path = regression("rgb-alpha-u8-lzw-tiles.tif");
        assert_eq!(
            values(&path, plane(sample + 1)),
            ramp(sample, |v| v % 256.0)
        );
    }
    let only = Pick::default();
    let twelve_rows = &ramp(0, |v| v / 8.0)[..12 * WIDTH];
    assert_eq!(
        values(&regression("bigtiff-big-endian-f64.tif"), only),
        twelve_rows
    );
    assert_eq!(
        values(&regression("f16-big-endian-packbits.tif"), only),
        ramp(0, |v| v / 8.0)
    );
    assert_eq!(
        values(&regression("i32-deflate-predictor2.tif"), only),
        ramp(1, |v| -v)
    );
}

#[test]
fn facts_say_how_the_file_keeps_its_samples() {
    let facts = |name, pick| open(&regression(name), pick).expect("a sound file").facts;
    let tiles = facts("planar-tiles-f32-predictor3.tif", plane(2));
    assert_eq!(tiles.packing, "Deflate, predictor 3, tiles 16 x 16");
    assert_eq!((tiles.planes, tiles.plane, tiles.hdu), (3, 2, 0));
    assert_eq!(
        (tiles.sample.bits, tiles.sample.kind),
        (32, SampleKind::Float)
    );
    assert_eq!(tiles.ceiling, None);
    assert_eq!(tiles.container, Container::Tiff);
    let plain = facts("bigtiff-big-endian-f64.tif", Pick::default());
    assert_eq!(
        (plain.packing.as_str(), plain.size.width, plain.size.height),
        ("", 37, 12)
    );
    let bands = facts("two-bands-u16-lzw-predictor2.tif", plane(1));
    assert_eq!(bands.packing, "LZW, predictor 2");
    assert_eq!(bands.ceiling, Some(65535.0));
    assert_eq!(
        facts("i32-deflate-predictor2.tif", Pick::default()).ceiling,
        None
    );
}

#[test]
fn pages_are_counted_from_zero_and_described() {
    let path = regression("two-pages-described.tif");
    let first = open(&path, Pick::default()).expect("the first page").facts;
    assert_eq!(first.hdu, 0);
    assert_eq!(
        first.header.text("OBJECT").as_deref(),
        Some("Lantern Shell")
    );
    assert_eq!(first.header.get("EXPTIME"), Some(&Value::Real(300.5)));
    assert_eq!(
        first.header.text("DATE").as_deref(),
        Some("2026-03-01T22:15:09")
    );
    assert_eq!(first.header.text("CREATOR").as_deref(), Some("ramp maker"));
    assert!(first.notices[0].contains("2 pages"), "{:?}", first.notices);

    let second = Pick {
        hdu: Some(1),
        plane: None,
    };
    let facts = open(&path, second).expect("the second page").facts;
    assert!(
        facts
            .notices
            .iter()
            .any(|notice| notice.contains("white = 0"))
    );
    assert!(
        facts
            .notices
            .iter()
            .any(|notice| notice.contains("orientation 6"))
    );
    assert_eq!(
        values(&path, second),
        ramp(1, |v| v),
        "stored values, not inverted"
    );

    let error = open(
        &path,
        Pick {
            hdu: Some(2),
            plane: None,
        },
    )
    .expect_err("no third page");
    assert!(matches!(&error, ReadError::Pick { .. }));
    assert!(error.hint().contains("from 0 to 1"), "{}", error.hint());
    let lines = list(&path).expect("two lines");
    assert_eq!(
        lines[1],
        "page 1: 37 x 20, 1 plane, 16-bit unsigned integers"
    );
}

#[test]
fn a_plane_of_a_colour_file_must_be_named() {
    let error = open(&regression("rgb-alpha-u8-lzw-tiles.tif"), Pick::default());
    let error = error.expect_err("four planes");
    assert!(matches!(&error, ReadError::Pick { .. }));
    assert!(
        error
            .to_string()
            .contains("4 planes (red, green, blue, alpha)"),
        "{error}"
    );
    assert!(error.hint().contains("plane = N"));
}

#[test]
fn foreign_files_are_refused_by_name() {
    let jpeg = file(b"\xff\xd8\xff\xe0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0");
    let error = open(jpeg.path(), Pick::default()).expect_err("a JPEG");
    assert!(error.to_string().contains("JPEG"), "{error}");
    assert!(!error.hint().is_empty());
    let empty = file(b"");
    assert!(matches!(
        open(empty.path(), Pick::default()),
        Err(ReadError::Unsuitable { .. })
    ));
    let absent = Path::new("no-such-lantern.tif");
    assert!(matches!(
        open(absent, Pick::default()),
        Err(ReadError::System { .. })
    ));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn any_layout_reads_back_and_bands_equal_the_whole(shape in shapes(), band in 1..20_usize) {
        let file = file(&shape.file());
        for sample in 0..shape.samples {
            let opened = open(file.path(), plane(sample + 1)).expect("a sound file");
            let expected: Vec<f32> = (0..shape.height * shape.width)
                .map(|i| f32::from(shape.value(sample, i / shape.width, i % shape.width)))
                .collect();
            let whole = Plane::from_rows(&*opened.rows).expect("sound pixels");
            prop_assert_eq!(whole.values().as_slice().expect("in order"), &expected[..]);
            // Bands from the bottom up.
            let mut end = shape.height;
            while end > 0 {
                let first = end.saturating_sub(band);
                let mut out = vec![-1.0; (end - first) * shape.width];
                opened.rows.read(first, &mut out).expect("sound rows");
                prop_assert_eq!(&out[..], &expected[first * shape.width..end * shape.width]);
                end = first;
            }
        }
    }

    #[test]
    fn what_the_tiff_encoder_packs_reads_back(
        (width, height) in (1..40_u32, 1..40_u32),
        rows in 1..50_u32,
        packing in 0..4_usize,
        differences in any::<bool>(),
        seed in any::<u16>(),
    ) {
        let compression = [
            Compression::Uncompressed,
            Compression::Lzw,
            Compression::Deflate(tiff::encoder::DeflateLevel::Fast),
            Compression::Packbits,
        ][packing];
        let predictor =
            if differences && packing % 3 != 0 { Predictor::Horizontal } else { Predictor::None };
        let samples: Vec<u16> = (0..width * height)
            .map(|i| (i / 3).wrapping_mul(u32::from(seed)) as u16)
            .collect();
        let mut bytes = Cursor::new(Vec::new());
        let mut encoder = TiffEncoder::new(&mut bytes)
            .expect("room")
            .with_compression(compression)
            .with_predictor(predictor);
        let mut image = encoder.new_image::<colortype::Gray16>(width, height).expect("room");
        image.rows_per_strip(rows).expect("before any strip");
        image.write_data(&samples).expect("room");
        let file = file(bytes.get_ref());
        let expected: Vec<f32> = samples.iter().map(|sample| f32::from(*sample)).collect();
        prop_assert_eq!(values(file.path(), Pick::default()), expected);
    }

    #[test]
    fn png_rows_read_back_in_any_order(
        (width, height) in (1..40_u32, 1..40_u32),
        color in 0..4_usize,
        wide in any::<bool>(),
        order in prop::collection::vec(0..40_usize, 1..12),
    ) {
        let samples = [1, 2, 3, 4][color];
        let bytes = png_file(width, height, samples, wide);
        let file = file(&bytes);
        for sample in 0..samples {
            let opened = open(file.path(), plane(sample + 1)).expect("a sound file");
            prop_assert_eq!(opened.facts.ceiling, Some(if wide { 65535.0 } else { 255.0 }));
            for row in order.iter().map(|row| row % height as usize) {
                let mut out = vec![-1.0; width as usize];
                opened.rows.read(row, &mut out).expect("sound rows");
                let expected: Vec<f32> = (0..width as usize)
                    .map(|column| {
                        let value = png_value(sample, row, column);
                        if wide { f32::from(value) } else { f32::from(value as u8) }
                    })
                    .collect();
                prop_assert_eq!(out, expected);
            }
        }
    }
}

#[test]
fn small_png_depths_stay_code_values_and_palettes_are_refused() {
    let two_bits = png_of(
        5,
        2,
        png::ColorType::Grayscale,
        png::BitDepth::Two,
        &[0b00_01_10_11, 0b10 << 6, 0xff, 0],
    );
    let file = file(&two_bits);
    assert_eq!(
        values(file.path(), Pick::default()),
        [0.0, 1.0, 2.0, 3.0, 2.0, 3.0, 3.0, 3.0, 3.0, 0.0]
    );
    let facts = open(file.path(), Pick::default())
        .expect("a sound file")
        .facts;
    assert_eq!(facts.ceiling, Some(3.0));
    assert_eq!(facts.header.text("TITLE").as_deref(), Some("Lantern Shell"));
    assert_eq!(facts.header.text("FILTER").as_deref(), Some("SII"));

    let palette = png_of(
        8,
        1,
        png::ColorType::Indexed,
        png::BitDepth::One,
        &[0b0101_0101],
    );
    let palette = self::file(&palette);
    let error = open(palette.path(), Pick::default()).expect_err("a palette");
    assert!(error.to_string().contains("palette"), "{error}");
    assert!(error.hint().contains("grey"));
}

#[test]
fn interlaced_png_is_put_together() {
    // Seven passes of an 8-bit grey 5 x 5 picture whose value is 10 row + column;
    // rows and columns of each pass as drawn in the standard, section 8.1.
    let passes: [(&[usize], &[usize]); 7] = [
        (&[0], &[0]),
        (&[0], &[4]),
        (&[4], &[0, 4]),
        (&[0, 4], &[2]),
        (&[2], &[0, 2, 4]),
        (&[0, 2, 4], &[1, 3]),
        (&[1, 3], &[0, 1, 2, 3, 4]),
    ];
    let mut data = Vec::new();
    for (rows, columns) in passes {
        for row in rows {
            data.push(0);
            data.extend(columns.iter().map(|column| (10 * row + column) as u8));
        }
    }
    let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut chunk = |name: &[u8], body: &[u8]| {
        bytes.extend((body.len() as u32).to_be_bytes());
        let mut sum = flate2::Crc::new();
        sum.update(name);
        sum.update(body);
        bytes.extend(name);
        bytes.extend(body);
        bytes.extend(sum.sum().to_be_bytes());
    };
    chunk(b"IHDR", &[0, 0, 0, 5, 0, 0, 0, 5, 8, 0, 0, 0, 1]);
    chunk(b"IDAT", &deflated(&data));
    chunk(b"IEND", &[]);
    let file = file(&bytes);
    let expected: Vec<f32> = (0..25).map(|i| (10 * (i / 5) + i % 5) as f32).collect();
    assert_eq!(values(file.path(), Pick::default()), expected);
}

#[test]
fn sizes_that_cannot_be_are_refused_before_memory_is_taken() {
    let made = |width: u64, height: u64, rows: u64, compression: u64| {
        let tags = vec![
            (256, vec![width]),
            (257, vec![height]),
            (258, vec![16]),
            (259, vec![compression]),
            (262, vec![1]),
            (278, vec![rows]),
        ];
        let chunks = vec![deflated(&[0; 100])];
        file(
            &Made {
                big_endian: false,
                big: false,
                tags,
                chunks,
            }
            .bytes(false),
        )
    };
    for (width, height) in [(1 << 29, 1 << 29), (100_000, 100_000), (1000, 1000), (0, 5)] {
        for compression in [1, 5, 8, 32773] {
            let file = made(width, height, height, compression);
            let error = open(file.path(), Pick::default()).expect_err("too large for the file");
            assert!(!error.hint().is_empty());
        }
    }
    let file = made(10, 5, 5, 8);
    assert_eq!(values(file.path(), Pick::default()), [0.0; 50]);
    let short = made(20, 5, 5, 8);
    let opened = open(short.path(), Pick::default()).expect("plausible");
    let error = opened
        .rows
        .read(0, &mut [0.0; 100])
        .expect_err("half the pixels are not there");
    assert!(error.message.contains("fewer pixels"), "{error}");
}

#[test]
fn damaged_checksums_and_loops_are_told() {
    let tags = |next: &[(u16, Vec<u64>)]| {
        let mut tags = vec![
            (256, vec![10]),
            (257, vec![5]),
            (258, vec![8]),
            (259, vec![8]),
            (262, vec![1]),
        ];
        tags.extend_from_slice(next);
        tags
    };
    let mut packed = deflated(&[7; 50]);
    *packed.last_mut().expect("a checksum") ^= 1;
    let made = Made {
        big_endian: false,
        big: false,
        tags: tags(&[]),
        chunks: vec![packed],
    };
    let mut bytes = made.bytes(false);
    let wrong = file(&bytes);
    let opened = open(wrong.path(), Pick::default()).expect("tags are sound");
    assert!(opened.rows.read(0, &mut [0.0; 50]).is_err());

    // The link after the seven entries points back to the directory itself.
    let directory = u32::from_le_bytes([bytes[4], bytes[5], bytes[6], bytes[7]]) as usize;
    let link = directory + 2 + 7 * 12;
    let own = bytes[4..8].to_vec();
    bytes[link..link + 4].copy_from_slice(&own);
    let error = open(file(&bytes).path(), Pick::default()).expect_err("a loop");
    assert!(
        error.to_string().contains("comes back to itself"),
        "{error}"
    );
}

#[test]
fn rows_outside_the_picture_are_an_error() {
    let opened = open(&regression("bigtiff-big-endian-f64.tif"), Pick::default()).expect("sound");
    assert!(opened.rows.read(11, &mut [0.0; 2 * WIDTH]).is_err());
    assert!(opened.rows.read(usize::MAX, &mut [0.0; WIDTH]).is_err());
    assert!(opened.rows.read(0, &mut [0.0; WIDTH + 1]).is_err());
}

#[test]
fn threads_may_ask_at_the_same_time() {
    let png = file(&png_file(23, 90, 1, true));
    let tiles = regression("rgb-alpha-u8-lzw-tiles.tif");
    for path in [png.path(), &tiles] {
        let opened = open(path, plane(1)).expect("a sound file");
        let expected = values(path, plane(1));
        let width = opened.facts.size.width;
        std::thread::scope(|scope| {
            for start in 0..4 {
                let (opened, expected) = (&opened, &expected);
                scope.spawn(move || {
                    for row in (start..opened.facts.size.height - 3).rev().step_by(3) {
                        let mut out = vec![-1.0; 3 * width];
                        opened.rows.read(row, &mut out).expect("sound rows");
                        assert_eq!(out, expected[row * width..(row + 3) * width]);
                    }
                });
            }
        });
    }
}

#[test]
fn a_long_way_back_starts_the_png_again() {
    let png = file(&png_file(3, 1500, 2, true));
    let opened = open(png.path(), plane(2)).expect("a sound file");
    for row in [1499, 2, 700, 699, 0, 1499] {
        let mut out = vec![-1.0; 3];
        opened.rows.read(row, &mut out).expect("sound rows");
        let expected: Vec<f32> = (0..3).map(|x| f32::from(png_value(1, row, x))).collect();
        assert_eq!(out, expected, "row {row}");
    }
}

#[test]
fn a_predictor_without_packing_is_left_alone_and_told() {
    let tags = vec![
        (256, vec![4]),
        (257, vec![1]),
        (258, vec![8]),
        (259, vec![1]),
        (262, vec![1]),
        (317, vec![2]),
    ];
    let made = Made {
        big_endian: true,
        big: false,
        tags,
        chunks: vec![vec![9, 8, 7, 6]],
    };
    let file = file(&made.bytes(false));
    assert_eq!(values(file.path(), Pick::default()), [9.0, 8.0, 7.0, 6.0]);
    let facts = open(file.path(), Pick::default())
        .expect("a sound file")
        .facts;
    assert!(
        facts.notices[0].contains("predictor"),
        "{:?}",
        facts.notices
    );
}

/// Changes bytes of sound files by a fixed sequence: whatever comes, there is
/// an answer and no panic.
#[test]
fn changed_bytes_never_panic() {
    let mut files: Vec<Vec<u8>> = std::fs::read_dir(regression(""))
        .expect("the folder")
        .map(|entry| entry.expect("an entry").path())
        .collect::<std::collections::BTreeSet<_>>()
        .iter()
        .map(|path| std::fs::read(path).expect("a file"))
        .collect();
    files.push(png_file(30, 30, 3, true));
    files.push(png_file(9, 30, 1, false));
    let mut state = 20_260_301_u64;
    let mut next = |below: usize| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) as usize) % below
    };
    let mut read = 0;
    for original in &files {
        for round in 0..60 {
            let mut bytes = original.clone();
            for _ in 0..1 + round % 3 {
                // Most changes go where the tags are: at one end of the file.
                let near = bytes.len().min(400);
                let place = match next(3) {
                    0 => next(near),
                    1 => bytes.len() - 1 - next(near),
                    _ => next(bytes.len()),
                };
                bytes[place] = match next(3) {
                    0 => 0xff,
                    1 => bytes[place] ^ (1 << next(8)),
                    _ => next(256) as u8,
                };
            }
            if round % 10 == 0 {
                bytes.truncate(next(bytes.len()));
            }
            let file = file(&bytes);
            if let Ok(opened) = open(file.path(), plane(1)) {
                let size = opened.rows.size();
                let rows = size.height.min(100);
                if size.width < 1_000_000 {
                    let mut out = vec![0.0; size.width * rows];
                    read += usize::from(opened.rows.read(0, &mut out).is_ok());
                    assert!(out.iter().all(|value| !value.is_infinite()));
                }
            }
            list(file.path()).ok();
        }
    }
    assert!(read > 20, "some changes leave a file readable");
}
