//! Pages to hand on, as commands make them.
//!
//! Protects those who open one: that it is whole by itself and asks no network
//! for anything, that no name in a header or recipe becomes markup, that
//! pictures carry their profile and records come out as they went in, that
//! mapped is called mapped; and those who make one: nothing of theirs is
//! replaced, nothing is left half-written. `browser` opens pages in Chromium.

#[path = "support/stacks.rs"]
mod stacks;

#[path = "page/browser.rs"]
mod browser;

#[path = "page/support.rs"]
mod support;

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use linehue::engine::color::space::Space;
use linehue::engine::recipe::text::parse;
use linehue::io::write::icc;
use linehue::io::write::{Format, Options};
use linehue::work::key::Subject;
use linehue::work::page::{self, LONG_EDGE, Request, Source};
use linehue::work::{Control, Error, Progress};
use stacks::{Bench, HEIGHT, RECIPE, WIDTH, listing};
use support::{attributes, decoded, jpeg, jpeg_file, plain, sample, within};

fn text(path: &Path) -> String {
    fs::read_to_string(path).expect("the page is there")
}

fn composed() -> Bench {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", "a.tif"]);
    bench
}

// Without the stacks: as on another machine.
fn alone(bench: &Bench) {
    for name in ["ha.fits", "oiii.fits", "sii.fits"] {
        fs::remove_file(bench.at(name)).expect("removed");
    }
}

#[test]
fn a_folder_holds_everything_that_it_names() {
    let bench = composed();
    let said = bench.run(
        0,
        &["page", "a.tif.record.json", "-o", "out", "--with-composite"],
    );
    assert!(
        said.out.starts_with("out  mapped and pair, "),
        "{}",
        said.out
    );
    let page = text(&bench.at("out/index.html"));
    let mut links = attributes(&page, "src");
    links.extend(attributes(&page, "href"));
    assert_eq!(links.len(), 4, "{links:?}");
    for link in &links {
        assert!(bench.at("out").join(decoded(link)).is_file(), "{link}");
    }
    for (file, own) in [("a.tif.record.json", "record"), ("a.tif", "composite")] {
        let there = bench.at(&format!("out/files/mapped/{file}"));
        let same = fs::read(there).expect("there") == fs::read(bench.at(file)).expect("there");
        assert!(same, "the {own} comes out as it went in");
    }
    for id in ["mapped", "pair"] {
        let picture = jpeg_file(&bench.at(&format!("out/{id}.jpg")));
        assert_eq!(picture.size, (WIDTH, HEIGHT));
        assert_eq!(picture.profile, icc::profile(Space::Srgb, false));
    }
    // The list has every file, and no other lies there.
    let list: serde_json::Value =
        serde_json::from_str(&text(&bench.at("out/page.json"))).expect("JSON");
    let mut listed: Vec<String> = list["files"]
        .as_array()
        .expect("files")
        .iter()
        .map(|file| file["path"].as_str().expect("a path").to_owned())
        .collect();
    listed.push("page.json".to_owned());
    listed.sort();
    let mut there: Vec<String> = walk(&bench.at("out"), "");
    there.sort();
    assert_eq!(there, listed);
}

fn walk(folder: &Path, before: &str) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder");
    entries
        .flat_map(|entry| {
            let entry = entry.expect("an entry");
            let name = format!("{before}{}", entry.file_name().to_string_lossy());
            match entry.path().is_dir() {
                true => walk(&entry.path(), &format!("{name}/")),
                false => vec![name],
            }
        })
        .collect()
}

#[test]
fn one_file_holds_it_all() {
    let bench = composed();
    let arguments = [
        "page",
        "a.tif.record.json",
        "-o",
        "out.html",
        "--with-composite",
    ];
    bench.run(0, &arguments);
    let page = text(&bench.at("out.html"));
    let pictures = attributes(&page, "src");
    assert_eq!(pictures.len(), 2);
    for picture in &pictures {
        let picture = jpeg(&within(picture, "image/jpeg"));
        assert_eq!(picture.size, (WIDTH, HEIGHT));
        assert_eq!(picture.profile, icc::profile(Space::Srgb, false));
    }
    let files = attributes(&page, "href");
    let record = within(&files[0], "application/json");
    assert_eq!(
        record,
        fs::read(bench.at("a.tif.record.json")).expect("there")
    );
    let composite = within(&files[1], "image/tiff");
    assert_eq!(composite, fs::read(bench.at("a.tif")).expect("there"));
    assert_eq!(
        attributes(&page, "download"),
        ["a.tif.record.json", "a.tif"]
    );
    // The same record gives the same page, byte for byte.
    bench.run(
        0,
        &[
            "page",
            "a.tif.record.json",
            "-o",
            "again.html",
            "--with-composite",
        ],
    );
    assert!(text(&bench.at("again.html")) == page);
}

#[test]
fn no_network_is_asked_for_anything() {
    let bench = composed();
    bench.run(0, &["page", "a.tif.record.json", "-o", "out"]);
    let page = text(&bench.at("out/index.html"));
    for word in [
        "http:", "https:", "//cdn", "@import", "url(//", "<link", "<iframe",
    ] {
        assert!(!page.contains(word), "{word}");
    }
    let policy = attributes(&page, "content")
        .into_iter()
        .find(|content| content.starts_with("default-src"))
        .expect("a policy");
    assert!(policy.starts_with("default-src 'none'; img-src 'self'; style-src 'sha256-"));
    assert!(!policy.contains("unsafe"), "{policy}");
    assert!(page.starts_with("<!doctype html>\n<html lang=\"en\">"));
}

#[test]
fn what_the_colours_are_is_said_plainly() {
    let bench = composed();
    bench.run(0, &["page", "a.tif.record.json", "-o", "out"]);
    let page = text(&bench.at("out/index.html"));
    let said = "Mapped colour: chosen to tell the lines apart, not what an eye would see. \
        Natural colour: each light in its own hue.";
    assert!(page.contains(said));
    let record = linehue::io::record::read(&bench.at("a.tif.record.json")).expect("a record");
    for paragraph in record.caption.long.split("\n\n") {
        assert!(plain(&page).contains(paragraph), "{paragraph}");
    }
    let alts = attributes(&page, "alt");
    assert_eq!(alts[0], record.caption.alt);
    assert!(alts[1].contains("Natural colour"), "{}", alts[1]);
    // Wavelength, width, what else comes through, exposure: 12000 s each.
    for words in [
        "656.3 nm",
        "5 nm",
        "[N II]",
        "3 h 20 m",
        "gives brightness",
        "Total exposure: <strong>10 h</strong>",
        "<dt>Object</dt><dd>Lantern Shell</dd>",
    ] {
        assert!(page.contains(words), "{words}");
    }
    // The key's words are text.
    assert!(page.contains(">500.7 nm</text>"));
}

const HOSTILE: &str = "</title><script>alert(1)</script>\"'><img src=x onerror=alert(2)>";

// A field whose header and recipe try to become markup.
fn hostile() -> Bench {
    let bench = Bench::new();
    let cards = [
        "FILTER  = 'Ha      '",
        "OBJECT  = '</title><script>alert(3)</script>'",
        "TELESCOP= '\"><svg onload=alert(4)>'",
        "INSTRUME= 'x'' onmouseover=''alert(5)'",
        "EXPTIME =              12000.0",
    ];
    let values = stacks::shell(WIDTH, HEIGHT, 1);
    bench.file("ha.fits", &stacks::fits(WIDTH, HEIGHT, &values, &cards));
    let quoted = |text: &str| format!("'''{}'''", text.replace("'>", ">"));
    let recipe = RECIPE
        .replace("\"Lantern Shell in three lines\"", &quoted(HOSTILE))
        .replace(
            "object = \"Lantern Shell\"",
            &format!("creator = {0}\ncredit = {0}\nrights = {0}", quoted(HOSTILE)),
        );
    bench.file("lantern.toml", recipe.as_bytes());
    let name = "a'\"<b>&#%?.tif";
    bench.run(0, &["compose", "lantern.toml", "-o", name]);
    let record = format!("{name}.record.json");
    bench.run(0, &["page", &record, "-o", "out", "--with-composite"]);
    bench.run(0, &["page", &record, "-o", "out.html"]);
    bench
}

#[test]
fn names_never_become_markup() {
    let bench = hostile();
    for file in ["out/index.html", "out.html"] {
        let page = text(&bench.at(file));
        for (word, times) in [
            ("<script", 1),
            ("</script", 1),
            ("<title", 7),
            ("<img", 2),
            ("onerror", 0),
            ("<svg onload", 0),
            ("<b>", 0),
        ] {
            // As words they are there, escaped.
            let found = page.matches(word).count();
            match word {
                "onerror" => assert!(!page.contains("<img src=x"), "{file}"),
                "<title" => assert!(found >= 1),
                _ => assert_eq!(found, times, "{word} in {file}"),
            }
        }
        assert!(plain(&page).contains("alert(4)"), "it is shown as words");
    }
    let page = text(&bench.at("out/index.html"));
    for link in attributes(&page, "href") {
        assert!(
            link.starts_with("files/mapped/a%27%22%3Cb%3E%26%23%25%3F.tif"),
            "{link}"
        );
        assert!(bench.at("out").join(decoded(&link)).is_file(), "{link}");
    }
    let list: serde_json::Value =
        serde_json::from_str(&text(&bench.at("out/page.json"))).expect("JSON");
    assert!(
        list["title"]
            .as_str()
            .expect("a title")
            .contains("<script>")
    );
}

#[test]
fn a_record_that_was_edited_can_not_reach_for_other_files_or_addresses() {
    let bench = composed();
    bench.file("secret.txt", b"mine");
    let own = text(&bench.at("a.tif.record.json"));
    let mut json: serde_json::Value = serde_json::from_str(&own).expect("JSON");
    json["composite"]["file"] = "../secret.txt".into();
    bench.file("evil.record.json", json.to_string().as_bytes());
    let arguments = ["page", "evil.record.json", "-o", "out", "--with-composite"];
    bench.refused(&arguments, &["names a composite in another folder"]);
    json["composite"]["file"] = "secret.txt".into();
    json["assignments"][0]["css"] = "url(https://lantern.example/x)".into();
    json["assignments"][0]["shown"]["color_name"] = "<script>".into();
    bench.file("evil.record.json", json.to_string().as_bytes());
    bench.refused(
        &arguments,
        &["secret.txt changed since its record was made"],
    );
    bench.run(0, &["page", "evil.record.json", "-o", "out"]);
    let page = text(&bench.at("out/index.html"));
    assert!(!page.contains("lantern.example") && page.matches("<script").count() == 1);
}

#[test]
fn pictures_are_those_of_compose_at_the_size_asked_for() {
    let bench = Bench::new();
    sample(bench.folder.path());
    bench.run(
        0,
        &["page", "lantern.toml", "-o", "out", "--long-edge", "400"],
    );
    bench.run(
        0,
        &[
            "compose",
            "lantern.toml",
            "-o",
            "a.jpg",
            "--long-edge",
            "400",
        ],
    );
    let (own, other) = (
        jpeg_file(&bench.at("out/mapped.jpg")),
        jpeg_file(&bench.at("a.jpg")),
    );
    assert_eq!(own.size, (400, 267));
    assert!(own.rgb == other.rgb);
    // A page of a recipe brings records of its own pictures, which hold.
    bench.run(0, &["verify", "out/mapped.jpg.record.json"]);
    bench.run(0, &["verify", "out/natural.jpg.record.json"]);
    let page = text(&bench.at("out/index.html"));
    let records = ["mapped.jpg.record.json", "natural.jpg.record.json"];
    assert_eq!(attributes(&page, "href"), records);
    // In one file too a record tells where the inputs are from there.
    bench.run(
        0,
        &["page", "lantern.toml", "-o", "one.html", "--format", "png"],
    );
    let page = text(&bench.at("one.html"));
    let record = within(&attributes(&page, "href")[0], "application/json");
    let record: serde_json::Value = serde_json::from_slice(&record).expect("JSON");
    assert_eq!(record["inputs"][0]["file"], "lantern-sii.fits");
    assert!(within(&attributes(&page, "src")[0], "image/png").starts_with(b"\x89PNG"));
}

#[test]
fn without_inputs_the_composites_are_taken() {
    let bench = composed();
    bench.run(
        0,
        &[
            "compose",
            "lantern.toml",
            "-o",
            "b.jpg",
            "--rendition",
            "pair",
        ],
    );
    alone(&bench);
    let said = bench.run(
        0,
        &[
            "page",
            "a.tif.record.json",
            "b.jpg.record.json",
            "-o",
            "both",
        ],
    );
    assert!(
        said.err.contains("mapped is taken from its composite"),
        "{}",
        said.err
    );
    let page = text(&bench.at("both/index.html"));
    assert!(page.contains("Mapped colour: a copy of the composite"));
    assert!(page.contains("id=\"edge\""));
    // A JPEG that is small enough goes along as it is, not coded twice.
    let same = fs::read(bench.at("both/pair.jpg")).expect("there");
    assert!(same == fs::read(bench.at("b.jpg")).expect("there"));
    // One alone: the page says so and has no comparison.
    let said = bench.run(0, &["page", "a.tif.record.json", "-o", "one"]);
    assert!(said.err.contains("without a comparison"), "{}", said.err);
    let page = text(&bench.at("one/index.html"));
    assert!(page.contains("This page shows one rendition, without a comparison: pair could not"));
    assert!(!page.contains("<script") && !page.contains("<input") && !page.contains("script-src"));
    // Nothing at hand: refused, with a way out.
    fs::remove_file(bench.at("a.tif")).expect("removed");
    let words = ["neither the inputs nor", "--inputs"];
    bench.refused(&["page", "a.tif.record.json", "-o", "none"], &words);
}

#[test]
fn inputs_that_moved_are_found_and_changed_ones_are_not_passed_off() {
    let bench = composed();
    fs::create_dir(bench.at("archive")).expect("made");
    for name in ["ha.fits", "oiii.fits", "sii.fits"] {
        fs::rename(bench.at(name), bench.at("archive").join(name)).expect("moved");
    }
    let arguments = [
        "page",
        "a.tif.record.json",
        "-o",
        "out",
        "--inputs",
        "archive",
    ];
    let said = bench.run(0, &arguments);
    assert!(!said.err.contains("taken from"), "{}", said.err);
    bench.file("archive/ha.fits", &stacks::stack("Ha", 9));
    let said = bench.run(0, &arguments);
    let words = "the input of the channel ha changed since the record was made";
    assert!(said.err.contains(words), "{}", said.err);
    assert!(text(&bench.at("out/index.html")).contains("a copy of the composite"));
}

#[test]
fn other_spaces_keep_their_profile() {
    let bench = Bench::new();
    let arguments = [
        "compose",
        "lantern.toml",
        "-o",
        "a.tif",
        "--space",
        "display-p3",
    ];
    bench.run(0, &arguments);
    bench.run(0, &["page", "a.tif.record.json", "-o", "out"]);
    let profile = icc::profile(Space::DisplayP3, false);
    assert_eq!(jpeg_file(&bench.at("out/mapped.jpg")).profile, profile);
    let with_inputs = jpeg_file(&bench.at("out/mapped.jpg")).rgb;
    alone(&bench);
    bench.run(0, &["page", "a.tif.record.json", "-o", "out"]);
    let taken = jpeg_file(&bench.at("out/mapped.jpg"));
    assert_eq!(taken.profile, profile);
    // The same pixels at the same size: what coding as JPEG leaves of them.
    let apart = with_inputs
        .iter()
        .zip(&taken.rgb)
        .map(|(a, b)| a.abs_diff(*b));
    assert!(apart.max() <= Some(2));
}

#[test]
fn what_cannot_be_is_refused_and_leaves_everything_as_it_was() {
    let bench = composed();
    let record = "a.tif.record.json";
    bench.refused(&["page", record, "-o", "."], &["the folder you are in"]);
    bench.refused(&["page", record, "-o", "no/such"], &["does not exist"]);
    bench.refused(&["page", record, "-o", "ha.fits"], &["is a file"]);
    bench.refused(
        &["page", record, "-o", "x.html", "--rendition", "no"],
        &["mapped, pair"],
    );
    let twice = [
        "page",
        record,
        "-o",
        "x",
        "--rendition",
        "pair",
        "--rendition",
        "pair",
    ];
    bench.refused(&twice, &["named twice"]);
    bench.refused(
        &["page", record, record, "-o", "x"],
        &["both records are of"],
    );
    bench.refused(
        &["page", record, record, record, "-o", "x"],
        &["two renditions at most"],
    );
    bench.refused(
        &["page", "lantern.toml", "-o", "x", "--with-composite"],
        &["compose it first"],
    );
    bench.refused(&["page", "ha.fits", "-o", "x"], &["not a recipe"]);
    bench.run(2, &["page", record, "-o", "x", "--long-edge", "3"]);
    fs::create_dir(bench.at("photos")).expect("made");
    bench.file("photos/index.html", b"mine");
    bench.refused(
        &["page", record, "-o", "photos"],
        &["no page that Linehue made"],
    );
    // Another field's record.
    let other = RECIPE.replace("line = \"SII\"", "line = \"NII\"");
    bench.file("other.toml", other.as_bytes());
    bench.run(
        0,
        &[
            "compose",
            "other.toml",
            "-o",
            "b.tif",
            "--rendition",
            "pair",
        ],
    );
    let both = ["page", record, "b.tif.record.json", "-o", "x"];
    bench.refused(&both, &["not records of one recipe"]);
}

#[test]
fn words_of_ones_own() {
    let bench = composed();
    let english = bench.run(0, &["caption", "--print-template"]).out;
    let own = english.replace("language = \"en\"", "language = \"x-lantern\"");
    assert!(own != english);
    bench.file("own.toml", own.as_bytes());
    bench.run(
        0,
        &[
            "page",
            "a.tif.record.json",
            "-o",
            "out",
            "--template",
            "own.toml",
        ],
    );
    let page = text(&bench.at("out/index.html"));
    assert!(attributes(&page, "lang").contains(&"x-lantern".to_owned()));
}

// Asks to stop when it is told of something for the n-th time.
struct StopAt(usize, AtomicUsize, AtomicBool);

impl Progress for StopAt {
    fn report(&self, _: &str, _: u64, _: u64) {
        if self.1.fetch_add(1, Ordering::Relaxed) == self.0 {
            self.2.store(true, Ordering::Relaxed);
        }
    }
}

#[test]
fn a_page_that_is_stopped_leaves_the_old_one() {
    let bench = Bench::new();
    bench.run(0, &["page", "lantern.toml", "-o", "out"]);
    let before = (
        listing(bench.folder.path()),
        text(&bench.at("out/index.html")),
    );
    let request = Request {
        source: Source::Recipe(Box::new(Subject::of(
            parse(RECIPE, "test").expect("sound"),
            bench.folder.path().to_owned(),
            None,
        ))),
        renditions: Vec::new(),
        out: bench.at("out"),
        long_edge: LONG_EDGE,
        format: Format::Jpeg,
        options: Options::default(),
        with_composite: false,
        template: None,
    };
    let mut stopped = 0;
    for at in 0..100 {
        let stop = StopAt(at, AtomicUsize::new(0), AtomicBool::new(false));
        let control = Control {
            progress: &stop,
            cancel: &stop.2,
        };
        match page::run(&request, control) {
            Err(Error::Cancelled) => stopped += 1,
            Ok(_) => break,
            Err(error) => panic!("{error}"),
        }
        let now = (
            listing(bench.folder.path()),
            text(&bench.at("out/index.html")),
        );
        assert!(now == before, "stopped at {at}");
    }
    assert!(stopped >= 2, "stopped {stopped} times");
}

/// A record that is named by a path from elsewhere still finds its inputs.
#[test]
fn a_record_in_another_folder_finds_its_inputs() {
    let bench = Bench::new();
    fs::create_dir(bench.at("out")).expect("a folder");
    bench.run(0, &["compose", "lantern.toml", "-o", "out/a.png"]);
    let said = bench.run(
        0,
        &[
            "page",
            "out/a.png.record.json",
            "--rendition",
            "mapped",
            "--rendition",
            "pair",
            "-o",
            "p",
        ],
    );
    assert!(!said.err.contains("could not be composed"), "{}", said.err);
    let listed = listing(&bench.at("p"));
    let has = |name: &str| listed.iter().any(|(own, _)| own.contains(name));
    assert!(has("mapped.jpg") && has("pair.jpg"), "{listed:?}");
    // Without its composite it is made from them.
    fs::remove_file(bench.at("out/a.png")).expect("was there");
    bench.run(0, &["page", "out/a.png.record.json", "-o", "q.html"]);
}
