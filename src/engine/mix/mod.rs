//! Tones and colours become light: the blend.
//!
//! ```text
//! light   c = sum_i m_i * E(y_i)
//! tone    c = E(sum_i m_i * y_i)
//! screen  c = 1 - prod_i (1 - clamp(m_i * E(y_i), 0, 1))
//! ```
//!
//! `E` is the sRGB decoding, odd below zero; `m_i` a channel's colour vector in
//! linear light on the sRGB primaries, unbounded.

pub mod assign;

use super::color::transfer::{srgb_decode, srgb_decode_tone};
use super::num::{Block, LANES};
use super::recipe::Blend;

/// Linear light on the sRGB primaries of a block of pixels: r, g, b.
pub type LightBlock = [Block; 3];

/// A mix in progress for one block of pixels.
#[derive(Debug, Clone, Copy)]
pub struct Mixer {
    blend: Blend,
    sum: LightBlock,
}

impl Mixer {
    /// Nothing mixed yet: black.
    #[inline(always)]
    pub fn new(blend: Blend) -> Self {
        let start = if blend == Blend::Screen { 1.0 } else { 0.0 };
        Self {
            blend,
            sum: [[start; LANES]; 3],
        }
    }

    /// Adds a channel: its tones, all in 0..1, and its colour vector.
    #[inline(always)]
    pub fn add(&mut self, tones: &Block, color: [f32; 3]) {
        let mut light = *tones;
        if self.blend != Blend::Tone {
            for value in &mut light {
                *value = srgb_decode_tone(*value);
            }
        }
        for component in 0..3 {
            let m = color[component];
            // Adds nothing, covers nothing.
            if m == 0.0 {
                continue;
            }
            let sum = &mut self.sum[component];
            match self.blend {
                Blend::Tone | Blend::Light => {
                    for i in 0..LANES {
                        sum[i] += m * light[i];
                    }
                }
                Blend::Screen => {
                    for i in 0..LANES {
                        let layer = m * light[i];
                        let layer = if layer > 0.0 { layer } else { 0.0 };
                        let layer = if layer < 1.0 { layer } else { 1.0 };
                        sum[i] *= 1.0 - layer;
                    }
                }
            }
        }
    }

    /// The mixed light.
    #[inline(always)]
    pub fn light(mut self) -> LightBlock {
        for component in 0..3 {
            for i in 0..LANES {
                let value = self.sum[component][i];
                self.sum[component][i] = match self.blend {
                    Blend::Light => value,
                    Blend::Tone => srgb_decode(value),
                    Blend::Screen => 1.0 - value,
                };
            }
        }
        self.sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mix(blend: Blend, channels: &[(f32, [f32; 3])]) -> [f32; 3] {
        let mut mixer = Mixer::new(blend);
        for (tone, color) in channels {
            mixer.add(&[*tone; LANES], *color);
        }
        mixer.light().map(|component| component[LANES - 1])
    }

    #[test]
    fn one_channel_on_each_primary_gives_the_same_picture() {
        let channels = [
            (0.2, [1.0, 0.0, 0.0]),
            (0.5, [0.0, 1.0, 0.0]),
            (0.9, [0.0, 0.0, 1.0]),
        ];
        let light = mix(Blend::Light, &channels);
        for blend in [Blend::Tone, Blend::Screen] {
            for (a, b) in mix(blend, &channels).iter().zip(light) {
                assert!((a - b).abs() < 2e-7, "{blend:?}");
            }
        }
    }

    #[test]
    fn worked_values() {
        // E(0.5) = 0.214041140482..., E(0.75) = 0.522521525...
        let two = [(0.5, [1.0, 0.5, -0.5]), (0.5, [1.0, 1.0, 0.0])];
        let e = 0.214_041_14_f32;
        let light = mix(Blend::Light, &two);
        assert!((light[0] - 2.0 * e).abs() < 1e-6);
        assert!((light[2] + 0.5 * e).abs() < 1e-6);
        let tone = mix(Blend::Tone, &two);
        assert!((tone[0] - 1.0).abs() < 1e-6);
        assert!((tone[1] - 0.522_521_5).abs() < 1e-6);
        assert!(tone[2] < 0.0);
        let screen = mix(Blend::Screen, &two);
        assert!((screen[0] - (1.0 - (1.0 - e) * (1.0 - e))).abs() < 1e-6);
        assert_eq!(screen[2], 0.0);
    }
}
