//! The white balance: its gains, and what is pointed at in the picture for it.

use egui::accesskit::Role;
use egui::{Key, Rect, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use linehue::engine::recipe::{Balance, BalancedBy};
use linehue::gui::asks::Ask;
use linehue::gui::panels::canvas;
use linehue::gui::state::Picking;
use linehue::gui::theme::Theme;
use linehue::work::balance::BalanceBy;
use linehue::work::history::History;

use super::broad::{
    broad, click, is_off, mixing, open, rendition, says, steps, type_number, window,
};
use super::support::{Stage, panel, sample};

/// A balance on stars, with the skies of R, G and B.
fn measured(sky: Option<[f64; 3]>) -> Balance {
    Balance {
        gains: [1.25, 1.0, 0.8],
        sky,
        by: BalancedBy::Stars,
        uncertainty: Some([0.0125, 0.0, 0.016]),
        stars: Some(214),
        catalogue: None,
    }
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
    recipe.renditions[0].balance = Some(measured(None));
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
fn picking_is_left_by_escape() {
    let mut harness = window(broad(), [1440.0, 900.0], Theme::Dark);
    harness.state_mut().state.picking = Some(Picking::Star);
    harness.run_steps(2);
    harness.key_press(Key::Escape);
    harness.run_steps(2);
    assert_eq!(harness.state().state.picking, None);
    assert!(harness.query_by_label_contains("Click a star").is_none());
}

/// Protects that a measured white balance outlives an automatic stretch of one of
/// its bands: equal light above the skies stays equally bright.
#[test]
fn an_automatic_stretch_keeps_a_measured_balance() {
    let mut state = broad();
    let mut recipe = state.recipe().clone();
    recipe.renditions[0].balance = Some(measured(Some([90.0, 60.0, 50.0])));
    state.history = History::new("Open", recipe);
    state.selected = Some("r".to_owned());
    let mut harness = window(state, [1440.0, 2400.0], Theme::Dark);
    harness.run_steps(3);
    let before = harness.state().state.recipe().clone();
    harness.get_by_label("Auto stretch of R").click();
    harness.run_steps(3);
    let state = &harness.state().state;
    let recipe = state.recipe();
    let [r, g, b] = ["r", "g", "b"].map(|id| recipe.channel(id).unwrap().stretch.clone());
    assert_ne!(g, before.channel("g").unwrap().stretch);
    for (own, sky) in [(&r, 90.0), (&g, 60.0), (&b, 50.0)] {
        assert!((own.black - sky - (g.black - 60.0)).abs() < 1e-9);
        assert!((own.white - sky - (g.white - 60.0)).abs() < 1e-9);
        assert_eq!((own.shape, own.amount), (g.shape, g.amount));
    }
    assert!(state.said.contains("share one stretch"), "{}", state.said);
    assert_eq!(state.history.undo_label(), Some("Auto stretch R, G and B"));
    // A line has nothing to do with it.
    let ha = recipe.channel("ha").unwrap().stretch.clone();
    assert_eq!(ha, before.channel("ha").unwrap().stretch);
}

/// Protects a stretch of red that was set by hand under a measured balance from an
/// automatic stretch of a line.
#[test]
fn an_automatic_stretch_of_a_line_leaves_broad_bands_alone() {
    let mut state = broad();
    let mut recipe = state.recipe().clone();
    recipe.renditions[0].balance = Some(measured(Some([90.0, 60.0, 50.0])));
    let red = recipe.channels.iter_mut().find(|own| own.id == "r");
    red.unwrap().stretch.white += 500.0;
    state.history = History::new("Open", recipe);
    let mut harness = window(state, [1440.0, 2400.0], Theme::Dark);
    harness.run_steps(3);
    let before = harness.state().state.recipe().clone();
    harness.get_by_label("Auto stretch of H\u{3b1}").click();
    harness.run_steps(3);
    let after = harness.state().state.recipe();
    assert_ne!(after.channel("ha"), before.channel("ha"));
    for id in ["r", "g", "b"] {
        assert_eq!(after.channel(id), before.channel(id));
    }
}

/// Protects that a click which was of no use is answered on the picture, where the
/// next one may follow.
#[test]
fn a_click_in_vain_is_told_where_it_was() {
    let mut harness = window(broad(), [1440.0, 900.0], Theme::Dark);
    let state = &mut harness.state_mut().state;
    state.picking = Some(Picking::Star);
    let problem = ("no star lies there".to_owned(), "click on one".to_owned());
    state.picking_problem = Some(problem);
    harness.run_steps(3);
    harness.get_by_label("Click a star that is to be white");
    harness.get_by_label_contains("No star lies there.");
    harness.get_by_label_contains("Click on one.");
}
