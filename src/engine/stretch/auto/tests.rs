#![expect(
    clippy::disallowed_methods,
    reason = "a check by the standard library's own functions"
)]

use std::ops::ControlFlow;

use proptest::prelude::*;

use super::*;
use crate::engine::frame::Plane;
use crate::engine::measure::fields::{Dice, field, with_rim, with_stars};
use crate::engine::measure::survey;

/// What a stretch does to a field, counted pixel by pixel.
struct Seen {
    below: f64,
    above: f64,
    tone_of_sky: f64,
    tone_of_median: f64,
}

/// The tone of `value`, from the formulas by the standard library.
fn tone(stretch: &Stretch, value: f64) -> f64 {
    let t = ((value - stretch.black) / (stretch.white - stretch.black)).clamp(0.0, 1.0);
    match (stretch.shape, stretch.amount) {
        (Shape::Linear, None) => t,
        (Shape::Asinh, Some(a)) => (a * t).asinh() / a.asinh(),
        other => panic!("no shape of ours: {other:?}"),
    }
}

/// Median and standard deviation, clipped at 3 sigma, the plain way.
fn clipped_median(values: &[f64]) -> f64 {
    let mut left = values.to_vec();
    for _ in 0..20 {
        let middle = left[left.len() / 2];
        let mean = left.iter().sum::<f64>() / left.len() as f64;
        let variance = left.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>();
        let sigma = (variance / left.len() as f64).sqrt();
        let before = left.len();
        left.retain(|v| (v - middle).abs() <= 3.0 * sigma);
        if left.len() == before || left.is_empty() {
            break;
        }
    }
    left[left.len() / 2]
}

fn seen(plane: &Plane, stretch: &Stretch, empty: Option<f32>) -> Seen {
    let mut values: Vec<f64> = plane
        .values()
        .iter()
        .filter(|value| value.is_finite() && Some(**value) != empty)
        .map(|value| f64::from(*value))
        .collect();
    values.sort_by(f64::total_cmp);
    let share = |count: usize| count as f64 / values.len() as f64;
    Seen {
        below: share(values.iter().filter(|v| **v < stretch.black).count()),
        above: share(values.iter().filter(|v| **v > stretch.white).count()),
        tone_of_sky: tone(stretch, clipped_median(&values)),
        tone_of_median: tone(stretch, values[values.len() / 2]),
    }
}

fn stretched(plane: &Plane) -> Stretch {
    let survey = survey(plane, None, &mut |_, _| ControlFlow::Continue(())).unwrap();
    auto(&survey).unwrap()
}

/// Holds a field to the promise. `nebula`: the plain median is no sky.
fn hold(name: &str, plane: &Plane, empty: Option<f32>, nebula: bool) -> Seen {
    let stretch = stretched(plane);
    let seen = seen(plane, &stretch, empty);
    let report = format!(
        "{name}: {stretch:?}, sky {:.4}, median {:.4}, below {:.5}, above {:.5}",
        seen.tone_of_sky, seen.tone_of_median, seen.below, seen.above
    );
    println!("{report}");
    assert!(stretch.white > stretch.black, "{report}");
    assert!(seen.below <= 0.005, "{report}");
    assert!(seen.above <= 0.001, "{report}");
    assert!((seen.tone_of_sky - 0.10).abs() <= 0.02, "{report}");
    assert!(
        nebula || (seen.tone_of_median - 0.10).abs() <= 0.02,
        "{report}"
    );
    seen
}

fn plain(seed: u64) -> Plane {
    field(300, 260, seed, |_, _, dice| 1000.0 + 10.0 * dice.normal())
}

#[test]
fn noise_alone() {
    hold("noise", &plain(1), None, false);
    let about_zero = field(300, 200, 2, |_, _, dice| dice.normal());
    hold("noise about 0", &about_zero, None, false);
    let below_zero = field(300, 200, 3, |_, _, dice| -500.0 + 0.1 * dice.normal());
    hold("noise below 0", &below_zero, None, false);
    let flat = field(300, 200, 4, |_, _, dice| dice.uniform());
    hold("uniform", &flat, None, false);
}

#[test]
fn steep_gradients() {
    let straight = field(400, 200, 5, |x, _, dice| {
        1000.0 + 2.5 * x as f64 + 10.0 * dice.normal()
    });
    hold("gradient", &straight, None, false);
    hold(
        "gradient, stars",
        &with_stars(&straight, 80, 50000.0, 65535.0, 6),
        None,
        false,
    );
    let corner = field(300, 300, 7, |x, y, dice| {
        let (dx, dy) = (x as f64 / 300.0, y as f64 / 300.0);
        1000.0 + 1000.0 * dx * dx * dy + 10.0 * dice.normal()
    });
    hold("glow in a corner", &corner, None, false);
    let falling = field(300, 300, 8, |x, y, dice| {
        let (dx, dy) = (x as f64 / 150.0 - 1.0, y as f64 / 150.0 - 1.0);
        2000.0 - 300.0 * (dx * dx + dy * dy) + 10.0 * dice.normal()
    });
    hold("vignette", &falling, None, false);
}

#[test]
fn borders_without_data() {
    let plane = with_stars(&plain(9), 100, 30000.0, 60000.0, 10);
    hold(
        "missing border",
        &with_rim(&plane, 40, 30, f32::NAN),
        None,
        false,
    );
    hold(
        "zero border",
        &with_rim(&plane, 40, 30, 0.0),
        Some(0.0),
        false,
    );
    hold(
        "narrow zero border",
        &with_rim(&plane, 4, 0, 0.0),
        Some(0.0),
        false,
    );
    // Not recognised: then it is data, and the promise holds for it too.
    hold(
        "border near zero",
        &with_rim(&plane, 40, 30, 1e-3),
        None,
        true,
    );
}

#[test]
fn stars_with_flat_tops() {
    for (count, peak) in [(40, 1e5), (400, 3e5), (2000, 1e6)] {
        let stars = with_stars(&plain(11), count, peak, 65535.0, 12);
        hold("saturated stars", &stars, None, count > 1000);
    }
}

#[test]
fn nebula_over_a_third() {
    let nebula = field(400, 300, 13, |_, _, dice| {
        let light = if dice.uniform() < 0.3 {
            50.0 * dice.exponential()
        } else {
            0.0
        };
        1000.0 + 10.0 * dice.normal() + light
    });
    hold("nebula", &nebula, None, true);
}

#[test]
fn a_few_bits() {
    let shares = [
        [0.3, 0.4, 0.2, 0.1],
        [0.7, 0.2, 0.07, 0.03],
        [0.02, 0.1, 0.5, 0.38],
    ];
    for (seed, shares) in (14..).zip(shares) {
        let plane = field(200, 200, seed, |_, _, dice| {
            let mut left = dice.uniform();
            let mut value = 0.0;
            for share in &shares[..3] {
                if left < *share {
                    break;
                }
                left -= share;
                value += 1.0;
            }
            value
        });
        hold("four values", &plane, None, false);
    }
    let rare = field(200, 200, 17, |x, y, _| {
        f64::from(u8::from(x == 7 && y % 9 == 4))
    });
    hold("two values", &rare, None, false);
    let floor = field(200, 200, 18, |_, _, dice| (3.0 * dice.normal()).max(0.0));
    hold("cut at the sky", &floor, None, false);
}

#[test]
fn any_scale() {
    for (scale, offset) in [
        (1e-9, 0.0),
        (1e-9, 1e-6),
        (1e-30, 0.0),
        (1e30, 0.0),
        (1.0, 1e5),
    ] {
        let plane = with_stars(&plain(19), 60, 20000.0, 60000.0, 20);
        let scaled = Plane::new(
            plane
                .values()
                .mapv(|v| (f64::from(v) * scale + offset) as f32),
        );
        hold("scaled", &scaled, None, false);
    }
}

#[test]
fn constant_and_empty_pictures_are_refused() {
    let flat = field(100, 100, 0, |_, _, _| 1890.0);
    let of = |plane: &Plane| survey(plane, None, &mut |_, _| ControlFlow::Continue(())).unwrap();
    let error = auto(&of(&flat)).unwrap_err();
    assert_eq!(error, AutoError::Constant(1890.0));
    assert_eq!(
        error.to_string(),
        "every pixel is 1890: there is nothing to stretch"
    );
    let zero = field(100, 100, 0, |_, _, _| 0.0);
    assert_eq!(auto(&of(&zero)), Err(AutoError::NoData));
    let missing = field(9, 9, 0, |_, _, _| f64::NAN);
    assert_eq!(auto(&of(&missing)), Err(AutoError::NoData));
    assert!(!AutoError::NoData.hint().is_empty());
}

#[test]
fn numbers_are_short_and_on_the_safe_side() {
    assert_eq!(rounded(1234.5678, 100.0, Round::Down), 1234.567);
    assert_eq!(rounded(1234.5678, 100.0, Round::Up), 1234.568);
    assert_eq!(rounded(-0.000123456, 0.001, Round::Down), -0.00012346);
    assert_eq!(rounded(1e20, 1.0, Round::Up), 1e20);
    assert_eq!(rounded(5.0, f64::NAN, Round::Up), 5.0);
    assert_eq!(rounded(65535.0, 65000.0, Round::Up), 65535.0);
}

#[test]
fn the_amount_solves_its_equation() {
    for t in [1e-4, 1e-3, 0.01, 0.05, 0.09] {
        let a = amount_for(t);
        assert!(
            ((a * t).asinh() / a.asinh() - 0.10).abs() < 1e-9,
            "{t}: {a}"
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]
    #[test]
    fn the_promise_holds_for_any_field(
        seed in any::<u64>(),
        exponent in -9i32..6,
        offset in -3.0f64..30.0,
        slope in 0.0f64..40.0,
        noise in 0.02f64..1.5,
        nebula in prop::sample::select(vec![0.0, 0.0, 0.1, 0.25]),
        brightness in 1.0f64..30.0,
        stars in 0usize..150,
        peak in 10.0f64..1e5,
        rim in 0usize..30,
        steps in prop::sample::select(vec![0.0, 0.0, 0.5, 3.0]),
    ) {
        let scale = 10f64.powi(exponent);
        let mut dice = Dice(seed);
        let (sx, sy) = (slope * dice.uniform(), slope * dice.uniform());
        let plane = field(160, 120, seed, |x, y, dice| {
            let gradient = sx * x as f64 / 160.0 + sy * y as f64 / 120.0;
            let light = if dice.uniform() < nebula {
                brightness * noise * dice.exponential()
            } else {
                0.0
            };
            // No value is 0: runs of zeros at an edge would be empty.
            let value = 10.0 * offset + gradient + noise * dice.normal() + light;
            if steps > 0.0 { ((value / steps).round() + 0.25) * steps } else { value }
        });
        let full = 10.0 * offset + slope + peak / 2.0;
        let plane = with_stars(&plane, stars, peak, full, seed ^ 1);
        let plane = Plane::new(plane.values().mapv(|v| (f64::from(v) * scale) as f32));
        let plane = with_rim(&plane, rim, rim / 2, f32::NAN);
        let flat = plane.values().iter().copied().filter(|v| v.is_finite());
        prop_assume!(flat.clone().any(|v| v != flat.clone().next().unwrap_or(0.0)));
        hold("any field", &plane, None, nebula > 0.0 || stars > 20);
    }
}
