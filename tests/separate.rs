//! Stars apart from nebula on the invented sky, whose truth without stars is
//! known: the same noise is drawn with and without them.

#[path = "support/field/mod.rs"]
mod field;
#[path = "support/starless.rs"]
mod starless;

use std::ops::ControlFlow;

use field::Scene;
use field::filters::Filter;
use linehue::engine::align::stars::{FindLimits, Stars, find};
use linehue::engine::frame::{Plane, Size};
use linehue::engine::separate::{
    Notice, SeparateError, Separation, Settings, Window, measure, stars_apart,
};

use starless::{CLASSES, Grain, Left, Sky, WIDE, go_on};

const WIDTH: usize = 480;
const HEIGHT: usize = 360;

fn sky(filter: Filter) -> Sky {
    Sky::new(filter, 20, [WIDTH, HEIGHT])
}

fn apart(sky: &Sky) -> Separation {
    stars_apart(
        &sky.plane,
        &sky.stars.stars,
        &Settings::of(&sky.stars),
        &go_on,
    )
    .expect("taken apart")
}

fn bits(plane: &Plane) -> Vec<u32> {
    plane.values().iter().map(|value| value.to_bits()).collect()
}

#[test]
fn no_bit_changes_outside_and_the_parts_add_up() {
    let sky = sky(Filter::Oiii);
    let apart = apart(&sky);
    assert!(apart.report.stars > 40, "{:?}", apart.report);
    let nebula = apart.nebula(&sky.plane);
    let mut inside = vec![false; WIDTH * HEIGHT];
    for y in 0..HEIGHT {
        for span in apart.footprint.spans(y) {
            inside[y * WIDTH + span.left..][..span.nebula.len()].fill(true);
            assert!(
                span.height
                    .iter()
                    .all(|height| (0.0..=1.0).contains(height))
            );
        }
    }
    let both = sky.plane.values().iter().zip(nebula.values());
    for (index, (original, nebula)) in both.enumerate() {
        assert_eq!(nebula + (original - nebula), *original);
        assert!(inside[index] || nebula.to_bits() == original.to_bits());
    }
}

#[test]
fn most_starlight_goes_and_no_bias_comes() {
    let sky = sky(Filter::Oiii);
    let apart = apart(&sky);
    let nebula = apart.nebula(&sky.plane);
    let (mut left, mut light) = (0.0, 0.0);
    let mut off = Vec::new();
    for y in 0..HEIGHT {
        for span in apart.footprint.spans(y) {
            for (column, value) in span.nebula.iter().enumerate() {
                let x = span.left + column;
                let truth = sky.truth[y * WIDTH + x];
                let sigma = sky.spec.variance(f64::from(truth)).sqrt();
                let miss = f64::from(value - truth);
                off.push(miss / sigma);
                left += miss.abs();
                light += f64::from(sky.plane.values()[[y, x]] - truth).abs();
                assert_eq!(nebula.values()[[y, x]], *value);
            }
        }
    }
    off.sort_by(f64::total_cmp);
    let middle = off[off.len() / 2];
    let spread = 0.5 * (off[off.len() * 84 / 100] - off[off.len() * 16 / 100]);
    println!(
        "bias {middle:.3}, spread {spread:.3}, {:.4} left",
        left / light
    );
    // Stars too faint to list, and the far wing of a star that is cut off.
    assert!(middle.abs() < 0.1, "{middle}");
    assert!(spread < 1.4, "{spread}");
    assert!(left < 0.042 * light, "{}", left / light);
}

#[test]
fn little_is_left_under_the_stars_that_are_there() {
    let mut left = Left::default();
    for (filter, seed) in [(Filter::Ha, 52), (Filter::Oiii, 33), (Filter::L, 11)] {
        let sky = Sky::new(filter, seed, WIDE);
        left.add(&sky, &apart(&sky).nebula(&sky.plane));
    }
    // All pixels together, and the star in the middle; noise alone gives 1.
    let most = [(2.6, 2.0), (3.6, 1.4), (2.8, 1.6), (5.5, 2.9), (3.8, 4.0)];
    for (class, name) in CLASSES.iter().enumerate() {
        let (all, middle) = (left.all(class), left.middle(class));
        println!("{name}: {all:.2}, {middle:.2}");
        assert!(all < most[class].0, "{name}: {all}");
        assert!(middle < most[class].1, "{name}: {middle}");
    }
    // Knots of the nebula that pass for stars.
    println!("beside: {:.2}", left.beside());
    assert!(left.beside() < 1.3, "{}", left.beside());
}

#[test]
fn few_stars_are_overlooked() {
    let scene = Scene::new(WIDTH, HEIGHT, 11);
    let sky = Sky::new(Filter::L, 11, [WIDTH, HEIGHT]);
    let settings = Settings::of(&sky.stars);
    let model = measure(&sky.plane, &sky.stars.stars, &settings, &go_on).unwrap();
    let psf = field::optics::Psf::new(sky.spec.fwhm_px, [0.92, 0.39]);
    let (mut there, mut taken) = (0, 0);
    for star in scene.stars_on(&sky.spec) {
        let inside = |at: f64, size: usize| (at.round().max(0.0) as usize).min(size - 1);
        let at = inside(star.y, HEIGHT) * WIDTH + inside(star.x, WIDTH);
        let sigma = sky.spec.variance(f64::from(sky.truth[at])).sqrt();
        if star.light * f64::from(psf.round(0.0)) > 50.0 * sigma {
            there += 1;
            taken += usize::from(model.stars().iter().any(|found| {
                let (u, v) = (found.x - star.x, found.y - star.y);
                found.height > 0.0 && u * u + v * v < 2.25
            }));
        }
    }
    println!("{taken} of {there}");
    assert!(taken * 100 > 95 * there, "{taken} of {there}");
}

#[test]
fn a_ceiling_that_nobody_knows_is_told_from_the_picture() {
    let sky = Sky::new(Filter::L, 11, [WIDTH, HEIGHT]);
    let known = Settings {
        ceiling: Some(f64::from(field::SATURATION)),
        ..Settings::of(&sky.stars)
    };
    let unknown = Settings {
        ceiling: None,
        ..known
    };
    let [known, unknown] = [known, unknown].map(|settings| {
        let apart = stars_apart(&sky.plane, &sky.stars.stars, &settings, &go_on).unwrap();
        (apart.report, bits(&apart.nebula(&sky.plane)))
    });
    assert!(known.0.saturated > 0, "{:?}", known.0);
    assert!(known == unknown);
}

#[test]
fn a_part_alone_and_any_number_of_threads_give_the_same_bits() {
    let sky = sky(Filter::Oiii);
    let whole = bits(&apart(&sky).nebula(&sky.plane));
    for threads in [1, 2, 3] {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        let again = pool.install(|| bits(&apart(&sky).nebula(&sky.plane)));
        assert!(again == whole, "{threads} threads");
    }
    let settings = Settings::of(&sky.stars);
    let model = measure(&sky.plane, &sky.stars.stars, &settings, &go_on).unwrap();
    let window = Window {
        left: 101,
        top: 67,
        width: 150,
        height: 130,
    };
    let part = model.separate(&sky.plane, window, &go_on).unwrap();
    let part = bits(&part.nebula(&sky.plane));
    for (index, bits) in part.iter().enumerate() {
        let (x, y) = (101 + index % 150, 67 + index / 150);
        assert_eq!(*bits, whole[y * WIDTH + x], "{x} {y}");
    }
}

#[test]
fn stars_of_another_channel_that_do_not_show_stay_untouched() {
    let sky = sky(Filter::Oiii);
    // A flat picture with noise of its own: none of the stars is there.
    let mut grain = Grain(7);
    let values = (0..WIDTH * HEIGHT).map(|_| 810.0 + 5.0 * grain.draw());
    let size = sky_size();
    let empty = Plane::from_vec(size, values.collect()).unwrap();
    let settings = Settings {
        ceiling: None,
        ..Settings::of(&sky.stars)
    };
    let apart = stars_apart(&empty, &sky.stars.stars, &settings, &go_on).unwrap();
    let listed = sky.stars.stars.len();
    assert!(apart.report.stars * 50 <= listed, "{:?}", apart.report);
    assert!(matches!(
        apart.notices[..],
        [Notice::TextbookProfile { usable: 0..5, .. }]
    ));
}

fn sky_size() -> Size {
    Size {
        width: WIDTH,
        height: HEIGHT,
    }
}

#[test]
fn nothing_to_do_changes_nothing_and_gaps_stay_gaps() {
    let sky = sky(Filter::Oiii);
    let settings = Settings::of(&sky.stars);
    let none = stars_apart(&sky.plane, &[], &settings, &go_on).unwrap();
    assert_eq!(bits(&none.nebula(&sky.plane)), bits(&sky.plane));
    let flat = Plane::from_vec(sky_size(), vec![7.0; WIDTH * HEIGHT]).unwrap();
    let same = stars_apart(&flat, &sky.stars.stars, &settings, &go_on).unwrap();
    assert_eq!(bits(&same.nebula(&flat)), bits(&flat));
    for (width, height) in [(1, 1), (2, 3), (5, 40)] {
        let values = (0..width * height).map(|index| (index % 7) as f32);
        let tiny = Plane::from_vec(Size { width, height }, values.collect()).unwrap();
        let apart = stars_apart(&tiny, &sky.stars.stars, &settings, &go_on).unwrap();
        assert_eq!(apart.nebula(&tiny).values().dim(), (height, width));
    }
    // No data on the left and in a hole on a star.
    let mut values: Vec<f32> = sky.plane.values().iter().copied().collect();
    let star = sky.stars.stars[0];
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let near = (x as f64 - star.x).abs() < 3.0 && (y as f64 - star.y).abs() < 3.0;
            if x < 40 || near {
                values[y * WIDTH + x] = f32::NAN;
            }
        }
    }
    let holed = Plane::from_vec(sky_size(), values).unwrap();
    let apart = stars_apart(&holed, &sky.stars.stars, &settings, &go_on).unwrap();
    let nebula = apart.nebula(&holed);
    for (before, after) in holed.values().iter().zip(nebula.values()) {
        assert_eq!(before.is_nan(), after.is_nan());
    }
    let stop = |done: usize, _: usize| {
        if done > 2 {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(())
        }
    };
    let stopped = stars_apart(&sky.plane, &sky.stars.stars, &settings, &stop);
    assert_eq!(stopped, Err(SeparateError::Stopped));
}

/// A detector that is full from here on, and bright stars whose middle lies on its
/// border or just outside.
fn stars_on_the_border(full: f32, known: bool, border: [[f64; 2]; 3]) {
    const SIDE: usize = 320;
    let psf = field::optics::Psf::new(3.0, [0.0, 0.0]);
    let mut stars: Vec<([f64; 2], f32)> = border.map(|place| (place, 2e6)).to_vec();
    for index in 0..40_u8 {
        let part = |step: f64| 12.0 + (f64::from(index) * step).fract() * 296.0;
        let place = [part(0.618_034), part(0.414_214)];
        if border
            .iter()
            .all(|at| (place[0] - at[0]).hypot(place[1] - at[1]) > 40.0)
        {
            stars.push((place, 2e4 * f32::from(1 + index % 5)));
        }
    }
    let mut grain = Grain(9);
    let values = (0..SIDE * SIDE).map(|index| {
        let mut value = 500.0 + 2.0 * grain.draw();
        for ([x, y], light) in &stars {
            let (u, v) = ((index % SIDE) as f64 - x, (index / SIDE) as f64 - y);
            value += light * psf.round((u * u + v * v) as f32);
        }
        value.min(full)
    });
    let size = Size {
        width: SIDE,
        height: SIDE,
    };
    let plane = Plane::from_vec(size, values.collect()).expect("pixels");
    let ceiling = known.then_some(f64::from(full));
    let found = find(&plane, ceiling, &FindLimits::default(), &go_on).expect("stars");
    let apart = stars_apart(&plane, &found.stars, &Settings::of(&found), &go_on);
    let nebula = apart.expect("taken apart").nebula(&plane);
    for [x, y] in border {
        let (mut before, mut after, mut count) = (0.0, 0.0, 0.0);
        for row in 0..SIDE {
            for column in 0..SIDE {
                if (column as f64 - x).hypot(row as f64 - y) < 6.0 {
                    before += f64::from(plane.values()[[row, column]] - 500.0);
                    after += f64::from(nebula.values()[[row, column]] - 500.0).abs();
                    count += 1.0;
                }
            }
        }
        println!("{x} {y}: {:.0} of {:.0}", after / count, before / count);
        assert!(before / count > 4000.0);
        assert!(after < 0.02 * before, "{x} {y}: {after:.0} of {before:.0}");
    }
}

#[test]
fn stars_cut_off_by_ceiling_and_border_go() {
    let border = [[150.3, -1.1], [320.2, 70.6], [60.2, 319.4]];
    stars_on_the_border(20_000.0, true, border);
}

/// A single pixel of each is full: nothing tells that it is.
#[test]
fn stars_cut_off_by_the_border_alone_go() {
    let border = [[150.1, -0.55], [319.55, 70.9], [60.1, 319.55]];
    stars_on_the_border(106_000.0, false, border);
}

/// A picture as wide as high, and the stars found on it.
fn square(values: Vec<f32>) -> (Plane, Stars) {
    let side = values.len().isqrt();
    let size = Size {
        width: side,
        height: side,
    };
    let plane = Plane::from_vec(size, values).expect("pixels");
    let found = find(&plane, None, &FindLimits::default(), &go_on).expect("stars");
    (plane, found)
}

/// Up to so many places in a field of 320 x 320, none nearer to `from` than `far` px.
fn scattered(count: u8, from: [f64; 2], far: f64) -> impl Iterator<Item = (u8, [f64; 2])> {
    (0..count).filter_map(move |index| {
        let part = |step: f64| 12.0 + (f64::from(index) * step).fract() * 296.0;
        let place = [part(0.618_034), part(0.414_214)];
        let apart = (place[0] - from[0]).hypot(place[1] - from[1]);
        (apart > far).then_some((index, place))
    })
}

/// In a small field one star alone is so bright that its arms show.
#[test]
fn the_arms_of_a_single_bright_star_go() {
    const SIDE: usize = 320;
    let psf = field::optics::Psf::new(3.0, [0.92, 0.39]);
    let bright = [161.3, 158.8];
    let mut stars = vec![(bright, 3e6_f32)];
    let others = scattered(40, bright, 60.0);
    stars.extend(others.map(|(index, place)| (place, 2e4 * f32::from(1 + index % 5))));
    let mut grain = Grain(7);
    let mut arms = vec![0.0_f32; SIDE * SIDE];
    let mut values = Vec::with_capacity(SIDE * SIDE);
    for index in 0..SIDE * SIDE {
        let mut value = 500.0 + 2.0 * grain.draw();
        let place = [(index % SIDE) as f64, (index / SIDE) as f64];
        for (at, light) in &stars {
            let [u, v] = [0, 1].map(|axis: usize| (place[axis] - at[axis]) as f32);
            value += light * (psf.round(u * u + v * v) + psf.spikes(u, v));
            if *at == bright {
                arms[index] = light * psf.spikes(u, v);
            }
        }
        values.push(value);
    }
    let (plane, found) = square(values);
    let apart = stars_apart(&plane, &found.stars, &Settings::of(&found), &go_on).unwrap();
    let nebula = apart.nebula(&plane);
    let (mut left, mut there) = (0.0, 0.0);
    for (index, light) in arms.iter().enumerate() {
        let (x, y) = (index % SIDE, index / SIDE);
        let distance = (x as f64 - bright[0]).hypot(y as f64 - bright[1]);
        if (14.0..40.0).contains(&distance) && *light > 10.0 {
            left += f64::from(nebula.values()[[y, x]] - 500.0);
            there += f64::from(*light);
        }
    }
    println!("{left:.0} of {there:.0} are left of the arms");
    assert!(there > 1000.0);
    assert!(left.abs() < 0.2 * there, "{left} of {there}");
}

/// What lies below a bright star was taken for its light: where its wings are
/// fainter than the nebula, they counted as much as its top.
#[test]
fn a_bright_star_on_the_rim_of_a_shell_keeps_its_height() {
    const SIDE: usize = 320;
    let psf = field::optics::Psf::new(2.6, [0.0, 0.0]);
    let top = psf.round(0.0);
    let bright = [161.3, 158.8];
    let mut stars = vec![(bright, 16_000.0_f32)];
    let others = scattered(60, bright, 40.0);
    stars.extend(others.map(|(index, place)| (place, 800.0 * f32::from(1 + index % 7))));
    let mut grain = Grain(7);
    let mut values = Vec::with_capacity(SIDE * SIDE);
    for index in 0..SIDE * SIDE {
        let place = [(index % SIDE) as f64, (index / SIDE) as f64];
        // A ring of 30 px, four times as high as it is wide, around (131, 158).
        let ring = (place[0] - 131.0).hypot(place[1] - 158.0) - 30.0;
        let shell = 60.0 * libm::exp(-ring * ring / 32.0) as f32;
        let mut value = 500.0 + shell + 1.732 * grain.draw();
        for (at, height) in &stars {
            let [u, v] = [0, 1].map(|axis: usize| (place[axis] - at[axis]) as f32);
            value += height * psf.round(u * u + v * v) / top;
        }
        values.push(value);
    }
    let (plane, found) = square(values);
    let model = measure(&plane, &found.stars, &Settings::of(&found), &go_on).unwrap();
    let near = |star: &&linehue::engine::separate::Drawn| {
        (star.x - bright[0]).hypot(star.y - bright[1]) < 1.0
    };
    let star = model.stars().iter().find(near).expect("the star");
    println!("{} of 16000", star.height);
    assert!(
        (star.height / 16_000.0 - 1.0).abs() < 0.01,
        "{}",
        star.height
    );
}
