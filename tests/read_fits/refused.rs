//! Damaged and unsuitable files, and what is said about them.

use linehue::engine::frame::Plane;
use linehue::io::read::fits::{checksum_notice, list, open};
use linehue::io::read::{Pick, ReadError};

use crate::fits_files::{BLOCK, Folder, Noise, bzip2, compress, extension, gzip, primary, unit};

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
    for round in 0..600 {
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
