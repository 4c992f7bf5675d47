//! Everything that can be wrong with what the program is given.
//!
//! Protects the promise that a refusal is exit code 2, one message that names
//! the file or the key, and a hint; that nothing is left behind; and that what
//! was there before is still there.

#[path = "support/stacks.rs"]
mod stacks;

use std::fs;
use std::path::Path;

use stacks::{Bench, RECIPE, fits, listing, stack};

// The bench's recipe with one change in it, as `changed.toml`.
fn changed_recipe(bench: &Bench, from: &str, to: &str) -> std::path::PathBuf {
    assert!(RECIPE.contains(from), "{from}");
    bench.file("changed.toml", RECIPE.replacen(from, to, 1).as_bytes())
}

fn header(cards: &[&str]) -> Vec<u8> {
    let mut bytes: Vec<u8> = cards
        .iter()
        .chain(&["END"])
        .flat_map(|card| format!("{card:<80}").into_bytes())
        .collect();
    bytes.resize(bytes.len().next_multiple_of(2880), b' ');
    bytes
}

fn image(bitpix: &str, axes: &[&str]) -> Vec<u8> {
    let mut cards = vec!["SIMPLE  = T".to_owned(), format!("BITPIX  = {bitpix}")];
    cards.push(format!("NAXIS   = {}", axes.len()));
    for (index, axis) in axes.iter().enumerate() {
        cards.push(format!("NAXIS{}  = {axis}", index + 1));
    }
    let cards: Vec<&str> = cards.iter().map(String::as_str).collect();
    header(&cards)
}

// A little-endian TIFF of one directory: (tag, type, count, value).
fn tiff(entries: &[(u16, u16, u32, u32)], next: u32) -> Vec<u8> {
    let mut bytes = b"II\x2a\0\x08\0\0\0".to_vec();
    bytes.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        bytes.extend(tag.to_le_bytes());
        bytes.extend(kind.to_le_bytes());
        bytes.extend(count.to_le_bytes());
        bytes.extend(value.to_le_bytes());
    }
    bytes.extend(next.to_le_bytes());
    bytes
}

fn grey_tiff(width: u32, height: u32, next: u32) -> Vec<u8> {
    let entries = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 1, 16),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, 1, 8),
        (277, 3, 1, 1),
        (278, 4, 1, height),
        (279, 4, 1, 8),
    ];
    tiff(&entries, next)
}

#[test]
fn a_field_too_small_for_a_sheet_is_told_with_a_way_out() {
    let bench = Bench::new();
    for name in ["ha.fits", "oiii.fits", "sii.fits"] {
        bench.file(name, &fits(1, 1, &[400.0], &[]));
    }
    bench.refused(
        &["sheet", "lantern.toml", "-o", "s.png"],
        &["1 x 1 pixels", "too small for a sheet", "larger stacks"],
    );
}

#[test]
fn files_that_are_no_stacks() {
    let bench = Bench::new();
    let sound = stack("Ha", 1);
    let table = header(&["SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0", "EXTEND  = T"]);
    let mut table = table;
    table.extend(header(&[
        "XTENSION= 'BINTABLE'",
        "BITPIX  = 8",
        "NAXIS   = 2",
        "NAXIS1  = 4",
        "NAXIS2  = 0",
        "PCOUNT  = 0",
        "GCOUNT  = 1",
        "TFIELDS = 1",
        "TFORM1  = 'J'",
    ]));
    let big_png = [
        &b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"[..],
        &[
            0x7f, 0xff, 0xff, 0xff, 0x7f, 0xff, 0xff, 0xff, 16, 0, 0, 0, 0,
        ],
        &[0x48, 0x0f, 0x5e, 0x72],
    ]
    .concat();
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("empty", Vec::new()),
        ("one byte", vec![0]),
        ("cut in its header", sound[..1000].to_vec()),
        ("cut in its data", sound[..sound.len() / 2].to_vec()),
        (
            "garbage",
            (0..9000_u32).map(|i| ((i * i) >> 3) as u8).collect(),
        ),
        (
            "a page",
            b"<!DOCTYPE html><html><body>404</body></html>".to_vec(),
        ),
        ("too large", image("-32", &["4000000000", "4000000000"])),
        (
            "larger than numbers",
            image("-64", &["9223372036854775807", "9223372036854775807"]),
        ),
        (
            "beyond numbers",
            image("-32", &["99999999999999999999", "2"]),
        ),
        ("negative axes", image("-32", &["-200", "150"])),
        ("unknown kind", image("12", &["200", "150"])),
        ("no kind", image("", &["200", "150"])),
        ("words for numbers", image("16", &["'two'", "150"])),
        (
            "999 axes",
            header(&["SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 999"]),
        ),
        (
            "many axes",
            header(&["SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 99999999"]),
        ),
        ("no end", vec![b' '; 2880 * 40]),
        ("only a table", table),
        ("a line", image("8", &["2880"])),
        ("looping tiff", grey_tiff(2, 2, 8)),
        ("large tiff", grey_tiff(u32::MAX, u32::MAX, 0)),
        ("empty tiff", tiff(&[], 0)),
        (
            "tiff with its end missing",
            b"II\x2a\0\xff\xff\xff\x7f".to_vec(),
        ),
        ("large png", big_png),
        ("cut png", b"\x89PNG\r\n\x1a\n".to_vec()),
        (
            "damaged gzip",
            b"\x1f\x8b\x08\0\0\0\0\0\0\x03garbage in a packed file".to_vec(),
        ),
        ("empty gzip", b"\x1f\x8b".to_vec()),
        (
            "damaged bzip2",
            b"BZh91AY&SYgarbage in a packed file".to_vec(),
        ),
        (
            "damaged compress",
            b"\x1f\x9d\x90garbage in a packed file".to_vec(),
        ),
    ];
    for (name, bytes) in cases {
        let file = format!("{name}.fits");
        bench.file(&file, &bytes);
        bench.refused(&["inspect", &file], &[&file]);
        let line = format!("--line={file}=Ha");
        bench.refused(&["draft", &file, "-o", "new.toml", &line], &[&file]);
        let text = RECIPE.replace("sii.fits", &file);
        bench.file("changed.toml", text.as_bytes());
        bench.refused(&["compose", "changed.toml", "-o", "a.tif"], &[&file]);
    }
    bench.refused(&["inspect", "missing.fits"], &["missing.fits"]);
    bench.refused(&["inspect", "."], &["folder"]);
    bench.refused(&["draft", ".", "-o", "new.toml"], &["folder"]);
}

#[test]
fn damage_that_shows_only_while_pixels_are_read() {
    let bench = Bench::new();
    // Sound at its start: gzip whose second half is gone.
    let packed = gzip(&stack("Ha", 1));
    let mut broken = packed[..packed.len() / 2].to_vec();
    bench.file("half.fits.gz", &broken);
    broken.extend(vec![0xaa; 4000]);
    bench.file("noise.fits.gz", &broken);
    for name in ["half.fits.gz", "noise.fits.gz"] {
        let text = RECIPE.replace("sii.fits", name);
        bench.file("changed.toml", text.as_bytes());
        bench.refused(&["compose", "changed.toml", "-o", "a.tif"], &[name]);
    }
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    use std::io::Write as _;
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).expect("memory takes it");
    encoder.finish().expect("memory takes it")
}

#[test]
fn recipes_that_do_not_hold() {
    let bench = Bench::new();
    let cases: &[(&str, &str, &[&str])] = &[
        ("recipe = 1", "recipe = 2", &["version 2", "newer"]),
        ("recipe = 1", "recipe = 0", &["recipe = 0", "recipe = 1"]),
        ("recipe = 1", "recipe = -1", &["line 1"]),
        ("recipe = 1", "recipe = 99999999999999999999", &["line 1"]),
        ("recipe = 1", "", &["`recipe`"]),
        (
            "black = 295.0",
            "blakc = 295.0",
            &["line 14", "blakc", "black"],
        ),
        (
            "white = 900.0",
            "white = 900.0\nwhite = 901.0",
            &["line 16", "duplicate"],
        ),
        ("id = \"oiii\"", "id = \"ha\"", &["`ha`", "twice"]),
        ("id = \"pair\"", "id = \"mapped\"", &["`mapped`", "twice"]),
        ("id = \"oiii\"", "id = \"O III\"", &["O III", "a-z"]),
        ("#40c060", "#40c06", &["#40c06"]),
        ("#40c060", "reddish", &["reddish"]),
        ("#40c060", "oklch(0.7 0.15", &["oklch"]),
        ("[1, 0.1, 0]", "[1, 0.1]", &["three numbers"]),
        ("[1, 0.1, 0]", "[1, nan, 0]", &["sii"]),
        ("[1, 0.1, 0]", "[1, 1e39, 0]", &["sii", "1e39"]),
        ("{ hue = 250 }", "{ hue = inf }", &["hue"]),
        (
            "{ hue = 250 }",
            "{ hue = 250, strength = 1e300 }",
            &["oiii"],
        ),
        (
            "{ hue = 250 }",
            "{ hue = 250, saturation = -1 }",
            &["saturation"],
        ),
        ("{ hue = 250 }", "{ hue = 250, shade = 1 }", &["shade"]),
        ("black = 295.0", "black = nan", &["ha", "black"]),
        ("white = 900.0", "white = inf", &["ha", "white"]),
        ("amount = 20.0", "amount = nan", &["ha", "amount"]),
        ("amount = 20.0", "amount = -3", &["ha", "amount"]),
        ("amount = 20.0", "", &["ha", "amount"]),
        ("shape = \"asinh\"", "shape = \"bias\"", &["ha", "amount"]),
        ("white = 900.0", "white = 295.0", &["ha", "black"]),
        ("white = 900.0", "white = 200.0", &["ha", "black"]),
        ("[0.4, 0.5]", "[0.4, 0.5], [0.5, 0.3]", &["oiii", "falls"]),
        ("[0.4, 0.5]", "[0.4, 0.5], [0.4, 0.6]", &["oiii", "rise"]),
        ("[0.4, 0.5]", "[0.4, 1.5]", &["oiii", "[0.4, 1.5]"]),
        ("[0.4, 0.5]", "[0.4, nan]", &["oiii"]),
        ("reference = \"ha\"", "reference = \"hb\"", &["hb", "ha"]),
        ("line = \"Ha\"", "line = \"Hx\"", &["Hx"]),
        ("width_nm = 5.0", "width_nm = -5.0", &["width_nm"]),
        ("width_nm = 5.0", "plane = -1", &["line"]),
        ("width_nm = 5.0", "plane = 7", &["ha.fits", "plane"]),
        ("width_nm = 5.0", "hdu = 7", &["ha.fits", "7"]),
        ("file = \"ha.fits\"", "file = \"\"", &["ha", "file"]),
        ("file = \"ha.fits\"", "file = \"ha.fit\"", &["ha.fit"]),
        ("from = { ha = 1 }", "from = { hx = 1 }", &["hx"]),
        ("from = { ha = 1 }", "from = { ha = 0 }", &["luminance"]),
        ("amount = 0.3", "amount = 1.3", &["luminance.amount"]),
        ("saturation = 1.2", "saturation = -1", &["saturation"]),
        (
            "blend = \"light\"",
            "blend = \"lihgt\"",
            &["lihgt", "`light`"],
        ),
        ("gamut = \"hold-hue\"", "gamut = \"fold\"", &["fold"]),
        ("recipe = 1", "recipe = 1\n= 2", &["line 2"]),
        ("recipe = 1", "recipe = 1\nx = \"\"\"", &["line"]),
    ];
    for (from, to, words) in cases {
        changed_recipe(&bench, from, to);
        let mut all = vec!["changed.toml"];
        if words.iter().any(|word| word.starts_with("ha.fit")) {
            all.clear();
        }
        all.extend(*words);
        bench.refused(&["compose", "changed.toml", "-o", "a.tif"], &all);
    }
    let deep = format!("recipe = 1\nx = {}", "[".repeat(100_000));
    let texts: &[(&str, Vec<u8>)] = &[
        ("empty", Vec::new()),
        ("binary", stack("Ha", 1)),
        ("no UTF-8", b"recipe = 1\n# \xff\xfe\n".to_vec()),
        ("zeros", vec![0; 4096]),
        ("deep", deep.into_bytes()),
        (
            "dotted",
            format!("recipe = 1\n{}x = 1", "a.".repeat(50_000)).into_bytes(),
        ),
    ];
    for (name, bytes) in texts {
        let file = format!("{name}.toml");
        bench.file(&file, bytes);
        bench.refused(&["compose", &file, "-o", "a.tif"], &[&file]);
    }
    let huge = fs::File::create(bench.at("huge.toml")).expect("a file");
    huge.set_len(100 << 20).expect("a sparse file");
    for name in ["huge.toml", ".", "missing.toml"] {
        bench.refused(&["compose", name, "-o", "a.tif"], &[name]);
    }
    if Path::new("/dev/zero").exists() {
        bench.refused(&["compose", "/dev/zero", "-o", "a.tif"], &["/dev/zero"]);
        bench.refused(&["verify", "/dev/zero"], &["/dev/zero"]);
    }
}

#[test]
fn recipes_from_other_editors_work() {
    let bench = Bench::new();
    for (name, text) in [
        ("mark.toml", format!("\u{feff}{RECIPE}")),
        ("lines.toml", RECIPE.replace('\n', "\r\n")),
        (
            "both.toml",
            format!("\u{feff}{}", RECIPE.replace('\n', "\r\n")),
        ),
    ] {
        bench.file(name, text.as_bytes());
        bench.run(0, &["compose", name, "-o", "a.png"]);
        let record = fs::read_to_string(bench.at("a.png.record.json")).expect("there");
        let marked = format!("\u{feff}{}", record.replace('\n', "\r\n"));
        bench.file("a.png.record.json", marked.as_bytes());
        bench.run(0, &["verify", "a.png.record.json"]);
    }
}

#[test]
fn sizes_must_agree() {
    let bench = Bench::new();
    bench.file("oiii.fits", &fits(40, 30, &stacks::shell(40, 30, 1), &[]));
    let said = bench.refused(
        &["compose", "lantern.toml", "-o", "a.tif"],
        &["oiii.fits is 40 x 30", "200 x 150", "align"],
    );
    assert!(said.contains("reference ha"), "{said}");
    let arguments = [
        "draft",
        "ha.fits",
        "oiii.fits",
        "-o",
        "a.toml",
        "--line=oiii.fits=OIII",
    ];
    let said = bench.run(0, &arguments);
    assert!(said.err.contains("40 x 30"), "{}", said.err);
}

#[test]
fn requests_that_cannot_be_met() {
    let bench = Bench::new();
    let compose = |more: &[&str], words: &[&str]| {
        let mut arguments = vec!["compose", "lantern.toml", "-o"];
        arguments.extend(more);
        bench.refused(&arguments, words);
    };
    compose(
        &["a.tif", "--rendition", "mappd"],
        &["mappd", "mapped, pair"],
    );
    compose(&["a.xyz"], &["a.xyz", ".tif"]);
    compose(&["a"], &["a: ", ".tif"]);
    compose(&[".tif"], &[".tif"]);
    compose(&["a.jpg", "--depth", "16"], &["16", "8"]);
    compose(&["a.png", "--depth", "32f"], &["32"]);
    compose(&["a.fits", "--depth", "8"], &["8"]);
    compose(&["nowhere/a.tif"], &["nowhere", "make the folder"]);
    compose(&["ha.fits/a.tif"], &["ha.fits"]);
    compose(&["ha.fits"], &["ha.fits", "another name"]);
    compose(&["./oiii.fits"], &["oiii.fits", "another name"]);
    // An input that this rendition leaves out is an input all the same.
    compose(
        &["ha.fits", "--rendition", "pair"],
        &["ha.fits", "another name"],
    );
    changed_recipe(&bench, "sii.fits", "a.tif.record.json");
    bench.file("a.tif.record.json", &stack("SII", 3));
    let arguments = ["compose", "changed.toml", "-o", "a.tif"];
    bench.refused(&arguments, &["a.tif.record.json", "another name"]);
    fs::create_dir(bench.at("folder.tif")).expect("a folder");
    compose(&["folder.tif"], &["folder.tif", "is a folder"]);
    fs::create_dir(bench.at("b.tif.record.json")).expect("a folder");
    compose(&["b.tif"], &["b.tif.record.json", "is a folder"]);
    for (option, value) in [
        ("--depth", "12"),
        ("--space", "adobe"),
        ("--threads", "0"),
        ("--threads", "many"),
        ("--memory", "12"),
        ("--quality", "101"),
        ("--packing", "tight"),
    ] {
        let said = bench.run(
            2,
            &["compose", "lantern.toml", "-o", "a.tif", option, value],
        );
        assert!(
            said.err.contains(option) && said.err.contains(value),
            "{}",
            said.err
        );
    }
    compose(
        &["a.tif", "--threads", "18446744073709551615"],
        &["18446744073709551615 threads", "1024"],
    );
}

#[test]
fn drafts_that_cannot_be_made() {
    let bench = Bench::new();
    bench.file("plain.fits", &fits(20, 20, &stacks::shell(20, 20, 1), &[]));
    bench.file("flat.fits", &fits(20, 20, &[7.0; 400], &["FILTER  = 'Ha'"]));
    bench.file(
        "void.fits",
        &fits(20, 20, &[f32::NAN; 400], &["FILTER  = 'Ha'"]),
    );
    bench.refused(
        &["draft", "plain.fits", "-o", "a.toml"],
        &["plain.fits", "--line"],
    );
    bench.refused(&["draft", "flat.fits", "-o", "a.toml"], &["flat.fits", "7"]);
    bench.refused(&["draft", "void.fits", "-o", "a.toml"], &["void.fits"]);
    let wrong = "--line=plain.fits=Hx";
    bench.refused(
        &["draft", "plain.fits", "-o", "a.toml", wrong],
        &["Hx", "plain.fits"],
    );
    for option in [
        "--line=planes.fits=Ha",
        "--plane=planes.fits=0",
        "--hdu=planes.fits=0",
    ] {
        let arguments = ["draft", "plain.fits", "-o", "a.toml", option];
        bench.refused(&arguments, &["planes.fits", "plain.fits"]);
    }
    bench.refused(
        &["draft", "ha.fits", "-o", "ha.fits"],
        &["ha.fits", "another name"],
    );
    bench.refused(&["draft", "ha.fits", "-o", "nowhere/a.toml"], &["nowhere"]);
    bench.refused(&["draft", "ha.fits", "-o", "."], &["file name"]);
    bench.refused(
        &[
            "draft",
            "ha.fits",
            "-o",
            "a.toml",
            "--palette",
            "nothing-like-it",
        ],
        &["nothing-like-it"],
    );
    bench.refused(
        &["draft", "ha.fits", "-o", "a.toml", "--plane=ha.fits=3"],
        &["ha.fits"],
    );
}

#[test]
fn what_was_there_survives_a_failure() {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", "a.tif"]);
    let before = [bench.at("a.tif"), bench.at("a.tif.record.json")].map(|p| fs::read(p).ok());
    let packed = gzip(&stack("SII", 1));
    bench.file("sii.fits", &packed[..packed.len() / 2]);
    bench.refused(&["compose", "lantern.toml", "-o", "a.tif"], &["sii.fits"]);
    let after = [bench.at("a.tif"), bench.at("a.tif.record.json")].map(|p| fs::read(p).ok());
    assert_eq!(before, after);
}

#[cfg(unix)]
mod unix {
    use super::*;
    use std::os::unix::ffi::OsStrExt as _;
    use std::os::unix::fs::PermissionsExt as _;
    use std::process::{Child, Command, Stdio};
    use std::time::{Duration, Instant};

    #[test]
    fn files_that_may_not_be_read() {
        let bench = Bench::new();
        let forbid = |name: &str, mode: u32| {
            fs::set_permissions(bench.at(name), fs::Permissions::from_mode(mode)).expect("set");
        };
        forbid("ha.fits", 0);
        if fs::read(bench.at("ha.fits")).is_ok() {
            println!("skipped: this user may read everything");
            return;
        }
        bench.refused(&["inspect", "ha.fits"], &["ha.fits"]);
        forbid("lantern.toml", 0);
        bench.refused(
            &["compose", "lantern.toml", "-o", "a.tif"],
            &["lantern.toml"],
        );
        fs::create_dir(bench.at("locked")).expect("a folder");
        forbid("locked", 0o555);
        bench.refused(&["draft", "oiii.fits", "-o", "locked/a.toml"], &["locked"]);
        forbid("locked", 0o755);
    }

    #[test]
    fn names_that_are_not_utf8() {
        let bench = Bench::new();
        let name = std::ffi::OsStr::from_bytes(b"h\xff.fits");
        if fs::write(bench.folder.path().join(name), stack("Ha", 1)).is_err() {
            println!("skipped: this disk takes no such names");
            return;
        }
        let mut command = bench.linehue(&["draft", "-o", "a.toml"]);
        let said = stacks::spoken(command.arg(name), 2, "draft");
        stacks::refusal(&said, &["UTF-8", "rename"], "draft");
        assert!(!bench.at("a.toml").exists());
        let mut command = bench.linehue(&["inspect"]);
        stacks::spoken(command.arg(name), 0, "inspect");
    }

    // A large picture whose composition takes a while.
    fn large(bench: &Bench) {
        let (width, height) = (3000, 2000);
        let values = stacks::shell(width, height, 1);
        for (name, line) in [
            ("ha.fits", "Ha"),
            ("oiii.fits", "OIII"),
            ("sii.fits", "SII"),
        ] {
            let filter = format!("FILTER  = '{line}'");
            bench.file(name, &fits(width, height, &values, &[&filter]));
        }
    }

    fn start(bench: &Bench, out: &str) -> Child {
        Command::new(env!("CARGO_BIN_EXE_linehue"))
            .current_dir(bench.folder.path())
            .args(["compose", "lantern.toml", "-o", out, "--threads", "1"])
            .args(["--memory", "1M", "--packing", "small"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("starts")
    }

    // Until pixels are being written; false where the run was over before.
    fn under_way(bench: &Bench, child: &mut Child) -> bool {
        let until = Instant::now() + Duration::from_secs(20);
        while Instant::now() < until {
            let names = listing(bench.folder.path());
            if names
                .iter()
                .any(|(name, length)| name.starts_with(".linehue-") && *length > 0)
            {
                return true;
            }
            if child.try_wait().expect("a child").is_some() {
                return false;
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        panic!("nothing was written: {:?}", listing(bench.folder.path()));
    }

    fn signal(child: &Child, name: &str) {
        let status = Command::new("kill")
            .args(["-s", name, &child.id().to_string()])
            .status()
            .expect("kill runs");
        assert!(status.success());
    }

    #[test]
    fn an_interrupted_run_leaves_nothing() {
        let bench = Bench::new();
        large(&bench);
        bench.file("a.tif", b"what was there");
        for name in ["INT", "TERM"] {
            let before = listing(bench.folder.path());
            let mut child = start(&bench, "a.tif");
            assert!(under_way(&bench, &mut child), "the picture is too small");
            signal(&child, name);
            let output = child.wait_with_output().expect("ends");
            let err = String::from_utf8_lossy(&output.stderr);
            assert_eq!(output.status.code(), Some(130), "{name}: {err}");
            assert!(err.contains("stopped"), "{err}");
            assert_eq!(listing(bench.folder.path()), before, "{name}");
        }
        assert_eq!(
            fs::read(bench.at("a.tif")).expect("there"),
            b"what was there"
        );
    }

    #[test]
    fn a_killed_run_leaves_the_old_output_and_at_most_a_temporary_file() {
        let bench = Bench::new();
        large(&bench);
        bench.file("a.tif", b"what was there");
        let before = listing(bench.folder.path());
        let mut child = start(&bench, "a.tif");
        assert!(under_way(&bench, &mut child), "the picture is too small");
        child.kill().expect("killed");
        child.wait().expect("ends");
        let mut after = listing(bench.folder.path());
        after.retain(|(name, _)| !name.starts_with(".linehue-"));
        assert_eq!(after, before);
    }

    /// What the program says where no file may have more than so many blocks: a
    /// limit on the size of files stands in for a small disk.
    fn on_a_small_disk(bench: &Bench, blocks: u32, arguments: &str) -> String {
        let program = env!("CARGO_BIN_EXE_linehue");
        let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec '{program}' {arguments}");
        let output = Command::new("sh")
            .current_dir(bench.folder.path())
            .args(["-c", &script])
            .output()
            .expect("sh runs");
        let err = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{err}");
        err
    }

    #[test]
    fn a_full_disk_is_told_and_leaves_nothing() {
        let bench = Bench::new();
        large(&bench);
        bench.file("a.tif", b"what was there");
        let before = listing(bench.folder.path());
        for out in ["a.tif", "b.png", "c.fits"] {
            let err = on_a_small_disk(&bench, 2000, &format!("compose lantern.toml -o {out}"));
            assert!(err.contains(out) && err.lines().count() == 2, "{err}");
            assert!(!err.contains("panicked"), "{err}");
            assert_eq!(listing(bench.folder.path()), before, "{out}");
        }
    }

    /// A page is gathered in a hidden folder, which nobody asked for.
    #[test]
    fn a_full_disk_is_told_by_the_name_of_the_page() {
        let bench = Bench::new();
        let before = listing(bench.folder.path());
        for out in ["shown", "shown.html"] {
            let err = on_a_small_disk(&bench, 8, &format!("page lantern.toml -o {out}"));
            assert!(err.contains(out) && !err.contains(".linehue-"), "{err}");
            assert_eq!(listing(bench.folder.path()), before, "{out}");
        }
    }
}
