//! White balance, held against fields whose stars and gains are known.

use std::ops::ControlFlow;

use linehue::engine::align::stars::{FindLimits, Stars, find};
use linehue::engine::balance::{
    Balance, BalanceError, Broadband, CatalogueOptions, CatalogueStar, Field, Gains, Refusal,
    black_body, by_catalogue, by_star, by_stars, photometry, temperature,
};
use linehue::engine::frame::{Plane, Size};
use linehue::engine::header::{Card, Header, Value};

#[path = "stars/scene.rs"]
#[expect(dead_code, reason = "its dice are used, its scenes are not")]
mod scene;

#[path = "support/stacks.rs"]
#[expect(dead_code, reason = "its files are used, its stacks are not")]
mod stacks;

#[path = "balance/command.rs"]
mod command;

#[path = "balance/sky.rs"]
mod sky;

#[path = "balance/patch.rs"]
mod patch;

use scene::Draw;

const SIZE: Size = Size {
    width: 900,
    height: 700,
};

/// Gains that the invented camera asks for: red, green, blue.
const TRUTH: [f64; 3] = [1.37, 1.0, 0.82];

const SKY: [f64; 3] = [310.0, 220.0, 150.0];

/// Widths differ from channel to channel, as they do.
const FWHM: [f64; 3] = [2.9, 3.1, 3.5];

const NOISE: f64 = 4.0;

#[derive(Clone, Copy)]
struct Truth {
    x: f64,
    y: f64,
    kelvin: f64,
    light: f64,
}

/// Stars of 3,500 to 15,000 K, apart from each other.
fn stars(count: usize, seed: u64) -> Vec<Truth> {
    let mut draw = Draw::new(seed);
    let mut stars: Vec<Truth> = Vec::new();
    while stars.len() < count {
        let x = 25.0 + draw.uniform() * (SIZE.width as f64 - 50.0);
        let y = 25.0 + draw.uniform() * (SIZE.height as f64 - 50.0);
        let kelvin = 3500.0 * libm::pow(15.0 / 3.5, draw.uniform());
        let light = 2e4 * libm::pow(10.0, draw.uniform());
        if stars
            .iter()
            .all(|s| (s.x - x).abs().max((s.y - y).abs()) > 24.0)
        {
            stars.push(Truth {
                x,
                y,
                kelvin,
                light,
            });
        }
    }
    stars
}

/// One channel: bells, or Moffat profiles of beta 3.5, with noise, cut at `ceiling`.
fn channel(stars: &[Truth], index: usize, moffat: bool, ceiling: f64) -> Plane {
    let mut values = vec![SKY[index]; SIZE.pixels()];
    let fwhm = FWHM[index];
    for star in stars {
        let rgb = black_body::linear_srgb(star.kelvin).expect("a colour");
        let light = star.light * rgb[index] / TRUTH[index];
        let reach = (9.0 * fwhm) as isize;
        let (cx, cy) = (star.x.round() as isize, star.y.round() as isize);
        for y in (cy - reach).max(0)..(cy + reach + 1).min(SIZE.height as isize) {
            for x in (cx - reach).max(0)..(cx + reach + 1).min(SIZE.width as isize) {
                let (u, v) = (x as f64 - star.x, y as f64 - star.y);
                let square = u * u + v * v;
                let shape = if moffat {
                    let alpha2 = fwhm * fwhm / (4.0 * (libm::pow(2.0, 1.0 / 3.5) - 1.0));
                    2.5 / (std::f64::consts::PI * alpha2) * libm::pow(1.0 + square / alpha2, -3.5)
                } else {
                    let sigma2 = fwhm * fwhm / (8.0 * libm::log(2.0));
                    libm::exp(-0.5 * square / sigma2) / (std::f64::consts::TAU * sigma2)
                };
                values[y as usize * SIZE.width + x as usize] += light * shape;
            }
        }
    }
    let mut draw = Draw::new(77 + index as u64);
    let values = values
        .into_iter()
        .map(|value| ((value + NOISE * draw.normal()).min(ceiling)) as f32)
        .collect();
    Plane::from_vec(SIZE, values).expect("the size fits")
}

struct Sky {
    planes: [Plane; 3],
    lists: [Stars; 3],
}

impl Sky {
    fn new(stars: &[Truth], moffat: bool, ceiling: f64) -> Self {
        let planes = [0, 1, 2].map(|index| channel(stars, index, moffat, ceiling));
        let given = ceiling.is_finite().then_some(ceiling);
        let list = |plane: &Plane| {
            let go_on = |_: usize, _: usize| ControlFlow::Continue(());
            find(plane, given, &FindLimits::default(), &go_on).expect("in memory")
        };
        let lists = [0, 1, 2].map(|index: usize| list(&planes[index]));
        Self { planes, lists }
    }

    fn channels(&self) -> Broadband<'_> {
        Broadband {
            rgb: [0, 1, 2].map(|index: usize| {
                Some(Field {
                    rows: &self.planes[index],
                    stars: &self.lists[index],
                })
            }),
        }
    }
}

fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

/// Two seconds of arc to a pixel, about (83.5, -5.25) degrees.
fn header() -> Header {
    let scale = 2.0 / 3600.0;
    let numbers = [
        ("CRPIX1", 450.5),
        ("CRPIX2", 350.5),
        ("CRVAL1", 83.5),
        ("CRVAL2", -5.25),
        ("CD1_1", -scale),
        ("CD1_2", 0.0),
        ("CD2_1", 0.0),
        ("CD2_2", scale),
    ];
    let card = |keyword: &str, value: Value| Card {
        keyword: keyword.to_owned(),
        value: Some(value),
        comment: String::new(),
    };
    let mut cards: Vec<_> = numbers.map(|(k, v)| card(k, Value::Real(v))).into();
    cards.push(card("CTYPE1", Value::Text("RA---TAN".to_owned())));
    cards.push(card("CTYPE2", Value::Text("DEC--TAN".to_owned())));
    Header {
        cards,
        inherited: Vec::new(),
    }
}

/// The stars' catalogue, its places off by `shift` px, in another order, with
/// strangers in between.
fn catalogue(stars: &[Truth], shift: [f64; 2], middle: [f64; 2]) -> Vec<CatalogueStar> {
    let scale = 2.0 / 3600.0;
    let row = |x: f64, y: f64, b_v: Option<f64>| {
        // The gnomonic projection backwards (Calabretta & Greisen 2002).
        let xi = (-(x + shift[0] - 449.5) * scale).to_radians();
        let eta = ((y + shift[1] - 349.5) * scale).to_radians();
        let d = middle[1].to_radians();
        let up = libm::cos(d) - eta * libm::sin(d);
        let ra = middle[0] + libm::atan2(xi, up).to_degrees();
        let dec = libm::atan2(
            libm::sin(d) + eta * libm::cos(d),
            (xi * xi + up * up).sqrt(),
        );
        CatalogueStar {
            right_ascension_deg: ra,
            declination_deg: dec.to_degrees(),
            b_v,
            bp_rp: None,
        }
    };
    let mut rows: Vec<_> = stars
        .iter()
        .rev()
        .map(|star| row(star.x, star.y, temperature::to_b_v(star.kelvin)))
        .collect();
    let mut draw = Draw::new(5);
    for _ in 0..200 {
        let x = draw.uniform() * 900.0;
        let y = draw.uniform() * 700.0;
        rows.insert(rows.len() / 2, row(x, y, Some(0.4)));
    }
    rows
}

fn worst(balance: &Balance) -> f64 {
    let off = |i: usize| (balance.gains.rgb[i] / TRUTH[i] - 1.0).abs();
    off(0).max(off(1)).max(off(2))
}

#[test]
fn a_catalogue_gives_the_gains_within_a_hundredth() {
    let truth = stars(220, 3);
    for moffat in [false, true] {
        let sky = Sky::new(&truth, moffat, f64::INFINITY);
        for shift in [[0.0, 0.0], [17.0, -11.5]] {
            let rows = catalogue(&truth, shift, [83.5, -5.25]);
            let options = CatalogueOptions::default();
            let found = by_catalogue(&sky.channels(), &header(), &rows, &options, &mut go_on)
                .expect("a balance");
            let moved = libm::hypot(shift[0], shift[1]);
            eprintln!(
                "moffat {moffat} {shift:?}: off {:.5} {found:?}",
                worst(&found)
            );
            assert!(worst(&found) < 0.01, "{found:?}");
            assert!(found.used > 100, "{found:?}");
            assert!(
                (found.moved_px.expect("moved") - moved).abs() < 0.3,
                "{found:?}"
            );
            assert!(found.scatter.iter().all(|s| *s < 0.03), "{found:?}");
        }
    }
}

#[test]
fn balanced_stars_have_their_b_v() {
    let truth = stars(220, 9);
    let sky = Sky::new(&truth, false, f64::INFINITY);
    let rows = catalogue(&truth, [3.0, 2.0], [83.5, -5.25]);
    let options = CatalogueOptions::default();
    let channels = sky.channels();
    let found = by_catalogue(&channels, &header(), &rows, &options, &mut go_on).expect("a balance");
    let fields = channels.complete().expect("all three");
    let table = photometry::table(&fields, 1, 100.0, &mut go_on).expect("in memory");
    let mut errors = Vec::new();
    for star in &table.stars {
        let near =
            |t: &&Truth| (t.x - star.place[0]).abs() < 2.0 && (t.y - star.place[1]).abs() < 2.0;
        let Some(known) = truth.iter().find(near) else {
            continue;
        };
        let light = [0, 1, 2].map(|i: usize| star.flux[i].light);
        let b_v = temperature::b_v_of(found.gains.apply(light)).expect("a colour");
        errors.push((b_v - temperature::to_b_v(known.kelvin).expect("a colour")).abs());
    }
    errors.sort_by(f64::total_cmp);
    assert!(errors.len() > 80, "{}", errors.len());
    let at = |q: f64| errors[(q * (errors.len() - 1) as f64) as usize];
    eprintln!(
        "B-V errors: median {:.4}, 95 % {:.4}, {} stars",
        at(0.5),
        at(0.95),
        errors.len()
    );
    assert!(at(0.95) < 0.02, "median {} 95 % {}", at(0.5), at(0.95));
}

#[test]
fn the_mean_star_becomes_neutral() {
    let truth = stars(150, 21);
    let sky = Sky::new(&truth, true, f64::INFINITY);
    let found = by_stars(&sky.channels(), &mut go_on).expect("a balance");
    // The mean of the true logarithms of the colours, by the generator.
    let mean = |i: usize| {
        let logs = truth.iter().map(|star| {
            let rgb = black_body::linear_srgb(star.kelvin).expect("a colour");
            libm::log(rgb[i] / TRUTH[i] / rgb[1])
        });
        logs.sum::<f64>() / truth.len() as f64
    };
    for i in [0, 2] {
        let off = (libm::log(found.gains.rgb[i]) + mean(i)).abs();
        let allowed = 3.0 * found.gains.sigma[i] / found.gains.rgb[i] + 0.01;
        assert!(off < allowed, "{i}: {off} {allowed} {found:?}");
    }
    assert_eq!(found.gains.rgb[1], 1.0);
}

#[test]
fn one_star_becomes_neutral() {
    let mut truth = stars(120, 4);
    truth[0].light = 1.5e5;
    let sky = Sky::new(&truth, false, f64::INFINITY);
    let place = [truth[0].x + 1.5, truth[0].y - 1.0];
    let found = by_star(&sky.channels(), place).expect("a balance");
    let rgb = black_body::linear_srgb(truth[0].kelvin).expect("a colour");
    for i in [0, 2] {
        let expected = TRUTH[i] * rgb[1] / rgb[i];
        assert!(
            (found.gains.rgb[i] / expected - 1.0).abs() < 0.01,
            "{found:?}"
        );
    }
    let error = by_star(&sky.channels(), [-90.0, 3.0]).expect_err("nothing there");
    assert!(matches!(error, BalanceError::NoStar { .. }) && !error.hint().is_empty());
}

#[test]
fn what_stands_in_the_way_is_said() {
    let truth = stars(40, 6);
    let sky = Sky::new(&truth, false, f64::INFINITY);
    let channels = sky.channels();
    let options = CatalogueOptions::default();
    let refusal = |header: &Header, rows: &[CatalogueStar]| {
        let error = by_catalogue(&channels, header, rows, &options, &mut go_on);
        error.expect_err("refused")
    };
    let rows = catalogue(&truth, [0.0; 2], [83.5, -5.25]);
    let error = refusal(&Header::default(), &rows);
    assert!(error.to_string().contains("no sky coordinates"), "{error}");
    let error = refusal(&header(), &catalogue(&truth, [0.0; 2], [201.4, 43.0]));
    let text = error.to_string();
    assert!(
        text.contains("ascension 201.") && text.contains("ascension 83.5"),
        "{text}"
    );
    assert!(matches!(error, BalanceError::AnotherField { apart_deg, .. } if apart_deg > 90.0));
    let strangers = catalogue(&stars(40, 99), [0.0; 2], [83.5, -5.25]);
    let error = refusal(&header(), &strangers);
    assert!(
        matches!(error, BalanceError::NothingMatches { .. }),
        "{error}"
    );
    // Nobody is sent to an option that there is not.
    assert!(error.to_string().contains("up to 40 px"), "{error}");
    assert!(
        error.hint().contains("coordinates anew"),
        "{}",
        error.hint()
    );
    assert!(!error.hint().contains("allow"), "{}", error.hint());
    assert_eq!(refusal(&header(), &[]), BalanceError::EmptyCatalogue);
    let mut two = channels;
    two.rgb[2] = None;
    let error = by_stars(&two, &mut go_on).expect_err("two");
    assert!(
        error.to_string().contains("no broadband blue channel"),
        "{error}"
    );
    let few = Sky::new(&truth[..4], false, f64::INFINITY);
    let error = by_stars(&few.channels(), &mut go_on).expect_err("four");
    assert!(matches!(error, BalanceError::TooFewStars { .. }), "{error}");
    let stop = &mut |_: usize, _: usize| ControlFlow::Break(());
    assert_eq!(by_stars(&channels, stop).err(), Some(BalanceError::Stopped));
    assert!(Gains::given([1.0, 0.0, 1.0]).is_err());
    assert!(Gains::given([1.0, 2.0, f64::NAN]).is_err());
    assert_eq!(
        Gains::given([3.0, 2.0, 1.0]).expect("sound").rgb,
        [1.5, 1.0, 0.5]
    );
}

/// Protects catalogues that list every star twice: rows that say the same are one
/// star, rows that do not are told with what to do.
#[test]
fn stars_that_are_listed_twice_count_once() {
    let truth = stars(120, 17);
    let sky = Sky::new(&truth, false, f64::INFINITY);
    let channels = sky.channels();
    let options = CatalogueOptions::default();
    let once = catalogue(&truth, [3.0, 2.0], [83.5, -5.25]);
    let by =
        |rows: &[CatalogueStar]| by_catalogue(&channels, &header(), rows, &options, &mut go_on);
    let single = by(&once).expect("a balance");
    assert!(worst(&single) < 0.01, "{single:?}");
    let twice = [once.clone(), once.clone()].concat();
    assert_eq!(by(&twice), Ok(single));
    let redder = |row: &CatalogueStar| CatalogueStar {
        b_v: row.b_v.map(|color| color + 0.01),
        ..*row
    };
    let unlike = [once.clone(), once.iter().map(redder).collect()].concat();
    let error = by(&unlike).expect_err("ambiguous");
    assert!(error.to_string().contains("ambiguous"), "{error}");
    assert!(
        error.hint().contains("one row for each star"),
        "{}",
        error.hint()
    );
}

#[test]
fn saturated_stars_do_not_count() {
    let mut truth = stars(120, 14);
    for star in &mut truth[..60] {
        star.light *= 60.0;
    }
    let rows = catalogue(&truth, [0.0; 2], [83.5, -5.25]);
    let sky = Sky::new(&truth, false, 2e4);
    let options = CatalogueOptions::default();
    let found =
        by_catalogue(&sky.channels(), &header(), &rows, &options, &mut go_on).expect("a balance");
    assert!(worst(&found) < 0.01, "{found:?}");
    let full = found
        .refused
        .iter()
        .find(|(why, _)| *why == Refusal::Saturated);
    assert!(full.is_some_and(|(_, count)| *count >= 50), "{found:?}");
    let burnt: Vec<Truth> = truth[..60].to_vec();
    let sky = Sky::new(&burnt, false, 1e3);
    let error = by_stars(&sky.channels(), &mut go_on).expect_err("all full");
    assert!(
        matches!(error, BalanceError::AllSaturated { .. }),
        "{error}"
    );
}
