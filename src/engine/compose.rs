//! The path, in order: stretch, mix, finish, encode.
//!
//! Every step works on pixels alone, so a picture is made band by band:
//! memory is bounded by the bands in flight, and the same bits come out for
//! any number of threads.

use std::num::NonZeroUsize;
use std::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;

use super::color::space::{Matrix, Space, apply, inverse};
use super::color::transfer::srgb_decode_tone;
use super::frame::{BAND_ROWS, Coded, CodedBand, Depth, Rows, RowsError, Size};
use super::mix::assign::{AssignError, assignments};
use super::mix::{LightBlock, Mixer};
use super::num::{Block, LANES};
use super::recipe::{Blend, Recipe, Rendition};
use super::{encode, finish, stretch};

/// A rendition in an output space, ready to turn channel values into codes.
#[derive(Debug, Clone)]
pub struct Composition {
    channels: Vec<PreparedChannel>,
    blend: Blend,
    finish: finish::Prepared,
    space: Space,
    depth: Depth,
}

#[derive(Debug, Clone)]
struct PreparedChannel {
    index: usize,
    stretch: stretch::Prepared,
    color: Option<[f32; 3]>,
    luminance_weight: Option<f32>,
}

impl Composition {
    /// Sets a rendition of a checked recipe up.
    ///
    /// # Errors
    /// When a colour cannot be worked out, for a recipe that was not checked.
    pub fn new(
        recipe: &Recipe,
        rendition: &Rendition,
        space: Space,
        depth: Depth,
    ) -> Result<Self, AssignError> {
        let assigned = assignments(recipe, rendition)?;
        let weights = rendition
            .luminance
            .as_ref()
            .map(|luminance| &luminance.from);
        let total: f64 = weights.map_or(1.0, |weights| weights.values().sum());
        let channels = recipe
            .channels
            .iter()
            .enumerate()
            .map(|(index, channel)| PreparedChannel {
                index,
                stretch: stretch::Prepared::new(&channel.stretch),
                color: assigned
                    .iter()
                    .find(|assignment| assignment.channel == index)
                    .map(|assignment| assignment.linear_srgb.map(|component| component as f32)),
                luminance_weight: weights
                    .and_then(|weights| weights.get(&channel.id))
                    .filter(|weight| **weight > 0.0)
                    .map(|weight| (weight / total) as f32),
            })
            .filter(|channel| channel.color.is_some() || channel.luminance_weight.is_some())
            .collect();
        Ok(Self {
            channels,
            blend: rendition.blend,
            finish: finish::Prepared::new(rendition, space),
            space,
            depth,
        })
    }

    /// Indices (in the recipe) of the channels whose values are needed, in the
    /// order in which [`Self::run`] takes them.
    pub fn channels(&self) -> impl Iterator<Item = usize> + '_ {
        self.channels.iter().map(|channel| channel.index)
    }

    /// Makes codes of pixels: `inputs` holds one slice of values for each of
    /// [`Self::channels`], all of one length; `codes` three samples a pixel.
    pub fn run(&self, inputs: &[&[f32]], codes: Codes<'_>) {
        self.run_at(fearless_simd::Level::new(), inputs, codes);
    }

    /// As [`Self::run`], and says of each pixel what [`FULL`] and [`OUTSIDE`]
    /// mean.
    pub fn run_looking(&self, inputs: &[&[f32]], codes: Codes<'_>, looks: &mut [u8]) {
        let level = fearless_simd::Level::new();
        fearless_simd::dispatch!(level, _simd => self.run_blocks(inputs, codes, Some(looks)));
    }

    // At a given vector width: all give the same bits.
    fn run_at(&self, level: fearless_simd::Level, inputs: &[&[f32]], codes: Codes<'_>) {
        fearless_simd::dispatch!(level, _simd => self.run_blocks(inputs, codes, None));
    }

    #[inline(always)]
    fn run_blocks(&self, inputs: &[&[f32]], mut codes: Codes<'_>, mut looks: Option<&mut [u8]>) {
        let pixels = inputs.first().map_or(0, |values| values.len());
        let mut values: Block = [0.0; LANES];
        let mut tones: Block = [0.0; LANES];
        let mut start = 0;
        while start < pixels {
            let length = LANES.min(pixels - start);
            let mut mixer = Mixer::new(self.blend);
            let mut brightness: Block = [0.0; LANES];
            for (channel, input) in self.channels.iter().zip(inputs) {
                let input = &input[start..start + length];
                // Whole blocks are used where they lie; the last one is padded.
                let block = match input.as_array() {
                    Some(block) => block,
                    None => {
                        values[..length].copy_from_slice(input);
                        &values
                    }
                };
                channel.stretch.tones(block, &mut tones);
                if let Some(color) = channel.color {
                    mixer.add(&tones, color);
                }
                if let Some(weight) = channel.luminance_weight {
                    for i in 0..LANES {
                        brightness[i] += weight * srgb_decode_tone(tones[i]);
                    }
                }
            }
            let mut light = mixer.light();
            self.finish.before_gamut(&mut light, &brightness);
            if let Some(looks) = &mut looks {
                look(&light, &mut looks[start..start + length]);
            }
            self.finish.hold(&mut light);
            let (from, to) = (3 * start, 3 * (start + length));
            match &mut codes {
                Codes::U8(out) => {
                    encode::encode(&mut light, self.space);
                    encode::quantise_u8(&light, &mut out[from..to]);
                }
                Codes::U16(out) => {
                    encode::encode(&mut light, self.space);
                    encode::quantise_u16(&light, &mut out[from..to]);
                }
                Codes::F32(out) => encode::interleave(&light, &mut out[from..to]),
            }
            start += length;
        }
    }

    /// What a channel (by its index in the recipe) alone looks like on a screen
    /// where its tone is `tone` and every other channel is black: finished light,
    /// linear on the sRGB primaries. A brightness that is taken from channels is
    /// that tone's too. None where the channel has no colour here.
    pub fn alone(&self, index: usize, tone: f32) -> Option<[f64; 3]> {
        let channel = self
            .channels
            .iter()
            .find(|channel| channel.index == index)?;
        let mut mixer = Mixer::new(self.blend);
        mixer.add(&[tone; LANES], channel.color?);
        let mut light = mixer.light();
        self.finish
            .run(&mut light, &[srgb_decode_tone(tone); LANES]);
        let back = inverse(&self.space.from_linear_srgb());
        Some(on_screen(&back, [light[0][0], light[1][0], light[2][0]]))
    }

    /// Pixels as a screen of the output space shows them, linear on the sRGB
    /// primaries; `inputs` as for [`Self::run`].
    pub fn looks(&self, inputs: &[&[f32]]) -> Vec<[f32; 3]> {
        let pixels = inputs.first().map_or(0, |values| values.len());
        let mut light = vec![0.0; 3 * pixels];
        self.run(inputs, Codes::F32(&mut light));
        let back = inverse(&self.space.from_linear_srgb());
        light
            .chunks_exact(3)
            .map(|rgb| on_screen(&back, [rgb[0], rgb[1], rgb[2]]).map(|c| c as f32))
            .collect()
    }

    /// How finished samples are kept.
    pub fn depth(&self) -> Depth {
        self.depth
    }
}

/// A component lies at or above full scale before the gamut step.
pub const FULL: u8 = 1;

/// A component lies below zero before the gamut step: the output space has no
/// such colour at any brightness.
pub const OUTSIDE: u8 = 2;

/// What is less than this part of full scale beyond an end of the output space
/// is no more than an 8-bit code can tell.
const TOLERANCE: f32 = 1.0 / 4096.0;

/// White may come out so much below full scale.
const ROUNDING: f32 = 1e-6;

#[inline(always)]
fn look(light: &LightBlock, looks: &mut [u8]) {
    let mut flags = [0_u8; LANES];
    for i in 0..LANES {
        let [r, g, b] = [light[0][i], light[1][i], light[2][i]];
        let full = r.max(g).max(b) >= 1.0 - ROUNDING;
        let outside = r.min(g).min(b) < -TOLERANCE;
        flags[i] = u8::from(full) * FULL + u8::from(outside) * OUTSIDE;
    }
    looks.copy_from_slice(&flags[..looks.len()]);
}

// Finished light, held to what a screen can show, by the matrix `back` to the
// sRGB primaries. A comparison, so that what is no number is black.
fn on_screen(back: &Matrix, finished: [f32; 3]) -> [f64; 3] {
    let held = |c: f32| if c > 0.0 { f64::from(c.min(1.0)) } else { 0.0 };
    apply(back, finished.map(held))
}

/// Where a run of codes goes, interleaved R G B.
#[derive(Debug)]
pub enum Codes<'a> {
    /// See [`Coded::U8`].
    U8(&'a mut [u8]),
    /// See [`Coded::U16`].
    U16(&'a mut [u16]),
    /// See [`Coded::F32`].
    F32(&'a mut [f32]),
}

/// Where finished bands go, in order from the top.
pub trait Sink: Send {
    /// What can go wrong.
    type Error: Send;

    /// Takes the next band.
    ///
    /// # Errors
    /// Whatever the sink meets; composing stops then.
    fn put(&mut self, band: CodedBand) -> Result<(), Self::Error>;
}

/// Someone who watches values go by, band by band: `index` is the channel's
/// place in the recipe.
pub trait Watch: Send + Sync {
    /// Sees the values of rows `first_row..` of one channel.
    fn see(&mut self, first_row: usize, values: &[f32]);
}

/// What composing is told by the outside while it runs.
pub struct Run<'a> {
    /// Set from elsewhere to stop between bands.
    pub cancel: &'a AtomicBool,
    /// Told the rows that are done, after each step forward.
    pub progress: &'a (dyn Fn(usize) + Sync),
}

/// Why composing ended early.
#[derive(Debug)]
pub enum ComposeError<E> {
    /// Someone asked to stop.
    Cancelled,
    /// A source could not be read.
    Rows(RowsError),
    /// The sink could not take a band.
    Sink(E),
}

/// A channel on its way through [`compose`].
pub struct Source<'a> {
    /// Its values.
    pub rows: &'a dyn Rows,
    /// Sees every value that is read.
    pub watch: Option<&'a mut dyn Watch>,
}

/// Rows that are taken in one step, so that everything in flight stays within
/// `memory` bytes: at least one band, and no more than keeps every thread busy.
pub fn rows_in_flight(size: Size, channels: usize, depth: Depth, memory: NonZeroUsize) -> usize {
    // Three steps overlap: one is read, one is composed, one is written.
    let row = size.width * (2 * 4 * channels + 2 * 3 * depth.bytes());
    let bands = (memory.get() / row.max(1) / BAND_ROWS).clamp(1, 8);
    (bands * BAND_ROWS).min(size.height.div_ceil(BAND_ROWS) * BAND_ROWS)
}

/// Makes the whole picture: reads `sources` (one for each of
/// [`Composition::channels`]), and hands finished bands to `sink`. While one
/// step's rows are composed the next are read and the ones before are written.
///
/// # Errors
/// [`ComposeError`]; the sink is left unfinished then.
pub fn compose<S: Sink>(
    composition: &Composition,
    sources: &mut [Source<'_>],
    sink: &mut S,
    step_rows: usize,
    run: &Run<'_>,
) -> Result<(), ComposeError<S::Error>> {
    let Some(first) = sources.first() else {
        return Ok(());
    };
    let size = first.rows.size();
    let mut filled = Step::new(sources.len());
    let mut spare = Step::new(sources.len());
    let mut finished: Option<CodedBand> = None;
    filled
        .fill(sources, size, 0, step_rows)
        .map_err(ComposeError::Rows)?;
    let mut first_row = 0;
    while first_row < size.height {
        if run.cancel.load(Ordering::Relaxed) {
            return Err(ComposeError::Cancelled);
        }
        let next_row = first_row + filled.rows;
        let write = finished.take();
        let ((read, coded), written) = rayon::join(
            || {
                rayon::join(
                    || spare.fill(sources, size, next_row, step_rows),
                    || compose_step(composition, &filled, size.width, first_row),
                )
            },
            || write.map_or(Ok(()), |band| sink.put(band)),
        );
        read.map_err(ComposeError::Rows)?;
        written.map_err(ComposeError::Sink)?;
        finished = Some(coded);
        (run.progress)(first_row);
        first_row = next_row;
        std::mem::swap(&mut filled, &mut spare);
    }
    if let Some(band) = finished {
        sink.put(band).map_err(ComposeError::Sink)?;
    }
    (run.progress)(size.height);
    Ok(())
}

// The rows of all channels that are taken in one step.
struct Step {
    rows: usize,
    values: Vec<Vec<f32>>,
}

impl Step {
    fn new(channels: usize) -> Self {
        Self {
            rows: 0,
            values: vec![Vec::new(); channels],
        }
    }

    fn fill(
        &mut self,
        sources: &mut [Source<'_>],
        size: Size,
        first_row: usize,
        step_rows: usize,
    ) -> Result<(), RowsError> {
        self.rows = step_rows.min(size.height - first_row);
        let pixels = self.rows * size.width;
        self.values
            .par_iter_mut()
            .zip(sources.par_iter_mut())
            .try_for_each(|(values, source)| {
                values.resize(pixels, 0.0);
                if pixels == 0 {
                    return Ok(());
                }
                source.rows.read(first_row, values)?;
                if let Some(watch) = &mut source.watch {
                    watch.see(first_row, values);
                }
                Ok(())
            })
    }
}

fn compose_step(
    composition: &Composition,
    step: &Step,
    width: usize,
    first_row: usize,
) -> CodedBand {
    // Pieces of a few rows: small enough to share out, large enough not to matter.
    const PIECE_ROWS: usize = 16;
    let inputs = |piece: usize| -> Vec<&[f32]> {
        let from = piece * PIECE_ROWS * width;
        let to = ((piece + 1) * PIECE_ROWS).min(step.rows) * width;
        step.values.iter().map(|values| &values[from..to]).collect()
    };
    let (samples, piece) = (step.rows * width * 3, PIECE_ROWS * width * 3);
    let samples = match composition.depth {
        Depth::Eight => {
            let mut out = vec![0; samples];
            out.par_chunks_mut(piece)
                .enumerate()
                .for_each(|(i, out)| composition.run(&inputs(i), Codes::U8(out)));
            Coded::U8(out)
        }
        Depth::Sixteen => {
            let mut out = vec![0; samples];
            out.par_chunks_mut(piece)
                .enumerate()
                .for_each(|(i, out)| composition.run(&inputs(i), Codes::U16(out)));
            Coded::U16(out)
        }
        Depth::Float32 => {
            let mut out = vec![0.0; samples];
            out.par_chunks_mut(piece)
                .enumerate()
                .for_each(|(i, out)| composition.run(&inputs(i), Codes::F32(out)));
            Coded::F32(out)
        }
    };
    CodedBand {
        first_row,
        rows: step.rows,
        samples,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Plane;
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
            Composition::new(&recipe, &recipe.renditions[0], Space::Srgb, Depth::Eight)
                .expect("sound");
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
}
