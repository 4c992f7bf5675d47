use super::super::tests::recipe;
use super::super::told;
use super::*;
use crate::engine::color::oklab::oklch;
use proptest::prelude::*;

const THREE: &str = "ha = \"#d82020\", sii = \"#d02424\", oiii = \"#3080ff\"";

fn made(colors: &str, more: &str, wish: &Wish) -> (Recipe, Suggestion) {
    let recipe = recipe(colors, more);
    let meetings = Meetings::unknown(recipe.channels.len());
    let made = suggest(&recipe, &recipe.renditions[0], &meetings, wish).expect("colours");
    (recipe, made)
}

#[test]
fn three_lines_come_apart_for_every_reader() {
    let (recipe, made) = made(THREE, "", &Wish::default());
    let told = told(&recipe, &made.rendition).expect("sound");
    assert!(
        told.least().is_some_and(|least| least > 20.0),
        "{:?}",
        told.least()
    );
    assert!(made.after.total > made.before.expect("two lines").total);
    // Here all lines meet: the score's least is what is told.
    assert!((made.after.least - told.least().expect("pairs")).abs() < 1e-9);
}

#[test]
fn no_palette_of_ours_does_better() {
    let (recipe, made) = made(THREE, "", &Wish::default());
    let meetings = Meetings::unknown(recipe.channels.len());
    let mut compared = 0;
    for palette in built_in() {
        let there: Vec<(&str, &str)> = [("ha", "Ha"), ("oiii", "OIII"), ("sii", "SII")].to_vec();
        let Ok(colors) = apply(palette, &there) else {
            continue;
        };
        let mut rendition = recipe.renditions[0].clone();
        rendition.colors.extend(colors);
        let score = score_of(&recipe, &rendition, &meetings)
            .expect("sound")
            .expect("lines");
        assert!(
            made.after.total >= score.total,
            "{}: {score:?} {:?}",
            palette.name,
            made.after
        );
        compared += 1;
    }
    assert!(compared > 10, "{compared}");
}

#[test]
fn pins_that_cannot_be_kept_are_refused() {
    let recipe = recipe("ha = \"#f00\", ha-2 = \"#f00\", oiii = \"#0af\"", "");
    let meetings = Meetings::unknown(recipe.channels.len());
    let pinned = |pins: &[(&str, &str)]| {
        let value = |text: &str| ColorValue::Css(text.to_owned());
        let pinned = pins.iter().map(|(id, css)| ((*id).to_owned(), value(css)));
        let wish = Wish {
            keep_order: false,
            pinned: pinned.collect(),
        };
        suggest(&recipe, &recipe.renditions[0], &meetings, &wish)
    };
    let dark = pinned(&[("ha", "#000")]).expect_err("black");
    assert_eq!(dark, SuggestError::Dark("ha".to_owned()));
    let differ = pinned(&[("ha", "#f00"), ("ha-2", "#0f0")]).expect_err("two colours");
    let [one, other] = ["ha", "ha-2"].map(str::to_owned);
    assert_eq!(differ, SuggestError::Differ(one, other));
    assert!(pinned(&[("ha", "#e00"), ("ha-2", "#e00")]).is_ok());
}

#[test]
fn the_same_comes_out_each_time() {
    let wish = Wish::default();
    assert_eq!(made(THREE, "", &wish).1, made(THREE, "", &wish).1);
}

#[test]
fn pins_stay_and_the_order_of_wavelengths_is_kept() {
    let wish = Wish {
        keep_order: true,
        pinned: BTreeMap::from([("ha".to_owned(), ColorValue::Css("#e0b040".into()))]),
    };
    let (recipe, made) = made(THREE, "", &wish);
    assert_eq!(made.rendition.colors["ha"], wish.pinned["ha"]);
    let hue = |id: &str| {
        let told = told(&recipe, &made.rendition).expect("sound");
        let line = told.lines.iter().find(|line| line.id == id).expect("there");
        (oklch(line.vector)[2] - 350.0).rem_euclid(360.0)
    };
    // 672, 656 and 501 nm.
    assert!(hue("sii") < hue("ha") && hue("ha") < hue("oiii"));
}

#[test]
fn what_cannot_be_is_said() {
    let recipe = recipe("ha = \"natural\", oiii = \"natural\"", "");
    let rendition = &recipe.renditions[0];
    let meetings = Meetings::unknown(recipe.channels.len());
    let pin = |ids: &[&str]| Wish {
        keep_order: true,
        pinned: ids
            .iter()
            .map(|id| ((*id).to_owned(), ColorValue::Css("#ff00c0".into())))
            .collect(),
    };
    let error = |wish: &Wish| suggest(&recipe, rendition, &meetings, wish).expect_err("refused");
    assert_eq!(error(&pin(&["ha", "oiii"])), SuggestError::AllPinned);
    assert!(matches!(error(&pin(&["sii"])), SuggestError::NoChannel(..)));
    // Oxygen as a purple beyond the spectrum: nothing follows it in order.
    assert_eq!(error(&pin(&["oiii"])), SuggestError::NoneFit);
}

#[test]
fn one_line_in_two_channels_gets_one_colour() {
    let colors = "ha = \"natural\", ha-2 = \"natural\", oiii = \"natural\"";
    let (_, made) = made(colors, "", &Wish::default());
    assert_eq!(made.rendition.colors["ha"], made.rendition.colors["ha-2"]);
}

#[test]
fn five_lines_find_a_place_too() {
    let text = ["SII", "Ha", "OIII", "Hb", "NII"].iter().enumerate().fold(
        "recipe = 1\n".to_owned(),
        |text, (index, line)| {
            format!(
                "{text}[[channel]]\nid = \"c{index}\"\nfile = \"f\"\nline = \"{line}\"\n\
                 [channel.stretch]\nblack = 0\nwhite = 1\n"
            )
        },
    );
    let text = format!(
        "{text}[[rendition]]\nid = \"r\"\ncolors = {{ c0 = \"natural\", c1 = \"natural\", \
         c2 = \"natural\", c3 = \"natural\", c4 = \"natural\" }}\n"
    );
    let recipe = crate::engine::recipe::text::parse(&text, "test").expect("sound");
    let meetings = Meetings::unknown(5);
    let made = suggest(&recipe, &recipe.renditions[0], &meetings, &Wish::default());
    assert!(made.expect("colours").after.least > 8.0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4))]
    #[test]
    fn a_suggestion_is_never_worse_than_the_start(
        hues in proptest::array::uniform2(0.0..360.0f64),
        strength in 0.1..1.5f64,
        blend in 0usize..3,
    ) {
        let colors = format!(
            "ha = {{ hue = {} }}, oiii = {{ hue = {}, strength = {strength} }}",
            hues[0], hues[1]
        );
        let blend = format!("blend = \"{}\"", ["light", "tone", "screen"][blend]);
        let (_, made) = made(&colors, &blend, &Wish::default());
        prop_assert!(made.after.total >= made.before.expect("two lines").total);
    }
}
