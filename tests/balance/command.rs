//! The command, from files to the recipe's own text.
//!
//! Protects what an author wrote into a recipe, the reference's place on the sky,
//! and that a balance which cannot be or does nothing is told.

use std::fs;
use std::path::PathBuf;
use std::process::Output;

use linehue::engine::frame::Plane;
use linehue::engine::recipe::{Recipe, text};
use linehue::work::Control;
use linehue::work::balance::{BalanceBy, of_layers};
use linehue::work::desk::{Event, Job, Layers, Worker};
use linehue::work::progress::Silent;
use ndarray::s;

use super::{SIZE, Sky, TRUTH, catalogue, stacks, stars};

const RECIPE: &str = r##"# The Lantern Shell's stars, by eye.
recipe = 1
reference = "ha" # the one that was solved

[[channel]]
id = "ha"
file = "ha.fits"
line = "Ha"
stretch = { black = 300, white = 2e4, shape = "asinh", amount = 1e2 }

[[channel]]
line = "R" # first light
id = "r"
file = "r.fits"
stretch = { black = 310, white = 9000, shape = "asinh", amount = 1e2 } # dark

[[channel]]
id = "g"
line = "G"
file = "g.fits"
stretch = { black = 220, white = 9000, shape = "asinh", amount = 1e2 }

[[channel]]
id = "b"
line = "B"
file = "b.fits"
stretch = { black = 150, white = 9000, shape = "asinh", amount = 1e2 }

# As the eye would have it.
[[rendition]]
id = "light"
colors = { r = "natural", g = "natural", b = "natural" } # all three

# Nothing but hydrogen.
[[rendition]]
id = "lines"
colors = { ha = "natural" } # red
"##;

/// Two seconds of arc to a pixel, as [`super::header`] has it.
const ON_THE_SKY: [&str; 8] = [
    "CTYPE1  = 'RA---TAN'",
    "CTYPE2  = 'DEC--TAN'",
    "CRPIX1  =                450.5",
    "CRPIX2  =                350.5",
    "CRVAL1  =                 83.5",
    "CRVAL2  =                -5.25",
    "CDELT1  = -5.555555555555556E-4",
    "CDELT2  = 5.555555555555556E-4",
];

struct Bench(tempfile::TempDir);

impl Bench {
    /// A folder with the recipe.
    fn new() -> Self {
        let bench = Self(tempfile::tempdir().expect("a folder"));
        bench.write("lantern.toml", RECIPE.as_bytes());
        bench
    }

    /// The stacks too: of all of them the reference alone is placed on the sky.
    fn with_stacks() -> Self {
        let bench = Self::new();
        let truth = stars(160, 3);
        let sky = Sky::new(&truth, false, f64::INFINITY);
        for (name, plane) in ["r.fits", "g.fits", "b.fits"].into_iter().zip(&sky.planes) {
            bench.stack(name, plane, &[]);
        }
        bench.stack("ha.fits", &sky.planes[0], &ON_THE_SKY);
        let mut table = "ra,dec,b-v\n".to_owned();
        for row in catalogue(&truth, [0.0; 2], [83.5, -5.25]) {
            let color = row.b_v.map_or_else(String::new, |color| color.to_string());
            let (ra, dec) = (row.right_ascension_deg, row.declination_deg);
            table.push_str(&format!("{ra},{dec},{color}\n"));
        }
        bench.write("stars.csv", table.as_bytes());
        bench
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, bytes: &[u8]) {
        fs::write(self.at(name), bytes).expect("written");
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.at(name)).expect("text")
    }

    fn recipe(&self, name: &str) -> Recipe {
        text::parse(&self.read(name), name).expect("sound")
    }

    fn stack(&self, name: &str, plane: &Plane, cards: &[&str]) {
        let values: Vec<f32> = plane.values().iter().copied().collect();
        self.write(name, &stacks::fits(SIZE.width, SIZE.height, &values, cards));
    }

    fn run(&self, arguments: &[&str]) -> Output {
        assert_cmd::Command::new(env!("CARGO_BIN_EXE_linehue"))
            .current_dir(self.0.path())
            .args(arguments)
            .output()
            .expect("the program runs")
    }

    /// What it says on standard error when it ends with `code`.
    fn said(&self, code: i32, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {said}");
        said
    }
}

/// The lines of `before` that are not in `after`, in order; those that are new.
fn changed<'a>(before: &'a str, after: &'a str) -> (Vec<&'a str>, Vec<&'a str>) {
    let (mut gone, mut new) = (Vec::new(), Vec::new());
    let mut rest: Vec<&str> = after.lines().collect();
    for line in before.lines() {
        match rest.iter().position(|other| *other == line) {
            Some(at) => new.extend(rest.drain(..=at).take(at)),
            None => gone.push(line),
        }
    }
    new.extend(rest);
    (gone, new)
}

/// Protects comments, order and inline tables, in the recipe's own file and in
/// another folder.
#[test]
fn the_recipes_own_text_is_kept() {
    let bench = Bench::new();
    fs::create_dir(bench.at("other")).expect("a folder");
    for (output, moved) in [("other/white.toml", 4), ("lantern.toml", 0)] {
        let said = bench.said(
            0,
            &[
                "balance",
                "lantern.toml",
                "--gains",
                "1.5,1,0.8",
                "-o",
                output,
            ],
        );
        assert!(!said.contains("anew"), "{said}");
        let after = bench.read(output);
        let (gone, new) = changed(RECIPE, &after);
        assert_eq!(gone.len(), moved, "{after}");
        assert!(
            gone.iter().all(|line| line.starts_with("file =")),
            "{after}"
        );
        // A header, two lines and the blank ones about them.
        assert!(new.len() <= moved + 5, "{new:?}");
        let recipe = bench.recipe(output);
        let balance = recipe.renditions[0].balance.as_ref().expect("balanced");
        assert_eq!(balance.gains, [1.5, 1.0, 0.8]);
        assert_eq!(recipe.renditions[1].balance, None);
    }
}

/// Protects a recipe through a pipe, which cannot be read again: it is written, and
/// that its comments are not kept is told.
#[cfg(unix)]
#[test]
fn a_pipe_has_no_text_to_keep() {
    let bench = Bench::new();
    let arguments = ["balance", "/dev/stdin", "--gains", "1.5,1,0.8", "-o"];
    let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_linehue"))
        .current_dir(bench.0.path())
        .args(arguments)
        .arg("white.toml")
        .write_stdin(RECIPE)
        .output()
        .expect("the program runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    assert!(said.contains("written anew"), "{said}");
    let balance = bench.recipe("white.toml").renditions[0].balance.clone();
    assert_eq!(balance.expect("balanced").gains, [1.5, 1.0, 0.8]);
}

/// Protects the place on the sky: it is the reference's, also where that is none
/// of R, G and B and nothing is aligned, for the command and for the window.
#[test]
fn the_reference_lends_its_place_on_the_sky() {
    let bench = Bench::with_stacks();
    let arguments = [
        "balance",
        "lantern.toml",
        "--catalogue",
        "stars.csv",
        "-o",
        "white.toml",
    ];
    bench.said(0, &arguments);
    let gains = |recipe: &Recipe| {
        let balance = recipe.renditions[0].balance.as_ref().expect("balanced");
        balance.gains
    };
    let found = gains(&bench.recipe("white.toml"));
    let off = |i: usize| (found[i] / TRUTH[i] - 1.0).abs();
    assert!(off(0) < 0.01 && off(2) < 0.01, "{found:?}");
    // Red and blue are stretched as green, within their own tables.
    let after = bench.read("white.toml");
    let (gone, _) = changed(RECIPE, &after);
    assert_eq!(gone.len(), 2, "{after}");
    assert!(after.contains("amount = 1e2 } # dark"), "{after}");

    let recipe = bench.recipe("lantern.toml");
    let mut worker = Worker::inline();
    worker.ask(Job::Load {
        recipe: recipe.clone(),
        folder: bench.0.path().to_owned(),
        channels: recipe.channels.iter().map(|own| own.id.clone()).collect(),
    });
    let layers: Layers = worker
        .events()
        .into_iter()
        .filter_map(|event| match event {
            Event::Layer { channel, layer, .. } => Some((channel, layer)),
            _ => None,
        })
        .collect();
    let by = BalanceBy::Catalogue(bench.at("stars.csv"));
    let never = std::sync::atomic::AtomicBool::new(false);
    let control = Control {
        progress: &Silent,
        cancel: &never,
    };
    let measured = of_layers(&recipe, &layers, &by, control).expect("a balance");
    assert_eq!(measured.balance.gains, found);
}

/// Protects that stacks of unlike sizes are refused as composing them is: by the
/// name of the true reference.
#[test]
fn another_size_is_held_against_the_reference() {
    let bench = Bench::with_stacks();
    let small = stacks::fits(60, 50, &vec![300.0; 3000], &ON_THE_SKY);
    bench.write("ha.fits", &small);
    let balance = bench.said(
        2,
        &[
            "balance",
            "lantern.toml",
            "--catalogue",
            "stars.csv",
            "--quiet",
        ],
    );
    let compose = ["compose", "lantern.toml", "-o", "light.png", "--quiet"];
    let compose = bench.said(2, &[&compose[..], &["--rendition", "light"]].concat());
    assert!(balance.contains("the reference ha is 60 x 50"), "{balance}");
    assert_eq!(balance, compose);
}

/// Protects that a patch over a full pixel is refused where the skies were evened,
/// which moves its value below the file's ceiling, and that one beside it is not.
#[test]
fn a_patch_over_a_full_pixel_is_refused_on_even_skies() {
    let bench = Bench::with_stacks();
    let sky = Sky::new(&[], false, f64::INFINITY);
    for (name, plane) in ["r.fits", "g.fits", "b.fits"].into_iter().zip(&sky.planes) {
        let mut values = plane.values().clone();
        let mut light = values.slice_mut(s![80..140, 90..150]);
        light.map_inplace(|value| *value += 3000.0);
        if name == "g.fits" {
            values[[100, 105]] = 20_000.0;
        }
        let full = ["SATURATE=              20000.0"];
        bench.stack(name, &Plane::new(values), &full);
    }
    let level = "[channel.level]\ndegree = 1\nzero = true\n\n[[channel]]";
    let even = RECIPE.replace("[[channel]]", level);
    let even = even.replacen(level, "[[channel]]", 1);
    bench.write("even.toml", even.as_bytes());
    let said = |patch: &str, code| bench.said(code, &["balance", "even.toml", "--patch", patch]);
    said("110,90,30,30", 0);
    let refused = said("95,90,30,30", 2);
    assert!(refused.contains("saturated pixels in green"), "{refused}");
}

/// Protects from a patch without pixels that is called one outside.
#[test]
fn a_patch_without_size_is_told() {
    let bench = Bench::with_stacks();
    for patch in ["0,0,0,0", "5,5,0,9", "5,5,9,0"] {
        let said = bench.said(2, &["balance", "lantern.toml", "--patch", patch]);
        assert!(said.contains("has no size"), "{said}");
        assert!(said.contains("at least 1 pixel"), "{said}");
    }
}

/// Protects from a balance that does nothing and is not told.
#[test]
fn a_rendition_without_red_green_and_blue_is_told() {
    let bench = Bench::new();
    let said = |rendition: &[&str]| {
        let start = ["balance", "lantern.toml", "--gains", "1.5,1,0.8"];
        bench.said(0, &[&start[..], rendition].concat())
    };
    let told = "lines shows none of R, G and B";
    assert!(said(&["--rendition", "lines"]).contains(told));
    assert!(!said(&["--rendition", "light"]).contains("shows none"));
    assert!(!said(&[]).contains("shows none"));
    // A brightness of them, or stars of theirs, is something that they show.
    for more in [
        "stars = \"broadband\"",
        "luminance = { from = { r = 1.0, g = 1.0 } }",
    ] {
        let recipe = RECIPE.replacen("id = \"lines\"\n", &format!("id = \"lines\"\n{more}\n"), 1);
        bench.write("lantern.toml", recipe.as_bytes());
        assert!(
            !said(&["--rendition", "lines"]).contains("shows none"),
            "{more}"
        );
    }
}
