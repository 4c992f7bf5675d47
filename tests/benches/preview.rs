//! How fast the preview follows: seven channels of 26 megapixels, on every
//! core. Pixels a second of the view, or of the channel for `pyramids`.

use std::sync::atomic::AtomicBool;
use std::sync::{Arc, OnceLock};

use divan::Bencher;
use divan::counter::ItemsCount;
use linehue::engine::color::space::Space;
use linehue::engine::color::vision::Vision;
use linehue::engine::frame::{Plane, Size};
use linehue::engine::leading::By;
use linehue::engine::measure::Histogram;
use linehue::engine::recipe::{Ratio, Recipe, ShowStars, StarLook, text::parse};
use linehue::work::desk::{Apart, Heights, Layer, Means, Parts, keys};
use linehue::work::preview::{Grid, Preview, Request, Show, pyramid};
use ndarray::Array2;

const WIDTH: usize = 6248;
const HEIGHT: usize = 4176;

const VIEWS: [(usize, usize); 2] = [(1320, 760), (1920, 1080)];

/// Pixels of the channels along one of the screen.
const STEPS: [f64; 3] = [5.5, 2.0, 1.0];

const LINES: [&str; 7] = ["Ha", "OIII", "SII", "NII", "Hb", "R", "B"];

fn main() {
    divan::main();
}

/// A nebula that fades outwards over a sky with something like noise.
fn plane(seed: u32) -> Plane {
    Plane::new(Array2::from_shape_fn((HEIGHT, WIDTH), |(y, x)| {
        let u = x as f32 / WIDTH as f32 - 0.5;
        let v = y as f32 / HEIGHT as f32 - 0.5;
        let dice = ((y * WIDTH + x) as u32 ^ seed.rotate_left(16)).wrapping_mul(2_654_435_761);
        let noise = (dice >> 8) as f32 / 16_777_216.0 - 0.5;
        1000.0 + 9000.0 / (1.0 + 60.0 * (u * u + v * v)) + 70.0 * noise
    }))
}

fn recipe() -> Recipe {
    let mut text = "recipe = 1\n".to_owned();
    for (index, line) in LINES.iter().enumerate() {
        text.push_str(&format!(
            r#"
[[channel]]
id = "c{index}"
file = "lantern-{index}.fits"
line = "{line}"
stretch = {{ black = 950, white = 9800, shape = "asinh", amount = 90 }}
"#
        ));
    }
    let colors: Vec<String> = (0..LINES.len())
        .map(|index| format!("c{index} = {{ hue = {} }}", 51 * index))
        .collect();
    text.push_str(&format!(
        r#"
[[rendition]]
id = "mapped"
blend = "light"
gamut = "hold-hue"
saturation = 1.2
colors = {{ {} }}

[[rendition]]
id = "three"
blend = "light"
gamut = "hold-hue"
colors = {{ c0 = {{ hue = 20 }}, c1 = {{ hue = 220 }}, c2 = {{ hue = 0 }} }}
"#,
        colors.join(", ")
    ));
    parse(&text, "bench").expect("a sound recipe")
}

fn layers() -> &'static Vec<Option<Arc<Layer>>> {
    static LAYERS: OnceLock<Vec<Option<Arc<Layer>>>> = OnceLock::new();
    LAYERS.get_or_init(|| {
        let keys = keys(&recipe(), ".".as_ref());
        keys.into_iter()
            .zip(0..)
            .map(|(key, seed)| {
                let plane = plane(seed);
                Some(Arc::new(Layer {
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
                }))
            })
            .collect()
    })
}

fn request(view: (usize, usize), step: f64) -> Request {
    let (width, height) = view;
    Request {
        recipe: Arc::new(recipe()),
        unhidden: None,
        layers: layers().clone(),
        show: Show::Rendition("mapped".to_owned()),
        grid: Grid {
            corner: [0.0; 2],
            step,
            size: Size { width, height },
        },
        space: Space::Srgb,
        vision: Vision::Usual,
        marks: false,
    }
}

// Changes a request before each draw, all on one preview.
fn run(bencher: Bencher<'_, '_>, mut request: Request, change: impl Fn(&mut Request, usize)) {
    let go_on = AtomicBool::new(false);
    let mut preview = Preview::default();
    preview.draw(&request, &go_on).expect("drawn");
    let mut count = 0;
    bencher
        .counter(ItemsCount::new(request.grid.size.pixels()))
        .bench_local(|| {
            count += 1;
            change(&mut request, count);
            preview.draw(&request, &go_on).expect("drawn")
        });
}

#[divan::bench(args = VIEWS, max_time = 2)]
fn hue(bencher: Bencher<'_, '_>, view: (usize, usize)) {
    run(bencher, request(view, 5.5), |request, count| {
        let color = linehue::engine::recipe::ColorValue::Hue {
            hue: (count % 360) as f64,
            saturation: 1.0,
            strength: 1.0,
        };
        let recipe = Arc::make_mut(&mut request.recipe);
        recipe.renditions[0].colors.insert("c0".to_owned(), color);
    });
}

#[divan::bench(args = VIEWS, max_time = 2)]
fn stretch(bencher: Bencher<'_, '_>, view: (usize, usize)) {
    run(bencher, request(view, 5.5), |request, count| {
        let recipe = Arc::make_mut(&mut request.recipe);
        recipe.channels[0].stretch.amount = Some(60.0 + (count % 50) as f64);
    });
}

#[divan::bench(args = VIEWS, max_time = 2)]
fn stretch_of_three(bencher: Bencher<'_, '_>, view: (usize, usize)) {
    let mut request = request(view, 5.5);
    request.show = Show::Rendition("three".to_owned());
    run(bencher, request, |request, count| {
        let recipe = Arc::make_mut(&mut request.recipe);
        recipe.channels[0].stretch.amount = Some(60.0 + (count % 50) as f64);
    });
}

/// The layers of the rendition of three with their stars told apart: a nebula,
/// and heights that are above zero at a pixel in forty.
fn apart() -> Vec<Option<Arc<Layer>>> {
    static APART: OnceLock<Vec<Option<Arc<Layer>>>> = OnceLock::new();
    let means = |plane: Plane| Means {
        reduced: pyramid(&plane),
        plane: Arc::new(plane),
    };
    let with_parts = |layer: &Arc<Layer>| {
        let heights = Plane::new(Array2::from_shape_fn((HEIGHT, WIDTH), |(y, x)| {
            let near = (y * WIDTH + x).wrapping_mul(2_654_435_761) >> 3;
            if near.is_multiple_of(40) { 0.4 } else { 0.0 }
        }));
        Arc::new(Layer {
            parts: Parts {
                smooth: None,
                apart: vec![Apart {
                    denoise: 0.0,
                    by: Vec::new(),
                    nebula: means(Plane::clone(&layer.plane)),
                    heights: Heights::Whole(means(heights)),
                    stars: 1000,
                }],
            },
            ..Layer::clone(layer)
        })
    };
    let make = || {
        let layers = layers().iter().enumerate();
        layers
            .map(|(index, layer)| match layer {
                Some(layer) if index < 3 => Some(with_parts(layer)),
                other => other.clone(),
            })
            .collect()
    };
    APART.get_or_init(make).clone()
}

fn neutral(view: (usize, usize), size: f64) -> Request {
    let mut request = request(view, 5.5);
    request.show = Show::Rendition("three".to_owned());
    request.layers = apart();
    let recipe = Arc::make_mut(&mut request.recipe);
    recipe.renditions[1].stars = Some(StarLook {
        show: ShowStars::Neutral,
        size,
        brightness: 1.0,
    });
    request
}

#[divan::bench(args = VIEWS, max_time = 2)]
fn hue_with_neutral_stars(bencher: Bencher<'_, '_>, view: (usize, usize)) {
    run(bencher, neutral(view, 1.0), |request, count| {
        let color = linehue::engine::recipe::ColorValue::Hue {
            hue: (count % 360) as f64,
            saturation: 1.0,
            strength: 1.0,
        };
        let recipe = Arc::make_mut(&mut request.recipe);
        recipe.renditions[1].colors.insert("c0".to_owned(), color);
    });
}

#[divan::bench(args = VIEWS, max_time = 2)]
fn size_of_stars(bencher: Bencher<'_, '_>, view: (usize, usize)) {
    run(bencher, neutral(view, 0.7), |request, count| {
        let recipe = Arc::make_mut(&mut request.recipe);
        if let Some(stars) = &mut recipe.renditions[1].stars {
            stars.size = 0.5 + 0.01 * (count % 50) as f64;
        }
    });
}

#[divan::bench(args = VIEWS, max_time = 2)]
fn leading_line(bencher: Bencher<'_, '_>, view: (usize, usize)) {
    let mut request = request(view, 5.5);
    request.show = Show::Leading {
        rendition: "three".to_owned(),
        by: By::Shown,
    };
    run(bencher, request, |_, _| ());
}

#[divan::bench(args = VIEWS, max_time = 2)]
fn ratio_of_lines(bencher: Bencher<'_, '_>, view: (usize, usize)) {
    let mut request = request(view, 5.5);
    request.show = Show::Ratio(Ratio::of("", "c2", "c0"));
    run(bencher, request, |_, _| ());
}

/// With what it needs to know of whole channels.
#[divan::bench(sample_count = 5)]
fn ratio_of_lines_at_first(bencher: Bencher<'_, '_>) {
    let mut request = request(VIEWS[0], 5.5);
    request.show = Show::Ratio(Ratio::of("", "c2", "c0"));
    let go_on = AtomicBool::new(false);
    bencher.bench_local(|| Preview::default().draw(&request, &go_on).expect("drawn"));
}

#[divan::bench(args = STEPS, consts = [0, 1], max_time = 3)]
fn pan<const VIEW: usize>(bencher: Bencher<'_, '_>, step: f64) {
    run(bencher, request(VIEWS[VIEW], step), |request, count| {
        // To and fro, all of the view on the channels where it is not larger.
        request.grid.corner[0] = 40.0 * step * (count % 8) as f64;
    });
}

#[divan::bench(args = VIEWS, max_time = 3)]
fn difference(bencher: Bencher<'_, '_>, view: (usize, usize)) {
    let mut request = request(view, 5.5);
    request.show = Show::Difference {
        one: "mapped".to_owned(),
        other: "three".to_owned(),
        full: 20.0,
    };
    run(bencher, request, |_, _| ());
}

#[divan::bench(max_time = 2)]
fn pyramids(bencher: Bencher<'_, '_>) {
    let plane = plane(9);
    bencher
        .counter(ItemsCount::new(WIDTH * HEIGHT))
        .bench_local(|| pyramid(&plane));
}
