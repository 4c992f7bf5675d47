//! The picture: where it lies, what it asks for, how two are compared.

use std::sync::Arc;

use egui::{Key, Rect, pos2, vec2};
use egui_kittest::kittest::Queryable as _;
use linehue::engine::frame::{Plane, Size};
use linehue::engine::header::Header;
use linehue::engine::measure::Histogram;
use linehue::engine::recipe::{ShowStars, StarLook};
use linehue::gui::asks::Ask;
use linehue::gui::panels::canvas::geometry::{Pane, clamp, scale};
use linehue::gui::panels::canvas::pictures::{Pictures, effective};
use linehue::gui::panels::canvas::{self, probe, turns};
use linehue::gui::state::{Compare, Place, State};
use linehue::work::desk::{Apart, Heights, Layer, Means, Parts, Teller, keys};
use linehue::work::history::History;
use linehue::work::preview::{Picture, Preview};
use proptest::prelude::*;

use crate::support;

const SIZE: Size = Size {
    width: 300,
    height: 200,
};
const PANE: Pane = Pane {
    min: [240.0, 60.0],
    size: [700.0, 500.0],
};

proptest! {
    /// The pixel under the pointer stays there while one zooms in on it.
    #[test]
    fn zooming_holds_what_lies_under_the_pointer(
        x in 0.05_f64..0.95, y in 0.05_f64..0.95, zoom in 0.1_f64..8.0, factor in 1.0_f64..4.0,
    ) {
        let place = Place { middle: [150.0, 100.0], zoom };
        let point = [300.0 * x, 200.0 * y];
        let at = PANE.mapping(place).screen(point);
        let zoomed = PANE.zoomed(place, at, factor, SIZE);
        let now = PANE.mapping(zoomed).screen(point);
        // Two roundings to whole pixels, one of them magnified.
        for i in 0..2 {
            prop_assert!((now[i] - at[i]).abs() <= 1.0 + factor, "{now:?} {at:?}");
        }
    }

    /// A drawn pixel is a whole number of screen pixels from the corner.
    #[test]
    fn drawn_pixels_lie_on_screen_pixels(zoom in 0.02_f64..1.0, x in 0.0_f64..300.0) {
        let place = Place { middle: [x, 90.0], zoom };
        if let Some(grid) = PANE.grid(place, SIZE) {
            let at = PANE.mapping(place).screen(grid.corner);
            prop_assert!((at[0] - at[0].round()).abs() < 1e-6);
            prop_assert!((grid.step * zoom - 1.0).abs() < 1e-9);
        }
    }
}

#[test]
fn the_picture_cannot_be_lost() {
    let far = Place {
        middle: [1e9, -1e9],
        zoom: 1e9,
    };
    let held = clamp(far, SIZE);
    assert_eq!((held.middle, held.zoom), ([300.0, 0.0], 32.0));
    assert!(PANE.grid(held, SIZE).is_some());
}

#[test]
fn a_dense_screen_has_more_pixels() {
    let rect = Rect::from_min_size(pos2(10.0, 20.0), vec2(400.0, 300.0));
    let pane = Pane::of(rect, 2.0);
    assert_eq!((pane.min, pane.size), ([20.0, 40.0], [800.0, 600.0]));
}

#[test]
fn scales_are_written_plainly() {
    assert_eq!(
        [scale(0.25), scale(1.0), scale(4.0)],
        ["1 : 4", "100 %", "4 : 1"]
    );
}

fn layer(state: &State, at: usize) -> Arc<Layer> {
    let values = ndarray::Array2::from_shape_fn((200, 300), |(y, x)| (x + y) as f32);
    let recipe = state.recipe();
    Arc::new(Layer {
        key: keys(recipe, &state.folder).swap_remove(at),
        plane: Arc::new(Plane::new(values)),
        reduced: Vec::new(),
        header: Arc::new(Header::default()),
        levels: None,
        histogram: Arc::new(Histogram {
            low: 0.0,
            high: 0.0,
            sky: 0.0,
            unit: 0.0,
            counts: Vec::new(),
        }),
        ceiling: None,
        full: None,
        signal_to_noise: None,
        origin: [0, 0],
        exposure_s: None,
        align: None,
        level: None,
        model: None,
        continuum: None,
        parts: Default::default(),
    })
}

/// The sample field with invented planes in memory.
fn desk() -> State {
    let mut state = support::sample();
    let ids: Vec<_> = state
        .recipe()
        .channels
        .iter()
        .map(|c| c.id.clone())
        .collect();
    for (at, id) in ids.into_iter().enumerate() {
        let layer = layer(&state, at);
        state.layers.insert(id, layer);
    }
    state
}

/// The desk with its stars taken off: of each channel there are a nebula of one
/// value for each set of channels that told of its stars.
fn parted(sets: &[(&[&str], f32)]) -> State {
    let mut state = desk();
    let mut recipe = state.recipe().clone();
    for rendition in &mut recipe.renditions {
        rendition.stars = Some(StarLook {
            show: ShowStars::None,
            ..StarLook::default()
        });
    }
    state.history = History::new("Open", recipe);
    let layers = state.layers.iter();
    let keys: Vec<_> = layers.map(|(id, l)| (id.clone(), l.key.clone())).collect();
    let flat = |value| Means {
        plane: Arc::new(Plane::new(ndarray::Array2::from_elem((200, 300), value))),
        reduced: Vec::new(),
    };
    let apart = |(by, value): &(&[&str], f32)| Apart {
        denoise: 0.0,
        by: keys
            .iter()
            .filter(|(id, _)| by.contains(&id.as_str()))
            .map(|(id, key)| Teller {
                channel: id.clone(),
                key: key.clone(),
                denoise: 0.0,
            })
            .collect(),
        nebula: flat(*value),
        heights: Heights::Whole(flat(0.0)),
        stars: 1,
    };
    for layer in state.layers.values_mut() {
        *layer = Arc::new(Layer {
            parts: Parts {
                smooth: None,
                apart: sets.iter().map(apart).collect(),
            },
            ..Layer::clone(layer)
        });
    }
    state
}

/// Where renditions of other channels have their stars off too, hiding a channel
/// changes its own light alone: the others' stars stay as all channels of the
/// rendition tell of them.
#[test]
fn a_hidden_channel_goes_on_telling_where_the_stars_are() {
    let drawn = |mut state: State| {
        state.hidden.insert("sii".to_owned());
        let (_, _, request) = state.pictures.requests(&state, PANE).remove(0);
        let picture = Preview::default().draw(&request, &Default::default());
        picture.unwrap().rgba
    };
    let (all, two): (&[&str], &[&str]) = (&["ha", "oiii", "sii"], &["ha", "oiii"]);
    let right = drawn(parted(&[(all, 900.0)]));
    let wrong = drawn(parted(&[(two, 100.0)]));
    assert!(right != wrong);
    for sets in [[(two, 100.0), (all, 900.0)], [(all, 900.0), (two, 100.0)]] {
        assert!(drawn(parted(&sets)) == right);
    }
}

fn pass_on(state: &mut State) -> Vec<(u32, u64)> {
    let list = state.pictures.requests(state, PANE);
    list.into_iter()
        .map(|(slot, generation, request)| {
            state.pictures.asked(slot, generation, request);
            (slot, generation)
        })
        .collect()
}

#[test]
fn only_what_is_stale_is_asked_for() {
    let mut state = desk();
    assert_eq!(pass_on(&mut state), [(0, 1)]);
    assert!(pass_on(&mut state).is_empty(), "nothing changed");
    let mut recipe = state.recipe().clone();
    recipe.about.title = "Another title".into();
    state.history.set("Title", recipe);
    assert!(pass_on(&mut state).is_empty(), "words are not seen");
    let recipe = state.with_rendition(|rendition| rendition.saturation = Some(0.5));
    state.history.set("Saturation", recipe);
    assert_eq!(pass_on(&mut state), [(0, 2)]);
    state.view.compare = Compare::Divided;
    assert_eq!(pass_on(&mut state), [(1, 1)]);
}

#[test]
fn late_pictures_are_dropped() {
    let state = desk();
    let context = egui::Context::default();
    let (_, _, request) = state.pictures.requests(&state, PANE).swap_remove(0);
    let picture = |millis| Picture {
        grid: request.grid,
        rgba: vec![90; request.grid.size.pixels() * 4],
        millis,
        clipped: 0.0,
        outside: 0.0,
        found: None,
    };
    let mut pictures = Pictures::default();
    pictures.take(&context, 0, 1, picture(1.0), false);
    assert!(pictures.shown(0).is_none(), "never asked for");
    pictures.asked(0, 2, request.clone());
    pictures.take(&context, 0, 2, picture(2.0), false);
    pictures.take(&context, 0, 1, picture(1.0), false);
    assert_eq!(pictures.shown(0).unwrap().picture.millis, 2.0);
}

#[test]
fn hidden_channels_leave_the_colours() {
    let mut state = desk();
    let rendition = state.rendition().unwrap().clone();
    let ids: Vec<_> = rendition.colors.keys().cloned().collect();
    state.hidden.insert(ids[0].clone());
    let shown = effective(&state, &[&rendition.id]).unwrap();
    assert!(!shown.renditions[0].colors.contains_key(&ids[0]));
    state.hidden.extend(ids);
    assert!(effective(&state, &[&rendition.id]).is_none());
}

#[test]
fn turns_change_at_most_twice_a_second() {
    for start in 0..40 {
        // Any second, in steps of a hundredth.
        let shown = (0..=100)
            .map(|step| turns::is_other(f64::from(start) * 0.07 + f64::from(step) / 100.0));
        let shown: Vec<bool> = shown.collect();
        let changes = shown.windows(2).filter(|pair| pair[0] != pair[1]).count();
        assert!(changes <= 2, "{changes} changes in a second");
    }
    assert!(!turns::is_other(0.0) && turns::is_other(1.3) && !turns::is_other(2.5));
}

#[test]
fn turns_are_started_by_hand_and_carry_a_caution() {
    let mut state = desk();
    state.view.compare = Compare::Turns;
    let mut harness = support::panel(state, [900.0, 600.0], |ui, state, asks| {
        ui.style_mut().animation_time = 0.1;
        canvas::show(ui, state, asks);
    });
    harness.run_steps(3);
    harness.get_by_label("Start alternating");
    harness.get_by_label_contains("sensitive to flashing");
}

#[test]
fn turns_stand_still_where_movement_is_unwanted() {
    let mut state = desk();
    state.view.compare = Compare::Turns;
    let mut harness = support::panel(state, [900.0, 600.0], |ui, state, asks| {
        ui.style_mut().animation_time = 0.0;
        canvas::show(ui, state, asks);
    });
    harness.run_steps(3);
    assert!(harness.query_by_label("Start alternating").is_none());
    harness.get_by_label("Swap");
}

#[test]
fn the_edge_moves_by_key() {
    let mut state = desk();
    state.view.compare = Compare::Divided;
    let mut harness = support::panel(state, [900.0, 600.0], |ui, state, asks| {
        canvas::show(ui, state, asks);
    });
    harness.run_steps(3);
    harness.get_by_label_contains("Edge between").focus();
    harness.run_steps(2);
    harness.key_press(Key::ArrowRight);
    harness.run_steps(2);
    assert!((harness.state().state.view.divide - 0.51).abs() < 1e-6);
}

#[test]
fn a_tab_shows_its_rendition() {
    let state = desk();
    let id = state.recipe().renditions[1].id.clone();
    let mut harness = support::panel(state, [900.0, 600.0], |ui, state, asks| {
        canvas::show(ui, state, asks);
    });
    harness.run_steps(3);
    harness.get_by_label(&id).click();
    harness.run_steps(2);
    let asked = &harness.state().asked;
    assert!(
        asked
            .iter()
            .any(|ask| matches!(ask, Ask::ShowRendition(to) if *to == id))
    );
}

#[test]
fn the_card_stays_inside_and_off_its_pixel() {
    let view = Rect::from_min_size(pos2(200.0, 50.0), vec2(600.0, 400.0));
    for x in [201.0, 400.0, 790.0] {
        for y in [51.0, 250.0, 440.0] {
            let pixel = Rect::from_min_size(pos2(x, y), vec2(8.0, 8.0));
            let card = probe::card_rect(view, pixel, vec2(180.0, 160.0));
            assert!(
                view.contains_rect(card) && !card.intersects(pixel),
                "{pixel:?} {card:?}"
            );
        }
    }
}

#[test]
fn the_edge_is_dragged() {
    let mut state = desk();
    state.view.compare = Compare::Divided;
    let mut harness = support::panel(state, [900.0, 600.0], |ui, state, asks| {
        canvas::show(ui, state, asks);
    });
    harness.run_steps(3);
    let from = harness
        .get_by_label_contains("Edge between")
        .rect()
        .center();
    harness.drag_at(from);
    harness.run_steps(1);
    harness.hover_at(from + vec2(100.0, 0.0));
    harness.run_steps(2);
    harness.drop_at(from + vec2(100.0, 0.0));
    harness.run_steps(2);
    let stage = &harness.state().state;
    assert!(stage.view.divide > 0.6 && stage.view.divide < 0.65);
    assert!(
        stage.view.place.is_none(),
        "the picture does not move along"
    );
}

#[test]
fn names_become_ids() {
    use canvas::tabs::{free_id, id_of};
    assert_eq!(
        [id_of("My mix"), id_of(" \u{c9}t\u{e9} 2 "), id_of("?")],
        ["my-mix", "t-2", ""]
    );
    let state = desk();
    assert_eq!(free_id(state.recipe(), "natural"), "natural-2");
}

#[test]
fn keys_zoom_and_fit_while_the_picture_has_the_focus() {
    let mut harness = support::panel(desk(), [900.0, 600.0], |ui, state, asks| {
        canvas::show(ui, state, asks);
    });
    harness.run_steps(3);
    harness.get_by_label("Picture").focus();
    harness.run_steps(2);
    harness.key_press(Key::Num1);
    harness.run_steps(2);
    let zoom = harness.state().state.view.place.map(|place| place.zoom);
    assert_eq!(zoom, Some(1.0));
    harness.key_press(Key::F);
    harness.run_steps(2);
    assert!(harness.state().state.view.place.is_none());
}
