//! The line map by pointer, keys and screen reader.

use egui::accesskit::Role;
use egui::{Event, Key, Modifiers, Pos2, Vec2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::engine::key::strip::hue_place;
use linehue::engine::recipe::{ColorValue, text::parse};
use linehue::gui::asks::Ask;
use linehue::gui::panels::line_map;
use linehue::gui::state::State;
use linehue::work::history::History;

use super::support::{Stage, panel, sample};

const WIDTH: f32 = 1024.0;

fn stage(state: State) -> Harness<'static, Stage> {
    let mut harness = panel(state, [WIDTH, 300.0], line_map::show);
    harness.run();
    harness
}

/// Channels (id, line) and the text of a rendition's colours.
fn desk(channels: &[(&str, &str)], colors: &str) -> State {
    let mut text = String::from("recipe = 1\n");
    for (id, line) in channels {
        text += &format!(
            "[[channel]]\nid = \"{id}\"\nfile = \"{id}.fits\"\nline = \"{line}\"\n\
             width_nm = 5\n[channel.stretch]\nblack = 0\nwhite = 1\n"
        );
    }
    text += &format!("[[rendition]]\nid = \"mapped\"\ncolors = {{ {colors} }}\n");
    let mut state = State::empty();
    state.view.rendition = "mapped".into();
    state.history = History::new("Open", parse(&text, "desk").unwrap());
    state
}

fn color(harness: &Harness<'_, Stage>, channel: &str) -> Option<ColorValue> {
    let rendition = harness.state().state.rendition().unwrap();
    rendition.colors.get(channel).cloned()
}

/// Hue, saturation and strength of a channel that has them.
fn numbers(harness: &Harness<'_, Stage>, channel: &str) -> [f64; 3] {
    match color(harness, channel) {
        Some(ColorValue::Hue {
            hue,
            saturation,
            strength,
        }) => [hue, saturation, strength],
        other => panic!("{channel} is {other:?}"),
    }
}

fn steps(harness: &Harness<'_, Stage>) -> Vec<String> {
    let steps = harness.state().state.history.steps();
    steps[1..].iter().map(|step| step.label.clone()).collect()
}

fn middle(harness: &Harness<'_, Stage>, name: &str) -> Pos2 {
    harness
        .get_by_role_and_label(Role::Slider, name)
        .rect()
        .center()
}

fn set_modifiers(harness: &Harness<'_, Stage>, modifiers: Modifiers) {
    harness.event(Event::ModifiersChanged(modifiers));
}

/// Presses an end, moves just enough for a pull to begin, then `way` in small
/// moves, and holds.
fn pull(harness: &mut Harness<'_, Stage>, name: &str, way: Vec2, modifiers: Modifiers) -> Pos2 {
    let from = middle(harness, name);
    set_modifiers(harness, modifiers);
    harness.drag_at(from);
    harness.step();
    let started = from + way.normalized() * 8.0;
    harness.hover_at(started);
    harness.step();
    for part in 1..=6 {
        harness.hover_at(started + way * part as f32 / 6.0);
        harness.step();
    }
    started + way
}

fn drop(harness: &mut Harness<'_, Stage>, at: Pos2) {
    harness.drop_at(at);
    harness.step();
    set_modifiers(harness, Modifiers::NONE);
    harness.run();
}

/// The length of the hue scale in degrees for a point of the screen.
fn degrees_per_point() -> f64 {
    let length = f64::from(WIDTH) - 2.0 * 8.0 - 62.0 - 58.0;
    360.0 / length / 0.94
}

/// The heart of the window: the picture follows while the hand moves, and the
/// whole pull is one step that can be taken back.
#[test]
fn pulling_sideways_changes_the_hue_in_one_step() {
    let mut harness = stage(sample());
    let end = pull(&mut harness, "Hue of Hα", vec2(60.0, 0.0), Modifiers::ALT);
    let [hue, saturation, strength] = numbers(&harness, "ha");
    let truth = 75.0 + 60.0 * degrees_per_point();
    assert!((hue - truth).abs() < 1.0, "{hue} against {truth}");
    assert_eq!((saturation, strength), (0.95, 0.95));
    assert!(steps(&harness).is_empty(), "the hand is still down");
    drop(&mut harness, end);
    assert_eq!(steps(&harness), ["Hue of Hα"]);
    assert_eq!(harness.state().state.selected.as_deref(), Some("ha"));
    harness.state_mut().state.history.undo();
    assert_eq!(numbers(&harness, "ha")[0], 75.0);
}

/// Nothing jumps when a pull begins, and a click changes nothing.
#[test]
fn beginning_to_pull_changes_nothing() {
    let mut harness = stage(sample());
    let from = middle(&harness, "Hue of [O III]");
    harness.drag_at(from);
    harness.step();
    harness.hover_at(from + vec2(8.0, 0.0));
    harness.step();
    assert_eq!(numbers(&harness, "oiii")[0], 233.0);
    drop(&mut harness, from + vec2(8.0, 0.0));
    harness.get_by_label("Hue of [S II]").click();
    harness.run();
    assert!(steps(&harness).is_empty());
    assert_eq!(harness.state().state.selected.as_deref(), Some("sii"));
}

#[test]
fn pulling_up_is_strength_and_with_ctrl_saturation() {
    let mut harness = stage(sample());
    let end = pull(&mut harness, "Hue of Hα", vec2(0.0, -55.0), Modifiers::NONE);
    drop(&mut harness, end);
    let [hue, saturation, strength] = numbers(&harness, "ha");
    assert_eq!((hue, saturation), (75.0, 0.95));
    assert!((strength - 1.45).abs() < 0.01, "{strength}");
    let end = pull(&mut harness, "Hue of Hα", vec2(0.0, 55.0), Modifiers::CTRL);
    drop(&mut harness, end);
    let [_, saturation, after] = numbers(&harness, "ha");
    assert!((saturation - 0.45).abs() < 0.01, "{saturation}");
    assert_eq!(after, strength);
    assert_eq!(steps(&harness), ["Strength of Hα", "Saturation of Hα"]);
}

#[test]
fn shift_pulls_finely() {
    let mut harness = stage(sample());
    let end = pull(&mut harness, "Hue of Hα", vec2(60.0, 0.0), Modifiers::SHIFT);
    drop(&mut harness, end);
    let moved = numbers(&harness, "ha")[0] - 75.0;
    assert!((moved - 6.0 * degrees_per_point()).abs() < 0.2, "{moved}");
}

/// Near the hue opposite to another channel an end stays on it; Alt goes past.
#[test]
fn ends_are_drawn_to_hues_that_belong_together() {
    let two = || {
        desk(
            &[("ha", "Ha"), ("oiii", "OIII")],
            "ha = { hue = 20 }, oiii = { hue = 180 }",
        )
    };
    // 200 is opposite to 20; both pulls end a good degree short of it.
    let way = vec2((18.8 / degrees_per_point()) as f32, 0.0);
    for (modifiers, snapped) in [(Modifiers::NONE, true), (Modifiers::ALT, false)] {
        let mut harness = stage(two());
        let end = pull(&mut harness, "Hue of [O III]", way, modifiers);
        drop(&mut harness, end);
        let hue = numbers(&harness, "oiii")[0];
        assert_eq!(hue == 200.0, snapped, "{hue}");
        assert!((hue - 200.0).abs() < 2.5, "{hue}");
    }
}

#[test]
fn escape_takes_a_pull_back() {
    let mut harness = stage(sample());
    let end = pull(&mut harness, "Hue of Hα", vec2(90.0, 0.0), Modifiers::NONE);
    harness.key_press(Key::Escape);
    harness.step();
    harness.hover_at(end + vec2(30.0, 0.0));
    harness.step();
    drop(&mut harness, end + vec2(30.0, 0.0));
    assert_eq!(numbers(&harness, "ha")[0], 75.0);
    assert!(steps(&harness).is_empty());
}

/// Natural colours stand at their hue; pulled, they become a mapped colour that
/// begins where they stood.
#[test]
fn a_natural_line_becomes_a_mapped_one() {
    let mut state = sample();
    state.view.rendition = "natural".into();
    let mut harness = stage(state);
    let before = harness
        .get_by_label("Hue of [O III]")
        .accesskit_node()
        .numeric_value()
        .unwrap();
    let end = pull(
        &mut harness,
        "Hue of [O III]",
        vec2(40.0, 0.0),
        Modifiers::ALT,
    );
    drop(&mut harness, end);
    let [hue, saturation, strength] = numbers(&harness, "oiii");
    let truth = before + 40.0 * degrees_per_point();
    assert!((hue - truth).abs() < 1.0, "{hue} against {truth}");
    assert_eq!((saturation, strength), (1.0, 1.0));
    // And home again by the key.
    harness.get_by_label("Hue of [O III]").focus();
    harness.run();
    harness.key_press(Key::Home);
    harness.run();
    assert_eq!(color(&harness, "oiii"), Some(ColorValue::Natural));
}

/// The fields show rounded digits; one that the keyboard only passes has read nothing
/// but these.
#[test]
fn tab_through_the_numbers_changes_nothing() {
    let mut state = sample();
    state.view.rendition = "natural".into();
    state.selected = Some("oiii".into());
    let mut harness = stage(state);
    let before = harness.state().state.recipe().clone();
    for _ in 0..60 {
        harness.key_press(Key::Tab);
        harness.run();
    }
    assert!(*harness.state().state.recipe() == before);
    assert_eq!(steps(&harness), [""; 0]);
}

/// Beyond the right end of the scale lies white; back from there the end has a
/// hue again.
#[test]
fn white_has_a_stop_of_its_own() {
    let mut harness = stage(desk(
        &[("ha", "Ha"), ("l", "L")],
        "ha = { hue = 320 }, l = \"natural\"",
    ));
    let way = vec2(
        ((0.98 - hue_place(320.0)) * 360.0 / 0.94 / degrees_per_point()) as f32,
        0.0,
    );
    let end = pull(&mut harness, "Hue of Hα", way, Modifiers::ALT);
    drop(&mut harness, end);
    assert_eq!(numbers(&harness, "ha")[1], 0.0);
    let ends = ["Hue of Hα", "Hue of L"].map(|name| middle(&harness, name));
    assert!((ends[0].x - ends[1].x).abs() < 0.5 && (ends[0].y - ends[1].y).abs() > 8.0);
    let end = pull(&mut harness, "Hue of L", vec2(-200.0, 0.0), Modifiers::ALT);
    drop(&mut harness, end);
    assert_eq!(numbers(&harness, "l")[1], 1.0);
}

/// Ends at one hue hang below each other: each can be pulled.
#[test]
fn channels_at_one_hue_stay_apart() {
    let mut harness = stage(desk(
        &[
            ("oi", "OI"),
            ("ha", "Ha"),
            ("nii", "NII"),
            ("sii", "SII"),
            ("ariii", "ArIII"),
        ],
        "ha = { hue = 30 }, nii = { hue = 30 }, sii = { hue = 30 }, oi = { hue = 30 }, \
         ariii = { hue = 30 }",
    ));
    let names = [
        "Hue of [O I]",
        "Hue of Hα",
        "Hue of [N II]",
        "Hue of [S II]",
        "Hue of [Ar III]",
    ];
    let places = names.map(|name| middle(&harness, name));
    for pair in places.windows(2) {
        assert!((pair[0].y - pair[1].y).abs() >= 13.0, "{places:?}");
    }
    let before = places[4];
    let end = pull(&mut harness, names[2], vec2(50.0, 0.0), Modifiers::ALT);
    assert_eq!(
        middle(&harness, names[4]),
        before,
        "nothing moves meanwhile"
    );
    drop(&mut harness, end);
    assert!(numbers(&harness, "nii")[0] > 40.0);
    assert_eq!(numbers(&harness, "ha")[0], 30.0);
    assert_eq!(numbers(&harness, "sii")[0], 30.0);
}

#[test]
fn keys_step_hue_strength_and_saturation() {
    let mut harness = stage(sample());
    harness.get_by_label("Hue of Hα").focus();
    harness.run();
    for (modifiers, key) in [
        (Modifiers::NONE, Key::ArrowRight),
        (Modifiers::SHIFT, Key::ArrowRight),
        (Modifiers::CTRL, Key::ArrowRight),
        (Modifiers::NONE, Key::ArrowUp),
        (Modifiers::NONE, Key::PageDown),
    ] {
        harness.key_press_modifiers(modifiers, key);
        harness.run();
    }
    let [hue, saturation, strength] = numbers(&harness, "ha");
    assert!((hue - 86.1).abs() < 1e-9, "{hue}");
    assert!((saturation - 0.93).abs() < 1e-9 && (strength - 0.97).abs() < 1e-9);
    assert_eq!(harness.state().state.selected.as_deref(), Some("ha"));
}

/// A key that is held must not fill the history.
#[test]
fn a_held_key_is_one_step() {
    let mut harness = stage(sample());
    harness.get_by_label("Hue of Hα").focus();
    harness.run();
    for repeat in [false, true, true, true] {
        harness.event(Event::Key {
            key: Key::ArrowRight,
            physical_key: None,
            pressed: true,
            repeat,
            modifiers: Modifiers::NONE,
        });
        harness.step();
    }
    assert!(steps(&harness).is_empty());
    harness.key_up(Key::ArrowRight);
    harness.run();
    assert_eq!(numbers(&harness, "ha")[0], 79.0);
    assert_eq!(steps(&harness), ["Hue of Hα"]);
}

#[test]
fn tab_goes_through_the_ends_by_wavelength() {
    let mut harness = stage(sample());
    harness.get_by_label("Hue of [O III]").focus();
    harness.run();
    let mut seen = Vec::new();
    for _ in 0..2 {
        harness.key_press(Key::Tab);
        harness.run();
        seen.extend(harness.state().state.selected.clone());
    }
    assert_eq!(seen, ["ha", "sii"]);
}

#[test]
fn a_screen_reader_sets_and_steps_the_hue() {
    let mut harness = stage(sample());
    harness
        .get_by_role_and_label(Role::Slider, "Hue of [O III]")
        .set_value_accesskit(120.0);
    harness.run();
    assert_eq!(numbers(&harness, "oiii")[0], 120.0);
    harness.get_by_label("Hue of [O III]").increment_accesskit();
    harness.run();
    harness.get_by_label("Hue of [O III]").decrement_accesskit();
    harness.run();
    assert_eq!(numbers(&harness, "oiii")[0], 120.0);
    assert_eq!(steps(&harness).len(), 3);
}

#[test]
fn colors_are_typed() {
    let mut state = sample();
    state.selected = Some("ha".into());
    let mut harness = stage(state);
    let field = harness.get_by_role_and_label(Role::TextInput, "Colour as text");
    field.focus();
    harness.run();
    harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    harness.run();
    harness
        .get_by_role_and_label(Role::TextInput, "Colour as text")
        .type_text("goldenrod");
    harness.run();
    harness.key_press(Key::Enter);
    harness.run();
    assert_eq!(
        color(&harness, "ha"),
        Some(ColorValue::Css("goldenrod".into()))
    );
    assert_eq!(steps(&harness), ["Colour of Hα"]);
}

#[test]
fn what_is_no_color_changes_nothing_and_is_said() {
    let mut state = sample();
    state.selected = Some("ha".into());
    let mut harness = stage(state);
    harness
        .get_by_role_and_label(Role::TextInput, "Colour as text")
        .focus();
    harness.run();
    harness
        .get_by_role_and_label(Role::TextInput, "Colour as text")
        .type_text("zzz");
    harness.run();
    harness.key_press(Key::Enter);
    harness.run();
    assert_eq!(numbers(&harness, "ha")[0], 75.0);
    let said = |ask: &Ask| matches!(ask, Ask::Say(words) if words.contains("not a CSS color"));
    assert!(harness.state().asked.iter().any(said));
}

/// A colour shows while it is typed; what began as one and ended as none
/// leaves the picture as it was.
#[test]
fn typing_on_past_a_color_takes_it_back() {
    let mut state = sample();
    state.selected = Some("ha".into());
    let mut harness = stage(state);
    let field = |harness: &Harness<'_, Stage>, text: &str| {
        let field = harness.get_by_role_and_label(Role::TextInput, "Colour as text");
        field.focus();
        field.type_text(text);
    };
    field(&harness, "");
    harness.run();
    harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    harness.run();
    field(&harness, "red");
    harness.run();
    assert_eq!(color(&harness, "ha"), Some(ColorValue::Css("red".into())));
    field(&harness, "dish");
    harness.run();
    harness.key_press(Key::Enter);
    harness.run();
    assert_eq!(numbers(&harness, "ha")[0], 75.0);
    assert!(steps(&harness).is_empty());
}

#[test]
fn the_numbers_of_the_selected_end_are_set() {
    let mut state = sample();
    state.selected = Some("ha".into());
    let mut harness = stage(state);
    for (name, value) in [("Hue", 200.0), ("Saturation", 50.0), ("Strength", 1.5)] {
        harness
            .get_by_role_and_label(Role::SpinButton, name)
            .set_value_accesskit(value);
        harness.run();
    }
    assert_eq!(numbers(&harness, "ha"), [200.0, 0.5, 1.5]);
}

#[test]
fn channels_are_left_out_and_given_back() {
    let mut state = sample();
    state.selected = Some("ha".into());
    let mut harness = stage(state);
    harness.get_by_label("Leave out").click();
    harness.run();
    assert_eq!(color(&harness, "ha"), None);
    assert!(harness.query_by_label("Hue of Hα").is_none());
    harness.get_by_label("Give Hα a colour").click();
    harness.run();
    // The widest gap lies between [O III] at 233 and [S II] in the reds.
    let hue = numbers(&harness, "ha")[0];
    assert!((110.0..160.0).contains(&hue), "{hue}");
    assert_eq!(steps(&harness), ["Leave out Hα", "Give Hα a colour"]);
    harness.get_by_label("Hue of Hα").focus();
    harness.run();
    harness.key_press(Key::Delete);
    harness.run();
    assert_eq!(color(&harness, "ha"), None);
}

/// A rendition without a colour could not be read again.
#[test]
fn the_last_channel_stays() {
    let mut harness = stage(desk(&[("ha", "Ha")], "ha = { hue = 30 }"));
    harness.get_by_label("Hue of Hα").focus();
    harness.run();
    harness.key_press(Key::Delete);
    harness.run();
    assert!(color(&harness, "ha").is_some());
}

/// Invisible light is there, can be given a hue, and has no natural colour.
#[test]
fn infrared_is_folded_in() {
    let mut harness = stage(desk(&[("ha", "Ha"), ("siii", "SIII")], "ha = \"natural\""));
    harness.get_by_label("Give [S III] a colour").click();
    harness.run();
    let hue = numbers(&harness, "siii")[0];
    harness.get_by_label("Hue of [S III]").focus();
    harness.run();
    harness.key_press(Key::Home);
    harness.run();
    assert_eq!(numbers(&harness, "siii")[0], hue, "no colour of its own");
}

#[test]
fn broad_bands_take_part() {
    let mut harness = stage(desk(
        &[("l", "L"), ("r", "R"), ("g", "G"), ("ha", "Ha")],
        "l = \"natural\", r = \"natural\"",
    ));
    assert!(harness.query_by_label("Hue of L").is_some());
    harness.get_by_label("Give G a colour").click();
    harness.run();
    assert_eq!(color(&harness, "g"), Some(ColorValue::Natural));
    harness.get_by_label("Select R").click();
    harness.run();
    assert_eq!(harness.state().state.selected.as_deref(), Some("r"));
}

/// Nothing panics without channels, and no end leaves a narrow window.
#[test]
fn an_empty_desk_and_narrow_windows_are_drawn() {
    stage(State::empty());
    for width in [420.0, 1024.0, 2560.0] {
        let mut harness = panel(sample(), [width, 300.0], line_map::show);
        harness.run();
        for name in ["Hue of [O III]", "Hue of Hα", "Hue of [S II]"] {
            let rect = harness.get_by_label(name).rect();
            assert!(
                rect.left() > 0.0 && rect.right() < width,
                "{name} at {width}"
            );
        }
    }
}
