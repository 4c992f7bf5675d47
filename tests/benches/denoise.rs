//! How fast noise is taken away and detail raised.

use std::ops::ControlFlow;

use linehue::engine::denoise::{NoiseModel, Rect, smoothed, smoothed_in};
use linehue::engine::detail::{Settings, brought_out};
use linehue::engine::frame::{Plane, Rows, Size};

fn main() {
    divan::main();
}

fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

fn field(width: usize, height: usize) -> Plane {
    let mut state = 9u64;
    let values = (0..width * height)
        .map(|at| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            let noise = (state >> 40) as f32 / (1u64 << 24) as f32;
            300.0 + 20.0 * noise + (at % width) as f32 * 0.01
        })
        .collect();
    Plane::from_vec(Size { width, height }, values).expect("not empty")
}

#[divan::bench(sample_count = 5)]
fn measure_26_mpx(bencher: divan::Bencher<'_, '_>) {
    let plane = field(6248, 4176);
    bencher.bench_local(|| NoiseModel::measure(&plane));
}

#[divan::bench(sample_count = 5)]
fn smooth_26_mpx(bencher: divan::Bencher<'_, '_>) {
    let plane = field(6248, 4176);
    let model = NoiseModel::measure(&plane);
    bencher.bench_local(|| smoothed(&plane, &model, &go_on));
}

#[divan::bench(sample_count = 20)]
fn smooth_a_window(bencher: divan::Bencher<'_, '_>) {
    let plane = field(3000, 2000);
    let model = NoiseModel::measure(&plane);
    let size = Size {
        width: 1320,
        height: 760,
    };
    let window = Rect {
        x: 700,
        y: 500,
        size,
    };
    bencher.bench_local(|| smoothed_in(&plane, &model, window, &go_on));
}

#[divan::bench(sample_count = 20)]
fn detail_a_window(bencher: divan::Bencher<'_, '_>) {
    let plane = field(1320, 760);
    let values: Vec<f32> = plane.values().iter().map(|v| v / 400.0).collect();
    let settings = Settings::new(1.0, 1.0);
    bencher.bench_local(|| brought_out(&values, plane.size(), &settings));
}
