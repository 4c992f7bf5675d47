//! Pictures about the picture: key, sheet and comparison as commands.
//!
//! Protects what a reader of these drawings relies on: that every line is in
//! the key with its wavelength, that words do not lie on each other, that
//! labels are there, that the composite itself is never touched, and that
//! what cannot be made is refused with a way out and leaves nothing behind.

#[path = "support/stacks.rs"]
mod stacks;

#[path = "about_pictures/words.rs"]
mod words;

use std::fs;
use std::io::BufReader;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use linehue::engine::leading::By;
use linehue::engine::recipe::{Ratio, text::parse};
use linehue::work::key::{self, Beneath, Onto, Place};
use linehue::work::{Control, Error, Progress, compare, leading, ratio, sheet};
use stacks::Bench;

struct Png {
    width: usize,
    height: usize,
    depth: png::BitDepth,
    rgb: Vec<u8>,
    profile: bool,
}

fn png(path: &Path) -> Png {
    let file = BufReader::new(fs::File::open(path).expect("the file is there"));
    let mut reader = png::Decoder::new(file).read_info().expect("a PNG");
    let profile = reader.info().icc_profile.is_some();
    let mut rgb = vec![0; reader.output_buffer_size().expect("a size")];
    let about = reader.next_frame(&mut rgb).expect("whole");
    assert_eq!(about.color_type, png::ColorType::Rgb);
    Png {
        width: about.width as usize,
        height: about.height as usize,
        depth: about.bit_depth,
        rgb,
        profile,
    }
}

fn svg_texts(text: &str) -> Vec<String> {
    let document = roxmltree::Document::parse(text).expect("well-formed XML");
    document
        .descendants()
        .filter(|node| node.has_tag_name("text"))
        .map(|node| node.text().unwrap_or_default().to_owned())
        .collect()
}

#[test]
fn a_key_names_every_line_with_its_wavelength_and_says_so_in_words() {
    let bench = Bench::new();
    let said = bench.run(0, &["key", "lantern.toml", "-o", "key.svg"]);
    assert!(said.out.starts_with("key.svg  1600 x "), "{}", said.out);
    let text = fs::read_to_string(bench.at("key.svg")).expect("a key");
    let texts = svg_texts(&text);
    for word in [
        "[O III]", "500.7 nm", "Hα", "656.3 nm", "[S II]", "672.4 nm", "mapped",
    ] {
        assert!(texts.iter().any(|text| text == word), "{word} in {texts:?}");
    }
    assert!(texts.iter().any(|text| text.contains("30 % from Hα")));
    let document = roxmltree::Document::parse(&text).expect("well-formed");
    let words = |tag: &str| {
        let root = document.root_element();
        let node = root.children().find(|node| node.has_tag_name(tag));
        node.and_then(|node| node.text()).unwrap_or_default()
    };
    assert!(words("title").ends_with("what the colours mean"));
    assert!(words("desc").contains("hydrogen-alpha (Hα, 656.3 nm) is shown green"));
    // Twice the same.
    bench.run(0, &["key", "lantern.toml", "-o", "again.svg"]);
    assert_eq!(
        text,
        fs::read_to_string(bench.at("again.svg")).expect("a key")
    );
}

#[test]
fn a_key_of_a_record_shows_the_rendition_that_was_composed() {
    let bench = Bench::new();
    let compose = [
        "compose",
        "lantern.toml",
        "-o",
        "l.png",
        "--rendition",
        "pair",
    ];
    bench.run(0, &compose);
    let key = ["key", "l.png.record.json", "-o", "key.svg"];
    let said = bench.run(0, &key);
    assert!(said.out.contains("rendition pair"), "{}", said.out);
    let texts = svg_texts(&fs::read_to_string(bench.at("key.svg")).expect("a key"));
    assert!(texts.iter().all(|text| text != "Hα"), "{texts:?}");
    let said = bench.run(
        0,
        &[
            "key",
            "l.png.record.json",
            "-o",
            "other.png",
            "--rendition",
            "mapped",
            "--width",
            "500",
        ],
    );
    assert!(said.out.contains("rendition mapped"), "{}", said.out);
    let png = png(&bench.at("other.png"));
    assert_eq!((png.width, png.depth), (500, png::BitDepth::Eight));
    assert!(png.profile, "tagged");
}

#[test]
fn dark_and_light_keys_differ_and_pdf_has_its_text_and_profile() {
    let bench = Bench::new();
    bench.run(0, &["key", "lantern.toml", "-o", "dark.png"]);
    bench.run(0, &["key", "lantern.toml", "-o", "light.png", "--light"]);
    let (dark, light) = (png(&bench.at("dark.png")), png(&bench.at("light.png")));
    assert_eq!((dark.width, dark.height), (light.width, light.height));
    assert!(dark.rgb[0] < 40 && light.rgb[0] > 240);
    bench.run(0, &["key", "lantern.toml", "-o", "key.pdf"]);
    let bytes = fs::read(bench.at("key.pdf")).expect("a PDF");
    let text = String::from_utf8_lossy(&bytes);
    for word in [
        "%PDF-1.7",
        "/ICCBased",
        "/FontFile2",
        "/ToUnicode",
        "/OutputIntents",
    ] {
        assert!(text.contains(word), "{word}");
    }
}

#[test]
fn hostile_titles_do_no_harm() {
    let title = "</text><script>alert(1)</script> & \"quotes\" ) Tj \u{202e}";
    let bench = Bench::new();
    let recipe = fs::read_to_string(bench.at("lantern.toml")).expect("a recipe");
    let mut recipe = parse(&recipe, "test").expect("sound");
    recipe.about.title = title.to_owned();
    recipe.about.credit = title.to_owned();
    let hostile = linehue::engine::recipe::text::write(&recipe).expect("text");
    bench.file("hostile.toml", hostile.as_bytes());
    bench.run(0, &["key", "hostile.toml", "-o", "key.svg"]);
    let text = fs::read_to_string(bench.at("key.svg")).expect("a key");
    let document = roxmltree::Document::parse(&text).expect("well-formed");
    assert!(
        document
            .descendants()
            .all(|node| !node.has_tag_name("script"))
    );
    assert!(!text.contains('\u{202e}'));
    for command in [
        &["key", "hostile.toml", "-o", "key.pdf"][..],
        &["sheet", "hostile.toml", "-o", "sheet.pdf"],
        &[
            "compare",
            "hostile.toml",
            "mapped",
            "pair",
            "-o",
            "both.pdf",
        ],
    ] {
        bench.run(0, command);
    }
}

// A composite that is large enough for a key.
fn large_composite(bench: &Bench, name: &str, more: &[&str]) {
    for (seed, file) in ["ha.fits", "oiii.fits", "sii.fits"].iter().enumerate() {
        let values = stacks::shell(700, 420, seed as u64 + 1);
        let filter = file.trim_end_matches(".fits").to_uppercase();
        let card = format!("FILTER  = '{filter}'");
        bench.file(file, &stacks::fits(700, 420, &values, &[&card]));
    }
    let mut arguments = vec!["compose", "lantern.toml", "-o", name];
    arguments.extend(more);
    bench.run(0, &arguments);
}

#[test]
fn a_key_goes_on_a_copy_and_the_composite_stays_as_it_was() {
    let bench = Bench::new();
    for (name, more) in [
        ("l.tif", &["--space", "display-p3"][..]),
        ("l.png", &["--depth", "8"]),
        ("l.jpg", &[]),
    ] {
        large_composite(&bench, name, more);
        let before = fs::read(bench.at(name)).expect("the composite");
        let record = format!("{name}.record.json");
        let corner = ["key", &record, "--onto", name, "-o", "corner.png"];
        bench.run(0, &corner);
        let png_of = |name: &str| png(&bench.at(name));
        let made = png_of("corner.png");
        assert_eq!((made.width, made.height), (700, 420), "{name}");
        let deep = name == "l.tif";
        assert_eq!(made.depth == png::BitDepth::Sixteen, deep, "{name}");
        let below = [
            "key",
            &record,
            "--onto",
            name,
            "-o",
            "below.png",
            "--place",
            "below",
        ];
        bench.run(0, &below);
        let longer = png_of("below.png");
        assert!(longer.width == 700 && longer.height > 600, "{name}");
        // Above the key every sample is the composite's.
        let row = made.rgb.len() / 420;
        let upper = 420 / 4 * row;
        assert_eq!(longer.rgb[..upper], made.rgb[..upper], "{name}");
        // In the corner it is the key's.
        let at = 400 * row + 60 * row / 700;
        assert_ne!(longer.rgb[at..at + 300], made.rgb[at..at + 300], "{name}");
        assert_eq!(
            fs::read(bench.at(name)).expect("still there"),
            before,
            "{name}"
        );
        bench.refused(
            &["key", &record, "--onto", name, "-o", name],
            &["one of the inputs", "another name"],
        );
    }
}

#[test]
fn a_sheet_shows_what_fits_and_says_why_the_rest_does_not() {
    let bench = Bench::new();
    let said = bench.run(
        0,
        &["sheet", "lantern.toml", "-o", "all.png", "--width", "900"],
    );
    assert!(said.out.contains("16 palettes: natural"), "{}", said.out);
    let all = png(&bench.at("all.png"));
    assert!(all.width <= 900 && all.height > 200 && all.profile);
    // Two lines only: what needs sulfur is left out, with the reason.
    let recipe = fs::read_to_string(bench.at("lantern.toml")).expect("a recipe");
    let parsed = parse(&recipe, "test").expect("sound");
    let mut pair = parsed.clone();
    pair.channels.retain(|channel| channel.id != "sii");
    pair.renditions.truncate(1);
    pair.renditions[0].colors.remove("sii");
    let text = linehue::engine::recipe::text::write(&pair).expect("text");
    bench.file("pair.toml", text.as_bytes());
    let said = bench.run(
        0,
        &["sheet", "pair.toml", "-o", "some.jpg", "--columns", "2"],
    );
    assert!(
        said.out.contains("left out SHO: no channel holds [S II]"),
        "{}",
        said.out
    );
    let own =
        "palette = 1\nname = \"ember & ice\"\n[colors]\nHa = \"#ff5020\"\nOIII = \"#40a0ff\"\n";
    fs::create_dir_all(bench.at("settings/linehue/palettes")).expect("a folder");
    bench.file("settings/linehue/palettes/own.toml", own.as_bytes());
    let said = bench.run(
        0,
        &[
            "sheet",
            "pair.toml",
            "-o",
            "own.pdf",
            "--palette",
            "Ember & Ice",
        ],
    );
    assert!(said.out.contains("1 palette: ember & ice"), "{}", said.out);
    bench.refused(
        &["sheet", "pair.toml", "-o", "x.png", "--palette", "sho"],
        &["no palette fits", "[S II]", "linehue palettes"],
    );
    bench.refused(
        &["sheet", "pair.toml", "-o", "x.png", "--palette", "lampwic"],
        &["no palette called", "lampwick"],
    );
    bench.refused(
        &[
            "sheet",
            "lantern.toml",
            "-o",
            "x.png",
            "--columns",
            "16",
            "--width",
            "320",
        ],
        &["too narrow", "--width"],
    );
}

#[test]
fn a_comparison_has_both_renditions_with_their_labels() {
    let bench = Bench::new();
    let compare = |out: &str, more: &[&str]| {
        let mut arguments = vec!["compare", "lantern.toml", "mapped", "pair", "-o", out];
        arguments.extend(more);
        bench.run(0, &arguments);
    };
    compare("both.png", &["--key"]);
    compare("upright.png", &["--split", "vertical"]);
    compare("slanted.png", &["--split", "diagonal"]);
    let both = png(&bench.at("both.png"));
    assert!(both.width > 400 && both.profile);
    let (upright, slanted) = (png(&bench.at("upright.png")), png(&bench.at("slanted.png")));
    assert_eq!(
        (upright.width, upright.height),
        (slanted.width, slanted.height)
    );
    assert!(both.height > upright.height, "keys stand below");
    assert_ne!(upright.rgb, slanted.rgb);
    // Labels: white letters in the upper left of a picture that has none.
    bench.run(
        0,
        &["compose", "lantern.toml", "-o", "l.png", "--depth", "8"],
    );
    let plain = png(&bench.at("l.png"));
    let margin = (upright.width - plain.width) / 2;
    let top = (0..upright.height).find(|y| {
        let at = 3 * (y * upright.width + upright.width / 3);
        upright.rgb[at..at + 60] == plain.rgb[3 * (upright.width / 3 - margin)..][..60]
    });
    let whites = |png: &Png, rows: std::ops::Range<usize>| {
        let row = 3 * png.width;
        png.rgb[rows.start * row..rows.end * row]
            .chunks_exact(3)
            .filter(|pixel| pixel.iter().all(|code| *code > 240))
            .count()
    };
    let top = top.expect("the picture is in it as it is composed");
    assert!(whites(&upright, top + 2..top + 40) > whites(&plain, 0..38) + 60);
}

#[test]
fn what_cannot_be_compared_or_drawn_is_refused() {
    let bench = Bench::new();
    for (arguments, words) in [
        (
            &["compare", "lantern.toml", "mapped", "none", "-o", "x.png"][..],
            &["`none`", "mapped, pair"][..],
        ),
        (
            &["compare", "lantern.toml", "mapped", "mapped", "-o", "x.png"],
            &["twice"],
        ),
        (
            &["compare", "lantern.toml", "mapped", "pair", "-o", "x.tif"],
            &["`.tif`", ".png"],
        ),
        (
            &[
                "compare",
                "lantern.toml",
                "mapped",
                "pair",
                "-o",
                "no/x.png",
            ],
            &["no/x.png"],
        ),
        (
            &["key", "lantern.toml", "-o", "key.gif"],
            &["`.gif`", ".svg"],
        ),
        (&["key", "lantern.toml", "-o", "key"], &["no ending"]),
        (
            &["key", "lantern.toml", "-o", "lantern.toml"],
            &["one of the inputs"],
        ),
        (
            &["key", "lantern.toml", "-o", "k.svg", "--rendition", "x"],
            &["`x`", "mapped"],
        ),
        (&["key", "absent.toml", "-o", "k.svg"], &["absent.toml"]),
        (&["key", "ha.fits", "-o", "k.svg"], &["ha.fits"]),
        (
            &["key", "lantern.toml", "--onto", "ha.fits", "-o", "k.png"],
            &["finished pictures", "PNG"],
        ),
        (
            &["key", "lantern.toml", "--onto", "absent.png", "-o", "k.png"],
            &["absent.png"],
        ),
    ] {
        bench.refused(arguments, words);
    }
    // A picture that is too small, one with another's profile, a broken one.
    bench.run(0, &["compose", "lantern.toml", "-o", "small.png"]);
    bench.refused(
        &["key", "lantern.toml", "--onto", "small.png", "-o", "k.png"],
        &["too small", "by itself"],
    );
    bench.file("broken.jpg", &[0xff, 0xd8, 0xff, 0xe0, 0, 4]);
    bench.refused(
        &["key", "lantern.toml", "--onto", "broken.jpg", "-o", "k.png"],
        &["broken.jpg"],
    );
    let mut foreign = Vec::new();
    let mut info = png::Info::with_size(700, 420);
    info.color_type = png::ColorType::Rgb;
    info.icc_profile = Some(b"of another kind"[..].into());
    let mut writer = png::Encoder::with_info(&mut foreign, info)
        .expect("an encoder")
        .write_header()
        .expect("a header");
    writer
        .write_image_data(&vec![9; 700 * 420 * 3])
        .expect("a picture");
    writer.finish().expect("whole");
    bench.file("foreign.png", &foreign);
    bench.refused(
        &[
            "key",
            "lantern.toml",
            "--onto",
            "foreign.png",
            "-o",
            "k.png",
        ],
        &["colour profile", "sRGB"],
    );
    for usage in [
        &["key", "lantern.toml", "-o", "k.png", "--width", "10"][..],
        &["key", "lantern.toml", "-o", "k.png", "--place", "below"],
        &["compare", "lantern.toml", "mapped", "-o", "x.png"],
        &["sheet", "lantern.toml", "-o", "x.png", "--columns", "0"],
    ] {
        bench.run(2, usage);
    }
}

#[test]
fn a_record_is_enough_for_a_key_and_a_changed_composite_is_told() {
    let bench = Bench::new();
    large_composite(&bench, "l.png", &[]);
    let key = [
        "key",
        "l.png.record.json",
        "--onto",
        "l.png",
        "-o",
        "with.png",
    ];
    let said = bench.run(0, &key);
    assert!(!said.err.contains("was changed"), "{}", said.err);
    // Composed anew in other colours, under the old record.
    let record = fs::read(bench.at("l.png.record.json")).expect("a record");
    bench.run(
        0,
        &[
            "compose",
            "lantern.toml",
            "-o",
            "l.png",
            "--rendition",
            "pair",
        ],
    );
    bench.file("l.png.record.json", &record);
    let said = bench.run(0, &key);
    assert!(
        said.err.contains("l.png was changed after its record"),
        "{}",
        said.err
    );
    // Without the composite the record still tells the key, not where to lay it.
    fs::remove_file(bench.at("l.png")).expect("gone");
    bench.run(0, &["key", "l.png.record.json", "-o", "alone.png"]);
    bench.refused(&key, &["l.png", "No such file"]);
    bench.refused(
        &["key", "absent.record.json", "-o", "k.png"],
        &["absent.record.json"],
    );
}

#[test]
fn a_composite_with_its_record_is_never_replaced() {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", "l.png"]);
    bench.run(0, &["compose", "lantern.toml", "-o", "other.png"]);
    let before = fs::read(bench.at("l.png")).expect("the composite");
    for arguments in [
        &["key", "lantern.toml", "-o", "l.png"][..],
        &["key", "other.png.record.json", "-o", "l.png"],
        &["sheet", "lantern.toml", "-o", "l.png"],
        &["compare", "lantern.toml", "mapped", "pair", "-o", "l.png"],
    ] {
        bench.refused(arguments, &["l.png.record.json", "another name"]);
    }
    assert_eq!(fs::read(bench.at("l.png")).expect("still there"), before);
    // So is a map of ratios; the map itself may be made anew.
    bench.run(0, &["ratio", "lantern.toml", "sii/ha", "-o", "r.png"]);
    for arguments in [
        &["compose", "lantern.toml", "-o", "r.png"][..],
        &["key", "lantern.toml", "-o", "r.png"],
        &["sheet", "lantern.toml", "-o", "r.png"],
        &["leading", "lantern.toml", "-o", "r.png"],
    ] {
        bench.refused(arguments, &["r.png.ratio.json", "another name"]);
    }
    bench.run(0, &["ratio", "lantern.toml", "sii/ha", "-o", "r.png"]);
}

// Stops a job at the first step that has these words.
struct StopAt(&'static str, AtomicBool);

impl Progress for StopAt {
    fn report(&self, step: &str, _: u64, _: u64) {
        if step.contains(self.0) {
            self.1.store(true, Ordering::Relaxed);
        }
    }
}

#[test]
fn what_is_stopped_leaves_the_old_file_and_nothing_else() {
    let bench = Bench::new();
    bench.file("old.png", b"what was there");
    let before = stacks::listing(bench.folder.path());
    let subject = || key::read(&bench.at("lantern.toml")).expect("a recipe");
    let out = bench.at("old.png");
    let stopped = |at: &'static str, job: &dyn Fn(Control<'_>) -> Option<Error>| {
        let stop = StopAt(at, AtomicBool::new(false));
        let control = Control {
            progress: &stop,
            cancel: &stop.1,
        };
        let error = job(control);
        assert!(matches!(error, Some(Error::Cancelled)), "{at}: {error:?}");
        assert_eq!(stacks::listing(bench.folder.path()), before, "{at}");
        assert_eq!(fs::read(&out).expect("there"), b"what was there");
    };
    let sheet = sheet::Request {
        subject: subject(),
        out: out.clone(),
        palettes: Vec::new(),
        columns: None,
        width: 800,
        light: false,
    };
    stopped("reading channels", &|control| {
        sheet::run(&sheet, control).err()
    });
    let comparison = compare::Request {
        subject: subject(),
        renditions: vec!["mapped".to_owned(), "pair".to_owned()],
        out: out.clone(),
        split: None,
        key: true,
        width: 800,
        light: false,
    };
    stopped("reading channels", &|control| {
        compare::run(&comparison, control).err()
    });
    let recipe = || parse(stacks::RECIPE, "lantern.toml").expect("sound");
    let leading = leading::Request {
        recipe: recipe(),
        folder: bench.folder.path().to_owned(),
        rendition: None,
        out: out.clone(),
        by: By::Shown,
    };
    stopped("comparing lines", &|control| {
        leading::run(&leading, control).err()
    });
    let [over, under] = [0, 1].map(|index: usize| recipe().channels[index].id.clone());
    let ratio = ratio::Request {
        recipe: recipe(),
        folder: bench.folder.path().to_owned(),
        file: None,
        ratio: Ratio {
            bin: 2,
            ..Ratio::of("", &over, &under)
        },
        out: out.clone(),
    };
    for at in ["noise", "taking ratios", "painting"] {
        stopped(at, &|control| ratio::run(&ratio, control).err());
    }
    let key = key::Request {
        subject: subject(),
        rendition: None,
        out: out.clone(),
        width: 800,
        light: false,
        onto: Some(Onto {
            beneath: Beneath::Rendition { long_edge: 800 },
            place: Place::Below,
        }),
    };
    stopped("reading channels", &|control| key::run(&key, control).err());
}

#[test]
fn letters_on_a_page_can_be_read() {
    // The box of a page as the file has it, points.
    let page = |path: &Path| {
        let bytes = fs::read(path).expect("a PDF");
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let numbers = text.split("/MediaBox [").nth(1).expect("a box");
        let numbers = numbers.split(']').next().expect("closed");
        let numbers: Vec<f64> = numbers.split(' ').filter_map(|n| n.parse().ok()).collect();
        [numbers[2], numbers[3]]
    };
    let bench = Bench::new();
    bench.run(
        0,
        &["key", "lantern.toml", "-o", "key.pdf", "--width", "320"],
    );
    // Its smallest letters are 11.5 of 960 units high, and have 5.5 points.
    let [width, _] = page(&bench.at("key.pdf"));
    assert!((width - 960.0 * 5.5 / 11.5).abs() < 0.1, "{width}");
    // A wide one has 300 pixels to the inch.
    bench.run(
        0,
        &["key", "lantern.toml", "-o", "key.pdf", "--width", "9600"],
    );
    assert_eq!(page(&bench.at("key.pdf"))[0], 9600.0 * 72.0 / 300.0);
}

#[test]
fn drawings_say_whose_the_picture_is() {
    let bench = Bench::new();
    let text = stacks::RECIPE.replace(
        "[about]\n",
        "[about]\ncreator = \"Lantern Club\"\nrights = \"Free to share\"\n",
    );
    bench.file("ours.toml", text.as_bytes());
    bench.run(0, &["key", "ours.toml", "-o", "key.png"]);
    bench.run(0, &["sheet", "ours.toml", "-o", "sheet.jpg"]);
    for name in ["key.png", "sheet.jpg"] {
        let bytes = fs::read(bench.at(name)).expect("a picture");
        let text = String::from_utf8_lossy(&bytes);
        assert!(text.contains("<rdf:li>Lantern Club</rdf:li>"), "{name}");
        assert!(text.contains("Free to share"), "{name}");
    }
}
