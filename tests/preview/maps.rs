//! Maps of lines on the screen: pixels and figures of the commands'.

use linehue::engine::full::Marks;
use linehue::engine::leading::By;
use linehue::engine::measure::glance;
use linehue::engine::recipe::Ratio;
use linehue::work::leading;
use linehue::work::preview::maps::Found;
use linehue::work::preview::probe::{Over, probe};
use linehue::work::ratio;

use super::*;

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
            full: facts.ceiling.map(|full| {
                Arc::new(Marks::of(&*layer.plane, full, &|_| Ok(())).expect("in memory"))
            }),
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
