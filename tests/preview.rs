//! What the screen shows is what a composite holds.
//!
//! Protects the promise of the preview: at full size the very codes of an
//! export, below it those of an export of that size; marks, other spaces and
//! other eyes by their own definitions.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use linehue::engine::color::difference::{Lab, ciede2000};
use linehue::engine::color::space::{Space, apply, inverse};
use linehue::engine::color::transfer::{srgb_decode_exact, srgb_encode_exact};
use linehue::engine::color::vision::Vision;
use linehue::engine::frame::{Depth, Plane, Size};
use linehue::engine::leading::By;
use linehue::engine::measure::{Histogram, glance};
use linehue::engine::recipe::{Blend, Gamut, Luminance, Ratio, Recipe, ShowStars, StarLook, text};
use linehue::io::read::{self, Pick};
use linehue::io::write::Options;
use linehue::work::compose::{self, DEFAULT_MEMORY};
use linehue::work::desk::{Apart, Heights, Layer, Means, Parts, keys};
use linehue::work::leading;
use linehue::work::preview::maps::Found;
use linehue::work::preview::probe::{Over, probe};
use linehue::work::preview::{Grid, Picture, Preview, Request, Show, pyramid};
use linehue::work::progress::{Control, Silent};
use linehue::work::ratio;

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
        signal_to_noise: None,
        origin: [0, 0],
        exposure_s: None,
        align: None,
        level: None,
        model: None,
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

// The layers, with what their detectors hold.
fn with_ceilings(layers: &[Option<Arc<Layer>>]) -> Vec<Option<Arc<Layer>>> {
    let known = |layer: &Arc<Layer>| {
        let pick = Pick {
            hdu: None,
            plane: None,
        };
        let facts = read::open(&layer.key.file, pick).expect("opens").facts;
        let survey = glance(&*layer.plane, facts.ceiling).expect("reads");
        Arc::new(Layer {
            ceiling: facts.ceiling,
            levels: survey.levels,
            ..Layer::clone(layer)
        })
    };
    layers
        .iter()
        .map(|layer| layer.as_ref().map(known))
        .collect()
}

fn rgb_of(file: &Path) -> Vec<u8> {
    let picture = image_of(file);
    picture.chunks_exact(3).flatten().copied().collect()
}

// R G B of a PNG of 8 or 16 bit, as 8 bit.
fn image_of(file: &Path) -> Vec<u8> {
    let file = std::io::BufReader::new(std::fs::File::open(file).expect("there"));
    let mut decoder = png::Decoder::new(file);
    decoder.set_transformations(png::Transformations::STRIP_16);
    let mut reader = decoder.read_info().expect("a PNG");
    let mut bytes = vec![0; reader.output_buffer_size().expect("fits")];
    let info = reader.next_frame(&mut bytes).expect("pixels");
    assert_eq!(info.color_type, png::ColorType::Rgb);
    bytes.truncate(info.buffer_size());
    bytes
}

/// At full size the map of the window is the command's: pixels and figures.
#[test]
fn the_leading_line_is_the_commands() {
    let recipe = &recipes()[0];
    let layers = with_ceilings(&layers(recipe));
    let scratch = tempfile::tempdir().expect("a folder");
    for by in [By::Shown, By::Noise] {
        let out = scratch.path().join(format!("{}.png", by.name()));
        let asked = leading::Request {
            recipe: recipe.clone(),
            folder: folder(),
            rendition: None,
            out: out.clone(),
            by,
        };
        let done = leading::run(&asked, control(&AtomicBool::new(false))).expect("made");
        let whole = grid(0.0, 0.0, 1.0, done.size.width, done.size.height);
        let mut request = request(recipe, &layers, whole);
        let rendition = recipe.renditions[0].id.clone();
        request.show = Show::Leading { rendition, by };
        let picture = draw(&request);
        let Some(Found::Leading { lines, counts, .. }) = &picture.found else {
            panic!("no figures");
        };
        assert_eq!(*counts, done.counts);
        assert!(counts.led.iter().all(|led| *led > 1000), "{counts:?}");
        let names: Vec<&str> = lines.iter().map(|line| line.name.as_str()).collect();
        let own: Vec<&str> = done.lines.iter().map(|line| line.name.as_str()).collect();
        assert_eq!(names, own);
        // The window rounds what the command writes in 16 bit.
        let codes = rgb_of(&out);
        for (pixel, wanted) in picture.rgba.chunks_exact(4).zip(codes.chunks_exact(3)) {
            for part in 0..3 {
                assert!(pixel[part].abs_diff(wanted[part]) <= 1);
            }
        }
    }
}

/// Means have less noise: more of the field stands out of it.
#[test]
fn a_map_in_small_has_the_noise_of_its_means() {
    let recipe = &recipes()[0];
    let layers = with_ceilings(&layers(recipe));
    let share = |step: f64| {
        let size = [864.0, 576.0].map(|side: f64| (side / step) as usize);
        let view = grid(0.0, 0.0, step, size[0], size[1]);
        let mut request = request(recipe, &layers, view);
        request.show = Show::Ratio(Ratio::of("", "sii", "ha"));
        let Some(Found::Ratio { counts, span, .. }) = draw(&request).found else {
            panic!("no figures");
        };
        (counts.known as f64 / counts.data as f64, span)
    };
    let all: Vec<_> = [1.0, 2.0, 4.0].map(share).into();
    assert!(all.is_sorted_by(|a, b| a.0 < b.0), "{all:?}");
    // The scale is the field's, however it is looked at.
    assert!(all.iter().all(|(_, span)| *span == all[0].1), "{all:?}");
}

/// The same of a ratio, whose picture is drawn beside its scale.
#[test]
fn a_ratio_is_the_commands() {
    let recipe = &recipes()[0];
    let layers = with_ceilings(&layers(recipe));
    let scratch = tempfile::tempdir().expect("a folder");
    let out = scratch.path().join("sii-ha.fits");
    let asked = ratio::Request {
        recipe: recipe.clone(),
        folder: folder(),
        file: None,
        ratio: Ratio::of("sii-ha", "sii", "ha"),
        out: out.clone(),
    };
    let done = ratio::run(&asked, control(&AtomicBool::new(false))).expect("made");
    let pick = Pick {
        hdu: None,
        plane: None,
    };
    let rows = read::open(&out, pick).expect("opens").rows;
    let map = Plane::from_rows(&*rows).expect("reads");
    let whole = grid(0.0, 0.0, 1.0, done.size.width, done.size.height);
    let mut request = request(recipe, &layers, whole);
    request.show = Show::Ratio(Ratio {
        range: Some([0.0, 1.0]),
        ..asked.ratio.clone()
    });
    let picture = draw(&request);
    let Some(Found::Ratio {
        name, mark, counts, ..
    }) = &picture.found
    else {
        panic!("no figures");
    };
    assert_eq!((name.as_str(), *mark), ("[S II]/H\u{3b1}", Some(0.4)));
    assert_eq!(*counts, done.figures.counts);
    // The probe says what the file does, and nothing where that has nothing.
    let pick = Pick {
        hdu: Some(1),
        plane: None,
    };
    let rows = read::open(&out, pick).expect("opens").rows;
    let sigmas = Plane::from_rows(&*rows).expect("reads");
    let id = &recipe.renditions[0].id;
    let mut known = 0;
    for (x, y) in (0..40).map(|step| (21 * step, 14 * step)) {
        let read = probe(recipe, &layers, id, [x, y], Over::Pixel).expect("inside");
        let told = read.ratios.iter().find(|ratio| ratio.upper == "SII");
        let (ratio, sigma) = (map.values()[[y, x]], sigmas.values()[[y, x]]);
        match told {
            None => assert!(ratio.is_nan(), "{x} {y}: {ratio}"),
            Some(told) => {
                known += 1;
                assert!(
                    (told.value / f64::from(ratio) - 1.0).abs() < 1e-4,
                    "{x} {y}"
                );
                assert!(
                    (told.sigma / f64::from(sigma) - 1.0).abs() < 1e-3,
                    "{x} {y}"
                );
            }
        }
    }
    assert!((5..40).contains(&known), "{known}");
    // Lightness follows the ratio, and grey is where there is none.
    let mut by_ratio: Vec<(f32, [u8; 3])> = Vec::new();
    for (pixel, ratio) in picture.rgba.chunks_exact(4).zip(map.values()) {
        let color = [pixel[0], pixel[1], pixel[2]];
        if ratio.is_nan() {
            assert_eq!(color, [44; 3]);
        } else {
            by_ratio.push((ratio.clamp(0.0, 1.0), color));
        }
    }
    by_ratio.sort_by(|a, b| a.0.total_cmp(&b.0));
    let lightness = |color: [u8; 3]| {
        Lab::from_linear_srgb(color.map(|code| srgb_decode_exact(f64::from(code) / 255.0))).l
    };
    let light: Vec<f64> = by_ratio
        .iter()
        .map(|(_, color)| lightness(*color))
        .collect();
    assert!(light.windows(2).all(|pair| pair[0] <= pair[1] + 0.6));
    assert!(light[light.len() - 1] - light[0] > 40.0);
}

/// Where a frame did not reach is no field: what is told of a map counts neither
/// zeros there nor what has no value, as the command does.
#[test]
fn an_empty_rim_is_no_part_of_what_a_map_is_told_of() {
    let recipe = &recipes()[0];
    let plain = with_ceilings(&layers(recipe));
    let rim = |nothing: f32| -> Vec<Option<Arc<Layer>>> {
        let framed = |own: &Arc<Layer>| {
            let mut values = own.plane.values().clone();
            values.slice_mut(ndarray::s![.., ..240]).fill(nothing);
            values.slice_mut(ndarray::s![480.., ..]).fill(nothing);
            let made = layer(Plane::new(values), own.key.clone());
            Arc::new(Layer {
                ceiling: own.ceiling,
                ..Layer::clone(&made)
            })
        };
        plain.iter().map(|own| own.as_ref().map(framed)).collect()
    };
    for step in [1.0, 4.0] {
        let size = [864.0, 576.0].map(|side: f64| (side / step) as usize);
        let counted = |layers: &[Option<Arc<Layer>>]| {
            let view = grid(0.0, 0.0, step, size[0], size[1]);
            let mut request = request(recipe, layers, view);
            request.show = Show::Ratio(Ratio::of("", "sii", "ha"));
            let Some(Found::Ratio { counts, .. }) = draw(&request).found else {
                panic!("no figures");
            };
            counts
        };
        let (zeros, none) = (counted(&rim(0.0)), counted(&rim(f32::NAN)));
        assert_eq!(zeros.data, none.data, "{step}");
        assert!(
            zeros.known.abs_diff(none.known) * 100 <= none.known,
            "{step}"
        );
    }
}

/// A desk without what a map needs says what is missing.
#[test]
fn a_map_that_cannot_be_drawn_says_why() {
    let recipe = &recipes()[0];
    let mut layers = with_ceilings(&layers(recipe));
    let size = layers[0].as_ref().expect("read").size();
    let flat = Plane::from_vec(size, vec![5.0; size.pixels()]).expect("pixels");
    let key = layers[0].as_ref().expect("read").key.clone();
    let view = grid(0.0, 0.0, 2.0, 100, 100);
    let why = |layers: &[Option<Arc<Layer>>], show: Show| {
        let mut request = request(recipe, layers, view);
        request.show = show;
        match draw(&request).found {
            Some(Found::Nothing { what, .. }) => what,
            other => panic!("{other:?}"),
        }
    };
    let leading = Show::Leading {
        rendition: recipe.renditions[0].id.clone(),
        by: By::Shown,
    };
    layers[0] = Some(layer(flat, key));
    assert!(why(&layers, leading.clone()).contains("no noise"));
    layers[0] = None;
    layers[1] = None;
    assert!(why(&layers, leading).contains("fewer than two lines"));
    let layers = with_ceilings(&self::layers(recipe));
    let mut high = Ratio::of("", "sii", "ha");
    high.min_snr = 1e5;
    assert!(why(&layers, Show::Ratio(high)).contains("nowhere"));
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
