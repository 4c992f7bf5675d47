use super::*;
use crate::engine::frame::{Coded, CodedBand, Plane, Size};
use crate::engine::recipe::text::parse;
use ndarray::Array2;
use std::num::NonZeroUsize;
use std::sync::atomic::AtomicBool;

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
