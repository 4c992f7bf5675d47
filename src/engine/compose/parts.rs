//! A block of pixels whose stars, colours or brightness go ways of their own.

use super::super::color::oklab::PixelOklab;
use super::super::color::transfer::srgb_decode_tone;
use super::super::finish::lightness_of;
use super::super::mix::{LightBlock, Mixer};
use super::super::num::{Block, LANES};
use super::super::recipe::{Blend, ShowStars};
use super::Composition;

/// Luminance of linear light on the sRGB primaries (IEC 61966-2-1).
const GREY: [f32; 3] = [0.212_639, 0.715_168_7, 0.072_192_32];

/// A run of up to [`LANES`] pixels of one input, padded.
#[inline(always)]
fn block(input: &[f32], start: usize, length: usize) -> Block {
    let mut block = [0.0; LANES];
    block[..length].copy_from_slice(&input[start..start + length]);
    block
}

// Whether what two values differ by is no more than rounding: pixels without
// starlight have the same bits, and nearly the same where both were averaged.
#[inline(always)]
fn is_starless(whole: f32, nebula: f32) -> bool {
    let larger = whole.abs().max(nebula.abs());
    let apart = (whole - nebula).abs();
    apart <= 2e-6 * larger || apart.is_nan()
}

impl Composition {
    /// Mixed light of a block, and its brightness where the rendition takes it
    /// from channels.
    #[inline(always)]
    pub(super) fn mixed_parts(
        &self,
        inputs: &[&[f32]],
        start: usize,
        length: usize,
    ) -> (LightBlock, Block) {
        let brightness = match self.brightness {
            Some(place) => block(inputs[place], start, length),
            None => self.brightness_block(inputs, start, length),
        };
        let mut light = self.light_block(inputs, start, length, self.smooth);
        if self.smooth && !self.finish.takes_all_brightness() {
            // Colours of the smooth channels, lightness of the sharp ones.
            let sharp = self.light_block(inputs, start, length, false);
            let oklab = PixelOklab::new();
            lightness_of(&oklab, &mut light, &sharp);
        }
        (light, brightness)
    }

    /// The brightness of a run of pixels, linear light: what
    /// [`Slot::Brightness`](super::Slot::Brightness) is made from; inputs as for
    /// [`Self::run`], that slot left out.
    pub fn brightness(&self, inputs: &[&[f32]], out: &mut [f32]) {
        let level = fearless_simd::Level::new();
        fearless_simd::dispatch!(level, _simd => {
            for (index, out) in out.chunks_mut(LANES).enumerate() {
                let length = out.len();
                let brightness = self.brightness_block(inputs, index * LANES, length);
                out.copy_from_slice(&brightness[..length]);
            }
        });
    }

    #[inline(always)]
    fn brightness_block(&self, inputs: &[&[f32]], start: usize, length: usize) -> Block {
        let mut brightness: Block = [0.0; LANES];
        let mut tones: Block = [0.0; LANES];
        // Of the pixels' values, where they have a stretch of their own.
        let mut weights: Block = [0.0; LANES];
        for channel in &self.channels {
            let Some(weight) = channel.luminance_weight else {
                continue;
            };
            let places = &channel.at;
            let (whole, nebula) = self.apart(inputs, places, false, start, length);
            let values = match self.stars {
                ShowStars::None => nebula,
                _ => whole,
            };
            if self.luminance_stretch.is_some() {
                for i in 0..LANES {
                    let valid = !values[i].is_nan();
                    brightness[i] += if valid { weight * values[i] } else { 0.0 };
                    weights[i] += if valid { weight } else { 0.0 };
                }
            } else {
                channel.stretch.tones(&values, &mut tones);
                for i in 0..LANES {
                    brightness[i] += weight * srgb_decode_tone(tones[i]);
                }
            }
        }
        if let Some(stretch) = &self.luminance_stretch {
            for i in 0..LANES {
                brightness[i] /= weights[i];
            }
            // Nothing valid is 0 / 0, no data.
            stretch.tones(&brightness, &mut tones);
            for i in 0..LANES {
                brightness[i] = srgb_decode_tone(tones[i]);
            }
        }
        brightness
    }

    // A channel's values with its stars as they are to show, and without them.
    #[inline(always)]
    fn apart(
        &self,
        inputs: &[&[f32]],
        places: &super::slots::Places,
        smooth: bool,
        start: usize,
        length: usize,
    ) -> (Block, Block) {
        let mut whole = block(inputs[places.whole], start, length);
        let mut nebula = match places.nebula {
            Some(place) => block(inputs[place], start, length),
            None => whole,
        };
        if let Some(place) = places.smooth.filter(|_| smooth) {
            // Beneath stars the fill is smooth as it is; elsewhere there is one
            // value, and it stays one.
            let smooth = block(inputs[place], start, length);
            for i in 0..LANES {
                let starless = is_starless(whole[i], nebula[i]);
                whole[i] = if starless { smooth[i] } else { whole[i] };
                nebula[i] = if starless { smooth[i] } else { nebula[i] };
            }
        }
        if let (Some(scale), Some(place)) = (self.scaling, places.height) {
            let heights = block(inputs[place], start, length);
            for i in 0..LANES {
                let starless = is_starless(whole[i], nebula[i]);
                let stars = (whole[i] - nebula[i]) * scale.gain(heights[i]);
                whole[i] = if starless {
                    whole[i]
                } else {
                    nebula[i] + stars
                };
            }
        }
        (whole, nebula)
    }

    #[inline(always)]
    fn light_block(
        &self,
        inputs: &[&[f32]],
        start: usize,
        length: usize,
        smooth: bool,
    ) -> LightBlock {
        let mut tones: Block = [0.0; LANES];
        let mut all = Mixer::new(self.blend);
        let mut starless = Mixer::new(self.blend);
        let mut bands = Mixer::new(Blend::Light);
        let mut bands_starless = Mixer::new(Blend::Light);
        for channel in &self.channels {
            if channel.color.is_none() && channel.star_color.is_none() {
                continue;
            }
            let (whole, nebula) = self.apart(inputs, &channel.at, smooth, start, length);
            let with_stars = match self.stars {
                ShowStars::AsMixed | ShowStars::Neutral => channel.color,
                ShowStars::Broadband => channel.star_color,
                ShowStars::None => None,
            };
            if let Some(color) = with_stars {
                channel.stretch.tones(&whole, &mut tones);
                match self.stars {
                    ShowStars::Broadband => bands.add(&tones, color),
                    _ => all.add(&tones, color),
                }
            }
            if self.stars == ShowStars::AsMixed {
                continue;
            }
            channel.stretch.tones(&nebula, &mut tones);
            if let Some(color) = channel.color {
                starless.add(&tones, color);
            }
            if let Some(color) = channel.star_color {
                bands_starless.add(&tones, color);
            }
        }
        match self.stars {
            ShowStars::AsMixed => all.light(),
            ShowStars::None => starless.light(),
            ShowStars::Neutral => {
                let (all, mut light) = (all.light(), starless.light());
                for i in 0..LANES {
                    let grey = GREY[0] * (all[0][i] - light[0][i])
                        + GREY[1] * (all[1][i] - light[1][i])
                        + GREY[2] * (all[2][i] - light[2][i]);
                    for component in &mut light {
                        component[i] += grey;
                    }
                }
                light
            }
            ShowStars::Broadband => {
                let mut light = starless.light();
                let (bands, below) = (bands.light(), bands_starless.light());
                for component in 0..3 {
                    for i in 0..LANES {
                        light[component][i] += bands[component][i] - below[component][i];
                    }
                }
                light
            }
        }
    }
}
