//! `apart`, `suggest` and `leading` from the outside, and on the sample field.

#[path = "support/stacks.rs"]
mod stacks;

use std::fs;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use linehue::engine::apart::told;
use linehue::engine::palettes::{apply, built_in, parse};
use linehue::engine::recipe::{Recipe, Rendition, text};
use linehue::work::progress::Silent;
use linehue::work::{Control, suggest};
use serde_json::Value;
use stacks::Bench;

const SAMPLE: &str = "sample-stacks/lantern";

fn json(text: &str) -> Value {
    serde_json::from_str(text).expect("JSON")
}

fn sample() -> Recipe {
    let text = fs::read_to_string(Path::new(SAMPLE).join("lantern.toml")).expect("the recipe");
    text::parse(&text, "lantern.toml").expect("sound")
}

fn least(recipe: &Recipe, rendition: &Rendition) -> f64 {
    let told = told(recipe, rendition).expect("sound");
    told.least().expect("pairs")
}

/// On the sample every palette of ours is at most as good, by the figure that
/// readers are told.
#[test]
fn what_is_suggested_for_the_sample_beats_every_palette() {
    let recipe = sample();
    let never = AtomicBool::new(false);
    let control = Control {
        progress: &Silent,
        cancel: &never,
    };
    let base = &recipe.renditions[0];
    let folder = Path::new(SAMPLE);
    let wish = Default::default();
    let made = suggest::palette(&recipe, base, folder, &wish, "best", control).expect("colours");
    let mut plain = made.suggestion.rendition.clone();
    let ours = made.suggestion.after.least;
    assert!(least(&recipe, &plain) > 20.0, "{ours}");
    let there = [("sii", "SII"), ("ha", "Ha"), ("oiii", "OIII")];
    let mut compared = 0;
    for palette in built_in() {
        let Ok(colors) = apply(palette, &there) else {
            continue;
        };
        if colors.len() < 3 {
            continue;
        }
        plain.colors = colors;
        let theirs = least(&recipe, &plain);
        // A pair that seldom meets here counts for less in the search, so its
        // own measure is at least the plain one.
        assert!(ours >= theirs, "{}: {theirs} beside {ours}", palette.name);
        compared += 1;
    }
    assert!(compared >= 10, "{compared}");
}

#[test]
fn a_table_and_json_tell_the_same() {
    let bench = Bench::new();
    let said = bench.run(0, &["apart", "lantern.toml"]);
    for word in ["mapped", "Hα and [O III]", "no green", "least of all"] {
        assert!(said.out.contains(word), "`{word}` is not in\n{}", said.out);
    }
    let said = bench.run(0, &["apart", "lantern.toml", "--json"]);
    let told = json(&said.out);
    assert_eq!(told["pairs"].as_array().map(Vec::len), Some(3));
    let least = told["least"]["usual"].as_f64().expect("a number");
    let pairs = told["pairs"].as_array().expect("pairs");
    let found = pairs
        .iter()
        .filter_map(|pair| pair["ciede2000"]["usual"].as_f64());
    assert_eq!(found.fold(f64::INFINITY, f64::min), least);
}

#[test]
fn a_record_is_measured_as_it_was_made() {
    let bench = Bench::new();
    bench.run(
        0,
        &[
            "compose",
            "lantern.toml",
            "-o",
            "x.png",
            "--rendition",
            "pair",
        ],
    );
    let said = bench.run(0, &["apart", "x.png.record.json", "--json"]);
    let told = json(&said.out);
    assert_eq!(told["rendition"], "pair");
    assert_eq!(told["lines"].as_array().map(Vec::len), Some(2));
    let said = bench.run(0, &["apart", "x.png.record.json", "--rendition", "mapped"]);
    assert!(said.out.starts_with("mapped: "), "{}", said.out);
}

#[test]
fn a_suggestion_is_a_palette_file_like_any_other() {
    let bench = Bench::new();
    let arguments = [
        "suggest",
        "lantern.toml",
        "-o",
        "far apart.toml",
        "--keep-order",
    ];
    let said = bench.run(0, &arguments);
    assert!(said.out.contains("palette far apart"), "{}", said.out);
    let text = fs::read_to_string(bench.at("far apart.toml")).expect("the palette");
    let palette = parse(&text, "far apart.toml").expect("reads back");
    assert_eq!(palette.colors.len(), 3);
    assert!(palette.apart.is_some() && palette.about.contains("Lantern Shell"));
    // The same stacks, the same file.
    bench.run(
        0,
        &[
            "suggest",
            "lantern.toml",
            "-o",
            "2.toml",
            "--keep-order",
            "--name",
            "far apart",
        ],
    );
    assert_eq!(
        fs::read_to_string(bench.at("2.toml")).expect("a file"),
        text
    );
}

/// What a suggestion starts from is what `apart` tells of the same rendition, by
/// its saturation and all; and so is what comes of it.
#[test]
fn suggest_and_apart_tell_the_same_figures() {
    let bench = Bench::new();
    for rendition in ["mapped", "pair"] {
        let of = ["--rendition", rendition, "--json"];
        let apart = [&["apart", "lantern.toml"][..], &of].concat();
        let apart = json(&bench.run(0, &apart).out);
        let suggest = [&["suggest", "lantern.toml", "-o", "p.toml"][..], &of].concat();
        let suggested = json(&bench.run(0, &suggest).out);
        assert_eq!(suggested["before"]["least"], apart["least"], "{rendition}");

        // The suggested colours, put into the recipe.
        let text = fs::read_to_string(bench.at("lantern.toml")).expect("the recipe");
        let mut recipe = text::parse(&text, "lantern.toml").expect("sound");
        let palette = fs::read_to_string(bench.at("p.toml")).expect("the palette");
        let palette = parse(&palette, "p.toml").expect("sound");
        let channels = recipe.channels.clone();
        for own in &mut recipe.renditions {
            for channel in channels.iter().filter(|_| own.id == rendition) {
                if own.colors.contains_key(&channel.id) {
                    let there = [(channel.id.as_str(), channel.line.as_str())];
                    own.colors
                        .extend(apply(&palette, &there).expect("a colour"));
                }
            }
        }
        let told = told(&recipe, recipe.rendition(rendition).expect("there")).expect("sound");
        let after = suggested["after"]["least"]["usual"]
            .as_f64()
            .expect("a number");
        let least = told.nearest(0).expect("pairs").apart[0];
        assert!((after - least).abs() < 1e-9, "{rendition}: {after} {least}");
    }
}

#[test]
fn brightness_from_channels_does_not_hide_lines_from_a_suggestion() {
    let text = fs::read_to_string(Path::new(SAMPLE).join("lantern.toml")).expect("the recipe");
    let lit = "id = \"mapped\"\nluminance = { from = { ha = 1 } }\n";
    let text = text.replacen("id = \"mapped\"\n", lit, 1);
    let recipe = text::parse(&text, "lantern.toml").expect("sound");
    let never = AtomicBool::new(false);
    let control = Control {
        progress: &Silent,
        cancel: &never,
    };
    let (base, folder) = (&recipe.renditions[0], Path::new(SAMPLE));
    let wish = Default::default();
    let made = suggest::palette(&recipe, base, folder, &wish, "lit", control).expect("colours");
    assert!(
        made.suggestion.after.least > 10.0,
        "{:?}",
        made.suggestion.after
    );
    assert!(made.notices.iter().any(|notice| notice.contains("dark")));
    assert_eq!(made.suggestion.rendition.luminance, base.luminance);
}

#[test]
fn pins_are_kept() {
    let bench = Bench::new();
    let arguments = [
        "suggest",
        "lantern.toml",
        "-o",
        "p.toml",
        "--pin",
        "ha=#e0b040",
        "--json",
    ];
    let told = json(&bench.run(0, &arguments).out);
    assert_eq!(told["colors"]["Ha"], "#e0b040");
    let (before, after) = (&told["score"]["before"], &told["score"]["after"]);
    assert!(
        before.as_f64().is_some() && after.as_f64().is_some(),
        "{told}"
    );
}

#[test]
fn the_leading_picture_and_its_figures_agree() {
    let bench = Bench::new();
    let arguments = ["leading", "lantern.toml", "-o", "lead.png", "--json"];
    let told = json(&bench.run(0, &arguments).out);
    let lines = told["lines"].as_array().expect("lines");
    let sum: f64 = lines.iter().filter_map(|line| line["leads"].as_f64()).sum();
    let undecided = told["undecided"].as_f64().expect("a number");
    assert!((sum + undecided - 1.0).abs() < 1e-12, "{told}");
    let nebula = told["nebula"].as_f64().expect("a number");
    assert!((0.05..1.0).contains(&nebula), "{told}");
    // Black pixels are those outside of the nebula.
    let opened = linehue::io::read::open(
        &bench.at("lead.png"),
        linehue::io::read::Pick {
            hdu: None,
            plane: Some(0),
        },
    );
    let rows = opened.expect("a picture").rows;
    let size = rows.size();
    let mut red = vec![0.0; size.pixels()];
    rows.read(0, &mut red).expect("pixels");
    let black = red.iter().filter(|value| **value == 0.0).count() as f64;
    let dark = 1.0 - nebula;
    assert!(black / size.pixels() as f64 >= dark - 1e-9, "{black}");
    let text = bench
        .run(0, &["leading", "lantern.toml", "-o", "lead.tif"])
        .out;
    assert!(
        text.contains("undecided") && text.contains("shows of each"),
        "{text}"
    );
}

#[test]
fn threads_change_nothing_in_the_leading_picture() {
    let bench = Bench::new();
    for (out, threads) in [("1.png", "1"), ("2.png", "3")] {
        bench.run(
            0,
            &["leading", "lantern.toml", "-o", out, "--threads", threads],
        );
    }
    let read = |name: &str| fs::read(bench.at(name)).expect("a file");
    assert_eq!(read("1.png"), read("2.png"));
}

#[test]
fn what_cannot_be_is_refused_with_a_hint() {
    let bench = Bench::new();
    for (arguments, words) in [
        (
            &["apart", "lantern.toml", "--rendition", "none"][..],
            &["none", "mapped, pair"][..],
        ),
        (
            &["suggest", "lantern.toml", "-o", "ha.fits"],
            &["one of the inputs"],
        ),
        (
            &["suggest", "lantern.toml", "-o", "lantern.toml"],
            &["one of the inputs"],
        ),
        (
            &["suggest", "lantern.toml", "-o", "p.toml", "--pin", "ha"],
            &["names no colour"],
        ),
        (
            &["suggest", "lantern.toml", "-o", "p.toml", "--pin", "hb=red"],
            &["no channel `hb`"],
        ),
        (
            &[
                "suggest",
                "lantern.toml",
                "-o",
                "p.toml",
                "--pin",
                "ha=reddish",
            ],
            &["no CSS colour"],
        ),
        (
            &[
                "suggest",
                "lantern.toml",
                "--rendition",
                "pair",
                "-o",
                "p.toml",
                "--pin",
                "ha=red",
            ],
            &["takes no part"],
        ),
        (
            &[
                "suggest",
                "lantern.toml",
                "-o",
                "p.toml",
                "--pin",
                "ha=#f00",
                "--pin",
                "ha=#00f",
            ],
            &["`ha` is pinned twice", "once"],
        ),
        (
            &[
                "suggest",
                "lantern.toml",
                "-o",
                "p.toml",
                "--pin",
                "ha=#000",
            ],
            &["`ha`", "as dark as the sky", "brighter"],
        ),
        (
            &["leading", "lantern.toml", "-o", "x.jpg"],
            &["not written as JPEG", ".png"],
        ),
        (&["leading", "lantern.toml", "-o", "ha.fits"], &["FITS"]),
    ] {
        bench.refused(arguments, words);
    }
}
