//! `ratio` from the outside: on small stacks, and on the sample field.

#[path = "support/stacks.rs"]
mod stacks;

use std::fs;
use std::path::Path;

use linehue::io::read::{self, Opened, Pick};
use serde_json::Value;
use stacks::{Bench, HEIGHT, WIDTH};

const SAMPLE: &str = "sample-stacks/lantern";

fn json(text: &str) -> Value {
    serde_json::from_str(text).expect("JSON")
}

fn open(path: &Path, hdu: usize) -> Opened {
    let pick = Pick {
        hdu: Some(hdu),
        plane: None,
    };
    read::open(path, pick).expect("opens")
}

fn values(opened: &Opened) -> Vec<f32> {
    let mut values = vec![0.0; opened.rows.size().pixels()];
    opened.rows.read(0, &mut values).expect("reads");
    values
}

// The sample beside an empty folder's recipe.
fn sample(bench: &Bench) {
    for name in ["ha", "oiii", "sii"] {
        let name = format!("lantern-{name}.fits");
        fs::copy(Path::new(SAMPLE).join(&name), bench.at(&name)).expect("copied");
    }
    let recipe = fs::read(Path::new(SAMPLE).join("lantern.toml")).expect("there");
    bench.file("sample.toml", &recipe);
}

/// The two pictures in the file and the figures tell the same.
#[test]
fn numbers_uncertainties_and_figures_agree() {
    let bench = Bench::new();
    sample(&bench);
    let arguments = ["ratio", "sample.toml", "sii/ha", "-o", "map.fits", "--json"];
    let told = json(&bench.run(0, &arguments).out);
    let [ratio, sigma] = [0, 1].map(|hdu| open(&bench.at("map.fits"), hdu));
    for (opened, name) in [(&ratio, "RATIO"), (&sigma, "SIGMA")] {
        let header = &opened.facts.header;
        assert_eq!(header.text("EXTNAME").as_deref(), Some(name));
        assert_eq!(header.text("LINE1").as_deref(), Some("SII"));
        assert_eq!(header.text("LINE2").as_deref(), Some("Ha"));
        assert_eq!(header.number("MINSNR"), Some(3.0));
        assert!(
            header
                .text("CALIB")
                .is_some_and(|text| text.contains("not calibrated"))
        );
    }
    let (ratios, sigmas) = (values(&ratio), values(&sigma));
    let mut known: Vec<f32> = ratios.iter().copied().filter(|r| !r.is_nan()).collect();
    assert_eq!(told["known_px"], known.len());
    for (ratio, sigma) in ratios.iter().zip(&sigmas) {
        assert_eq!(ratio.is_nan(), sigma.is_nan());
        // Both stand 3 sigma out: no ratio is less sure than sqrt(2) / 3.
        assert!(ratio.is_nan() || (*sigma > 0.0 && sigma / ratio < 0.4715));
    }
    known.sort_by(f32::total_cmp);
    let median = f64::from(known[known.len() / 2]);
    let theirs = told["median"].as_f64().expect("a number");
    assert!((median - theirs).abs() < 1e-3 * median, "{median} {theirs}");
    let above = known.iter().filter(|ratio| **ratio > 0.4).count() as f64 / known.len() as f64;
    let theirs = told["above"].as_f64().expect("a number");
    assert!((above - theirs).abs() < 1e-6, "{above} {theirs}");
    let words = told["words"].to_string();
    for word in [
        "[S II]/Hα",
        "not calibrated",
        "0.4",
        "Mathewson & Clarke 1973",
    ] {
        assert!(words.contains(word), "{words}");
    }
    let caveats = told["caveats"].to_string();
    assert!(
        caveats.contains("[N II]") && caveats.contains("continuum"),
        "{caveats}"
    );
}

/// A pixel of the map, worked out here from the stacks and what the map says of
/// their skies.
#[test]
fn a_pixel_can_be_worked_out_by_hand() {
    let bench = Bench::new();
    sample(&bench);
    bench.run(
        0,
        &[
            "ratio",
            "sample.toml",
            "oiii/ha",
            "-o",
            "map.fits",
            "--bin",
            "2",
        ],
    );
    let [ratio, sigma] = [0, 1].map(|hdu| open(&bench.at("map.fits"), hdu));
    let header = &ratio.facts.header;
    let number = |keyword: &str| header.number(keyword).expect("a card");
    let [over, under] = ["oiii", "ha"].map(|name| {
        let opened = open(&bench.at(&format!("lantern-{name}.fits")), 0);
        (opened.rows.size(), values(&opened))
    });
    let size = ratio.rows.size();
    assert_eq!(size.width, over.0.width / 2);
    let (ratios, sigmas) = (values(&ratio), values(&sigma));
    let mean = |(whole, values): &(linehue::engine::frame::Size, Vec<f32>), at: usize| {
        let (y, x) = (2 * (at / size.width), 2 * (at % size.width));
        let places = [(0, 0), (0, 1), (1, 0), (1, 1)];
        let sum: f64 = places
            .iter()
            .map(|(dy, dx)| f64::from(values[(y + dy) * whole.width + x + dx]))
            .sum();
        sum / 4.0
    };
    let mut compared = 0;
    for at in (0..ratios.len())
        .step_by(97)
        .filter(|at| !ratios[*at].is_nan())
    {
        let n = mean(&over, at) - number("SKY1");
        let d = mean(&under, at) - number("SKY2");
        let error = |noise: &str, sky: &str| number(noise).hypot(number(sky));
        let expected = n / d;
        let its = expected * (error("NOISE1", "SKYERR1") / n).hypot(error("NOISE2", "SKYERR2") / d);
        assert!(
            (f64::from(ratios[at]) / expected - 1.0).abs() < 1e-6,
            "{at}"
        );
        assert!((f64::from(sigmas[at]) / its - 1.0).abs() < 1e-6, "{at}");
        compared += 1;
    }
    assert!(compared > 50, "{compared}");
}

/// A star stays where it is on the sky: pixels of the map are two of the
/// stack's long, and begin where the crop begins.
#[test]
fn a_map_keeps_its_place_on_the_sky() {
    let bench = Bench::new();
    let text = stacks::RECIPE.replace("[about]", "crop = [20, 10, 150, 120]\n[about]");
    bench.file("crop.toml", text.as_bytes());
    bench.run(
        0,
        &[
            "ratio",
            "crop.toml",
            "sii/ha",
            "-o",
            "map.fits",
            "--bin",
            "2",
        ],
    );
    for hdu in [0, 1] {
        let opened = open(&bench.at("map.fits"), hdu);
        let size = opened.rows.size();
        assert_eq!((size.width, size.height), (75, 60));
        let header = &opened.facts.header;
        // FITS counts from the middle of pixel 1; (100, 75) lies 79.5, 64.5
        // from the corner of the crop.
        assert_eq!(header.number("CRPIX1"), Some(79.5 / 2.0 + 0.5));
        assert_eq!(header.number("CRPIX2"), Some(64.5 / 2.0 + 0.5));
        assert_eq!(header.number("CDELT1"), Some(-0.00056));
        assert_eq!(header.number("CRVAL1"), Some(84.0));
    }
}

#[test]
fn a_picture_shows_what_is_known_and_greys_the_rest() {
    let bench = Bench::new();
    for out in ["map.png", "map.jpg"] {
        let told = bench.run(0, &["ratio", "lantern.toml", "sii/ha", "-o", out, "--json"]);
        let told = json(&told.out);
        assert!(bench.at(&format!("{out}.ratio.json")).is_file());
        if out == "map.jpg" {
            let bytes = fs::read(bench.at(out)).expect("a file");
            assert!(bytes.starts_with(&[0xff, 0xd8]) && bytes.ends_with(&[0xff, 0xd9]));
            continue;
        }
        let planes = [0, 1, 2].map(|plane| {
            let pick = Pick {
                hdu: None,
                plane: Some(plane),
            };
            read::open(&bench.at(out), pick).expect("a picture")
        });
        let size = planes[0].rows.size();
        // 200 x 150 is shown four times as large, with a scale and words.
        assert!(size.width > 4 * WIDTH && size.height > 4 * HEIGHT);
        let [red, green, blue] = planes.map(|opened| values(&opened));
        let grey = red
            .iter()
            .zip(&green)
            .zip(&blue)
            .filter(|((r, g), b)| **r == 44.0 && **g == 44.0 && **b == 44.0)
            .count() as f64;
        let unknown = (WIDTH * HEIGHT) as f64 - told["known_px"].as_f64().expect("a number");
        let share = grey / (16.0 * unknown);
        assert!((1.0..1.02).contains(&share), "{share}");
    }
}

#[path = "ratio/claims.rs"]
mod claims;

#[path = "ratio/full.rs"]
mod full;

#[path = "ratio/screen.rs"]
mod screen;

#[path = "ratio/noise.rs"]
mod noise;

#[test]
fn a_record_tells_how_a_map_was_made() {
    let bench = Bench::new();
    let ratio = "[[ratio]]\nid = \"shock\"\nover = \"sii\"\nunder = \"ha\"\nmin_snr = 5.0\n\
                 bin = 3\nscale = \"log\"\nrange = [0.25, 4.0]\n";
    bench.file("with.toml", format!("{}{ratio}", stacks::RECIPE).as_bytes());
    bench.run(
        0,
        &["ratio", "with.toml", "shock", "-o", "map.png", "--bin", "2"],
    );
    let text = fs::read_to_string(bench.at("map.png.ratio.json")).expect("a record");
    let record = json(&text);
    assert_eq!(record["ratio_record"], 1);
    // The command line goes before the recipe.
    assert_eq!(record["ratio"]["bin"], 2);
    assert_eq!(record["ratio"]["min_snr"], 5.0);
    assert_eq!(record["scale"]["low"], 0.25);
    assert_eq!(record["recipe"]["ratio"][0]["id"], "shock");
    let inputs = record["inputs"].as_array().expect("a list");
    assert_eq!(inputs.len(), 2);
    for (file, of) in [
        (&record["map"]["sha256"], "map.png"),
        (&inputs[0]["sha256"], "ha.fits"),
        (&inputs[1]["sha256"], "sii.fits"),
    ] {
        use sha2::Digest as _;
        let bytes = fs::read(bench.at(of)).expect("a file");
        let hex: String = sha2::Sha256::digest(bytes)
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect();
        assert_eq!(file.as_str(), Some(&hex[..]), "{of}");
    }
    // The same stacks and settings make the same map.
    let first = fs::read(bench.at("map.png")).expect("a file");
    bench.run(
        0,
        &["ratio", "with.toml", "shock", "-o", "map.png", "--bin", "2"],
    );
    assert_eq!(fs::read(bench.at("map.png")).expect("a file"), first);
}

/// Protects that the widest range and the narrowest that are allowed have a
/// picture, with numbers on the scale.
#[test]
fn the_widest_and_the_narrowest_scale_are_drawn() {
    let bench = Bench::new();
    for (range, scale) in [
        ("0,1e6", "linear"),
        ("1e-6,1e6", "log"),
        ("0.5,0.500001", "linear"),
        ("0,1e-6", "linear"),
    ] {
        let arguments = ["ratio", "lantern.toml", "sii/ha", "-o", "map.png"];
        let more = ["--range", range, "--scale", scale];
        bench.run(0, &[&arguments[..], &more].concat());
    }
}

#[test]
fn what_cannot_be_is_refused_with_a_hint() {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", "composite.png"]);
    for (arguments, words) in [
        (&["sii/hb", "-o", "m.fits"][..], &["`hb`", "`ha`"][..]),
        (&["ha/ha", "-o", "m.fits"], &["by itself", "two channels"]),
        (
            &["shock", "-o", "m.fits"],
            &["no ratio `shock`", "OVER/UNDER"],
        ),
        (
            &["sii/ha", "-o", "m.fits", "--min-snr", "900"],
            &["900 sigma", "--bin"],
        ),
        (&["sii/ha", "-o", "m.fits", "--min-snr", "0"], &["min_snr"]),
        (
            &["sii/ha", "-o", "m.fits", "--bin", "17"],
            &["`bin = 17`", "16"],
        ),
        (
            &["sii/ha", "-o", "m.png", "--range", "2,1"],
            &["[2, 1]", "lower"],
        ),
        (
            &["sii/ha", "-o", "m.png", "--range", "0,1", "--scale", "log"],
            &["logarithm"],
        ),
        (
            &["sii/ha", "-o", "m.png", "--range", "0,1e308"],
            &["out of range", "0.000001 and 1000000"],
        ),
        (
            &["sii/ha", "-o", "m.fits", "--range", "0,1e14"],
            &["out of range", "0.000001 and 1000000"],
        ),
        (&["sii/ha", "-o", "m.tif"], &["TIFF", ".png"]),
        (&["sii/ha", "-o", "ha.fits"], &["one of the inputs"]),
        (&["sii/ha", "-o", "composite.png"], &["composite"]),
        (&["sii/ha", "-o", "missing/m.fits"], &["missing"]),
    ] {
        let all = [&["ratio", "lantern.toml"], arguments].concat();
        bench.refused(&all, words);
    }
}

/// The record holds years later: the same inputs give the same bytes, from
/// another folder too, and what was changed is told.
#[test]
fn a_map_is_verified_from_its_record() {
    let bench = Bench::new();
    sample(&bench);
    for out in ["map.fits", "map.png"] {
        let record = format!("{out}.ratio.json");
        bench.run(0, &["ratio", "sample.toml", "sii/oiii", "-o", out]);
        let told = bench.run(0, &["verify", &record, "--json"]);
        let told = json(&told.out);
        assert_eq!(told["holds"], true, "{told}");
        // The reference lends its place on the sky: it is an input too.
        let what: Vec<&str> = told["checks"]
            .as_array()
            .expect("checks")
            .iter()
            .filter_map(|check| check["what"].as_str())
            .collect();
        assert!(
            what.ends_with(&["map", "ratios", "words, figures"]),
            "{what:?}"
        );
        assert!(what.contains(&"input sii"), "{what:?}");
    }
    fs::create_dir(bench.at("moved")).expect("a folder");
    for name in ["lantern-sii.fits", "lantern-oiii.fits"] {
        fs::rename(bench.at(name), bench.at("moved").join(name)).expect("moved");
    }
    bench.run(1, &["verify", "map.fits.ratio.json"]);
    let arguments = ["verify", "map.fits.ratio.json", "--inputs", "moved"];
    bench.run(0, &arguments);
    // What is said of the map is looked at as well.
    let record = fs::read_to_string(bench.at("map.fits.ratio.json")).expect("there");
    let mut edited = json(&record);
    edited["figures"]["median"] = 9.0.into();
    bench.file("map.fits.ratio.json", edited.to_string().as_bytes());
    let said = bench.run(1, &arguments);
    assert!(said.out.contains("NOT  words, figures"), "{}", said.out);
    bench.file("map.fits.ratio.json", record.as_bytes());
    let mut bytes = fs::read(bench.at("map.fits")).expect("there");
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    bench.file("map.fits", &bytes);
    let said = bench.run(1, &arguments);
    assert!(said.out.contains("NOT  map"), "{}", said.out);
    assert!(said.out.contains("ok   ratios"), "{}", said.out);
}

#[test]
fn the_caption_of_a_map_has_its_criterion_and_caveats() {
    let bench = Bench::new();
    sample(&bench);
    bench.run(0, &["ratio", "sample.toml", "sii/ha", "-o", "map.png"]);
    let words = |more: &[&str]| {
        let mut arguments = vec!["caption", "map.png.ratio.json"];
        arguments.extend(more);
        bench.run(0, &arguments).out
    };
    let told = json(&words(&["--json"]));
    let record = json(&fs::read_to_string(bench.at("map.png.ratio.json")).expect("there"));
    let short = told["short"].as_str().expect("words");
    assert!(short.chars().count() <= 280);
    let median = record["figures"]["median"].as_f64().expect("a number");
    assert!(short.contains(&format!("median {median:.3}")), "{short}");
    let long = told["long"].as_str().expect("words");
    for part in [
        "Mathewson & Clarke 1973",
        "Haffner",
        "continuum of stars",
        "0.4",
    ] {
        assert!(long.contains(part), "{part}: {long}");
    }
    let alt = told["alt"].as_str().expect("words");
    for end in ["low", "high"] {
        let end = record["scale"][end].as_f64().expect("a number");
        assert!(alt.contains(&format!("{end}")), "{alt}");
    }
    // What the field is called cannot inject markup.
    let hostile = fs::read_to_string(bench.at("map.png.ratio.json")).expect("there");
    let mut hostile = json(&hostile);
    hostile["recipe"]["about"]["object"] = "<script>alert(1)</script>".into();
    bench.file("hostile.ratio.json", hostile.to_string().as_bytes());
    let arguments = ["caption", "hostile.ratio.json", "--format", "html"];
    let html = bench.run(0, &arguments).out;
    assert!(
        html.contains("&lt;script") && !html.contains("<script"),
        "{html}"
    );
    // A damaged record, a later one, and a template that is for composites.
    hostile["words"] = 3.into();
    bench.file("hostile.ratio.json", hostile.to_string().as_bytes());
    bench.refused(&["caption", "hostile.ratio.json"], &["damaged", "sequence"]);
    hostile["ratio_record"] = 99.into();
    bench.file("hostile.ratio.json", hostile.to_string().as_bytes());
    bench.refused(&["verify", "hostile.ratio.json"], &["99", "newer Linehue"]);
    bench.file("own.toml", b"");
    bench.refused(
        &["caption", "map.png.ratio.json", "--template", "own.toml"],
        &["composites"],
    );
}

/// Half a subtraction is worse than none, and says so.
#[test]
fn a_continuum_taken_out_of_one_line_alone_is_warned_of() {
    let bench = Bench::new();
    sample(&bench);
    fs::copy(
        Path::new(SAMPLE).join("lantern-r.fits"),
        bench.at("lantern-r.fits"),
    )
    .expect("copied");
    let text = fs::read_to_string(bench.at("sample.toml")).expect("there");
    let broad = "[[channel]]\nid = \"r\"\nfile = \"lantern-r.fits\"\nline = \"R\"\n\
                 [channel.stretch]\nblack = 100.0\nwhite = 9000.0\n\n";
    let first = text.find("[[channel]]").expect("channels");
    let text = format!("{}{broad}{}", &text[..first], &text[first..]);
    let one = text.replacen(
        "id = \"sii\"\n",
        "id = \"sii\"\ncontinuum = { from = \"r\", scale = 0.1 }\n",
        1,
    );
    bench.file("one.toml", one.as_bytes());
    bench.run(0, &["ratio", "one.toml", "sii/ha", "-o", "one.fits"]);
    let long = bench.run(0, &["caption", "one.fits.ratio.json"]).out;
    assert!(long.contains("taken out of [S II] alone"), "{long}");
}

/// A stack without a single value takes no part, which is said.
#[test]
fn a_channel_without_data_is_named() {
    let bench = Bench::new();
    let nothing = stacks::fits(WIDTH, HEIGHT, &vec![f32::NAN; WIDTH * HEIGHT], &[]);
    bench.file("sii.fits", &nothing);
    let said = bench.run(0, &["compose", "lantern.toml", "-o", "a.png"]);
    assert!(
        said.err.contains("sii: no pixel holds data"),
        "{}",
        said.err
    );
}
