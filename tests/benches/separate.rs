//! How fast stars and nebula come apart: a frame of 26 megapixels, and the part
//! of it that a screen shows.

#[path = "../stars/scene.rs"]
#[expect(dead_code, reason = "the bench needs only a part of it")]
mod scene;

use std::ops::ControlFlow;

use divan::Bencher;
use linehue::engine::align::stars::{FindLimits, Stars, find};
use linehue::engine::frame::Plane;
use linehue::engine::separate::{Settings, Together, Window, measure, stars_apart};
use scene::Scene;

fn main() {
    divan::main();
}

fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

fn field(count: usize) -> (Plane, Stars) {
    let mut scene = Scene::new(6248, 4176, 3.0, 7);
    scene.nebula = 20.0;
    scene.scatter(count, 6.0, 2000.0);
    let plane = scene.plane();
    let stars = find(&plane, None, &FindLimits::default(), &go_on).expect("not stopped");
    (plane, stars)
}

/// The argument is the number of stars.
#[divan::bench(args = [3_000, 20_000], sample_count = 3)]
fn full_frame(bencher: Bencher<'_, '_>, count: usize) {
    let (plane, stars) = field(count);
    let settings = Settings::of(&stars);
    bencher.bench(|| stars_apart(&plane, &stars.stars, &settings, &go_on));
}

/// Two channels that tell each other: what comes out is for both.
#[divan::bench(args = [3_000, 20_000], sample_count = 3)]
fn two_channels(bencher: Bencher<'_, '_>, count: usize) {
    let (plane, stars) = field(count);
    let settings = Settings::of(&stars);
    bencher.bench(|| {
        let mut together = Together::default();
        for _ in 0..2 {
            let added = together.add(&plane, &stars.stars, &settings, &go_on);
            added.expect("not stopped");
        }
        let mut apart = || {
            let model = together.model(&plane, &go_on).expect("not stopped");
            let model = model.expect("added");
            model.separate(&plane, model.whole(), &go_on)
        };
        [apart(), apart()]
    });
}

/// A part of 1320 x 760 pixels, with stars and image already measured.
#[divan::bench(args = [3_000, 20_000], sample_count = 10)]
fn screen(bencher: Bencher<'_, '_>, count: usize) {
    let (plane, stars) = field(count);
    let settings = Settings::of(&stars);
    let model = measure(&plane, &stars.stars, &settings, &go_on).expect("not stopped");
    let window = Window {
        left: 2400,
        top: 1700,
        width: 1320,
        height: 760,
    };
    bencher.bench(|| model.separate(&plane, window, &go_on));
}
