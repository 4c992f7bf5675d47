//! Channels of a recipe become layers.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use super::memory::{self, Order};
use super::tell::{Tell, lock};
use super::{Event, Layer, LayerKey, Parts, RowState, keys};
use crate::engine::exposure::exposure;
use crate::engine::frame::{Plane, Rows};
use crate::engine::full::Marks;
use crate::engine::header::Header;
use crate::engine::measure::{Histogram, Survey, signal_to_noise};
use crate::engine::recipe::{Channel, Crop, Recipe, Stretch};
use crate::engine::stretch::auto;
use crate::engine::wcs::moved;
use crate::io::read::{self, Container, Facts, Pick};
use crate::work::inputs::Input;
use crate::work::prepare::{Preparation, Prepared, each};
use crate::work::preview::pyramid;
use crate::work::{Control, Error, continuum, full};

/// Under which path a channel's `file` was named to us, where it was.
pub type Places = BTreeMap<String, PathBuf>;

/// Channels that are read at the same time, at most: each needs about 50 MB
/// beside its plane while it is measured.
const MOST_AT_ONCE: usize = 4;

/// Layers of the named channels.
///
/// # Errors
/// When the job is stopped. What goes wrong with a channel is told.
pub fn named(
    recipe: &Recipe,
    folder: &Path,
    channels: &[String],
    tell: &Tell<'_>,
) -> Result<(), Error> {
    let wanted: Vec<usize> = (0..recipe.channels.len())
        .filter(|index| channels.contains(&recipe.channels[*index].id))
        .collect();
    layers(recipe, folder, &wanted, &[], &Places::new(), tell)
}

/// Layers of the channels `wanted`; those in `fresh` are given a stretch first.
///
/// # Errors
/// When the job is stopped. What goes wrong with a channel is told.
pub fn layers(
    recipe: &Recipe,
    folder: &Path,
    wanted: &[usize],
    fresh: &[String],
    places: &Places,
    tell: &Tell<'_>,
) -> Result<(), Error> {
    let desk = Desk::new(recipe, folder, places, tell);
    // What all channels cover depends on all of them: with one more, each
    // layer may be another.
    let all: Vec<usize> = (0..recipe.channels.len()).collect();
    let common = recipe.crop == Some(Crop::Common);
    let wanted = if common && !fresh.is_empty() {
        &all
    } else {
        wanted
    };
    let needed = if common {
        all.clone()
    } else {
        continuum::involved(recipe, wanted)
    };
    let needed = needed.as_slice();
    let touched = |channel: &Channel| {
        channel.align.is_some() || channel.level.is_some() || channel.continuum.is_some()
    };
    if recipe.crop.is_none() && !wanted.iter().any(|index| touched(&recipe.channels[*index])) {
        return at_once(wanted, |index| {
            let made = desk.open(*index).and_then(|input| {
                let rows = Arc::clone(&input.rows);
                let order = order(&input.facts);
                desk.measured(&input, Ready::plain(rows, &input.facts.header), order)
            });
            desk.deliver(*index, made, fresh)
        });
    }
    let (inputs, grid) = desk.inputs(needed)?;
    let (own, others): (Vec<Input>, Vec<Input>) = inputs.into_iter().partition(|input| {
        recipe.channels[input.channel].align.is_none()
            && grid
                .as_ref()
                .is_some_and(|grid| grid.size != input.facts.size)
    });
    let own: Vec<&Input> = own
        .iter()
        .filter(|input| wanted.contains(&input.channel))
        .collect();
    at_once(&own, |input| {
        let ready = Ready::plain(Arc::clone(&input.rows), &input.facts.header);
        let made = desk.measured(input, ready, order(&input.facts));
        desk.deliver(input.channel, made, fresh)
    })?;
    if !others.iter().any(|input| wanted.contains(&input.channel)) {
        return Ok(());
    }
    let (prepared, _) = desk.prepared(recipe, &others, needed, wanted)?;
    at_once(&prepared, |(index, ready)| {
        let input = others.iter().find(|input| input.channel == *index);
        let Some(input) = input else { return Ok(()) };
        let made = desk.measured(input, ready.clone(), ready_order(input, ready));
        desk.deliver(*index, made, fresh)
    })
}

/// A channel's rows on the grid, and how they came there.
#[derive(Clone)]
pub struct Ready {
    rows: Arc<dyn Rows>,
    origin: [usize; 2],
    header: Arc<Header>,
    prepared: Option<Arc<Prepared>>,
    // Of what was prepared; the rest is marked once it is in memory.
    full: Option<Arc<Marks>>,
    ceiling: Option<f64>,
}

impl Ready {
    fn plain(rows: Arc<dyn Rows>, header: &Header) -> Self {
        Self {
            rows,
            origin: [0, 0],
            header: Arc::new(header.clone()),
            prepared: None,
            full: None,
            ceiling: None,
        }
    }
}

/// Channels on the grid, each with its index in the recipe.
pub type OnGrid = Vec<(usize, Ready)>;

/// A channel in memory, and what was measured of it.
pub struct Made {
    /// The layer.
    pub layer: Layer,
    /// The stretch that suits it, or why there is none.
    pub stretch: Result<Stretch, auto::AutoError>,
}

/// The recipe that layers are made for, and whom to tell.
pub struct Desk<'a> {
    recipe: &'a Recipe,
    folder: &'a Path,
    keys: Vec<LayerKey>,
    paths: Vec<PathBuf>,
    flags: Vec<Arc<AtomicBool>>,
    tell: &'a Tell<'a>,
}

impl<'a> Desk<'a> {
    /// For all channels of a recipe.
    pub fn new(recipe: &'a Recipe, folder: &'a Path, places: &Places, tell: &'a Tell<'a>) -> Self {
        let place = |channel: &Channel| match places.get(&channel.file) {
            Some(path) => path.clone(),
            None => folder.join(&channel.file),
        };
        let paths: Vec<PathBuf> = recipe.channels.iter().map(place).collect();
        let flags = recipe
            .channels
            .iter()
            .zip(&paths)
            .map(|(channel, path)| tell.stops.part(&[&channel.id, &path.to_string_lossy()]))
            .collect();
        Self {
            recipe,
            folder,
            keys: keys(recipe, folder),
            paths,
            flags,
            tell,
        }
    }

    /// How a channel is told about and stopped.
    pub fn control(&self, index: usize) -> Control<'_> {
        Control {
            progress: self.tell,
            cancel: &self.flags[index],
        }
    }

    /// Opens a channel's file.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn open(&self, index: usize) -> Result<Input, Error> {
        self.control(index).check()?;
        let channel = &self.recipe.channels[index];
        let pick = Pick {
            hdu: channel.hdu,
            plane: channel.plane,
        };
        let path = self.folder.join(&channel.file);
        let opened = read::open(&path, pick)?;
        Ok(Input {
            channel: index,
            path,
            facts: opened.facts,
            rows: Arc::from(opened.rows),
        })
    }

    /// The channels `needed` and the reference, as far as they can be opened,
    /// with the facts of the grid. Channels that are laid on a grid that
    /// cannot be read are left out. What is left out is told.
    ///
    /// # Errors
    /// When the job is stopped.
    pub fn inputs(&self, needed: &[usize]) -> Result<(Vec<Input>, Option<Facts>), Error> {
        let recipe = self.recipe;
        let reference = recipe
            .reference()
            .and_then(|reference| recipe.channels.iter().position(|c| c.id == reference.id));
        let mut inputs: Vec<Input> = Vec::new();
        for index in 0..recipe.channels.len() {
            if !needed.contains(&index) && reference != Some(index) {
                continue;
            }
            match self.open(index) {
                Ok(input) => inputs.push(input),
                Err(error) => self.failed(index, error)?,
            }
        }
        let grid = inputs.iter().find(|input| Some(input.channel) == reference);
        let grid = grid.map(|input| input.facts.clone());
        if grid.is_none() {
            let name = recipe.reference().map_or("", |channel| &channel.id);
            let (lost, kept): (Vec<Input>, Vec<Input>) = inputs
                .into_iter()
                .partition(|input| recipe.channels[input.channel].align.is_some());
            for input in lost {
                let error = Error::request(
                    format!("the reference {name}, on whose grid it is laid, is not there"),
                    "bring its file back, or choose another reference",
                );
                self.failed(input.channel, error)?;
            }
            inputs = kept;
        }
        let grid = grid.or_else(|| inputs.first().map(|input| input.facts.clone()));
        Ok((inputs, grid))
    }

    /// The channels `wanted` of those `needed` on the grid, by index, and what was
    /// said of them. One that fails is told and left out.
    ///
    /// # Errors
    /// When nothing is left, or the job is stopped.
    pub fn prepared(
        &self,
        recipe: &Recipe,
        inputs: &[Input],
        needed: &[usize],
        wanted: &[usize],
    ) -> Result<(OnGrid, Vec<String>), Error> {
        let preparation = each(
            recipe,
            inputs,
            needed,
            &|index| self.control(index),
            &mut |index, error| self.failed(index, error),
            self.tell.control(),
        )?;
        let origin = preparation.part.origin;
        let reference = recipe.reference().map(|reference| &reference.id);
        let grid = inputs
            .iter()
            .find(|input| Some(&recipe.channels[input.channel].id) == reference);
        let mut marked = Vec::new();
        for (at, index) in preparation.indices.iter().enumerate() {
            if !wanted.contains(index) {
                marked.push(None);
                continue;
            }
            let control = self.control(*index);
            marked.push(match marked_at(recipe, inputs, &preparation, at, control) {
                Ok(marked) => Some(marked),
                Err(error) => {
                    self.failed(*index, error)?;
                    None
                }
            });
        }
        let mut all = Vec::new();
        let channels = preparation.indices.into_iter().zip(preparation.channels);
        for ((index, prepared), full) in channels.zip(marked) {
            let Some((full, ceiling)) = full else {
                continue;
            };
            let own = inputs.iter().find(|input| input.channel == index);
            let header = match (&prepared.align, grid, own) {
                (Some(_), Some(grid), _) => &grid.facts.header,
                (_, _, Some(own)) => &own.facts.header,
                _ => continue,
            };
            let header = Arc::new(moved(header, origin));
            let rows = Arc::clone(&prepared.rows);
            let prepared = Some(Arc::new(prepared));
            all.push((
                index,
                Ready {
                    rows,
                    origin,
                    header,
                    prepared,
                    full,
                    ceiling,
                },
            ));
        }
        Ok((all, preparation.notices))
    }

    /// Brings a channel into memory.
    ///
    /// # Errors
    /// When it cannot be read, or is stopped.
    pub fn measured(&self, input: &Input, ready: Ready, order: Order) -> Result<Made, Error> {
        let channel = &self.recipe.channels[input.channel];
        let step = format!("{}: reading", channel.id);
        let ceiling = match ready.prepared {
            Some(_) => ready.ceiling,
            None => input.facts.ceiling,
        };
        let control = self.control(input.channel);
        let (plane, survey): (Plane, Survey) =
            memory::read(&*ready.rows, ceiling, order, &step, control)?;
        let stretch = auto::auto(&survey);
        let histogram = Arc::new(Histogram::of(&survey));
        let levels = survey.levels;
        let full = match (&ready.prepared, ceiling.or(survey.saturation)) {
            (Some(_), _) => ready.full,
            (None, None) => None,
            (None, Some(level)) => {
                let marks = Marks::of(&plane, level, &|_| control.check_rows());
                control.check()?;
                let marks = marks?;
                (!marks.is_empty()).then(|| Arc::new(marks))
            }
        };
        let signal_to_noise = signal_to_noise(&survey);
        drop(survey);
        let reduced = pyramid(&plane);
        let prepared = ready.prepared.as_deref();
        Ok(Made {
            stretch,
            layer: Layer {
                key: self.keys[input.channel].clone(),
                plane: Arc::new(plane),
                reduced,
                origin: ready.origin,
                header: ready.header,
                levels,
                histogram,
                ceiling,
                full,
                signal_to_noise,
                exposure_s: exposure(&input.facts.header).seconds,
                align: prepared.and_then(|prepared| prepared.align.clone()),
                level: prepared.and_then(|prepared| prepared.level.clone()),
                model: prepared
                    .and_then(|prepared| prepared.model.clone())
                    .map(Arc::new),
                continuum: prepared.and_then(|prepared| prepared.continuum.clone()),
                parts: Parts::default(),
            },
        })
    }

    // Tells of a channel what came of it.
    fn deliver(
        &self,
        index: usize,
        made: Result<Made, Error>,
        fresh: &[String],
    ) -> Result<(), Error> {
        let id = &self.recipe.channels[index].id;
        let made = match made {
            Ok(made) => made,
            Err(error) => return self.failed(index, error),
        };
        let ticket = self.tell.ticket;
        if fresh.contains(id) {
            match made.stretch {
                Ok(stretch) => self.tell.event(Event::Stretched {
                    ticket,
                    channel: id.clone(),
                    stretch,
                }),
                Err(error) => {
                    let path = self.paths[index].display();
                    let error = Error::request(format!("{path}: {error}"), error.hint());
                    return self.failed(index, error);
                }
            }
        }
        self.tell.event(Event::Layer {
            ticket,
            channel: id.clone(),
            layer: Arc::new(made.layer),
        });
        Ok(())
    }

    /// Tells that a channel could not be had, or that it was stopped.
    ///
    /// # Errors
    /// When all is stopped.
    pub fn failed(&self, index: usize, error: Error) -> Result<(), Error> {
        if matches!(error, Error::Cancelled) {
            self.tell.event(Event::Row {
                ticket: self.tell.ticket,
                path: self.paths[index].clone(),
                state: RowState::Cancelled,
            });
            return self.tell.control().check();
        }
        self.tell
            .channel_failed(&self.recipe.channels[index].id, &error);
        Ok(())
    }
}

// Where a prepared channel is full, and from which value on.
type Full = (Option<Arc<Marks>>, Option<f64>);

fn marked_at(
    recipe: &Recipe,
    inputs: &[Input],
    preparation: &Preparation,
    at: usize,
    control: Control<'_>,
) -> Result<Full, Error> {
    let marks = full::marks(recipe, inputs, preparation, at, control)?;
    let ceiling = full::ceiling(recipe, inputs, preparation, at, control)?;
    Ok((marks.map(Arc::new), ceiling))
}

/// How an input's own rows may be read.
pub fn order(facts: &Facts) -> Order {
    if facts.container == Container::Fits && facts.packing.is_empty() {
        Order::Any
    } else {
        Order::TopDown
    }
}

/// As [`order`], for rows that may have been resampled into a file of their own.
pub fn ready_order(input: &Input, ready: &Ready) -> Order {
    let resampled = ready
        .prepared
        .as_ref()
        .is_some_and(|prepared| prepared.align.is_some());
    if resampled {
        Order::Any
    } else {
        order(&input.facts)
    }
}

/// Does something for each item, a few at a time, begun in order.
///
/// # Errors
/// The first; what was not begun by then is not done.
pub fn at_once<T: Sync>(
    items: &[T],
    work: impl Fn(&T) -> Result<(), Error> + Sync,
) -> Result<(), Error> {
    let threads = rayon::current_num_threads().min(MOST_AT_ONCE);
    let next = AtomicUsize::new(0);
    let first_error = Mutex::new(None);
    let take = || {
        while let Some(item) = items.get(next.fetch_add(1, Ordering::Relaxed)) {
            if lock(&first_error).is_some() {
                return;
            }
            if let Err(error) = work(item) {
                lock(&first_error).get_or_insert(error);
            }
        }
    };
    std::thread::scope(|scope| {
        // Where the system has no thread left, this one does it all.
        for number in 1..threads.min(items.len()) {
            let named = std::thread::Builder::new().name(format!("linehue-read-{number}"));
            named.spawn_scoped(scope, take).ok();
        }
        take();
    });
    match lock(&first_error).take() {
        Some(error) => Err(error),
        None => Ok(()),
    }
}
