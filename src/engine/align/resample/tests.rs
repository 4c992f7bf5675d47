use ndarray::Array2;
use proptest::prelude::*;

use super::*;
use crate::engine::align::transform::{Correction, Map};
use crate::engine::frame::Plane;

const MEMORY: NonZeroUsize = NonZeroUsize::new(64 << 20).expect("not 0");

fn plane(width: usize, height: usize, value: impl Fn(f64, f64) -> f64) -> Arc<Plane> {
    Arc::new(Plane::new(Array2::from_shape_fn(
        (height, width),
        |(y, x)| value(x as f64, y as f64) as f32,
    )))
}

fn noise(width: usize, height: usize, seed: u64) -> Array2<f32> {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    Array2::from_shape_simple_fn((height, width), || {
        let total: f64 = (0..12)
            .map(|_| {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                (state >> 11) as f64 / (1_u64 << 53) as f64
            })
            .sum();
        (total - 6.0) as f32
    })
}

fn size(width: usize, height: usize) -> Size {
    Size { width, height }
}

fn matrix(matrix: [[f64; 3]; 2]) -> Transform {
    Transform::from_matrix([matrix[0], matrix[1], [0.0, 0.0, 1.0]]).expect("regular")
}

fn shift(x: f64, y: f64) -> Transform {
    matrix([[1.0, 0.0, x], [0.0, 1.0, y]])
}

// A turn about (x, y).
fn turn(degrees: f64, x: f64, y: f64) -> Transform {
    let (sin, cos) = (
        libm::sin(degrees.to_radians()),
        libm::cos(degrees.to_radians()),
    );
    matrix([
        [cos, -sin, x - cos * x + sin * y],
        [sin, cos, y - sin * x - cos * y],
    ])
}

fn whole(
    source: Arc<dyn Rows>,
    transform: &Transform,
    size: Size,
    noise: Option<f32>,
) -> Array2<f32> {
    let aligned = Aligned::new(source, transform, size, noise, MEMORY);
    Plane::from_rows(&aligned).expect("reads").values().clone()
}

fn bits(values: &Array2<f32>) -> Vec<u32> {
    values
        .iter()
        .map(|value| {
            if value.is_nan() {
                0x7fc0_0000
            } else {
                value.to_bits()
            }
        })
        .collect()
}

// The result at the reference's (x, y).
fn at(values: &Array2<f32>, x: usize, y: usize) -> f32 {
    values[(y, x)]
}

fn speckled(width: usize, height: usize) -> Array2<f32> {
    let mut values = noise(width, height, 3);
    values[(0, 0)] = -0.0;
    values[(height / 2, width / 3)] = f32::NAN;
    values[(height / 2, width / 3 + 1)] = 3e38;
    values
}

#[test]
fn whole_pixel_maps_copy_bits() {
    let (width, height) = (150, 131);
    let values = speckled(width, height);
    let source: Arc<Plane> = Arc::new(Plane::new(values.clone()));
    let (w, h) = (width as f64 - 1.0, height as f64 - 1.0);
    type Origin = fn(i64, i64) -> (i64, i64);
    let cases: [(Transform, Origin); 7] = [
        (shift(0.0, 0.0), |x, y| (x, y)),
        (shift(7.0, -12.0), |x, y| (x - 7, y + 12)),
        (matrix([[-1.0, 0.0, w], [0.0, -1.0, h]]), |x, y| {
            (149 - x, 130 - y)
        }),
        (matrix([[-1.0, 0.0, w], [0.0, 1.0, 0.0]]), |x, y| {
            (149 - x, y)
        }),
        (matrix([[0.0, -1.0, h], [1.0, 0.0, 0.0]]), |x, y| {
            (y, 130 - x)
        }),
        (matrix([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0]]), |x, y| (y, x)),
        // What fitting leaves of a half turn.
        (
            matrix([[-1.0 + 3e-11, 2e-12, w + 1e-8], [-1e-12, -1.0, h]]),
            |x, y| (149 - x, 130 - y),
        ),
    ];
    for (index, (transform, origin)) in cases.iter().enumerate() {
        let result = whole(source.clone(), transform, size(160, 170), Some(1.0));
        for ((y, x), value) in result.indexed_iter() {
            let (from_x, from_y) = origin(x as i64, y as i64);
            let inside = (0..150).contains(&from_x) && (0..131).contains(&from_y);
            let expected = if inside {
                values[(from_y as usize, from_x as usize)]
            } else {
                f32::NAN
            };
            assert!(
                value.to_bits() == expected.to_bits() || value.is_nan() && expected.is_nan(),
                "case {index} at {x} {y}: {value} {expected}"
            );
        }
    }
}

// Transforms of every kind: straight, turned, steep, upside down, bent, shrinking.
fn kinds() -> Vec<Transform> {
    let mut bent = turn(12.0, 100.0, 80.0);
    bent.to_source = Map {
        matrix: [[1.0, 0.1, -5.0], [-0.1, 1.0, 9.0], [1e-4, -5e-5, 1.0]],
        correction: Some(Correction {
            center: [100.0, 80.0],
            scale: 100.0,
            x: [2.0, -1.0, 0.5, 1.0, 0.3, -0.4, 1.5],
            y: [-1.0, 2.0, 0.7, -1.2, 0.1, 0.6, 0.5],
        }),
    };
    vec![
        shift(0.37, -3.81),
        matrix([[1.7, 0.0, 3.0], [0.0, -0.9, 150.0]]),
        matrix([[0.31, 0.0, 3.0], [0.0, 0.4, 2.0]]),
        turn(3.0, 100.0, 80.0),
        turn(91.0, 100.0, 80.0),
        turn(178.5, 100.0, 80.0),
        matrix([[0.3, -0.2, 40.0], [0.2, 0.3, 10.0]]),
        bent,
    ]
}

#[test]
fn any_division_threads_and_memory_give_the_same_bits() {
    let mut values = noise(210, 190, 5);
    for i in 0..40 {
        values[((i * 31) % 190, (i * 57) % 210)] = 900.0 * i as f32;
        values[((i * 17) % 190, (i * 91) % 210)] = f32::NAN;
    }
    let source: Arc<Plane> = Arc::new(Plane::new(values));
    for transform in kinds() {
        let to = size(201, 183);
        let expected = bits(&whole(source.clone(), &transform, to, Some(1.0)));
        assert!(expected.iter().filter(|bits| **bits != 0x7fc0_0000).count() > 2000);
        for (rows, memory, threads) in [(1, 1, 1), (37, 150_000, 3), (183, 400_000, 2)] {
            let memory = NonZeroUsize::new(memory).expect("not 0");
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .expect("threads");
            let aligned = Aligned::new(source.clone(), &transform, to, Some(1.0), memory);
            let mut result = Array2::zeros((183, 201));
            pool.install(|| {
                for (index, band) in result
                    .as_slice_mut()
                    .expect("contiguous")
                    .chunks_mut(201 * rows)
                    .enumerate()
                {
                    aligned.read(index * rows, band).expect("reads");
                }
            });
            assert_eq!(bits(&result), expected, "{transform:?} {rows} {memory}");
        }
    }
}

// Counts how often a source is gone back in.
struct Watched {
    plane: Arc<Plane>,
    next: Mutex<(usize, usize, usize)>,
}

impl Rows for Watched {
    fn size(&self) -> Size {
        self.plane.size()
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let rows = out.len() / self.size().width;
        let mut next = self.next.lock().expect("no panic");
        if first_row < next.0 {
            next.1 += 1;
        }
        next.0 = first_row + rows;
        next.2 = next.2.max(rows);
        self.plane.read(first_row, out)
    }
}

#[test]
fn sources_are_read_from_the_top_within_memory() {
    // A quarter of the source fits.
    let (side, memory) = (512, 2 * 512 * 512);
    let plane = plane(side, side, |x, y| x + y);
    for (transform, most_starts) in [
        (turn(3.0, 256.0, 256.0), 0),
        (turn(180.0, 255.7, 255.7), 4),
        (turn(92.0, 256.0, 256.0), 4),
    ] {
        let source = Arc::new(Watched {
            plane: plane.clone(),
            next: Mutex::new((0, 0, 0)),
        });
        let memory = NonZeroUsize::new(memory).expect("not 0");
        let aligned = Aligned::new(source.clone(), &transform, size(side, side), None, memory);
        Plane::from_rows(&aligned).expect("reads");
        let (_, starts, rows) = *source.next.lock().expect("no panic");
        assert!(starts <= most_starts, "{starts}");
        assert!(rows * side * 4 <= memory.get() / 2, "{rows}");
    }
}

#[test]
fn overlapping_reads_in_one_pool_agree() {
    let source = plane(300, 300, |x, y| x * 0.3 - y);
    let aligned = Aligned::new(
        source,
        &turn(5.0, 150.0, 150.0),
        size(300, 300),
        None,
        MEMORY,
    );
    let one = Plane::from_rows(&aligned).expect("reads");
    let all: Vec<_> = (0..8)
        .into_par_iter()
        .map(|_| Plane::from_rows(&aligned).expect("reads"))
        .collect();
    for other in all {
        assert_eq!(bits(other.values()), bits(one.values()));
    }
}

// Plane waves up to 0.2 cycles a pixel.
fn waves(x: f64, y: f64) -> f64 {
    100.0
        + 7.0 * libm::sin(1.1 * x + 0.3 * y)
        + 5.0 * libm::cos(0.5 * x - 1.0 * y + 1.0)
        + 9.0 * libm::sin(0.2 * x + 0.7 * y)
}

#[test]
fn band_limited_fields_come_through_every_map() {
    for (degrees, bound) in [(0.0, 0.4), (3.0, 0.4), (47.0, 0.4), (181.3, 0.4)] {
        let mut transform = turn(degrees, 150.0, 140.0);
        transform = Transform::from_matrix({
            let mut moved = transform.to_reference.matrix;
            moved[0][2] += 0.43;
            moved[1][2] -= 0.27;
            moved
        })
        .expect("regular");
        let source = plane(300, 280, waves);
        let there = whole(source, &transform, size(300, 280), None);
        let mut worst = 0.0_f64;
        for ((y, x), value) in there.indexed_iter() {
            let [sx, sy] = transform.to_source.apply([x as f64, y as f64]);
            if !(4.0..294.0).contains(&sx) || !(4.0..274.0).contains(&sy) {
                continue;
            }
            worst = worst.max((f64::from(*value) - waves(sx, sy)).abs());
        }
        eprintln!("turned by {degrees}: {worst:.4} of 21");
        assert!(worst < bound, "{degrees}: {worst}");
        let back = Transform {
            to_reference: transform.to_source.clone(),
            to_source: transform.to_reference.clone(),
        };
        let again = whole(Arc::new(Plane::new(there)), &back, size(300, 280), None);
        let mut worst = 0.0_f64;
        for y in 100..180 {
            for x in 100..200 {
                let difference = f64::from(at(&again, x, y)) - waves(x as f64, y as f64);
                worst = worst.max(difference.abs());
            }
        }
        eprintln!("and back: {worst:.4} of 21");
        assert!(worst < 2.0 * bound, "{degrees} and back: {worst}");
    }
}

#[test]
fn shrinking_averages_the_footprint() {
    // A field too fine for the result goes to its mean; a slow one stays.
    for matrix_of in [
        [[0.25, 0.0, 0.3], [0.0, 0.25, 0.1]],
        [[0.2, -0.15, 60.0], [0.15, 0.2, 4.0]],
    ] {
        let transform = matrix(matrix_of);
        let slow = |x: f64, y: f64| 50.0 + 10.0 * libm::sin(x / 40.0) + 0.02 * y;
        let fine = |x: f64, y: f64| 20.0 * libm::sin(2.5 * x) * libm::cos(2.9 * y);
        let source = plane(400, 400, |x, y| slow(x, y) + fine(x, y));
        let result = whole(source, &transform, size(110, 110), Some(0.01));
        let mut count = 0;
        for ((y, x), value) in result.indexed_iter() {
            let [sx, sy] = transform.to_source.apply([x as f64, y as f64]);
            if (20.0..380.0).contains(&sx) && (20.0..380.0).contains(&sy) {
                let difference = f64::from(*value) - slow(sx, sy);
                assert!(difference.abs() < 0.1, "{x} {y}: {difference}");
                count += 1;
            }
        }
        assert!(count > 5000, "{count}");
    }
}

#[test]
fn constants_stay_constant_around_holes() {
    for value in [1.0_f32, 31_234.567, -2e-5] {
        let mut values = Array2::from_elem((200, 220), value);
        for i in 0..30 {
            values[((i * 67) % 200, (i * 41) % 220)] = f32::NAN;
        }
        values
            .slice_mut(ndarray::s![80..110, 90..130])
            .fill(f32::NAN);
        let source: Arc<Plane> = Arc::new(Plane::new(values));
        for transform in kinds() {
            for noise in [None, Some(0.0), Some(value.abs())] {
                let result = whole(source.clone(), &transform, size(200, 180), noise);
                for pixel in result.iter().filter(|pixel| !pixel.is_nan()) {
                    let off = f64::from((pixel - value) / value).abs();
                    assert!(off < 1e-6, "{pixel} {value} {transform:?}");
                }
            }
        }
    }
}

#[test]
fn holes_neither_grow_nor_close() {
    let mut values = Array2::from_elem((120, 120), 1.0);
    values.slice_mut(ndarray::s![40..60, 50..80]).fill(f32::NAN);
    let transform = turn(20.0, 60.0, 60.0);
    let result = whole(
        Arc::new(Plane::new(values)),
        &transform,
        size(120, 120),
        Some(0.1),
    );
    for ((y, x), value) in result.indexed_iter() {
        let [sx, sy] = transform.to_source.apply([x as f64, y as f64]);
        // How far inside the hole (positive) or outside of it; the hole ends
        // half a pixel beyond its outermost centres.
        let depth = |s: f64, low: f64, high: f64| (s - low).min(high - s);
        let hole = depth(sx, 49.5, 79.5).min(depth(sy, 39.5, 59.5));
        let frame = depth(sx, -0.5, 119.5).min(depth(sy, -0.5, 119.5));
        if hole > 0.6 || frame < 0.0 {
            assert!(value.is_nan(), "{x} {y}: {hole} {frame}");
        }
        if hole < -0.6 && frame > 0.6 {
            assert!((*value - 1.0).abs() < 1e-6, "{x} {y}: {hole} {frame}");
        }
    }
}

// A round Gaussian star on nothing.
fn star(x: f64, y: f64, fwhm: f64, peak: f64) -> impl Fn(f64, f64) -> f64 {
    let sigma = fwhm / 2.354_82;
    move |px, py| {
        let square = (px - x) * (px - x) + (py - y) * (py - y);
        peak * libm::exp(-square / (2.0 * sigma * sigma))
    }
}

#[test]
fn star_fluxes_are_kept() {
    for fwhm in [2.0, 2.5, 3.0, 5.0] {
        let mut worst = 0.0_f64;
        for (dx, dy) in [(0.5, 0.5), (0.25, -0.4), (0.5, 0.0)] {
            let source = plane(64, 64, star(31.2, 32.4, fwhm, 10_000.0));
            let before: f64 = source.values().iter().map(|v| f64::from(*v)).sum();
            for noise in [None, Some(5.0)] {
                let moved = whole(source.clone(), &shift(dx, dy), size(64, 64), noise);
                let after: f64 = moved
                    .iter()
                    .filter(|v| !v.is_nan())
                    .map(|v| f64::from(*v))
                    .sum();
                let off = after / before - 1.0;
                // Stars too sharp for their pixels gain what their rings took.
                let bound = if fwhm < 2.5 && noise.is_some() {
                    0.02
                } else {
                    0.005
                };
                assert!(off.abs() < bound, "{fwhm} {dx} {dy} {noise:?}: {off}");
                worst = worst.max(off.abs());
            }
        }
        eprintln!("FWHM {fwhm} px: flux off by {worst:.1e}");
    }
    // Surface brightness: flux goes with the area.
    // A star that is 1.8 px wide in the result again gains what rings took.
    for (scale, noise, bound) in [
        (0.3, None, 0.005),
        (0.3, Some(5.0), 0.025),
        (0.6, Some(5.0), 0.005),
        (1.9, Some(5.0), 0.005),
    ] {
        let source = plane(200, 200, star(100.0, 100.0, 6.0, 10_000.0));
        let before: f64 = source.values().iter().map(|v| f64::from(*v)).sum();
        let transform = matrix([[scale, 0.0, 0.2], [0.0, scale, 0.3]]);
        let side = (200.0 * scale) as usize;
        let result = whole(source, &transform, size(side, side), noise);
        let after: f64 = result
            .iter()
            .filter(|v| !v.is_nan())
            .map(|v| f64::from(*v))
            .sum();
        let off = after / before / (scale * scale) - 1.0;
        eprintln!("scale {scale}, {noise:?}: flux off by {off:.1e}");
        assert!(off.abs() < bound, "{scale}: {off}");
    }
}

#[test]
fn saturated_stars_leave_no_rings() {
    // Flat tops on noisy sky: the hardest edges there are.
    let (side, sky, sigma) = (400, 500.0, 10.0);
    let radii = [0.7, 1.5, 3.0, 6.5];
    let stars: Vec<(f64, f64, f64)> = (0..64)
        .map(|i| {
            let (column, row) = (f64::from(i % 8), f64::from(i / 8));
            let radius = radii[(i % 4) as usize];
            (25.3 + 49.7 * column, 24.8 + 49.3 * row, radius)
        })
        .collect();
    let grain = noise(side, side, 11);
    let values = Array2::from_shape_fn((side, side), |(y, x)| {
        let near = |(sx, sy, radius): &(f64, f64, f64)| {
            let (dx, dy) = (x as f64 - sx, y as f64 - sy);
            dx * dx + dy * dy < radius * radius
        };
        let light = if stars.iter().any(near) {
            60_000.0
        } else {
            sky
        };
        (light + sigma * f64::from(grain[(y, x)])) as f32
    });
    let source: Arc<Plane> = Arc::new(Plane::new(values));
    for transform in [shift(0.5, 0.5), shift(0.31, -0.18), turn(7.0, 200.0, 200.0)] {
        let result = whole(
            source.clone(),
            &transform,
            size(side, side),
            Some(sigma as f32),
        );
        let ringing = whole(source.clone(), &transform, size(side, side), None);
        // Mean of the sky from where taps begin to be sky alone to 4 px out.
        let mean = |values: &Array2<f32>| {
            let (mut sum, mut count, mut lowest) = (0.0, 0, f64::INFINITY);
            for ((y, x), value) in values.indexed_iter() {
                let [px, py] = transform.to_source.apply([x as f64, y as f64]);
                let ring = stars.iter().any(|(sx, sy, radius)| {
                    let distance = ((px - sx) * (px - sx) + (py - sy) * (py - sy)).sqrt();
                    (radius + 1.5..radius + 4.0).contains(&distance)
                });
                if ring && !value.is_nan() {
                    sum += f64::from(*value) - sky;
                    count += 1;
                    lowest = lowest.min(f64::from(*value) - sky);
                }
            }
            (sum / f64::from(count) / sigma, lowest / sigma)
        };
        let (depth, lowest) = mean(&result);
        eprintln!("mean of the rings {depth:.4}, lowest {lowest:.2} sigma");
        assert!(depth.abs() < 0.1, "mean of the rings: {depth} sigma");
        assert!(lowest > -4.5, "{lowest} sigma");
        let (_, lowest) = mean(&ringing);
        assert!(lowest < -100.0, "the plain kernel rings: {lowest} sigma");
    }
}

#[test]
fn faint_stars_leave_no_rings_either() {
    // Tops from 5 to 100 sigma: between noise and what is plainly a star.
    let side = 600;
    for top in [5.0, 8.0, 12.0, 20.0, 40.0, 100.0] {
        let grain = noise(side, side, top as u64);
        let values = Array2::from_shape_fn((side, side), |(y, x)| {
            let block = (2..4).contains(&(x % 12)) && (2..4).contains(&(y % 12));
            grain[(y, x)] + if block { top as f32 } else { 0.0 }
        });
        let transform = shift(0.5, 0.5);
        let result = whole(
            Arc::new(Plane::new(values)),
            &transform,
            size(side, side),
            Some(1.0),
        );
        // By place in the 12 x 12 pattern: the mean over 2500 of them.
        let mut deepest = 0.0_f64;
        for j in 0..12 {
            for i in 0..12 {
                let (mut sum, mut count) = (0.0, 0);
                for y in (12 + j..side - 12).step_by(12) {
                    for x in (12 + i..side - 12).step_by(12) {
                        sum += f64::from(at(&result, x, y));
                        count += 1;
                    }
                }
                deepest = deepest.min(sum / f64::from(count));
            }
        }
        eprintln!("top {top} sigma: deepest mean {deepest:.3} sigma");
        assert!(deepest > -0.9, "top {top} sigma: {deepest}");
    }
}

#[test]
fn noise_is_not_biased() {
    let values = noise(700, 700, 21);
    let before = values.mean().expect("not empty");
    for (dx, dy) in [(0.5, 0.5), (0.25, 0.4)] {
        let source: Arc<Plane> = Arc::new(Plane::new(values.clone()));
        let plain = whole(source.clone(), &shift(dx, dy), size(700, 700), None);
        let limited = whole(source, &shift(dx, dy), size(700, 700), Some(1.0));
        let inner = |values: &Array2<f32>| {
            let inner = values.slice(ndarray::s![5..695, 5..695]);
            inner.iter().map(|value| f64::from(*value)).sum::<f64>() / inner.len() as f64
        };
        assert!((inner(&limited) - inner(&plain)).abs() < 1e-4);
        assert!((inner(&limited) - f64::from(before)).abs() < 5e-3);
    }
}

#[test]
fn maps_that_lead_nowhere_give_no_data() {
    let source = plane(50, 50, |x, y| x + y);
    let to = size(70, 80);
    let mut lost = shift(0.0, 0.0);
    lost.to_source = Map::projective([[f64::NAN; 3]; 3]);
    let mut beyond = shift(0.0, 0.0);
    // The horizon runs through the picture.
    beyond.to_source = Map::projective([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.02, 0.0, -1.0]]);
    for transform in [
        lost,
        shift(1e6, 0.0),
        shift(0.5, -1e300),
        beyond,
        turn(1.0, 1e9, -1e9),
    ] {
        let aligned = Aligned::new(source.clone(), &transform, to, Some(1.0), MEMORY);
        let mut out = vec![0.0; to.pixels()];
        if aligned.read(0, &mut out).is_ok() {
            assert!(
                out.iter()
                    .all(|value| value.is_nan() || (-20.0..120.0).contains(value))
            );
        }
    }
    let tiny = plane(1, 1, |_, _| 7.0);
    let result = whole(tiny, &shift(0.2, 0.1), size(3, 2), Some(1.0));
    assert_eq!(at(&result, 0, 0), 7.0);
    assert!(at(&result, 2, 1).is_nan());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn results_stay_near_their_taps(
        angle in 0.0..360.0_f64, scale in 0.2..3.0_f64, x in -30.0..30.0_f64,
        y in -30.0..30.0_f64, seed in 1_u64..1000,
    ) {
        let values = noise(90, 80, seed).mapv(|value| 1000.0 + value);
        let (low, high) = values.iter().fold((f32::MAX, f32::MIN), |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
        let mut transform = turn(angle, 45.0, 40.0).to_reference.matrix;
        for row in &mut transform[..2] {
            for entry in row.iter_mut() {
                *entry *= scale;
            }
        }
        transform[0][2] += x;
        transform[1][2] += y;
        let transform = Transform::from_matrix(transform).expect("regular");
        let result = whole(Arc::new(Plane::new(values)), &transform, size(100, 70), Some(1.0));
        for ((y, x), value) in result.indexed_iter() {
            let [sx, sy] = transform.to_source.apply([x as f64, y as f64]);
            let edge = (sx + 0.5).min(89.5 - sx).min(sy + 0.5).min(79.5 - sy);
            prop_assert!(edge >= 0.0 || value.is_nan());
            prop_assert!(edge <= 3.5 * scale.recip().max(1.0) || !value.is_nan());
            prop_assert!(value.is_nan() || (*value > low - 3.0 && *value < high + 3.0));
        }
    }
}
