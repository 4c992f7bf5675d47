//! Each kind of edit, worked by hand. `tests/props/recipe_text.rs` tries random ones.

use super::*;
use crate::engine::recipe::{Align, AlignMethod, ColorValue, Level, Luminance, Shape};

const OWN: &str = "# Lantern Shell, second try.
recipe = 1   # the format
reference = 'ha'

# Sulfur first: it is the faintest.
[[channel]]
line = \"SII\"
id = \"sii\"
file = \"lantern-sii.fits\"
stretch = { black = 39, white = 14_000 } # by eye

[[channel]] # the reference
id = \"ha\"
file = \"lantern-ha.fits\"
line = \"Ha\"
# 2 counts above the sky
[channel.stretch]
black = 46.0 # was 44
white = 2e4
shape = \"asinh\"
amount = 190
curve = [
    [0, 0],     # black
    [0.1, 0.12], # lifts the shell
    [1, 1],     # white
]

# Embers and ice.
[[rendition]]
id = \"mapped\"
blend = \"light\" # adds
colors = { sii = \"#ff2a1c\", ha = { hue = 75 } }

# Under glass.
[[rendition]]
id = \"glass\"
blend = \"screen\"
[rendition.colors]
ha = \"gold\" # hydrogen
sii = \"red\"
# the end
";

// The text after an edit, which must read as the recipe that was asked for.
fn after(text: &str, edit: impl FnOnce(&mut Recipe)) -> String {
    let mut recipe = parse(text, "own").expect("sound");
    edit(&mut recipe);
    let edited = edited(text, &recipe).expect("edited");
    assert_eq!(parse(&edited, "edited"), Ok(recipe), "{edited}");
    edited
}

fn with(from: &str, to: &str) -> String {
    assert_eq!(OWN.matches(from).count(), 1, "{from}");
    OWN.replace(from, to)
}

#[test]
fn nothing_changed_is_the_same_bytes() {
    for text in [
        OWN.to_owned(),
        OWN.replace('\n', "\r\n"),
        OWN.trim_end().to_owned(),
    ] {
        assert_eq!(after(&text, |_| {}), text);
    }
}

#[test]
fn a_number_a_word_and_a_colour_are_replaced_where_they_stand() {
    let edited = after(OWN, |recipe| {
        recipe.channels[1].stretch.black = 45.5;
        recipe.channels[0].stretch.white = 15_000.0;
        recipe.renditions[0]
            .colors
            .insert("sii".to_owned(), ColorValue::Css("#f00".to_owned()));
    });
    let expected = with("46.0 # was 44", "45.5 # was 44")
        .replace("14_000", "15000.0")
        .replace("\"#ff2a1c\"", "\"#f00\"");
    assert_eq!(edited, expected);
}

#[test]
fn line_ends_stay_as_they_are() {
    let edited = after(&OWN.replace('\n', "\r\n"), |recipe| {
        recipe.channels[1].stretch.black = 45.5;
    });
    assert_eq!(edited, with("46.0", "45.5").replace('\n', "\r\n"));
}

#[test]
fn keys_come_and_go() {
    let edited = after(OWN, |recipe| {
        recipe.reference = None;
        recipe.channels[1].width_nm = Some(5.0);
        recipe.renditions[0].saturation = Some(1.2);
        recipe.renditions[1].colors.remove("sii");
    });
    let expected = with("reference = 'ha'\n", "")
        .replace("line = \"Ha\"\n", "line = \"Ha\"\nwidth_nm = 5.0\n")
        .replace("75 } }\n", "75 } }\nsaturation = 1.2\n")
        .replace("sii = \"red\"\n", "");
    assert_eq!(edited, expected);
}

#[test]
fn new_tables_stand_with_the_row_that_they_belong_to() {
    let edited = after(OWN, |recipe| {
        recipe.channels[0].level = Some(Level {
            degree: Some(2),
            ..Level::default()
        });
        recipe.channels[1].align = Some(Align {
            method: AlignMethod::Stars,
            matrix: None,
        });
        recipe.about.title = "Lantern".to_owned();
    });
    let expected = with("# by eye\n", "# by eye\n\n[channel.level]\ndegree = 2\n")
        .replace(
            "# white\n]\n",
            "# white\n]\n\n[channel.align]\nmethod = \"stars\"\n",
        )
        .replace(
            "reference = 'ha'\n",
            "reference = 'ha'\n\n[about]\ntitle = \"Lantern\"\n",
        );
    assert_eq!(edited, expected);
}

#[test]
fn points_of_a_curve_keep_the_words_beside_them() {
    let more = after(OWN, |recipe| {
        recipe.channels[1]
            .stretch
            .curve
            .as_mut()
            .expect("a curve")
            .insert(2, [0.45, 0.59]);
    });
    let line = "    [0.1, 0.12], # lifts the shell\n";
    assert_eq!(more, with(line, &format!("{line}    [0.45, 0.59],\n")));
    let fewer = after(&more, |recipe| {
        recipe.channels[1]
            .stretch
            .curve
            .as_mut()
            .expect("a curve")
            .remove(1);
    });
    assert_eq!(fewer, with(line, "    [0.45, 0.59],\n"));
    let moved = after(OWN, |recipe| {
        recipe.channels[1].stretch.curve.as_mut().expect("a curve")[1][1] = 0.2;
    });
    assert_eq!(moved, with("[0.1, 0.12]", "[0.1, 0.2]"));
}

#[test]
fn a_table_in_braces_stays_in_braces() {
    let edited = after(OWN, |recipe| {
        recipe.channels[0].stretch.shape = Shape::Asinh;
        recipe.channels[0].stretch.amount = Some(3.0);
        recipe.renditions[0]
            .colors
            .insert("sii".to_owned(), ColorValue::Natural);
        recipe.renditions[0].colors.remove("ha");
    });
    let expected = with(
        "{ black = 39, white = 14_000 }",
        "{ black = 39, white = 14_000, shape = \"asinh\", amount = 3.0 }",
    )
    .replace(
        "{ sii = \"#ff2a1c\", ha = { hue = 75 } }",
        "{ sii = \"natural\" }",
    );
    assert_eq!(edited, expected);
}

#[test]
fn braces_over_several_lines_keep_their_comments() {
    let lines = "colors = {\n    sii = \"#ff2a1c\", # embers\n    # gold, nearly\n    ha = { hue = 75 }, # hydrogen\n}\n";
    let text = with("colors = { sii = \"#ff2a1c\", ha = { hue = 75 } }\n", lines);
    let edited = after(&text, |recipe| {
        recipe.renditions[0].colors.remove("sii");
    });
    assert_eq!(
        edited,
        text.replace("    sii = \"#ff2a1c\", # embers\n", "")
    );
}

#[test]
fn rows_are_renamed_moved_added_and_taken_away() {
    let renamed = after(OWN, |recipe| recipe.renditions[0].id = "embers".to_owned());
    assert_eq!(renamed, with("\"mapped\"", "\"embers\""));
    let (head, rest) = OWN.split_at(OWN.find("\n# Sulfur").expect("there"));
    let (sii, rest) = rest.split_at(rest.find("\n[[channel]] # the").expect("there"));
    let (ha, rest) = rest.split_at(rest.find("\n# Embers").expect("there"));
    let moved = after(OWN, |recipe| recipe.channels.swap(0, 1));
    assert_eq!(moved, format!("{head}{ha}{sii}{rest}"));
    let (mapped, glass) = rest.split_at(rest.find("\n# Under").expect("there"));
    let gone = after(OWN, |recipe| {
        recipe.renditions.remove(0);
    });
    assert_eq!(gone, format!("{head}{sii}{ha}{glass}"));
    let copied = after(OWN, |recipe| {
        let mut copy = recipe.renditions[0].clone();
        copy.id = "copy".to_owned();
        copy.luminance = Some(Luminance::of([("ha".to_owned(), 1.0)].into()));
        recipe.renditions.insert(1, copy);
    });
    let copy = "\n[[rendition]]\nid = \"copy\"\nblend = \"light\"\n\n\
        [rendition.luminance]\namount = 1.0\n\n\
        [rendition.luminance.from]\nha = 1.0\n\n\
        [rendition.colors]\nsii = \"#ff2a1c\"\n\
        ha = { hue = 75.0, saturation = 1.0, strength = 1.0 }\n";
    let at = format!("{head}{sii}{ha}{mapped}{copy}");
    assert_eq!(copied, format!("{at}{glass}"));
}

#[test]
fn a_table_that_becomes_a_word_and_a_new_row_are_spelled_like_the_rest() {
    let text = with(
        "blend = \"screen\"\n",
        "blend = \"screen\"\n[rendition.stars]\nshow = \"neutral\"\nsize = 0.5\n",
    );
    let word = after(&text, |recipe| {
        let stars = recipe.renditions[1].stars.as_mut().expect("stars");
        stars.size = 1.0;
    });
    let expected = with(
        "blend = \"screen\"\n",
        "blend = \"screen\"\nstars = \"neutral\"\n",
    );
    assert_eq!(word, expected);
    let inline = OWN.replace("[rendition.colors]\n", "colors.");
    let inline = inline.replace("sii = \"red\"", "colors.sii = \"red\"");
    let dotted = after(&inline, |recipe| {
        recipe.renditions[1]
            .colors
            .insert("sii".to_owned(), ColorValue::Natural);
    });
    assert_eq!(dotted, inline.replace("\"red\"", "\"natural\""));
}

#[test]
fn words_over_a_whole_part_stay_when_its_first_row_goes() {
    let text = with("# Embers", "# ==== Mixes ====\n\n# Embers");
    let gone = after(&text, |recipe| {
        recipe.renditions.remove(0);
    });
    let (head, rest) = OWN.split_at(OWN.find("# Embers").expect("there"));
    let glass = &rest[rest.find("\n# Under").expect("there")..];
    assert_eq!(gone, format!("{head}# ==== Mixes ====\n{glass}"));
}

#[test]
fn what_is_no_recipe_is_not_edited() {
    let recipe = parse(OWN, "own").expect("sound");
    for text in ["", "recipe = 2\n", "not [ a recipe"] {
        assert_eq!(edited(text, &recipe), None, "{text}");
    }
}
