//! What the screen shows is what a composite holds.
//!
//! Protects the promise of the preview: at full size the very codes of an
//! export, below it those of an export of that size; marks, other spaces and
//! other eyes by their own definitions.

#[path = "preview/maps.rs"]
mod maps;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use linehue::engine::color::difference::{Lab, ciede2000};
use linehue::engine::color::space::{Space, apply, inverse};
use linehue::engine::color::transfer::{srgb_decode_exact, srgb_encode_exact};
use linehue::engine::color::vision::Vision;
use linehue::engine::frame::{Depth, Plane, Size};
use linehue::engine::measure::Histogram;
use linehue::engine::recipe::{Blend, Gamut, Luminance, Recipe, ShowStars, StarLook, text};
use linehue::io::read::{self, Pick};
use linehue::io::write::Options;
use linehue::work::compose::{self, DEFAULT_MEMORY};
use linehue::work::desk::{Apart, Heights, Layer, Means, Parts, keys};
use linehue::work::preview::{Grid, Picture, Preview, Request, Show, pyramid};
use linehue::work::progress::{Control, Silent};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-stacks/lantern")
}

// The sample's recipe, and the same with other blends, luminance and gamut.
fn recipes() -> Vec<Recipe> {
    let words = std::fs::read_to_string(folder().join("lantern.toml")).expect("the sample");
    let recipe = text::parse(&words, "lantern.toml").expect("sound");
    let change = |change: &dyn Fn(&mut linehue::engine::recipe::Rendition)| {
        let mut recipe = recipe.clone();
        change(&mut recipe.renditions[0]);
        recipe
    };
    vec![
        recipe.clone(),
        change(&|rendition| {
            rendition.blend = Blend::Screen;
            rendition.gamut = Some(Gamut::Clip);
        }),
        change(&|rendition| {
            rendition.blend = Blend::Tone;
            rendition.gamut = None;
            rendition.luminance = Some(Luminance {
                amount: 0.6,
                ..Luminance::of([("ha".to_owned(), 2.0), ("oiii".to_owned(), 1.0)].into())
            });
        }),
    ]
}

fn layer(plane: Plane, key: linehue::work::desk::LayerKey) -> Arc<Layer> {
    Arc::new(Layer {
        key,
        reduced: pyramid(&plane),
        plane: Arc::new(plane),
        header: Arc::default(),
        levels: None,
        histogram: Arc::new(Histogram {
            low: 0.0,
            high: 1.0,
            sky: 0.0,
            unit: 1.0,
            counts: vec![0; Histogram::CELLS],
        }),
        ceiling: None,
        full: None,
        signal_to_noise: None,
        origin: [0, 0],
        exposure_s: None,
        align: None,
        level: None,
        model: None,
        continuum: None,
        parts: Default::default(),
    })
}

fn layers(recipe: &Recipe) -> Vec<Option<Arc<Layer>>> {
    keys(recipe, &folder())
        .into_iter()
        .map(|key| {
            let pick = Pick {
                hdu: None,
                plane: None,
            };
            let opened = read::open(&key.file, pick).expect("opens");
            Some(layer(Plane::from_rows(&*opened.rows).expect("reads"), key))
        })
        .collect()
}

// The samples of a composite, R G B, and its size.
fn composed(
    recipe: &Recipe,
    space: Space,
    depth: Depth,
    long_edge: Option<usize>,
) -> (Vec<f32>, Size) {
    let scratch = tempfile::tempdir().expect("a folder");
    let ending = if depth == Depth::Float32 {
        "tif"
    } else {
        "png"
    };
    let out = scratch.path().join(format!("lantern.{ending}"));
    let request = compose::Request {
        recipe: recipe.clone(),
        folder: folder(),
        rendition: None,
        out: out.clone(),
        space,
        depth: Some(depth),
        options: Options::default(),
        memory: DEFAULT_MEMORY,
        long_edge,
        askable: None,
    };
    let control = Control {
        progress: &Silent,
        cancel: &AtomicBool::new(false),
    };
    compose::run(&request, control).expect("composes");
    let planes: Vec<Vec<f32>> = (0..3)
        .map(|plane| {
            let pick = Pick {
                hdu: None,
                plane: Some(plane),
            };
            let rows = read::open(&out, pick).expect("opens").rows;
            let mut values = vec![0.0; rows.size().pixels()];
            rows.read(0, &mut values).expect("reads");
            values
        })
        .collect();
    let rows = read::open(
        &out,
        Pick {
            hdu: None,
            plane: Some(0),
        },
    )
    .expect("opens")
    .rows;
    let samples = (0..planes[0].len())
        .flat_map(|at| planes.iter().map(move |plane| plane[at]))
        .collect();
    (samples, rows.size())
}

fn control(cancel: &AtomicBool) -> Control<'_> {
    Control {
        progress: &Silent,
        cancel,
    }
}

fn request(recipe: &Recipe, layers: &[Option<Arc<Layer>>], grid: Grid) -> Request {
    Request {
        recipe: Arc::new(recipe.clone()),
        unhidden: None,
        layers: layers.to_vec(),
        show: Show::Rendition(recipe.renditions[0].id.clone()),
        grid,
        space: Space::Srgb,
        vision: Vision::Usual,
        marks: false,
    }
}

fn draw(request: &Request) -> Picture {
    Preview::default()
        .draw(request, &AtomicBool::new(false))
        .expect("drawn")
}

fn grid(x: f64, y: f64, step: f64, width: usize, height: usize) -> Grid {
    Grid {
        corner: [x, y],
        step,
        size: Size { width, height },
    }
}

fn farthest(picture: &Picture, codes: &[f32]) -> f32 {
    assert_eq!(picture.rgba.len() / 4, codes.len() / 3);
    let pixels = picture.rgba.chunks_exact(4).zip(codes.chunks_exact(3));
    pixels
        .flat_map(|(a, b)| (0..3).map(move |part| (f32::from(a[part]) - b[part]).abs()))
        .fold(0.0, f32::max)
}

#[test]
fn full_size_is_an_export_to_the_bit_and_less_within_a_code() {
    for recipe in recipes() {
        let layers = layers(&recipe);
        let (codes, size) = composed(&recipe, Space::Srgb, Depth::Eight, None);
        let whole = grid(0.0, 0.0, 1.0, size.width, size.height);
        let picture = draw(&request(&recipe, &layers, whole));
        assert_eq!(farthest(&picture, &codes), 0.0);
        assert!(picture.rgba.chunks_exact(4).all(|pixel| pixel[3] == 255));

        // A part that reaches beyond the left and lower edges.
        let part = grid(-40.0, 500.0, 1.0, 300, 120);
        let picture = draw(&request(&recipe, &layers, part));
        for (index, pixel) in picture.rgba.chunks_exact(4).enumerate() {
            let (x, y) = (index % 300, index / 300 + 500);
            if x < 40 || y >= size.height {
                assert_eq!(pixel, [0; 4]);
                continue;
            }
            let at = 3 * (y * size.width + x - 40);
            let wanted = codes[at..at + 3].iter().map(|code| *code as u8);
            assert!(pixel[..3].iter().copied().eq(wanted), "{x} {y}");
        }

        for (edge, step) in [(216, 4.0), (360, 2.4)] {
            let (codes, small) = composed(&recipe, Space::Srgb, Depth::Eight, Some(edge));
            let picture = draw(&request(
                &recipe,
                &layers,
                grid(0.0, 0.0, step, small.width, small.height),
            ));
            assert!(farthest(&picture, &codes) <= 1.0, "{edge}");
        }
    }
}

/// Another space is composed in, brought to the screen's and cut off there;
/// then come the reader's eyes.
#[test]
fn other_spaces_and_other_eyes() {
    let recipe = &recipes()[0];
    let layers = layers(recipe);
    for (space, vision) in [
        (Space::DisplayP3, Vision::Usual),
        (Space::Rec2020, Vision::Tritan),
        (Space::Srgb, Vision::Deutan),
    ] {
        let (light, size) = composed(recipe, space, Depth::Float32, Some(288));
        let back = inverse(&space.from_linear_srgb());
        let codes: Vec<f32> = light
            .chunks_exact(3)
            .flat_map(|rgb| {
                let light = apply(&back, [rgb[0], rgb[1], rgb[2]].map(f64::from));
                vision
                    .see(light)
                    .map(|part| (255.0 * srgb_encode_exact(part)).round() as f32)
            })
            .collect();
        let mut request = request(
            recipe,
            &layers,
            grid(0.0, 0.0, 3.0, size.width, size.height),
        );
        (request.space, request.vision) = (space, vision);
        assert!(
            farthest(&draw(&request), &codes) <= 1.0,
            "{space:?} {vision:?}"
        );
    }
}

#[test]
fn differences_channels_and_marks() {
    let recipe = &recipes()[2];
    let layers = layers(recipe);
    let view = grid(300.0, 200.0, 1.0, 120, 90);
    let mut request = request(recipe, &layers, view);
    let plain = draw(&request);
    request.show = Show::Rendition("natural".to_owned());
    let other = draw(&request);
    request.show = Show::Difference {
        one: "mapped".to_owned(),
        other: "natural".to_owned(),
        full: 50.0,
    };
    let far = draw(&request);
    let lab = |pixel: &[u8]| {
        use linehue::engine::color::transfer::srgb_decode_exact as decode;
        Lab::from_linear_srgb([0, 1, 2].map(|part| decode(f64::from(pixel[part]) / 255.0)))
    };
    let mut beside = 0;
    let pixels = plain.rgba.chunks_exact(4).zip(other.rgba.chunks_exact(4));
    for ((one, other), far) in pixels.zip(far.rgba.chunks_exact(4)) {
        let truth = (ciede2000(lab(one), lab(other)) / 50.0).min(1.0) * 255.0;
        // Codes of eight bits stand for colours that lie half a code beside;
        // the formula jumps where two hues lie opposite each other.
        beside += usize::from((f64::from(far[0]) - truth).abs() > 3.0);
        assert!(far[0] == far[1] && far[1] == far[2]);
    }
    let pixels = plain.rgba.len() / 4;
    assert!(beside * 50 < pixels, "{beside} of {pixels}");

    // A channel whose white lies low: the share at full scale is its count.
    let mut bright = recipe.clone();
    bright.channels[1].stretch.white = 300.0;
    request.recipe = Arc::new(bright);
    request.show = Show::Channel(1);
    let before = draw(&request);
    request.marks = true;
    let marked = draw(&request);
    let values = layers[1].as_ref().expect("read").plane.values();
    let part = values.slice(ndarray::s![200..290, 300..420]);
    let full = part.iter().filter(|value| **value >= 300.0).count();
    assert!(full > 0 && full < part.len());
    assert_eq!(before.clipped, full as f32 / part.len() as f32);
    assert_eq!(marked.clipped, before.clipped);
    let changed = before.rgba.chunks_exact(4).zip(marked.rgba.chunks_exact(4));
    for ((value, before), after) in part
        .iter()
        .zip(changed.clone().map(|pair| pair.0))
        .zip(changed.map(|pair| pair.1))
    {
        assert!(*value >= 300.0 || before == after);
    }
    assert_ne!(before.rgba, marked.rgba);
}

#[test]
fn what_is_missing_takes_no_part_and_stopping_stops() {
    let recipe = &recipes()[0];
    let whole = layers(recipe);
    let view = grid(100.0, 100.0, 2.0, 80, 60);
    let mut without = whole.clone();
    without[0] = None;
    let small = Plane::new(ndarray::Array2::from_elem((5, 5), 9000.0_f32));
    let mut odd = whole.clone();
    let key = whole[0].as_ref().expect("read").key.clone();
    odd[0] = Some(layer(small, key));
    let mut hidden = recipe.clone();
    for rendition in &mut hidden.renditions {
        rendition.colors.remove("sii");
    }
    let wanted = draw(&request(&hidden, &whole, view));
    assert_eq!(draw(&request(recipe, &without, view)).rgba, wanted.rgba);
    assert_eq!(draw(&request(recipe, &odd, view)).rgba, wanted.rgba);
    let stop = AtomicBool::new(true);
    let all = request(recipe, &whole, view);
    assert_eq!(Preview::default().draw(&all, &stop), None);
    let none = request(recipe, &[None, None, None], view);
    let go_on = AtomicBool::new(false);
    assert_eq!(Preview::default().draw(&none, &go_on), None);
}

/// What is kept from one picture never shows in another.
#[test]
fn what_is_kept_belongs_to_its_channel_and_grid() {
    let recipe = &recipes()[0];
    let layers = layers(recipe);
    let mut preview = Preview::default();
    let go_on = AtomicBool::new(false);
    for (x, step) in [(0.0, 3.0), (30.0, 3.0), (0.0, 3.0), (0.0, 1.0)] {
        let mut request = request(recipe, &layers, grid(x, 0.0, step, 64, 48));
        let kept = preview.draw(&request, &go_on).expect("drawn");
        assert_eq!(kept.rgba, draw(&request).rgba);
        request.layers.swap(0, 2);
        let swapped = preview.draw(&request, &go_on).expect("drawn");
        assert_eq!(swapped.rgba, draw(&request).rgba);
    }
}

/// A view that is dragged about is drawn from what it showed before; it shows
/// what one that was never moved does.
#[test]
fn a_moved_view_is_a_new_one() {
    let recipe = &recipes()[0];
    let layers = layers(recipe);
    for step in [1.0, 2.7, 4.0] {
        let mut preview = Preview::default();
        let mut moves = 0;
        for (right, down) in [
            (0, 0),
            (9, 0),
            (9, -7),
            (-40, 12),
            (30, 30),
            (31, 29),
            (400, 0),
        ] {
            let (x, y) = (100.0 + f64::from(right), 60.0 + f64::from(down));
            let view = grid(x * step, y * step, step, 120, 80);
            let request = request(recipe, &layers, view);
            let moved = preview.draw(&request, &AtomicBool::new(false));
            let moved = moved.expect("drawn").rgba;
            let anew = draw(&request).rgba;
            moves += 1;
            let far = moved.iter().zip(&anew).map(|(a, b)| a.abs_diff(*b)).max();
            assert!(
                far <= Some(u8::from(step == 2.7)),
                "{step} {moves}: {far:?}"
            );
        }
    }
}

/// Stars stay off while noise is looked at that was smoothed when they were told
/// apart.
#[test]
fn stars_stay_off_before_noise_reduction() {
    let mut recipe = recipes()[0].clone();
    recipe.renditions[0].stars = Some(StarLook {
        show: ShowStars::None,
        ..StarLook::default()
    });
    let plain = layers(&recipe);
    let light = |at: usize| if at.is_multiple_of(97) { 400.0 } else { 0.0 };
    let means = |plane: Plane| Means {
        reduced: pyramid(&plane),
        plane: Arc::new(plane),
    };
    let made = |layer: &Arc<Layer>, change: &dyn Fn(f32, usize) -> f32| {
        let values = layer.plane.values().iter().enumerate();
        let values = values.map(|(at, value)| change(*value, at)).collect();
        Plane::from_vec(layer.size(), values).expect("pixels")
    };
    let split = |layer: &Arc<Layer>| {
        Arc::new(Layer {
            parts: Parts {
                smooth: Some(means(made(layer, &|value, _| value + 16.0))),
                apart: vec![Apart {
                    denoise: 1.0,
                    by: Vec::new(),
                    nebula: means(made(layer, &|value, at| value + 16.0 - light(at))),
                    heights: Heights::Whole(means(made(layer, &|_, at| light(at) / 400.0))),
                    stars: 1,
                }],
            },
            ..Layer::clone(layer)
        })
    };
    let without = |layer: &Arc<Layer>| {
        let plane = made(layer, &|value, at| value - light(at));
        self::layer(plane, layer.key.clone())
    };
    let each = |change: &dyn Fn(&Arc<Layer>) -> Arc<Layer>| -> Vec<Option<Arc<Layer>>> {
        plain
            .iter()
            .map(|layer| layer.as_ref().map(change))
            .collect()
    };
    let view = grid(200.0, 150.0, 1.0, 160, 120);
    let seen = draw(&request(&recipe, &each(&split), view));
    recipe.renditions[0].stars = None;
    let wanted = draw(&request(&recipe, &each(&without), view));
    let far = seen
        .rgba
        .iter()
        .zip(&wanted.rgba)
        .map(|(a, b)| a.abs_diff(*b));
    assert!(far.max() <= Some(1));
}
