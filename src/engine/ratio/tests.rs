use super::noise::{of_means, side};
use super::*;
use crate::engine::frame::{Plane, Rows, Size};
use crate::engine::measure::fields::field;
use crate::engine::measure::glance;
use ndarray::Array2;
use proptest::prelude::*;

fn plain(sky: f64, noise: f64) -> Side {
    Side {
        sky,
        sky_error: 0.0,
        noise,
        full: None,
    }
}

fn law(min_snr: f64, bin: usize) -> Law {
    Law {
        over: plain(100.0, 2.0),
        under: plain(200.0, 4.0),
        min_snr,
        bin,
    }
}

fn plane(width: usize, values: &[f32]) -> Plane {
    let shape = (values.len() / width, width);
    Plane::new(Array2::from_shape_vec(shape, values.to_vec()).expect("a whole picture"))
}

fn read(rows: &dyn Rows) -> Vec<f32> {
    let mut values = vec![0.0; rows.size().pixels()];
    rows.read(0, &mut values).expect("reads");
    values
}

fn points(over: &Plane, under: &Plane, law: Law) -> (Size, Vec<Point>) {
    let map = Map::new(over, under, law).expect("a map");
    let mut points = Vec::new();
    map.look(0, map.size().height, &mut |at, point| {
        assert_eq!(at, points.len(), "in order");
        points.push(point);
    })
    .expect("reads");
    (map.size(), points)
}

/// Worked by hand: 30 over 40, with 2 / 30 and 4 / 40 of uncertainty.
#[test]
fn a_ratio_and_its_uncertainty() {
    let Point::Known { ratio, sigma } = law(3.0, 1).at(130.0, 240.0, 1.0) else {
        panic!("both stand out");
    };
    assert_eq!(ratio, 0.75);
    let expected = 0.75 * (1.0 / 225.0 + 1.0 / 100.0_f64).sqrt();
    assert!((sigma - expected).abs() < 1e-15, "{sigma}");
    // The sky's own error counts as well, whatever the means run over.
    let mut unsure = law(3.0, 1);
    unsure.under.sky_error = 3.0;
    let Point::Known { sigma, .. } = unsure.at(130.0, 240.0, 0.5) else {
        panic!("both stand out");
    };
    let expected = 0.75 * (8.0 / 900.0 + (32.0 + 9.0) / 1600.0_f64).sqrt();
    assert!((sigma - expected).abs() < 1e-15, "{sigma}");
}

#[test]
fn what_does_not_stand_out_has_no_ratio() {
    let law = law(3.0, 1);
    let faint = |over, under| Point::Faint { over, under };
    assert_eq!(law.at(105.9, 240.0, 1.0), faint(false, true));
    assert_eq!(law.at(130.0, 211.9, 1.0), faint(true, false));
    assert_eq!(law.at(90.0, 190.0, 1.0), faint(false, false));
    // Nothing to divide by.
    assert_eq!(law.at(130.0, 200.0, 1.0), faint(true, false));
    assert!(matches!(law.at(106.0, 212.0, 1.0), Point::Known { .. }));
    assert_eq!(law.at(f64::NAN, 240.0, 1.0), Point::NoData);
    assert_eq!(law.at(130.0, f64::INFINITY, 1.0), Point::NoData);
    // Without noise, light of exactly nothing is still nothing.
    let silent = Law {
        over: plain(100.0, 0.0),
        under: plain(200.0, 0.0),
        ..law
    };
    assert_eq!(silent.at(130.0, 200.0, 1.0), faint(true, false));
}

#[test]
fn means_run_over_what_both_have() {
    let gap = f32::NAN;
    let over = plane(
        5,
        &[
            130.0, 150.0, gap, 130.0, 9.0, //
            130.0, 150.0, gap, 130.0, 9.0, //
            9.0, 9.0, 9.0, 9.0, 9.0,
        ],
    );
    let under = plane(
        5,
        &[
            240.0, 240.0, 240.0, 280.0, 9.0, //
            240.0, gap, gap, 280.0, 9.0, //
            9.0, 9.0, 9.0, 9.0, 9.0,
        ],
    );
    // The odd column and row are left over.
    let (size, points) = points(&over, &under, law(3.0, 2));
    assert_eq!((size.width, size.height), (2, 1));
    let expect = |over: f64, under: f64, filled: f64| law(3.0, 2).at(over, under, filled);
    let third = (130.0 + 150.0 + 130.0) / 3.0;
    assert_eq!(points[0], expect(third, 240.0, 0.75));
    assert_eq!(points[1], expect(130.0, 280.0, 0.5));
    // Less than half is no data.
    let (_, points) = self::points(&under, &plane(5, &[gap; 15]), law(3.0, 2));
    assert_eq!(points, [Point::NoData; 2]);
}

#[test]
fn a_full_detector_is_no_data() {
    let mut law = law(3.0, 1);
    law.under.full = Some(1000.0);
    let over = plane(3, &[130.0, 130.0, 130.0]);
    let under = plane(3, &[999.0, 1000.0, 1200.0]);
    let (_, points) = points(&over, &under, law);
    assert!(matches!(points[0], Point::Known { .. }));
    assert_eq!(points[1..], [Point::NoData; 2]);
}

#[test]
fn sizes_that_do_not_fit_make_no_map() {
    let one = plane(2, &[1.0; 4]);
    assert!(Map::new(&one, &plane(4, &[1.0; 4]), law(3.0, 1)).is_none());
    assert!(Map::new(&one, &one, law(3.0, 3)).is_none());
    assert!(Map::new(&one, &one, law(3.0, 2)).is_some());
}

/// Known truth: what is off by one sigma in the map is off by one sigma.
#[test]
fn pulls_have_unit_width() {
    const TRUE_RATIO: f64 = 0.35;
    for (bin, light) in [(1, 60.0), (1, 25.0), (4, 8.0)] {
        // The left half is sky, the right half nebula.
        let lit = |x: usize| if x < 200 { 0.0 } else { light };
        let under = field(400, 400, 11, |x, _, dice| 500.0 + lit(x) + dice.normal());
        let over = field(400, 400, 12, |x, _, dice| {
            300.0 + TRUE_RATIO * lit(x) + 0.4 * dice.normal()
        });
        let [mut one, mut other] = [&over, &under].map(|plane| {
            let sky = plane.values().slice(ndarray::s![.., ..200]).to_owned();
            side(&glance(&Plane::new(sky), None).expect("reads")).expect("noise")
        });
        for (side, plane) in [(&mut one, &over), (&mut other, &under)] {
            side.noise = of_means(plane, side, bin, &mut |_| Ok(())).expect("reads");
        }
        let law = Law {
            over: one,
            under: other,
            min_snr: 3.0,
            bin,
        };
        let (size, points) = points(&over, &under, law);
        let mut pulls = Vec::new();
        for (at, point) in points.iter().enumerate() {
            match point {
                Point::Known { ratio, sigma } if at % size.width >= size.width / 2 => {
                    pulls.push((ratio - TRUE_RATIO) / sigma);
                }
                Point::Known { .. } => panic!("sky has no ratio: {at}"),
                _ => {}
            }
        }
        let count = pulls.len() as f64;
        assert_eq!(pulls.len(), size.pixels() / 2, "all of the nebula is known");
        let mean = pulls.iter().sum::<f64>() / count;
        let width = (pulls.iter().map(|p| (p - mean) * (p - mean)).sum::<f64>() / count).sqrt();
        assert!(mean.abs() < 0.1, "bin {bin}: {mean}");
        assert!((width - 1.0).abs() < 0.06, "bin {bin}: {width}");
    }
}

/// A stack that was moved by half a pixel: its means are noisier than its
/// pixels say.
#[test]
fn noise_that_neighbours_share_is_found_in_the_means() {
    let sharp = field(401, 400, 5, |_, _, dice| 100.0 + dice.normal());
    let values = sharp.values();
    let moved = Plane::new(Array2::from_shape_fn((400, 400), |(y, x)| {
        (values[(y, x)] + values[(y, x + 1)]) / 2.0
    }));
    let own = side(&glance(&moved, None).expect("reads")).expect("noise");
    assert!((own.noise - 0.5_f64.sqrt()).abs() < 0.02, "{}", own.noise);
    for (bin, tolerance) in [(2, 0.04), (4, 0.08), (8, 0.12)] {
        let found = of_means(&moved, &own, bin, &mut |_| Ok(())).expect("reads");
        // Along a row, n sums of two neighbours hold n + 1 draws: n - 1 of
        // them whole, two by half.
        let n = bin as f64;
        let expected = ((n - 0.5) / (n * n * n)).sqrt();
        assert!(
            (found / expected - 1.0).abs() < tolerance,
            "{bin}: {found} for {expected}"
        );
    }
}

#[test]
fn a_nebula_makes_the_sky_less_sure() {
    let sky = field(300, 300, 3, |_, _, dice| 100.0 + dice.normal());
    let alone = side(&glance(&sky, None).expect("reads")).expect("noise");
    assert!(alone.sky_error < 0.05, "{}", alone.sky_error);
    let nebula = field(300, 300, 4, |_, _, dice| {
        let light = if dice.uniform() < 0.3 {
            5.0 * dice.exponential()
        } else {
            0.0
        };
        100.0 + light + dice.normal()
    });
    let under = side(&glance(&nebula, None).expect("reads")).expect("noise");
    let off = under.sky - 100.0;
    assert!(off > 0.05, "the level lies high: {off}");
    assert!(
        under.sky_error > off && under.sky_error < 3.0 * off,
        "{under:?}"
    );
    assert_eq!(
        side(&glance(&plane(50, &[7.0; 2500]), None).expect("reads")),
        None
    );
}

#[test]
fn parts_are_what_was_looked_at() {
    let over = field(70, 150, 7, |x, y, dice| {
        100.0 + (x + y) as f64 + dice.normal()
    });
    let under = field(70, 150, 8, |x, _, dice| 200.0 + x as f64 + dice.normal());
    for bin in [1, 3, 16] {
        let map = Map::new(&over, &under, law(3.0, bin)).expect("a map");
        let (_, points) = points(&over, &under, law(3.0, bin));
        let [ratios, sigmas] = [Which::Ratio, Which::Sigma].map(|which| read(&map.part(which)));
        for ((point, ratio), sigma) in points.iter().zip(ratios).zip(sigmas) {
            match point {
                Point::Known { ratio: r, sigma: s } => {
                    assert_eq!((ratio, sigma), (*r as f32, *s as f32));
                }
                _ => assert!(ratio.is_nan() && sigma.is_nan()),
            }
        }
        // A band from the middle is the same as in the whole.
        let whole = read(&map.part(Which::Ratio));
        let width = map.size().width;
        let mut band = vec![0.0; 3 * width];
        map.part(Which::Ratio).read(4, &mut band).expect("reads");
        let bits = |values: &[f32]| values.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
        assert_eq!(bits(&band), bits(&whole[4 * width..7 * width]));
    }
}

proptest! {
    /// Protects maps of any units: a factor on a channel is a factor on the
    /// ratio, and leaves alone what is known.
    #[test]
    fn units_scale_the_ratio_alone(
        over in -50.0..500.0_f64,
        under in -50.0..500.0_f64,
        power in -20_i32..20,
    ) {
        let factor = libm::exp2(f64::from(power));
        let law = law(3.0, 1);
        let scaled = Law {
            over: plain(law.over.sky * factor, law.over.noise * factor),
            ..law
        };
        match (law.at(over, under, 1.0), scaled.at(over * factor, under, 1.0)) {
            (
                Point::Known { ratio, sigma },
                Point::Known { ratio: more, sigma: its },
            ) => {
                prop_assert_eq!(more, ratio * factor);
                prop_assert!((its / (sigma * factor) - 1.0).abs() < 1e-12);
                prop_assert!(ratio > 0.0 && sigma > 0.0 && ratio >= 1.5 * sigma);
            }
            (one, other) => prop_assert_eq!(one, other),
        }
    }
}
