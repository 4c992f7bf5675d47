//! Stars of several channels of one field, told of by all of them.

#[path = "support/field/mod.rs"]
mod field;
#[path = "support/starless.rs"]
mod starless;

use std::ops::ControlFlow;

use field::filters::Filter;
use field::optics::Psf;
use linehue::engine::align::stars::{FindLimits, find};
use linehue::engine::frame::{Plane, Rows as _, Size};
use linehue::engine::separate::{SeparateError, Settings, StarModel, Together, stars_apart};
use starless::{CLASSES, Grain, Left, Sky, WIDE, go_on};

/// The models of channels that were added in this order.
fn together(planes: &[&Plane]) -> Vec<StarModel> {
    let mut together = Together::default();
    for plane in planes {
        let found = find(*plane, None, &FindLimits::default(), &go_on).expect("stars");
        together
            .add(plane, &found.stars, &Settings::of(&found), &go_on)
            .expect("measured");
    }
    let models = planes
        .iter()
        .map(|plane| together.model(plane, &go_on).expect("told").expect("added"))
        .collect();
    assert_eq!(together.model(planes[0], &go_on), Ok(None));
    models
}

fn nebula(model: &StarModel, plane: &Plane) -> Plane {
    let footprint = model.separate(plane, model.whole(), &go_on).expect("stars");
    footprint.nebula(plane)
}

fn alone(plane: &Plane) -> Plane {
    let found = find(plane, None, &FindLimits::default(), &go_on).expect("stars");
    let apart = stars_apart(plane, &found.stars, &Settings::of(&found), &go_on).expect("stars");
    apart.nebula(plane)
}

fn bits(plane: &Plane) -> Vec<u32> {
    plane.values().iter().map(|value| value.to_bits()).collect()
}

#[test]
fn less_is_left_under_stars_that_another_channel_shows() {
    let skies = [Filter::Ha, Filter::Sii, Filter::L].map(|filter| Sky::new(filter, 52, WIDE));
    let models = together(&skies.each_ref().map(|sky| &sky.plane));
    let (mut by_itself, mut with_others) = (Left::default(), Left::default());
    for (sky, model) in skies.iter().zip(&models).take(2) {
        by_itself.add(sky, &alone(&sky.plane));
        with_others.add(sky, &nebula(model, &sky.plane));
    }
    for (class, name) in CLASSES.iter().enumerate().take(3) {
        let [before, after] = [&by_itself, &with_others].map(|left| left.all(class));
        println!("{name}: {before:.2}, {after:.2}");
    }
    let [before, after] = [&by_itself, &with_others].map(Left::beside);
    println!("beside: {before:.2}, {after:.2}");
    assert!(with_others.all(0) < 1.5, "{}", with_others.all(0));
    assert!(with_others.all(1) < 1.6, "{}", with_others.all(1));
    assert!(with_others.all(2) < 1.05 * by_itself.all(2));
    // Fewer knots pass for stars.
    assert!(after - 1.0 < 0.6 * (before - 1.0), "{before} {after}");
}

const SIDE: usize = 320;

/// Where a star lies that only one channel shows, and a knot.
const HIDDEN: [f64; 2] = [81.4, 202.7];
const KNOT: [f64; 2] = [230.2, 95.6];

/// Stars of heights that are in every channel `times` those of the first, each
/// with a color of its own, and points beside them, all `shift` px away.
fn flat(seed: u64, times: f32, shift: f64, points: &[([f64; 2], f32)]) -> Plane {
    flat_of(SIDE, seed, times, shift, points)
}

fn flat_of(side: usize, seed: u64, times: f32, shift: f64, points: &[([f64; 2], f32)]) -> Plane {
    let psf = Psf::new(3.0, [0.0, 0.0]);
    let top = psf.round(0.0);
    let mut stars = points.to_vec();
    for index in 0..60_u8 {
        let part = |step: f64| 8.0 + (f64::from(index) * step).fract() * 304.0;
        let place = [part(0.618_034), part(0.414_214)];
        let far = |to: &[f64; 2]| (place[0] - to[0]).hypot(place[1] - to[1]) > 16.0;
        if far(&HIDDEN) && far(&KNOT) {
            let color = 1.0 + 0.1 * f32::from((index as u64 * seed % 5) as u8);
            stars.push((place, times * color * 400.0 * f32::from(1 + index % 7)));
        }
    }
    let mut grain = Grain(seed);
    let mut values = Vec::with_capacity(side * side);
    for index in 0..side * side {
        let mut value = 500.0 + 6.0 * grain.draw();
        for ([x, y], height) in &stars {
            let (u, v) = (
                (index % side) as f64 - x - shift,
                (index / side) as f64 - y - shift,
            );
            if u * u + v * v < 900.0 {
                value += height * psf.round((u * u + v * v) as f32) / top;
            }
        }
        values.push(value);
    }
    let size = Size {
        width: side,
        height: side,
    };
    Plane::from_vec(size, values).expect("pixels")
}

/// What is left above the sky within a star's width.
fn left(plane: &Plane, [x, y]: [f64; 2]) -> f32 {
    let (x, y) = (x.round() as usize, y.round() as usize);
    let values = plane.values();
    let square = values.slice(ndarray::s![y - 1..=y + 1, x - 1..=x + 1]);
    square.mean().expect("nine") - 500.0
}

#[test]
fn a_faint_star_goes_and_a_knot_stays() {
    // In the first too faint to be found; the noise has sigma 3.5.
    let here = flat(5, 1.0, 0.0, &[(HIDDEN, 9.0), (KNOT, 400.0)]);
    let there = flat(8, 20.0, 0.0, &[(HIDDEN, 180.0)]);
    let by_itself = alone(&here);
    assert!(left(&by_itself, KNOT).abs() < 8.0, "no star by itself");
    let [model, other] = &together(&[&here, &there])[..] else {
        unreachable!()
    };
    let with_other = nebula(model, &here);
    let kept = left(&with_other, KNOT);
    assert!(kept > 200.0, "{kept}");
    assert!(left(&nebula(other, &there), HIDDEN).abs() < 20.0);
    let near = |star: &&linehue::engine::separate::Drawn| {
        star.height > 0.0 && (star.x - HIDDEN[0]).hypot(star.y - HIDDEN[1]) < 1.0
    };
    let found = model.stars().iter().find(near).expect("told of");
    assert!((3.0..15.0).contains(&found.height), "{}", found.height);
}

#[test]
fn the_order_of_the_channels_changes_no_bit() {
    let skies =
        [Filter::Ha, Filter::Oiii, Filter::Sii].map(|filter| Sky::new(filter, 9, [320, 240]));
    let [ha, oiii, sii] = skies.each_ref().map(|sky| &sky.plane);
    let one = together(&[ha, oiii, sii]);
    let other = together(&[sii, ha, oiii]);
    for (plane, (one, other)) in [
        (ha, (&one[0], &other[1])),
        (oiii, (&one[1], &other[2])),
        (sii, (&one[2], &other[0])),
    ] {
        assert!(bits(&nebula(one, plane)) == bits(&nebula(other, plane)));
    }
}

#[test]
fn channels_on_different_grids_do_not_mislead_each_other() {
    let here = flat(5, 1.0, 0.0, &[(KNOT, 400.0)]);
    for shift in [2.5, 40.0] {
        let there = flat(8, 1.5, shift, &[]);
        let model = &together(&[&here, &there])[0];
        assert!(
            bits(&nebula(model, &here)) == bits(&alone(&here)),
            "{shift}"
        );
    }
}

/// The last cells of a mesh over the picture are a pixel or two wide, and show no
/// error: what another channel says must not take a star away there.
#[test]
fn a_star_on_the_last_column_goes_in_pictures_of_any_size() {
    for side in [SIDE + 1, SIDE + 2] {
        let at = [side as f64 - 1.0, 150.0];
        let [here, there] = [(5, 1.0), (8, 1.5)]
            .map(|(seed, times)| flat_of(side, seed, times, 0.0, &[(at, times * 900.0)]));
        for (model, plane) in together(&[&here, &there]).iter().zip([&here, &there]) {
            let stays = nebula(model, plane).values()[[150, side - 1]] - 500.0;
            assert!(stays.abs() < 40.0, "{side}: {stays}");
        }
    }
}

#[test]
fn those_are_named_that_could_tell() {
    let here = flat(5, 1.0, 0.0, &[]);
    let there = flat(8, 1.5, 0.0, &[]);
    let elsewhere = flat(9, 1.2, 40.0, &[]);
    let models = together(&[&here, &elsewhere, &there]);
    let by: Vec<_> = models.iter().map(|model| &model.told_by[..]).collect();
    assert_eq!(by, [&[2][..], &[], &[0]]);
}

#[test]
fn one_channel_and_empty_ones_are_as_alone() {
    let here = flat(5, 1.0, 0.0, &[(KNOT, 400.0)]);
    let model = &together(&[&here])[0];
    assert!(bits(&nebula(model, &here)) == bits(&alone(&here)));
    // A border without data, and a channel that is all border.
    let mut values: Vec<f32> = here.values().iter().copied().collect();
    for (index, value) in values.iter_mut().enumerate() {
        if index % SIDE < 160 {
            *value = if index / SIDE < 160 { 0.0 } else { f32::NAN };
        }
    }
    let half = Plane::from_vec(here.size(), values).unwrap();
    let empty = Plane::from_vec(here.size(), vec![0.0; SIDE * SIDE]).unwrap();
    let models = together(&[&here, &half, &empty]);
    let nebula = nebula(&models[0], &here);
    // No star is missing there: nothing is known there.
    for y in 8..SIDE - 8 {
        for x in 8..150 {
            assert!((nebula.values()[[y, x]] - 500.0).abs() < 60.0, "{x} {y}");
        }
    }
}

#[test]
fn another_size_and_a_stop_are_errors() {
    let here = flat(5, 1.0, 0.0, &[]);
    let found = find(&here, None, &FindLimits::default(), &go_on).unwrap();
    let settings = Settings::of(&found);
    let mut together = Together::default();
    together
        .add(&here, &found.stars, &settings, &go_on)
        .unwrap();
    let small = Plane::from_vec(
        Size {
            width: 2,
            height: 3,
        },
        vec![1.0; 6],
    )
    .unwrap();
    let other = together.model(&small, &go_on);
    assert!(matches!(other, Err(SeparateError::OtherSize { .. })));
    let stop = |_: usize, _: usize| ControlFlow::Break(());
    let stopped = together.add(&here, &found.stars, &settings, &stop);
    assert_eq!(stopped, Err(SeparateError::Stopped));
    together
        .add(&here, &found.stars, &settings, &go_on)
        .unwrap();
    let stopped = together.model(&here, &stop);
    assert_eq!(stopped, Err(SeparateError::Stopped));
}
