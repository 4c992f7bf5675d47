//! What renditions need of channels beside their values: made behind the
//! window, while pictures show the channels as they are.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use super::Event;
use super::layer::{Apart, Layer, LayerKey, Means, Parts, keys};
use super::load::{Desk, Places};
use super::tell::Tell;
use crate::engine::color::space::Space;
use crate::engine::compose::{Composition, Slot};
use crate::engine::frame::{Depth, Plane, Rows as _};
use crate::engine::recipe::Recipe;
use crate::work::preview::pyramid;
use crate::work::{Error, parts};

/// Layers by the ids of their channels.
pub type Layers = BTreeMap<String, Arc<Layer>>;

/// What the renditions of a recipe need of one channel.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Need {
    smooth: bool,
    apart: bool,
}

impl Need {
    fn of(recipe: &Recipe, index: usize) -> Self {
        let own = recipe.channels[index].denoise.unwrap_or(0.0) > 0.0;
        let mut need = Self::default();
        for rendition in &recipe.renditions {
            let Ok(composition) = Composition::new(recipe, rendition, Space::Srgb, Depth::Eight)
            else {
                continue;
            };
            for slot in composition.slots() {
                match slot {
                    Slot::Whole(of) if *of == index => need.smooth |= own,
                    Slot::Smooth(of) if *of == index => need.smooth = true,
                    Slot::Nebula(of) if *of == index => need.apart = true,
                    _ => {}
                }
            }
        }
        need
    }

    fn is_met(self, parts: &Parts, denoise: f64) -> bool {
        let smooth = !self.smooth || parts.smooth.is_some();
        let apart = parts.apart.as_ref();
        let apart = !self.apart || apart.is_some_and(|apart| apart.denoise == denoise);
        smooth && apart
    }
}

/// Ids of the channels in memory of which a rendition needs more than there is.
pub fn lacking(recipe: &Recipe, layers: &Layers) -> Vec<String> {
    let lacks = |index: usize| {
        let channel = &recipe.channels[index];
        layers.get(&channel.id).is_some_and(|layer| {
            let denoise = channel.denoise.unwrap_or(0.0);
            !Need::of(recipe, index).is_met(&layer.parts, denoise)
        })
    };
    (0..recipe.channels.len())
        .filter(|index| lacks(*index))
        .map(|index| recipe.channels[index].id.clone())
        .collect()
}

/// What renditions need of all channels: while this stays, what is being made is
/// still wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted(Vec<(LayerKey, Need, f64)>);

impl Wanted {
    /// By a recipe whose files are relative to `folder`.
    pub fn by(recipe: &Recipe, folder: &Path) -> Self {
        let channels = recipe.channels.iter().enumerate();
        let needs = channels
            .zip(keys(recipe, folder))
            .map(|((index, channel), key)| {
                let denoise = channel.denoise.unwrap_or(0.0);
                (key, Need::of(recipe, index), denoise)
            });
        Self(needs.collect())
    }
}

/// Makes what [`lacking`] says, channel by channel.
///
/// # Errors
/// When the job is stopped.
pub fn run(recipe: &Recipe, folder: &Path, layers: &Layers, tell: &Tell<'_>) -> Result<(), Error> {
    let desk = Desk::new(recipe, folder, &Places::new(), tell);
    let keys = keys(recipe, folder);
    for (index, channel) in recipe.channels.iter().enumerate() {
        let current = |layer: &&Arc<Layer>| layer.key == keys[index];
        let Some(layer) = layers.get(&channel.id).filter(current) else {
            continue;
        };
        let (need, denoise) = (Need::of(recipe, index), channel.denoise.unwrap_or(0.0));
        if need.is_met(&layer.parts, denoise) {
            continue;
        }
        match made(layer, need, &channel.id, denoise, &desk, index) {
            Ok((parts, notices)) => tell.event(Event::Parts {
                ticket: tell.ticket,
                channel: channel.id.clone(),
                key: Box::new(layer.key.clone()),
                parts: Box::new(parts),
                notices,
            }),
            Err(Error::Cancelled) => tell.control().check()?,
            // The channel itself is there, and stays.
            Err(error) => tell.event(Event::Parts {
                ticket: tell.ticket,
                channel: channel.id.clone(),
                key: Box::new(layer.key.clone()),
                parts: Box::new(layer.parts.clone()),
                notices: vec![format!("{}: {error}; {}", channel.id, error.hint())],
            }),
        }
    }
    Ok(())
}

fn made(
    layer: &Layer,
    need: Need,
    id: &str,
    denoise: f64,
    desk: &Desk<'_>,
    index: usize,
) -> Result<(Parts, Vec<String>), Error> {
    let control = desk.control(index);
    let mut parts = layer.parts.clone();
    let mut notices = Vec::new();
    if need.smooth && parts.smooth.is_none() {
        let smooth = parts::smoothed(&layer.plane, id, control)?;
        parts.smooth = Some(means(smooth));
    }
    let known = parts.apart.as_ref();
    if need.apart && known.is_none_or(|apart| apart.denoise != denoise) {
        let own;
        let whole: &Plane = match &parts.smooth {
            Some(smooth) if denoise > 0.0 => {
                own = parts::blended(&layer.plane, &smooth.plane, denoise);
                &own
            }
            _ => &layer.plane,
        };
        let (parted, entry) = parts::parted(whole, id, layer.ceiling, control)?;
        notices.extend(
            parted
                .notices
                .iter()
                .map(|notice| format!("{id}: {notice}")),
        );
        parts.apart = Some(Apart {
            denoise,
            nebula: means(parted.nebula(whole)),
            heights: means(parts::heights(&parted.footprint, whole.size())),
            stars: entry.stars,
        });
    }
    Ok((parts, notices))
}

fn means(plane: Plane) -> Means {
    Means {
        reduced: pyramid(&plane),
        plane: Arc::new(plane),
    }
}
