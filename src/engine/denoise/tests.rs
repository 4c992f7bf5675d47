use super::*;
use ndarray::Array2;

fn quiet(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

// Gaussian noise, the same each time (a linear congruence, summed).
fn noise(count: usize) -> Vec<f32> {
    let mut state = 12_345_u64;
    let mut uniform = move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        ((state >> 40) as f32) / (1 << 24) as f32
    };
    (0..count)
        .map(|_| (0..12).map(|_| uniform()).sum::<f32>() - 6.0)
        .collect()
}

fn plane(width: usize, height: usize, value: impl Fn(usize, usize) -> f32) -> Plane {
    Plane::new(Array2::from_shape_fn((height, width), |(y, x)| value(x, y)))
}

fn rms(plane: &Plane, truth: impl Fn(usize, usize) -> f32) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for ((y, x), value) in plane.values().indexed_iter() {
        if !value.is_nan() {
            sum += f64::from(value - truth(x, y)).powi(2);
            count += 1.0;
        }
    }
    (sum / count).sqrt()
}

#[test]
fn plain_noise_nearly_goes() {
    let (width, height) = (300, 260);
    let noise = noise(width * height);
    let noisy = plane(width, height, |x, y| 100.0 + 5.0 * noise[y * width + x]);
    let smooth = smoothed(&noisy, &quiet).expect("runs");
    let (before, after) = (rms(&noisy, |_, _| 100.0), rms(&smooth, |_, _| 100.0));
    assert!((before - 5.0).abs() < 0.1);
    assert!(after < 0.12 * before, "{before} became {after}");
}

#[test]
fn correlated_noise_goes_too() {
    let (width, height) = (300, 260);
    let noise = noise((width + 1) * (height + 1));
    // What lies half a pixel between four.
    let at = |x: usize, y: usize| noise[y * (width + 1) + x];
    let noisy = plane(width, height, |x, y| {
        100.0 + 2.5 * (at(x, y) + at(x + 1, y) + at(x, y + 1) + at(x + 1, y + 1))
    });
    let smooth = smoothed(&noisy, &quiet).expect("runs");
    let (before, after) = (rms(&noisy, |_, _| 100.0), rms(&smooth, |_, _| 100.0));
    assert!(after < 0.25 * before, "{before} became {after}");
}

#[test]
fn gaps_stay_gaps_and_harm_nobody() {
    let (width, height) = (200, 150);
    let noise = noise(width * height);
    let gap = |x: usize, y: usize| x < 20 || y % 50 == 7 || (x * y) % 997 == 3;
    let noisy = plane(width, height, |x, y| match gap(x, y) {
        true => f32::NAN,
        false => 1000.0 + noise[y * width + x],
    });
    let smooth = smoothed(&noisy, &quiet).expect("runs");
    for ((y, x), value) in smooth.values().indexed_iter() {
        assert_eq!(value.is_nan(), gap(x, y), "{x} {y}");
    }
    assert!(rms(&smooth, |_, _| 1000.0) < 0.3);
}

#[test]
fn what_has_no_noise_or_no_room_stays() {
    for (width, height) in [(1, 1), (3, 200), (64, 64)] {
        let flat = plane(width, height, |_, _| 7.5);
        assert_eq!(smoothed(&flat, &quiet).expect("runs"), flat);
        let empty = plane(width, height, |_, _| f32::NAN);
        let still = smoothed(&empty, &quiet).expect("runs");
        assert!(still.values().iter().all(|value| value.is_nan()));
    }
}

#[test]
fn any_number_of_threads_gives_the_same_bits() {
    let (width, height) = (333, 257);
    let noise = noise(width * height);
    let noisy = plane(width, height, |x, y| (x + y) as f32 + noise[y * width + x]);
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("threads");
        let smooth = pool.install(|| smoothed(&noisy, &quiet)).expect("runs");
        let bits: Vec<u32> = smooth
            .values()
            .iter()
            .map(|value| value.to_bits())
            .collect();
        bits
    };
    let one = run(1);
    assert!(run(2) == one && run(3) == one);
}

#[test]
fn it_can_be_stopped() {
    let noise = noise(100 * 100);
    let noisy = plane(100, 100, |x, y| noise[y * 100 + x]);
    let stop = |done: usize, _| match done {
        3 => ControlFlow::Break(()),
        _ => ControlFlow::Continue(()),
    };
    assert_eq!(smoothed(&noisy, &stop), Err(Stopped));
}

#[test]
fn blending_is_a_share_of_the_way() {
    let mut values = [1.0, 2.0, f32::NAN];
    blend(&mut values, &[3.0, 2.0, f32::NAN], 0.25);
    assert_eq!(values[..2], [1.5, 2.0]);
    assert!(values[2].is_nan());
}
