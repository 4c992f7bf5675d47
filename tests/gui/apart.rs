//! Told apart: figures for four kinds of readers, and colours suggested as one
//! step that can be undone.

use egui::accesskit::Role;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use linehue::engine::apart::suggest::Wish;
use linehue::engine::apart::told;
use linehue::engine::recipe::{ColorValue, check};
use linehue::gui::app::App;
use linehue::gui::asks::Ask;
use linehue::gui::panels::mix;
use linehue::gui::state::State;
use linehue::gui::theme::Theme;

use super::broad::window;
use super::support::{Stage, layer, panel, sample};

fn stage(state: State) -> Harness<'static, Stage> {
    let mut harness = panel(state, [300.0, 2600.0], mix::show);
    harness.run();
    harness
}

fn click(harness: &mut Harness<'static, Stage>, role: Role, label: &str) {
    harness.get_by_role_and_label(role, label).click();
    harness.run();
}

fn natural() -> State {
    let mut state = sample();
    state.view.rendition = "natural".to_owned();
    state
}

fn least(state: &State) -> f64 {
    let told = told(state.recipe(), state.rendition().unwrap()).unwrap();
    told.least().unwrap()
}

#[test]
fn every_kind_of_reader_has_a_row() {
    let harness = stage(sample());
    for row in [
        "Ordinary sight",
        "No red cones",
        "No green cones",
        "No blue cones",
    ] {
        harness.get_by_label(row);
    }
}

#[test]
fn two_natural_reds_are_warned_of_with_a_way_out() {
    let harness = stage(natural());
    harness.get_by_label_contains("[S II] and Hα look alike to every reader");
    harness.get_by_label_contains("Move ");
    // Embers and gold merge for some alone.
    stage(sample()).get_by_label_contains("look alike to readers without green cones");
}

#[test]
fn colours_far_apart_are_not_warned_of() {
    let mut state = sample();
    let recipe = state.with_rendition(|rendition| {
        rendition.saturation = None;
        for (id, hue) in [("ha", 30.0), ("oiii", 192.0), ("sii", 298.0)] {
            let value = ColorValue::Hue {
                hue,
                saturation: 1.0,
                strength: 1.0,
            };
            rendition.colors.insert(id.to_owned(), value);
        }
    });
    state.history = linehue::work::history::History::new("Open", recipe);
    assert!(stage(state).query_by_label_contains("look alike").is_none());
}

fn wishes(harness: &Harness<'static, Stage>) -> Vec<Wish> {
    let asked = harness.state().asked.iter();
    asked
        .filter_map(|ask| match ask {
            Ask::Suggest(wish) => Some(wish.clone()),
            _ => None,
        })
        .collect()
}

#[test]
fn what_is_to_be_kept_is_asked_for() {
    let mut harness = stage(natural());
    click(&mut harness, Role::Button, "Suggest ...");
    click(
        &mut harness,
        Role::CheckBox,
        "Keep the order of wavelengths",
    );
    click(&mut harness, Role::CheckBox, "Hα");
    click(&mut harness, Role::Button, "Suggest colours");
    let wanted = Wish {
        keep_order: true,
        pinned: [("ha".to_owned(), ColorValue::Natural)].into(),
    };
    assert_eq!(wishes(&harness), [wanted]);
    // Until an answer comes the form stays.
    harness.get_by_role_and_label(Role::Button, "Suggest colours");
    // What came of what was asked.
    let problem = ("every line is pinned".to_owned(), "free one".to_owned());
    harness.state_mut().state.suggestion_problem = Some(problem);
    harness.run();
    harness.get_by_label_contains("Every line is pinned.");
    mix::close_suggestion(&harness.ctx);
    harness.run();
    harness.get_by_role_and_label(Role::Button, "Suggest ...");
}

/// The whole window on the sample's recipe, its natural rendition shown.
fn whole() -> Harness<'static, App> {
    let mut state = natural();
    for (id, sky) in [("ha", 50.0), ("oiii", 55.0), ("sii", 42.0)] {
        state.layers.insert(id.to_owned(), layer(120, 80, sky, 2.0));
    }
    window(state, [1440.0, 2600.0], Theme::Dark)
}

fn press(harness: &mut Harness<'static, App>, role: Role, label: &str) {
    harness.get_by_role_and_label(role, label).click();
    harness.run_steps(4);
}

#[test]
fn suggested_colours_are_one_step_with_their_figures() {
    let mut harness = whole();
    let before = harness.state().state.recipe().clone();
    press(&mut harness, Role::Button, "Suggest ...");
    press(
        &mut harness,
        Role::CheckBox,
        "Keep the order of wavelengths",
    );
    press(&mut harness, Role::Button, "Suggest colours");
    let state = &mut harness.state_mut().state;
    assert_eq!(check::whole(state.recipe()), Ok(()));
    assert!(least(state) > 10.0, "{}", least(state));
    assert!(state.said.contains("ordinary sight"), "{}", state.said);
    assert_eq!(state.history.undo(), Some("Suggested colours"));
    assert_eq!(*state.recipe(), before);
    // The wishes are gone, the button is back.
    harness.run_steps(2);
    harness.get_by_role_and_label(Role::Button, "Suggest ...");
}

#[test]
fn kept_colours_stay_and_what_cannot_be_is_said_in_place() {
    let mut harness = whole();
    press(&mut harness, Role::Button, "Suggest ...");
    for line in ["[S II]", "Hα", "[O III]"] {
        press(&mut harness, Role::CheckBox, line);
    }
    press(&mut harness, Role::Button, "Suggest colours");
    harness.get_by_label_contains("Every line is pinned");
    press(&mut harness, Role::CheckBox, "[S II]");
    let stale = harness.query_by_label_contains("Every line is pinned");
    assert!(stale.is_none(), "said of a line that is free");
    press(&mut harness, Role::Button, "Suggest colours");
    let state = &harness.state().state;
    let colors = &state.rendition().unwrap().colors;
    assert_eq!(colors["ha"], ColorValue::Natural);
    assert_eq!(colors["oiii"], ColorValue::Natural);
    assert_ne!(colors["sii"], ColorValue::Natural);
    assert_eq!(state.suggestion_problem, None);
}

#[test]
fn one_line_alone_needs_no_figures() {
    let mut state = sample();
    let recipe = state.with_rendition(|rendition| {
        rendition.colors.retain(|id, _| id == "ha");
    });
    state.history = linehue::work::history::History::new("Open", recipe);
    let harness = stage(state);
    harness.get_by_label_contains("With two lines or more");
    assert!(harness.query_by_label("Suggest ...").is_none());
}
