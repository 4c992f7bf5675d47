//! The channels panel.

use std::path::PathBuf;
use std::sync::Arc;

use egui::accesskit::Role;
use egui::{Key, PointerButton, Pos2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::engine::recipe::{Shape, check};
use linehue::gui::asks::Ask;
use linehue::gui::command::Command;
use linehue::gui::panels::channels;
use linehue::gui::state::{FileRow, Running, State};
use linehue::io::record::{AlignEntry, LevelEntry};
use linehue::work::desk::{Layer, RowState};
use linehue::work::history::History;

use crate::support::{Stage, layer, panel, sample};

const TALL: [f32; 2] = [306.0, 1500.0];

fn stage(state: State) -> Harness<'static, Stage> {
    let mut harness = panel(state, TALL, channels::show);
    harness.run();
    harness
}

/// The sample field in memory, Hα worked on.
fn desk() -> State {
    let mut state = sample();
    for channel in state.recipe().channels.clone() {
        let layer = layer(64, 48, 60.0, 250.0);
        state.layers.insert(channel.id, layer);
    }
    state.selected = Some("ha".to_owned());
    state
}

fn row(state: RowState) -> State {
    let mut desk = State::empty();
    desk.rows = vec![FileRow {
        path: PathBuf::from("/nights/lantern-shell-ha-5nm-stack.fits"),
        ticket: 7,
        state,
        share: 0.4,
    }];
    desk
}

fn click(harness: &mut Harness<'static, Stage>, label: &str) {
    harness.get_by_role_and_label(Role::Button, label).click();
    harness.run();
}

/// What was asked for since the last time.
fn asked(harness: &mut Harness<'static, Stage>) -> Vec<Ask> {
    let stage = harness.state_mut();
    check_sound(&stage.state);
    std::mem::take(&mut stage.asked)
}

fn check_sound(state: &State) {
    if !state.recipe().channels.is_empty() {
        check::whole(state.recipe()).unwrap();
    }
}

fn labels(asks: &[Ask]) -> Vec<&str> {
    asks.iter()
        .filter_map(|ask| match ask {
            Ask::Edit { label, .. } => Some(label.as_str()),
            _ => None,
        })
        .collect()
}

fn stretch(harness: &Harness<'static, Stage>, id: &str) -> linehue::engine::recipe::Stretch {
    let recipe = harness.state().state.recipe();
    recipe.channel(id).unwrap().stretch.clone()
}

fn says(harness: &Harness<'static, Stage>, text: &str) -> bool {
    harness.query_all_by_label_contains(text).next().is_some()
}

#[test]
fn an_empty_desk_says_how_to_begin() {
    let mut state = State::empty();
    state.recent = vec![PathBuf::from("/nights/lantern.toml")];
    let mut harness = stage(state);
    click(&mut harness, "Open ...");
    click(&mut harness, "Open the sample field");
    click(&mut harness, "lantern.toml");
    let asks = asked(&mut harness);
    assert!(matches!(&asks[0], Ask::Run(Command::Open)));
    assert!(matches!(&asks[1], Ask::Run(Command::OpenSample)));
    assert!(matches!(&asks[2], Ask::Open(paths) if paths[0].ends_with("lantern.toml")));
    assert!(harness.query_by_label("Prepare").is_none());
}

#[test]
fn the_head_opens_and_prepares() {
    let mut harness = stage(desk());
    click(&mut harness, "Open ...");
    click(&mut harness, "Prepare");
    let asks = asked(&mut harness);
    assert!(matches!(asks[0], Ask::Run(Command::Open)));
    assert!(matches!(asks[1], Ask::Run(Command::Prepare)));
}

#[test]
fn a_job_tells_its_step_and_can_be_stopped() {
    let mut state = desk();
    state.jobs = vec![Running {
        ticket: 3,
        title: "Preparing".to_owned(),
        step: "matching stars".to_owned(),
        channel: Some("oiii".to_owned()),
        share: 0.42,
    }];
    let mut harness = stage(state);
    assert!(says(&harness, "oiii: matching stars, 42 %"));
    click(&mut harness, "Stop Preparing");
    assert!(matches!(asked(&mut harness)[..], [Ask::Cancel(3)]));
}

#[test]
fn a_file_that_is_read_can_be_stopped_by_itself() {
    let mut harness = stage(row(RowState::Waiting));
    click(&mut harness, "Stop lantern-shell-ha-5nm-stack.fits");
    let asks = asked(&mut harness);
    let path = "/nights/lantern-shell-ha-5nm-stack.fits";
    assert!(matches!(&asks[..], [Ask::CancelPart(7, part)] if part == path));
}

#[test]
fn a_file_that_failed_says_why_and_can_be_tried_again() {
    let mut harness = stage(row(RowState::Failed {
        what: "the file ends in the middle of row 812".to_owned(),
        hint: "copy it again".to_owned(),
    }));
    assert!(says(&harness, "the file ends in the middle of row 812"));
    assert!(says(&harness, "copy it again"));
    click(&mut harness, "Try lantern-shell-ha-5nm-stack.fits again");
    click(&mut harness, "Dismiss lantern-shell-ha-5nm-stack.fits");
    let asks = asked(&mut harness);
    assert!(matches!(&asks[..], [Ask::Open(_), Ask::Dismiss(_)]));
}

#[test]
fn a_line_is_named_by_a_guess_or_by_a_search() {
    let mut harness = stage(row(RowState::NeedsLine {
        why: "the name fits two lines".to_owned(),
        guesses: vec!["Ha".to_owned(), "NII".to_owned()],
    }));
    assert!(says(&harness, "Which line is this?"));
    click(&mut harness, "lantern-shell-ha-5nm-stack.fits is [N II]");
    let named =
        |asks: &[Ask], wanted: &str| matches!(asks, [Ask::NameLine { line, .. }] if line == wanted);
    assert!(named(&asked(&mut harness), "NII"));
    let field = harness.get_by_role(Role::TextInput);
    field.focus();
    harness.run();
    harness.get_by_role(Role::TextInput).type_text("500.7");
    harness.run();
    assert!(!says(&harness, "672.4 nm"));
    harness.get_by_label_contains("[O III]   500.7 nm").click();
    harness.run();
    assert!(named(&asked(&mut harness), "OIII"));
}

#[test]
fn a_file_that_became_a_channel_is_no_row_any_more() {
    let harness = stage(row(RowState::Taken {
        channel: "ha".to_owned(),
    }));
    assert!(!says(&harness, "lantern-shell-ha"));
}

#[test]
fn a_card_tells_what_the_channel_is_and_how_good() {
    let mut state = desk();
    let mut known: Layer = (*state.layers["ha"]).clone();
    known.align = Some(AlignEntry {
        method: "stars".to_owned(),
        model: "affine".to_owned(),
        matrix: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        distortion: None,
        resampling: "lanczos3".to_owned(),
        stars: Some(84),
        rms_px: Some(0.112),
    });
    known.level = Some(LevelEntry {
        kind: "polynomial of degree 1".to_owned(),
        amplitude: 140.0,
        amplitude_over_noise: Some(12.2),
        samples: 200,
        refused: 12,
    });
    state.layers.insert("ha".to_owned(), Arc::new(known));
    let mut harness = stage(state);
    for text in [
        "656.3 nm · 5 nm wide",
        "+ [N II]",
        "6 h 40 m",
        "S/N ",
        "84 stars, 0.11 px",
        "sky: plane, 12 × noise",
    ] {
        assert!(says(&harness, text), "{text}");
    }
    click(&mut harness, "View the sky model of Hα");
    let asks = asked(&mut harness);
    assert!(matches!(&asks[..], [Ask::ShowSky(Some(id))] if id == "ha"));
}

#[test]
fn a_channel_that_is_not_there_says_what_to_do() {
    let mut state = desk();
    state.layers.remove("oiii");
    assert!(says(&stage(state), "Needs Prepare: another size"));
    let mut state = desk();
    state.layers.remove("oiii");
    let failure = ("it is empty".to_owned(), "stack it again".to_owned());
    state.failures.insert("oiii".to_owned(), failure);
    let harness = stage(state);
    assert!(says(&harness, "it is empty") && says(&harness, "stack it again"));
    assert!(!says(&harness, "Needs Prepare"));
}

#[test]
fn a_card_is_selected_soloed_hidden_and_made_the_reference() {
    let mut harness = stage(desk());
    click(&mut harness, "[O III]");
    click(&mut harness, "Show [O III] alone");
    click(&mut harness, "Hide [O III]");
    click(&mut harness, "Make [O III] the reference");
    let asks = asked(&mut harness);
    assert!(matches!(&asks[0], Ask::Select(Some(id)) if id == "oiii"));
    assert!(matches!(&asks[1], Ask::Solo(Some(id)) if id == "oiii"));
    assert!(matches!(&asks[2], Ask::Hide { hidden: true, .. }));
    assert_eq!(labels(&asks), ["Reference [O III]"]);
    let recipe = harness.state().state.recipe();
    assert_eq!(recipe.reference.as_deref(), Some("oiii"));
}

#[test]
fn channels_change_places_and_leave_by_the_menu() {
    let mut harness = stage(desk());
    let ids = |harness: &Harness<'static, Stage>| -> Vec<String> {
        let recipe = harness.state().state.recipe();
        recipe.channels.iter().map(|one| one.id.clone()).collect()
    };
    click(&mut harness, "More for Hα");
    click(&mut harness, "Move up");
    assert_eq!(ids(&harness)[0], "ha");
    click(&mut harness, "More for [S II]");
    click(&mut harness, "Remove the channel");
    assert!(!ids(&harness).contains(&"sii".to_owned()));
    assert_eq!(labels(&asked(&mut harness)), ["Move Hα", "Take [S II] out"]);
    harness.state_mut().state.history.undo();
    assert!(ids(&harness).contains(&"sii".to_owned()));
}

#[test]
fn black_and_white_are_sliders_that_never_meet() {
    let mut harness = stage(desk());
    let slider = harness.get_by_role_and_label(Role::Slider, "Black point of Hα");
    assert_eq!(slider.accesskit_node().numeric_value(), Some(46.0));
    slider.set_value_accesskit(100.0);
    harness.run();
    assert_eq!(stretch(&harness, "ha").black, 100.0);
    harness
        .get_by_role_and_label(Role::Slider, "White point of Hα")
        .set_value_accesskit(20.0);
    harness.run();
    let now = stretch(&harness, "ha");
    assert!(now.white > now.black && now.white < 100.1, "{now:?}");
    let asks = asked(&mut harness);
    assert_eq!(labels(&asks), ["Black point of Hα", "White point of Hα"]);
}

/// As in the line map: the fields show fewer digits than a stretch may have.
#[test]
fn tab_through_the_cards_changes_nothing() {
    let mut state = desk();
    let mut recipe = state.recipe().clone();
    for channel in &mut recipe.channels {
        channel.stretch.black += 0.372_918_4;
        channel.stretch.white += 0.123_456_7;
        channel.stretch.shape = Shape::Asinh;
        channel.stretch.amount = Some(33.333_333_3);
    }
    state.history = History::new("Open", recipe.clone());
    let mut harness = stage(state);
    for _ in 0..120 {
        harness.key_press(Key::Tab);
        harness.run();
    }
    let history = &harness.state().state.history;
    let now = history.current();
    for (now, before) in now.channels.iter().zip(&recipe.channels) {
        assert_eq!(now, before);
    }
    assert!(*now == recipe);
    assert_eq!(history.steps().len(), 1);
}

#[test]
fn arrow_keys_move_the_focused_handle() {
    let mut harness = stage(desk());
    harness
        .get_by_role_and_label(Role::Slider, "White point of Hα")
        .focus();
    harness.run();
    let before = stretch(&harness, "ha").white;
    harness.key_press(Key::ArrowLeft);
    harness.run();
    let lower = stretch(&harness, "ha").white;
    assert!(lower < before);
    harness.key_press(Key::ArrowRight);
    harness.key_press(Key::ArrowRight);
    harness.run();
    assert!(stretch(&harness, "ha").white > before);
}

fn drag(harness: &mut Harness<'static, Stage>, from: Pos2, to: Pos2) {
    harness.drag_at(from);
    harness.run();
    for share in [0.3, 0.6, 1.0] {
        harness.hover_at(from + (to - from) * share);
        harness.run();
    }
    harness.drop_at(to);
    harness.run();
}

#[test]
fn a_drag_of_black_is_one_step_and_lands_under_the_pointer() {
    let mut harness = stage(desk());
    let handle = |harness: &Harness<'static, Stage>| {
        harness
            .get_by_role_and_label(Role::Slider, "Black point of Hα")
            .rect()
            .center()
    };
    let from = handle(&harness);
    let to = from + egui::vec2(40.0, 0.0);
    let steps = harness.state().state.history.steps().len();
    drag(&mut harness, from, to);
    assert!(stretch(&harness, "ha").black > 46.0);
    assert!(
        (handle(&harness).x - to.x).abs() < 1.5,
        "{:?}",
        handle(&harness)
    );
    assert_eq!(harness.state().state.history.steps().len(), steps + 1);
    let asks = asked(&mut harness);
    assert!(matches!(asks.last(), Some(Ask::Settle)));
    assert!(
        asks.iter()
            .any(|ask| matches!(ask, Ask::Edit { ongoing: true, .. }))
    );
}

#[test]
fn a_value_is_typed_in_file_units() {
    let mut harness = stage(desk());
    let field = "Value of the black point of Hα";
    harness.get_by_label(field).click();
    harness.run();
    harness.get_by_label(field).type_text("57.25");
    harness.key_press(Key::Enter);
    harness.run();
    assert!((stretch(&harness, "ha").black - 57.25).abs() < 0.5);
    assert_eq!(labels(&asked(&mut harness)), ["Black point of Hα"]);
}

#[test]
fn shapes_and_amounts() {
    let mut harness = stage(desk());
    click(&mut harness, "Shape bias");
    let bias = stretch(&harness, "ha");
    assert_eq!(bias.shape, Shape::Bias);
    assert!(bias.amount.unwrap() > 0.5 && bias.amount.unwrap() < 1.0);
    harness
        .get_by_role_and_label(Role::Slider, "Amount of Hα")
        .set_value_accesskit(0.7);
    harness.run();
    assert_eq!(stretch(&harness, "ha").amount, Some(0.7));
    click(&mut harness, "Usual amount of Hα");
    assert_eq!(stretch(&harness, "ha").amount, Some(0.85));
    click(&mut harness, "Shape linear");
    assert_eq!(stretch(&harness, "ha").amount, None);
    assert!(harness.query_by_label("Amount of Hα").is_none());
    let asks = asked(&mut harness);
    assert_eq!(
        labels(&asks),
        ["Shape of Hα", "Amount of Hα", "Amount of Hα", "Shape of Hα"]
    );
}

#[test]
fn auto_is_asked_for_and_same_for_all_follows_the_noise() {
    let mut state = desk();
    state
        .layers
        .insert("oiii".to_owned(), layer(64, 48, 30.0, 62.5));
    let mut harness = stage(state);
    click(&mut harness, "Auto stretch of Hα");
    click(&mut harness, "Stretch of Hα for all");
    let asks = asked(&mut harness);
    assert!(matches!(&asks[0], Ask::AutoStretch(id) if id == "ha"));
    assert_eq!(labels(&asks), ["Stretch of Hα for all"]);
    let (ha, oiii) = (stretch(&harness, "ha"), stretch(&harness, "oiii"));
    assert_eq!((ha.shape, ha.amount), (oiii.shape, oiii.amount));
    // A quarter of the noise: a quarter of the span.
    let ratio = (oiii.white - oiii.black) / (ha.white - ha.black);
    assert!((ratio - 0.25).abs() < 0.01, "{ratio}");
}

#[test]
fn curve_points_are_added_moved_and_taken_away() {
    let mut harness = stage(desk());
    assert_eq!(stretch(&harness, "ha").curve.unwrap().len(), 4);
    click(&mut harness, "Straighten the curve of Hα");
    assert_eq!(stretch(&harness, "ha").curve, None);

    click(&mut harness, "Add a point to the curve of Hα");
    assert_eq!(
        stretch(&harness, "ha").curve.unwrap(),
        [[0.0, 0.0], [0.5, 0.5], [1.0, 1.0]]
    );
    // The new one has the focus: arrows move it.
    harness.key_press(Key::ArrowUp);
    harness.key_press(Key::ArrowLeft);
    harness.run();
    assert_eq!(stretch(&harness, "ha").curve.unwrap()[1], [0.49, 0.51]);
    harness
        .get_by_role_and_label(Role::Slider, "Curve point 2 of Hα")
        .set_value_accesskit(0.75);
    harness.run();
    assert_eq!(stretch(&harness, "ha").curve.unwrap()[1], [0.49, 0.75]);
    harness.key_press(Key::Delete);
    harness.run();
    assert_eq!(stretch(&harness, "ha").curve, None);
    let asks = asked(&mut harness);
    assert!(labels(&asks).iter().all(|label| *label == "Curve of Hα"));
}

/// Clicks so often in a row.
fn press(harness: &mut Harness<'static, Stage>, pos: Pos2, button: PointerButton, times: usize) {
    // Each event takes a step of a quarter of a second here.
    harness
        .ctx
        .options_mut(|options| options.input_options.max_double_click_delay = 1.1);
    harness.hover_at(pos);
    // Clicks before these are long ago.
    harness.run_steps(16);
    for pressed in [true, false].repeat(times) {
        harness.event(egui::Event::PointerButton {
            pos,
            button,
            pressed,
            modifiers: egui::Modifiers::NONE,
        });
    }
    harness.run();
}

#[test]
fn the_pointer_does_the_same_to_curve_points() {
    let mut harness = stage(desk());
    click(&mut harness, "Straighten the curve of Hα");
    let spot = |harness: &Harness<'static, Stage>, place: usize| {
        let name = format!("Curve point {place} of Hα");
        let point = harness.get_by_role_and_label(Role::Slider, &name);
        point.rect().center()
    };
    let (low, high) = (spot(&harness, 1), spot(&harness, 2));
    let place = low + (high - low) * egui::vec2(0.25, 0.5);
    press(&mut harness, place, PointerButton::Primary, 2);
    let [x, y] = stretch(&harness, "ha").curve.unwrap()[1];
    assert!((x - 0.25).abs() < 0.01 && (y - 0.5).abs() < 0.01, "{x} {y}");

    let to = place + egui::vec2(20.0, -10.0);
    drag(&mut harness, place, to);
    let [moved_x, moved_y] = stretch(&harness, "ha").curve.unwrap()[1];
    assert!(
        moved_x > x + 0.05 && moved_y > y + 0.05,
        "{moved_x} {moved_y}"
    );

    let point = spot(&harness, 2);
    press(&mut harness, point, PointerButton::Secondary, 1);
    assert_eq!(stretch(&harness, "ha").curve, None);
    check_sound(&harness.state().state);
}

#[test]
fn a_click_anywhere_on_a_card_selects_its_channel() {
    let mut harness = stage(desk());
    let name = harness.get_by_role_and_label(Role::Button, "[O III]");
    let histogram = name.rect().left_bottom() + egui::vec2(60.0, 50.0);
    press(&mut harness, histogram, PointerButton::Primary, 1);
    let asks = asked(&mut harness);
    assert!(matches!(&asks[..], [Ask::Select(Some(id))] if id == "oiii"));
}

/// Nine channels, long names, files in every state, in a narrow panel.
#[test]
fn nothing_reaches_beyond_a_narrow_panel() {
    let mut state = desk();
    let mut recipe = state.recipe().clone();
    for place in 0..9 - recipe.channels.len() {
        let mut channel = recipe.channels[0].clone();
        channel.id = format!("the-northern-part-of-the-wall-{place}");
        channel.width_nm = Some(12.5);
        recipe.channels.push(channel);
    }
    state.history = History::new("Open", recipe);
    for state_of_row in [
        RowState::Waiting,
        RowState::Cancelled,
        RowState::Failed {
            what: "the file ends in the middle of row 812".to_owned(),
            hint: "copy it again from where it came from".to_owned(),
        },
        RowState::NeedsLine {
            why: "the name says nothing".to_owned(),
            guesses: ["Ha", "NII", "OIII", "SII"].map(str::to_owned).to_vec(),
        },
    ] {
        let mut rows = row(state_of_row).rows;
        rows[0].path = format!("/{}-{}.fits", "lantern".repeat(12), state.rows.len()).into();
        state.rows.append(&mut rows);
    }
    let width = 270.0;
    let mut harness = panel(state, [width, 3500.0], channels::show);
    harness.run();
    let mut seen = 0;
    for role in [
        Role::Button,
        Role::Slider,
        Role::SpinButton,
        Role::TextInput,
    ] {
        for node in harness.query_all_by_role(role) {
            let rect = node.rect();
            seen += 1;
            assert!(
                rect.max.x <= width && rect.min.x >= 0.0,
                "{node:?} {rect:?}"
            );
        }
    }
    assert!(seen > 60, "{seen}");
}
