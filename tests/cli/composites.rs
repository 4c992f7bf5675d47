//! Composites: formats, sizes, renditions; nothing depends on threads or memory.

use std::fs;

use serde_json::Value;

use crate::stacks;
use crate::stacks::Bench;
use crate::support::{record_of, sha256};

#[test]
fn every_format_depth_and_space_verifies() {
    let bench = Bench::new();
    let kinds = [
        ("a.tif", &["8", "16", "32f"][..]),
        ("a.png", &["8", "16"]),
        ("a.jpg", &["8"]),
        ("a.fits", &["32f"]),
    ];
    for (name, depths) in kinds {
        for depth in depths {
            for space in ["srgb", "display-p3", "rec2020"] {
                let arguments = [
                    "compose",
                    "lantern.toml",
                    "-o",
                    name,
                    "--depth",
                    depth,
                    "--space",
                    space,
                ];
                bench.run(0, &arguments);
                let made = record_of(&bench, name);
                assert_eq!(made["composite"]["sha256"], sha256(&bench.at(name)));
                assert_eq!(made["composite"]["depth"], **depth);
                assert_eq!(made["composite"]["space"], space);
                assert_eq!(made["composite"]["width"], 200);
                bench.run(0, &["verify", &format!("{name}.record.json")]);
            }
        }
    }
}

#[test]
fn usual_depths_and_upper_case_endings() {
    let bench = Bench::new();
    for (name, depth) in [
        ("a.TIFF", "16"),
        ("b.PNG", "16"),
        ("c.JPEG", "8"),
        ("d.fit", "32f"),
    ] {
        bench.run(0, &["compose", "lantern.toml", "-o", name]);
        assert_eq!(
            record_of(&bench, name)["composite"]["depth"],
            depth,
            "{name}"
        );
    }
}

#[test]
fn renditions_are_picked_by_name_and_differ() {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", "first.png"]);
    bench.run(
        0,
        &[
            "compose",
            "lantern.toml",
            "-o",
            "same.png",
            "--rendition",
            "mapped",
        ],
    );
    bench.run(
        0,
        &[
            "compose",
            "lantern.toml",
            "-o",
            "pair.png",
            "--rendition",
            "pair",
        ],
    );
    let [first, same, pair] = ["first.png", "same.png", "pair.png"].map(|n| record_of(&bench, n));
    let pixels = |record: &Value| record["composite"]["pixels_sha256"].clone();
    assert_eq!(pixels(&first), pixels(&same));
    assert_ne!(pixels(&first), pixels(&pair));
    assert_eq!(pair["rendition"], "pair");
    assert_eq!(pair["inputs"].as_array().map(Vec::len), Some(2));
    assert_eq!(pair["integration_s"], 24000.0);
}

// The means of a picture over cells of `step`, pixel by pixel.
fn means(values: &[f32], width: usize, height: usize, step: f64) -> (usize, usize, Vec<f32>) {
    let (columns, rows) = (width as f64 / step, height as f64 / step);
    let (columns, rows) = (columns.round() as usize, rows.round() as usize);
    let shared = |at: usize, cell: usize| {
        let (low, high) = (cell as f64 * step, (cell + 1) as f64 * step);
        (((at + 1) as f64).min(high) - (at as f64).max(low)).max(0.0)
    };
    let mut out = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let mut sum = 0.0;
            for y in 0..height {
                for x in 0..width {
                    let area = shared(y, row) * shared(x, column);
                    sum += area * f64::from(values[y * width + x]);
                }
            }
            out.push((sum / (step * step)) as f32);
        }
    }
    (columns, rows, out)
}

/// A smaller composite is that of stacks that were averaged beforehand; its
/// record holds, and its grid lies on the same sky.
#[test]
fn a_smaller_composite_is_made_of_means() {
    let small = Bench::new();
    for (name, line, seed) in [
        ("ha.fits", "Ha", 1),
        ("oiii.fits", "OIII", 2),
        ("sii.fits", "SII", 3),
    ] {
        let values = stacks::shell(stacks::WIDTH, stacks::HEIGHT, seed);
        let (width, height, values) = means(&values, stacks::WIDTH, stacks::HEIGHT, 2.5);
        let filter = format!("FILTER  = '{line}'");
        small.file(name, &stacks::fits(width, height, &values, &[&filter]));
    }
    small.run(0, &["compose", "lantern.toml", "-o", "a.fits"]);
    let bench = Bench::new();
    let said = bench.run(
        0,
        &[
            "compose",
            "lantern.toml",
            "-o",
            "a.fits",
            "--long-edge",
            "80",
        ],
    );
    assert!(said.out.contains("80 x 60"), "{}", said.out);
    for plane in 0..3 {
        let [one, other] = [&small, &bench].map(|bench| {
            let pick = linehue::io::read::Pick {
                hdu: None,
                plane: Some(plane),
            };
            let opened = linehue::io::read::open(&bench.at("a.fits"), pick).expect("opens");
            let mut values = vec![0.0; 80 * 60];
            opened.rows.read(0, &mut values).expect("reads");
            values
        });
        for (a, b) in one.iter().zip(&other) {
            assert!((a - b).abs() < 1e-6, "{a} {b}");
        }
    }
    let record = record_of(&bench, "a.fits");
    assert_eq!(record["composite"]["long_edge"], 80);
    assert_eq!(record["composite"]["width"], 80);
    assert_eq!(record["inputs"][0]["width"], 200);
    bench.run(0, &["verify", "a.fits.record.json"]);
    let bytes = fs::read(bench.at("a.fits")).expect("there");
    let card = |keyword: &str| -> f64 {
        let cards = bytes.chunks(80).map(String::from_utf8_lossy);
        let found = cards.into_iter().find(|card| card.starts_with(keyword));
        let found = found.expect("the card");
        let value = found[10..].split('/').next().expect("a value").trim();
        value.parse().expect("a number")
    };
    assert!((card("CRPIX1") - (99.5 / 2.5 + 0.5)).abs() < 1e-9);
    assert!((card("CDELT2") - 0.00028 * 2.5).abs() < 1e-12);

    // Nothing is enlarged, and then nothing is said of it.
    for edge in ["200", "9999"] {
        bench.run(
            0,
            &[
                "compose",
                "lantern.toml",
                "-o",
                "b.png",
                "--long-edge",
                edge,
            ],
        );
        let record = record_of(&bench, "b.png");
        assert_eq!(record["composite"]["width"], 200);
        assert!(record["composite"].get("long_edge").is_none());
    }
    let said = bench.run(
        2,
        &["compose", "lantern.toml", "-o", "c.png", "--long-edge", "0"],
    );
    assert!(said.err.contains("--long-edge"), "{}", said.err);
}

#[test]
fn threads_memory_and_packing_leave_the_picture_alone() {
    let bench = Bench::new();
    let wide = stacks::shell(301, 700, 4);
    for (name, line) in [
        ("ha.fits", "Ha"),
        ("oiii.fits", "OIII"),
        ("sii.fits", "SII"),
    ] {
        let filter = format!("FILTER  = '{line}'");
        bench.file(name, &stacks::fits(301, 700, &wide, &[&filter]));
    }
    let ways: [&[&str]; 4] = [
        &["--threads", "1"],
        &["--threads", "3"],
        &["--threads", "2", "--memory", "1M"],
        &["--memory", "2G"],
    ];
    let mut files = Vec::new();
    for way in ways {
        // The record's name is in no composite but its own: one name for all.
        let mut arguments = vec!["compose", "lantern.toml", "-o", "lantern.tif"];
        arguments.extend(way);
        bench.run(0, &arguments);
        files.push(fs::read(bench.at("lantern.tif")).expect("there"));
    }
    assert!(files.iter().all(|bytes| *bytes == files[0]));
    let plain = record_of(&bench, "lantern.tif");
    for packing in ["fast", "small"] {
        let arguments = [
            "compose",
            "lantern.toml",
            "-o",
            "lantern.tif",
            "--packing",
            packing,
        ];
        bench.run(0, &arguments);
        let packed = record_of(&bench, "lantern.tif");
        assert_eq!(
            packed["composite"]["pixels_sha256"],
            plain["composite"]["pixels_sha256"]
        );
        assert_ne!(packed["composite"]["sha256"], plain["composite"]["sha256"]);
        bench.run(0, &["verify", "lantern.tif.record.json", "--threads", "3"]);
    }
}
