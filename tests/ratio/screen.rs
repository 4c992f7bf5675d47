//! What the window shows of a ratio is what the command writes.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use linehue::engine::color::space::Space;
use linehue::engine::color::vision::Vision;
use linehue::engine::frame::Size;
use linehue::engine::ratio::paint::UNKNOWN;
use linehue::engine::recipe::{Ratio, Recipe, Scale, text};
use linehue::work::desk::{Event, Job, Layer, Worker};
use linehue::work::preview::probe::{Over, probe};
use linehue::work::preview::{Grid, Preview, Request, Show};

use super::full::{self, IN_HA, IN_SII, spot};
use super::stacks::{Bench, HEIGHT, WIDTH};

// The recipe and its layers, as the window has them.
fn desk(bench: &Bench) -> (Recipe, Vec<Option<Arc<Layer>>>) {
    let written = std::fs::read_to_string(bench.at("own.toml")).expect("there");
    let recipe = text::parse(&written, "own.toml").expect("sound");
    let mut worker = Worker::inline();
    worker.ask(Job::Open {
        paths: vec![bench.at("own.toml")],
        onto: None,
        lines: Vec::new(),
    });
    let mut layers = vec![None; recipe.channels.len()];
    for event in worker.events() {
        if let Event::Layer { channel, layer, .. } = event {
            let index = recipe.channels.iter().position(|own| own.id == channel);
            layers[index.expect("a channel of the recipe")] = Some(layer);
        }
    }
    (recipe, layers)
}

// Where the window knows a ratio, in output pixels of `step` pixels.
fn shown(recipe: &Recipe, layers: &[Option<Arc<Layer>>], step: usize) -> Vec<bool> {
    let request = Request {
        recipe: Arc::new(recipe.clone()),
        unhidden: None,
        layers: layers.to_vec(),
        show: Show::Ratio(Ratio {
            id: "shock".to_owned(),
            over: "sii".to_owned(),
            under: "ha".to_owned(),
            min_snr: 3.0,
            bin: 1,
            scale: Scale::Linear,
            range: None,
        }),
        grid: Grid {
            corner: [0.0, 0.0],
            step: step as f64,
            size: Size {
                width: WIDTH.div_ceil(step),
                height: HEIGHT.div_ceil(step),
            },
        },
        space: Space::Srgb,
        vision: Vision::Usual,
        marks: false,
    };
    let picture = Preview::default()
        .draw(&request, &AtomicBool::new(false))
        .expect("drawn");
    let codes = picture.rgba.chunks_exact(4);
    codes.map(|code| code[..3] != UNKNOWN).collect()
}

/// Protects that at full size the window has a ratio just where the command
/// writes one, and that in small and under the probe no full pixel has one
/// either: of lines as they stand, with their skies evened, resampled, and with
/// continuum taken out.
#[test]
fn the_window_knows_a_ratio_where_the_command_does() {
    let level = "level = { degree = 1, zero = true }";
    let moved = "align = { method = \"given\", matrix = [[1, 0, 0.5], [0, 1, 0.3], [0, 0, 1]] }";
    let taken = "continuum = { from = \"r\", scale = 0.05 }";
    for (sii, ha) in [("", ""), (level, level), (moved, ""), (taken, level)] {
        let bench = Bench::new();
        let map = full::map(&bench, sii, ha);
        let (recipe, layers) = desk(&bench);
        let one = shown(&recipe, &layers, 1);
        let apart = (map.iter().zip(&one)).filter(|(ratio, shown)| ratio.is_finite() != **shown);
        assert_eq!(apart.count(), 0, "{sii} {ha}");
        assert!(
            one.iter().filter(|shown| **shown).count() > 1000,
            "{sii} {ha}"
        );

        let five = shown(&recipe, &layers, 5);
        for [x, y] in [IN_HA, IN_SII].into_iter().flat_map(spot) {
            let shown = five[y / 5 * WIDTH.div_ceil(5) + x / 5];
            assert!(!shown, "{sii} {ha}: {x}, {y} in small");
        }
        let known = |place, over| {
            let read = probe(&recipe, &layers, "mapped", place, over).expect("inside");
            read.ratios.iter().any(|ratio| ratio.upper == "SII")
        };
        for [x, y] in [IN_HA, IN_SII].into_iter().flat_map(spot) {
            assert!(!known([x, y], Over::Pixel), "{sii} {ha}: {x}, {y}");
        }
        let [x, y] = IN_HA;
        assert!(known([x + 2, y], Over::Pixel), "{sii} {ha}");
        // A mean of 3 x 3 pixels reaches the spot.
        assert!(!known([x + 2, y], Over::Box), "{sii} {ha}");
    }
}
