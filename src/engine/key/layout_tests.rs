use proptest::prelude::*;

use super::*;
use crate::engine::lines::lines;
use crate::engine::recipe::text::parse;

fn metrics() -> Metrics<'static> {
    Metrics {
        text: &|text| text.chars().count() as f64 * 8.0 / 800.0,
        sign: 14.0 / 800.0,
        bead: 14.0 / 800.0,
        gap: 6.0 / 800.0,
        margin: 20.0 / 800.0,
        held: None,
    }
}

// Channels named after their lines, and the text of the rendition's colours.
fn recipe(ids: &[&str], colors: &str) -> Recipe {
    let mut text = String::from("recipe = 1\n");
    for (index, id) in ids.iter().enumerate() {
        text += &format!(
            "[[channel]]\nid = \"c{index}\"\nfile = \"f{index}\"\nline = \"{id}\"\n\
             width_nm = 5\n[channel.stretch]\nblack = 0\nwhite = 1\n"
        );
    }
    text += &format!("[[rendition]]\nid = \"r\"\ncolors = {{ {colors} }}\n");
    parse(&text, "test").expect("sound")
}

fn draw(recipe: &Recipe) -> Drawing {
    drawing(recipe, &recipe.renditions[0], &metrics())
}

#[test]
fn threads_stand_by_wavelength_and_end_at_their_hue() {
    let recipe = recipe(
        &["SII", "Ha", "OIII"],
        "c0 = \"natural\", c1 = { hue = 75 }, c2 = { hue = 233, saturation = 0 }",
    );
    let drawing = draw(&recipe);
    let symbols: Vec<_> = drawing.threads.iter().map(|t| t.symbol.as_str()).collect();
    assert_eq!(symbols, ["[O III]", "Hα", "[S II]"]);
    let end = |index: usize| drawing.threads[index].end.expect("in the rendition");
    assert_eq!(end(0).x, strip::WHITE_STOP, "white has no hue");
    assert!((end(1).x - strip::hue_place(75.0)).abs() < 1e-12);
    assert!(end(2).natural);
    assert_eq!(drawing.threads[2].natural_hue, Some(end(2).shade.hue));
    // 5 nm to scale.
    let band = drawing.threads[1].band;
    assert!((band[1] - band[0] - 5.0 * drawing.axis.scale()).abs() < 1e-12);
}

#[test]
fn invisible_light_is_folded_in_and_has_no_natural_color() {
    let recipe = recipe(
        &["SIII", "OII", "Ha"],
        "c0 = { hue = 10 }, c2 = \"natural\"",
    );
    let drawing = draw(&recipe);
    assert_eq!(drawing.axis.sections.len(), 3);
    let far = drawing.thread("c0").expect("drawn");
    assert!(far.light.is_none() && far.natural_hue.is_none() && far.x > 0.9);
    let near = drawing.thread("c1").expect("drawn");
    assert!(near.end.is_none() && near.x < 0.1);
}

#[test]
fn broad_bands_have_brackets() {
    let recipe = recipe(&["L", "R", "Ha"], "c0 = \"natural\", c1 = \"natural\"");
    let drawing = draw(&recipe);
    let row = |id: &str| drawing.bracket_row(drawing.thread(id).expect("drawn"));
    assert_eq!((row("c0"), row("c1"), row("c2")), (Some(1), Some(0), None));
    let l = drawing
        .thread("c0")
        .and_then(|t| t.end)
        .expect("in the rendition");
    assert_eq!(l.x, strip::WHITE_STOP);
}

#[test]
fn channels_of_one_line_have_names_of_their_own() {
    let recipe = recipe(&["Ha", "Ha"], "c0 = \"#f00\"");
    let names: Vec<_> = draw(&recipe).threads.into_iter().map(|t| t.name).collect();
    assert_eq!(names, ["Hα (c0)", "Hα (c1)"]);
}

/// While a hand pulls an end over others, none of them jumps aside.
#[test]
fn an_end_that_is_pulled_moves_no_other() {
    let sulfur_at = |hue: f64| {
        recipe(
            &["OIII", "Ha", "SII"],
            &format!("c0 = {{ hue = 40 }}, c1 = {{ hue = 40 }}, c2 = {{ hue = {hue} }}"),
        )
    };
    let lanes = |drawing: &Drawing| drawing.held().into_values().collect::<Vec<_>>();
    let before = draw(&sulfur_at(200.0));
    assert_eq!((lanes(&before), before.lanes), (vec![0, 1, 0], 2));
    let held = before.held();
    let metrics = Metrics {
        held: Some(&held),
        ..metrics()
    };
    let across = sulfur_at(40.0);
    let meanwhile = drawing(&across, &across.renditions[0], &metrics);
    assert_eq!((lanes(&meanwhile), meanwhile.lanes), (vec![0, 1, 0], 2));
    assert_eq!(lanes(&draw(&across)), [0, 1, 2], "let go");
}

proptest! {
    /// Whatever channels there are and however they are coloured, no name and
    /// no end lies on another, and every line stays in the drawing.
    #[test]
    fn nothing_lies_on_anything_else(
        picks in proptest::collection::vec((0..21_usize, 0..4_u8, 0.0..360.0_f64), 1..14),
    ) {
        let all = lines();
        let ids: Vec<&str> = picks
            .iter()
            .map(|(line, _, _)| all[line % all.len()].id.as_str())
            .collect();
        let visible = |id: &str| natural_color(id, None).is_some();
        let colors: Vec<String> = picks
            .iter()
            .enumerate()
            // A rendition has a colour at least.
            .filter_map(|(index, (_, way, hue))| match way {
                _ if index == 0 => Some("c0 = \"#fff\"".to_owned()),
                0 => None,
                1 if visible(ids[index]) => Some(format!("c{index} = \"natural\"")),
                2 => Some(format!("c{index} = {{ hue = 40 }}")),
                _ => Some(format!("c{index} = {{ hue = {hue:.3} }}")),
            })
            .collect();
        let recipe = recipe(&ids, &colors.join(", "));
        let (drawing, metrics) = (draw(&recipe), metrics());
        prop_assert!(drawing.threads.is_sorted_by(|a, b| a.center_nm <= b.center_nm));
        for (index, one) in drawing.threads.iter().enumerate() {
            prop_assert!((0.0..=1.0).contains(&one.x));
            for two in &drawing.threads[index + 1..] {
                let row = |thread: &Thread| (drawing.bracket_row(thread), thread.label_row);
                if row(one) == row(two) {
                    let room = 0.5 * (name_width(one, &metrics) + name_width(two, &metrics));
                    let apart = (one.label_x - two.label_x).abs();
                    prop_assert!(apart >= room + metrics.gap - 1e-9, "{} {}", one.name, two.name);
                }
                if let (Some(a), Some(b)) = (one.end, two.end) && a.lane == b.lane {
                    let (a, b) = (end_reach(one, &a, &metrics), end_reach(two, &b, &metrics));
                    prop_assert!(a[1] <= b[0] || b[1] <= a[0], "{} {}", one.name, two.name);
                }
            }
        }
    }
}
