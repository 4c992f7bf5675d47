//! Natural light, stars, noise and brightness: from the recipe to the picture.
//!
//! Protects that what a recipe says of them is done alike by the commands and the
//! window, stands in the record, and comes out the same again.

#[path = "support/field/mod.rs"]
mod field;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use field::filters::Filter;
use field::optics::Psf;
use field::sets;
use linehue::engine::align::stars::{self, FindLimits};
use linehue::engine::color::oklab::oklch;
use linehue::engine::color::space::Space;
use linehue::engine::color::transfer::srgb_decode_exact;
use linehue::engine::color::vision::Vision;
use linehue::engine::frame::Size;
use linehue::engine::recipe::{BalancedBy, Recipe, text};
use linehue::io::read::{self, Pick};
use linehue::work::desk::{Event, Job, Layer, Layers, Worker, lacking};
use linehue::work::preview::{Grid, Preview, Request, Show};
use serde_json::Value;
use tempfile::TempDir;

// The sample stacks' folder, copied, and recipes beside them.
struct Bench(TempDir);

impl Bench {
    fn new() -> Self {
        let bench = Self(tempfile::tempdir().expect("a folder"));
        let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-stacks/lantern");
        for entry in fs::read_dir(samples).expect("the samples") {
            let path = entry.expect("an entry").path();
            fs::copy(&path, bench.at(path.file_name().expect("a name"))).expect("copied");
        }
        bench
    }

    fn at(&self, name: impl AsRef<Path>) -> PathBuf {
        self.0.path().join(name)
    }

    fn run(&self, arguments: &[&str]) -> Output {
        assert_cmd::Command::new(env!("CARGO_BIN_EXE_linehue"))
            .current_dir(self.0.path())
            .args(arguments)
            .output()
            .expect("the program runs")
    }

    fn done(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {said}");
        String::from_utf8(output.stdout).expect("text")
    }

    fn refused(&self, arguments: &[&str], words: &[&str]) {
        let output = self.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        for word in words {
            assert!(said.contains(word), "{word} in {said}");
        }
    }

    // The sample recipe with lines put into its first rendition, and into the
    // channel `ha`.
    fn recipe(&self, name: &str, rendition: &str, ha: &str) -> Recipe {
        let sample = fs::read_to_string(self.at("lantern.toml")).expect("the recipe");
        let sample = sample
            .replacen(
                "id = \"mapped\"\n",
                &format!("id = \"mapped\"\n{rendition}\n"),
                1,
            )
            .replacen("line = \"Ha\"\n", &format!("line = \"Ha\"\n{ha}\n"), 1);
        // The broad bands join as channels.
        let broad: String = ["l", "r", "g", "b"]
            .iter()
            .map(|band| {
                format!(
                    "[[channel]]\nid = \"{band}\"\nfile = \"lantern-{band}.fits\"\n\
                     line = \"{}\"\nstretch = {{ black = 300, white = 20000, shape = \"asinh\", \
                     amount = 100 }}\n",
                    band.to_uppercase()
                )
            })
            .collect();
        let (head, tail) = sample.split_once("[[rendition]]").expect("a rendition");
        let whole = format!("{head}{broad}[[rendition]]{tail}");
        fs::write(self.at(name), &whole).expect("written");
        text::parse(&whole, name).expect("sound")
    }

    fn record(&self, composite: &str) -> Value {
        let text = fs::read(self.at(format!("{composite}.record.json"))).expect("a record");
        serde_json::from_slice(&text).expect("JSON")
    }

    // Samples 0..1, R G B, of a composite of 16 bits.
    fn pixels(&self, composite: &str) -> (Vec<[f64; 3]>, Size) {
        let planes: Vec<_> = (0..3)
            .map(|plane| {
                let pick = Pick {
                    hdu: None,
                    plane: Some(plane),
                };
                let rows = read::open(&self.at(composite), pick).expect("opens").rows;
                let mut values = vec![0.0; rows.size().pixels()];
                rows.read(0, &mut values).expect("reads");
                (values, rows.size())
            })
            .collect();
        let size = planes[0].1;
        let pixel = |at: usize| [0, 1, 2].map(|plane| f64::from(planes[plane].0[at]) / 65535.0);
        ((0..size.pixels()).map(pixel).collect(), size)
    }
}

fn chroma(pixel: [f64; 3]) -> f64 {
    oklch(pixel.map(srgb_decode_exact))[1]
}

fn input<'a>(record: &'a Value, channel: &str) -> &'a Value {
    let inputs = record["inputs"].as_array().expect("inputs");
    inputs
        .iter()
        .find(|input| input["channel"] == channel)
        .expect("the channel's input")
}

#[test]
fn neutral_stars_lose_their_color_and_the_sky_keeps_its_own() {
    let bench = Bench::new();
    bench.recipe("plain.toml", "", "");
    bench.recipe("neutral.toml", "stars = \"neutral\"", "");
    for name in ["plain", "neutral"] {
        let out = format!("{name}.png");
        bench.done(&["compose", &format!("{name}.toml"), "-o", &out]);
    }
    let ((plain, size), (neutral, _)) = (bench.pixels("plain.png"), bench.pixels("neutral.png"));
    let found = |file: &str| {
        let stack = read::open(&bench.at(file), Pick::default()).expect("opens");
        let go_on = |_, _| std::ops::ControlFlow::Continue(());
        let limits = FindLimits::default();
        stars::find(&*stack.rows, stack.facts.ceiling, &limits, &go_on).expect("stars")
    };
    let ha = found("lantern-ha.fits");
    let fwhm = ha.fwhm_px.expect("stars");
    // Stars that stand well out of what is below them, at their own pixel.
    let mut falls: Vec<f64> = Vec::new();
    for star in ha.stars.iter().filter(|star| star.snr > 50.0) {
        let at = star.y.round() as usize * size.width + star.x.round() as usize;
        let (before, after) = (chroma(plain[at]), chroma(neutral[at]));
        if before > 0.02 {
            falls.push(1.0 - after / before);
        }
    }
    falls.sort_by(f64::total_cmp);
    assert!(falls.len() > 20, "{} stars", falls.len());
    let median = falls[falls.len() / 2];
    println!(
        "median fall of chroma: {median:.3} of {} stars",
        falls.len()
    );
    assert!(median > 0.85, "{median}");
    // Where no star is near, and no bright one's wide wings: the same codes. The
    // stars are the sky's own: more are taken off than a search for them lists.
    let mut all: Vec<(f64, f64, f64)> = Vec::new();
    for filter in [Filter::Ha, Filter::Oiii, Filter::Sii, Filter::L] {
        let spec = sets::aligned(filter);
        let psf = Psf::new(spec.fwhm_px, [0.92, 0.39]);
        for star in sets::scene().stars {
            let light = spec.star_light(&star);
            let snr = light * f64::from(psf.round(0.0)) / spec.variance(spec.sky).sqrt();
            if snr > 6.0 {
                all.push((star.x, star.y, snr));
            }
        }
    }
    let mut bare = 0;
    let mut changed = 0;
    for (at, (before, after)) in plain.iter().zip(&neutral).enumerate() {
        let (x, y) = ((at % size.width) as f64, (at / size.width) as f64);
        let far = all.iter().all(|(u, v, snr)| {
            let wings = if *snr > 200.0 { 20.0 } else { 3.0 };
            (u - x).hypot(v - y) > wings * fwhm
        });
        if far {
            bare += 1;
            changed += usize::from(before != after);
        }
    }
    println!("{changed} of {bare} pixels far from stars changed");
    assert!(bare > 5_000);
    assert_eq!(changed, 0, "of {bare}");
    let record = bench.record("neutral.png");
    assert!(
        input(&record, "ha")["stars"]["stars"]
            .as_u64()
            .expect("stars")
            > 20
    );
    let words = record["caption"]["long"].as_str().expect("words");
    assert!(words.contains("Stars are shown without colour."), "{words}");
}

/// The broad bands were exposed for the picture too, though nothing but its
/// stars shows them.
#[test]
fn the_exposure_of_bands_that_light_the_stars_is_told() {
    let bench = Bench::new();
    bench.recipe("stars.toml", "stars = \"broadband\"", "");
    bench.done(&["compose", "stars.toml", "-o", "stars.png"]);
    let record = bench.record("stars.png");
    let words = record["caption"]["long"].as_str().expect("words");
    // By the headers: 60 sub-exposures of 60 s.
    for band in ["red", "green", "blue"] {
        let told = format!("{band} 1 h in 60 frames");
        assert!(words.contains(&told), "{told}: {words}");
    }
    // 100, 80 and 96 of 300 s of the lines as well.
    let told = record["integration_s"].as_f64().expect("known");
    assert_eq!(told, 276.0 * 300.0 + 3.0 * 3600.0, "{words}");
}

#[test]
fn whatever_a_recipe_says_comes_out_the_same_again() {
    let bench = Bench::new();
    bench.recipe(
        "all.toml",
        "stars = { show = \"broadband\", size = 0.7, brightness = 0.8 }\nsmooth_color = 0.8\n\
         balance = { gains = [1.2, 1, 0.9] }\n\
         luminance = { from = { ha = 2, l = 1 }, amount = 0.7, detail = 0.6 }",
        "denoise = 0.5\ncontinuum = { from = \"r\" }",
    );
    for (out, more) in [("all.tif", &[][..]), ("small.png", &["--long-edge", "300"])] {
        let arguments = [&["compose", "all.toml", "-o", out], more].concat();
        bench.done(&arguments);
        let said = bench.done(&["verify", &format!("{out}.record.json")]);
        assert!(said.contains("the same to the last bit"), "{said}");
    }
    let record = bench.record("all.tif");
    let ha = input(&record, "ha");
    assert_eq!(ha["continuum"]["from"], "r");
    // Hα's filter is 5 nm wide, R's some 100 nm: a few per cent.
    let scale = ha["continuum"]["scale"].as_f64().expect("a scale");
    assert!((0.01..0.5).contains(&scale), "{scale}");
    assert!(ha["continuum"]["stars"].as_u64().expect("fitted") >= 5);
    assert_eq!(ha["noise_smoothed"]["brightness"], 0.5);
    assert_eq!(ha["noise_smoothed"]["color"], 0.8);
    let words = record["caption"]["long"].as_str().expect("words");
    for phrase in [
        "The light of stars was taken out of one",
        "Noise was smoothed in one",
        "Colours are smoother than brightness.",
        "Fine structure was brought out.",
        "Stars have the colours of the broad bands.",
        "Stars are shown in another size or brightness",
        "The broad bands were balanced by numbers chosen by hand.",
    ] {
        assert!(words.contains(phrase), "{phrase} in {words}");
    }
    // A sheet, a comparison and a key show the same rendition.
    bench.done(&["compare", "all.toml", "mapped", "natural", "-o", "both.png"]);
}

/// L shows the most stars: it is asked where they are although nothing of it is in
/// the picture, and the record says so. Where its file is gone the others do.
#[test]
fn a_broad_channel_tells_of_stars_that_the_rendition_does_not_use() {
    let bench = Bench::new();
    bench.recipe("none.toml", "stars = \"none\"", "");
    let tellers = |composite: &str| {
        let with = input(&bench.record(composite), "ha")["stars"]["with"].clone();
        let mut with: Vec<String> = serde_json::from_value(with).expect("ids");
        with.sort();
        with
    };
    let verified = |composite: &str| {
        let said = bench.done(&["verify", &format!("{composite}.record.json")]);
        assert!(said.contains("the same to the last bit"), "{said}");
    };
    let composed = |out: &str| {
        bench.done(&["compose", "none.toml", "--depth", "8", "-o", out]);
    };
    composed("asked.png");
    assert_eq!(tellers("asked.png"), ["l", "oiii", "sii"]);
    let record = bench.record("asked.png");
    assert_eq!(
        input(&record, "l")["sha256"].as_str().map(str::len),
        Some(64)
    );
    let shown = record["assignments"].as_array().expect("lines");
    assert!(shown.iter().all(|entry| entry["channel"] != "l"));
    // The three lines alone, 100, 80 and 96 of 300 s.
    assert_eq!(record["integration_s"].as_f64(), Some(276.0 * 300.0));
    verified("asked.png");
    let l = bench.at("lantern-l.fits");
    let aside = bench.at("aside.fits");
    fs::rename(&l, &aside).expect("moved");
    composed("alone.png");
    assert_eq!(tellers("alone.png"), ["oiii", "sii"]);
    let record = bench.record("alone.png");
    let notices = record["notices"].to_string();
    let said = "; l cannot tell where stars are";
    assert!(notices.contains(said), "{notices}");
    // A file that was not written to its end is no better.
    let bytes = fs::read(&aside).expect("the stack");
    fs::write(&l, &bytes[..bytes.len() / 2]).expect("written");
    composed("torn.png");
    assert_eq!(tellers("torn.png"), ["oiii", "sii"]);
    let notices = bench.record("torn.png")["notices"].to_string();
    assert!(notices.contains(said), "{notices}");
    // What was not asked then is not asked now.
    fs::rename(&aside, &l).expect("moved");
    verified("alone.png");
    let record = "alone.png.record.json";
    bench.done(&["page", record, "-o", "page", "--format", "png"]);
    let [alone, asked, paged] =
        ["alone.png", "asked.png", "page/mapped.png"].map(|picture| bench.pixels(picture).0);
    assert!(alone != asked, "L makes no difference");
    assert!(paged == alone, "L was asked on the page");
}

fn layers(events: &[Event]) -> Layers {
    let mut all = Layers::new();
    for event in events {
        match event {
            Event::Layer { channel, layer, .. } => {
                all.insert(channel.clone(), Arc::clone(layer));
            }
            Event::Parts { channel, parts, .. } => {
                let layer = all.get_mut(channel).expect("its layer came before");
                *layer = Arc::new(Layer {
                    parts: (**parts).clone(),
                    ..Layer::clone(layer)
                });
            }
            Event::Failed { what, hint, .. } | Event::ChannelFailed { what, hint, .. } => {
                panic!("{what}; {hint}")
            }
            _ => {}
        }
    }
    all
}

// What the window shows at full size, R G B.
fn shown(bench: &Bench, recipe: &Recipe) -> Vec<u8> {
    let mut worker = Worker::inline();
    let folder = bench.0.path().to_owned();
    worker.ask(Job::Load {
        recipe: recipe.clone(),
        folder: folder.clone(),
        channels: recipe.channels.iter().map(|c| c.id.clone()).collect(),
    });
    let mut events = worker.events();
    let in_memory = layers(&events);
    assert!(!lacking(recipe, &in_memory).is_empty());
    worker.ask(Job::Parts {
        recipe: recipe.clone(),
        folder,
        layers: in_memory,
    });
    events.extend(worker.events());
    let all = layers(&events);
    assert_eq!(lacking(recipe, &all), Vec::<String>::new());
    let size = all["ha"].size();
    let request = Request {
        recipe: Arc::new(recipe.clone()),
        unhidden: None,
        layers: recipe
            .channels
            .iter()
            .map(|channel| all.get(&channel.id).cloned())
            .collect(),
        show: Show::Rendition("mapped".to_owned()),
        grid: Grid {
            corner: [0.0; 2],
            step: 1.0,
            size,
        },
        space: Space::Srgb,
        vision: Vision::Usual,
        marks: false,
    };
    let picture = Preview::default()
        .draw(&request, &AtomicBool::new(false))
        .expect("drawn");
    let rgb = picture.rgba.chunks_exact(4).flat_map(|pixel| &pixel[..3]);
    rgb.copied().collect()
}

#[test]
fn the_window_shows_what_the_commands_write() {
    let bench = Bench::new();
    // L takes part in the first, and is only asked where stars are in the second.
    for (rendition, ha) in [
        (
            "stars = { show = \"neutral\", size = 0.6 }\nsmooth_color = 1\n\
             luminance = { from = { ha = 1, l = 1 }, amount = 0.5, detail = 0.8 }",
            "denoise = 0.7",
        ),
        ("stars = \"none\"", ""),
    ] {
        window_and_command(&bench, rendition, ha);
    }
}

fn window_and_command(bench: &Bench, rendition: &str, ha: &str) {
    let recipe = bench.recipe("all.toml", rendition, ha);
    let picture = shown(bench, &recipe);
    bench.done(&["compose", "all.toml", "-o", "all.png", "--depth", "8"]);
    let mut codes = Vec::new();
    for plane in 0..3 {
        let pick = Pick {
            hdu: None,
            plane: Some(plane),
        };
        let rows = read::open(&bench.at("all.png"), pick).expect("opens").rows;
        let mut values = vec![0.0; rows.size().pixels()];
        rows.read(0, &mut values).expect("reads");
        codes.push(values);
    }
    let differ = picture
        .chunks_exact(3)
        .enumerate()
        .filter(|(at, pixel)| (0..3).any(|part| f32::from(pixel[part]) != codes[part][*at]))
        .count();
    assert_eq!(differ, 0, "pixels that differ from the command's");
}

#[test]
fn a_white_balance_is_measured_and_linked() {
    let bench = Bench::new();
    bench.recipe("rgb.toml", "", "");
    let recipe = fs::read_to_string(bench.at("rgb.toml")).expect("text");
    let recipe = format!(
        "{recipe}\n[[rendition]]\nid = \"light\"\n\
         colors = {{ r = \"natural\", g = \"natural\", b = \"natural\" }}\n"
    );
    fs::write(bench.at("rgb.toml"), recipe).expect("written");
    let said = bench.done(&["balance", "rgb.toml", "--stars", "-o", "white.toml"]);
    assert!(said.contains("[rendition.balance]"), "{said}");
    let white = fs::read_to_string(bench.at("white.toml")).expect("text");
    let white = text::parse(&white, "white").expect("sound");
    let light = white.rendition("light").expect("there");
    let balance = light.balance.as_ref().expect("balanced");
    assert_eq!(balance.by, BalancedBy::Stars);
    assert_eq!(balance.gains[1], 1.0);
    let sky = balance.sky.expect("measured");
    let green = &white.band("G").expect("there").stretch;
    for (band, own_sky) in ["R", "B"].into_iter().zip([sky[0], sky[2]]) {
        let stretch = &white.band(band).expect("there").stretch;
        assert!((stretch.black - own_sky - (green.black - sky[1])).abs() < 1e-9);
        assert!((stretch.white - own_sky - (green.white - sky[1])).abs() < 1e-9);
    }
    bench.done(&[
        "compose",
        "white.toml",
        "-o",
        "white.png",
        "--rendition",
        "light",
    ]);
    let words = bench.record("white.png")["caption"]["long"].to_string();
    assert!(
        words.contains("balanced by the average of the stars ("),
        "{words}"
    );

    bench.done(&[
        "balance",
        "rgb.toml",
        "--gains",
        "1.5,1,0.8",
        "-o",
        "hand.toml",
    ]);
    bench.refused(
        &["balance", "rgb.toml", "--gains", "1,1,0"],
        &["has 0", "each from 0.000001 to 1000000"],
    );
    bench.refused(
        &["balance", "rgb.toml", "--catalogue", "lantern-r.fits"],
        &["a FITS file", "CSV"],
    );
    bench.refused(
        &["balance", "rgb.toml", "--star", "9000,3"],
        &["no star within"],
    );
    fs::write(bench.at("none.csv"), "ra,dec,b-v\n").expect("written");
    bench.refused(
        &["balance", "rgb.toml", "--catalogue", "none.csv"],
        &["no stars"],
    );
    bench.refused(
        &[
            "balance",
            "lantern.toml",
            "--stars",
            "--rendition",
            "mapped",
        ],
        &["no channel of R", "gains as numbers"],
    );
}

/// Protects white balances by a patch: how sure the gains are goes into the
/// recipe and the record, and a patch of bare sky is refused.
#[test]
fn a_patch_tells_how_sure_its_gains_are() {
    let bench = Bench::new();
    bench.recipe("rgb.toml", "stars = \"broadband\"", "");
    // In the brightest part of the shell, which no star burns out.
    let patch = "400,300,5,5";
    let arguments = ["balance", "rgb.toml", "--patch", patch, "-o", "white.toml"];
    let json = bench.done(&[&arguments[..], &["--json"]].concat());
    let json: Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(json["balance"]["by"], "patch");
    for band in [0, 2] {
        let sigma = json["balance"]["uncertainty"][band]
            .as_f64()
            .expect("a number");
        let gain = json["balance"]["gains"][band].as_f64().expect("a number");
        assert!(sigma > 0.0 && sigma < 0.3 * gain, "{json}");
    }
    bench.done(&["compose", "white.toml", "-o", "white.png"]);
    let record = bench.record("white.png");
    let kept = &record["recipe"]["rendition"][0]["balance"]["uncertainty"];
    assert_eq!(*kept, json["balance"]["uncertainty"], "{record}");
    // A corner of bare sky.
    bench.refused(
        &["balance", "rgb.toml", "--patch", "790,480,60,60"],
        &["not surely brighter", "green", "blue", "larger patch"],
    );
}

/// Protects that cut-off stars go once the sky of their channel was evened or the
/// channel resampled, which moves what was full off the file's ceiling.
#[test]
fn cut_off_stars_go_from_channels_that_were_prepared() {
    let bench = Bench::new();
    // Cut off in R, where R's sky is a slope.
    let [x, y] = [752, 164];
    let brightest = |name: &str, prepared: &str, black: f64| {
        let recipe = format!(
            "recipe = 1\nreference = \"g\"\n\n[[channel]]\nid = \"r\"\nfile = \
             \"lantern-r.fits\"\nline = \"R\"\n{prepared}\nstretch = {{ black = {black}, white = \
             {} }}\n\n[[channel]]\nid = \"g\"\nfile = \"lantern-g.fits\"\nline = \"G\"\nstretch = \
             {{ black = 100, white = 1100 }}\n\n[[rendition]]\nid = \"n\"\nstars = \
             \"none\"\ncolors = {{ r = \"#ff0000\" }}\n",
            black + 1000.0
        );
        fs::write(bench.at(format!("{name}.toml")), recipe).expect("written");
        let out = format!("{name}.tif");
        bench.done(&["compose", &format!("{name}.toml"), "-o", &out]);
        let (pixels, size) = bench.pixels(&out);
        let near = (y - 12..=y + 12).flat_map(|y| (x - 12..=x + 12).map(move |x| [x, y]));
        near.map(|[x, y]| pixels[y * size.width + x][0])
            .fold(0.0, f64::max)
    };
    let stood = brightest("stood", "", 90.0);
    assert!(stood < 0.4, "{stood}");
    for (name, prepared, black) in [
        ("even", "level = { degree = 1 }", 90.0),
        ("zero", "level = { degree = 1, zero = true }", -50.0),
        (
            "moved",
            "align = { method = \"given\", matrix = [[1, 0, 0.4], [0, 1, 0.3], [0, 0, 1]] }",
            90.0,
        ),
    ] {
        let left = brightest(name, prepared, black);
        assert!(left < stood + 0.1, "{name}: {left}, as it stood {stood}");
    }
}
