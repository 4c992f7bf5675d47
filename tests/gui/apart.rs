//! Told apart: figures for four kinds of readers, and colours suggested as one
//! step that can be undone.

use egui::accesskit::Role;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use linehue::engine::apart::told;
use linehue::engine::recipe::{ColorValue, check};
use linehue::gui::asks::Ask;
use linehue::gui::panels::mix;
use linehue::gui::state::State;

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

fn said(harness: &Harness<'static, Stage>) -> Vec<String> {
    let asked = &harness.state().asked;
    asked
        .iter()
        .filter_map(|ask| match ask {
            Ask::Say(words) => Some(words.clone()),
            _ => None,
        })
        .collect()
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

#[test]
fn suggested_colours_are_one_step_with_their_figures() {
    let mut state = natural();
    for (id, sky) in [("ha", 50.0), ("oiii", 55.0), ("sii", 42.0)] {
        state.layers.insert(id.to_owned(), layer(120, 80, sky, 2.0));
    }
    let before = state.recipe().clone();
    let mut harness = stage(state);
    click(&mut harness, Role::Button, "Suggest ...");
    click(
        &mut harness,
        Role::CheckBox,
        "Keep the order of wavelengths",
    );
    click(&mut harness, Role::Button, "Suggest colours");
    let state = &mut harness.state_mut().state;
    assert_eq!(check::whole(state.recipe()), Ok(()));
    assert!(least(state) > 10.0, "{}", least(state));
    let labels: Vec<&str> = state
        .history
        .steps()
        .iter()
        .map(|s| s.label.as_str())
        .collect();
    assert_eq!(labels, ["Open", "Suggested colours"]);
    assert_eq!(state.history.undo(), Some("Suggested colours"));
    assert_eq!(*state.recipe(), before);
    let said = said(&harness);
    assert!(
        said.len() == 1 && said[0].contains("ordinary sight"),
        "{said:?}"
    );
    // The wishes are gone, the button is back.
    harness.run();
    harness.get_by_role_and_label(Role::Button, "Suggest ...");
}

#[test]
fn kept_colours_stay_and_what_cannot_be_is_said_in_place() {
    let mut harness = stage(natural());
    click(&mut harness, Role::Button, "Suggest ...");
    for line in ["[S II]", "Hα", "[O III]"] {
        click(&mut harness, Role::CheckBox, line);
    }
    click(&mut harness, Role::Button, "Suggest colours");
    harness.get_by_label_contains("Every line is pinned");
    click(&mut harness, Role::CheckBox, "[S II]");
    click(&mut harness, Role::Button, "Suggest colours");
    let colors = &harness.state().state.rendition().unwrap().colors;
    assert_eq!(colors["ha"], ColorValue::Natural);
    assert_eq!(colors["oiii"], ColorValue::Natural);
    assert_ne!(colors["sii"], ColorValue::Natural);
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
