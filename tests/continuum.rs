//! Starlight out of narrow channels of the practice field.

use std::ops::ControlFlow;
use std::sync::Arc;

use linehue::engine::align::stars::{FindLimits, Star, Stars, find};
use linehue::engine::balance::Refusal;
use linehue::engine::balance::photometry::{Field, measure};
use linehue::engine::continuum::{ContinuumError, Matched, Ratio, match_widths, ratio, subtract};
use linehue::engine::frame::{Plane, Rows, Size};
use linehue::engine::measure::glance;

#[path = "support/field/mod.rs"]
mod field;

#[path = "support/stacks.rs"]
mod stacks;

use field::random::Stream;
use field::{Filter, GAS_ALONE, Parts, Scene, Spec, render};
use stacks::Bench;

const SIZE: Size = Size {
    width: 700,
    height: 500,
};

fn plane(values: Vec<f32>) -> Arc<dyn Rows> {
    Arc::new(Plane::from_vec(SIZE, values).expect("the size fits"))
}

fn stars_of(rows: &dyn Rows) -> Stars {
    let go_on = |_: usize, _: usize| ControlFlow::Continue(());
    find(rows, Some(65_535.0), &FindLimits::default(), &go_on).expect("in memory")
}

fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn sky(rows: &dyn Rows) -> f64 {
    let survey = glance(rows, None).expect("in memory");
    survey.levels.expect("valid pixels").sky
}

// The ratio of two channels as they stand and as they are `matched`.
fn compared(n: &Arc<dyn Rows>, b: &Arc<dyn Rows>, matched: &Matched) -> Ratio {
    let lists = [stars_of(&**n), stars_of(&**b)];
    let [narrow, broad] = [(n, &lists[0]), (b, &lists[1])].map(|(rows, stars)| Field {
        rows: &**rows,
        stars,
    });
    ratio(narrow, broad, matched, &mut go_on).expect("a ratio")
}

fn unmatched(n: &Arc<dyn Rows>, b: &Arc<dyn Rows>) -> Matched {
    match_widths(n.clone(), b.clone(), [None; 2])
}

/// Stars through narrow and broad filters: what is left of them.
#[test]
fn stars_vanish_from_the_narrow_channel() {
    let scene = Scene::new(SIZE.width, SIZE.height, 42);
    // [S II]: measured 2.7 %, above the aim of 2 %. Its filter lies farther from
    // the broad one's middle: by their colours the stars' own ratios run from
    // 0.24 to 0.29. A bell does not widen a star's wings, which lowers the factor
    // by 1.9 %, for H-alpha by 1.0 % (worked out from the generator's profile).
    for (narrow, broad, most) in [
        (Filter::Ha, Filter::R, 0.02),
        (Filter::Sii, Filter::R, 0.03),
    ] {
        let specs = [narrow, broad].map(|filter| Spec::new(SIZE.width, SIZE.height, filter));
        let [n, b] = specs.map(|spec| plane(render(&scene, &spec)));
        let widths = [stars_of(&*n).fwhm_px, stars_of(&*b).fwhm_px];
        let matched = match_widths(n.clone(), b.clone(), widths);
        let found = compared(&n, &b, &matched);
        let list = stars_of(&*matched.narrow);
        // What the generator gave to the stars that are found.
        let listed = |at: [f64; 2]| {
            let near = |star: &Star| (star.x - at[0]).hypot(star.y - at[1]) < 1.0;
            list.stars.iter().any(|star| !star.saturated && near(star))
        };
        let [ours, theirs] = [0, 1].map(|index| scene.stars_on(&specs[index]));
        let pairs = ours.iter().zip(&theirs);
        let pairs = pairs.filter(|(star, _)| listed([star.x, star.y]));
        let truth = median(pairs.map(|(a, b)| a.light / b.light).collect());
        eprintln!("true for the median star: {truth:.5}");
        assert!((found.k / truth - 1.0).abs() < 0.03, "{truth} {found:?}");
        eprintln!("{narrow:?} from {broad:?}: {widths:?} {found:?}");
        let level = sky(&*matched.broad);
        let rest = subtract(
            matched.narrow.clone(),
            matched.broad.clone(),
            found.k,
            level,
        )
        .expect("sound");
        let good: Vec<_> = list
            .stars
            .iter()
            .filter(|s| !s.saturated && s.snr > 60.0)
            .collect();
        let places: Vec<_> = good.iter().map(|star| [star.x, star.y]).collect();
        let light = |rows: &dyn Rows| {
            let field = Field { rows, stars: &list };
            measure(&field, &places, &mut |_| ControlFlow::Continue(())).expect("in memory")
        };
        let (before, after) = (light(&*matched.narrow), light(&rest));
        let mut shares = Vec::new();
        for (before, after) in before.iter().zip(&after) {
            if let (Ok(before), Ok(after)) = (before, after) {
                shares.push(after.light / before.light);
            }
        }
        let typical = median(shares.clone());
        let away = median(shares.iter().map(|share| share.abs()).collect());
        eprintln!(
            "{} stars: median {typical:.4}, of the size {away:.4}",
            shares.len()
        );
        assert!(shares.len() >= 15, "{}", shares.len());
        assert!(typical.abs() < most, "{typical}");
        assert!(found.error / found.k < 0.02, "{found:?}");
    }
}

/// The broad channel has none of the emission here: what is taken away is
/// starlight alone, and the gas of the narrow channel stays as it was.
#[test]
fn emission_stays_within_the_noise() {
    let scene = Scene::new(SIZE.width, SIZE.height, 42);
    let spec = Spec::new(SIZE.width, SIZE.height, Filter::Ha);
    let stars = Parts {
        gas: false,
        ..field::ALL_PARTS
    };
    let broad = Spec {
        fwhm_px: spec.fwhm_px,
        ..Spec::new(SIZE.width, SIZE.height, Filter::R)
    };
    let n = plane(render(&scene, &spec));
    let b = plane(render(&scene, &broad.with_parts(stars)));
    let truth = render(&scene, &spec.with_parts(GAS_ALONE));
    let found = compared(&n, &b, &unmatched(&n, &b));
    let rest = subtract(n.clone(), b.clone(), found.k, broad.sky).expect("sound");
    let rest = Plane::from_rows(&rest).expect("in memory");
    // Medians over 25 x 25 px are free of the stars' remains.
    let mut off = Vec::new();
    for top in (0..SIZE.height).step_by(25) {
        for left in (0..SIZE.width).step_by(25) {
            let mut part = Vec::new();
            let mut variance = 0.0;
            for y in top..top + 25 {
                for x in left..left + 25 {
                    let gas = f64::from(truth[y * SIZE.width + x]);
                    part.push(f64::from(rest.values()[[y, x]]) - gas);
                    let starlight = found.k * found.k * broad.variance(broad.sky);
                    variance += spec.variance(gas) + starlight;
                }
            }
            off.push(median(part) / (variance / 625.0).sqrt());
        }
    }
    let typical = median(off.clone());
    let spread = median(off.iter().map(|v| v.abs()).collect());
    eprintln!(
        "k {:.5}; medians off by {typical:.3}, {spread:.3} of a pixel's noise",
        found.k
    );
    assert!(typical.abs() < 0.1, "{typical}");
    assert!(spread < 0.25, "{spread}");
}

/// Rings about stars fall where the widths are matched.
#[test]
fn matched_widths_leave_weaker_rings() {
    let scene = Scene::new(SIZE.width, SIZE.height, 42);
    let stars = Parts {
        gas: false,
        ..field::ALL_PARTS
    };
    let narrow = Spec {
        fwhm_px: 2.4,
        ..Spec::new(SIZE.width, SIZE.height, Filter::Ha)
    };
    let broad = Spec {
        fwhm_px: 3.3,
        ..Spec::new(SIZE.width, SIZE.height, Filter::R)
    };
    let [n, b] = [narrow, broad].map(|spec| plane(render(&scene, &spec.with_parts(stars))));
    let widths = [stars_of(&*n).fwhm_px, stars_of(&*b).fwhm_px];
    let chosen: Vec<_> = {
        let list = stars_of(&*n).stars;
        let fit = |s: &&Star| !s.saturated && s.snr > 100.0;
        list.iter().filter(fit).copied().collect()
    };
    assert!(chosen.len() >= 10, "{}", chosen.len());
    // Light left within 5 px, of either sign, over the star's own.
    let rings = |matched: Matched| {
        let k = compared(&n, &b, &matched).k;
        let rest = subtract(matched.narrow, matched.broad, k, broad.sky).expect("sound");
        let rest = Plane::from_rows(&rest).expect("in memory");
        let shares = chosen.iter().map(|star| {
            let mut left = 0.0;
            for y in 0..SIZE.height {
                for x in 0..SIZE.width {
                    let (u, v) = (x as f64 - star.x, y as f64 - star.y);
                    if u * u + v * v <= 25.0 {
                        left += (f64::from(rest.values()[[y, x]]) - narrow.sky).abs();
                    }
                }
            }
            left / star.flux
        });
        median(shares.collect())
    };
    let matched = match_widths(n.clone(), b.clone(), widths);
    assert!(matched.narrow_blur_px2 > 0.0 && matched.broad_blur_px2 == 0.0);
    let (before, after) = (rings(unmatched(&n, &b)), rings(matched));
    eprintln!("rings: {before:.4} of the light, matched {after:.4}");
    assert!(after < 0.5 * before, "{before} {after}");
}

#[test]
fn what_stands_in_the_way_is_said() {
    let noise = |size: Size| {
        let dice = Stream::new(3, 1);
        let value = |i: usize| 100.0 + dice.normal(i as u64);
        let values = (0..size.pixels()).map(value).collect();
        Plane::from_vec(size, values).expect("the size fits")
    };
    // A channel beside another, neither of them blurred.
    let refused = |rows: &Arc<dyn Rows>, other: &Arc<dyn Rows>, stars: &Stars| {
        let [narrow, broad] = [rows, other].map(|rows| Field {
            rows: &**rows,
            stars,
        });
        let matched = unmatched(rows, other);
        ratio(narrow, broad, &matched, &mut go_on).expect_err("in the way")
    };
    let empty: Arc<dyn Rows> = Arc::new(noise(SIZE));
    let list = stars_of(&*empty);
    let error = refused(&empty, &empty, &list);
    assert!(
        matches!(error, ContinuumError::TooFewStars { used: 0, .. }),
        "{error}"
    );
    assert!(error.hint().contains("factor"));
    let small: Arc<dyn Rows> = Arc::new(noise(Size {
        width: 300,
        height: 200,
    }));
    let error = refused(&empty, &small, &list);
    assert!(error.to_string().contains("300 x 200"), "{error}");
    // Every star is cut off below its top.
    let scene = Scene::new(SIZE.width, SIZE.height, 42);
    let spec = Spec::new(SIZE.width, SIZE.height, Filter::R);
    let cut: Vec<f32> = render(&scene, &spec)
        .iter()
        .map(|v| v.min(spec.sky as f32 + 60.0))
        .collect();
    let full = plane(cut);
    let mut list = stars_of(&*full);
    list.ceiling = Some(spec.sky + 60.0);
    list.stars.retain(|star| star.saturated);
    let error = refused(&full, &full, &list);
    assert!(
        matches!(error, ContinuumError::AllSaturated { .. }),
        "{error}"
    );
}

/// A field of bells of one width, px: places and lights are those of the seed,
/// whatever the width; `share` is how much of the light the filter passes.
struct Bells {
    lights: Vec<[f64; 3]>,
}

impl Bells {
    /// Lights are spread evenly between these powers of ten.
    fn new(count: u64, powers: [f64; 2]) -> Self {
        let dice = Stream::new(8, 1);
        let star = |i: u64| {
            let draw = |part: u64| dice.uniform(3 * i + part);
            let power = powers[0] + (powers[1] - powers[0]) * draw(2);
            let place = [SIZE.width, SIZE.height].map(|side| side as f64 - 11.0);
            let [x, y] = [5.0 + place[0] * draw(0), 5.0 + place[1] * draw(1)];
            [x, y, libm::pow(10.0, power)]
        };
        Self {
            lights: (0..count).map(star).collect(),
        }
    }

    /// Stars alone, camera units above the sky.
    fn seen(&self, sigma_px: f64, share: f64) -> Vec<f64> {
        let mut values = vec![0.0; SIZE.pixels()];
        let variance = sigma_px * sigma_px;
        for [x, y, light] in &self.lights {
            let height = share * light / (2.0 * std::f64::consts::PI * variance);
            let near =
                |at: f64, side: usize| (at as usize).saturating_sub(14)..side.min(at as usize + 15);
            for v in near(*y, SIZE.height) {
                for u in near(*x, SIZE.width) {
                    let (a, b) = (u as f64 - x, v as f64 - y);
                    let bell = libm::exp(-0.5 * (a * a + b * b) / variance);
                    values[v * SIZE.width + u] += height * bell;
                }
            }
        }
        values
    }
}

/// A sky with noise below what is seen.
fn above_sky(seen: &[f64], sky: f64, noise: f64, seed: u64) -> Vec<f32> {
    let dice = Stream::new(seed, 2);
    let value =
        |(i, light): (usize, &f64)| (light + sky + noise * f64::from(dice.normal(i as u64))) as f32;
    seen.iter().enumerate().map(value).collect()
}

/// Protects the factor where one channel is blurred: apertures that follow the
/// widths before blurring hold different shares of the same light.
#[test]
fn the_factor_is_true_whatever_the_star_widths() {
    const TRUE: f64 = 0.08;
    let bells = Bells::new(500, [3.0, 5.2]);
    let bench = Bench::new();
    for [narrow_px, broad_px] in [[1.5, 1.5], [1.3, 1.9], [1.9, 1.3]] {
        let narrow = above_sky(&bells.seen(narrow_px, TRUE), 100.0, 1.0, 3);
        let broad = above_sky(&bells.seen(broad_px, 1.0), 500.0, 3.0, 4);
        for (name, values) in [("n.fits", narrow), ("r.fits", broad)] {
            bench.file(name, &stacks::fits(SIZE.width, SIZE.height, &values, &[]));
        }
        bench.file(
            "k.toml",
            recipe("n.fits", "", "R", "{ from = \"broad\" }").as_bytes(),
        );
        bench.run(0, &["compose", "k.toml", "-o", "k.png"]);
        let record = std::fs::read(bench.at("k.png.record.json")).expect("a record");
        let record: serde_json::Value = serde_json::from_slice(&record).expect("JSON");
        let inputs = record["inputs"].as_array().expect("inputs");
        let told = inputs.iter().find(|input| !input["continuum"].is_null());
        let told = &told.expect("a continuum")["continuum"];
        let [k, error] = ["scale", "uncertainty"].map(|name| told[name].as_f64().expect("told"));
        eprintln!("{narrow_px} beside {broad_px} px: {k:.5} +- {error:.5}, {told}");
        assert!((k / TRUE - 1.0).abs() < 0.01, "{k}");
        assert!((k - TRUE).abs() < 4.0 * error, "{k} {error}");
    }
}

/// Protects the factor from tops that blurring rounds below the ceiling.
#[test]
fn stars_that_were_full_before_blurring_do_not_count() {
    let bells = Bells::new(250, [4.5, 6.5]);
    let full = |seen: &[f64]| -> Vec<f64> { seen.iter().map(|v| v.min(65_035.0)).collect() };
    let sharp = bells.seen(1.3, 1.0);
    let n = plane(above_sky(&bells.seen(1.9, 0.02), 100.0, 1.0, 3));
    let b = plane(
        above_sky(&full(&sharp), 500.0, 3.0, 4)
            .iter()
            .map(|value| value.min(65_535.0))
            .collect(),
    );
    // 0.95 of the ceiling at the star's own pixel.
    let tops = bells.lights.iter().map(|[x, y, _]| {
        let [u, v] = [x, y].map(|at| libm::round(*at) as usize);
        sharp[v * SIZE.width + u] + 500.0
    });
    let cut = tops.filter(|top| *top >= 0.95 * 65_535.0).count();
    let widths = [stars_of(&*n).fwhm_px, stars_of(&*b).fwhm_px];
    let matched = match_widths(n.clone(), b.clone(), widths);
    assert!(matched.broad_blur_px2 > 0.0);
    let found = compared(&n, &b, &matched);
    eprintln!("{cut} of {} full: {found:?}", bells.lights.len());
    assert!((50..200).contains(&cut), "{cut}");
    assert!(found.used <= bells.lights.len() - cut, "{found:?}");
    let refused = found.refused.iter();
    let saturated = refused.filter(|(why, _)| *why == Refusal::Saturated);
    let saturated: usize = saturated.map(|(_, count)| count).sum();
    assert!(saturated >= cut * 9 / 10, "{cut}: {found:?}");
    assert!((found.k / 0.02 - 1.0).abs() < 0.01, "{found:?}");
}

// A narrow channel of hydrogen less a broad one, r.fits.
fn recipe(file: &str, width: &str, broad: &str, continuum: &str) -> String {
    format!(
        "recipe = 1\nreference = \"ha\"\n\
         [[channel]]\nid = \"ha\"\nfile = \"{file}\"\nline = \"Ha\"\n{width}\
         continuum = {continuum}\nstretch = {{ black = 90.0, white = 1000.0 }}\n\
         [[channel]]\nid = \"broad\"\nfile = \"r.fits\"\nline = \"{broad}\"\n\
         stretch = {{ black = 290.0, white = 1000.0 }}\n\
         [[rendition]]\nid = \"one\"\ncolors = {{ ha = \"natural\" }}\n"
    )
}

/// Protects from starlight of another colour where the recipe leaves out how
/// wide the narrow filter is.
#[test]
fn a_broad_channel_elsewhere_is_refused_without_a_width() {
    let bench = Bench::new();
    bench.file("r.fits", &stacks::stack("B", 4));
    let compose = ["compose", "one.toml", "-o", "one.png"];
    let given = "{ from = \"broad\", scale = 0.1 }";
    for width in ["", "width_nm = 5.0\n"] {
        for continuum in ["{ from = \"broad\" }", given] {
            let text = recipe("ha.fits", width, "B", continuum);
            bench.file("one.toml", text.as_bytes());
            bench.refused(&compose, &["ha: ", "400 to 500 nm, not 656.3 nm", "or L"]);
        }
    }
    for broad in ["R", "L"] {
        let text = recipe("ha.fits", "", broad, given);
        bench.file("one.toml", text.as_bytes());
        bench.run(0, &compose);
    }
}

/// Protects from a channel without data that nobody is told of.
#[test]
fn a_factor_that_drowns_the_channel_is_refused() {
    let bench = Bench::new();
    bench.file("r.fits", &stacks::stack("R", 4));
    let compose = ["compose", "one.toml", "-o", "one.png"];
    for scale in ["1e300", "1e30", "1e5"] {
        let continuum = format!("{{ from = \"broad\", scale = {scale} }}");
        let text = recipe("ha.fits", "", "R", &continuum);
        bench.file("one.toml", text.as_bytes());
        bench.refused(&compose, &["ha: ", "drowns the channel", "fitted on stars"]);
    }
}
