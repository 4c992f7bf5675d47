use std::num::NonZeroUsize;
use std::sync::atomic::AtomicBool;

use super::*;
use crate::engine::frame::{Coded, CodedBand, Plane, Size};
use crate::engine::recipe::text::parse;
use ndarray::Array2;

struct Bands(Vec<CodedBand>);

impl Sink for Bands {
    type Error = ();

    fn put(&mut self, band: CodedBand) -> Result<(), ()> {
        self.0.push(band);
        Ok(())
    }
}

fn recipe() -> Recipe {
    let text = r##"
recipe = 1
[[channel]]
id = "a"
file = "a"
line = "Ha"
stretch = { black = 0, white = 4, shape = "asinh", amount = 10 }
[[channel]]
id = "b"
file = "b"
line = "OIII"
stretch = { black = 1, white = 3 }
[[rendition]]
id = "r"
gamut = "hold-hue"
colors = { a = "#ff8040", b = { hue = 250 } }
luminance = { from = { b = 1 }, amount = 0.5 }
"##;
    parse(text, "test").expect("sound")
}

fn make(width: usize, height: usize, step_rows: usize, threads: usize) -> Vec<u16> {
    let plane = |seed: usize| {
        Plane::new(Array2::from_shape_fn((height, width), |(y, x)| {
            let value = ((x * 7 + y * 13 + seed) % 41) as f32 / 10.0;
            if (x + y) % 97 == 0 { f32::NAN } else { value }
        }))
    };
    let (a, b) = (plane(0), plane(5));
    let recipe = recipe();
    let composition = Composition::new(
        &recipe,
        &recipe.renditions[0],
        Space::DisplayP3,
        Depth::Sixteen,
    )
    .expect("sound");
    let mut sources = [
        Source {
            rows: &a,
            watch: None,
        },
        Source {
            rows: &b,
            watch: None,
        },
    ];
    let mut bands = Bands(Vec::new());
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .expect("threads");
    pool.install(|| {
        compose(
            &composition,
            &mut sources,
            &mut bands,
            step_rows,
            &Run {
                cancel: &AtomicBool::new(false),
                progress: &|_| (),
            },
        )
    })
    .expect("composes");
    let mut all = Vec::new();
    for band in bands.0 {
        assert_eq!(all.len(), band.first_row * width * 3);
        match band.samples {
            Coded::U16(samples) => all.extend(samples),
            other => panic!("{other:?}"),
        }
    }
    all
}

#[test]
fn any_division_and_any_number_of_threads_give_the_same_codes() {
    for (width, height) in [(1, 1), (63, 65), (130, 200)] {
        let plain = make(width, height, 64, 1);
        assert_eq!(plain.len(), width * height * 3);
        for (step, threads) in [(64, 3), (128, 2), (512, 4)] {
            assert_eq!(
                make(width, height, step, threads),
                plain,
                "{width} x {height}"
            );
        }
    }
}

#[cfg(target_arch = "x86_64")]
#[test]
fn every_vector_width_gives_the_same_bits() {
    use fearless_simd::Level;
    let best = Level::new();
    let mut widths = vec![best, Level::baseline()];
    widths.extend(best.as_sse4_2().map(Level::Sse4_2));
    widths.extend(best.as_avx2().map(Level::Avx2));
    let values: Vec<f32> = (0..10_007)
        .map(|i| (i * 7919 % 10_007) as f32 * 5e-4)
        .collect();
    for shape in ["asinh", "log", "power"] {
        let text = crate::engine::recipe::text::write(&recipe()).expect("writes");
        let recipe = parse(&text.replace("asinh", shape), "test").expect("sound");
        let composition = Composition::new(
            &recipe,
            &recipe.renditions[0],
            Space::Rec2020,
            Depth::Float32,
        )
        .expect("sound");
        let run = |level: Level| {
            let mut out = vec![0.0_f32; values.len() * 3];
            composition.run_at(level, &[&values, &values], Codes::F32(&mut out));
            out.into_iter().map(f32::to_bits).collect::<Vec<_>>()
        };
        let first = run(best);
        for level in &widths {
            assert_eq!(run(*level), first, "{level:?} {shape}");
        }
        let composition =
            Composition::new(&recipe, &recipe.renditions[0], Space::Srgb, Depth::Sixteen)
                .expect("sound");
        let run = |level: Level| {
            let mut out = vec![0_u16; values.len() * 3];
            composition.run_at(level, &[&values, &values], Codes::U16(&mut out));
            out
        };
        let first = run(best);
        for level in &widths {
            assert_eq!(run(*level), first, "codes: {level:?} {shape}");
        }
    }
}

#[test]
fn a_cancelled_run_says_so() {
    let plane = Plane::new(Array2::zeros((4, 4)));
    let recipe = recipe();
    let composition =
        Composition::new(&recipe, &recipe.renditions[0], Space::Srgb, Depth::Eight).expect("sound");
    let mut sources = [
        Source {
            rows: &plane,
            watch: None,
        },
        Source {
            rows: &plane,
            watch: None,
        },
    ];
    let result = compose(
        &composition,
        &mut sources,
        &mut Bands(Vec::new()),
        64,
        &Run {
            cancel: &AtomicBool::new(true),
            progress: &|_| (),
        },
    );
    assert!(matches!(result, Err(ComposeError::Cancelled)));
}

#[test]
fn steps_stay_within_their_memory() {
    let size = Size {
        width: 6248,
        height: 4176,
    };
    let memory = |bytes| NonZeroUsize::new(bytes).expect("not 0");
    assert_eq!(rows_in_flight(size, 3, Depth::Sixteen, memory(1)), 64);
    let rows = rows_in_flight(size, 3, Depth::Sixteen, memory(64 << 20));
    assert!(rows * size.width * (24 + 12) <= 64 << 20 && rows.is_multiple_of(64));
    assert_eq!(
        rows_in_flight(
            Size {
                width: 9,
                height: 9
            },
            3,
            Depth::Eight,
            memory(1 << 30)
        ),
        64
    );
}

// Two lines and the broad bands; file units are tones.
fn starry(rendition: &str) -> Composition {
    let channel = |id: &str, line: &str| {
        format!(
            "[[channel]]\nid = \"{id}\"\nfile = \"{id}\"\nline = \"{line}\"\n\
             stretch = {{ black = 0, white = 1 }}\n"
        )
    };
    let text = format!(
        "recipe = 1\n{}{}{}{}{}[[rendition]]\nid = \"r\"\n{rendition}\n",
        channel("ha", "Ha"),
        channel("oiii", "OIII"),
        channel("r", "R"),
        channel("g", "G"),
        channel("b", "B"),
    );
    let recipe = parse(&text, "test").expect("sound");
    Composition::new(&recipe, &recipe.renditions[0], Space::Srgb, Depth::Float32).expect("sound")
}

// One pixel; values by slot.
fn pixel(composition: &Composition, value: impl Fn(Slot) -> f32) -> [f32; 3] {
    let values: Vec<[f32; 1]> = composition.slots().iter().map(|s| [value(*s)]).collect();
    let inputs: Vec<&[f32]> = values.iter().map(|value| &value[..]).collect();
    let mut out = [0.0; 3];
    composition.run(&inputs, Codes::F32(&mut out));
    out
}

fn decoded(tone: f64) -> f64 {
    crate::engine::color::transfer::srgb_decode_exact(tone)
}

fn near(found: [f32; 3], wanted: [f64; 3]) {
    for (a, b) in found.iter().zip(wanted) {
        assert!((f64::from(*a) - b).abs() < 2e-6, "{found:?} {wanted:?}");
    }
}

const MAPPED: &str = "colors = { ha = [1, 0, 0], oiii = [0, 0, 1] }";

// A star of 0.3 on a nebula of 0.4 in Ha, of 0.2 on 0.1 in [O III]; in the broad
// bands 0.5, 0.4, 0.3 on nothing.
fn star(slot: Slot) -> f32 {
    match slot {
        Slot::Whole(index) => [0.7, 0.3, 0.5, 0.4, 0.3][index],
        Slot::Nebula(index) => [0.4, 0.1, 0.0, 0.0, 0.0][index],
        Slot::Height(_) => 1.0,
        Slot::Smooth(_) | Slot::Brightness => f32::NAN,
    }
}

#[test]
fn stars_lose_their_color_and_keep_their_light() {
    let plain = starry(MAPPED);
    assert_eq!(plain.slots(), [Slot::Whole(0), Slot::Whole(1)]);
    let none = starry(&format!("stars = \"none\"\n{MAPPED}"));
    near(pixel(&none, star), [decoded(0.4), 0.0, decoded(0.1)]);
    let neutral = starry(&format!("stars = \"neutral\"\n{MAPPED}"));
    // Luminance of the star's light by the weights of IEC 61966-2-1.
    let grey = 0.2126 * (decoded(0.7) - decoded(0.4)) + 0.0722 * (decoded(0.3) - decoded(0.1));
    for (found, nebula) in pixel(&neutral, star)
        .iter()
        .zip([decoded(0.4), 0.0, decoded(0.1)])
    {
        assert!((f64::from(*found) - nebula - grey).abs() < 3e-5);
    }
    let broadband = starry(&format!("stars = \"broadband\"\n{MAPPED}"));
    near(
        pixel(&broadband, star),
        [
            decoded(0.4) + decoded(0.5),
            decoded(0.4),
            decoded(0.1) + decoded(0.3),
        ],
    );
    // Where there is no star, all but the broad bands' light is as mixed.
    let bare = |slot| match slot {
        Slot::Whole(index) | Slot::Nebula(index) => star(Slot::Whole(index)),
        _ => 0.0,
    };
    let wanted = pixel(&plain, bare);
    for composition in [&none, &neutral, &broadband] {
        assert_eq!(pixel(composition, bare), wanted);
    }
}

#[test]
fn stars_are_dimmed_and_made_finer_beneath_the_stretch() {
    let dimmed = starry(&format!("stars = {{ brightness = 0.5 }}\n{MAPPED}"));
    near(
        pixel(&dimmed, star),
        [decoded(0.4 + 0.15), 0.0, decoded(0.1 + 0.1)],
    );
    let finer = starry(&format!("stars = {{ size = 0.5 }}\n{MAPPED}"));
    // Half of the peak in Ha: a quarter of the width takes it to a sixteenth.
    let flank = |slot| match slot {
        Slot::Whole(0) => 0.4 + 0.15,
        Slot::Height(0) => 0.5,
        other => star(other),
    };
    let [r, _, _] = pixel(&finer, flank);
    assert!((f64::from(r) - decoded(0.4 + 0.3 / 16.0)).abs() < 1e-5);
}

#[test]
fn colors_may_be_smoother_than_brightness() {
    let smooth = starry(&format!("smooth_color = 1\n{MAPPED}"));
    let one = |slot| match slot {
        Slot::Whole(index) => [0.6, 0.3][index],
        Slot::Smooth(index) => [0.5, 0.4][index],
        _ => f32::NAN,
    };
    let out = pixel(&smooth, one).map(f64::from);
    let lch = |c: [f64; 3]| crate::engine::color::oklab::oklch(c);
    let sharp = lch([decoded(0.6), 0.0, decoded(0.3)]);
    let soft = lch([decoded(0.5), 0.0, decoded(0.4)]);
    let found = lch(out);
    assert!((found[0] - sharp[0]).abs() < 1e-5, "lightness of the sharp");
    assert!((found[2] - soft[2]).abs() < 1e-3, "hue of the smooth");
}

#[test]
fn brightness_has_a_stretch_of_its_own() {
    let luminance = "luminance = { from = { ha = 3, oiii = 1 }, \
                     stretch = { black = 0.1, white = 1.1 } }";
    let own = starry(&format!("{luminance}\n{MAPPED}"));
    let [r, g, b] = pixel(&own, star).map(f64::from);
    // (3 * 0.7 + 0.3) / 4 = 0.6, which this stretch makes 0.5.
    let lightness = crate::engine::color::oklab::oklch([r, g, b])[0];
    assert!((lightness - libm::cbrt(decoded(0.5))).abs() < 1e-5);
    // A pixel without data in one channel takes the other's.
    let gap = |slot| match slot {
        Slot::Whole(1) => f32::NAN,
        other => star(other),
    };
    let lightness = crate::engine::color::oklab::oklch(pixel(&own, gap).map(f64::from))[0];
    assert!((lightness - libm::cbrt(decoded(0.6))).abs() < 1e-5);
    // With its structure brought out it comes from outside.
    let crisp = starry(&format!(
        "luminance = {{ from = {{ ha = 1 }}, detail = 0.5 }}\n{MAPPED}"
    ));
    let given = |slot| match slot {
        Slot::Brightness => 0.25,
        other => star(other),
    };
    let lightness = crate::engine::color::oklab::oklch(pixel(&crisp, given).map(f64::from))[0];
    assert!((lightness - libm::cbrt(0.25)).abs() < 1e-5);
    let mut light = [0.0];
    let inputs: [&[f32]; 2] = [&[0.7], &[0.3]];
    crisp.brightness(&inputs, &mut light);
    assert!((f64::from(light[0]) - decoded(0.7)).abs() < 1e-6);
}

#[test]
fn a_white_balance_acts_above_the_sky() {
    let colors = "colors = { r = \"natural\", g = \"natural\", b = \"natural\" }";
    let balanced = starry(&format!(
        "balance = {{ gains = [2, 1, 0.5], sky = [0.1, 0.1, 0.1] }}\n{colors}"
    ));
    // 0.1 + g (v - 0.1)
    near(
        pixel(&balanced, |slot| match slot {
            Slot::Whole(index) => [0.0, 0.0, 0.3, 0.3, 0.3][index],
            _ => 0.0,
        }),
        [decoded(0.5), decoded(0.3), decoded(0.2)],
    );
}
