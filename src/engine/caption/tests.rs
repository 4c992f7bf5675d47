use super::facts::{Day, Facts, Shown};
use super::seen::{Hue, Place, Seen};
use super::*;
use crate::engine::lines;
use crate::engine::recipe::{AlignMethod, Shape};

fn shown(id: &str, color: Option<&str>, natural: bool) -> Shown {
    let line = lines::line(id).expect("in the table");
    Shown {
        line: id.to_owned(),
        name: line.name.clone(),
        symbol: line.symbol.clone(),
        center_nm: line.center_nm,
        width_nm: Some(5.0),
        broad: line.is_broad(),
        also_passes: if id == "Ha" {
            vec!["[N II]".into()]
        } else {
            vec![]
        },
        color_name: color.map(str::to_owned),
        natural,
        brightens: color.is_none(),
        exposure_s: Some(24_000.0),
        frames: Some(80),
        align: (id != "Ha").then_some(AlignMethod::Stars),
        leveled: id == "Ha",
        shape: Shape::Asinh,
        curved: false,
        emission: false,
        smoothed: false,
    }
}

fn lantern() -> Facts {
    Facts {
        object: "Lantern Shell".into(),
        lines: vec![
            shown("SII", Some("Red"), false),
            shown("Ha", Some("Green"), false),
        ],
        ..Facts::default()
    }
}

#[test]
fn mapped_is_said_with_all_its_facts() {
    let mut facts = lantern();
    facts.days = Day::parse("2031-08-11")
        .zip(Day::parse("2031-09-02"))
        .map(|(a, b)| [a, b]);
    facts.cropped = true;
    let caption = write(&facts);
    assert_eq!(
        caption.short,
        "Lantern Shell. Mapped colour, not what an eye would see: ionised sulfur in red and \
         hydrogen-alpha in green. 13 h 20 min of exposure."
    );
    assert_eq!(
        caption.long,
        "Lantern Shell. Mapped colour, not what an eye would see: light of ionised sulfur \
         ([S II], 672.4 nm, filter 5 nm wide) is shown in red; light of hydrogen-alpha \
         (Hα, 656.3 nm, filter 5 nm wide, which also passes [N II]) is shown in green. The \
         colours were assigned to the filters, one for each, so that they can be told apart; \
         they are not the colours of the light itself.\n\n\
         Exposure: 13 h 20 min: ionised sulfur 6 h 40 min in 80 frames; hydrogen-alpha \
         6 h 40 min in 80 frames. Dates in the headers: 11 August 2031 to 2 September 2031. \
         One of the two channels was aligned by the stars in them. The sky glow was taken out \
         of one of the two channels. From faint to bright the channels were stretched by an \
         inverse hyperbolic sine. The edges of the field are cropped."
    );
    assert_eq!(
        caption.alt,
        "Colour composite of Lantern Shell from two filters: ionised sulfur in red and \
         hydrogen-alpha in green. Mapped colour, not what an eye would see."
    );
}

#[test]
fn natural_partly_and_grey_are_told_apart() {
    let mut facts = lantern();
    for line in &mut facts.lines {
        line.natural = true;
    }
    assert!(write(&facts).short.contains("Natural colour"));
    assert!(write(&facts).long.contains("the hue that an eye sees"));
    facts.lines[0].natural = false;
    assert!(write(&facts).short.contains("Partly mapped colour"));
    assert!(
        write(&facts)
            .long
            .contains("hydrogen-alpha keeps its own hue")
    );
    facts.colorless = true;
    assert!(write(&facts).alt.contains("Brightness alone"));
    facts.colorless = false;
    facts.lines[0].color_name = None;
    facts.lines[0].brightens = true;
    assert!(
        write(&facts)
            .long
            .contains("The brightness comes from ionised sulfur."),
        "{}",
        write(&facts).long
    );
}

#[test]
fn what_is_seen_is_told() {
    let mut facts = lantern();
    let mut zones = [[0.01; 3]; 9];
    zones[4] = [0.5; 3];
    facts.seen = Some(Seen {
        lightness: 0.4,
        zones,
        hues: vec![
            Hue {
                color_name: "Cyan".into(),
                share: 0.6,
                place: Place::Centre,
            },
            Hue {
                color_name: "Red".into(),
                share: 0.3,
                place: Place::Throughout,
            },
        ],
    });
    assert!(
        write(&facts).alt.ends_with(
            "The picture is dark overall, brightest in the centre. The strongest colours are \
             cyan in the centre and red throughout."
        ),
        "{}",
        write(&facts).alt
    );
}

#[test]
fn plurals_and_gaps() {
    let mut facts = lantern();
    facts.lines.truncate(1);
    facts.lines[0].frames = Some(1);
    facts.lines[0].exposure_s = Some(90.0);
    let caption = write(&facts);
    assert!(caption.alt.contains("from one filter:"), "{}", caption.alt);
    assert!(
        caption.long.contains("1 min 30 s in 1 frame."),
        "{}",
        caption.long
    );
    assert!(
        caption
            .long
            .contains("it is not the colour of the light itself"),
        "{}",
        caption.long
    );
    facts = lantern();
    facts.lines[1].exposure_s = None;
    assert!(
        write(&facts)
            .short
            .ends_with("At least 6 h 40 min of exposure.")
    );
    let nothing = write(&Facts::default());
    assert_eq!(
        nothing.short,
        "A picture of the night sky. Brightness alone, without colour."
    );
}

#[test]
fn short_is_short_and_whole() {
    let ids = [
        "Ha", "Hb", "Hg", "Hd", "OIII", "OII", "OI", "SII", "SIII", "NII", "HeI", "HeII",
    ];
    let mut facts = lantern();
    facts.lines = ids.map(|id| shown(id, Some("Magenta"), false)).to_vec();
    let brief = write(&facts).short;
    assert!(
        brief.chars().count() <= LONGEST_SHORT && brief.contains("Hα magenta"),
        "{brief}"
    );
    facts.title = "of many words ".repeat(100);
    let cut = write(&facts).short;
    assert!(
        cut.chars().count() <= LONGEST_SHORT && cut.contains("Mapped colour"),
        "{cut}"
    );
    assert!(
        cut.contains("words… ") || cut.contains("many… ") || cut.contains("of… "),
        "{cut}"
    );
    facts.title = "é".repeat(2000);
    let unnamed = write(&facts).short;
    assert!(
        unnamed.starts_with("A picture of the night sky. Mapped"),
        "{unnamed}"
    );
}

#[test]
fn hostile_words_stay_words() {
    let mut facts = lantern();
    facts.object =
        "\u{202e}{total} <script>alert('1')</script>\n\n# [x](http://y) \u{1b}[31m..".into();
    let caption = write(&facts);
    assert!(
        caption
            .short
            .starts_with("{total} <script>alert('1')</script> # [x](http://y) [31m. Mapped"),
        "{}",
        caption.short
    );
    assert!(!caption.long.chars().any(|c| c.is_control() && c != '\n'));
    let html = Format::Html.write(&caption.long, "en");
    assert!(html.contains("&lt;script&gt;") && !html.contains("<script"));
    assert!(
        Format::Markdown
            .write(&caption.short, "en")
            .contains("\\# \\[x\\](http\\://y)")
    );
}

fn template(change: impl FnOnce(String) -> String) -> Result<Template, TemplateError> {
    Template::parse(&change(template::ENGLISH_TEXT.to_owned()), "t.toml")
}

#[test]
fn mistakes_in_templates_are_named_with_their_lines() {
    let at = |needle: &str| {
        let before = template::ENGLISH_TEXT
            .find(needle)
            .expect("in the template");
        template::ENGLISH_TEXT[..before].matches('\n').count() + 1
    };
    for (from, to, line, what) in [
        (
            "{if eye}",
            "{if nose}",
            at("{if eye}"),
            "{if nose} is not known",
        ),
        (
            "light of {name}",
            "light of {nam}",
            at("light of {name}"),
            "{nam} is not known",
        ),
        (
            "{frames|frame}",
            "{frames|frane}",
            at("{frames|frame}"),
            "filter `frane`",
        ),
        (
            "{if cropped}",
            "{cropped}",
            at("{if cropped}"),
            "{cropped} is not known",
        ),
        (
            "by clauses}{if broad}",
            "by comma}{if broad}",
            at("{list colored by cl"),
            "joins by `comma`",
        ),
        ("purple = ", "violet = ", at("purple = "), "colors.violet"),
        (
            "language = \"en\"",
            "language = \"e n\"",
            at("language = "),
            "language tag",
        ),
        (
            "[\"1\", \"frame\"]",
            "[\"one\", \"frame\"]",
            at("frame = [["),
            "no pattern",
        ),
        (
            "grey = \"Bright",
            "gray = \"Bright",
            at("grey = \"Bright"),
            "gray",
        ),
    ] {
        let error = template(|text| text.replacen(from, to, 1)).expect_err(to);
        assert!(error.what.contains(what), "{to}: {error}");
        assert_eq!(error.line, line, "{to}: {error}");
    }
    let error = template(|text| text.replacen("{if eye}", "{if nose}", 1)).expect_err("unknown");
    assert!(
        error.hint.contains("brightest") && error.hint.contains("mapped"),
        "{}",
        error.hint
    );
    for broken in [
        "{",
        "}",
        "{if eye}",
        "{end}",
        "{else}",
        "{}",
        "{a b c d}",
        "{if eye}{else}{else}{end}",
    ] {
        let text = format!("long = '''{broken}");
        let error = template(|whole| whole.replacen("long = '''", &text, 1)).expect_err(broken);
        assert!(error.line >= at("long = '''"), "{broken}: {error}");
    }
    let deep = format!("long = '''{}", "{if eye}".repeat(100_000));
    assert!(template(|whole| whole.replacen("long = '''", &deep, 1)).is_err());
}

#[test]
fn another_language_has_its_own_plurals_and_joins() {
    let text = r#"
language = "pl"
unnamed = "Nocne niebo"
short = ['{subject|sentence} {kind}: {list colored}{name} {color}{end}; {line_count} {line_count|kanal}. {{x}} {total}']
long = '{each lines}{center} {end}'
alt = '{if not seen_nothing}{end}{line_count} {line_count|kanal}.'
[kinds]
natural = "Barwy naturalne"
mapped = "Barwy umowne"
partly = "Barwy częściowo umowne"
grey = "Bez barw"
[joins]
list = [", ", " i "]
[forms]
kanal = [["1", "kanał"], ["*12-14", "kanałów"], ["*2-4", "kanały"], ["other", "kanałów"]]
[numbers]
decimal = ","
[durations]
hours = "godz."
[colors]
red = "czerwony"
[lines]
Ha = "wodór alfa"
"#;
    assert!(Template::parse(text, "pl").is_err(), "an unknown name");
    let text = text.replace("{if not seen_nothing}{end}", "");
    let polish = Template::parse(&text, "pl").expect("sound");
    let caption = polish.write(&lantern());
    assert_eq!(
        caption.short,
        "Lantern Shell. Barwy umowne: ionised sulfur czerwony i wodór alfa green; 2 kanały. {x} 13 godz. 20 min"
    );
    assert_eq!(caption.long, "672,4 656,3");
    let mut many = lantern();
    many.lines = vec![many.lines[1].clone(); 13];
    assert!(polish.write(&many).alt.contains("13 kanałów"));
}

#[test]
fn times_are_readable() {
    assert_eq!(hours_minutes(24_000.0), "6 h 40 m");
    assert_eq!(hours_minutes(2_700.0), "45 m");
    assert_eq!(hours_minutes(20.0), "20 s");
    assert_eq!(hours_minutes(3_600.0), "1 h 00 m");
}
