//! Stars, noise, brightness, white balance, continuum: each control leads to the
//! recipe it names, as one step, and says why where it cannot be had.

use egui::accesskit::Role;
use egui::{Key, Rect, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::engine::recipe::{
    BalancedBy, Channel, ColorValue, Continuum, Rendition, Shape, ShowStars, check,
};
use linehue::gui::app::{App, Opening};
use linehue::gui::asks::Ask;
use linehue::gui::command::Command;
use linehue::gui::panels::canvas::pictures::effective;
use linehue::gui::panels::{canvas, channels, mix, status};
use linehue::gui::state::{Picking, State};
use linehue::gui::theme::{self, Theme};
use linehue::work::balance::BalanceBy;
use linehue::work::desk::{Layer, Parts, Worker};
use linehue::work::history::History;

use super::support::{Stage, layer, panel, sample};

/// The sample field with L, R, G and B beside the lines, R, G and B shown, every
/// channel in memory.
fn broad() -> State {
    let mut state = sample();
    let mut recipe = state.recipe().clone();
    let like = recipe.channels[1].clone();
    for line in ["L", "R", "G", "B"] {
        let id = line.to_lowercase();
        recipe.renditions[0]
            .colors
            .insert(id.clone(), ColorValue::Natural);
        recipe.channels.push(Channel {
            file: format!("lantern-{id}.fits"),
            id,
            line: line.to_owned(),
            width_nm: None,
            ..like.clone()
        });
    }
    recipe.renditions[0].colors.remove("l");
    assert_eq!(check::whole(&recipe), Ok(()));
    for channel in &recipe.channels {
        let layer = layer(64, 48, 60.0, 250.0);
        state.layers.insert(channel.id.clone(), layer);
    }
    state.selected = Some("ha".to_owned());
    state.history = History::new("Open", recipe);
    state
}

fn mixing(state: State) -> Harness<'static, Stage> {
    let mut harness = panel(state, [300.0, 3000.0], mix::show);
    harness.run();
    harness
}

fn open(harness: &mut Harness<'static, Stage>, section: &str) {
    harness.get_by_label(section).click();
    harness.run();
    harness.run();
}

fn click(harness: &mut Harness<'static, Stage>, role: Role, label: &str) {
    harness.get_by_role_and_label(role, label).click();
    harness.run();
}

fn rendition(harness: &Harness<'static, Stage>) -> Rendition {
    harness.state().state.rendition().unwrap().clone()
}

fn channel(harness: &Harness<'static, Stage>, id: &str) -> Channel {
    harness.state().state.recipe().channel(id).unwrap().clone()
}

fn steps(harness: &Harness<'static, Stage>) -> Vec<String> {
    let history = &harness.state().state.history;
    assert_eq!(check::whole(history.current()), Ok(()));
    let steps = history.steps().iter().skip(1);
    steps.map(|step| step.label.clone()).collect()
}

fn type_number(harness: &mut Harness<'static, Stage>, label: &str, number: &str) {
    harness.get_by_label(label).click();
    harness.run();
    harness.get_by_label(label).focus();
    harness.run();
    harness.key_press_modifiers(egui::Modifiers::COMMAND, Key::A);
    harness.run();
    harness.get_by_label(label).type_text(number);
    harness.run();
    harness.key_press(Key::Enter);
    harness.run();
}

fn says(harness: &Harness<'static, Stage>, text: &str) -> bool {
    harness.query_all_by_label_contains(text).next().is_some()
}

/// That a control is off, and that a pointer on it is told why.
fn is_off(harness: &mut Harness<'static, Stage>, label: &str, why: &str) {
    let node = harness.get_by_label(label);
    assert!(node.accesskit_node().is_disabled(), "{label}");
    node.hover();
    // A tooltip waits until the pointer has rested.
    harness.run_steps(8);
    assert!(says(harness, why), "{label} does not say: {why}");
}

#[test]
fn stars_show_in_four_ways() {
    let mut harness = mixing(broad());
    assert!(says(&harness, "As mixed, as they are"), "the summary");
    open(&mut harness, "Stars");
    for (word, show) in [
        ("Neutral", ShowStars::Neutral),
        ("RGB", ShowStars::Broadband),
        ("None", ShowStars::None),
    ] {
        click(&mut harness, Role::RadioButton, word);
        assert_eq!(rendition(&harness).star_look().show, show);
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
fn a_white_balance_is_there_for_broad_bands_alone() {
    assert!(mixing(sample()).query_by_label("White balance").is_none());
    let mut harness = mixing(broad());
    open(&mut harness, "White balance");
    type_number(&mut harness, "Gain of R", "1.25");
    let balance = rendition(&harness).balance.unwrap();
    assert_eq!(balance.gains, [1.25, 1.0, 1.0]);
    assert_eq!(balance.by, BalancedBy::Hand);
    assert!(says(&harness, "Given by hand."));
    click(&mut harness, Role::Button, "Reset the white balance");
    assert_eq!(rendition(&harness).balance, None);
    assert_eq!(steps(&harness), ["Gain of R", "No white balance"]);
}

#[test]
fn how_the_gains_were_found_is_said_with_its_uncertainty() {
    let mut state = broad();
    let mut recipe = state.recipe().clone();
    recipe.renditions[0].balance = Some(linehue::engine::recipe::Balance {
        gains: [1.25, 1.0, 0.8],
        sky: None,
        by: BalancedBy::Stars,
        uncertainty: Some([0.0125, 0.0, 0.016]),
        stars: Some(214),
        catalogue: None,
    });
    state.history = History::new("Open", recipe);
    let mut harness = mixing(state);
    assert!(says(
        &harness,
        "R 1.25, G 1.00, B 0.80, by the average of stars"
    ));
    open(&mut harness, "White balance");
    assert!(says(&harness, "The average of 214 stars is white"));
    assert!(says(&harness, "uncertain by R 1.0 %, G 0.0 %, B 2.0 %"));
}

#[test]
fn measuring_a_white_balance_is_asked_for() {
    let mut harness = mixing(broad());
    open(&mut harness, "White balance");
    for name in ["Average star", "A star ...", "A patch ...", "Catalogue ..."] {
        click(&mut harness, Role::Button, name);
    }
    let asked = &harness.state().asked;
    assert!(
        matches!(
            asked[..],
            [
                Ask::Balance(BalanceBy::Stars),
                Ask::Pick(Some(Picking::Star)),
                Ask::Pick(Some(Picking::Patch)),
                Ask::ChooseCatalogue
            ]
        ),
        "{asked:?}"
    );
    let mut state = broad();
    state.layers.remove("g");
    let mut harness = mixing(state);
    open(&mut harness, "White balance");
    is_off(&mut harness, "Average star", "not read yet");
}

fn canvas_with(picking: Picking) -> (Harness<'static, Stage>, Rect) {
    let mut state = broad();
    state.picking = Some(picking);
    let mut harness = panel(state, [900.0, 600.0], |ui, state, asks| {
        canvas::show(ui, state, asks);
    });
    harness.run_steps(3);
    let rect = harness.get_by_label("Picture").rect();
    (harness, rect)
}

fn balanced_by(harness: &Harness<'static, Stage>) -> Vec<BalanceBy> {
    let asked = harness.state().asked.iter();
    asked
        .filter_map(|ask| match ask {
            Ask::Balance(by) => Some(by.clone()),
            _ => None,
        })
        .collect()
}

#[test]
fn a_star_is_clicked() {
    let (mut harness, rect) = canvas_with(Picking::Star);
    harness.get_by_label("Click a star that is to be white");
    let at = rect.center();
    harness.hover_at(at);
    harness.run_steps(2);
    harness.drag_at(at);
    harness.drop_at(at);
    harness.run_steps(2);
    let by = balanced_by(&harness);
    let [BalanceBy::Star([x, y])] = by[..] else {
        panic!("{by:?}");
    };
    // The middle of 64 x 48 pixels, the centre of the first at 0; half a screen
    // pixel more or less.
    assert!((x - 31.5).abs() < 0.1 && (y - 23.5).abs() < 0.1, "{x} {y}");
    let state = &harness.state().state;
    assert!(state.view.probe.is_none() && state.view.place.is_none());
}

#[test]
fn a_patch_is_drawn() {
    let (mut harness, rect) = canvas_with(Picking::Patch);
    let at = rect.center();
    harness.hover_at(at);
    harness.run_steps(1);
    harness.drag_at(at);
    harness.run_steps(1);
    harness.hover_at(at + vec2(60.0, 50.0));
    harness.run_steps(2);
    harness.drop_at(at + vec2(60.0, 50.0));
    harness.run_steps(2);
    let by = balanced_by(&harness);
    let [BalanceBy::Patch([x, y, width, height])] = by[..] else {
        panic!("{by:?}");
    };
    assert!((31..=32).contains(&x) && (23..=24).contains(&y), "{x} {y}");
    assert!((2..20).contains(&width) && (2..20).contains(&height));
    assert!(
        harness.state().state.view.place.is_none(),
        "not dragged along"
    );
}

#[test]
fn picking_is_left_by_button() {
    let (mut harness, _) = canvas_with(Picking::Patch);
    harness.get_by_label("Leave it").click();
    harness.run_steps(2);
    let asked = &harness.state().asked;
    assert!(asked.iter().any(|ask| matches!(ask, Ask::Pick(None))));
}

#[test]
fn the_continuum_is_taken_out_by_a_broad_channel() {
    let mut harness = panel(broad(), [306.0, 2400.0], channels::show);
    harness.run();
    click(&mut harness, Role::Button, "More for Hα");
    click(&mut harness, Role::Button, "Continuum of Hα from R");
    let fitted = Continuum {
        from: "r".to_owned(),
        scale: None,
    };
    assert_eq!(channel(&harness, "ha").continuum, Some(fitted));
    assert!(says(&harness, "continuum by R out"));
    click(&mut harness, Role::Button, "Continuum of Hα by a factor");
    type_number(&mut harness, "Continuum factor of Hα", "0.25");
    let scale = channel(&harness, "ha").continuum.unwrap().scale;
    assert_eq!(scale, Some(0.25));
    click(
        &mut harness,
        Role::Button,
        "Continuum of Hα fitted on stars",
    );
    click(&mut harness, Role::Button, "No continuum out of Hα");
    assert_eq!(channel(&harness, "ha").continuum, None);
    assert_eq!(steps(&harness).len(), 5);
    assert!(
        steps(&harness)
            .iter()
            .all(|label| label == "Continuum of Hα")
    );
}

#[test]
fn without_a_broad_channel_there_is_no_continuum_to_take_out() {
    let mut harness = panel(sample(), [306.0, 2400.0], channels::show);
    harness.run();
    click(&mut harness, Role::Button, "More for Hα");
    is_off(&mut harness, "No continuum out of Hα", "no broad channel");
}

#[test]
fn true_color_with_emission_is_one_click() {
    let show = |state| {
        let mut harness = panel(state, [900.0, 600.0], |ui, state, asks| {
            canvas::show(ui, state, asks);
        });
        harness.run_steps(3);
        harness.get_by_label("Add a rendition").click();
        harness.run_steps(3);
        harness
    };
    let name = "True colour with emission";
    let mut harness = show(broad());
    is_off(&mut harness, name, "continuum taken out");
    let mut state = broad();
    let mut recipe = state.recipe().clone();
    recipe.channels[1].continuum = Some(Continuum {
        from: "r".to_owned(),
        scale: None,
    });
    state.history = History::new("Open", recipe);
    let mut harness = show(state);
    harness.get_by_label(name).click();
    harness.run_steps(3);
    let made = rendition(&harness);
    assert_eq!(made.id, "true-color");
    assert_eq!(
        made.colors.keys().collect::<Vec<_>>(),
        ["b", "g", "ha", "r"]
    );
    assert!(made.luminance.unwrap().from.contains_key("l"));
    assert_eq!(steps(&harness), ["Add true-color"]);
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

/// The whole window on the sample's stacks.
pub(super) fn window(state: State, size: [f32; 2], look: Theme) -> Harness<'static, App> {
    let mut harness = Harness::builder()
        .with_size(size)
        .with_max_steps(30)
        .with_context_setup(move |context| theme::set_up(context, look))
        .build_eframe(move |_| {
            let mut app = App::new(Worker::inline(), Opening::Nothing);
            app.state = state;
            app.state.theme = look;
            app
        });
    look.apply(&harness.ctx);
    harness.run_steps(4);
    harness
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
        layers.get(id).is_some_and(|l| l.parts.apart.is_some())
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

#[test]
fn picking_is_left_by_escape() {
    let mut harness = window(broad(), [1440.0, 900.0], Theme::Dark);
    harness.state_mut().state.picking = Some(Picking::Star);
    harness.run_steps(2);
    harness.key_press(Key::Escape);
    harness.run_steps(2);
    assert_eq!(harness.state().state.picking, None);
    assert!(harness.query_by_label_contains("Click a star").is_none());
}

/// Everything on: what has the most to show.
fn full() -> State {
    let mut state = broad();
    let mut recipe = state.recipe().clone();
    recipe.channels[1].denoise = Some(0.4);
    recipe.channels[1].continuum = Some(Continuum {
        from: "r".to_owned(),
        scale: Some(0.125),
    });
    let own = recipe.channels[3].stretch.clone();
    let shown = &mut recipe.renditions[0];
    shown.smooth_color = Some(0.3);
    let mut light = linehue::work::mixing::all_alike(shown, 0.8);
    light.stretch = Some(own);
    light.detail = Some(0.35);
    shown.luminance = Some(light);
    shown.balance = Some(linehue::engine::recipe::Balance {
        gains: [1.2345, 1.0, 0.8765],
        sky: None,
        by: BalancedBy::Catalogue,
        uncertainty: Some([0.012, 0.008, 0.021]),
        stars: Some(214),
        catalogue: Some("lantern-field-of-stars-with-colours.csv".to_owned()),
    });
    shown.stars = Some(linehue::engine::recipe::StarLook {
        show: ShowStars::Broadband,
        size: 0.7,
        brightness: 0.9,
    });
    assert_eq!(check::whole(&recipe), Ok(()));
    state.history = History::new("Open", recipe);
    state
}

/// Words that are painted with their end left off.
fn cut_off(harness: &Harness<'static, Stage>) -> Vec<String> {
    let shapes = harness.output().shapes.iter();
    let texts = shapes.filter_map(|clipped| match &clipped.shape {
        egui::Shape::Text(text) if text.galley.elided => Some(text.galley.text().to_owned()),
        _ => None,
    });
    texts.collect()
}

#[test]
fn nothing_is_cut_off_in_the_smallest_window() {
    for look in Theme::ALL {
        // As narrow as the panel can be pulled, and a field of it that long.
        let mut state = full();
        state.theme = look;
        let width = 264.0 - 16.0;
        let mut harness = panel(state, [width, 3000.0], mix::show);
        harness.run();
        for section in ["Stars", "White balance", "Noise"] {
            open(&mut harness, section);
        }
        let names = [
            "As mixed",
            "Neutral",
            "RGB",
            "None",
            "Star size, number",
            "Star size as it is",
            "Star brightness, number",
            "Star brightness as it is",
            "Gain of R",
            "Gain of G",
            "Gain of B",
            "Average star",
            "A star ...",
            "A patch ...",
            "Catalogue ...",
            "Reset the white balance",
            "Smoother colours, number",
            "Without noise reduction",
            "Brightness from L alone",
            "Brightness detail, number",
            "Stretched by itself",
            "Value of the white point of the brightness",
            "Shape bias of the brightness",
            "Usual amount of the brightness",
        ];
        for name in names {
            let rect = harness.get_by_label(name).rect();
            let fits = rect.min.x >= 0.0 && rect.max.x <= width && rect.width() >= 16.0;
            assert!(fits, "{name} in {look:?}: {rect:?}");
        }
        for word in cut_off(&harness) {
            assert!(!names.contains(&word.as_str()), "{word} is cut off");
        }
        picture(&mut harness, &format!("mix-{look:?}"));

        let mut state = full();
        state.theme = look;
        let width = 250.0 - 16.0;
        let mut harness = panel(state, [width, 1500.0], channels::show);
        harness.run();
        for name in ["Noise of Hα, number", "Noise of Hα for all"] {
            let rect = harness.get_by_label(name).rect();
            assert!(rect.max.x <= width, "{name} in {look:?}: {rect:?}");
        }
        click(&mut harness, Role::Button, "More for Hα");
        for name in ["Continuum of Hα from B", "Continuum factor of Hα"] {
            let rect = harness.get_by_label(name).rect();
            let fits = rect.min.x >= 0.0 && rect.max.x <= width;
            assert!(fits, "{name} in {look:?}: {rect:?}");
        }
        picture(&mut harness, &format!("channels-{look:?}"));
    }
}

#[test]
fn the_banner_of_picking_fits_the_smallest_window() {
    for look in Theme::ALL {
        let mut harness = window(full(), [1024.0, 640.0], look);
        harness.state_mut().state.picking = Some(Picking::Patch);
        harness.run_steps(3);
        let picture = harness.get_by_label("Picture").rect();
        let leave = harness.get_by_label("Leave it").rect();
        assert!(picture.contains_rect(leave), "{leave:?} in {picture:?}");
        if let Some(folder) = std::env::var_os("LINEHUE_PANEL_PICTURES") {
            let file = std::path::Path::new(&folder).join(format!("window-{look:?}.png"));
            harness.render().unwrap().save(file).unwrap();
        }
    }
}

/// Keeps a picture of a panel to look at, where a folder for them is named.
fn picture(harness: &mut Harness<'static, Stage>, name: &str) {
    if let Some(folder) = std::env::var_os("LINEHUE_PANEL_PICTURES") {
        let file = std::path::Path::new(&folder).join(format!("{name}.png"));
        harness.render().unwrap().save(file).unwrap();
    }
}
