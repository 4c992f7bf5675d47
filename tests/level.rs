//! Sky models on fields whose glow is known.

use std::ops::ControlFlow;
use std::sync::Arc;

use linehue::engine::frame::{Plane, Rows, RowsError, Size};
use linehue::engine::level::{Kind, LevelError, Leveled, Notice, SkyModel, model};
use linehue::engine::recipe::{KeepOut, Level};
use ndarray::Array2;

#[path = "support/field/mod.rs"]
mod field;

use field::random::Stream;
use field::{Filter, Parts, Scene, Spec, render};

const NOISE: f64 = 10.0;
const SKY: f64 = 1000.0;

fn degree(degree: u8) -> Level {
    Level {
        degree: Some(degree),
        ..Level::default()
    }
}

fn smooth(smooth: f64) -> Level {
    Level {
        smooth: Some(smooth),
        ..Level::default()
    }
}

fn make(rows: &dyn Rows, level: &Level) -> Result<SkyModel, LevelError> {
    model(rows, level, &mut |_, _| ControlFlow::Continue(()))
}

/// A plane of `width` by `height`: SKY, and in units of the noise what `light`
/// says of the place (0..1 along both sides), and noise.
fn plane(width: usize, height: usize, seed: u64, light: impl Fn(f64, f64) -> f64) -> Plane {
    let dice = Stream::new(seed, 1);
    Plane::new(Array2::from_shape_fn((height, width), |(y, x)| {
        let (u, v) = place(width, height, x, y);
        let noise = f64::from(dice.normal((y * width + x) as u64));
        (SKY + NOISE * (light(u, v) + noise)) as f32
    }))
}

fn place(width: usize, height: usize, x: usize, y: usize) -> (f64, f64) {
    (
        (x as f64 + 0.5) / width as f64,
        (y as f64 + 0.5) / height as f64,
    )
}

/// A gradient of about 50 times the noise from end to end, of this degree.
fn glow(degree: u8, seed: u64, u: f64, v: f64) -> f64 {
    let dice = Stream::new(seed, 2);
    let (p, q) = (2.0 * u - 1.0, 2.0 * v - 1.0);
    let terms = [
        p,
        q,
        p * p,
        p * q,
        q * q,
        p * p * p,
        p * p * q,
        p * q * q,
        q * q * q,
    ];
    let count = [2, 5, 9][usize::from(degree) - 1];
    let weight = |i: usize| 2.0 * dice.uniform(i as u64) - 1.0;
    let span: f64 = (0..count).map(|i| weight(i).abs()).sum();
    let sum: f64 = (0..count).map(|i| weight(i) * terms[i]).sum();
    // Odd terms run over twice their weight, even ones over once.
    sum * 30.0 / span
}

/// An uneven shell with filaments and an outskirt that fades, brightest about 1,
/// in a picture of 3 to 2; more than 40 % of the field at radius 0.4.
fn shell(u: f64, v: f64, radius: f64) -> f64 {
    let (x, y) = (1.5 * u - 0.75, v - 0.5);
    let distance = (x * x + y * y).sqrt();
    let angle = libm::atan2(y, x);
    let edge = radius * (1.0 + 0.12 * libm::sin(3.0 * angle + 1.0) + 0.06 * libm::sin(7.0 * angle));
    let threads = libm::sin(40.0 * u + 9.0 * libm::sin(13.0 * v))
        * libm::sin(31.0 * v + 5.0 * libm::sin(17.0 * u));
    let body = if distance < edge {
        let inside = distance / edge;
        0.35 + 0.65 * inside * inside
    } else {
        libm::exp((edge - distance) / (0.08 * radius))
    };
    body * (0.7 + 0.3 * threads)
}

/// How the model departs from the glow, in units of the noise, at places all
/// over the field: lowest and highest, their mean taken off.
fn departures(sky: &SkyModel, size: Size, glow: impl Fn(f64, f64) -> f64) -> (f64, f64) {
    let mut all = Vec::new();
    for j in 0..40 {
        for i in 0..60 {
            let (x, y) = (i * (size.width - 1) / 59, j * (size.height - 1) / 39);
            let (u, v) = place(size.width, size.height, x, y);
            all.push((sky.at(x as f64, y as f64) - SKY) / NOISE - glow(u, v));
        }
    }
    let mean = all.iter().sum::<f64>() / all.len() as f64;
    all.iter().fold((0.0, 0.0), |(low, high), d| {
        (f64::min(low, d - mean), f64::max(high, d - mean))
    })
}

/// The share of the nebula's light that is taken away with the sky.
fn flux_lost(
    sky: &SkyModel,
    size: Size,
    glow: impl Fn(f64, f64) -> f64,
    nebula: impl Fn(f64, f64) -> f64,
) -> f64 {
    let (mut lost, mut light) = (0.0, 0.0);
    for y in (0..size.height).step_by(5) {
        for x in (0..size.width).step_by(5) {
            let (u, v) = place(size.width, size.height, x, y);
            light += nebula(u, v);
            if nebula(u, v) > 0.5 {
                lost += (sky.at(x as f64, y as f64) - SKY) / NOISE - glow(u, v);
            }
        }
    }
    lost / light
}

#[test]
fn gradients_of_every_degree_are_found() {
    for seed in 0..4 {
        for true_degree in 1..=3 {
            let truth = |u, v| glow(true_degree, seed, u, v);
            let plane = plane(360, 240, seed, truth);
            for asked in true_degree..=3 {
                let sky = make(&plane, &degree(asked)).unwrap();
                assert_eq!(sky.kind, Kind::Polynomial { degree: asked });
                assert_eq!(sky.notices, [], "seed {seed}");
                let (low, high) = departures(&sky, plane.size(), truth);
                assert!(low > -0.3 && high < 0.3, "{seed} {asked}: {low} {high}");
                assert!((sky.noise / NOISE - 1.0).abs() < 0.06, "{}", sky.noise);
            }
            let sky = make(&plane, &smooth(0.5)).unwrap();
            let (low, high) = departures(&sky, plane.size(), truth);
            assert!(low > -0.4 && high < 0.4, "{seed} spline: {low} {high}");
        }
    }
}

#[test]
fn a_nebula_over_two_fifths_of_the_field_does_not_pull() {
    for (seed, bright) in [(11, 60.0), (12, 300.0), (13, 15.0)] {
        for true_degree in 1..=3 {
            let truth = |u, v| glow(true_degree, seed, u, v);
            let nebula = |u, v| bright * shell(u, v, 0.4);
            let plane = plane(1200, 800, seed, |u, v| truth(u, v) + nebula(u, v));
            let covered = (0..9600)
                .filter(|i| nebula((i % 120) as f64 / 120.0, (i / 120) as f64 / 80.0) > 1.0);
            assert!(covered.count() > 9600 * 2 / 5);
            for level in [degree(true_degree), smooth(0.4)] {
                let sky = make(&plane, &level).unwrap();
                let (low, high) = departures(&sky, plane.size(), truth);
                let what = format!("{level:?} {seed} {bright}: {low} {high}");
                assert!(low > -0.5 && high < 0.5, "{what}");
                let lost = flux_lost(&sky, plane.size(), truth, nebula);
                assert!(lost.abs() < 0.02, "{what}: {lost}");
            }
        }
    }
}

fn lantern(filter: Filter) -> (Spec, Vec<f32>, Plane) {
    let (width, height) = (960, 640);
    let scene = Scene::new(width, height, 20);
    let mut spec = Spec::new(width, height, filter);
    spec.gradient = [14.0, -9.0, 3.0, 4.0, -3.0];
    let gas_only = Parts {
        gas: true,
        stars: false,
        noise: false,
        saturation: false,
    };
    let gas = render(&scene, &spec.with_parts(gas_only));
    let seen =
        Array2::from_shape_vec((height, width), render(&scene, &spec)).expect("the scene fills it");
    (spec, gas, Plane::new(seen))
}

/// Oxygen is brighter than the noise over 70 % of the field.
#[test]
fn the_lantern_shell_keeps_its_light() {
    let (spec, gas, plane) = lantern(Filter::Oiii);
    let Size { width, height } = plane.size();
    let noise = spec.variance(spec.sky).sqrt();
    for level in [degree(2), smooth(0.5)] {
        let sky = make(&plane, &level).unwrap();
        let (mut lost, mut light, mut bright) = (0.0, 0.0, 0);
        let mut offsets = Vec::new();
        for y in (0..height).step_by(8) {
            for x in (0..width).step_by(8) {
                let truth = spec.sky_at(x, y);
                let departure = sky.at(x as f64, y as f64) - truth;
                let here = f64::from(gas[y * width + x]) - truth;
                lost += departure;
                light += here;
                bright += usize::from(here > noise);
                offsets.push(departure / noise);
            }
        }
        assert!(bright * 10 > 6 * offsets.len(), "{bright}");
        let mean = offsets.iter().sum::<f64>() / offsets.len() as f64;
        let worst = offsets
            .iter()
            .fold(0.0, |w, o| f64::max(w, (o - mean).abs()));
        assert!(worst < 0.5, "{worst}");
        assert!((lost / light).abs() < 0.02, "{}", lost / light);
    }
}

/// Hydrogen glows everywhere: 1 % of the field is darker than half the noise.
#[test]
fn a_lantern_shell_that_fills_the_field_is_told() {
    let (_, _, plane) = lantern(Filter::Ha);
    let sky = make(&plane, &degree(2)).unwrap();
    let words: Vec<_> = sky.notices.iter().map(Notice::to_string).collect();
    assert!(words[0].contains("little of the field is sky"), "{words:?}");
}

#[test]
fn a_field_of_nebula_alone_is_told() {
    let plane = plane(600, 400, 3, |u, v| {
        30.0 + 60.0 * shell(u, v, 0.9) + 10.0 * libm::sin(9.0 * u) * libm::sin(7.0 * v)
    });
    for level in [degree(1), degree(2), degree(3), smooth(0.3)] {
        let words = match make(&plane, &level) {
            Ok(sky) => {
                let words = sky.notices.iter().map(Notice::to_string);
                words.collect::<Vec<_>>().join("\n")
            }
            Err(error) => error.to_string(),
        };
        assert!(words.contains("no sky to speak of"), "{level:?}: {words}");
    }
}

#[test]
fn borders_without_data_do_not_count_and_stay_as_they_are() {
    let truth = |u: f64, v: f64| 20.0 * u - 12.0 * v;
    for border in [0.0, f32::NAN] {
        let mut values = plane(480, 320, 5, truth).values().clone();
        // A tilted border at the left and a straight one at the bottom.
        for ((y, x), value) in values.indexed_iter_mut() {
            if x < 40 + y / 4 || y >= 290 {
                *value = border;
            }
        }
        let plane = Plane::new(values);
        let sky = make(&plane, &degree(1)).unwrap();
        let (low, high) = departures(&sky, plane.size(), truth);
        assert!(low > -0.2 && high < 0.2, "{low} {high}");
        let leveled = Leveled::new(Arc::new(plane), sky);
        let out = Plane::from_rows(&leveled).unwrap();
        for (y, x) in [(0, 0), (100, 60), (300, 479)] {
            let value = out.values()[(y, x)];
            assert_eq!(value.to_bits(), border.to_bits());
        }
        let middle = out.values().slice(ndarray::s![0..280, 130..]);
        let mean = middle.iter().map(|v| f64::from(*v)).sum::<f64>() / middle.len() as f64;
        assert!((mean - leveled.model().sky_level).abs() < 0.3, "{mean}");
    }
}

#[test]
fn pictures_without_anything_to_see_are_refused_with_words() {
    for nothing in [f32::NAN, 0.0] {
        let plane = Plane::new(Array2::from_elem((100, 200), nothing));
        let error = make(&plane, &degree(1)).unwrap_err();
        assert!(error.to_string().contains("no sky to speak of"), "{error}");
        assert!(!error.hint().is_empty());
    }
    let whole = Level {
        keep_out: vec![KeepOut::Circle([100.0, 100.0, 1e9])],
        ..degree(1)
    };
    let error = make(&plane(200, 200, 1, |_, _| 0.0), &whole).unwrap_err();
    assert!(matches!(error, LevelError::NoSamples { .. }), "{error}");
    assert!(error.hint().contains("keep_out"));
}

#[test]
fn tiny_pictures_are_refused_or_get_a_lower_degree() {
    for (width, height) in [(1, 1), (8, 8), (16, 9), (3, 20)] {
        let error = make(&plane(width, height, 1, |_, _| 0.0), &degree(2)).unwrap_err();
        assert_eq!(
            error,
            LevelError::TooSmall {
                size: Size { width, height }
            }
        );
        assert!(error.to_string().contains("too small"));
        assert!(error.hint().contains("[channel.level]"));
    }
    let plane = plane(32, 32, 1, |u, _| 10.0 * u);
    for level in [degree(3), smooth(0.5)] {
        let sky = make(&plane, &level).unwrap();
        if let Kind::Polynomial { degree } = sky.kind {
            assert!(degree < 3);
            assert!(matches!(sky.notices[0], Notice::Simpler { .. }));
        }
    }
    // Thin strips have room across.
    let strip = Plane::new(Array2::from_shape_fn((12, 3000), |(y, x)| {
        (100.0 + 0.01 * x as f64 + 0.5 * y as f64) as f32
    }));
    let sky = make(&strip, &degree(1)).unwrap();
    assert!((sky.at(2000.0, 3.0) - 121.5).abs() < 0.1);
}

#[test]
fn few_bits_give_a_smooth_model() {
    let truth = |u: f64, v: f64| 25.0 * u + 10.0 * v;
    let smooth_plane = plane(600, 400, 9, truth);
    // Steps of 1.5 sigma, then of 3.
    for step in [15.0f32, 30.0] {
        let plane = Plane::new(smooth_plane.values().mapv(|v| (v / step).round() * step));
        let sky = make(&plane, &degree(1)).unwrap();
        let (low, high) = departures(&sky, plane.size(), truth);
        assert!(low > -0.25 && high < 0.25, "{step}: {low} {high}");
    }
}

#[test]
fn a_constant_field_stays() {
    for value in [0.25f32, -40.0, 1e30, 65535.0] {
        let plane = Plane::new(Array2::from_elem((64, 96), value));
        for level in [degree(1), degree(3), smooth(0.4)] {
            let sky = make(&plane, &level).unwrap();
            assert_eq!(sky.noise, 0.0);
            assert_eq!(sky.amplitude_over_noise, None);
            assert!(sky.amplitude <= 1e-6 * f64::from(value.abs()));
            assert!(
                sky.notices
                    .iter()
                    .all(|n| matches!(n, Notice::Simpler { .. }))
            );
            let out = Plane::from_rows(&Leveled::new(Arc::new(plane.clone()), sky)).unwrap();
            let near = |v: &f32| (v - value).abs() <= 1e-5 * value.abs();
            assert!(out.values().iter().all(near));
        }
    }
}

#[test]
fn zero_takes_the_level_too() {
    let truth = |u: f64, _: f64| 30.0 * u;
    let plane = plane(400, 300, 21, truth);
    let kept = make(&plane, &degree(1)).unwrap();
    let zero = Level {
        zero: true,
        ..degree(1)
    };
    let gone = make(&plane, &zero).unwrap();
    assert_eq!(kept.sky_level, gone.sky_level);
    assert_eq!(kept.at(7.0, 9.0), gone.at(7.0, 9.0));
    let mean = |sky: SkyModel| {
        let out = Plane::from_rows(&Leveled::new(Arc::new(plane.clone()), sky)).unwrap();
        out.values().iter().map(|v| f64::from(*v)).sum::<f64>() / 120_000.0
    };
    let level = kept.sky_level;
    // Samples are 6 units apart.
    assert!((level - (SKY + 15.0 * NOISE)).abs() < 4.0, "{level}");
    assert!((mean(kept) - level).abs() < 0.2);
    assert!(mean(gone).abs() < 0.2);
}

#[test]
fn what_is_kept_out_does_not_count() {
    // A broad, faint nebula at one side, which nothing but the eye can tell
    // from glow.
    let truth = |u: f64, v: f64| 8.0 * v - 4.0 * u;
    let nebula = |u: f64, _: f64| 12.0 * libm::exp(-(u - 1.0) * (u - 1.0) / 0.08);
    let plane = plane(600, 400, 31, |u, v| truth(u, v) + nebula(u, v));
    let free = make(&plane, &degree(2)).unwrap();
    let corners = vec![[250.0, -1.0], [601.0, -1.0], [601.0, 401.0], [250.0, 401.0]];
    let part = Level {
        keep_out: vec![KeepOut::Polygon(corners)],
        ..degree(1)
    };
    let guided = make(&plane, &part).unwrap();
    let worst = |sky: &SkyModel| {
        let (low, high) = departures(sky, plane.size(), truth);
        f64::max(-low, high)
    };
    assert!(worst(&guided) < 0.7, "{}", worst(&guided));
    assert!(worst(&free) > 2.0 * worst(&guided), "{}", worst(&free));
    assert!(guided.refused > free.refused.min(500));
}

#[test]
fn a_spline_follows_a_bumpy_glow_better_than_polynomials() {
    let truth = |u: f64, v: f64| {
        12.0 * libm::sin(7.0 * u + 1.0) * libm::cos(6.0 * v) + 8.0 * libm::sin(11.0 * v - 4.0 * u)
    };
    let plane = plane(900, 600, 41, truth);
    let worst = |level: &Level| {
        let (low, high) = departures(&make(&plane, level).unwrap(), plane.size(), truth);
        f64::max(-low, high)
    };
    let cubic = worst(&degree(3));
    let spline = worst(&smooth(0.12));
    assert!(cubic > 10.0, "{cubic}");
    assert!(spline < cubic / 4.0, "{spline} {cubic}");
}

#[test]
fn threads_and_bands_make_no_difference() {
    let plane = plane(333, 257, 51, |u, v| 20.0 * u * v + 40.0 * shell(u, v, 0.3));
    for level in [degree(3), smooth(0.3)] {
        let with = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
            let pool = pool.build().unwrap();
            pool.install(|| {
                let sky = make(&plane, &level).unwrap();
                let out = Plane::from_rows(&Leveled::new(Arc::new(plane.clone()), sky.clone()));
                (sky, out.unwrap())
            })
        };
        let (sky, whole) = with(1);
        assert_eq!(with(4), (sky.clone(), whole.clone()));
        for rows in [1, 7, 64, 257] {
            let mut values: Vec<f32> = plane.values().iter().copied().collect();
            for (index, band) in values.chunks_mut(333 * rows).enumerate() {
                sky.subtract(index * rows, 333, band);
            }
            assert!(values.iter().eq(whole.values().iter()), "{rows}");
        }
        // What is subtracted is the model that `at` tells.
        let (x, y) = (301usize, 200usize);
        let taken = f64::from(plane.values()[(y, x)]) - f64::from(whole.values()[(y, x)]);
        let told = sky.at(x as f64, y as f64) - sky.sky_level;
        assert!((taken - told).abs() < 1e-3, "{taken} {told}");
    }
}

struct Broken;

impl Rows for Broken {
    fn size(&self) -> Size {
        Size {
            width: 100,
            height: 200,
        }
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        if first_row > 100 {
            return Err(RowsError {
                message: "lantern-ha.fits ends early".into(),
                hint: "copy it again".into(),
            });
        }
        out.fill(1.0);
        Ok(())
    }
}

#[test]
fn errors_of_the_source_and_stops_come_through() {
    let error = make(&Broken, &degree(1)).unwrap_err();
    assert!(error.to_string().contains("ends early"));
    assert_eq!(error.hint(), "copy it again");
    let plane = plane(100, 200, 1, |_, _| 0.0);
    let mut heard = Vec::new();
    let stopped = model(&plane, &degree(1), &mut |done, all| {
        heard.push((done, all));
        if done >= 128 {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(())
        }
    });
    assert_eq!(stopped, Err(LevelError::Stopped));
    assert_eq!(heard, [(64, 200), (128, 200)]);
    assert_eq!(make(&plane, &Level::default()), Err(LevelError::Unchecked));
}
