//! What the lines say, instead of the picture: shown, told in figures, kept in
//! the recipe and saved.

use std::sync::atomic::AtomicBool;

use egui::Key;
use egui::accesskit::{Role, Toggled};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::engine::leading::By;
use linehue::engine::recipe::{Ratio, Scale};
use linehue::gui::app::App;
use linehue::gui::asks::Ask;
use linehue::gui::command::Command;
use linehue::gui::panels::canvas::{self, geometry::Pane, maps};
use linehue::gui::panels::drawing::{DrawingDraft, What, request};
use linehue::gui::state::{LineMap, State};
use linehue::gui::theme::Theme;
use linehue::work::desk::Drawing;
use linehue::work::history::History;
use linehue::work::preview::{Preview, Show};

use super::broad::window as whole;
use super::support::{Stage, layer, panel, sample, under_glow};

const SIZE: [f32; 2] = [900.0, 600.0];

const PANE: Pane = Pane {
    min: [0.0, 0.0],
    size: [900.0, 600.0],
};

/// The sample's recipe with a channel in memory for each line.
fn desk() -> State {
    let mut state = sample();
    for (index, channel) in state.recipe().channels.clone().into_iter().enumerate() {
        let layer = layer(300, 200, 50.0 + index as f32, 2.0 + index as f32);
        state.layers.insert(channel.id, layer);
    }
    state
}

// Draws what the canvas waits for, as the desk does.
fn drawn(harness: &mut Harness<'static, Stage>) {
    let state = &harness.state().state;
    let requests = state.pictures.requests(state, PANE);
    let context = harness.ctx.clone();
    let mut preview = Preview::default();
    for (slot, generation, request) in requests {
        let picture = preview.draw(&request, &AtomicBool::new(false)).unwrap();
        let pictures = &mut harness.state_mut().state.pictures;
        pictures.asked(slot, generation, request);
        pictures.take(&context, slot, generation, picture, false);
    }
    harness.run();
}

fn window(map: LineMap) -> Harness<'static, Stage> {
    let mut state = desk();
    state.view.map = Some(map);
    let mut harness = panel(state, SIZE, |ui, state, asks| {
        canvas::show(ui, state, asks);
    });
    harness.run();
    drawn(&mut harness);
    harness
}

fn click(harness: &mut Harness<'static, Stage>, label: &str) {
    harness.get_by_role_and_label(Role::Button, label).click();
    harness.run();
}

fn ratio(harness: &Harness<'static, Stage>) -> Ratio {
    match &harness.state().state.view.map {
        Some(LineMap::Ratio(ratio)) => ratio.clone(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn which_line_leads_is_told_in_figures() {
    let mut harness = window(LineMap::Leading(By::Shown));
    for name in ["[S II]", "H\u{3b1}", "[O III]", "Undecided"] {
        assert!(harness.query_all_by_label(name).count() > 0, "{name}");
    }
    assert!(harness.query_all_by_label_contains(" %").count() >= 4);
    click(&mut harness, "By signal to noise");
    let by_noise = Some(LineMap::Leading(By::Noise));
    assert_eq!(harness.state().state.view.map, by_noise);
    click(&mut harness, "Save ...");
    let asked = &harness.state().asked;
    assert!(
        asked
            .iter()
            .any(|ask| matches!(ask, Ask::Run(Command::SaveMap)))
    );
    click(&mut harness, "Back to the picture");
    assert_eq!(harness.state().state.view.map, None);
    assert!(harness.query_by_label("Undecided").is_none());
}

/// A map fills the view: none of the comparisons is on then, and to choose one
/// brings the pictures back.
#[test]
fn a_map_is_no_comparison() {
    let names = ["One", "Divided", "Beside", "Turns", "Difference"];
    let lit = |harness: &Harness<'static, App>| -> Vec<&str> {
        let is_on = |name: &&str| {
            let node = harness.get_by_label(name);
            node.accesskit_node().toggled() == Some(Toggled::True)
        };
        names.into_iter().filter(is_on).collect()
    };
    let mut harness = whole(desk(), [1440.0, 900.0], Theme::Dark);
    harness.get_by_label("Divided").click();
    harness.run_steps(3);
    assert_eq!(lit(&harness), ["Divided"]);
    harness.key_press(Key::L);
    harness.run_steps(3);
    assert!(maps::shown(&harness.state().state).is_some());
    assert_eq!(lit(&harness), [""; 0]);
    harness.get_by_label("Divided").click();
    harness.run_steps(3);
    assert_eq!(harness.state().state.view.map, None);
    assert_eq!(lit(&harness), ["Divided"]);
}

/// The window warns of an uneven sky as the command does.
#[test]
fn a_sky_that_varies_is_said_beside_the_ratio() {
    let words = "ha: its sky varies by";
    let ratio = LineMap::Ratio(Ratio::of("", "sii", "ha"));
    let shown = |glow: f32| {
        let mut state = desk();
        let ha = under_glow(300, 200, 50.0, 2.0, glow);
        state.layers.insert("ha".to_owned(), ha);
        state.view.map = Some(ratio.clone());
        let mut harness = panel(state, SIZE, |ui, state, asks| {
            canvas::show(ui, state, asks);
        });
        harness.run();
        drawn(&mut harness);
        harness
    };
    shown(60.0).get_by_label_contains(words);
    assert!(shown(0.0).query_by_label_contains(words).is_none());
}

/// Folded away, the plate leaves the picture free.
#[test]
fn a_legend_folds_away() {
    let mut harness = window(LineMap::Leading(By::Shown));
    click(&mut harness, "Fold");
    harness.get_by_label("Which line leads");
    assert!(harness.query_by_label("Undecided").is_none());
    click(&mut harness, "Unfold");
    harness.get_by_label("Undecided");
}

#[test]
fn a_ratio_is_chosen_kept_and_forgotten() {
    let first = maps::first_ratio(desk().recipe()).unwrap();
    assert_eq!((first.over.as_str(), first.under.as_str()), ("sii", "ha"));
    let mut harness = window(LineMap::Ratio(first));
    // The published threshold stands on the scale, and is spoken of.
    harness.get_by_label_contains("above 0.4");
    click(&mut harness, "Swap");
    let swapped = ratio(&harness);
    assert_eq!(
        (swapped.over.as_str(), swapped.under.as_str()),
        ("ha", "sii")
    );
    click(&mut harness, "Swap");
    click(&mut harness, "log");
    assert_eq!(ratio(&harness).scale, Scale::Log);
    harness
        .get_by_role_and_label(Role::CheckBox, "Scale by the field")
        .click();
    harness.run();
    assert!(ratio(&harness).range.is_some_and(|[low, high]| low < high));
    click(&mut harness, "Keep");
    let kept = harness.state().state.recipe().ratios.clone();
    assert_eq!(kept, [ratio(&harness)]);
    assert_eq!(kept[0].id, "sii-ha");
    assert!(kept[0].check(harness.state().state.recipe()).is_ok());
    // Kept once more after a change, it is the same one.
    click(&mut harness, "linear");
    click(&mut harness, "Keep");
    assert_eq!(harness.state().state.recipe().ratios, [ratio(&harness)]);
    click(&mut harness, "Forget");
    assert!(harness.state().state.recipe().ratios.is_empty());
}

/// What another view hides comes back with it; what a map is of may leave.
#[test]
fn a_map_gives_way_to_one_channel_and_to_missing_ones() {
    let mut state = desk();
    state.view.map = Some(LineMap::Ratio(Ratio::of("", "sii", "ha")));
    assert!(matches!(maps::wanted(&state), Some(Show::Ratio(_))));
    state.solo = Some("ha".to_owned());
    assert_eq!(maps::wanted(&state), None);
    state.solo = None;
    let mut recipe = state.recipe().clone();
    recipe.channels.retain(|channel| channel.id != "sii");
    state.history = History::new("Open", recipe);
    assert_eq!(maps::wanted(&state), None);
    // One line alone leads nowhere.
    state.view.map = Some(LineMap::Leading(By::Shown));
    assert!(maps::wanted(&state).is_some());
    state.hidden.insert("ha".to_owned());
    assert_eq!(maps::wanted(&state), None);
}

/// What is saved is what is looked at.
#[test]
fn the_shown_map_is_what_is_saved() {
    let mut state = desk();
    let shown = Ratio {
        min_snr: 5.0,
        scale: Scale::Log,
        ..Ratio::of("oiii-ha", "oiii", "ha")
    };
    state.view.map = Some(LineMap::Ratio(shown.clone()));
    let mut draft = DrawingDraft::new(What::Ratio, &state);
    let stops = |draft: &mut DrawingDraft, state: &State| {
        draft.findings(state).iter().any(|finding| finding.stops)
    };
    assert!(draft.path.ends_with("oiii-ha.png"), "{}", draft.path);
    draft.set_kind(draft.kinds()[2]);
    assert!(draft.path.ends_with(".fits"), "{}", draft.path);
    let Drawing::Ratio(asked) = request(&draft, &state) else {
        panic!("another drawing");
    };
    assert_eq!(asked.ratio, shown);
    draft.ratio = None;
    assert!(stops(&mut draft, &state));
    state.view.map = Some(LineMap::Leading(By::Noise));
    let draft = DrawingDraft::new(What::Leading, &state);
    let Drawing::Leading(asked) = request(&draft, &state) else {
        panic!("another drawing");
    };
    assert_eq!(
        (asked.by, asked.rendition.as_deref()),
        (By::Noise, Some("mapped"))
    );
}

/// The same key leads in and out, and so does Escape.
#[test]
fn keys_show_a_map_and_the_picture_again() {
    let mut harness = whole(desk(), [1440.0, 900.0], Theme::Dark);
    let mut press = |key: Key| {
        harness.key_press(key);
        harness.run_steps(3);
        harness.state().state.view.map.clone()
    };
    assert_eq!(press(Key::L), Some(LineMap::Leading(By::Shown)));
    assert_eq!(press(Key::L), None);
    assert!(matches!(press(Key::O), Some(LineMap::Ratio(_))));
    assert_eq!(press(Key::L), Some(LineMap::Leading(By::Shown)));
    assert_eq!(press(Key::Escape), None);
}

#[test]
fn one_line_alone_has_no_map() {
    let mut state = desk();
    let mut recipe = state.recipe().clone();
    recipe.channels.retain(|channel| channel.id == "ha");
    for rendition in &mut recipe.renditions {
        rendition.colors.retain(|id, _| id == "ha");
    }
    state.history = History::new("Open", recipe);
    let mut harness = whole(state, [1440.0, 900.0], Theme::Dark);
    for key in [Key::L, Key::O] {
        harness.key_press(key);
        harness.run_steps(3);
        assert_eq!(harness.state().state.view.map, None);
        assert!(harness.state().state.said.contains("two lines or more"));
    }
}
