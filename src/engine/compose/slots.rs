//! What a composition needs of each pixel.

use super::super::recipe::{ShowStars, StarLook};
use super::PreparedChannel;

/// One value for each pixel, by the channel's index in the recipe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Slot {
    /// A channel as it was prepared, in file units.
    Whole(usize),
    /// The same without its stars; the same bits where there is none.
    Nebula(usize),
    /// How high a pixel lies on its star's image: 1 on top, 0 where there is no
    /// star.
    Height(usize),
    /// The channel as smooth as colours take it.
    Smooth(usize),
    /// The brightness (linear light) with its fine structure brought out.
    Brightness,
}

impl Slot {
    /// The channel that it is made from.
    pub fn channel(self) -> Option<usize> {
        match self {
            Self::Whole(channel)
            | Self::Nebula(channel)
            | Self::Height(channel)
            | Self::Smooth(channel) => Some(channel),
            Self::Brightness => None,
        }
    }
}

/// Where the values of a channel lie among the inputs.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Places {
    pub whole: usize,
    pub nebula: Option<usize>,
    pub height: Option<usize>,
    pub smooth: Option<usize>,
}

/// Gives every value that is needed its place; the last result is that of the
/// brightness.
pub(super) fn lay_out(
    channels: &mut [PreparedChannel],
    look: StarLook,
    smooth: bool,
    detail: bool,
) -> (Vec<Slot>, Option<usize>) {
    let mut slots: Vec<Slot> = Vec::new();
    let mut place = |slot: Slot| {
        slots.push(slot);
        slots.len() - 1
    };
    for channel in &mut *channels {
        channel.at.whole = place(Slot::Whole(channel.index));
    }
    let apart = look.show != ShowStars::AsMixed || look.is_scaled();
    for channel in &mut *channels {
        let index = channel.index;
        channel.at.nebula = apart.then(|| place(Slot::Nebula(index)));
        channel.at.height = look.is_scaled().then(|| place(Slot::Height(index)));
        let colored = channel.color.is_some() || channel.star_color.is_some();
        channel.at.smooth = (smooth && colored).then(|| place(Slot::Smooth(index)));
    }
    let brightness = detail.then(|| place(Slot::Brightness));
    (slots, brightness)
}
