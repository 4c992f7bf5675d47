use super::*;
use crate::engine::recipe::{check, text};

const SHAPES: [Shape; 5] = [
    Shape::Linear,
    Shape::Asinh,
    Shape::Log,
    Shape::Power,
    Shape::Bias,
];

fn stretch(shape: Shape, amount: Option<f64>) -> Stretch {
    Stretch {
        black: 100.0,
        white: 1100.0,
        shape,
        amount,
        curve: None,
    }
}

fn levels(sky: f64, noise: f64) -> Levels {
    Levels {
        min: 0.0,
        max: 1e5,
        median: sky,
        sky,
        spread: noise,
        noise,
    }
}

fn assert_sound(stretch: &Stretch) {
    let mut recipe = text::parse(
        "recipe = 1\n[[channel]]\nid = \"ha\"\nfile = \"f\"\nline = \"Ha\"\n[channel.stretch]\n\
         black = 0\nwhite = 1\n[[rendition]]\nid = \"r\"\ncolors = { ha = \"#fff\" }\n",
        "test",
    )
    .expect("sound");
    recipe.channels[0].stretch = stretch.clone();
    if let Err(problem) = check::whole(&recipe) {
        panic!("{problem:?}: {stretch:?}");
    }
}

#[test]
fn any_change_leaves_a_stretch_that_a_recipe_may_hold() {
    let values = [
        -1e30,
        -5.0,
        0.0,
        1e-30,
        99.99999,
        100.0,
        1_099.999_999_9,
        1100.0,
        1e12,
        1e30,
        f64::NAN,
        f64::INFINITY,
    ];
    for shape in SHAPES {
        for other in SHAPES {
            let start = stretch(shape, amounts(shape).map(|range| range.start));
            for value in values {
                let changed = with_shape(&start, other, Some(value));
                assert_sound(&changed);
                assert_sound(&with_amount(&changed, value));
                assert_sound(&with_black(&changed, value));
                assert_sound(&with_white(&changed, value));
            }
        }
    }
}

#[test]
fn black_stays_below_white() {
    let start = stretch(Shape::Linear, None);
    let above = with_black(&start, 5000.0);
    assert!(
        above.black < above.white && above.black > 1099.0,
        "{above:?}"
    );
    let below = with_white(&start, -5000.0);
    assert!(
        below.white > below.black && below.white < 101.0,
        "{below:?}"
    );
}

#[test]
fn another_shape_keeps_the_tone_of_the_sky() {
    let start = stretch(Shape::Asinh, Some(150.0));
    let sky = 112.0;
    let before = Prepared::new(&start).tone(sky);
    for shape in [Shape::Log, Shape::Power, Shape::Bias] {
        let after = Prepared::new(&with_shape(&start, shape, Some(sky))).tone(sky);
        assert!((after - before).abs() < 1e-3, "{shape:?}: {before} {after}");
    }
    let linear = with_shape(&start, Shape::Linear, Some(sky));
    assert_eq!(linear.amount, None);
    let back = with_shape(&linear, Shape::Asinh, Some(sky));
    assert_eq!(back.amount, Some(100.0));
}

/// Black 3 sigma below the sky, white 100 above it, in the other's units.
#[test]
fn the_same_look_lies_as_far_from_the_sky() {
    let start = Stretch {
        curve: Some(vec![[0.0, 0.1], [1.0, 1.0]]),
        ..stretch(Shape::Asinh, Some(70.0))
    };
    let from = levels(130.0, 10.0);
    let to = levels(0.02, 0.0005);
    let carried = carried_over(&start, &from, &to).expect("both have noise");
    assert!((carried.black - 0.0185).abs() < 1e-6, "{carried:?}");
    assert!((carried.white - 0.0685).abs() < 1e-5, "{carried:?}");
    assert_eq!((carried.shape, carried.amount), (Shape::Asinh, Some(70.0)));
    assert_eq!(carried.curve, start.curve);
    assert_sound(&carried);
    assert_eq!(carried_over(&start, &levels(1.0, 0.0), &to), None);
    assert_eq!(carried_over(&start, &from, &levels(1.0, 0.0)), None);
}

#[test]
fn samples_lie_on_the_stretch_and_meet_its_corners() {
    let histogram = Histogram {
        low: 0.0,
        high: 2000.0,
        sky: 120.0,
        unit: 40.0,
        counts: vec![1; 8],
    };
    let stretch = stretch(Shape::Asinh, Some(70.0));
    let samples = sampled(&stretch, &histogram, [0.0, 1.0], 64);
    let prepared = Prepared::new(&stretch);
    assert_eq!(samples.len(), 67);
    for [position, tone] in &samples {
        assert_eq!(*tone, prepared.tone(histogram.value(*position)));
    }
    for (corner, tone) in [(100.0, 0.0), (1100.0, 1.0)] {
        let position = histogram.position(corner);
        let met = samples
            .iter()
            .any(|[p, y]| *p == position && (y - tone).abs() < 1e-9);
        assert!(met, "{corner}");
    }
}

#[test]
fn numbers_are_as_long_as_their_span_asks_for() {
    assert_eq!(rounded(1_234.567_89, 1000.0), 1234.6);
    assert_eq!(rounded(0.012_345_678, 0.01), 0.012_346);
    assert_eq!(rounded(-46.07, 20_000.0), -46.0);
    assert_eq!(rounded(5.5, 0.0), 5.5);
    assert_eq!(
        (decimals(20_000.0), decimals(1000.0), decimals(0.01)),
        (0, 1, 6)
    );
}

#[test]
fn points_keep_to_their_rules_wherever_they_are_sent() {
    let start = vec![[0.0, 0.0], [0.3, 0.4], [0.6, 0.7], [1.0, 1.0]];
    let far = [-3.0, 0.0, 0.29, 0.3, 0.301, 0.5, 0.6, 1.0, 7.0, f64::NAN];
    for place in 0..start.len() {
        for x in far {
            for y in far {
                let moved = points::moved(&start, place, [x, y]);
                assert_sound(&points::with(&stretch(Shape::Linear, None), moved));
                if let Some((more, at)) = points::added(&start, [x, y]) {
                    assert!(at < more.len());
                    assert_sound(&points::with(&stretch(Shape::Linear, None), more));
                }
            }
        }
    }
}

#[test]
fn points_come_and_go() {
    let plain = stretch(Shape::Linear, None);
    let corners = points::of(&plain);
    let (three, at) = points::added(&corners, [0.25, 0.5]).expect("there is room");
    assert_eq!((at, three[1]), (1, [0.25, 0.5]));
    let bent = points::with(&plain, three.clone());
    assert_eq!(bent.curve, Some(three.clone()));
    // The last inner point gone, the curve is gone.
    assert_eq!(points::with(&bent, points::removed(&three, 1)), plain);
    assert_eq!(points::removed(&corners, 0), corners);
    assert_eq!(
        points::added(&[[0.0, 0.0], [0.001, 1.0]], [0.0005, 0.5]),
        None
    );
    assert_eq!(points::widest_gap(&three), [0.625, 0.75]);
}
