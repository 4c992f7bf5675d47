//! A rendition on the screen.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::canvas::{Drawn, fill};
use super::stage::Stage;
use super::{Request, layer, parts};
use crate::engine::color::space::Space;
use crate::engine::color::transfer::srgb_decode_tone;
use crate::engine::color::vision::Vision;
use crate::engine::compose::{Codes, Composition};
use crate::engine::frame::Depth;
use crate::engine::recipe::{Rendition, ShowStars};

/// A rendition with the values of its channels on the grid.
pub(super) struct Staged {
    composition: Composition,
    values: Vec<Arc<Vec<f32>>>,
    to_screen: Screen,
}

impl Staged {
    /// Sets a rendition up. Channels that are not in memory take no part; None
    /// where none is left, or `cancel` was set.
    pub fn new(
        stage: &mut Stage,
        request: &Request,
        id: &str,
        depth: Depth,
        cancel: &AtomicBool,
    ) -> Option<Self> {
        let recipe = &request.recipe;
        let rendition = present(request, recipe.rendition(id)?)?;
        let composition = Composition::new(recipe, &rendition, request.space, depth).ok()?;
        let values = parts::values(stage, request, &rendition, &composition, cancel)?;
        Some(Self {
            composition,
            values,
            to_screen: Screen::new(request.space, request.vision),
        })
    }

    fn inputs(&self, pixels: &std::ops::Range<usize>) -> Vec<&[f32]> {
        self.values
            .iter()
            .map(|values| &values[pixels.clone()])
            .collect()
    }

    /// Light of the screen (linear, sRGB primaries, 0..1, as the reader sees
    /// it) of a run of pixels, R G B.
    pub fn light(&self, pixels: &std::ops::Range<usize>, out: &mut [f32], looks: &mut [u8]) {
        let codes = Codes::F32(out);
        self.composition
            .run_looking(&self.inputs(pixels), codes, looks);
        let level = fearless_simd::Level::new();
        fearless_simd::dispatch!(level, _simd => self.to_screen.convert(out));
    }
}

/// Draws a rendition.
pub(super) fn draw(
    stage: &mut Stage,
    request: &Request,
    id: &str,
    cancel: &AtomicBool,
) -> Option<Drawn> {
    if request.space == Space::Srgb && request.vision == Vision::Usual {
        // The very codes of a composite.
        let staged = Staged::new(stage, request, id, Depth::Eight, cancel)?;
        return fill(request, cancel, |piece| {
            let inputs = staged.inputs(&piece.pixels);
            let codes = Codes::U8(piece.rgb);
            staged.composition.run_looking(&inputs, codes, piece.looks);
        });
    }
    let staged = Staged::new(stage, request, id, Depth::Float32, cancel)?;
    fill(request, cancel, |piece| {
        let mut light = vec![0.0; piece.rgb.len()];
        staged.light(&piece.pixels, &mut light, piece.looks);
        crate::engine::encode::srgb_codes(&light, piece.rgb);
    })
}

// The rendition without the channels that are not in memory.
fn present(request: &Request, rendition: &Rendition) -> Option<Rendition> {
    let mut rendition = rendition.clone();
    for (index, channel) in request.recipe.channels.iter().enumerate() {
        if layer(request, index).is_none() {
            rendition.colors.remove(&channel.id);
            if let Some(luminance) = &mut rendition.luminance {
                luminance.from.remove(&channel.id);
            }
        }
    }
    // Stars whose colours are not there yet have none.
    let missing = |band: &str| {
        let id = request.recipe.band(band).map(|channel| channel.id.as_str());
        let mut channels = request.recipe.channels.iter();
        let at = channels.position(|channel| Some(channel.id.as_str()) == id);
        at.is_none_or(|index| layer(request, index).is_none())
    };
    if let Some(stars) = &mut rendition.stars
        && stars.show == ShowStars::Broadband
        && ["R", "G", "B"].into_iter().any(missing)
    {
        stars.show = ShowStars::Neutral;
    }
    let lit = |weight: &f64| *weight > 0.0;
    let luminance = rendition.luminance.take();
    rendition.luminance = luminance.filter(|luminance| luminance.from.values().any(lit));
    let any = !rendition.colors.is_empty() || rendition.luminance.is_some();
    any.then_some(rendition)
}

/// Codes, R G B, as a reader sees them.
pub(super) fn seen(codes: &mut [u8], vision: Vision) {
    if vision == Vision::Usual {
        return;
    }
    let mut light: Vec<f32> = codes
        .iter()
        .map(|code| srgb_decode_tone(f32::from(*code) / 255.0))
        .collect();
    Screen::new(Space::Srgb, vision).convert(&mut light);
    crate::engine::encode::srgb_codes(&light, codes);
}

// From light of the output space to light of the screen.
struct Screen {
    matrix: Option<[[f32; 3]; 3]>,
    vision: Vision,
}

impl Screen {
    fn new(space: Space, vision: Vision) -> Self {
        use crate::engine::color::space::inverse;
        let back = inverse(&space.from_linear_srgb());
        Self {
            matrix: (space != Space::Srgb).then(|| back.map(|row| row.map(|entry| entry as f32))),
            vision,
        }
    }

    #[inline(always)]
    fn convert(&self, light: &mut [f32]) {
        for pixel in light.chunks_exact_mut(3) {
            let [r, g, b] = [pixel[0], pixel[1], pixel[2]];
            let rgb = match &self.matrix {
                Some(matrix) => matrix.map(|row| row[0] * r + row[1] * g + row[2] * b),
                None => [r, g, b],
            };
            let rgb = rgb.map(crate::engine::finish::gamut::clip);
            let seen = match self.vision {
                Vision::Usual => rgb,
                vision => vision.see(rgb.map(f64::from)).map(|part| part as f32),
            };
            pixel.copy_from_slice(&seen);
        }
    }
}
