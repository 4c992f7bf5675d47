//! Stars apart from nebula on the invented sky, whose truth without stars is
//! known: the same noise is drawn with and without them.

#[path = "support/field/mod.rs"]
mod field;

use std::ops::ControlFlow;

use field::filters::Filter;
use field::{Backdrop, GAS_ALONE, Scene, Spec, render_over};
use linehue::engine::align::stars::{FindLimits, Stars, find};
use linehue::engine::frame::{Plane, Size};
use linehue::engine::separate::{
    Notice, SeparateError, Separation, Settings, Window, measure, stars_apart,
};

const WIDTH: usize = 480;
const HEIGHT: usize = 360;

/// The size of the sample stacks.
const WIDE: [usize; 2] = [864, 576];

fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

struct Sky {
    spec: Spec,
    plane: Plane,
    truth: Vec<f32>,
    stars: Stars,
}

fn sky(filter: Filter) -> Sky {
    sky_of(filter, 20, [WIDTH, HEIGHT])
}

fn sky_of(filter: Filter, seed: u64, [width, height]: [usize; 2]) -> Sky {
    let scene = Scene::new(width, height, seed);
    let spec = Spec::new(width, height, filter);
    let back = Backdrop::new(&scene, spec.grid, 0..height);
    let seen = render_over(&scene, &back, &spec, 0..height);
    let truth = render_over(&scene, &back, &spec.with_parts(GAS_ALONE), 0..height);
    let size = Size { width, height };
    let plane = Plane::from_vec(size, seen).expect("pixels");
    let stars = find(&plane, None, &FindLimits::default(), &go_on).expect("stars");
    Sky {
        spec,
        plane,
        truth,
        stars,
    }
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

/// How high stars are, in sigma of the noise; the last are cut off.
const CLASSES: [&str; 5] = ["below 20", "to 200", "to half full", "to full", "cut off"];

/// What is left of a sky: squares in sigma of the noise, and pixels.
#[derive(Default)]
struct Left {
    /// Where a star of this class gives the most light.
    classes: [[f64; 2]; 5],
    /// Of each star, over the pixels its light reaches.
    stars: [Vec<f64>; 5],
    /// Where no star's light is a fifth of the noise.
    beside: [f64; 2],
}

impl Left {
    /// Adds a sky taken apart, measured under the stars that are truly there,
    /// whether they were found or not; those outside the frame own their pixels
    /// and do not count.
    fn add(&mut self, filter: Filter, seed: u64) {
        let sky = sky_of(filter, seed, WIDE);
        let nebula = apart(&sky).nebula(&sky.plane);
        let psf = field::optics::Psf::new(sky.spec.fwhm_px, [0.92, 0.39]);
        let square = |at: usize| {
            let truth = f64::from(sky.truth[at]);
            let off = f64::from(nebula.values()[[at / WIDE[0], at % WIDE[0]]]) - truth;
            off * off / sky.spec.variance(truth)
        };
        let mut owners: Vec<(f32, Option<usize>)> = vec![(0.0, None); WIDE[0] * WIDE[1]];
        let mut counted = vec![true; owners.len()];
        for star in &Scene::new(WIDE[0], WIDE[1], seed).stars {
            let (x, y) = sky.spec.grid.on_grid(star.x, star.y);
            let light = sky.spec.star_light(star) as f32;
            let inside = |at: f64, size: usize| (at.round().max(0.0) as usize).min(size - 1);
            let at = inside(y, WIDE[1]) * WIDE[0] + inside(x, WIDE[0]);
            let level = f64::from(sky.truth[at]);
            let sigma = sky.spec.variance(level).sqrt();
            let height = f64::from(light * psf.round(0.0));
            let class = match height / sigma {
                ..3.0 => continue,
                _ if level + height > f64::from(field::SATURATION) => 4,
                _ if level + height > 0.5 * f64::from(field::SATURATION) => 3,
                200.0.. => 2,
                20.0.. => 1,
                _ => 0,
            };
            let reach = f64::from(psf.reach_px(light, 0.2 * sigma as f32)).max(4.0);
            let within = |at: f64, size: usize| (-0.5..size as f64 - 0.5).contains(&at);
            let there = within(x, WIDE[0]) && within(y, WIDE[1]);
            let mut sums = [0.0, 0.0];
            for row in inside(y - reach, WIDE[1])..=inside(y + reach, WIDE[1]) {
                for column in inside(x - reach, WIDE[0])..=inside(x + reach, WIDE[0]) {
                    let (u, v) = (column as f64 - x, row as f64 - y);
                    if u * u + v * v >= reach * reach {
                        continue;
                    }
                    let at = row * WIDE[0] + column;
                    let here = light * psf.round((u * u + v * v) as f32);
                    if here > owners[at].0 {
                        owners[at] = (here, Some(class));
                        counted[at] = there;
                    }
                    sums[0] += square(at);
                    sums[1] += 1.0;
                }
            }
            if there && sums[1] > 0.0 {
                self.stars[class].push((sums[0] / sums[1]).sqrt());
            }
        }
        for (at, (_, class)) in owners.iter().enumerate().filter(|(at, _)| counted[*at]) {
            let sums = class.map_or(&mut self.beside, |class| &mut self.classes[class]);
            sums[0] += square(at);
            sums[1] += 1.0;
        }
    }
}

#[test]
fn little_is_left_under_the_stars_that_are_there() {
    let mut left = Left::default();
    for (filter, seed) in [(Filter::Ha, 52), (Filter::Oiii, 33), (Filter::L, 11)] {
        left.add(filter, seed);
    }
    // All pixels together, and the star in the middle; noise alone gives 1.
    let most = [(2.6, 2.0), (3.6, 1.4), (2.8, 1.6), (5.5, 2.9), (3.8, 4.0)];
    for (class, name) in CLASSES.iter().enumerate() {
        let [squares, pixels] = left.classes[class];
        let all = (squares / pixels).sqrt();
        let stars = &mut left.stars[class];
        stars.sort_by(f64::total_cmp);
        let middle = stars[stars.len() / 2];
        println!("{name}: {} stars, {all:.2}, {middle:.2}", stars.len());
        assert!(all < most[class].0, "{name}: {all}");
        assert!(middle < most[class].1, "{name}: {middle}");
    }
    // Knots of the nebula that pass for stars.
    let beside = (left.beside[0] / left.beside[1]).sqrt();
    println!("beside: {beside:.2}");
    assert!(beside < 1.3, "{beside}");
}

#[test]
fn few_stars_are_overlooked() {
    let scene = Scene::new(WIDTH, HEIGHT, 11);
    let sky = sky_of(Filter::L, 11, [WIDTH, HEIGHT]);
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
    let sky = sky_of(Filter::L, 11, [WIDTH, HEIGHT]);
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
    let mut state = 7_u64;
    let values = (0..WIDTH * HEIGHT).map(|_| {
        let mut sum = 0.0;
        for _ in 0..4 {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            sum += (state >> 40) as f32 / 16_777_216.0;
        }
        800.0 + 5.0 * sum
    });
    let size = sky_size();
    let empty = Plane::from_vec(size, values.collect()).unwrap();
    let settings = Settings {
        ceiling: None,
        seek: false,
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

/// In a small field one star alone is so bright that its arms show.
#[test]
fn the_arms_of_a_single_bright_star_go() {
    const SIDE: usize = 320;
    let psf = field::optics::Psf::new(3.0, [0.92, 0.39]);
    let bright = [161.3, 158.8];
    let mut stars = vec![(bright, 3e6_f32)];
    for index in 0..40_u8 {
        let part = |step: f64| 12.0 + (f64::from(index) * step).fract() * 296.0;
        let place = [part(0.618_034), part(0.414_214)];
        if (place[0] - bright[0]).hypot(place[1] - bright[1]) > 60.0 {
            stars.push((place, 2e4 * f32::from(1 + index % 5)));
        }
    }
    let mut state = 7_u64;
    let mut arms = vec![0.0_f32; SIDE * SIDE];
    let mut values = Vec::with_capacity(SIDE * SIDE);
    for index in 0..SIDE * SIDE {
        let mut value = 500.0 - 4.0;
        for _ in 0..4 {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            value += 2.0 * ((state >> 40) as f32 / 16_777_216.0);
        }
        let place = [(index % SIDE) as f64, (index / SIDE) as f64];
        for (at, light) in &stars {
            let [u, v] = [0, 1].map(|axis: usize| (place[axis] - at[axis]) as f32);
            value += light * psf.round(u * u + v * v);
            if *at == bright {
                arms[index] = light * psf.spikes(u, v);
            }
        }
        values.push(value + arms[index]);
    }
    let size = Size {
        width: SIDE,
        height: SIDE,
    };
    let plane = Plane::from_vec(size, values).unwrap();
    let found = find(&plane, None, &FindLimits::default(), &go_on).unwrap();
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
