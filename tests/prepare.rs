//! From raw stacks to one grid: drafting, aligning, cropping, writing channels.
//!
//! Protects the way that strangers' data takes: the truth is the generator's
//! own, which knows where every raw stack of the sample field was pointed.

use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;

#[path = "support/field/mod.rs"]
mod field;

use field::sets::{RAW, Raw};

type Matrix = [[f64; 3]; 3];

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-stacks")
        .join(name)
}

fn linehue(folder: &Path, arguments: &[&str]) -> Output {
    assert_cmd::Command::new(env!("CARGO_BIN_EXE_linehue"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("the program runs")
}

fn done(folder: &Path, arguments: &[&str]) -> String {
    let output = linehue(folder, arguments);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {said}");
    said
}

fn product(a: &Matrix, b: &Matrix) -> Matrix {
    std::array::from_fn(|r| std::array::from_fn(|c| (0..3).map(|k| a[r][k] * b[k][c]).sum()))
}

fn inverse(m: &Matrix) -> Matrix {
    let [[a, b, c], [d, e, f], _] = *m;
    let det = a * e - b * d;
    [
        [e / det, -b / det, (b * f - c * e) / det],
        [-d / det, a / det, (c * d - a * f) / det],
        [0.0, 0.0, 1.0],
    ]
}

fn apply(m: &Matrix, [x, y]: [f64; 2]) -> [f64; 2] {
    let w = m[2][0] * x + m[2][1] * y + m[2][2];
    [
        (m[0][0] * x + m[0][1] * y + m[0][2]) / w,
        (m[1][0] * x + m[1][1] * y + m[1][2]) / w,
    ]
}

fn raw_of(file: &str) -> &'static Raw {
    let name = file.rsplit('/').next().expect("a name");
    RAW.iter()
        .find(|raw| raw.file == name)
        .expect("one of the set")
}

fn record(folder: &Path, composite: &str) -> Value {
    let text = std::fs::read(folder.join(format!("{composite}.record.json"))).expect("a record");
    serde_json::from_slice(&text).expect("JSON")
}

#[test]
fn raw_stacks_come_onto_one_grid() {
    let bench = tempfile::tempdir().expect("folder");
    let files: Vec<String> = RAW
        .iter()
        .map(|raw| {
            sample("lantern-raw")
                .join(raw.file)
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    let mut arguments = vec!["draft", "-o", "raw.toml"];
    arguments.extend(files.iter().map(String::as_str));
    done(bench.path(), &arguments);
    // Every channel takes part, so that every transform is in the record.
    let recipe = std::fs::read_to_string(bench.path().join("raw.toml")).expect("a recipe");
    assert!(recipe.contains("crop = \"common\""), "{recipe}");
    let recipe = recipe.replacen(
        "[rendition.colors]",
        "[rendition.colors]\nl = [0, 0, 0]\noiii-2 = [0, 0, 0]",
        1,
    );
    std::fs::write(bench.path().join("raw.toml"), &recipe).expect("written");
    done(
        bench.path(),
        &[
            "compose",
            "raw.toml",
            "-o",
            "raw.tif",
            "--rendition",
            "mapped",
        ],
    );
    let record = record(bench.path(), "raw.tif");
    let inputs = record["inputs"].as_array().expect("inputs");
    assert_eq!(inputs.len(), RAW.len());
    let reference = inputs
        .iter()
        .find(|input| input["align"].is_null())
        .expect("the reference stands as it is");
    let to_reference = inverse(&raw_of(reference["file"].as_str().expect("file")).matrix());
    let mut aligned = 0;
    for input in inputs.iter().filter(|input| !input["align"].is_null()) {
        let raw = raw_of(input["file"].as_str().expect("file"));
        let truth = product(&to_reference, &raw.matrix());
        let found: Matrix =
            serde_json::from_value(input["align"]["matrix"].clone()).expect("a matrix");
        let (right, bottom) = ((raw.size.0 - 1) as f64, (raw.size.1 - 1) as f64);
        for corner in [[0.0, 0.0], [right, 0.0], [0.0, bottom], [right, bottom]] {
            let (is, should) = (apply(&found, corner), apply(&truth, corner));
            let off = (is[0] - should[0]).hypot(is[1] - should[1]);
            assert!(off < 0.35, "{}: {off} px at {corner:?}", raw.file);
        }
        aligned += 1;
    }
    assert_eq!(aligned, RAW.len() - 1);
    // The picture is smaller than its grid, and can be made again.
    let crop = record["crop"].as_array().expect("a crop");
    assert_eq!(crop[2], record["composite"]["width"]);
    done(
        bench.path(),
        &["verify", "raw.tif.record.json", "--threads", "1"],
    );
}

// Two small pictures of one pattern, the second moved by (3, 5).
fn pair(folder: &Path, align: &str, crop: &str) {
    let value = |x: usize, y: usize| (100 + (x * 31 + y * 17) % 97) as f32;
    for (name, dx, dy) in [("a.fits", 0, 0), ("b.fits", 3, 5)] {
        let mut bytes: Vec<u8> = [
            "SIMPLE  =                    T",
            "BITPIX  =                  -32",
            "NAXIS   =                    2",
            "NAXIS1  =                   60",
            "NAXIS2  =                   50",
            "CTYPE1  = 'RA---TAN'",
            "CTYPE2  = 'DEC--TAN'",
            "CRVAL1  =                 90.0",
            "CRVAL2  =                 20.0",
            "CRPIX1  =                 30.0",
            "CRPIX2  =                 25.0",
            "CD1_1   =              -0.0003",
            "CD2_2   =               0.0003",
            "END",
        ]
        .iter()
        .flat_map(|card| format!("{card:<80}").into_bytes())
        .collect();
        bytes.resize(2880, b' ');
        for y in 0..50 {
            for x in 0..60 {
                bytes.extend(value(x + dx, y + dy).to_be_bytes());
            }
        }
        bytes.resize(bytes.len().next_multiple_of(2880), 0);
        std::fs::write(folder.join(name), bytes).expect("written");
    }
    let recipe = format!(
        "recipe = 1\nreference = \"a\"\n{crop}\n\
         [[channel]]\nid = \"a\"\nfile = \"a.fits\"\nline = \"Ha\"\n\
         stretch = {{ black = 0, white = 200 }}\n\
         [[channel]]\nid = \"b\"\nfile = \"b.fits\"\nline = \"OIII\"\n{align}\n\
         stretch = {{ black = 0, white = 200 }}\n\
         [[rendition]]\nid = \"r\"\ncolors = {{ a = [1, 0, 0], b = [0, 1, 0] }}\n"
    );
    std::fs::write(folder.join("pair.toml"), recipe).expect("written");
}

const GIVEN: &str = "align = { method = \"given\", matrix = [[1, 0, 3], [0, 1, 5], [0, 0, 1]] }";

#[test]
fn a_given_shift_copies_values_and_the_crop_moves_the_sky() {
    let bench = tempfile::tempdir().expect("folder");
    pair(bench.path(), GIVEN, "crop = \"common\"");
    let out = bench.path().join("out");
    done(bench.path(), &["channels", "pair.toml", "-o", "out"]);
    let read = |name: &str| {
        let opened = linehue::io::read::open(&out.join(name), Default::default()).expect("opens");
        let plane = linehue::engine::frame::Plane::from_rows(&*opened.rows).expect("reads");
        (opened.facts.header, plane)
    };
    let ((header, a), (_, b)) = (read("a.fits"), read("b.fits"));
    // What both cover is 57 x 45 from (3, 5) on, and there they are equal.
    assert_eq!(a.values().dim(), (45, 57));
    assert_eq!(a, b);
    assert_eq!(header.number("CRPIX1"), Some(27.0));
    assert_eq!(header.number("CRPIX2"), Some(20.0));
    assert_eq!(header.number("NAXIS"), Some(2.0));
}

#[test]
fn crops_are_kept_or_refused() {
    let bench = tempfile::tempdir().expect("folder");
    pair(bench.path(), "", "crop = [10, 20, 30, 20]");
    done(bench.path(), &["compose", "pair.toml", "-o", "part.png"]);
    let made = record(bench.path(), "part.png");
    assert_eq!(made["composite"]["width"], 30);
    assert_eq!(made["composite"]["height"], 20);
    assert_eq!(made["crop"], serde_json::json!([10, 20, 30, 20]));
    done(bench.path(), &["verify", "part.png.record.json"]);
    for (crop, word) in [
        ("crop = [40, 0, 30, 20]", "beyond 60 x 50"),
        ("crop = [0, 0, 0, 20]", "nothing of 60 x 50"),
        ("crop = \"comon\"", "comon"),
        ("crop = [1, 2, 3]", "four whole numbers"),
    ] {
        pair(bench.path(), "", crop);
        let output = linehue(bench.path(), &["compose", "pair.toml", "-o", "x.png"]);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(word), "{crop}: {said}");
        assert!(!bench.path().join("x.png").exists());
    }
}

#[test]
fn fields_without_stars_are_refused_with_the_ways_out() {
    let bench = tempfile::tempdir().expect("folder");
    pair(bench.path(), "align = { method = \"stars\" }", "");
    let output = linehue(bench.path(), &["compose", "pair.toml", "-o", "x.png"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{said}");
    for word in ["b:", "stars", "wcs", "given"] {
        assert!(said.contains(word), "{word}: {said}");
    }
    assert!(!bench.path().join("x.png").exists());
}

#[test]
fn world_coordinates_align_as_well() {
    let bench = tempfile::tempdir().expect("folder");
    pair(bench.path(), "align = { method = \"wcs\" }", "");
    done(bench.path(), &["compose", "pair.toml", "-o", "sky.png"]);
    let made = record(bench.path(), "sky.png");
    assert_eq!(made["inputs"][1]["align"]["method"], "wcs");
    // Both headers say the same place: the matrix is the identity.
    for (r, row) in made["inputs"][1]["align"]["matrix"]
        .as_array()
        .expect("rows")
        .iter()
        .enumerate()
    {
        for (c, value) in row.as_array().expect("numbers").iter().enumerate() {
            let wanted = if r == c { 1.0 } else { 0.0 };
            assert!((value.as_f64().expect("a number") - wanted).abs() < 1e-6);
        }
    }
}
