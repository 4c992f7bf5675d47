//! Faint stars, close ones and ones that the border cuts, on a smooth sky whose
//! truth is known: all of them go, and what is no star stays.

#[path = "stars/scene.rs"]
#[expect(dead_code, reason = "these tests need only a part of it")]
mod scene;

use std::ops::ControlFlow;

use linehue::engine::align::stars::{FindLimits, find};
use linehue::engine::frame::Plane;
use linehue::engine::separate::{Settings, stars_apart};
use scene::{Point, Scene};

const WIDTH: usize = 700;
const HEIGHT: usize = 500;

fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

/// A sky with a nebula 20 times as high as the noise.
fn sky(fwhm_px: f64, seed: u64) -> Scene {
    let mut scene = Scene::new(WIDTH, HEIGHT, fwhm_px, seed);
    scene.nebula = 20.0;
    scene
}

/// Height of a star's image, sigma of the noise.
fn height(scene: &Scene, star: &Point) -> f64 {
    // The middle of a round bell that holds this flux.
    let sigma = scene.fwhm_px / (8.0 * libm::log(2.0)).sqrt();
    star.flux / (2.0 * std::f64::consts::PI * sigma * sigma) / scene.noise
}

fn starless(plane: &Plane) -> Plane {
    let stars = find(plane, None, &FindLimits::default(), &go_on).expect("not stopped");
    let settings = Settings::of(&stars);
    stars_apart(plane, &stars.stars, &settings, &go_on)
        .expect("not stopped")
        .nebula(plane)
}

/// What is left of a scene's stars once they are taken off, sigma of the noise:
/// beside each star's number. Where its light is a fifth of the noise and more than
/// any other's, the mean square and the pixels; the noise itself gives 1.
fn left(scene: &Scene) -> Vec<(f64, f64)> {
    let nebula = starless(&scene.plane());
    // The same noise lies on a sky with no stars and on one with nothing at all.
    let bare = |nebula: f64| {
        let mut bare = Scene::new(WIDTH, HEIGHT, scene.fwhm_px, scene.seed);
        bare.nebula = nebula;
        bare.plane()
    };
    let (with, without) = (bare(scene.nebula), bare(0.0));
    let sigma = scene.fwhm_px / (8.0 * libm::log(2.0)).sqrt();
    // Which star gives each pixel the most light, and how much.
    let mut owners = vec![(0.2, None); WIDTH * HEIGHT];
    for (number, star) in scene.points.iter().enumerate() {
        let reach = 6.0 * sigma;
        let within = |at: f64, size: usize| {
            (at - reach).max(0.0) as usize..((at + reach).max(0.0) as usize + 1).min(size)
        };
        for y in within(star.y, HEIGHT) {
            for x in within(star.x, WIDTH) {
                let (u, v) = (x as f64 - star.x, y as f64 - star.y);
                let bell = libm::exp(-0.5 * (u * u + v * v) / (sigma * sigma));
                let light = height(scene, star) * bell;
                let owner = &mut owners[y * WIDTH + x];
                if light > owner.0 {
                    *owner = (light, Some(number));
                }
            }
        }
    }
    let mut sums = vec![(0.0, 0.0); scene.points.len()];
    for (at, (_, owner)) in owners.iter().enumerate() {
        if let Some(star) = owner {
            let at = [at / WIDTH, at % WIDTH];
            let truth = scene.sky + f64::from(with.values()[at] - without.values()[at]);
            let off = (f64::from(nebula.values()[at]) - truth) / scene.noise;
            sums[*star].0 += off * off;
            sums[*star].1 += 1.0;
        }
    }
    sums
}

fn rms(sums: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (squares, pixels) = sums.fold((0.0, 0.0), |all, one| (all.0 + one.0, all.1 + one.1));
    (squares / pixels).sqrt()
}

/// Stars of signal to noise 6 to 2,000 all over, some of them nearer to each other
/// than they are wide, some on the border.
#[test]
fn little_is_left_of_faint_and_crowded_stars() {
    for (name, fwhm_px, count, elongation) in [
        ("usual", 3.0, 300, 1.0),
        ("narrow", 2.0, 300, 1.0),
        ("wide", 5.0, 300, 1.0),
        ("long", 3.0, 300, 1.3),
        ("crowded", 3.0, 1500, 1.0),
    ] {
        let mut scene = sky(fwhm_px, 7);
        scene.elongation = elongation;
        scene.scatter(count, 6.0, 2000.0);
        let left = left(&scene);
        let of = |from: f64, to: f64| {
            let stars = scene.points.iter().zip(&left);
            rms(stars
                .filter(|(star, _)| (from..to).contains(&height(&scene, star)))
                .map(|(_, left)| *left))
        };
        let [faint, middle, bright] = [of(0.0, 20.0), of(20.0, 200.0), of(200.0, 1e9)];
        println!("{name}: {faint:.2} {middle:.2} {bright:.2}");
        assert!(faint < 1.5, "{name}: {faint}");
        assert!(middle < 1.5, "{name}: {middle}");
        assert!(bright < 1.5, "{name}: {bright}");
    }
}

/// Pairs 0.6 to 1.4 widths apart, of equal stars and of such that one has a third
/// of the other's light.
#[test]
fn two_stars_that_look_like_one_both_go() {
    let mut scene = sky(3.0, 11);
    scene.scatter(150, 20.0, 500.0);
    let lone = scene.points.len();
    for part in 0..40_u32 {
        let (column, row) = (f64::from(part % 8), f64::from(part / 8));
        let (x, y) = (60.3 + 81.7 * column, 55.4 + 92.6 * row);
        let apart = 3.0 * (0.6 + 0.2 * f64::from(part % 5));
        let angle = 0.7 * f64::from(part);
        let flux = scene.flux_of_snr(400.0);
        let second = if part % 2 == 0 { 1.0 } else { 0.33 };
        scene.push(x, y, flux);
        let (u, v) = (apart * libm::cos(angle), apart * libm::sin(angle));
        scene.push(x + u, y + v, second * flux);
    }
    let left = left(&scene);
    let all = rms(left[lone..].iter().copied());
    println!("pairs: {all:.2}");
    assert!(all < 1.5, "{all}");
    for (index, pair) in left[lone..].chunks(2).enumerate() {
        let pair = rms(pair.iter().copied());
        assert!(pair < 3.0, "{index}: {pair}");
    }
}

/// Knots as wide as two stars are no stars, and no groups of stars either.
#[test]
fn knots_of_the_nebula_stay() {
    let mut scene = sky(3.0, 13);
    scene.scatter(200, 10.0, 1000.0);
    let far = |scene: &Scene, x: f64, y: f64| {
        let near = |star: &Point| libm::hypot(star.x - x, star.y - y) < 20.0;
        !scene.points.iter().any(near)
    };
    for part in 0..60_u32 {
        let (x, y) = (
            40.0 + 65.0 * f64::from(part % 10),
            45.0 + 82.0 * f64::from(part / 10),
        );
        if far(&scene, x, y) {
            let flux = scene.flux_of_snr(100.0 + 15.0 * f64::from(part));
            scene.knots.push(Point {
                x,
                y,
                flux,
                width: 2.0,
            });
        }
    }
    assert!(scene.knots.len() > 20, "{}", scene.knots.len());
    let plane = scene.plane();
    let nebula = starless(&plane);
    let mut stayed = 0;
    for knot in &scene.knots {
        let at = [knot.y as usize, knot.x as usize];
        let gone = plane.values()[at] - nebula.values()[at];
        stayed += usize::from(f64::from(gone) < 0.1 * height(&scene, knot) * scene.noise / 4.0);
    }
    println!("{stayed} of {} knots", scene.knots.len());
    assert!(stayed * 10 >= scene.knots.len() * 9, "{stayed}");
}
