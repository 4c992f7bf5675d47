//! How fast stars are found.

#[path = "../stars/scene.rs"]
#[expect(dead_code, reason = "the bench needs only a part of it")]
mod scene;

use std::ops::ControlFlow;

use divan::counter::ItemsCount;
use linehue::engine::align::stars::{FindLimits, find};
use linehue::engine::frame::Plane;
use scene::Scene;

fn main() {
    divan::main();
}

fn field(width: usize, height: usize, fwhm_px: f64) -> Plane {
    let mut scene = Scene::new(width, height, fwhm_px, 7);
    scene.nebula = 20.0;
    scene.scatter(width * height / 10_000, 6.0, 2000.0);
    scene.plane()
}

/// Pixels a second; the argument is the stars' width, px.
#[divan::bench(args = [1.5, 3.0, 6.0, 12.0], sample_count = 5)]
fn full_frame(bencher: divan::Bencher<'_, '_>, fwhm_px: f64) {
    let plane = field(6248, 4176, fwhm_px);
    let go_on = |_: usize, _: usize| ControlFlow::Continue(());
    bencher
        .counter(ItemsCount::new(6248_usize * 4176))
        .bench(|| find(&plane, None, &FindLimits::default(), &go_on));
}
