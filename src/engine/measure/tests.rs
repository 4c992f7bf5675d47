use super::fields::{field, with_rim, with_stars};
use super::*;
use crate::engine::frame::Plane;

fn of(plane: &Plane) -> Survey {
    survey(plane, None, &mut |_, _| ControlFlow::Continue(())).unwrap()
}

fn levels(plane: &Plane) -> Levels {
    of(plane).levels.unwrap()
}

#[test]
fn sky_and_noise_of_a_plain_field() {
    let plane = field(400, 300, 1, |_, _, dice| 1000.0 + 10.0 * dice.normal());
    let levels = levels(&plane);
    assert!((levels.sky - 1000.0).abs() < 0.15, "{}", levels.sky);
    assert!((levels.noise - 10.0).abs() < 0.15, "{}", levels.noise);
    // A normal distribution cut off at 3 sigma has 0.98658 of its deviation.
    assert!((levels.spread - 9.8658).abs() < 0.1, "{}", levels.spread);
}

#[test]
fn a_nebula_over_a_third_moves_the_sky_by_a_fifth_of_sigma() {
    let plane = field(500, 500, 2, |_, _, dice| {
        let nebula = if dice.uniform() < 0.3 {
            5.0 * dice.exponential()
        } else {
            0.0
        };
        dice.normal() + nebula
    });
    let levels = levels(&plane);
    assert!(levels.sky > 0.05 && levels.sky < 0.25, "{}", levels.sky);
    assert!(
        levels.median > 0.4 && levels.median < 0.46,
        "{}",
        levels.median
    );
}

#[test]
fn noise_does_not_see_gradients_nor_smooth_nebula() {
    let plane = field(400, 400, 3, |x, y, dice| {
        let (dx, dy) = (x as f64 - 200.0, y as f64 - 200.0);
        let nebula = 3000.0 * libm::exp(-(dx * dx + dy * dy) / 5000.0);
        1000.0 + 2.5 * x as f64 + nebula + 10.0 * dice.normal()
    });
    let plane = with_stars(&plane, 60, 20000.0, 1e9, 4);
    let noise = levels(&plane).noise;
    assert!((noise - 10.0).abs() < 0.8, "{noise}");
}

#[test]
fn noise_of_neighbours_that_share_light() {
    // A linear interpolation half-way: neighbours correlate by a half, pixels
    // two apart do not; sigma falls to sqrt(1/2).
    let sharp = field(401, 300, 5, |_, _, dice| 100.0 + dice.normal());
    let values = sharp.values();
    let plane = Plane::new(ndarray::Array2::from_shape_fn((300, 400), |(y, x)| {
        (values[(y, x)] + values[(y, x + 1)]) / 2.0
    }));
    let noise = levels(&plane).noise;
    assert!((noise - 0.5f64.sqrt()).abs() < 0.02, "{noise}");
}

#[test]
fn noise_of_coarse_values() {
    // Rounding adds 1/12 to the variance (Sheppard).
    for (sigma, seed) in [(0.4, 6), (0.7, 7), (2.0, 8)] {
        let plane = field(400, 300, seed, |_, _, dice| {
            libm::round(50.3 + sigma * dice.normal())
        });
        let noise = levels(&plane).noise;
        let expected = (sigma * sigma + 1.0 / 12.0f64).sqrt();
        assert!(
            (noise / expected - 1.0).abs() < 0.1,
            "{sigma}: {noise} for {expected}"
        );
    }
}

#[test]
fn an_empty_rim_of_rounding_errors_is_left_out() {
    let (width, height) = (200, 60);
    let plane = Plane::new(ndarray::Array2::from_shape_fn((height, width), |(y, x)| {
        if x < 40 + y / 3 {
            ((x * 31 + y * 17) % 7) as f32 * 1e-14 - 3e-14
        } else {
            100.0 + ((x * 7919 + y * 104_729) % 97) as f32 * 0.1
        }
    }));
    let survey = of(&plane);
    let rim: u64 = (0..height as u64).map(|y| 40 + y / 3).sum();
    assert_eq!((survey.empty, survey.missing), (rim, 0));
    assert!(survey.levels.is_some_and(|levels| levels.min == 100.0));
}

#[test]
fn gaps_and_empty_rims_are_counted_and_left_out() {
    let plane = field(200, 100, 9, |_, _, dice| 500.0 + dice.normal());
    let zeros = of(&with_rim(&plane, 20, 10, 0.0));
    assert_eq!(zeros.empty, 200 * 10 + 20 * 90);
    assert_eq!((zeros.valid, zeros.missing), (180 * 90, 0));
    assert!(zeros.levels.unwrap().min > 490.0);

    let gaps = of(&with_rim(&plane, 20, 10, f32::NAN));
    assert_eq!((gaps.missing, gaps.empty), (200 * 10 + 20 * 90, 0));
    assert_eq!(gaps.sample().len(), 180 * 90);

    // Narrow, but on every row.
    let narrow = of(&with_rim(&plane, 3, 0, 0.0));
    assert_eq!((narrow.empty, narrow.valid), (300, 197 * 100));
}

#[test]
fn zeros_by_chance_are_values() {
    let plane = field(300, 200, 10, |_, _, dice| (dice.uniform() * 4.0).floor());
    let survey = of(&plane);
    assert_eq!(survey.valid + survey.empty, 60_000);
    assert!(survey.empty < 20, "{}", survey.empty);
    assert_eq!(survey.levels.unwrap().min, 0.0);
    assert_eq!(survey.saturation, None);
    assert_eq!(survey.valid as usize, survey.sample().len());
}

#[test]
fn a_clipped_peak_is_saturation() {
    let plane = field(400, 400, 11, |_, _, dice| {
        (1000.0 + 10.0 * dice.normal()).round()
    });
    let stars = with_stars(&plane, 200, 200_000.0, 65535.0, 12);
    let flat_tops = stars
        .values()
        .iter()
        .filter(|value| **value == 65535.0)
        .count();
    assert!(flat_tops > 100);
    let clipped = of(&stars);
    assert_eq!(clipped.saturation, Some(65535.0));
    assert_eq!(clipped.saturated, flat_tops as u64);

    let unclipped = of(&with_stars(&plane, 200, 200_000.0, 1e9, 12));
    assert_eq!((unclipped.saturation, unclipped.saturated), (None, 0));

    let told = survey(&stars, Some(30000.0), &mut |_, _| ControlFlow::Continue(())).unwrap();
    let above = stars
        .values()
        .iter()
        .filter(|value| **value >= 30000.0)
        .count();
    assert_eq!(told.saturated, above as u64);
}

#[test]
fn nothing_in_it() {
    let missing = of(&field(30, 20, 0, |_, _, _| f64::NAN));
    assert_eq!((missing.valid, missing.missing), (0, 600));
    assert_eq!((missing.levels, missing.quantile(0.5)), (None, None));
    let one = of(&field(1, 1, 0, |_, _, _| 5.0));
    assert_eq!(one.levels.unwrap().sky, 5.0);
    assert_eq!(one.quantile(0.3), Some(5.0));
    let flat = of(&field(50, 50, 0, |_, _, _| 1890.0));
    assert_eq!(flat.levels.unwrap().noise, 0.0);
    assert_eq!(flat.saturation, None);
}

#[test]
fn quantiles_lie_between_samples() {
    let plane = field(5, 1, 0, |x, _, _| x as f64 + 1.0);
    let survey = of(&plane);
    assert_eq!(survey.quantile(0.0), Some(1.0));
    assert_eq!(survey.quantile(0.5), Some(3.0));
    assert_eq!(survey.quantile(0.625), Some(3.5));
    assert_eq!(survey.quantile(1.0), Some(5.0));
}

#[test]
fn neither_the_height_nor_the_order_of_bands_matters() {
    let plane = field(211, 173, 13, |x, y, dice| match (x, y) {
        (0..4, _) | (_, 0..2) => 0.0,
        (60..70, 60..70) => f64::NAN,
        _ => 20.0 + dice.normal(),
    });
    let whole = of(&plane);
    let values: Vec<f32> = plane.values().iter().copied().collect();
    for rows in [1, 7, 64, 173] {
        let mut sampler = Sampler::new(whole.size, None);
        let bands: Vec<(usize, &[f32])> = values.chunks(211 * rows).enumerate().collect();
        for (index, band) in bands.into_iter().rev() {
            sampler.push_band(index * rows, 211, band);
        }
        assert_eq!(sampler.finish(), whole, "{rows}");
    }
}

#[test]
fn large_pictures_are_thinned_out() {
    let plane = field(2300, 1000, 14, |x, _, dice| {
        x as f64 / 100.0 + dice.normal()
    });
    let survey = of(&plane);
    let kept = survey.sample().len();
    assert!((1_000_000..=SAMPLE_PIXELS).contains(&kept), "{kept}");
    assert_eq!(survey.valid, 2_300_000);
    let mut all: Vec<f32> = plane.values().iter().copied().collect();
    all.sort_unstable_by(f32::total_cmp);
    for q in [0.004, 0.25, 0.5, 0.9993] {
        let exact = f64::from(all[(q * all.len() as f64) as usize]);
        let ours = survey.quantile(q).unwrap();
        assert!((ours - exact).abs() < 0.05, "{q}: {ours} for {exact}");
    }
}

#[test]
fn it_can_be_stopped() {
    let plane = field(10, 200, 15, |_, _, dice| dice.normal());
    let mut seen = Vec::new();
    let stopped = survey(&plane, None, &mut |done, total| {
        seen.push((done, total));
        if done >= 128 {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(())
        }
    });
    assert_eq!(stopped, Err(SurveyError::Stopped));
    assert_eq!(seen, [(64, 200), (128, 200)]);
}
