//! The light of stars in the lines, taken out by a broad channel.

use egui::accesskit::Role;
use egui_kittest::kittest::Queryable as _;
use linehue::engine::recipe::Continuum;
use linehue::gui::panels::{canvas, channels};
use linehue::work::history::History;

use super::broad::{broad, channel, click, is_off, rendition, says, steps, type_number};
use super::support::{panel, sample};

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
    assert!(says(&harness, "continuum taken out: R"));
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
