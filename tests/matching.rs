//! Star lists laid on each other: found where they belong together, refused
//! where they do not.

#![expect(
    clippy::disallowed_methods,
    reason = "random cases and checks by the standard library's own functions"
)]

#[path = "support/star_fields.rs"]
mod star_fields;

use linehue::engine::align::matching::{MatchError, Matched, Model, Point, match_stars};
use linehue::engine::frame::Size;
use star_fields::{ALIKE, Random, Scene, Truth, Unlike, lone_field, random_truth, scene};
use std::f64::consts::{PI, TAU};

const FRAME: Size = Size {
    width: 3000,
    height: 2000,
};

const USUAL: Unlike = Unlike {
    colors: 2.5,
    missing: 0.1,
    spurious: 0.15,
    ..ALIKE
};

fn middle_of(reference: Size) -> [f64; 2] {
    [reference.width as f64 / 2.0, reference.height as f64 / 2.0]
}

fn plain() -> Truth {
    Truth {
        scale: 1.0,
        angle: 0.3,
        mirrored: false,
        middle: middle_of(FRAME),
        barrel_px: 0.0,
        source: FRAME,
        reference: FRAME,
    }
}

fn try_match(truth: &Truth, scene: &Scene) -> Result<Matched, MatchError> {
    match_stars(
        &scene.source,
        &scene.reference,
        truth.source,
        truth.reference,
    )
}

/// The largest error on a lattice over the overlap, in reference pixels, and
/// that of going there and back.
fn errors(truth: &Truth, matched: &Matched) -> (f64, f64) {
    let (mut error, mut round) = (0.0_f64, 0.0_f64);
    let both = &matched.transform;
    for at in truth.overlap(15) {
        let right = truth.apply(at);
        let found = both.to_reference.apply(at);
        let again = both.to_reference.apply(both.to_source.apply(found));
        error = error.max((found[0] - right[0]).hypot(found[1] - right[1]));
        round = round.max((again[0] - found[0]).hypot(again[1] - found[1]));
    }
    (error, round)
}

/// Checks a match against the truth; hands back the largest error.
fn check(truth: &Truth, matched: &Matched, limit: f64) -> f64 {
    let (error, round) = errors(truth, matched);
    assert!(
        error <= limit,
        "off by {error}: {truth:?} {}",
        matched.tried
    );
    assert!(round <= 0.01, "there and back off by {round}: {truth:?}");
    assert_eq!(matched.mirrored, truth.mirrored);
    error
}

#[test]
fn two_hundred_random_ways_are_found() {
    let random = &mut Random(20);
    let (mut worst, mut few) = (0.0_f64, usize::MAX);
    for k in 0..200 {
        let scale = 0.4 * (2.5_f64 / 0.4).powf(random.unit());
        let truth = random_truth(random, scale, [0.4, 1.0]);
        let both = loop {
            let stars = (30.0 * 100.0_f64.powf(random.unit())) as usize;
            let unlike = Unlike {
                depth: 2.0_f64.powf(random.between(-1.0, 1.0)),
                ..USUAL
            };
            let both = scene(random, &truth, stars, unlike);
            if both.source.len().min(both.reference.len()) >= 30 && both.common >= 8 {
                break both;
            }
        };
        few = few.min(both.common);
        let matched = match try_match(&truth, &both) {
            Ok(matched) => matched,
            Err(error) => panic!("{k}: {error} {truth:?} {} in common", both.common),
        };
        worst = worst.max(check(&truth, &matched, 0.5 * scale.max(1.0)));
    }
    println!("worst error {worst:.3} px, fewest in common {few}");
}

// In two halves, so that they run side by side.
#[test]
fn fifty_unrelated_fields_are_refused() {
    unrelated_fields_are_refused(3);
}

#[test]
fn fifty_more_unrelated_fields_are_refused() {
    unrelated_fields_are_refused(4);
}

fn unrelated_fields_are_refused(seed: u64) {
    let random = &mut Random(seed);
    for k in 0..50 {
        let count = |random: &mut Random| match k % 10 {
            0 => 20_000,
            _ => (15.0 * 400.0_f64.powf(random.unit())) as usize,
        };
        // Dense ones in small frames as well.
        let size = if k % 20 == 0 {
            Size {
                width: 1000,
                height: 1000,
            }
        } else {
            FRAME
        };
        let (here, there) = (count(random), count(random));
        let source = lone_field(random, here, size);
        let reference = lone_field(random, there, size);
        let result = match_stars(&source, &reference, size, size);
        assert!(
            matches!(result, Err(MatchError::NoMatch { .. })),
            "{here} {there} {result:?}"
        );
    }
}

#[test]
fn a_barrel_is_recovered_in_both_directions() {
    for (seed, mirrored) in [(1, false), (2, true)] {
        let truth = Truth {
            barrel_px: 5.0,
            angle: 2.0,
            mirrored,
            ..plain()
        };
        let both = scene(&mut Random(seed), &truth, 1500, USUAL);
        let matched = try_match(&truth, &both).expect("found");
        assert_eq!(matched.model, Model::Distorted);
        // The corners of the overlap are held by few stars.
        check(&truth, &matched, 0.2);
    }
}

#[test]
fn straight_fields_stay_similar() {
    for seed in 10..20 {
        let truth = plain();
        let both = scene(&mut Random(seed), &truth, 800, USUAL);
        let matched = try_match(&truth, &both).expect("found");
        assert_eq!(matched.model, Model::Similarity);
        check(&truth, &matched, 0.05);
    }
}

#[test]
fn bright_stars_meet_within_a_twentieth_of_a_pixel() {
    let truth = plain();
    let mut both = scene(&mut Random(7), &truth, 20_000, ALIKE);
    // Signal-to-noise of 50 and more.
    both.source.retain(|star| star.flux >= 10.0);
    both.reference.retain(|star| star.flux >= 10.0);
    let matched = try_match(&truth, &both).expect("found");
    assert!(matched.pairs.len() > 1000);
    assert!(matched.median_px <= 0.05, "{}", matched.median_px);
}

#[test]
fn mirrored_half_turned_and_quarter_turned() {
    for mirrored in [false, true] {
        for angle in [0.0, PI / 2.0, PI, -PI / 2.0, 1e-3] {
            let truth = Truth {
                angle,
                mirrored,
                ..plain()
            };
            let both = scene(&mut Random(5), &truth, 300, USUAL);
            let matched = try_match(&truth, &both).expect("found");
            check(&truth, &matched, 0.2);
        }
    }
}

#[test]
fn scales_from_three_tenths_to_three() {
    for scale in [0.3, 3.0] {
        for seed in 0..4 {
            // The smaller frame lies wholly in the other, off its middle.
            let truth = Truth {
                scale,
                angle: 1.3,
                middle: [1300.0, 1100.0],
                ..plain()
            };
            let both = scene(&mut Random(seed), &truth, 200, USUAL);
            let matched = try_match(&truth, &both).expect("found");
            check(&truth, &matched, 0.5);
        }
    }
}

#[test]
fn three_tenths_in_common_are_enough() {
    let random = &mut Random(8);
    for stars in [100, 300, 1000, 3000, 20_000] {
        for _ in 0..2 {
            let truth = random_truth(random, 1.1, [0.3, 0.33]);
            let both = scene(random, &truth, stars, USUAL);
            let matched = try_match(&truth, &both).expect("found");
            check(&truth, &matched, 0.5);
        }
    }
}

#[test]
fn a_tenth_of_the_stars_is_enough() {
    for (seed, depth) in [(1, 0.1), (2, 10.0), (3, 0.1), (4, 10.0)] {
        for stars in [300, 3000] {
            let truth = Truth {
                mirrored: seed % 2 == 0,
                ..plain()
            };
            let unlike = Unlike { depth, ..USUAL };
            let both = scene(&mut Random(seed), &truth, stars, unlike);
            let times = both.source.len() as f64 / both.reference.len() as f64;
            assert!((times / depth - 1.0).abs() < 0.3);
            let matched = try_match(&truth, &both).expect("found");
            check(&truth, &matched, 0.3);
        }
    }
}

#[test]
fn other_brightness_orders_and_many_false_stars() {
    let random = &mut Random(12);
    for stars in [200, 1000, 20_000] {
        for _ in 0..3 {
            let unlike = Unlike {
                colors: 10.0,
                missing: 0.1,
                spurious: 0.3,
                ..ALIKE
            };
            let truth = random_truth(random, 0.8, [0.5, 1.0]);
            let both = scene(random, &truth, stars, unlike);
            let matched = try_match(&truth, &both).expect("found");
            check(&truth, &matched, 0.5);
        }
    }
}

#[test]
fn clumped_stars_are_matched_and_unrelated_clumps_refused() {
    let unlike = Unlike {
        clumped: 0.6,
        ..USUAL
    };
    for seed in 0..4 {
        let truth = plain();
        let both = scene(&mut Random(seed), &truth, 600, unlike);
        let matched = try_match(&truth, &both).expect("found");
        check(&truth, &matched, 0.3);
        let other = scene(&mut Random(seed + 100), &truth, 600, unlike);
        let result = match_stars(&both.source, &other.reference, FRAME, FRAME);
        assert!(matches!(result, Err(MatchError::NoMatch { .. })));
    }
}

#[test]
fn lists_that_say_nothing_are_refused() {
    let star = |x: f64, y: f64| Point {
        x,
        y,
        flux: 1.0,
        weight_px: 0.1,
    };
    let row: Vec<Point> = (0..200).map(|k| star(f64::from(k) * 13.7, 500.0)).collect();
    let slope: Vec<Point> = (0..200)
        .map(|k| star(f64::from(k * k) * 0.07, f64::from(k * k) * 0.04))
        .collect();
    let same = vec![star(700.0, 800.0); 300];
    let field = lone_field(&mut Random(1), 300, FRAME);
    let go = |a: &[Point], b: &[Point]| match_stars(a, b, FRAME, FRAME);
    for odd in [&row, &slope] {
        for (a, b) in [(odd, odd), (odd, &field), (&field, odd)] {
            assert!(matches!(go(a, b), Err(MatchError::NoMatch { .. })));
        }
    }
    // All in one place counts as one star.
    let error = go(&same, &field).expect_err("refused");
    assert_eq!(
        error,
        MatchError::TooFew {
            source_stars: 1,
            reference_stars: field.len()
        }
    );
    assert!(error.to_string().contains("1 in this image"));
    assert!(go(&[], &[]).is_err());
    let empty = Size {
        width: 0,
        height: 0,
    };
    assert!(match_stars(&field, &field, empty, FRAME).is_err());
}

#[test]
fn few_stars_are_matched_when_nothing_else_is_possible() {
    let field = lone_field(&mut Random(4), 12, FRAME);
    let turned: Vec<Point> = field
        .iter()
        .map(|star| Point {
            x: 2999.0 - star.x,
            y: 1999.0 - star.y,
            ..*star
        })
        .collect();
    let matched = match_stars(&field, &turned, FRAME, FRAME).expect("found");
    assert_eq!(matched.pairs.len(), 12);
    assert!(matched.pairs.iter().all(|(here, there)| here == there));
    assert!(matched.rms_px < 1e-6);
    let error = match_stars(&field[..5], &turned, FRAME, FRAME).expect_err("refused");
    assert!(matches!(
        error,
        MatchError::TooFew {
            source_stars: 5,
            ..
        }
    ));
    assert!(error.hint().contains("method = \"given\""));
    // Two unrelated handfuls.
    let other = lone_field(&mut Random(5), 12, FRAME);
    let error = match_stars(&field, &other, FRAME, FRAME).expect_err("refused");
    assert!(error.to_string().contains("12 stars"));
    assert!(error.hint().contains("another reference"));
}

#[test]
fn duplicates_and_missing_numbers_do_no_harm() {
    let truth = plain();
    let mut both = scene(&mut Random(6), &truth, 300, USUAL);
    let twice = both.source.clone();
    for (k, star) in twice.into_iter().enumerate() {
        both.source.insert(2 * k + 1, star);
    }
    for k in (0..both.reference.len()).step_by(7) {
        both.reference[k].x = f64::NAN;
    }
    for k in (1..both.reference.len()).step_by(9) {
        both.reference[k].y = f64::INFINITY;
        both.source[k].weight_px = f64::NAN;
    }
    let matched = try_match(&truth, &both).expect("found");
    check(&truth, &matched, 0.3);
    for (here, there) in matched.pairs {
        assert_eq!(here % 2, 0, "the first of two is kept");
        let at = truth.apply([both.source[here].x, both.source[here].y]);
        let star = both.reference[there];
        assert!((at[0] - star.x).hypot(at[1] - star.y) < 5.0);
    }
}

#[test]
fn the_same_lists_give_the_same_bits() {
    let truth = random_truth(&mut Random(2), 1.7, [0.6, 1.0]);
    let both = scene(&mut Random(2), &truth, 500, USUAL);
    let first = try_match(&truth, &both).expect("found");
    assert_eq!(first, try_match(&truth, &both).expect("found"));
    assert!(truth.angle >= 0.0 && truth.angle < TAU);
}
