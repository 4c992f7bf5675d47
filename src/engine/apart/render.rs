//! One line alone, as a rendition shows it, and as readers see that.

use crate::engine::color::difference::{Lab, ciede2000};
use crate::engine::color::space::Space;
use crate::engine::color::transfer::srgb_decode;
use crate::engine::color::vision::Vision;
use crate::engine::finish::Prepared;
use crate::engine::mix::Mixer;
use crate::engine::num::{Block, LANES};
use crate::engine::recipe::{Blend, Rendition};

/// The tones at which lines are held against each other: from where a nebula
/// fades to where it is brightest.
pub const TONES: [f64; 4] = [0.35, 0.5, 0.75, 1.0];

/// Distances (CIEDE2000) by [`Vision::ALL`], each at [`TONES`].
pub type Distances = [[f64; TONES.len()]; Vision::ALL.len()];

/// A rendition's mix, finish and gamut for one line at a time, with the very
/// steps that make the picture. The screen is taken for sRGB.
#[derive(Debug, Clone)]
pub struct Alone {
    blend: Blend,
    finish: Prepared,
}

impl Alone {
    /// For a checked rendition.
    pub fn new(rendition: &Rendition) -> Self {
        Self {
            blend: rendition.blend,
            finish: Prepared::new(rendition, Space::Srgb),
        }
    }

    /// What is shown of a line with this colour vector where no other line
    /// shines: linear sRGB, 0..1, at each of [`TONES`]. `share` is the line's
    /// part in the brightness where the rendition takes that from channels.
    pub fn shown(&self, vector: [f64; 3], share: f64) -> [[f64; 3]; TONES.len()] {
        let mut tones: Block = [0.0; LANES];
        for (slot, tone) in tones.iter_mut().zip(TONES) {
            *slot = tone as f32;
        }
        let mut mixer = Mixer::new(self.blend);
        mixer.add(&tones, vector.map(|component| component as f32));
        let brightness = tones.map(|tone| share as f32 * srgb_decode(tone));
        let mut light = mixer.light();
        self.finish.run(&mut light, &brightness);
        std::array::from_fn(|i| {
            [light[0][i], light[1][i], light[2][i]]
                .map(|component| f64::from(component).clamp(0.0, 1.0))
        })
    }

    /// The same as four kinds of readers see it.
    pub fn seen(&self, vector: [f64; 3], share: f64) -> Seen {
        Seen::of(&self.shown(vector, share))
    }
}

/// A channel's part in the brightness of a rendition, 0..1: 0 where none is
/// taken from channels.
pub fn brightness_share(rendition: &Rendition, channel: &str) -> f64 {
    let Some(luminance) = &rendition.luminance else {
        return 0.0;
    };
    let total: f64 = luminance.from.values().sum();
    match luminance.from.get(channel) {
        Some(weight) if total > 0.0 => weight / total,
        _ => 0.0,
    }
}

/// A line alone, by [`Vision::ALL`] and [`TONES`].
#[derive(Debug, Clone, PartialEq)]
pub struct Seen([[Lab; TONES.len()]; Vision::ALL.len()]);

impl Seen {
    /// What readers see of shown light.
    pub fn of(shown: &[[f64; 3]; TONES.len()]) -> Self {
        Self(Vision::ALL.map(|vision| shown.map(|rgb| Lab::from_linear_srgb(vision.see(rgb)))))
    }

    /// Lightness L* at full tone with usual colour vision, 0..100.
    pub fn lightness(&self) -> f64 {
        self.0[0][TONES.len() - 1].l
    }

    /// How far two lines lie apart.
    pub fn apart(&self, other: &Self) -> Distances {
        self.apart_at(other, [true; TONES.len()])
    }

    /// The same at some of [`TONES`]; infinite at the others.
    pub fn apart_at(&self, other: &Self, tones: [bool; TONES.len()]) -> Distances {
        std::array::from_fn(|vision| {
            std::array::from_fn(|tone| {
                if tones[tone] {
                    ciede2000(self.0[vision][tone], other.0[vision][tone])
                } else {
                    f64::INFINITY
                }
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::compose::{Codes, Composition};
    use crate::engine::frame::Depth;
    use crate::engine::mix::assign::assignments;
    use crate::engine::recipe::text::parse;

    /// The same light, to rounding, as the whole path makes of a pixel in which one channel
    /// has this tone and all others are dark.
    #[test]
    fn it_is_what_composing_shows() {
        let channel = |id: &str, line: &str| {
            format!(
                "[[channel]]\nid = \"{id}\"\nfile = \"f\"\nline = \"{line}\"\n\
                 [channel.stretch]\nblack = 0\nwhite = 1\n"
            )
        };
        for (blend, more) in [
            ("light", "saturation = 1.3\ngamut = \"hold-hue\""),
            ("tone", "gamut = \"clip\""),
            ("screen", ""),
            (
                "light",
                "luminance = { from = { ha = 2, oiii = 1 }, amount = 0.8 }",
            ),
        ] {
            let text = format!(
                "recipe = 1\n{}{}[[rendition]]\nid = \"r\"\nblend = \"{blend}\"\n{more}\n\
                 colors = {{ ha = {{ hue = 40, strength = 1.2 }}, oiii = \"natural\" }}\n",
                channel("ha", "Ha"),
                channel("oiii", "OIII"),
            );
            let recipe = parse(&text, "test").expect("sound");
            let rendition = &recipe.renditions[0];
            let composition =
                Composition::new(&recipe, rendition, Space::Srgb, Depth::Float32).expect("sound");
            let alone = Alone::new(rendition);
            let dark = [0.0_f32; TONES.len()];
            let lit = TONES.map(|tone| tone as f32);
            for assignment in assignments(&recipe, rendition).expect("sound") {
                let mut inputs = [&dark[..]; 2];
                inputs[assignment.channel] = &lit;
                let mut out = [0.0_f32; 3 * TONES.len()];
                composition.run(&inputs, Codes::F32(&mut out));
                let id = &recipe.channels[assignment.channel].id;
                let shown = alone.shown(assignment.linear_srgb, brightness_share(rendition, id));
                for (ours, theirs) in shown.iter().flatten().zip(out) {
                    let theirs = f64::from(theirs.clamp(0.0, 1.0));
                    assert!(
                        (ours - theirs).abs() < 1e-6,
                        "{blend} {more} {id}: {ours} {theirs}"
                    );
                }
            }
        }
    }
}
