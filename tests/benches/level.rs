//! Sky models and their subtraction, on frames like those of real cameras.

use std::ops::ControlFlow;

use divan::Bencher;
use divan::counter::ItemsCount;
use linehue::engine::frame::Plane;
use linehue::engine::level::{SkyModel, model};
use linehue::engine::recipe::Level;
use ndarray::Array2;

/// Width and height, px: 1, 9 and 26 megapixels.
const SIZES: [(usize, usize); 3] = [(1224, 818), (3674, 2450), (6248, 4176)];

/// Rows that a composition takes at a time.
const STEP: usize = 512;

fn main() {
    divan::main();
}

/// A tilted glow, a nebula in the middle, and something like noise.
fn frame((width, height): (usize, usize)) -> Plane {
    Plane::new(Array2::from_shape_fn((height, width), |(y, x)| {
        let (u, v) = (
            x as f32 / width as f32 - 0.5,
            y as f32 / height as f32 - 0.5,
        );
        let nebula = if u * u + v * v < 0.1 { 300.0 } else { 0.0 };
        let dice = (x as u32)
            .wrapping_mul(2_654_435_761)
            .wrapping_add((y as u32).wrapping_mul(2_246_822_519));
        let dice = (dice ^ (dice >> 15)).wrapping_mul(0x85eb_ca77);
        let noise = (dice >> 8) as f32 / 16_777_216.0 - 0.5;
        1000.0 + 150.0 * u - 90.0 * v + nebula + 35.0 * noise
    }))
}

fn levels() -> [(&'static str, Level); 3] {
    let degree = |degree| Level {
        degree: Some(degree),
        ..Level::default()
    };
    let smooth = Level {
        smooth: Some(0.25),
        ..Level::default()
    };
    [
        ("degree 1", degree(1)),
        ("degree 3", degree(3)),
        ("smooth 0.25", smooth),
    ]
}

fn make(plane: &Plane, name: &str) -> SkyModel {
    let (_, level) = levels()
        .into_iter()
        .find(|(known, _)| *known == name)
        .expect("a level of the list");
    model(plane, &level, &mut |_, _| ControlFlow::Continue(())).expect("there is sky")
}

fn cases() -> impl Iterator<Item = String> {
    let sizes = SIZES.into_iter().enumerate();
    sizes.flat_map(|(index, (width, height))| {
        let pixels = width * height / 1_000_000;
        levels().map(move |(name, _)| format!("{index}: {pixels} Mpx, {name}"))
    })
}

fn of(case: &str) -> ((usize, usize), &str) {
    let size = SIZES[usize::from(case.as_bytes()[0] - b'0')];
    (size, case.split_once(", ").expect("a case of the list").1)
}

#[divan::bench(args = cases(), max_time = 3)]
fn sky_model(bencher: Bencher<'_, '_>, case: &str) {
    let (size, level) = of(case);
    let plane = frame(size);
    bencher
        .counter(ItemsCount::new(size.0 * size.1))
        .bench(|| make(&plane, level));
}

#[divan::bench(args = cases(), max_time = 3)]
fn subtract(bencher: Bencher<'_, '_>, case: &str) {
    let (size, level) = of(case);
    let plane = frame(size);
    let sky = make(&plane, level);
    let mut values: Vec<f32> = plane.values().iter().copied().collect();
    bencher
        .counter(ItemsCount::new(size.0 * size.1))
        .bench_local(|| {
            for (index, band) in values.chunks_mut(size.0 * STEP).enumerate() {
                sky.subtract(index * STEP, size.0, band);
            }
        });
}
