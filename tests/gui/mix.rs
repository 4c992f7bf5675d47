//! The mix panel: every control leads to a recipe that holds, as one step.

use egui::accesskit::Role;
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT as _, Queryable as _};
use linehue::engine::color::space::Space;
use linehue::engine::recipe::{Blend, ColorValue, Gamut, check};
use linehue::gui::asks::Ask;
use linehue::gui::panels::mix;
use linehue::gui::state::State;

use super::support::{Stage, panel, sample};

fn stage(state: State) -> Harness<'static, Stage> {
    let mut harness = panel(state, [300.0, 2400.0], mix::show);
    harness.run();
    harness
}

fn click(harness: &mut Harness<'static, Stage>, role: Role, label: &str) {
    harness.get_by_role_and_label(role, label).click();
    harness.run();
}

fn color(harness: &Harness<'static, Stage>, channel: &str) -> ColorValue {
    harness.state().state.rendition().unwrap().colors[channel].clone()
}

fn steps(harness: &Harness<'static, Stage>) -> Vec<String> {
    let history = &harness.state().state.history;
    assert_eq!(check::whole(history.current()), Ok(()));
    history
        .steps()
        .iter()
        .skip(1)
        .map(|step| step.label.clone())
        .collect()
}

// Clicks a number, types over it, and confirms.
fn type_number(harness: &mut Harness<'static, Stage>, label: &str, number: &str) {
    harness.get_by_label(label).click();
    harness.run();
    type_over(harness, label, number);
}

fn type_over(harness: &mut Harness<'static, Stage>, label: &str, text: &str) {
    harness.get_by_label(label).focus();
    harness.run();
    harness.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
    harness.run();
    harness.get_by_label(label).type_text(text);
    harness.run();
    harness.key_press(egui::Key::Enter);
    harness.run();
}

#[test]
fn a_typed_number_turns_the_color_into_numbers_in_one_step() {
    let mut harness = stage(sample());
    type_number(&mut harness, "Hα green", "0.25");
    let ColorValue::Vector(vector) = color(&harness, "ha") else {
        panic!("still {:?}", color(&harness, "ha"));
    };
    assert_eq!(vector[1], 0.25);
    assert!((vector[0] - 0.95).abs() < 1e-9, "the others stay");
    assert_eq!(steps(&harness), ["Colour of Hα"]);
}

#[test]
fn a_dragged_number_is_one_step() {
    let mut harness = stage(sample());
    let at = harness.get_by_label("[O III] red").rect().center();
    harness.drag_at(at);
    harness.run();
    for moved in 1..=10 {
        harness.hover_at(at + egui::vec2(4.0 * moved as f32, 0.0));
        harness.run();
    }
    harness.drop_at(at + egui::vec2(40.0, 0.0));
    harness.run();
    let ColorValue::Vector(vector) = color(&harness, "oiii") else {
        panic!("a number was changed");
    };
    assert!(vector[0] > 0.05, "{vector:?}");
    assert_eq!(steps(&harness), ["Colour of [O III]"]);
}

#[test]
fn strength_scales_a_hue_as_a_hue_and_numbers_as_numbers() {
    let mut harness = stage(sample());
    type_number(&mut harness, "Hα strength", "0.5");
    assert_eq!(
        color(&harness, "ha"),
        ColorValue::Hue {
            hue: 75.0,
            saturation: 0.95,
            strength: 0.5
        }
    );
    type_number(&mut harness, "[S II] strength", "2");
    let ColorValue::Vector(vector) = color(&harness, "sii") else {
        panic!("CSS has no strength of its own");
    };
    assert_eq!(vector[0], 2.0);
    assert_eq!(steps(&harness), ["Strength of Hα", "Strength of [S II]"]);
}

#[test]
fn css_is_typed_and_mistakes_are_said_in_place() {
    let mut harness = stage(sample());
    type_over(&mut harness, "Hα colour", "#12345");
    assert!(
        harness
            .query_by_label_contains("is no CSS colour")
            .is_some()
    );
    assert_eq!(steps(&harness), [""; 0]);
    type_over(&mut harness, "Hα colour", "teal");
    assert!(
        harness
            .query_by_label_contains("is no CSS colour")
            .is_none()
    );
    assert_eq!(color(&harness, "ha"), ColorValue::Css("teal".into()));
    type_over(&mut harness, "Hα colour", "natural");
    assert_eq!(color(&harness, "ha"), ColorValue::Natural);
    assert_eq!(steps(&harness), ["Colour of Hα", "Colour of Hα"]);
}

#[test]
fn a_look_into_a_field_changes_nothing() {
    let mut harness = stage(sample());
    let mut recipe = harness.state().state.recipe().clone();
    recipe.renditions[0].saturation = Some(1.2345);
    let text = linehue::engine::recipe::text::write(&recipe).unwrap();
    harness.state_mut().state.history = linehue::work::history::History::new("Open", recipe);
    harness.run();
    for label in [
        "Hα colour",
        "Hα red",
        "[O III] strength",
        "Saturation, number",
    ] {
        harness.get_by_label(label).click();
        harness.run();
        harness.key_press(egui::Key::Enter);
        harness.run();
    }
    assert_eq!(steps(&harness), [""; 0]);
    let now = linehue::engine::recipe::text::write(harness.state().state.recipe()).unwrap();
    assert_eq!(now, text);
}

#[test]
fn a_dragged_slider_is_one_step() {
    let mut harness = stage(sample());
    let slider = harness.get_by_role_and_label(Role::Slider, "Saturation");
    let rect = slider.rect();
    harness.drag_at(rect.center());
    harness.run();
    for moved in 1..=8 {
        harness.hover_at(rect.center() + egui::vec2(5.0 * moved as f32, 0.0));
        harness.run();
    }
    harness.drop_at(rect.center() + egui::vec2(40.0, 0.0));
    harness.run();
    let saturation = harness.state().state.rendition().unwrap().saturation;
    assert!(saturation.unwrap() > 1.5, "{saturation:?}");
    assert_eq!(steps(&harness), ["Saturation"]);
}

#[test]
fn the_way_of_writing_is_shown_and_changed() {
    let mut harness = stage(sample());
    click(&mut harness, Role::Button, "Hα written as");
    harness
        .get_by_label_contains("natural: the light's own")
        .click();
    harness.run();
    assert_eq!(color(&harness, "ha"), ColorValue::Natural);
}

#[test]
fn channels_leave_and_come_back_but_the_last_one_stays() {
    let mut harness = stage(sample());
    click(&mut harness, Role::Button, "Leave Hα out");
    click(&mut harness, Role::Button, "Leave [S II] out");
    let last = harness.get_by_label("Leave [O III] out");
    assert!(last.accesskit_node().is_disabled());
    click(&mut harness, Role::Button, "Add Hα");
    assert!(matches!(color(&harness, "ha"), ColorValue::Hue { .. }));
    assert_eq!(
        steps(&harness),
        ["Hα left out", "[S II] left out", "Hα added"]
    );
}

#[test]
fn blend_gamut_and_space_are_chosen() {
    let mut harness = stage(sample());
    click(&mut harness, Role::RadioButton, "Screen");
    click(&mut harness, Role::RadioButton, "Clip");
    click(&mut harness, Role::RadioButton, "Rec. 2020");
    let rendition = harness.state().state.rendition().unwrap();
    assert_eq!(rendition.blend, Blend::Screen);
    assert_eq!(rendition.gamut, Some(Gamut::Clip));
    assert_eq!(steps(&harness), ["Blend screen", "Gamut: clip"]);
    let asked = &harness.state().asked;
    assert!(
        asked
            .iter()
            .any(|ask| matches!(ask, Ask::Space(Space::Rec2020)))
    );
    click(&mut harness, Role::RadioButton, "As it comes");
    assert_eq!(harness.state().state.rendition().unwrap().gamut, None);
}

#[test]
fn brightness_comes_from_channels_and_its_weights_never_vanish() {
    let mut harness = stage(sample());
    click(&mut harness, Role::RadioButton, "Channels");
    click(&mut harness, Role::Button, "The strongest line");
    let from = |harness: &Harness<'static, Stage>| {
        let rendition = harness.state().state.rendition().unwrap();
        rendition.luminance.clone().unwrap()
    };
    assert_eq!(from(&harness).from.keys().collect::<Vec<_>>(), ["ha"]);
    type_number(&mut harness, "Brightness from Hα, number", "0");
    assert_eq!(from(&harness).from["ha"], 1.0, "nothing would be left");
    type_number(&mut harness, "Brightness from [O III], number", "0.25");
    type_number(&mut harness, "Brightness amount, number", "0.5");
    assert_eq!(from(&harness).from["oiii"], 0.25);
    assert_eq!(from(&harness).amount, 0.5);
    click(&mut harness, Role::Button, "All alike");
    assert!(from(&harness).from.values().all(|weight| *weight == 1.0));
    click(&mut harness, Role::RadioButton, "The mix");
    assert_eq!(harness.state().state.rendition().unwrap().luminance, None);
    assert_eq!(steps(&harness).len(), 6);
}

#[test]
fn saturation_of_one_is_not_written() {
    let mut harness = stage(sample());
    type_number(&mut harness, "Saturation, number", "2.5");
    let saturation =
        |harness: &Harness<'static, Stage>| harness.state().state.rendition().unwrap().saturation;
    assert_eq!(saturation(&harness), Some(2.5));
    type_number(&mut harness, "Saturation, number", "9");
    assert_eq!(saturation(&harness), Some(3.0));
    click(&mut harness, Role::Button, "Saturation as mixed");
    assert_eq!(saturation(&harness), None);
}

#[test]
fn the_eye_needs_natural_lines() {
    let mut harness = stage(sample());
    let label = "Lines as bright as an eye sees them";
    assert!(harness.get_by_label(label).accesskit_node().is_disabled());
    harness.state_mut().state.view.rendition = "natural".into();
    harness.run();
    click(&mut harness, Role::CheckBox, label);
    assert!(harness.state().state.rendition().unwrap().eye);
}

#[test]
fn a_palette_paints_the_shown_rendition_or_a_new_one() {
    let mut harness = stage(sample());
    click(&mut harness, Role::Button, "Palette lampwick");
    assert_eq!(steps(&harness), ["Palette lampwick"]);
    let before = harness.state().state.rendition().unwrap().clone();
    assert_eq!(before.id, "mapped");
    assert_eq!(
        before.saturation,
        Some(1.2),
        "what a palette does not hold stays"
    );
    click(&mut harness, Role::Button, "New rendition from SHO");
    assert_eq!(harness.state().state.rendition().unwrap().id, "sho");
    assert_eq!(
        harness.state().state.recipe().rendition("mapped"),
        Some(&before)
    );
    assert_eq!(steps(&harness), ["Palette lampwick", "Rendition sho"]);
}

#[test]
fn palettes_that_do_not_fit_say_why() {
    let mut state = sample();
    let mut recipe = state.recipe().clone();
    recipe.channels.retain(|channel| channel.id != "sii");
    for rendition in &mut recipe.renditions {
        rendition.colors.remove("sii");
    }
    state.history.set("Remove", recipe);
    let harness = stage(state);
    assert!(harness.query_by_label("Palette SHO").is_none());
    assert!(harness.get_all_by_label("no channel holds [S II]").count() >= 1);
    assert!(harness.query_by_label("Palette HOO").is_some());
}

#[test]
fn small_pictures_are_asked_for_with_recipes_that_hold() {
    let state = sample();
    let wanted = mix::wanted(&state);
    assert!(wanted.iter().any(|(name, _)| name == "lampwick"));
    for (name, recipe) in &wanted {
        assert_eq!(check::whole(recipe), Ok(()), "{name}");
        assert_eq!(recipe.renditions[0].id, mix::THUMBNAIL);
    }
    assert!(mix::wanted(&State::empty()).is_empty());
}

#[test]
fn ones_own_palette_is_saved_and_removed_after_a_question() {
    let mut harness = stage(sample());
    click(&mut harness, Role::Button, "Save as my palette ...");
    type_over(&mut harness, "Name of my palette", "dusk");
    let saved = harness.state().asked.iter().find_map(|ask| match ask {
        Ask::SavePalette(palette) => Some(palette.as_ref().clone()),
        _ => None,
    });
    let saved = saved.expect("asked for");
    assert_eq!(saved.name, "dusk");
    assert_eq!(saved.colors["SII"], ColorValue::Css("#ff2a1c".into()));

    harness.state_mut().state.own_palettes.push(saved);
    harness.run();
    click(&mut harness, Role::Button, "Remove dusk");
    assert!(
        !harness
            .state()
            .asked
            .iter()
            .any(|ask| matches!(ask, Ask::RemovePalette(_)))
    );
    click(&mut harness, Role::Button, "Remove it");
    assert!(
        harness
            .state()
            .asked
            .iter()
            .any(|ask| matches!(ask, Ask::RemovePalette(name) if name == "dusk"))
    );
}

#[test]
fn what_went_wrong_with_a_palette_is_said() {
    let mut state = sample();
    state.palette_problem = Some(("The disk is full".into(), "free some space".into()));
    let harness = stage(state);
    assert!(harness.query_by_label("The disk is full").is_some());
}

#[test]
fn a_visit_of_a_field_about_the_picture_is_one_step() {
    let mut harness = stage(sample());
    harness.get_by_label("About the picture").click();
    harness.run();
    harness.run();
    type_over(&mut harness, "Title", "Lantern Shell at dusk");
    assert_eq!(
        harness.state().state.recipe().about.title,
        "Lantern Shell at dusk"
    );
    assert_eq!(steps(&harness), ["Title"]);
    type_over(&mut harness, "Credit", "Lantern Club");
    assert_eq!(steps(&harness), ["Title", "Credit"]);
    assert!(
        harness
            .query_by_label_contains("Lantern Shell at dusk. Mapped")
            .is_some()
    );
}

#[test]
fn the_caption_is_copied_as_it_stands() {
    let mut harness = stage(sample());
    click(&mut harness, Role::RadioButton, "In words");
    harness.get_by_label("Copy caption").click();
    harness.step();
    let copied = harness.output().platform_output.commands.iter().any(|command| {
        matches!(command, egui::OutputCommand::CopyText(text) if text.starts_with("Colour composite of Lantern Shell from three filters"))
    });
    assert!(copied);
}

#[test]
fn an_empty_desk_says_what_to_do() {
    let harness = stage(State::empty());
    assert!(harness.query_by_label_contains("Open stacks").is_some());
}
