//! The program from the outside: arguments in; exit code, two streams and
//! files out.
//!
//! Protects what scripts and people rely on: draft, compose and verify go
//! round, whatever the names; results do not depend on threads or memory; a
//! record holds, says what it should, and notices every change.

#[path = "support/stacks.rs"]
mod stacks;

use std::fs;
use std::path::{Path, PathBuf};

use linehue::io::record;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use stacks::{Bench, listing, stack};

fn json(text: &str) -> Value {
    serde_json::from_str(text).expect("JSON")
}

fn record_of(bench: &Bench, composite: &str) -> Value {
    let text = fs::read_to_string(bench.at(&format!("{composite}.record.json"))).expect("record");
    json(&text)
}

fn sha256(path: &Path) -> String {
    let hash = Sha256::digest(fs::read(path).expect("the file is there"));
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn check<'a>(verdict: &'a Value, what: &str) -> &'a Value {
    verdict["checks"]
        .as_array()
        .expect("checks")
        .iter()
        .find(|check| check["what"] == what)
        .unwrap_or_else(|| panic!("no check of {what} in {verdict}"))
}

#[test]
fn draft_compose_and_verify_go_round() {
    let bench = Bench::new();
    let said = bench.run(
        0,
        &[
            "draft",
            "ha.fits",
            "oiii.fits",
            "sii.fits",
            "-o",
            "new.toml",
        ],
    );
    assert!(said.out.starts_with("new.toml\n"), "{}", said.out);
    assert!(
        said.out.contains("renditions: mapped, natural"),
        "{}",
        said.out
    );
    assert!(said.err.is_empty(), "{}", said.err);
    let said = bench.run(0, &["compose", "new.toml", "-o", "lantern.tif"]);
    assert!(
        said.out.contains("lantern.tif  200 x 150, sRGB, 16 bit"),
        "{}",
        said.out
    );
    assert!(said.out.contains("lantern.tif.record.json"), "{}", said.out);
    let said = bench.run(0, &["verify", "lantern.tif.record.json"]);
    assert!(said.out.ends_with("The record holds.\n"), "{}", said.out);
    assert_eq!(said.out.lines().count(), 6, "{}", said.out);
    let names: Vec<String> = listing(bench.folder.path())
        .into_iter()
        .map(|n| n.0)
        .collect();
    assert_eq!(
        names,
        [
            "ha.fits",
            "lantern.tif",
            "lantern.tif.record.json",
            "lantern.toml",
            "new.toml",
            "oiii.fits",
            "sii.fits"
        ]
    );
}

#[test]
fn names_may_be_anything() {
    let names = [
        "stack of the night (1).fits",
        "lantern[2]{a}.fits",
        "h\u{3b1} \u{2605} \u{e9}toile.fits",
        "-ha.fits",
        "a+b&c;d'e\"f.fits",
        "#1 = %20 ~ $HOME.fits",
        "x.fits.gz.tif",
        "ends with a dot.",
        "[O III].fits[1]",
        "!clobber.fits",
        "mem://x",
    ];
    let bench = Bench::new();
    fs::create_dir_all(bench.at("mem:")).expect("a folder");
    fs::create_dir(bench.at("all out [1] \u{3b1}")).expect("a folder");
    for (index, name) in names.iter().enumerate() {
        bench.file(name, &stack("Ha", index as u64));
        let place = format!("./{name}");
        let base = name.rsplit('/').next().expect("a name");
        let line = format!("--line={base}=OIII");
        let recipe = format!("all out [1] \u{3b1}/-{index}.toml");
        let said = bench.run(0, &["draft", &place, "-o", &recipe, &line]);
        assert!(said.out.contains("named on the command line"));
        let out = format!("all out [1] \u{3b1}/{index} (+) \u{e9}.png");
        bench.run(0, &["compose", &recipe, "-o", &out]);
        let record = format!("{out}.record.json");
        bench.run(0, &["verify", &record]);
        let made = record_of(&bench, &out);
        assert_eq!(
            made["inputs"][0]["file"],
            format!("../{}", name.replace("//", "/")),
            "{name}"
        );
        assert_eq!(
            made["inputs"][0]["sha256"],
            sha256(&bench.at(name)),
            "{name}"
        );
    }
    let said = bench.run(0, &["inspect", "--", "-ha.fits"]);
    assert!(said.out.starts_with("-ha.fits\n"), "{}", said.out);
}

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

#[test]
fn outputs_for_programs_are_json() {
    let bench = Bench::new();
    let reports = json(
        &bench
            .run(0, &["inspect", "ha.fits", "sii.fits", "--json"])
            .out,
    );
    assert_eq!(reports.as_array().map(Vec::len), Some(2));
    let record = json(
        &bench
            .run(0, &["compose", "lantern.toml", "-o", "a.tif", "--json"])
            .out,
    );
    assert_eq!(record, record_of(&bench, "a.tif"));
    let verdict = json(&bench.run(0, &["verify", "a.tif.record.json", "--json"]).out);
    assert_eq!(verdict["holds"], true);
    let palettes = json(&bench.run(0, &["palettes", "--json"]).out);
    assert!(palettes.as_array().is_some_and(|list| list.len() > 5));
    // One bad file among good ones: the good are told, the exit code is not 0.
    let said = bench.run(2, &["inspect", "ha.fits", "missing.fits", "--json"]);
    assert_eq!(json(&said.out).as_array().map(Vec::len), Some(1));
    assert!(said.err.contains("missing.fits"), "{}", said.err);
}

#[test]
fn quiet_leaves_results_and_errors() {
    let bench = Bench::new();
    let broken = "palette = 1\nname = \"dusk\"\ncolours = 1\n";
    fs::create_dir_all(bench.at("settings/linehue/palettes")).expect("a folder");
    bench.file("settings/linehue/palettes/dusk.toml", broken.as_bytes());
    let loud = bench.run(0, &["palettes"]);
    assert!(
        loud.err.contains("note:") && loud.err.contains("dusk.toml"),
        "{}",
        loud.err
    );
    let quiet = bench.run(0, &["palettes", "--quiet"]);
    assert!(quiet.err.is_empty(), "{}", quiet.err);
    assert_eq!(quiet.out, loud.out);
    let said = bench.run(2, &["-q", "inspect", "missing.fits"]);
    assert!(said.err.contains("missing.fits"));
}

#[test]
fn palettes_of_ones_own_are_found_and_used() {
    let bench = Bench::new();
    fs::create_dir_all(bench.at("settings/linehue/palettes")).expect("a folder");
    let own = "palette = 1\nname = \"quay\"\n[colors]\nHa = \"#e0603a\"\nOIII = { hue = 230 }\n";
    bench.file("settings/linehue/palettes/quay.toml", own.as_bytes());
    let said = bench.run(0, &["palettes"]);
    assert!(said.out.contains("quay  (yours)"), "{}", said.out);
    bench.run(
        0,
        &[
            "draft",
            "ha.fits",
            "oiii.fits",
            "-o",
            "q.toml",
            "--palette",
            "Quay",
        ],
    );
    let text = fs::read_to_string(bench.at("q.toml")).expect("there");
    assert!(text.contains("#e0603a") && text.contains("230"), "{text}");
    let said = bench.run(
        2,
        &["draft", "ha.fits", "-o", "r.toml", "--palette", "quai"],
    );
    assert!(said.err.contains("quay"), "{}", said.err);
    assert!(!bench.at("r.toml").exists());
}

#[test]
fn no_colors_where_nobody_would_see_them() {
    let bench = Bench::new();
    let plain = bench.run(0, &["palettes"]);
    assert!(!plain.out.contains('\u{1b}'));
    let mut command = bench.linehue(&["palettes"]);
    let said = stacks::spoken(command.env("NO_COLOR", "1"), 0, "NO_COLOR");
    assert_eq!(said.out, plain.out);
}

#[test]
fn without_a_command_and_a_display_the_commands_are_named() {
    let bench = Bench::new();
    let said = bench.run(2, &[]);
    assert!(said.err.contains("no display"), "{}", said.err);
    for command in [
        "inspect",
        "draft",
        "compose",
        "verify",
        "palettes",
        "completions",
    ] {
        assert!(said.err.contains(command), "{command}: {}", said.err);
        let help = bench.run(0, &[command, "--help"]);
        assert!(help.out.contains("Example"), "{command}: {}", help.out);
    }
    let help = bench.run(0, &["--help"]);
    assert!(help.out.contains("Exit codes"), "{}", help.out);
    let version = bench.run(0, &["--version"]);
    assert_eq!(
        version.out,
        format!("linehue {}\n", env!("CARGO_PKG_VERSION"))
    );
    let wrong = bench.run(2, &["compsoe", "lantern.toml"]);
    assert!(wrong.err.contains("compsoe"), "{}", wrong.err);
    bench.refused(&["ha.fits", "inspect", "sii.fits"], &["`inspect`"]);
    let wrong = bench.run(2, &["compose", "lantern.toml"]);
    assert!(wrong.err.contains("--output"), "{}", wrong.err);
}

#[test]
fn completions_for_every_shell() {
    let bench = Bench::new();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = bench.run(0, &["completions", shell]).out;
        for word in ["compose", "rendition", "verify"] {
            assert!(script.contains(word), "{shell}: {word}");
        }
    }
}

#[test]
fn a_record_follows_its_schema() {
    let asset = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/record.schema.json");
    let schema = record::schema();
    let text = format!(
        "{}\n",
        serde_json::to_string_pretty(&schema).expect("writes")
    );
    // Run with `LINEHUE_UPDATE_ASSETS=1` to write the schema anew.
    if std::env::var_os("LINEHUE_UPDATE_ASSETS").is_some() {
        fs::write(&asset, &text).expect("written");
    }
    let published = fs::read_to_string(&asset).expect("assets/record.schema.json");
    assert!(
        published == text,
        "assets/record.schema.json is out of date: run the tests once with LINEHUE_UPDATE_ASSETS=1"
    );
    let validator = jsonschema::validator_for(&json(&published)).expect("a schema");
    let bench = Bench::new();
    for (out, rendition) in [("a.tif", "mapped"), ("b.fits", "pair")] {
        let arguments = [
            "compose",
            "lantern.toml",
            "-o",
            out,
            "--rendition",
            rendition,
        ];
        bench.run(0, &arguments);
        let mut made = record_of(&bench, out);
        let errors: Vec<String> = validator
            .iter_errors(&made)
            .map(|e| e.to_string())
            .collect();
        assert!(errors.is_empty(), "{errors:#?}");
        made["recipe"]["channel"][0]["stretch"]["shape"] = "wavy".into();
        assert!(!validator.is_valid(&made));
    }
}

#[test]
fn a_record_says_what_was_done() {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", "a.tif"]);
    let made = record_of(&bench, "a.tif");
    assert_eq!(made["record"], 1);
    assert_eq!(made["composite"]["file"], "a.tif");
    assert_eq!(made["integration_s"], 36000.0);
    assert_eq!(made["inputs"][1]["header"]["OBJECT"], "Lantern Shell");
    assert_eq!(made["inputs"][1]["file"], "oiii.fits");
    assert_eq!(made["assignments"][2]["line"], "SII");
    assert_eq!(
        made["assignments"][2]["linear_srgb"],
        json("[1.0, 0.1, 0.0]")
    );
    let at = made["made_at"].as_str().expect("text");
    assert!(at.len() == 20 && at.ends_with('Z'), "{at}");
    let recipe = record::read(&bench.at("a.tif.record.json"))
        .expect("holds")
        .recipe;
    let text = fs::read_to_string(bench.at("lantern.toml")).expect("there");
    let parsed = linehue::engine::recipe::text::parse(&text, "test").expect("sound");
    assert_eq!(recipe, parsed);
}

// Items of the list `name` in an XMP packet.
fn listed(xmp: &str, name: &str) -> Vec<String> {
    let document = roxmltree::Document::parse(xmp).expect("XML");
    let list = document
        .descendants()
        .find(|node| node.tag_name().name() == name)
        .unwrap_or_else(|| panic!("no {name} in {xmp}"));
    list.descendants()
        .filter(|node| node.tag_name().name() == "li")
        .map(|node| node.text().unwrap_or_default().to_owned())
        .collect()
}

#[test]
fn tags_keep_step_with_the_channels() {
    let bench = Bench::new();
    for name in ["a.tif", "a.png", "a.jpg"] {
        bench.run(0, &["compose", "lantern.toml", "-o", name]);
        let bytes = fs::read(bench.at(name)).expect("there");
        let text = String::from_utf8_lossy(&bytes);
        let start = text.find("<x:xmpmeta").expect("a packet");
        let end = text.find("</x:xmpmeta>").expect("its end") + "</x:xmpmeta>".len();
        let xmp = &text[start..end];
        let made = record_of(&bench, name);
        let words: Vec<String> = made["assignments"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|entry| entry["color_name"].as_str().expect("text").to_owned())
            .collect();
        assert_eq!(listed(xmp, "Spectral.ColorAssignment"), words, "{name}");
        assert_eq!(
            listed(xmp, "Spectral.CentralWavelength").len(),
            3,
            "{name}: one entry for each channel"
        );
        assert_eq!(listed(xmp, "title"), ["Lantern Shell in three lines"]);
        assert!(xmp.contains("Spatial.ReferenceValue"), "{name}");
    }
}

// A bench with a composite that verifies.
fn composed(name: &str) -> Bench {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", name]);
    bench
}

fn verdict(bench: &Bench, code: i32, record: &str, more: &[&str]) -> Value {
    let mut arguments = vec!["verify", record, "--json"];
    arguments.extend(more);
    let verdict = json(&bench.run(code, &arguments).out);
    assert_eq!(verdict["holds"], code == 0);
    verdict
}

#[test]
fn a_changed_input_is_noticed() {
    let bench = composed("a.png");
    bench.file("oiii.fits", &stack("OIII", 9));
    let verdict = verdict(&bench, 1, "a.png.record.json", &[]);
    assert_eq!(check(&verdict, "input oiii")["holds"], false);
    assert_eq!(check(&verdict, "input ha")["holds"], true);
    assert_eq!(check(&verdict, "composite")["holds"], true);
    assert_eq!(check(&verdict, "pixels")["holds"], false);
    let said = bench.run(1, &["verify", "a.png.record.json"]);
    assert!(
        said.out.ends_with("The record does not hold.\n"),
        "{}",
        said.out
    );
}

#[test]
fn a_missing_input_is_noticed_and_found_elsewhere() {
    let bench = composed("a.png");
    fs::create_dir(bench.at("archive")).expect("a folder");
    fs::rename(bench.at("sii.fits"), bench.at("archive/sii.fits")).expect("moved");
    let without = verdict(&bench, 1, "a.png.record.json", &[]);
    let detail = check(&without, "input sii")["detail"]
        .as_str()
        .expect("text");
    assert!(detail.contains("--inputs"), "{detail}");
    assert_eq!(check(&without, "pixels")["holds"], false);
    verdict(&bench, 0, "a.png.record.json", &["--inputs", "archive"]);
}

#[test]
fn changes_of_a_composite_are_told_apart() {
    for name in ["a.png", "a.tif"] {
        let bench = composed(name);
        let record = format!("{name}.record.json");
        let path = bench.at(name);
        let sound = fs::read(&path).expect("there");
        // Another word in the tags, as long as the one before.
        let word = b"Lantern Shell in three lines";
        let mut tagged = sound.clone();
        let places: Vec<usize> = (0..tagged.len() - word.len())
            .filter(|at| tagged[*at..].starts_with(word))
            .collect();
        assert!(!places.is_empty(), "{name}");
        for at in places {
            tagged[at] = b'l';
        }
        if name == "a.png" {
            tagged = mend_crcs(tagged);
        }
        fs::write(&path, &tagged).expect("written");
        let tags = verdict(&bench, 1, &record, &[]);
        let detail = &check(&tags, "composite")["detail"];
        assert_eq!(
            detail, "the file was changed, its pixels were not",
            "{name}"
        );
        assert_eq!(check(&tags, "pixels")["holds"], true);
        // Another picture of the same kind.
        bench.run(
            0,
            &[
                "compose",
                "lantern.toml",
                "-o",
                "b.png",
                "--rendition",
                "pair",
            ],
        );
        let other = format!("other{}", &name[1..]);
        bench.run(
            0,
            &[
                "compose",
                "lantern.toml",
                "-o",
                &other,
                "--rendition",
                "pair",
            ],
        );
        fs::copy(bench.at(&other), &path).expect("copied");
        let pixels = verdict(&bench, 1, &record, &[]);
        assert_eq!(
            check(&pixels, "composite")["detail"],
            "its pixels were changed",
            "{name}"
        );
        // Something else altogether, and nothing.
        fs::write(&path, b"not a picture").expect("written");
        let rubbish = verdict(&bench, 1, &record, &[]);
        assert_eq!(check(&rubbish, "composite")["holds"], false);
        fs::remove_file(&path).expect("removed");
        let missing = verdict(&bench, 1, &record, &[]);
        let detail = check(&missing, "composite")["detail"]
            .as_str()
            .expect("text");
        assert!(detail.contains("missing"), "{detail}");
    }
}

// Chunk checks of a PNG, worked out again (PNG third edition, annex D).
fn mend_crcs(mut bytes: Vec<u8>) -> Vec<u8> {
    let mut at = 8;
    while at + 12 <= bytes.len() {
        let length = u32::from_be_bytes(bytes[at..at + 4].try_into().expect("four")) as usize;
        let mut crc = u32::MAX;
        for byte in &bytes[at + 4..at + 8 + length] {
            crc ^= u32::from(*byte);
            for _ in 0..8 {
                crc = if crc & 1 == 1 {
                    0xedb8_8320 ^ (crc >> 1)
                } else {
                    crc >> 1
                };
            }
        }
        bytes[at + 8 + length..at + 12 + length].copy_from_slice(&(!crc).to_be_bytes());
        at += 12 + length;
    }
    bytes
}

#[test]
fn a_composite_of_light_is_compared_by_its_samples_too() {
    for name in ["a.fits", "a.tif"] {
        let bench = Bench::new();
        bench.run(
            0,
            &["compose", "lantern.toml", "-o", name, "--depth", "32f"],
        );
        let path = bench.at(name);
        let mut bytes = fs::read(&path).expect("there");
        let word = b"Linehue";
        let at = (0..bytes.len() - word.len())
            .find(|at| bytes[*at..].starts_with(word))
            .expect("the program's name");
        bytes[at] = b'l';
        fs::write(&path, &bytes).expect("written");
        let changed = verdict(&bench, 1, &format!("{name}.record.json"), &[]);
        assert_eq!(
            check(&changed, "composite")["detail"],
            "the file was changed, its pixels were not",
            "{name}"
        );
    }
}

#[test]
fn a_record_of_a_later_format_is_refused() {
    let bench = composed("a.png");
    let mut made = record_of(&bench, "a.png");
    made["record"] = 2.into();
    made["news"] = true.into();
    bench.file("newer.json", made.to_string().as_bytes());
    bench.refused(
        &["verify", "newer.json"],
        &["newer.json", "version 2", "newer Linehue"],
    );
    bench.refused(&["verify", "missing.json"], &["missing.json"]);
    bench.refused(
        &["verify", "lantern.toml"],
        &["lantern.toml", ".record.json"],
    );
    bench.refused(&["verify", "a.png"], &["a.png"]);
    bench.refused(&["verify", "."], &["."]);
}

#[test]
fn a_moved_folder_still_verifies() {
    let bench = Bench::new();
    fs::create_dir(bench.at("stacks")).expect("a folder");
    for name in ["ha.fits", "oiii.fits", "sii.fits"] {
        fs::rename(bench.at(name), bench.at("stacks").join(name)).expect("moved");
    }
    let text = stacks::RECIPE.replace("file = \"", "file = \"stacks/");
    bench.file("lantern.toml", text.as_bytes());
    bench.run(0, &["compose", "lantern.toml", "-o", "a.tif"]);
    let elsewhere = tempfile::tempdir().expect("a folder");
    let new: PathBuf = elsewhere.path().join("moved here");
    copy_folder(bench.folder.path(), &new);
    let record = new.join("a.tif.record.json");
    for name in [
        "stacks/ha.fits",
        "stacks/sii.fits",
        "stacks/oiii.fits",
        "a.tif",
    ] {
        fs::remove_file(bench.at(name)).expect("removed");
    }
    bench.run(0, &["verify", &record.to_string_lossy()]);
}

fn copy_folder(from: &Path, to: &Path) {
    fs::create_dir(to).expect("a folder");
    for entry in fs::read_dir(from).expect("the folder is there") {
        let entry = entry.expect("an entry");
        if entry.path().is_dir() {
            copy_folder(&entry.path(), &to.join(entry.file_name()));
        } else {
            fs::copy(entry.path(), to.join(entry.file_name())).expect("copied");
        }
    }
}

#[test]
fn a_reference_that_takes_no_part_does_not_stop_a_record() {
    let bench = Bench::new();
    // `pair` leaves out ha, whose grid it stands on.
    fs::create_dir(bench.at("out")).expect("a folder");
    bench.run(
        0,
        &[
            "compose",
            "lantern.toml",
            "-o",
            "out/a.png",
            "--rendition",
            "pair",
        ],
    );
    let mut command = bench.linehue(&["verify", "a.png.record.json"]);
    let said = stacks::spoken(command.current_dir(bench.at("out")), 0, "from elsewhere");
    assert!(
        said.out.contains("the same to the last bit"),
        "{}",
        said.out
    );
}

#[test]
fn a_record_that_names_no_input_for_a_channel_does_not_hold() {
    let bench = composed("a.png");
    let mut made = record_of(&bench, "a.png");
    made["inputs"].as_array_mut().expect("a list").remove(1);
    bench.file("a.png.record.json", made.to_string().as_bytes());
    let verdict = verdict(&bench, 1, "a.png.record.json", &[]);
    let detail = check(&verdict, "pixels")["detail"].as_str().expect("text");
    assert!(detail.contains("oiii"), "{detail}");
}

#[test]
fn a_draft_says_which_channels_no_rendition_uses() {
    let bench = Bench::new();
    bench.file("g.fits", &stack("G", 5));
    let said = bench.run(
        0,
        &["draft", "ha.fits", "oiii.fits", "g.fits", "-o", "new.toml"],
    );
    assert!(
        said.err.contains("g ") && said.err.contains("no rendition"),
        "{}",
        said.err
    );
}

#[cfg(unix)]
#[test]
fn links_keep_their_names() {
    let bench = Bench::new();
    fs::create_dir(bench.at("store")).expect("a folder");
    fs::rename(bench.at("ha.fits"), bench.at("store/0f3a77")).expect("moved");
    std::os::unix::fs::symlink("store/0f3a77", bench.at("ha.fits")).expect("a link");
    bench.run(0, &["draft", "ha.fits", "-o", "new.toml"]);
    let text = fs::read_to_string(bench.at("new.toml")).expect("there");
    assert!(text.contains("file = \"ha.fits\""), "{text}");
    bench.run(0, &["compose", "new.toml", "-o", "a.png"]);
    assert_eq!(record_of(&bench, "a.png")["inputs"][0]["file"], "ha.fits");
    bench.run(0, &["verify", "a.png.record.json"]);
}

#[cfg(unix)]
mod streams {
    use super::*;
    use std::process::{Command, Stdio};

    fn start(bench: &Bench, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_linehue"));
        command.current_dir(bench.folder.path()).args(arguments);
        command
    }

    // A pipe whose reader has gone away.
    fn closed() -> Stdio {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        writer.into()
    }

    #[test]
    fn a_reader_that_went_away_is_no_fault() {
        let bench = Bench::new();
        for arguments in [
            &["palettes"][..],
            &["completions", "bash"],
            &["inspect", "ha.fits", "--json"],
            &["compose", "lantern.toml", "-o", "a.tif"],
            &["--help"],
        ] {
            let output = start(&bench, arguments)
                .stdout(closed())
                .stderr(Stdio::piped())
                .output()
                .expect("starts");
            let err = String::from_utf8_lossy(&output.stderr);
            assert_eq!(output.status.code(), Some(0), "{arguments:?}: {err}");
            assert!(err.is_empty(), "{arguments:?}: {err}");
        }
    }

    #[test]
    fn a_closed_error_stream_does_not_change_the_exit_code() {
        let bench = Bench::new();
        let run = |arguments: &[&str]| {
            start(&bench, arguments)
                .stdout(Stdio::null())
                .stderr(closed())
                .status()
                .expect("starts")
                .code()
        };
        assert_eq!(run(&["inspect", "missing.fits"]), Some(2));
        assert_eq!(run(&["compose", "lantern.toml", "-o", "a.xyz"]), Some(2));
        fs::create_dir_all(bench.at("settings/linehue/palettes")).expect("a folder");
        bench.file("settings/linehue/palettes/a.toml", b"palette = 9");
        let status = start(&bench, &["palettes"])
            .env("XDG_CONFIG_HOME", bench.at("settings"))
            .stdout(Stdio::null())
            .stderr(closed())
            .status()
            .expect("starts");
        assert_eq!(status.code(), Some(0));
    }

    #[test]
    fn a_full_standard_output_is_told() {
        let Ok(full) = fs::OpenOptions::new().write(true).open("/dev/full") else {
            println!("skipped: no /dev/full here");
            return;
        };
        let bench = Bench::new();
        let output = start(&bench, &["palettes"])
            .stdout(full)
            .stderr(Stdio::piped())
            .output()
            .expect("starts");
        let err = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{err}");
        assert!(err.contains("standard output"), "{err}");
    }

    #[test]
    fn a_recipe_may_come_through_a_pipe() {
        let bench = Bench::new();
        let arguments = ["compose", "/dev/stdin", "-o", "a.png"];
        let absolute = stacks::RECIPE.replace(
            "file = \"",
            &format!("file = \"{}/", bench.folder.path().display()),
        );
        let mut command = bench.linehue(&arguments);
        stacks::spoken(command.write_stdin(absolute), 0, "a recipe in a pipe");
        bench.run(0, &["verify", "a.png.record.json"]);
    }
}
