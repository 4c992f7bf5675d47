//! Small pictures of this field in the palettes' colours: drawn when what they
//! show has changed, and then alone.

use std::collections::BTreeMap;

use egui::TextureId;
use egui_kittest::Harness;
use linehue::engine::palettes::{Palette, built_in};
use linehue::engine::recipe::{ShowStars, StarLook};
use linehue::gui::app::App;
use linehue::gui::theme::Theme;

use super::broad::window;
use super::support::sample;

fn pictures(harness: &Harness<'static, App>) -> BTreeMap<String, TextureId> {
    let all = harness.state().state.thumbnails.iter();
    all.map(|(name, texture)| (name.clone(), texture.id()))
        .collect()
}

fn whole() -> Harness<'static, App> {
    let mut harness = window(sample(), [1440.0, 900.0], Theme::Dark);
    harness.run_steps(4);
    harness
}

/// A card whose picture is of other colours, or of none, misleads who picks by it.
#[test]
fn a_palette_of_ones_own_has_its_picture_at_once() {
    let mut harness = whole();
    let kept = |harness: &mut Harness<'static, App>, palettes: Vec<Palette>| {
        harness.state_mut().state.own_palettes = palettes;
        harness.run_steps(4);
        pictures(harness).get("lanterns").copied()
    };
    assert_eq!(kept(&mut harness, Vec::new()), None);
    let like = |other: &Palette| Palette {
        name: "lanterns".to_owned(),
        ..other.clone()
    };
    let [first, second] = [0, 1].map(|at| like(&built_in()[at]));
    let saved = kept(&mut harness, vec![first]);
    let anew = kept(&mut harness, vec![second]);
    assert!(saved.is_some() && anew.is_some() && saved != anew);
    assert_eq!(kept(&mut harness, Vec::new()), None, "it is removed");
}

/// Small pictures show noise smoothed, and stars as they are: telling these
/// apart changes none.
#[test]
fn telling_stars_apart_draws_no_small_picture_anew() {
    let mut harness = whole();
    let noisy = pictures(&harness);
    assert!(noisy.len() >= 10, "{}", noisy.len());
    let state = &mut harness.state_mut().state;
    let recipe = state.with_channel("ha", |channel| channel.denoise = Some(0.5));
    state.history.set("Noise", recipe);
    harness.run_steps(6);
    let smooth = pictures(&harness);
    assert!(smooth.iter().all(|(name, id)| noisy[name] != *id));
    let state = &mut harness.state_mut().state;
    let recipe = state.with_rendition(|rendition| {
        rendition.stars = Some(StarLook {
            show: ShowStars::Neutral,
            ..StarLook::default()
        });
    });
    state.history.set("Neutral stars", recipe);
    harness.run_steps(6);
    let layers = &harness.state().state.layers;
    assert!(layers.values().any(|layer| !layer.parts.apart.is_empty()));
    assert!(pictures(&harness) == smooth);
}
