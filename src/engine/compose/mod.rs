//! The path, in order: stretch, mix, finish, encode.
//!
//! Every step works on pixels alone, so a picture is made band by band:
//! memory is bounded by the bands in flight, and the same bits come out for
//! any number of threads.
//!
//! What a pixel needs beside its value (its light without stars, smoothed for
//! colour, ...) comes in as further rows; [`Composition::slots`] lists them.

mod bands;

mod parts;

mod pixels;

mod slots;

#[cfg(test)]
mod tests;

use super::color::space::{Matrix, Space, apply, inverse};
use super::color::transfer::srgb_decode_tone;
use super::finish;
use super::frame::Depth;
use super::mix::Mixer;
use super::mix::assign::{AssignError, assignments, natural_color};
use super::num::LANES;
use super::recipe::{Balance, Blend, Channel, Recipe, Rendition, ShowStars, StarLook};
use super::separate::Scale;
use super::stretch;
pub use bands::{ComposeError, Run, Sink, Source, Watch, compose, rows_in_flight};
pub use slots::Slot;

/// A rendition in an output space, ready to turn channel values into codes.
#[derive(Debug, Clone)]
pub struct Composition {
    channels: Vec<PreparedChannel>,
    slots: Vec<Slot>,
    blend: Blend,
    stars: ShowStars,
    scaling: Option<Scale>,
    // Colours from smoother channels than brightness.
    smooth: bool,
    // Of the weighted mean of the luminance's channels.
    luminance_stretch: Option<stretch::Prepared>,
    // Where the brightness lies among the inputs, when it comes from outside.
    brightness: Option<usize>,
    finish: finish::Prepared,
    space: Space,
    depth: Depth,
}

#[derive(Debug, Clone)]
struct PreparedChannel {
    index: usize,
    stretch: stretch::Prepared,
    color: Option<[f32; 3]>,
    // Of the stars, where they show as the broad bands do.
    star_color: Option<[f32; 3]>,
    luminance_weight: Option<f32>,
    at: slots::Places,
}

impl PreparedChannel {
    fn takes_part(&self) -> bool {
        self.color.is_some() || self.luminance_weight.is_some() || self.star_color.is_some()
    }
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
        let look = rendition.star_look();
        let luminance = rendition.luminance.as_ref();
        let weights = luminance.map(|luminance| &luminance.from);
        let total: f64 = weights.map_or(1.0, |weights| weights.values().sum());
        let mut channels: Vec<PreparedChannel> = recipe
            .channels
            .iter()
            .enumerate()
            .map(|(index, channel)| PreparedChannel {
                index,
                stretch: balanced(channel, rendition.balance.as_ref()),
                color: assigned
                    .iter()
                    .find(|assignment| assignment.channel == index)
                    .map(|assignment| assignment.linear_srgb.map(|component| component as f32)),
                star_color: star_color(recipe, channel, look),
                luminance_weight: weights
                    .and_then(|weights| weights.get(&channel.id))
                    .filter(|weight| **weight > 0.0)
                    .map(|weight| (weight / total) as f32),
                at: slots::Places::default(),
            })
            .filter(PreparedChannel::takes_part)
            .collect();
        let smooth = rendition.smooth_color.is_some_and(|share| share > 0.0);
        let detail = luminance.and_then(|l| l.detail).is_some_and(|d| d > 0.0);
        let (slots, brightness) = slots::lay_out(&mut channels, look, smooth, detail);
        Ok(Self {
            channels,
            slots,
            blend: rendition.blend,
            stars: look.show,
            scaling: look
                .is_scaled()
                .then(|| Scale::new(look.size as f32, look.brightness as f32)),
            smooth,
            luminance_stretch: luminance
                .and_then(|luminance| luminance.stretch.as_ref())
                .map(stretch::Prepared::new),
            brightness,
            finish: finish::Prepared::new(rendition, space),
            space,
            depth,
        })
    }

    /// Indices (in the recipe) of the channels that take part.
    pub fn channels(&self) -> impl Iterator<Item = usize> + '_ {
        self.channels.iter().map(|channel| channel.index)
    }

    /// What [`Self::run`] takes, in this order: first [`Slot::Whole`] of each of
    /// [`Self::channels`], then what else is needed.
    pub fn slots(&self) -> &[Slot] {
        &self.slots
    }

    // Every pixel is made of its channels' values alone.
    fn is_plain(&self) -> bool {
        self.slots.len() == self.channels.len()
            && self.scaling.is_none()
            && self.luminance_stretch.is_none()
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

// Finished light, held to what a screen can show, by the matrix `back` to the
// sRGB primaries. A comparison, so that what is no number is black.
fn on_screen(back: &Matrix, finished: [f32; 3]) -> [f64; 3] {
    let held = |c: f32| if c > 0.0 { f64::from(c.min(1.0)) } else { 0.0 };
    apply(back, finished.map(held))
}

/// Where a run of codes goes, interleaved R G B.
#[derive(Debug)]
pub enum Codes<'a> {
    /// See [`Coded::U8`](super::frame::Coded::U8).
    U8(&'a mut [u8]),
    /// See [`Coded::U16`](super::frame::Coded::U16).
    U16(&'a mut [u16]),
    /// See [`Coded::F32`](super::frame::Coded::F32).
    F32(&'a mut [f32]),
}

// The stretch of a channel; a white balance acts on its light above the sky.
fn balanced(channel: &Channel, balance: Option<&Balance>) -> stretch::Prepared {
    let band = balance.and_then(|balance| Some((balance, band(channel)?)));
    let Some((balance, band)) = band else {
        return stretch::Prepared::new(&channel.stretch);
    };
    let own = &channel.stretch;
    let sky = balance.sky.map_or(own.black, |sky| sky[band]);
    // s + g (v - s) reaches an end where v does s + (end - s) / g.
    let moved = |end: f64| sky + (end - sky) / balance.gains[band];
    stretch::Prepared::new(&super::recipe::Stretch {
        black: moved(own.black),
        white: moved(own.white),
        ..own.clone()
    })
}

// 0, 1, 2 for channels of R, G, B.
fn band(channel: &Channel) -> Option<usize> {
    let line = super::lines::line(&channel.line)?;
    ["R", "G", "B"].iter().position(|band| *band == line.id)
}

pub(crate) fn star_color(recipe: &Recipe, channel: &Channel, look: StarLook) -> Option<[f32; 3]> {
    let broadband = look.show == ShowStars::Broadband;
    let line = super::lines::line(&channel.line)?;
    let first = recipe
        .band(&line.id)
        .is_some_and(|one| one.id == channel.id);
    (broadband && first && band(channel).is_some())
        .then(|| natural_color(&channel.line, None))?
        .map(|color| color.map(|component| component as f32))
}
