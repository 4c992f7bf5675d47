//! A channel in memory.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::engine::compose::Slot;
use crate::engine::frame::{Plane, Size};
use crate::engine::full::Marks;
use crate::engine::header::Header;
use crate::engine::level::SkyModel;
use crate::engine::measure::{Histogram, Levels, glance};
use crate::engine::recipe::{Align, Channel, Continuum, Crop, Level, Recipe, Stretch};
use crate::engine::separate::Footprint;
use crate::engine::stretch::auto::auto;
use crate::io::record::{AlignEntry, ContinuumEntry, LevelEntry};

/// A channel that is ready to be stretched, in memory.
#[derive(Debug, Clone)]
pub struct Layer {
    /// What it was made from.
    pub key: LayerKey,
    /// Its values on the common grid.
    pub plane: Arc<Plane>,
    /// Area means over 4 x 4, 8 x 8, ... pixels; the last is small.
    pub reduced: Vec<Arc<Plane>>,
    /// Where its first pixel lies on the reference's grid before the crop: what
    /// the sky model counts from.
    pub origin: [usize; 2],
    /// The grid's header (world coordinates), moved with the crop.
    pub header: Arc<Header>,
    /// Levels in file units; None where no pixel is valid.
    pub levels: Option<Levels>,
    /// How far its bright part stands out of its noise
    /// ([`signal_to_noise`](crate::engine::measure::signal_to_noise)).
    pub signal_to_noise: Option<f64>,
    /// Counts over a scale of its own.
    pub histogram: Arc<Histogram>,
    /// The value at which the detector is full, if known.
    pub ceiling: Option<f64>,
    /// Where pixels went in at which a detector was full; None: nowhere.
    pub full: Option<Arc<Marks>>,
    /// Total exposure in seconds, if known.
    pub exposure_s: Option<f64>,
    /// How it came onto the grid; None: its pixels as they stood.
    pub align: Option<AlignEntry>,
    /// How its sky was evened; None: left alone.
    pub level: Option<LevelEntry>,
    /// The sky model that was taken out.
    pub model: Option<Arc<SkyModel>>,
    /// How the stars' light was taken out; None: it stayed.
    pub continuum: Option<ContinuumEntry>,
    /// What some renditions need beside its values, as far as it is made.
    pub parts: Parts,
}

/// A plane with its area means.
#[derive(Debug, Clone)]
pub struct Means {
    /// The values.
    pub plane: Arc<Plane>,
    /// Over 4 x 4, 8 x 8, ... pixels; the last is small.
    pub reduced: Vec<Arc<Plane>>,
}

/// What renditions need of a channel beside its values.
#[derive(Debug, Clone, Default)]
pub struct Parts {
    /// The channel with its noise smoothed away.
    pub smooth: Option<Means>,
    /// Its stars and the rest: for each set of channels that tell of them.
    pub apart: Vec<Apart>,
}

impl Parts {
    /// Its stars as these channels tell of them, or as others do until that is
    /// made.
    pub fn apart_by(&self, channels: &[&str]) -> Option<&Apart> {
        let same = |apart: &&Apart| {
            let own = apart.by.iter().map(|teller| teller.channel.as_str());
            own.eq(channels.iter().copied())
        };
        self.apart.iter().find(same).or(self.apart.first())
    }
}

/// A channel that told of stars.
#[derive(Debug, Clone, PartialEq)]
pub struct Teller {
    /// Its id.
    pub channel: String,
    /// What it was made from.
    pub key: LayerKey,
    /// Its `denoise`.
    pub denoise: f64,
}

/// A channel whose stars were told from its nebula.
#[derive(Debug, Clone)]
pub struct Apart {
    /// The channel's `denoise` at which this was done.
    pub denoise: f64,
    /// The channels that told of the stars, by their ids.
    pub by: Vec<Teller>,
    /// Without stars; the same bits elsewhere.
    pub nebula: Means,
    /// How high each pixel lies on its star's image: 1 on top, 0 where there is
    /// none.
    pub heights: Heights,
    /// What was told apart.
    pub stars: usize,
}

/// How high each pixel lies on its star's image.
#[derive(Debug, Clone)]
pub enum Heights {
    /// Where the stars are, in runs along the rows: as much as is needed while
    /// stars show as large and bright as they are.
    Runs(Arc<Footprint>),
    /// Of every pixel.
    Whole(Means),
}

impl Heights {
    /// Of every pixel, once that is made.
    pub fn whole(&self) -> Option<&Means> {
        match self {
            Self::Runs(_) => None,
            Self::Whole(means) => Some(means),
        }
    }
}

impl Layer {
    /// What stands for a slot of a rendition
    /// [in small](crate::engine::recipe::Rendition::in_small): the channel without
    /// its stars as `tellers` tell of them, as far as that is made, or as it is.
    pub fn stand_in(&self, slot: Slot, tellers: &[&str]) -> (&Arc<Plane>, &[Arc<Plane>]) {
        match (slot, self.parts.apart_by(tellers)) {
            (Slot::Nebula(_), Some(apart)) => (&apart.nebula.plane, &apart.nebula.reduced),
            _ => (&self.plane, &self.reduced),
        }
    }

    /// Width and height on the common grid.
    pub fn size(&self) -> Size {
        use crate::engine::frame::Rows as _;
        self.plane.size()
    }
}

/// What a layer is made from: while this stays, the layer stays.
#[derive(Debug, Clone, PartialEq)]
pub struct LayerKey {
    /// The channel's file.
    pub file: PathBuf,
    /// Which picture of it.
    pub hdu: Option<usize>,
    /// Which plane.
    pub plane: Option<usize>,
    /// How it is aligned.
    pub align: Option<Align>,
    /// How its sky is evened.
    pub level: Option<Level>,
    /// How the stars' light is taken out, and the key of the broad channel.
    pub continuum: Option<(Continuum, Box<LayerKey>)>,
    /// What is kept.
    pub crop: Option<Crop>,
    /// The file of the grid, where the layer depends on it.
    pub grid: Option<PathBuf>,
}

/// The keys of a recipe's channels, in its order.
pub fn keys(recipe: &Recipe, folder: &Path) -> Vec<LayerKey> {
    let reference = recipe.reference().map(|channel| folder.join(&channel.file));
    let plain = |channel: &Channel| LayerKey {
        file: folder.join(&channel.file),
        hdu: channel.hdu,
        plane: channel.plane,
        align: channel.align.clone(),
        level: channel.level.clone(),
        continuum: None,
        crop: recipe.crop,
        grid: channel.align.as_ref().and(reference.clone()),
    };
    let whole = |channel: &Channel| LayerKey {
        continuum: channel.continuum.as_ref().and_then(|continuum| {
            let broad = recipe.channel(&continuum.from)?;
            Some((continuum.clone(), Box::new(plain(broad))))
        }),
        ..plain(channel)
    };
    recipe.channels.iter().map(whole).collect()
}

/// A stretch that suits a channel, from evenly spaced rows of its pixels.
///
/// # Errors
/// In words, where there is nothing to stretch.
pub fn auto_stretch(layer: &Layer) -> Result<Stretch, String> {
    let survey = glance(&*layer.plane, layer.ceiling).map_err(|error| error.to_string())?;
    auto(&survey).map_err(|error| format!("{error}; {}", error.hint()))
}
