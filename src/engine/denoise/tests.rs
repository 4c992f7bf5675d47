use super::*;
use ndarray::Array2;

fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

// Noise of the given sigma with a bright spot and a hole without data.
fn scene(width: usize, height: usize) -> Plane {
    let mut state = 7u64;
    let mut draw = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u64 << 24) as f32
    };
    Plane::new(Array2::from_shape_fn((height, width), |(y, x)| {
        let noise: f32 = (0..12).map(|_| draw()).sum::<f32>() - 6.0;
        let (dx, dy) = (x as f32 - 60.0, y as f32 - 40.0);
        let star = 500.0 / (1.0 + (dx * dx + dy * dy) / 4.0);
        if (90..97).contains(&x) && (20..90).contains(&y) {
            f32::NAN
        } else {
            1000.0 + 3.0 * noise + star
        }
    }))
}

fn bits(values: &[f32]) -> Vec<u32> {
    values.iter().map(|value| value.to_bits()).collect()
}

#[test]
fn a_window_is_a_piece_of_the_whole() {
    let plane = scene(300, 200);
    let model = NoiseModel::measure(&plane);
    let whole = smoothed(&plane, &model, &go_on).unwrap();
    for (x, y, width, height) in [
        (0, 0, 50, 60),
        (71, 13, 133, 90),
        (280, 150, 20, 50),
        (97, 89, 1, 1),
    ] {
        let window = Rect {
            x,
            y,
            size: Size { width, height },
        };
        let part = smoothed_in(&plane, &model, window, &go_on).unwrap();
        let expected: Vec<f32> = whole
            .values()
            .slice(ndarray::s![y..y + height, x..x + width])
            .iter()
            .copied()
            .collect();
        assert_eq!(bits(&part), bits(&expected), "{window:?}");
    }
}

#[test]
fn any_number_of_threads_gives_the_same_bits() {
    let plane = scene(310, 420);
    let run = |threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| {
            let model = NoiseModel::measure(&plane);
            let smooth = smoothed(&plane, &model, &go_on).unwrap();
            (model, bits(smooth.values().as_slice().unwrap()))
        })
    };
    assert_eq!(run(1), run(3));
}

#[test]
fn gaps_stay_gaps_and_nothing_else_becomes_one() {
    let plane = scene(150, 120);
    let smooth = smoothed(&plane, &NoiseModel::measure(&plane), &go_on).unwrap();
    for (before, after) in plane.values().iter().zip(smooth.values()) {
        assert_eq!(before.is_nan(), after.is_nan());
    }
}

#[test]
fn a_picture_without_noise_keeps_its_bits() {
    for value in [0.0, -3.7, 61_234.57] {
        let flat = Plane::new(Array2::from_elem((70, 90), value));
        let model = NoiseModel::measure(&flat);
        let smooth = smoothed(&flat, &model, &go_on).unwrap();
        assert_eq!(smooth, flat);
    }
    // With a model from elsewhere too.
    let flat = Plane::new(Array2::from_elem((70, 90), 417.3));
    let model = NoiseModel {
        sky: 400.0,
        scales: [3.0, 1.0, 0.4, 0.2, 0.1],
        growth: 0.0,
    };
    let smooth = smoothed(&flat, &model, &go_on).unwrap();
    assert!(smooth.values().iter().all(|v| (v - 417.3).abs() < 1e-4));
}

#[test]
fn white_noise_has_the_starlets_known_shares() {
    // Starck & Murtagh 2006, Astronomical Image and Data Analysis, table 2.1.
    let plane = fields_free(512);
    let model = NoiseModel::measure(&plane);
    for (index, share) in [0.889, 0.200, 0.086, 0.041].into_iter().enumerate() {
        let found = model.scales[index] / 3.0;
        assert!((found / share - 1.0).abs() < 0.08, "{index}: {found}");
    }
}

fn fields_free(side: usize) -> Plane {
    let noisy = scene(side, side);
    Plane::new(noisy.values().mapv(|v| if v.is_nan() { 1000.0 } else { v }))
}

#[test]
fn tiny_and_empty_pictures_pass() {
    for (height, width) in [(1, 1), (1, 40), (3, 2), (65, 1)] {
        for value in [f32::NAN, 5.0] {
            let plane = Plane::new(Array2::from_elem((height, width), value));
            let model = NoiseModel::measure(&plane);
            let smooth = smoothed(&plane, &model, &go_on).unwrap();
            assert_eq!(
                bits(smooth.values().as_slice().unwrap()),
                bits(plane.values().as_slice().unwrap())
            );
        }
    }
}

#[test]
fn it_stops_when_asked() {
    let plane = scene(100, 300);
    let stop = |_: usize, _: usize| ControlFlow::Break(());
    assert_eq!(smoothed(&plane, &NoiseModel::NONE, &stop), Err(Stopped));
}

#[test]
fn blending_goes_from_one_to_the_other() {
    let mut values = [1.0, f32::NAN, -2.0];
    blend(&mut values, &[3.0, f32::NAN, 0.0], 0.25);
    assert_eq!(values[0], 1.5);
    assert!(values[1].is_nan());
    assert_eq!(values[2], -1.5);
}
