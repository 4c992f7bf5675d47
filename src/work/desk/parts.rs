//! What renditions need of channels beside their values: made behind the
//! window, while pictures show the channels as they are.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use super::Event;
use super::layer::{Apart, Heights, Layer, LayerKey, Means, Parts, Teller, keys};
use super::load::{Desk, Places};
use super::tell::Tell;
use crate::engine::color::space::Space;
use crate::engine::compose::{Composition, Slot};
use crate::engine::frame::{Depth, Plane, Rows as _, Size};
use crate::engine::recipe::Recipe;
use crate::work::needed;
use crate::work::parting::Parting;
use crate::work::preview::pyramid;
use crate::work::{Error, parts};

/// Layers by the ids of their channels.
pub type Layers = BTreeMap<String, Arc<Layer>>;

/// A channel among those whose stars are told apart together.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Member {
    /// In the recipe.
    index: usize,
    /// A rendition wants its stars apart; else it is only asked.
    apart: bool,
    /// And how high each pixel lies on its star.
    heights: bool,
}

type Group = Vec<Member>;

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
            let member = |(index, apart)| Member {
                index,
                apart,
                heights: composition.slots().contains(&Slot::Height(index)),
            };
            let order = needed::order(recipe, &composition).into_iter();
            let mut group: Group = order.map(member).collect();
            group.sort_unstable_by_key(|member| member.index);
            for Member { index, .. } in &group {
                needs.smooth[*index] |= denoise(recipe, *index) > 0.0;
            }
            if !group.is_empty() {
                needs.add(&group);
            }
        }
        needs
    }

    fn add(&mut self, group: &[Member]) {
        let indices =
            |group: &[Member]| -> Vec<usize> { group.iter().map(|member| member.index).collect() };
        let same = |own: &&mut Group| indices(own) == indices(group);
        match self.groups.iter_mut().find(same) {
            Some(own) => {
                for (own, new) in own.iter_mut().zip(group) {
                    own.apart |= new.apart;
                    own.heights |= new.heights;
                }
            }
            None => self.groups.push(group.to_vec()),
        }
    }

    fn without_heights(&self) -> Self {
        let mut needs = self.clone();
        for member in needs.groups.iter_mut().flatten() {
            member.heights = false;
        }
        needs
    }
}

fn denoise(recipe: &Recipe, index: usize) -> f64 {
    recipe.channels[index].denoise.unwrap_or(0.0)
}

/// The channels of a group that are in memory, by their ids.
fn tellers(recipe: &Recipe, group: &Group, layers: &Layers) -> Vec<Teller> {
    let teller = |member: &Member| {
        let id = &recipe.channels[member.index].id;
        layers.get(id).map(|layer| Teller {
            channel: id.clone(),
            key: layer.key.clone(),
            denoise: denoise(recipe, member.index),
        })
    };
    let mut tellers: Vec<Teller> = group.iter().filter_map(teller).collect();
    tellers.sort_by(|a, b| a.channel.cmp(&b.channel));
    tellers
}

fn is_apart(parts: &Parts, tellers: &[Teller], heights: bool) -> bool {
    let is_it =
        |apart: &Apart| apart.by == *tellers && (!heights || apart.heights.whole().is_some());
    parts.apart.iter().any(is_it)
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
        for member in group.iter().filter(|member| member.apart) {
            let lacks_it = |layer: &Arc<Layer>| !is_apart(&layer.parts, &tellers, member.heights);
            lacks[member.index] |= layer(member.index).is_some_and(lacks_it);
        }
    }
    let channels = recipe.channels.iter().zip(lacks);
    channels
        .filter(|(_, lacks)| *lacks)
        .map(|(channel, _)| channel.id.clone())
        .collect()
}

/// Takes away stars told apart by channels that no rendition asks any more. While
/// a channel lacks what one needs they stay to stand in for it; and of a channel
/// whose stars none wants apart, what was made last stays for when one does again.
pub fn forget(recipe: &Recipe, layers: &mut Layers) {
    let needs = Needs::of(recipe);
    let of = |group: &Group| tellers(recipe, group, layers);
    let groups: Vec<(&Group, Vec<Teller>)> = needs.groups.iter().map(|g| (g, of(g))).collect();
    for (index, channel) in recipe.channels.iter().enumerate() {
        let Some(layer) = layers.get_mut(&channel.id) else {
            continue;
        };
        let is_member = |group: &Group| group.iter().any(|m| m.index == index && m.apart);
        let wanted = groups.iter().filter(|(group, _)| is_member(group));
        let wanted: Vec<&Vec<Teller>> = wanted.map(|(_, tellers)| tellers).collect();
        let all = &layer.parts.apart;
        let is_there = |by: &&Vec<Teller>| all.iter().any(|apart| apart.by == **by);
        if !wanted.iter().all(is_there) {
            continue;
        }
        let last = all.last().filter(|_| wanted.is_empty());
        let kept = all.iter().filter(|apart| wanted.contains(&&apart.by));
        let kept: Vec<Apart> = kept.chain(last).cloned().collect();
        if kept.len() < all.len() {
            let mut new = Layer::clone(layer);
            new.parts.apart = kept;
            *layer = Arc::new(new);
        }
    }
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

    /// Whether what is made for this is of use for `other`, which may need heights
    /// on stars beside it: these are soon made afterwards.
    pub fn serves(&self, other: &Self) -> bool {
        self.channels == other.channels
            && self.needs.without_heights() == other.needs.without_heights()
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
                for member in group.iter().filter(|member| member.apart) {
                    work.failed(&recipe.channels[member.index].id, &error);
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

    // From where the stars are; they are not sought again.
    fn fill_in_heights(&mut self, index: usize, by: &[Teller]) {
        let id = &self.recipe.channels[index].id;
        let Some(layer) = self.layers.get(id) else {
            return;
        };
        let size = layer.size();
        let mut all = layer.parts.apart.iter();
        let told = all.find(|apart| apart.by == *by);
        let Some(heights) = told.and_then(|apart| filled_in(&apart.heights, size)) else {
            return;
        };
        self.change(id, Vec::new(), |parts| {
            let told = parts.apart.iter_mut().find(|apart| apart.by == *by);
            if let Some(apart) = told {
                apart.heights = heights;
            }
        });
    }

    /// Tells the stars of a group's channels apart. `wanted` is what other groups
    /// are told by too.
    fn part(&mut self, group: &Group, by: &[Teller], wanted: &[Vec<Teller>]) -> Result<(), Error> {
        for member in group.iter().filter(|member| member.heights) {
            self.tell.control().check()?;
            self.fill_in_heights(member.index, by);
        }
        let id = |member: &Member| self.recipe.channels[member.index].id.clone();
        let lacks = |member: &&Member| {
            let layer = self.layers.get(&id(member));
            let lacks = |layer: &Arc<Layer>| !is_apart(&layer.parts, by, member.heights);
            member.apart && layer.is_some_and(lacks)
        };
        if group.iter().find(lacks).is_none() {
            return Ok(());
        }
        let here = group.iter().copied();
        let here = here.filter(|member| self.layers.contains_key(&id(member)));
        let (apart, asked): (Vec<_>, Vec<_>) = here.partition(|member| member.apart);
        let mut parting = Parting::default();
        for member in apart.iter().chain(&asked) {
            if let Some(whole) = self.whole(member.index) {
                let control = self.desk.control(member.index);
                parting.add(&whole.plane, &id(member), whole.ceiling, control)?;
            }
        }
        for Member { index, heights, .. } in apart {
            let id = self.recipe.channels[index].id.clone();
            let Some(whole) = self.whole(index) else {
                continue;
            };
            let (parted, entry) = parting.next(&whole.plane, self.desk.control(index))?;
            let told = parted.notices.iter();
            let notices = told.map(|notice| format!("{id}: {notice}")).collect();
            let nebula = means(parted.nebula(&whole.plane));
            let runs = Heights::Runs(Arc::new(parted.footprint));
            let apart = Apart {
                denoise: denoise(self.recipe, index),
                by: by.to_vec(),
                heights: if heights {
                    filled_in(&runs, whole.plane.size()).unwrap_or(runs)
                } else {
                    runs
                },
                nebula,
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

// Runs as a plane; None where it is one.
fn filled_in(heights: &Heights, size: Size) -> Option<Heights> {
    match heights {
        Heights::Runs(runs) => Some(Heights::Whole(means(parts::heights(runs, size)))),
        Heights::Whole(_) => None,
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
