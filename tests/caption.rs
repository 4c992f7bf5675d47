//! The words under a picture: true, whole, and harmless.
//!
//! Protects what a reader trusts: every number and every colour word comes from
//! the record, mapped colour is never passed off as natural, and no header can
//! smuggle markup into a page.

#[path = "support/stacks.rs"]
mod stacks;

use std::collections::BTreeMap;
use std::fs;

use linehue::engine::caption::{Caption, Format, Seen, facts::Kind, template::ENGLISH_TEXT, write};
use linehue::engine::color::space::Space;
use linehue::engine::lines;
use linehue::engine::mix::assign::natural_color;
use linehue::engine::recipe::{self, Recipe, ShowStars};
use linehue::io::record::{self, Composite, Input, Record, Software};
use linehue::work::{caption, describe};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use stacks::{Bench, HEIGHT, WIDTH, fits, shell, stack};

fn composed() -> Bench {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", "a.tif"]);
    bench
}

fn words(bench: &Bench, more: &[&str]) -> String {
    let arguments = [&["caption", "a.tif.record.json"], more].concat();
    let said = bench.run(0, &arguments).out;
    said.strip_suffix('\n').expect("a line").to_owned()
}

// ---- The command ----

#[test]
fn the_command_says_what_record_and_tags_say() {
    let bench = composed();
    let record = record::read(&bench.at("a.tif.record.json")).expect("a record");
    let Caption { short, long, alt } = &record.caption;
    assert_eq!(&words(&bench, &[]), long);
    assert_eq!(&words(&bench, &["--length", "short"]), short);
    assert_eq!(&words(&bench, &["--length", "alt"]), alt);
    assert!(
        short.starts_with("Lantern Shell in three lines. Mapped colour"),
        "{short}"
    );
    assert!(
        long.contains("(Hα, 656.3 nm, filter 5 nm wide, which also passes [N II])"),
        "{long}"
    );
    assert!(
        long.contains("The brightness comes in part from hydrogen-alpha."),
        "{long}"
    );
    assert!(long.contains("Exposure: 10 h:"), "{long}");
    assert!(
        alt.contains("from three filters") && alt.contains("The picture is "),
        "{alt}"
    );
    let json: serde_json::Value =
        serde_json::from_str(&words(&bench, &["--json", "--format", "html"])).expect("JSON");
    assert_eq!(json["short"], Format::Html.write(short, "en"));
    assert_eq!(
        (&json["language"], &json["format"]),
        (&"en".into(), &"html".into())
    );
    // The composite's own tags hold the same words.
    let bytes = fs::read(bench.at("a.tif")).expect("the composite");
    let holds = |text: &str| {
        let text = text.replace('\'', "&apos;");
        bytes
            .windows(text.len())
            .any(|part| part == text.as_bytes())
    };
    assert!(holds(short) && holds(long) && holds(alt));
}

#[test]
fn a_record_of_earlier_builds_has_words_too() {
    let bench = composed();
    let path = bench.at("a.tif.record.json");
    let mut json: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(&path).expect("text")).expect("JSON");
    let new = words(&bench, &["--length", "short"]);
    json.as_object_mut().expect("an object").remove("seen");
    for entry in json["assignments"].as_array_mut().expect("a list") {
        entry.as_object_mut().expect("an object").remove("shown");
    }
    fs::write(&path, json.to_string()).expect("written");
    assert_eq!(words(&bench, &["--length", "short"]), new);
    assert!(!words(&bench, &["--length", "alt"]).contains("The picture is"));
}

#[test]
fn templates_of_ones_own() {
    let bench = composed();
    assert_eq!(
        bench.run(0, &["caption", "--print-template"]).out,
        ENGLISH_TEXT
    );
    let own = ENGLISH_TEXT
        .replacen("Natural colour", "Farben der Natur", 1)
        .replacen(
            "long = '''",
            "long = '''{each lines}{name|capital}: {center} nm. {end}\n\n",
            1,
        );
    bench.file("own.toml", own.as_bytes());
    let long = words(&bench, &["--template", "own.toml", "--format", "markdown"]);
    assert!(
        long.starts_with("Hydrogen-alpha: 656.3 nm. Doubly ionised oxygen: 500.7 nm."),
        "{long}"
    );
    bench.file(
        "bad.toml",
        ENGLISH_TEXT.replacen("{if eye}", "{if nose}", 1).as_bytes(),
    );
    let arguments = ["caption", "a.tif.record.json", "--template", "bad.toml"];
    bench.refused(
        &arguments,
        &[
            "bad.toml, line ",
            "{if nose} is not known",
            "what can stand here",
        ],
    );
    bench.file("bad.toml", b"\xff\xfe");
    bench.refused(&arguments, &["bad.toml", "not text in UTF-8"]);
    bench.refused(&["caption", "lantern.toml"], &["lantern.toml"]);
}

#[test]
fn a_hostile_object_stays_a_name() {
    let bench = Bench::new();
    let hostile = "<img src=x onerror=''a()''>&\"*_[x](http://y)`{total}";
    let object = format!("OBJECT  = '{hostile}'");
    let cards = ["FILTER  = 'Ha'", object.as_str(), "EXPTIME = 60.0"];
    bench.file(
        "ha.fits",
        &fits(WIDTH, HEIGHT, &shell(WIDTH, HEIGHT, 1), &cards),
    );
    bench.file("oiii.fits", &stack("OIII", 2));
    let recipe = fs::read_to_string(bench.at("lantern.toml")).expect("text");
    let recipe = recipe
        .replace("title = \"Lantern Shell in three lines\"\n", "")
        .replace("object = \"Lantern Shell\"\n", "");
    bench.file("lantern.toml", recipe.as_bytes());
    bench.run(0, &["compose", "lantern.toml", "-o", "a.tif"]);
    let name = hostile.replace("''", "'");
    for length in ["short", "long", "alt"] {
        let text = words(&bench, &["--length", length]);
        assert!(text.contains(&name), "{text}");
        let html = words(&bench, &["--length", length, "--format", "html"]);
        let parsed = roxmltree::Document::parse(&html).expect("well-formed");
        let tags: Vec<&str> = parsed
            .descendants()
            .filter(roxmltree::Node::is_element)
            .map(|node| node.tag_name().name())
            .collect();
        assert!(
            tags.iter().all(|tag| ["div", "p"].contains(tag)),
            "{tags:?}"
        );
        assert!(
            parsed
                .root_element()
                .descendants()
                .any(|n| n.text().is_some_and(|t| t.contains(&name)))
        );
        let markdown = words(&bench, &["--length", length, "--format", "markdown"]);
        assert!(
            markdown.contains(r"\<img src\=x onerror\='a()'\>\&")
                && markdown.contains(r"\*\_\[x\](http\://y)\`\{total\}"),
            "{markdown}"
        );
    }
}

// ---- Random records ----

#[derive(Debug, Clone)]
struct Light {
    line: &'static str,
    width_nm: Option<f64>,
    exposure_s: Option<f64>,
    frames: Option<u32>,
    day: Option<(u16, u8, u8)>,
    natural: bool,
    color: (bool, [f64; 3]),
    weight: bool,
    leveled: bool,
    aligned: bool,
    smoothed: bool,
    emission: bool,
}

fn light() -> impl Strategy<Value = Light> {
    let ids: Vec<&'static str> = lines::lines().iter().map(|line| line.id.as_str()).collect();
    (
        (
            select(ids),
            option::of(1.0..40.0f64),
            option::of(prop_oneof![0.1..20.0f64, 20.0..1e3, 1e3..1e6]),
            option::of(1u32..500),
            option::of((1990u16..2100, 1u8..=12, 1u8..=28)),
        ),
        (
            any::<bool>(),
            (
                prop::bool::weighted(0.9),
                prop::array::uniform3(0.0..1.2f64),
            ),
            any::<bool>(),
            any::<bool>(),
            any::<bool>(),
            any::<bool>(),
            any::<bool>(),
        ),
    )
        .prop_map(|((line, width_nm, exposure_s, frames, day), rest)| {
            let (natural, color, weight, leveled, aligned, smoothed, emission) = rest;
            Light {
                line,
                width_nm,
                exposure_s,
                frames,
                day,
                natural,
                color,
                weight,
                leveled,
                aligned,
                smoothed,
                emission,
            }
        })
}

// Names without digits, colours or stops of their own, with what headers hold
// when they mean harm.
fn name() -> impl Strategy<Value = String> {
    let letters: Vec<char> = "xyzXYZé  \u{202e}\u{0}\n\t<>&\"'*_#[]`|\\{}!?-"
        .chars()
        .collect();
    prop_oneof![
        Just(String::new()),
        vec(select(letters.clone()), 1..40).prop_map(String::from_iter),
        vec(select(letters), 300..900).prop_map(String::from_iter),
    ]
}

#[derive(Debug, Clone)]
struct Case {
    lights: Vec<Light>,
    names: [String; 3],
    finish: (Option<f64>, bool, f64, bool),
    // How stars show, smoothness of colours, stars of a white balance.
    natural: (&'static str, bool, Option<(&'static str, Option<u16>)>),
    samples: Option<Vec<[f32; 3]>>,
    space: Space,
}

fn case() -> impl Strategy<Value = Case> {
    (
        vec(light(), 1..12),
        prop::array::uniform3(name()),
        (
            option::of(select(vec![0.0, 0.5, 1.0, 1.7])),
            any::<bool>(),
            0.0..=1.0f64,
            any::<bool>(),
        ),
        (
            select(vec![
                "\"as mixed\"",
                "\"neutral\"",
                "\"none\"",
                "{ size = 0.5 }",
            ]),
            any::<bool>(),
            option::of((
                select(vec!["hand", "stars", "star", "patch", "catalogue"]),
                option::of(0u16..2000),
            )),
        ),
        option::of(vec(prop::array::uniform3(0.0..1.0f32), 9..200)),
        select(Space::ALL.to_vec()),
    )
        .prop_map(|(lights, names, finish, natural, samples, space)| Case {
            lights,
            names,
            finish,
            natural,
            samples,
            space,
        })
}

fn toml_text(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn recipe_of(case: &Case) -> Option<Recipe> {
    let [title, object, credit] = case.names.each_ref().map(|name| toml_text(name));
    let mut text =
        format!("recipe = 1\n[about]\ntitle = {title}\nobject = {object}\ncredit = {credit}\n");
    let (mut colors, mut weights) = (Vec::new(), Vec::new());
    for (i, light) in case.lights.iter().enumerate() {
        text += &format!(
            "[[channel]]\nid = \"c{i}\"\nfile = \"f\"\nline = \"{}\"\n",
            light.line
        );
        if let Some(width) = light.width_nm {
            text += &format!("width_nm = {width:?}\n");
        }
        text += "stretch = { black = 0, white = 1, shape = \"asinh\", amount = 10 }\n";
        if light.leveled {
            text += "level = { degree = 1 }\n";
        }
        if light.smoothed {
            text += "denoise = 0.5\n";
        }
        let broad = |line: &str| lines::line(line).is_some_and(lines::Line::is_broad);
        let first_broad = case.lights.iter().position(|light| broad(light.line));
        if let Some(from) = first_broad.filter(|_| light.emission && !broad(light.line)) {
            text += &format!("continuum = {{ from = \"c{from}\" }}\n");
        }
        if light.aligned {
            text += "align = { method = \"stars\" }\n";
        }
        let (colored, [r, g, b]) = light.color;
        if light.natural && natural_color(light.line, None).is_some() {
            colors.push(format!("c{i} = \"natural\""));
        } else if colored {
            colors.push(format!("c{i} = [{r:?}, {g:?}, {b:?}]"));
        }
        if light.weight {
            weights.push(format!("c{i} = 1.0"));
        }
    }
    let (saturation, luminance, amount, eye) = &case.finish;
    text += &format!(
        "[[rendition]]\nid = \"r\"\neye = {eye}\ngamut = \"hold-hue\"\ncolors = {{ {} }}\n",
        colors.join(", ")
    );
    let (stars, smooth, balance) = &case.natural;
    text += &format!("stars = {stars}\n");
    if *smooth {
        text += "smooth_color = 0.5\n";
    }
    if let Some((by, stars)) = balance {
        let stars = stars.map_or(String::new(), |stars| format!(", stars = {stars}"));
        text += &format!("balance = {{ gains = [1.2, 1, 0.9], by = \"{by}\"{stars} }}\n");
    }
    if let Some(saturation) = saturation {
        text += &format!("saturation = {saturation:?}\n");
    }
    if *luminance && !weights.is_empty() {
        text += &format!(
            "luminance = {{ from = {{ {} }}, amount = {amount:?} }}\n",
            weights.join(", ")
        );
    }
    recipe::text::parse(&text, "case").ok()
}

fn record_of(case: &Case) -> Option<Record> {
    let recipe = recipe_of(case)?;
    let entries = describe::entries(&recipe, &recipe.renditions[0], case.space).expect("colours");
    let inputs = case.lights.iter().enumerate().map(|(i, light)| {
        let mut header = BTreeMap::new();
        if let Some(frames) = light.frames {
            header.insert("NCOMBINE".to_owned(), frames.into());
        }
        if let Some((year, month, day)) = light.day {
            header.insert(
                "DATE-OBS".to_owned(),
                format!("{year}-{month:02}-{day:02}T01:02:03").into(),
            );
        }
        header.insert("OBJECT".to_owned(), case.names[1].clone().into());
        Input {
            channel: format!("c{i}"),
            file: "f".to_owned(),
            sha256: String::new(),
            width: 3,
            height: 3,
            exposure_s: light.exposure_s,
            header,
            sky: None,
            noise: None,
            align: None,
            level: None,
            continuum: None,
            noise_smoothed: None,
            stars: None,
        }
    });
    Some(Record {
        record: record::VERSION,
        software: Software {
            name: "Linehue".into(),
            version: "1".into(),
        },
        made_at: String::new(),
        composite: Composite {
            file: "a.tif".into(),
            sha256: String::new(),
            pixels_sha256: String::new(),
            width: 3,
            height: 3,
            space: case.space,
            depth: "16".into(),
            long_edge: None,
        },
        rendition: "r".into(),
        assignments: entries,
        inputs: inputs.collect(),
        caption: Caption {
            short: String::new(),
            long: String::new(),
            alt: String::new(),
        },
        integration_s: None,
        crop: None,
        seen: case
            .samples
            .as_ref()
            .and_then(|samples| Seen::measure(samples, 3)),
        notices: Vec::new(),
        recipe,
    })
}

const COLORS: [&str; 9] = [
    "red", "orange", "yellow", "green", "cyan", "blue", "purple", "magenta", "white",
];
const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

// The words of a text, without the signs about them.
fn bare(text: &str) -> Vec<&str> {
    text.split_whitespace()
        .map(|word| word.trim_matches(|c: char| ",;:.()".contains(c)))
        .collect()
}

fn trace(text: &str, record: &Record) -> Result<(), TestCaseError> {
    let rendition = &record.recipe.renditions[0];
    let facts = caption::facts(record, rendition);
    let words = bare(text);
    let exposures: Vec<f64> = record
        .inputs
        .iter()
        .filter_map(|input| input.exposure_s)
        .chain(facts.integration_s())
        .collect();
    let headers = || record.inputs.iter().map(|input| &input.header);
    let days: Vec<String> = headers()
        .filter_map(|header| Some(header.get("DATE-OBS")?.as_str()?[..10].to_owned()))
        .collect();
    let mut time = 0.0;
    for (i, word) in words.iter().enumerate() {
        let Ok(number) = word.parse::<f64>() else {
            continue;
        };
        let next = words.get(i + 1).copied().unwrap_or_default();
        let seconds = match next {
            "h" => 3600.0,
            "min" => 60.0,
            "s" => 1.0,
            _ => 0.0,
        };
        if seconds > 0.0 {
            time += seconds * number;
            let goes_on = ["h", "min", "s"].contains(words.get(i + 3).unwrap_or(&""));
            let is_next_time = words
                .get(i + 2)
                .is_some_and(|word| word.parse::<f64>().is_ok());
            if !(goes_on && is_next_time) {
                let near = exposures.iter().any(|exact| {
                    let off = (exact - time).abs();
                    off <= match exact {
                        e if *e < 10.0 => 0.051,
                        e if *e < 599.5 => 0.51,
                        _ => 30.1,
                    }
                });
                prop_assert!(near, "{time} s in {text}");
                time = 0.0;
            }
        } else if next == "nm" {
            let nm = record.recipe.channels.iter().flat_map(|channel| {
                [
                    lines::line(&channel.line).map(|line| line.center_nm),
                    channel.width_nm,
                ]
            });
            prop_assert!(
                nm.flatten().any(|nm| (nm - number).abs() < 0.051),
                "{number} nm in {text}"
            );
        } else if next.starts_with("frame") {
            let known = headers()
                .any(|header| header.get("NCOMBINE").and_then(|v| v.as_f64()) == Some(number));
            prop_assert!(known, "{number} frames in {text}");
        } else if next.starts_with("star") {
            let known = rendition.balance.as_ref().and_then(|balance| balance.stars);
            prop_assert_eq!(known.map(|stars| stars as f64), Some(number), "{}", text);
        } else if let Some(month) = MONTHS.iter().position(|month| *month == next) {
            let year = words.get(i + 2).copied().unwrap_or_default();
            let day = format!("{year}-{:02}-{:02}", month + 1, number as u32);
            prop_assert!(days.contains(&day), "{day} in {text}");
        } else if !MONTHS.contains(&words[i.saturating_sub(1)]) {
            let many = facts.lines.len() as f64;
            prop_assert!(number > 9.0 && number <= many, "{number} in {text}");
        }
    }
    // What was done is said, and nothing else.
    for (phrase, done) in [
        ("shown without colour", facts.stars == ShowStars::Neutral),
        ("stars are left out", facts.stars == ShowStars::None),
        ("another size or brightness", facts.stars_scaled),
        ("smoother than brightness", facts.smooth_color),
        ("broad bands were balanced", facts.balance.is_some()),
        (
            "Noise was smoothed",
            facts.lines.iter().any(|line| line.smoothed),
        ),
        (
            "emission remains",
            facts.lines.iter().any(|line| line.emission),
        ),
    ] {
        prop_assert!(done || !text.contains(phrase), "{phrase} in {text}");
    }
    let avm = |word: &str| match word {
        "Grayscale" => "white".to_owned(),
        word => word.to_lowercase(),
    };
    let mut known: Vec<String> = record
        .assignments
        .iter()
        .map(|entry| avm(entry.word()))
        .collect();
    known.extend(
        record
            .seen
            .iter()
            .flat_map(|seen| seen.hues.iter().map(|hue| avm(&hue.color_name))),
    );
    known.extend(
        facts
            .lines
            .iter()
            .filter(|line| line.broad)
            .map(|line| line.name.clone()),
    );
    for word in words.iter().filter(|word| COLORS.contains(word)) {
        prop_assert!(known.iter().any(|known| known == word), "{word} in {text}");
    }
    Ok(())
}

fn is_tidy(text: &str) -> Result<(), TestCaseError> {
    for wrong in [
        "  ", "()", "( ", " )", " ,", " .", " ;", ",.", ";.", ":.", "..", "\n\n\n",
    ] {
        prop_assert!(!text.contains(wrong), "{wrong:?} in {text}");
    }
    for paragraph in text.split("\n\n") {
        prop_assert!(paragraph.ends_with(['.', '!', '?']), "{paragraph}");
        prop_assert!(!paragraph.contains('\n') && paragraph.trim() == paragraph);
    }
    let (open, shut) = (text.matches('(').count(), text.matches(')').count());
    prop_assert_eq!(open, shut, "{}", text);
    let bad = text
        .chars()
        .find(|c| *c != '\n' && (c.is_control() || *c == '\u{202e}'));
    prop_assert_eq!(bad, None);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// Protects a reader's trust: nothing is said that is not in the record.
    #[test]
    fn words_come_from_the_record(case in case()) {
        let Some(record) = record_of(&case) else { return Err(TestCaseError::reject("no recipe")); };
        let rendition = &record.recipe.renditions[0];
        let facts = caption::facts(&record, rendition);
        let made = write(&facts);
        for text in [&made.short, &made.long, &made.alt] {
            trace(text, &record)?;
            is_tidy(text)?;
            for format in [Format::Html, Format::Markdown] {
                let written = format.write(text, "en");
                if format == Format::Html {
                    let parsed = roxmltree::Document::parse(&written);
                    let parsed = parsed.map_err(|error| TestCaseError::fail(format!("{error}: {written}")))?;
                    let back: Vec<&str> = parsed
                        .root_element()
                        .children()
                        .filter_map(|node| node.first_child()?.text())
                        .collect();
                    prop_assert_eq!(&back.join("\n\n"), text);
                } else {
                    // Every sign that makes markup has its backslash.
                    let mut escaped = false;
                    for c in written.chars() {
                        prop_assert!(escaped || !"*_`[]<>#|~&{}!".contains(c), "{}", written);
                        escaped = c == '\\' && !escaped;
                    }
                }
            }
        }
        prop_assert!(made.short.chars().count() <= 280, "{}", made.short);
        let kind = match facts.kind() {
            Kind::Natural => "Natural colour",
            Kind::Mapped => "Mapped colour, not what an eye would see",
            Kind::Partly => "Partly mapped colour, not what an eye would see",
            Kind::Grey => "Brightness alone, without colour",
        };
        for text in [&made.short, &made.long, &made.alt] {
            prop_assert!(text.contains(kind), "{}", text);
        }
        let all_natural = facts.colored().all(|line| line.natural);
        prop_assert!(all_natural || !made.short.contains("Natural colour"));
        // From the record's text alone come the same words.
        let read = record::parse(record::write(&record).expect("finite").as_bytes()).expect("sound");
        prop_assert_eq!(write(&caption::facts(&read, &read.recipe.renditions[0])), made);
    }
}
