//! What one frame costs the window's own thread: layout and shapes of the whole
//! window, at 1920 x 1080, while the picture is panned, a hue is dragged, or
//! nothing happens. Pixels are drawn on another thread meanwhile.

use egui_kittest::Harness;
use linehue::engine::recipe::ColorValue;
use linehue::gui::app::{App, Opening};
use linehue::gui::state::Place;
use linehue::gui::theme::{self, Theme};
use linehue::work::desk::Worker;

fn main() {
    divan::main();
}

fn window() -> Harness<'static, App> {
    let recipe = "sample-stacks/lantern/lantern.toml".into();
    let mut harness = Harness::builder()
        .with_size([1920.0, 1080.0])
        .with_context_setup(|context| theme::set_up(context, Theme::Dark))
        .build_eframe(move |_| App::new(Worker::spawn(|| ()), Opening::Files(vec![recipe])));
    // Until all channels are in memory.
    while harness.state().state.layers.len() < 3 {
        harness.step();
    }
    harness.run_steps(4);
    harness
}

#[divan::bench(sample_count = 200)]
fn idle(bencher: divan::Bencher<'_, '_>) {
    let mut harness = window();
    bencher.bench_local(|| harness.step());
}

#[divan::bench(sample_count = 200)]
fn pan(bencher: divan::Bencher<'_, '_>) {
    let mut harness = window();
    let mut x = 300.0;
    bencher.bench_local(|| {
        x = if x > 500.0 { 300.0 } else { x + 7.0 };
        harness.state_mut().state.view.place = Some(Place {
            middle: [x, 300.0],
            zoom: 2.0,
        });
        harness.step();
    });
}

#[divan::bench(sample_count = 200)]
fn hue(bencher: divan::Bencher<'_, '_>) {
    let mut harness = window();
    let mut hue = 0.0;
    bencher.bench_local(|| {
        hue = (hue + 3.0) % 360.0;
        let state = &mut harness.state_mut().state;
        let recipe = state.with_rendition(|rendition| {
            if let Some(color) = rendition.colors.get_mut("ha") {
                *color = ColorValue::Hue {
                    hue,
                    saturation: 1.0,
                    strength: 1.0,
                };
            }
        });
        state.history.propose("Hue", recipe);
        harness.step();
    });
}
