//! A run of pixels, in blocks: the same bits at every vector width.

use super::super::color::transfer::srgb_decode_tone;
use super::super::encode;
use super::super::mix::{LightBlock, Mixer};
use super::super::num::{Block, LANES};
use super::{Codes, Composition, FULL, OUTSIDE};

impl Composition {
    /// Makes codes of pixels: `inputs` holds one slice of values for each of
    /// [`Self::slots`], all of one length; `codes` three samples a pixel.
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
    pub(super) fn run_at(&self, level: fearless_simd::Level, inputs: &[&[f32]], codes: Codes<'_>) {
        fearless_simd::dispatch!(level, _simd => self.run_blocks(inputs, codes, None));
    }

    #[inline(always)]
    fn run_blocks(&self, inputs: &[&[f32]], mut codes: Codes<'_>, mut looks: Option<&mut [u8]>) {
        let pixels = inputs.first().map_or(0, |values| values.len());
        let plain = self.is_plain();
        let mut start = 0;
        while start < pixels {
            let length = LANES.min(pixels - start);
            let (mut light, brightness) = if plain {
                self.mixed_plain(inputs, start, length)
            } else {
                self.mixed_parts(inputs, start, length)
            };
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

    // Mixed light of a block, and its brightness, from the channels alone.
    #[inline(always)]
    fn mixed_plain(&self, inputs: &[&[f32]], start: usize, length: usize) -> (LightBlock, Block) {
        let mut values: Block = [0.0; LANES];
        let mut tones: Block = [0.0; LANES];
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
        (mixer.light(), brightness)
    }
}

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
