//! Stars, noise, brightness: each control leads to the recipe it names, as one
//! step, and says why where it cannot be had.

use egui::Key;
use egui::accesskit::Role;
use egui::vec2;
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::engine::recipe::{Shape, ShowStars};
use linehue::gui::app::App;
use linehue::gui::asks::Ask;
use linehue::gui::command::Command;
use linehue::gui::panels::canvas::pictures::effective;
use linehue::gui::panels::{channels, status};
use linehue::gui::theme::Theme;
use linehue::work::desk::{Layer, Parts};
use linehue::work::history::History;

use super::broad::{
    broad, channel, click, is_off, mixing, open, picture, rendition, says, steps, type_number,
    window,
};
use super::support::{Stage, panel, sample};

#[test]
fn stars_show_in_four_ways() {
    let mut harness = mixing(broad());
    assert!(says(&harness, "As mixed, as they are"), "the summary");
    assert!(says(&harness, "L  takes no part"));
    open(&mut harness, "Stars");
    for (word, show) in [
        ("Neutral", ShowStars::Neutral),
        ("RGB", ShowStars::Broadband),
        ("None", ShowStars::None),
    ] {
        click(&mut harness, Role::RadioButton, word);
        assert_eq!(rendition(&harness).star_look().show, show);
        assert!(says(&harness, "L  only tells of stars"), "{word}");
    }
    let size = harness.get_by_role_and_label(Role::Slider, "Star size");
    assert!(size.accesskit_node().is_disabled(), "there are none");
    click(&mut harness, Role::RadioButton, "As mixed");
    assert_eq!(rendition(&harness).stars, None);
    assert_eq!(
        steps(&harness),
        [
            "Stars neutral",
            "Stars broadband",
            "Stars none",
            "Stars as mixed"
        ]
    );
}

/// A broad channel that is not mixed gives broadband stars their colours; L, or all
/// broad ones where there is none, tells where stars are.
#[test]
fn what_is_not_mixed_says_what_it_does_for_stars() {
    let mut state = broad();
    let mut recipe = state.recipe().clone();
    recipe.renditions[0].colors.remove("r");
    state.history = History::new("Open", recipe);
    let mut harness = mixing(state);
    open(&mut harness, "Stars");
    for (way, words) in [
        ("Neutral", ["L  only tells of stars", "R  takes no part"]),
        ("RGB", ["L  only tells of stars", "R  only colours stars"]),
        ("As mixed", ["L  takes no part", "R  takes no part"]),
    ] {
        click(&mut harness, Role::RadioButton, way);
        for word in words {
            assert!(says(&harness, word), "{way}: {word}");
        }
    }
}

#[test]
fn broadband_stars_say_what_they_lack() {
    let mut harness = mixing(sample());
    open(&mut harness, "Stars");
    is_off(&mut harness, "RGB", "there is no channel of R");
    assert_eq!(steps(&harness), [""; 0]);
}

#[test]
fn star_size_and_brightness_are_typed_dragged_and_put_back() {
    let mut harness = mixing(broad());
    open(&mut harness, "Stars");
    type_number(&mut harness, "Star size, number", "0.5");
    type_number(&mut harness, "Star brightness, number", "9");
    let look = rendition(&harness).star_look();
    assert_eq!((look.size, look.brightness), (0.5, 3.0));
    click(&mut harness, Role::Button, "Star brightness as it is");
    assert_eq!(rendition(&harness).star_look().brightness, 1.0);
    let rect = harness
        .get_by_role_and_label(Role::Slider, "Star brightness")
        .rect();
    harness.drag_at(rect.center());
    harness.run();
    harness.hover_at(rect.center() + vec2(20.0, 0.0));
    harness.run();
    harness.hover_at(rect.center() + vec2(40.0, 0.0));
    harness.run();
    harness.drop_at(rect.center() + vec2(40.0, 0.0));
    harness.run();
    assert!(rendition(&harness).star_look().brightness > 1.6);
    assert_eq!(
        steps(&harness),
        [
            "Star size",
            "Star brightness",
            "Star brightness as it is",
            "Star brightness"
        ]
    );
    // Frames of a test are a quarter of a second apart.
    harness
        .ctx
        .options_mut(|options| options.input_options.max_double_click_delay = 3.0);
    for _ in 0..2 {
        harness.drag_at(rect.center());
        harness.drop_at(rect.center());
    }
    harness.run();
    assert_eq!(rendition(&harness).star_look().brightness, 1.0);
    assert_eq!(rendition(&harness).star_look().size, 0.5);
}

#[test]
fn a_folded_section_says_what_is_on() {
    let mut state = broad();
    let mut recipe = state.recipe().clone();
    recipe.channels[1].denoise = Some(0.4);
    recipe.renditions[0].smooth_color = Some(0.25);
    recipe.renditions[0].stars = Some(linehue::engine::recipe::StarLook {
        show: ShowStars::Neutral,
        size: 0.7,
        brightness: 1.0,
    });
    state.history = History::new("Open", recipe);
    let mut harness = mixing(state);
    picture(&mut harness, "mix-folded");
    assert!(says(&harness, "Neutral, size 70 %"));
    assert!(says(&harness, "Hα 40 %, colours 25 %"));
    assert!(says(&harness, "As the channels are"));
}

#[test]
fn the_noise_of_a_channel_and_the_same_for_all() {
    let mut harness = panel(broad(), [306.0, 2400.0], channels::show);
    harness.run();
    type_number(&mut harness, "Noise of Hα, number", "40");
    assert_eq!(channel(&harness, "ha").denoise, Some(0.4));
    assert_eq!(channel(&harness, "oiii").denoise, None);
    assert!(says(&harness, "noise smoothed 40 %"));
    click(&mut harness, Role::Button, "Noise of Hα for all");
    let recipe = harness.state().state.recipe();
    assert!(recipe.channels.iter().all(|c| c.denoise == Some(0.4)));
    is_off(
        &mut harness,
        "Noise of Hα for all",
        "have this share already",
    );
    type_number(&mut harness, "Noise of Hα, number", "0");
    assert_eq!(channel(&harness, "ha").denoise, None, "0 is not written");
    assert_eq!(
        steps(&harness),
        ["Noise of Hα", "Noise of Hα for all", "Noise of Hα"]
    );
}

#[test]
fn colours_are_smoothed_by_themselves() {
    let mut harness = mixing(broad());
    open(&mut harness, "Noise");
    is_off(
        &mut harness,
        "Without noise reduction",
        "No noise is smoothed",
    );
    type_number(&mut harness, "Smoother colours, number", "60");
    assert_eq!(rendition(&harness).smooth_color, Some(0.6));
    click(&mut harness, Role::Button, "Without noise reduction");
    let asked = &harness.state().asked;
    let asked = asked
        .iter()
        .any(|ask| matches!(ask, Ask::Run(Command::BeforeNoise)));
    assert!(asked);
    type_number(&mut harness, "Smoother colours, number", "0");
    assert_eq!(rendition(&harness).smooth_color, None);
    assert_eq!(steps(&harness), ["Smoother colours", "Smoother colours"]);
}

#[test]
fn fine_structure_and_a_stretch_of_its_own_for_the_brightness() {
    let mut harness = mixing(broad());
    click(&mut harness, Role::RadioButton, "Channels");
    click(&mut harness, Role::Button, "Brightness from L alone");
    type_number(&mut harness, "Brightness detail, number", "50");
    click(&mut harness, Role::CheckBox, "Stretched by itself");
    let luminance = |harness: &Harness<'static, Stage>| rendition(harness).luminance.unwrap();
    let now = luminance(&harness);
    assert_eq!(now.from.keys().collect::<Vec<_>>(), ["l"]);
    assert_eq!(now.detail, Some(0.5));
    assert_eq!(now.stretch, Some(channel(&harness, "l").stretch));
    type_number(
        &mut harness,
        "Value of the black point of the brightness",
        "44",
    );
    click(&mut harness, Role::Button, "Shape log of the brightness");
    type_number(&mut harness, "Value of the amount of the brightness", "70");
    let stretch = luminance(&harness).stretch.unwrap();
    assert_eq!((stretch.black, stretch.shape), (44.0, Shape::Log));
    assert_eq!(stretch.amount, Some(70.0));
    click(&mut harness, Role::CheckBox, "Stretched by itself");
    assert_eq!(luminance(&harness).stretch, None);
    assert_eq!(
        steps(&harness),
        [
            "Brightness from channels",
            "Brightness from L",
            "Brightness detail",
            "Brightness stretched by itself",
            "Black point of the brightness",
            "Shape of the brightness",
            "Amount of the brightness",
            "Brightness stretched with the channels",
        ]
    );
}

#[test]
fn the_status_says_that_stars_are_told_apart() {
    let mut state = broad();
    let words = "Telling stars apart ...";
    state.parts_pending = true;
    let mut harness = panel(state, [900.0, 30.0], status::show);
    harness.run();
    harness.get_by_label(words);
    harness.state_mut().state.parts_pending = false;
    harness.run();
    assert!(harness.query_by_label(words).is_none());
}

/// Who stops it learns that the picture is not what an export makes of it, and
/// how to have that.
#[test]
fn the_status_says_that_stars_were_left_and_goes_on() {
    let mut state = broad();
    state.parts_stopped = true;
    let mut harness = panel(state, [900.0, 30.0], status::show);
    harness.run();
    harness.get_by_label("Stars or noise show that an export takes off");
    click(&mut harness, Role::Button, "Take them off here too");
    let asked = &harness.state().asked;
    assert!(asked.iter().any(|ask| matches!(ask, Ask::GoOnWithParts)));
    harness.state_mut().state.parts_stopped = false;
    harness.run();
    assert!(!says(&harness, "that an export takes off"));
}

fn words_on(harness: &Harness<'_, App>, words: &str) -> bool {
    let shapes = harness.output().shapes.iter();
    shapes.into_iter().any(|clipped| {
        matches!(&clipped.shape, egui::Shape::Text(text) if text.galley.text().contains(words))
    })
}

#[test]
fn the_picture_before_noise_reduction_is_a_look_and_no_edit() {
    let mut state = sample();
    let mut recipe = state.recipe().clone();
    recipe.channels[1].denoise = Some(0.4);
    recipe.renditions[0].smooth_color = Some(0.3);
    state.history = History::new("Open", recipe.clone());
    let shown = |harness: &Harness<'_, App>| {
        let state = &harness.state().state;
        effective(state, &["mapped"]).unwrap()
    };
    let words = "Without noise reduction (B";
    let mut harness = window(state, [1440.0, 900.0], Theme::Dark);
    let before = shown(&harness);
    harness.key_press(Key::B);
    harness.run_steps(3);
    let noisy = shown(&harness);
    assert_eq!(noisy.channels[1].denoise, None);
    assert_eq!(noisy.renditions[0].smooth_color, None);
    assert!(words_on(&harness, words));
    assert_eq!(*harness.state().state.recipe(), recipe, "no edit");
    assert!(harness.state().state.history.undo_label().is_none());
    harness.key_press(Key::B);
    harness.run_steps(3);
    assert_eq!(shown(&harness), before);
    assert!(!words_on(&harness, words));
}

#[test]
fn there_is_no_before_where_nothing_is_smoothed() {
    let mut harness = window(sample(), [1440.0, 900.0], Theme::Dark);
    harness.key_press(Key::B);
    harness.run_steps(3);
    assert!(!harness.state().state.view.before_noise);
    assert!(harness.state().state.said.contains("No noise"));
}

/// A channel that comes into memory after the others loses its false star
/// colours as they did.
#[test]
fn stars_are_told_apart_in_a_channel_that_comes_late() {
    let mut state = sample();
    let recipe = state.with_rendition(|rendition| {
        rendition.stars = Some(linehue::engine::recipe::StarLook {
            show: ShowStars::Neutral,
            ..Default::default()
        });
    });
    state.history = History::new("Open", recipe);
    let mut harness = window(state, [1440.0, 900.0], Theme::Dark);
    let apart = |harness: &Harness<'static, App>, id: &str| {
        let layers = &harness.state().state.layers;
        layers.get(id).is_some_and(|l| !l.parts.apart.is_empty())
    };
    harness.run_steps(4);
    for id in ["sii", "ha", "oiii"] {
        assert!(apart(&harness, id), "{id}");
    }
    assert!(!harness.state().state.parts_pending);
    let layers = &mut harness.state_mut().state.layers;
    let late = Layer {
        parts: Parts::default(),
        ..Layer::clone(&layers["ha"])
    };
    layers.insert("ha".to_owned(), late.into());
    assert!(!apart(&harness, "ha"));
    // The desk is looked over with the next edit, even one that asks for
    // nothing new.
    let state = &mut harness.state_mut().state;
    let paler = state.with_rendition(|rendition| rendition.saturation = Some(0.9));
    state.history.set("Paler", paler);
    harness.run_steps(4);
    assert!(apart(&harness, "ha"));
}
