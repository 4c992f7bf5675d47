//! What renditions need of channels beside their values: made behind the
//! window, while pictures show the channels as they are.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use super::Event;
use super::layer::{Apart, Layer, LayerKey, Means, Parts, Teller, keys};
use super::load::{Desk, Places};
use super::tell::Tell;
use crate::engine::color::space::Space;
use crate::engine::compose::{Composition, Slot};
use crate::engine::frame::{Depth, Plane, Rows as _};
use crate::engine::recipe::Recipe;
use crate::work::parting::{self, Parting};
use crate::work::preview::pyramid;
use crate::work::{Error, parts};

/// Layers by the ids of their channels.
pub type Layers = BTreeMap<String, Arc<Layer>>;

/// Channels whose stars are told apart together, by index; and whether a rendition
/// wants them apart or they are only asked.
type Group = Vec<(usize, bool)>;

/// What the renditions of a recipe need beside its channels.
#[derive(Debug, Clone, PartialEq)]
struct Needs {
    /// Which channels have their noise smoothed.
    smooth: Vec<bool>,
    groups: Vec<Group>,
}

impl Needs {
    fn of(recipe: &Recipe) -> Self {
        let mut needs = Self {
            smooth: vec![false; recipe.channels.len()],
            groups: Vec::new(),
        };
        for rendition in &recipe.renditions {
            let Ok(composition) = Composition::new(recipe, rendition, Space::Srgb, Depth::Eight)
            else {
                continue;
            };
            for slot in composition.slots() {
                match slot {
                    Slot::Whole(of) => needs.smooth[*of] |= denoise(recipe, *of) > 0.0,
                    Slot::Smooth(of) => needs.smooth[*of] = true,
                    _ => {}
                }
            }
            let mut group = parting::order(&composition);
            group.sort_unstable();
            if !group.is_empty() {
                needs.add(&group);
            }
        }
        needs
    }

    fn add(&mut self, group: &[(usize, bool)]) {
        let indices = |group: &[(usize, bool)]| -> Vec<usize> {
            group.iter().map(|(index, _)| *index).collect()
        };
        let same = |own: &&mut Group| indices(own) == indices(group);
        match self.groups.iter_mut().find(same) {
            Some(own) => {
                for (own, new) in own.iter_mut().zip(group) {
                    own.1 |= new.1;
                }
            }
            None => self.groups.push(group.to_vec()),
        }
    }
}

fn denoise(recipe: &Recipe, index: usize) -> f64 {
    recipe.channels[index].denoise.unwrap_or(0.0)
}

/// The channels of a group that are in memory, by their ids.
fn tellers(recipe: &Recipe, group: &Group, layers: &Layers) -> Vec<Teller> {
    let teller = |(index, _): &(usize, bool)| {
        let id = &recipe.channels[*index].id;
        layers.get(id).map(|layer| Teller {
            channel: id.clone(),
            key: layer.key.clone(),
            denoise: denoise(recipe, *index),
        })
    };
    let mut tellers: Vec<Teller> = group.iter().filter_map(teller).collect();
    tellers.sort_by(|a, b| a.channel.cmp(&b.channel));
    tellers
}

fn is_apart(parts: &Parts, tellers: &[Teller]) -> bool {
    parts.apart.iter().any(|apart| apart.by == *tellers)
}

/// Ids of the channels in memory of which a rendition needs more than there is.
pub fn lacking(recipe: &Recipe, layers: &Layers) -> Vec<String> {
    let needs = Needs::of(recipe);
    let mut lacks = vec![false; recipe.channels.len()];
    let layer = |index: usize| layers.get(&recipe.channels[index].id);
    for (index, smooth) in needs.smooth.iter().enumerate() {
        lacks[index] = *smooth && layer(index).is_some_and(|layer| layer.parts.smooth.is_none());
    }
    for group in &needs.groups {
        let tellers = tellers(recipe, group, layers);
        for (index, _) in group.iter().filter(|(_, apart)| *apart) {
            lacks[*index] |= layer(*index).is_some_and(|layer| !is_apart(&layer.parts, &tellers));
        }
    }
    let channels = recipe.channels.iter().zip(lacks);
    channels
        .filter(|(_, lacks)| *lacks)
        .map(|(channel, _)| channel.id.clone())
        .collect()
}

/// What renditions need of all channels: while this stays, what is being made is
/// still wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    channels: Vec<(LayerKey, f64)>,
    needs: Needs,
}

impl Wanted {
    /// By a recipe whose files are relative to `folder`.
    pub fn by(recipe: &Recipe, folder: &Path) -> Self {
        let keys = keys(recipe, folder).into_iter().enumerate();
        Self {
            channels: keys
                .map(|(index, key)| (key, denoise(recipe, index)))
                .collect(),
            needs: Needs::of(recipe),
        }
    }
}

/// Makes what [`lacking`] says: smooth channels one by one, then stars told apart,
/// group by group.
///
/// # Errors
/// When the job is stopped.
pub fn run(recipe: &Recipe, folder: &Path, layers: &Layers, tell: &Tell<'_>) -> Result<(), Error> {
    let desk = Desk::new(recipe, folder, &Places::new(), tell);
    let keys = keys(recipe, folder);
    let indices: BTreeMap<&str, usize> = (recipe.channels.iter().enumerate())
        .map(|(index, channel)| (channel.id.as_str(), index))
        .collect();
    let is_current =
        |id: &str, layer: &Layer| indices.get(id).map(|of| &keys[*of]) == Some(&layer.key);
    let current = layers.iter().filter(|(id, layer)| is_current(id, layer));
    let mut work = Work {
        recipe,
        layers: current
            .map(|(id, layer)| (id.clone(), Arc::clone(layer)))
            .collect(),
        desk: &desk,
        tell,
    };
    let needs = Needs::of(recipe);
    for index in (0..recipe.channels.len()).filter(|index| needs.smooth[*index]) {
        let id = &recipe.channels[index].id;
        let layer = work.layers.get(id).cloned();
        let Some(layer) = layer.filter(|layer| layer.parts.smooth.is_none()) else {
            continue;
        };
        match parts::smoothed(&layer.plane, id, desk.control(index)) {
            Ok(smooth) => work.change(id, Vec::new(), |parts| parts.smooth = Some(means(smooth))),
            Err(Error::Cancelled) => tell.control().check()?,
            Err(error) => work.failed(id, &error),
        }
    }
    let wanted: Vec<Vec<Teller>> = needs
        .groups
        .iter()
        .map(|group| tellers(recipe, group, &work.layers))
        .collect();
    for (group, by) in needs.groups.iter().zip(&wanted) {
        match work.part(group, by, &wanted) {
            Ok(()) => {}
            Err(Error::Cancelled) => tell.control().check()?,
            Err(error) => {
                for (index, _) in group.iter().filter(|(_, apart)| *apart) {
                    work.failed(&recipe.channels[*index].id, &error);
                }
            }
        }
    }
    Ok(())
}

/// Channels in memory whose parts are being made.
struct Work<'a> {
    recipe: &'a Recipe,
    layers: Layers,
    desk: &'a Desk<'a>,
    tell: &'a Tell<'a>,
}

impl Work<'_> {
    /// Changes a channel's parts, and tells of it.
    fn change(&mut self, id: &str, notices: Vec<String>, change: impl FnOnce(&mut Parts)) {
        let Some(layer) = self.layers.get_mut(id) else {
            return;
        };
        let mut new = Layer::clone(layer);
        change(&mut new.parts);
        *layer = Arc::new(new);
        self.tell.event(Event::Parts {
            ticket: self.tell.ticket,
            channel: id.to_owned(),
            key: Box::new(layer.key.clone()),
            parts: Box::new(layer.parts.clone()),
            notices,
        });
    }

    // The channel itself is there, and stays.
    fn failed(&mut self, id: &str, error: &Error) {
        self.change(id, vec![format!("{id}: {error}; {}", error.hint())], |_| {});
    }

    /// A channel, less its share of the noise.
    fn whole(&self, index: usize) -> Option<Whole> {
        let layer = self.layers.get(&self.recipe.channels[index].id)?;
        let share = denoise(self.recipe, index);
        let plane = match &layer.parts.smooth {
            Some(smooth) if share > 0.0 => {
                Arc::new(parts::blended(&layer.plane, &smooth.plane, share))
            }
            _ => Arc::clone(&layer.plane),
        };
        Some(Whole {
            plane,
            ceiling: layer.ceiling,
        })
    }

    /// Tells the stars of a group's channels apart. `wanted` is what other groups
    /// are told by too.
    fn part(&mut self, group: &Group, by: &[Teller], wanted: &[Vec<Teller>]) -> Result<(), Error> {
        let id = |index: usize| self.recipe.channels[index].id.clone();
        let lacks = |(index, apart): &&(usize, bool)| {
            let layer = self.layers.get(&id(*index));
            *apart && layer.is_some_and(|layer| !is_apart(&layer.parts, by))
        };
        if group.iter().find(lacks).is_none() {
            return Ok(());
        }
        let here = group
            .iter()
            .copied()
            .filter(|(index, _)| self.layers.contains_key(&id(*index)));
        let (apart, asked): (Vec<_>, Vec<_>) = here.partition(|(_, apart)| *apart);
        let mut parting = Parting::default();
        for (index, _) in apart.iter().chain(&asked) {
            if let Some(whole) = self.whole(*index) {
                let control = self.desk.control(*index);
                parting.add(&whole.plane, &id(*index), whole.ceiling, control)?;
            }
        }
        for (index, _) in apart {
            let id = self.recipe.channels[index].id.clone();
            let Some(whole) = self.whole(index) else {
                continue;
            };
            let (parted, entry) = parting.next(&whole.plane, self.desk.control(index))?;
            let told = parted.notices.iter();
            let notices = told.map(|notice| format!("{id}: {notice}")).collect();
            let size = whole.plane.size();
            let apart = Apart {
                denoise: denoise(self.recipe, index),
                by: by.to_vec(),
                nebula: means(parted.nebula(&whole.plane)),
                heights: means(parts::heights(&parted.footprint, size)),
                stars: entry.stars,
            };
            self.change(&id, notices, |parts| {
                parts
                    .apart
                    .retain(|old| wanted.contains(&old.by) && old.by != apart.by);
                parts.apart.push(apart);
            });
        }
        Ok(())
    }
}

struct Whole {
    plane: Arc<Plane>,
    ceiling: Option<f64>,
}

fn means(plane: Plane) -> Means {
    Means {
        reduced: pyramid(&plane),
        plane: Arc::new(plane),
    }
}
