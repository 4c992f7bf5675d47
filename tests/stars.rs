//! Finding stars, held against invented fields whose stars are known.

#![expect(
    clippy::disallowed_methods,
    reason = "random cases and checks by the standard library's own functions"
)]

#[path = "stars/scene.rs"]
mod scene;

use std::ops::ControlFlow;

use linehue::engine::align::stars::{FindError, FindLimits, Stars, find};
use linehue::engine::frame::Plane;
use proptest::prelude::*;
use scene::{Draw, Point, Scene};

fn stars_of(plane: &Plane, ceiling: Option<f64>) -> Stars {
    let go_on = |_: usize, _: usize| ControlFlow::Continue(());
    find(plane, ceiling, &FindLimits::default(), &go_on).expect("in memory")
}

/// How well a list of stars agrees with the truth.
#[derive(Debug)]
struct Score {
    /// Share of the isolated true stars in the range that were found.
    complete: f64,
    /// Share of the found stars that belong to no true one.
    wrong: f64,
    /// Median distance from the truth, px, over the range.
    offset_px: f64,
    /// The same over what the sky's noise allows: 1.1774 times 0.6 FWHM / SNR.
    offset_over_limit: f64,
}

/// Isolated stars between the two signal-to-noise ratios count.
fn score(scene: &Scene, found: &Stars, least: f64, most: f64) -> Score {
    let nearest = |x: f64, y: f64| {
        let stars = found.stars.iter();
        let apart = stars.map(|s| ((s.x - x) * (s.x - x) + (s.y - y) * (s.y - y)).sqrt());
        apart.fold(f64::INFINITY, f64::min)
    };
    let mut offsets = Vec::new();
    let mut ratios = Vec::new();
    let (mut all, mut seen) = (0.0, 0.0);
    for point in &scene.points {
        let snr = scene.snr(point);
        if snr < least || snr > most || !scene.isolated(point) {
            continue;
        }
        all += 1.0;
        let offset = nearest(point.x, point.y);
        if offset < scene.fwhm_px.max(2.0) * 0.6 {
            seen += 1.0;
            offsets.push(offset);
            ratios.push(offset / (1.1774 * 0.6 * scene.fwhm_px / snr));
        }
    }
    let wrong = found.stars.iter().filter(|star| {
        !scene.points.iter().any(|point| {
            let (u, v) = (star.x - point.x, star.y - point.y);
            u * u + v * v < scene.fwhm_px * scene.fwhm_px
        })
    });
    Score {
        complete: seen / all,
        wrong: wrong.count() as f64 / found.stars.len().max(1) as f64,
        offset_px: median(offsets),
        offset_over_limit: median(ratios),
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

#[test]
fn stars_of_any_width_are_found_where_they_are() {
    for (fwhm_px, elongation) in [
        (1.3, 1.0),
        (1.8, 1.2),
        (2.5, 1.0),
        (3.2, 1.6),
        (5.0, 1.0),
        (8.0, 1.3),
        (12.0, 1.0),
    ] {
        let mut scene = Scene::new(900, 700, fwhm_px, 11);
        scene.elongation = elongation;
        let count = (250.0 * (3.0 / fwhm_px)).clamp(60.0, 250.0);
        scene.scatter(count as usize, 6.0, 3000.0);
        let found = stars_of(&scene.plane(), None);
        let faint = score(&scene, &found, 10.0, 1e9);
        println!(
            "{fwhm_px} {faint:?} {:?} {:?}",
            found.fwhm_px, found.elongation
        );
        assert!(faint.complete >= 0.95, "{fwhm_px}: {faint:?}");
        assert!(faint.wrong < 0.02, "{fwhm_px}: {faint:?}");
        assert!(faint.offset_over_limit < 1.35, "{fwhm_px}: {faint:?}");
        let width = found.fwhm_px.expect("stars") / fwhm_px;
        assert!((width - 1.0).abs() < 0.05, "{fwhm_px}: {width}");
        let round = found.elongation.expect("stars") / elongation;
        assert!((round - 1.0).abs() < 0.08, "{fwhm_px}: {round}");
    }
}

/// Bright stars to a twentieth of a pixel; faint ones as well as their light
/// allows: 0.15 px at a signal to noise of 10 up to a width of 2.2 px, beyond
/// which no method can.
#[test]
fn places_are_good_to_a_small_part_of_a_pixel() {
    for (fwhm_px, most_px) in [(1.8, 0.15), (2.2, 0.15), (2.4, 0.165)] {
        let mut scene = Scene::new(1400, 1100, fwhm_px, 5);
        scene.scatter(1400, 8.0, 1500.0);
        let found = stars_of(&scene.plane(), None);
        let bright = score(&scene, &found, 50.0, 1e9);
        let faint = score(&scene, &found, 9.0, 11.0);
        println!("{fwhm_px} {bright:?} {faint:?}");
        assert!(
            bright.offset_px < 0.05 && bright.complete > 0.98,
            "{fwhm_px} {bright:?}"
        );
        assert!(
            faint.offset_px <= most_px && faint.offset_over_limit < 1.3,
            "{fwhm_px} {faint:?}"
        );
    }
}

#[test]
fn light_and_noise_are_measured() {
    let mut scene = Scene::new(600, 600, 3.0, 77);
    scene.scatter(60, 60.0, 600.0);
    let found = stars_of(&scene.plane(), None);
    let mut ratios = Vec::new();
    for star in &found.stars {
        for point in &scene.points {
            if (star.x - point.x).abs() < 1.0 && (star.y - point.y).abs() < 1.0 {
                ratios.push([star.flux / point.flux, star.snr / scene.snr(point)]);
            }
        }
    }
    let flux = median(ratios.iter().map(|r| r[0]).collect());
    let snr = median(ratios.iter().map(|r| r[1]).collect());
    assert!((flux - 1.0).abs() < 0.03, "{flux}");
    assert!((snr - 1.0).abs() < 0.15, "{snr}");
    assert!((found.background_noise / scene.noise - 1.0).abs() < 0.1);
    assert!((found.background - scene.sky).abs() < scene.noise);
    let fluxes: Vec<f64> = found.stars.iter().map(|star| star.flux).collect();
    assert!(fluxes.is_sorted_by(|a, b| a >= b));
}

#[test]
fn nebula_and_gradient_give_no_stars_and_hide_none() {
    let mut scene = Scene::new(1000, 800, 2.8, 3);
    scene.scatter(220, 8.0, 800.0);
    scene.slope = [0.9, -0.4];
    scene.nebula = 60.0;
    let found = stars_of(&scene.plane(), None);
    let all = score(&scene, &found, 10.0, 1e9);
    println!("{all:?}");
    assert!(all.complete >= 0.95 && all.wrong < 0.02, "{all:?}");
}

#[test]
fn knots_and_filaments_are_not_stars() {
    let mut scene = Scene::new(900, 900, 2.5, 21);
    scene.scatter(80, 20.0, 500.0);
    let mut draw = Draw::new(8);
    for _ in 0..60 {
        scene.knots.push(Point {
            x: draw.uniform() * 900.0,
            y: draw.uniform() * 900.0,
            flux: scene.flux_of_snr(100.0 + 400.0 * draw.uniform()),
            width: 2.0 + 3.0 * draw.uniform(),
        });
    }
    scene.filament = 25.0;
    let found = stars_of(&scene.plane(), None);
    let all = score(&scene, &found, 10.0, 1e9);
    println!("{all:?} {}", found.stars.len());
    assert!(all.wrong < 0.03, "{all:?}");
    assert!((found.fwhm_px.expect("stars") / 2.5 - 1.0).abs() < 0.05);
}

#[test]
fn hot_pixels_and_rays_are_not_stars() {
    for fwhm_px in [1.5, 2.2, 3.5] {
        let mut scene = Scene::new(700, 700, fwhm_px, 31);
        scene.scatter(80, 10.0, 500.0);
        scene.hot_pixels = 300;
        scene.rays = 60;
        let found = stars_of(&scene.plane(), None);
        let all = score(&scene, &found, 10.0, 1e9);
        println!("{fwhm_px} {all:?} {}", found.stars.len());
        assert!(all.wrong < 0.05, "{fwhm_px}: {all:?}");
        assert!(all.complete >= 0.9, "{fwhm_px}: {all:?}");
        assert!((found.fwhm_px.expect("stars") / fwhm_px - 1.0).abs() < 0.06);
    }
}

#[test]
fn close_pairs_are_two_stars() {
    for (apart, ratio) in [(1.6, 1.0), (2.0, 0.5), (2.5, 0.3)] {
        let mut scene = Scene::new(800, 800, 3.0, 41);
        let flux = scene.flux_of_snr(150.0);
        let mut draw = Draw::new(2);
        for row in 0..9 {
            for column in 0..9 {
                let (x, y) = (
                    60.0 + 85.0 * f64::from(column),
                    60.0 + 85.0 * f64::from(row),
                );
                let (x, y) = (x + draw.uniform(), y + draw.uniform());
                let angle = 6.3 * draw.uniform();
                let distance = apart * 3.0;
                scene.push(x, y, flux);
                let (u, v) = (distance * angle.cos(), distance * angle.sin());
                scene.push(x + u, y + v, flux * ratio);
            }
        }
        let found = stars_of(&scene.plane(), None);
        let mut offsets = Vec::new();
        for point in &scene.points {
            let apart = found.stars.iter().map(|star| {
                let (u, v) = (star.x - point.x, star.y - point.y);
                (u * u + v * v).sqrt()
            });
            offsets.push(apart.fold(f64::INFINITY, f64::min));
        }
        let near = offsets.iter().filter(|offset| **offset < 0.5).count();
        println!("{apart} {near} {}", median(offsets.clone()));
        assert!(near * 100 >= offsets.len() * 95, "{apart}: {near}");
        assert!(found.stars.len() <= scene.points.len() + 1);
        assert!(median(offsets) < 0.06);
    }
}

#[test]
fn a_crowded_field_is_kept_apart() {
    let mut scene = Scene::new(800, 800, 2.4, 51);
    scene.scatter(6000, 5.0, 500.0);
    let found = stars_of(&scene.plane(), None);
    let all = score(&scene, &found, 20.0, 1e9);
    println!("{all:?} {}", found.stars.len());
    assert!(all.complete >= 0.9 && all.wrong < 0.03, "{all:?}");
    assert!(all.offset_px < 0.15, "{all:?}");
}

#[test]
fn full_stars_are_told() {
    let mut scene = Scene::new(600, 600, 3.0, 61);
    scene.scatter(60, 20.0, 300.0);
    let bright = [[150.3, 200.2], [400.8, 120.5], [300.1, 470.9]];
    for ([x, y], snr) in bright.into_iter().zip([4000.0, 20_000.0, 200_000.0]) {
        scene.push(x, y, scene.flux_of_snr(snr));
    }
    scene.ceiling = 4000.0;
    for given in [Some(4000.0), None] {
        let found = stars_of(&scene.plane(), given);
        let full: Vec<_> = found.stars.iter().filter(|star| star.saturated).collect();
        assert_eq!(full.len(), 3, "{full:?}");
        assert_eq!(found.ceiling, Some(4000.0));
        for place in bright {
            let near = full
                .iter()
                .any(|star| (star.x - place[0]).abs() < 0.3 && (star.y - place[1]).abs() < 0.3);
            assert!(near, "{place:?} {full:?}");
        }
    }
    // Clipped frames that were scaled before they were averaged: flat, but
    // below the ceiling.
    scene.ceiling = f64::INFINITY;
    scene.soft_ceiling = 3000.0;
    let found = stars_of(&scene.plane(), Some(60_000.0));
    let full = found.stars.iter().filter(|star| star.saturated).count();
    assert!(full >= 2, "{:?}", &found.stars[..4]);
    assert!(found.stars.iter().skip(3).all(|star| !star.saturated));
}

#[test]
fn missing_and_empty_parts_hold_no_stars() {
    let mut scene = Scene::new(700, 600, 2.6, 71);
    scene.scatter(200, 10.0, 500.0);
    scene.slope = [0.5, 0.5];
    let mut values = scene.plane().values().clone();
    for ((y, x), value) in values.indexed_iter_mut() {
        // A turned frame's corner, a band of zeros below, a hole and a dead column.
        if x + 2 * y < 300 || y > 560 {
            *value = 0.0;
        }
        let (u, v) = (x as f64 - 450.0, y as f64 - 300.0);
        if u * u + v * v < 3600.0 || x == 600 {
            *value = f32::NAN;
        }
    }
    let found = stars_of(&Plane::new(values.clone()), None);
    let all = score(&scene, &found, 10.0, 1e9);
    println!("{all:?}");
    assert!(all.wrong < 0.02, "{all:?}");
    assert!(found.stars.len() > 100);
    for star in &found.stars {
        let (x, y) = (star.x.round() as usize, star.y.round() as usize);
        assert!(
            values[[y, x]].is_finite() && values[[y, x]] != 0.0,
            "{star:?}"
        );
    }
    values.fill(f32::NAN);
    let none = stars_of(&Plane::new(values.clone()), None);
    assert!(none.stars.is_empty() && none.fwhm_px.is_none());
    values.fill(0.0);
    assert!(stars_of(&Plane::new(values.clone()), None).stars.is_empty());
    values.fill(100.0);
    assert!(stars_of(&Plane::new(values), None).stars.is_empty());
}

#[test]
fn coarse_whole_numbers_do() {
    // Noise of half a unit, rounded to whole units, the sky cut off at 0.
    for (sky, noise) in [(20.0, 0.5), (0.0, 0.5), (3.0, 0.2)] {
        let mut scene = Scene::new(700, 600, 2.6, 81);
        scene.sky = sky;
        scene.noise = noise;
        scene.scatter(120, 30.0, 400.0);
        scene.whole_numbers = true;
        let found = stars_of(&scene.plane(), None);
        let all = score(&scene, &found, 30.0, 1e9);
        println!("{sky} {all:?} {}", found.stars.len());
        assert!(all.complete > 0.9 && all.wrong < 0.05, "{sky}: {all:?}");
    }
}

#[test]
fn few_stars_are_enough_and_none_is_none() {
    let mut scene = Scene::new(800, 600, 3.4, 91);
    let empty = stars_of(&scene.plane(), None);
    assert!(empty.stars.is_empty(), "{:?}", empty.stars);
    scene.scatter(15, 12.0, 60.0);
    let found = stars_of(&scene.plane(), None);
    let all = score(&scene, &found, 12.0, 1e9);
    assert!(all.complete > 0.9 && all.wrong == 0.0, "{all:?}");
    for size in [(1, 1), (3, 2), (20, 1), (1, 300)] {
        let tiny = Scene::new(size.0, size.1, 3.0, 1).plane();
        assert!(stars_of(&tiny, None).stars.is_empty());
    }
}

#[test]
fn the_most_stars_are_the_brightest() {
    let mut scene = Scene::new(600, 500, 2.6, 15);
    scene.scatter(150, 20.0, 500.0);
    let plane = scene.plane();
    let all = stars_of(&plane, None);
    let limits = FindLimits {
        max_stars: 40,
        ..FindLimits::default()
    };
    let some = find(&plane, None, &limits, &|_, _| ControlFlow::Continue(())).expect("in memory");
    assert_eq!(some.stars, all.stars[..40]);
}

#[test]
fn the_number_of_threads_changes_no_bit() {
    let mut scene = Scene::new(500, 1300, 2.6, 17);
    scene.scatter(400, 6.0, 900.0);
    let plane = scene.plane();
    let once = stars_of(&plane, None);
    for threads in [1, 2, 5] {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("a pool");
        let again = pool.install(|| stars_of(&plane, None));
        assert_eq!(once.stars.len(), again.stars.len());
        for (a, b) in once.stars.iter().zip(&again.stars) {
            assert_eq!(a.x.to_bits(), b.x.to_bits());
            assert_eq!(a.y.to_bits(), b.y.to_bits());
            assert_eq!(a.flux.to_bits(), b.flux.to_bits());
        }
        assert_eq!(once, again);
    }
}

#[test]
fn the_caller_can_stop_it_and_hears_how_far_it_is() {
    let plane = Scene::new(200, 1300, 2.6, 17).plane();
    let stop = |_: usize, _: usize| ControlFlow::Break(());
    let answer = find(&plane, None, &FindLimits::default(), &stop);
    assert_eq!(answer, Err(FindError::Stopped));
    let heard = std::sync::Mutex::new(Vec::new());
    let listen = |done: usize, all: usize| {
        heard.lock().expect("one thread").push((done, all));
        ControlFlow::Continue(())
    };
    find(&plane, None, &FindLimits::default(), &listen).expect("in memory");
    let heard = heard.into_inner().expect("one thread");
    assert!(heard.is_sorted());
    assert_eq!(heard.last().map(|(done, all)| done == all), Some(true));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    /// The same pixels elsewhere give the same stars elsewhere.
    #[test]
    fn shifting_the_field_shifts_its_stars(dx in 0_usize..70, dy in 0_usize..150, seed in 0_u64..1000) {
        let mut scene = Scene::new(520, 560, 2.7, seed);
        scene.scatter(60, 30.0, 500.0);
        let values = scene.plane().values().clone();
        let cut = |x: usize, y: usize| {
            Plane::new(values.slice(ndarray::s![y..y + 400, x..x + 440]).to_owned())
        };
        let here = stars_of(&cut(0, 0), None);
        let there = stars_of(&cut(dx, dy), None);
        let inside = |x: f64, y: f64| x > 12.0 && y > 12.0 && x < 427.0 && y < 387.0;
        let (mut compared, mut missing) = (0, 0);
        for star in here.stars.iter().filter(|star| star.snr > 20.0) {
            let (x, y) = (star.x - dx as f64, star.y - dy as f64);
            if !inside(x, y) || !inside(star.x, star.y) {
                continue;
            }
            let same = there.stars.iter().any(|o| (o.x - x).abs() < 0.02 && (o.y - y).abs() < 0.02);
            compared += 1;
            missing += usize::from(!same);
        }
        prop_assert!(missing * 20 <= compared, "{missing} of {compared}");
    }
}
