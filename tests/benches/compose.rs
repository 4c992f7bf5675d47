//! How fast a picture is composed, and what goes before it: surveys and the
//! stretches chosen from them. One thread; pixels a second.

use std::ops::ControlFlow;

use divan::Bencher;
use divan::counter::ItemsCount;
use linehue::engine::color::space::Space;
use linehue::engine::compose::{Codes, Composition};
use linehue::engine::frame::{Depth, Plane};
use linehue::engine::measure::{Survey, survey};
use linehue::engine::recipe::text::parse;
use linehue::engine::stretch::auto::auto;
use ndarray::Array2;

/// Sizes in megapixels (2^20 pixels).
const MEGAPIXELS: [usize; 2] = [1, 4];

/// Pixels that are composed in one go: about sixteen rows of a large picture.
const PIECE: usize = 1 << 16;

const ASINH: &str = r#"shape = "asinh", amount = 90"#;
const CURVED: &str =
    r#"shape = "asinh", amount = 90, curve = [[0, 0], [0.25, 0.18], [0.7, 0.78], [1, 1]]"#;

const LIGHT: &str = r#"blend = "light""#;
const LUMINOUS: &str = r#"
blend = "light"
saturation = 1.2
luminance = { from = { ha = 2, oiii = 1 }, amount = 0.6 }"#;
const HELD: &str = r#"
blend = "light"
gamut = "hold-hue""#;

fn main() {
    divan::main();
}

/// A nebula that fades outwards over a sky with something like noise.
fn stack(megapixels: usize, seed: u32) -> Vec<f32> {
    let (width, height) = size(megapixels);
    let pixel = |index: usize| {
        let (x, y) = (index % width, index / width);
        let u = x as f32 / width as f32 - 0.5;
        let v = y as f32 / height as f32 - 0.5;
        let dice = (index as u32 ^ seed.rotate_left(16)).wrapping_mul(2_654_435_761);
        let dice = (dice ^ (dice >> 15)).wrapping_mul(0x85eb_ca77);
        let noise = (dice >> 8) as f32 / 16_777_216.0 - 0.5;
        1000.0 + 9000.0 / (1.0 + 60.0 * (u * u + v * v)) + 70.0 * noise
    };
    (0..width * height).map(pixel).collect()
}

fn size(megapixels: usize) -> (usize, usize) {
    (1024, 1024 * megapixels)
}

fn composition(stretch: &str, rendition: &str, space: Space) -> Composition {
    let channel = |id: &str, line: &str| {
        format!(
            r#"
[[channel]]
id = "{id}"
file = "lantern-{id}.fits"
line = "{line}"
stretch = {{ black = 950, white = 9800, {stretch} }}
"#
        )
    };
    let text = format!(
        r##"
recipe = 1
{}{}{}
[[rendition]]
id = "mapped"
colors = {{ ha = "#e0603a", oiii = {{ hue = 225 }}, sii = [0.7, 0.05, -0.1] }}
{rendition}
"##,
        channel("ha", "Ha"),
        channel("oiii", "OIII"),
        channel("sii", "SII"),
    );
    let recipe = parse(&text, "bench").expect("a sound recipe");
    Composition::new(&recipe, &recipe.renditions[0], space, Depth::Sixteen)
        .expect("a checked recipe")
}

fn run(bencher: Bencher<'_, '_>, megapixels: usize, composition: &Composition) {
    let stacks: Vec<Vec<f32>> = (0..3).map(|seed| stack(megapixels, seed)).collect();
    let pixels = stacks[0].len();
    let mut codes = vec![0_u16; 3 * pixels];
    bencher.counter(ItemsCount::new(pixels)).bench_local(|| {
        for (index, out) in codes.chunks_mut(3 * PIECE).enumerate() {
            let start = index * PIECE;
            let end = start + out.len() / 3;
            let inputs: Vec<&[f32]> = stacks.iter().map(|stack| &stack[start..end]).collect();
            composition.run(divan::black_box(&inputs), Codes::U16(out));
        }
    });
}

#[divan::bench(args = MEGAPIXELS, max_time = 3)]
fn asinh_light(bencher: Bencher<'_, '_>, megapixels: usize) {
    run(bencher, megapixels, &composition(ASINH, LIGHT, Space::Srgb));
}

#[divan::bench(args = MEGAPIXELS, max_time = 3)]
fn with_curves(bencher: Bencher<'_, '_>, megapixels: usize) {
    run(
        bencher,
        megapixels,
        &composition(CURVED, LIGHT, Space::Srgb),
    );
}

#[divan::bench(args = MEGAPIXELS, max_time = 3)]
fn luminance_and_saturation(bencher: Bencher<'_, '_>, megapixels: usize) {
    run(
        bencher,
        megapixels,
        &composition(ASINH, LUMINOUS, Space::Srgb),
    );
}

#[divan::bench(args = MEGAPIXELS, max_time = 3)]
fn hold_hue_in_rec2020(bencher: Bencher<'_, '_>, megapixels: usize) {
    run(
        bencher,
        megapixels,
        &composition(ASINH, HELD, Space::Rec2020),
    );
}

fn plane(megapixels: usize) -> Plane {
    let (width, height) = size(megapixels);
    let values = Array2::from_shape_vec((height, width), stack(megapixels, 0));
    Plane::new(values.expect("as many values as pixels"))
}

fn look(plane: &Plane) -> Survey {
    survey(plane, None, &mut |_, _| ControlFlow::Continue(())).expect("a plane in memory")
}

#[divan::bench(args = MEGAPIXELS, max_time = 3)]
fn surveys(bencher: Bencher<'_, '_>, megapixels: usize) {
    let plane = plane(megapixels);
    bencher
        .counter(ItemsCount::new(plane.values().len()))
        .bench(|| look(&plane));
}

/// The pixels are those that were surveyed: the choice itself looks at a few
/// numbers alone.
#[divan::bench(args = MEGAPIXELS, max_time = 1)]
fn auto_stretch(bencher: Bencher<'_, '_>, megapixels: usize) {
    let plane = plane(megapixels);
    let survey = look(&plane);
    bencher
        .counter(ItemsCount::new(plane.values().len()))
        .bench(|| auto(divan::black_box(&survey)));
}
