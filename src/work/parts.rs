//! What a composition needs of each pixel, made from prepared channels: the
//! noise smoothed, stars told from the nebula, the fine structure of the
//! brightness. What was costly to make lies in temporary files.

use std::sync::Arc;

use ndarray::Array2;
use rayon::prelude::*;

use super::inputs::Input;
use super::needed::{self, Needed};
use super::parting::Parting;
use super::prepare::Preparation;
use super::spooled::spooled;
use super::{Control, Error, full};
use crate::engine::compose::{Composition, Slot};
use crate::engine::denoise::{self, NoiseModel};
use crate::engine::detail;
use crate::engine::frame::{BAND_ROWS, Plane, Rows, RowsError, Size};
use crate::engine::recipe::{Recipe, Rendition};
use crate::engine::reduce::Reduced;
use crate::engine::separate::Footprint;
use crate::io::record::{NoiseEntry, StarsEntry};

/// What is said of one channel's parts.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Said {
    /// How its noise was smoothed.
    pub noise: Option<NoiseEntry>,
    /// How its stars were told apart.
    pub stars: Option<StarsEntry>,
}

/// The rows of all slots of a composition.
pub struct Sources {
    /// In the order of [`Composition::slots`].
    pub rows: Vec<Arc<dyn Rows>>,
    /// By the composition's channels.
    pub said: Vec<Said>,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// A channel of the composition, or one that is asked where stars are, on its way.
struct Channel<'a> {
    index: usize,
    // Among those that were prepared.
    at: usize,
    id: &'a str,
    // As it was prepared.
    sharp: Arc<dyn Rows>,
    // Shares of the noise that go: for brightness, for colour.
    shares: [f64; 2],
}

/// Makes the rows of all slots from `inputs` as they were prepared: all that are
/// [`Needed`], but one that is only asked may be missing. `long_edge` is
/// what they are then brought to, as
/// [`Request::long_edge`](super::compose::Request::long_edge).
///
/// # Errors
/// When a source fails, the disk is full, or the job is stopped.
pub fn sources(
    recipe: &Recipe,
    rendition: &Rendition,
    composition: &Composition,
    inputs: &[Input],
    preparation: &Preparation,
    long_edge: Option<usize>,
    control: Control<'_>,
) -> Result<Sources, Error> {
    let mut made: Vec<(Slot, Arc<dyn Rows>)> = Vec::new();
    let mut all_said = Vec::new();
    let mut notices = Vec::new();
    let mut whole = Vec::new();
    for index in Needed::of(recipe, composition).all {
        let own = composition.channels().any(|own| own == index);
        let mut indices = preparation.indices.iter();
        let Some(at) = indices.position(|given| *given == index) else {
            if own {
                return Err(Error::request("a channel was not read", "please report it"));
            }
            continue;
        };
        let channel = Channel {
            index,
            id: &recipe.channels[index].id,
            at,
            sharp: Arc::clone(&preparation.channels[at].rows),
            shares: shares(recipe, rendition, index),
        };
        let wanted: Vec<Slot> = composition
            .slots()
            .iter()
            .copied()
            .filter(|slot| slot.channel() == Some(index))
            .collect();
        let said = channel.make(&wanted, &mut made, control)?;
        if own {
            all_said.push(said);
        }
        whole.push(channel);
    }
    let order: Vec<(&Channel<'_>, bool)> = needed::order(recipe, composition)
        .into_iter()
        .filter_map(|(index, apart)| Some((whole.iter().find(|own| own.index == index)?, apart)))
        .collect();
    let mut parting = Parting::default();
    for (channel, _) in &order {
        let plane = channel.in_memory(&*channel.whole(&made), control)?;
        let ceiling = full::ceiling(recipe, inputs, preparation, channel.at, control)?;
        parting.add(&plane, channel.id, ceiling, control)?;
    }
    for (channel, _) in order.iter().filter(|(_, apart)| *apart) {
        let rows = channel.whole(&made);
        let plane = channel.in_memory(&*rows, control)?;
        let (parted, entry) = parting.next(&plane, control)?;
        let told = parted.notices.iter();
        notices.extend(told.map(|notice| format!("{}: {notice}", channel.id)));
        let footprint = Arc::new(parted.footprint);
        for (slot, shows) in [
            (Slot::Nebula(channel.index), Shows::Nebula),
            (Slot::Height(channel.index), Shows::Height),
        ] {
            let overlaid = Overlaid {
                whole: Arc::clone(&rows),
                footprint: Arc::clone(&footprint),
                shows,
            };
            made.push((slot, Arc::new(overlaid)));
        }
        let place = composition.channels().position(|own| own == channel.index);
        if let Some(said) = place.and_then(|place| all_said.get_mut(place)) {
            said.stars = Some(entry);
        }
    }
    let mut rows: Vec<Arc<dyn Rows>> = Vec::new();
    for slot in composition.slots() {
        if let Some((_, whole)) = made.iter().find(|(own, _)| own == slot) {
            rows.push(match long_edge {
                Some(edge) => Reduced::within(Arc::clone(whole), edge),
                None => Arc::clone(whole),
            });
        }
    }
    if composition.slots().contains(&Slot::Brightness) {
        let full = preparation.part.size.width;
        let step = rows
            .first()
            .map_or(1.0, |rows| full as f64 / rows.size().width as f64);
        rows.push(brightness(rendition, composition, &rows, step, control)?);
    }
    Ok(Sources {
        rows,
        said: all_said,
        notices,
    })
}

/// How much of its noise a channel loses in a rendition, 0..1: for brightness,
/// and for colour.
pub fn shares(recipe: &Recipe, rendition: &Rendition, index: usize) -> [f64; 2] {
    let own = recipe.channels[index].denoise.unwrap_or(0.0);
    [own, own.max(rendition.smooth_color.unwrap_or(0.0))]
}

impl Channel<'_> {
    // What is asked for, but for stars told apart; always the whole channel.
    fn make(
        &self,
        wanted: &[Slot],
        made: &mut Vec<(Slot, Arc<dyn Rows>)>,
        control: Control<'_>,
    ) -> Result<Said, Error> {
        let mut said = Said::default();
        let smooth_wanted = wanted.contains(&Slot::Smooth(self.index));
        let [own, colored] = self.shares;
        let sharp = |slot| (slot, Arc::clone(&self.sharp));
        if own == 0.0 && !(smooth_wanted && colored > 0.0) {
            made.push(sharp(Slot::Whole(self.index)));
            if smooth_wanted {
                made.push(sharp(Slot::Smooth(self.index)));
            }
            return Ok(said);
        }
        let go_on = |_| control.check_rows();
        let whole = self.in_memory(&*self.sharp, control)?;
        let smooth = smoothed(&whole, self.id, control)?;
        said.noise = Some(NoiseEntry {
            brightness: own,
            color: colored,
            method: denoise::METHOD.to_owned(),
        });
        if smooth_wanted {
            let rows = spooled(&blended(&whole, &smooth, colored), &go_on, control)?;
            made.push((Slot::Smooth(self.index), rows));
        }
        made.push(if own > 0.0 {
            let rows = spooled(&blended(&whole, &smooth, own), &go_on, control)?;
            (Slot::Whole(self.index), rows)
        } else {
            sharp(Slot::Whole(self.index))
        });
        Ok(said)
    }

    // The whole channel, as it was made.
    fn whole(&self, made: &[(Slot, Arc<dyn Rows>)]) -> Arc<dyn Rows> {
        let own = |(slot, _): &&(Slot, Arc<dyn Rows>)| *slot == Slot::Whole(self.index);
        let rows = made.iter().find(own).map(|(_, rows)| rows);
        Arc::clone(rows.unwrap_or(&self.sharp))
    }

    fn in_memory(&self, rows: &dyn Rows, control: Control<'_>) -> Result<Plane, Error> {
        let size = rows.size();
        let mut values = vec![0.0; size.pixels()];
        let step = format!("{}: reading", self.id);
        for (index, band) in values.chunks_mut(size.width * BAND_ROWS).enumerate() {
            let row = index * BAND_ROWS;
            control.check()?;
            control
                .progress
                .report(&step, row as u64, size.height as u64);
            rows.read(row, band)?;
        }
        Plane::from_vec(size, values)
            .ok_or_else(|| Error::request("the picture has no pixels", "choose another file"))
    }
}

/// A channel with all noise smoothed away that can be.
///
/// # Errors
/// When the job is stopped.
pub fn smoothed(plane: &Plane, id: &str, control: Control<'_>) -> Result<Plane, Error> {
    let tick = control.tick(format!("{id}: smoothing noise"));
    let model = NoiseModel::measure(plane);
    denoise::smoothed(plane, &model, &tick).map_err(|_| Error::Cancelled)
}

/// A plane, moved by a share (0..1) towards a smooth one of its size.
pub fn blended(plane: &Plane, smooth: &Plane, share: f64) -> Plane {
    let mut values = plane.values().clone();
    if let (Some(values), Some(smooth)) = (values.as_slice_mut(), smooth.values().as_slice()) {
        values
            .par_chunks_mut(1 << 16)
            .zip(smooth.par_chunks(1 << 16))
            .for_each(|(values, smooth)| denoise::blend(values, smooth, share as f32));
    }
    Plane::new(values)
}

// A channel where its stars are: without them, or how high each pixel lies.
struct Overlaid {
    whole: Arc<dyn Rows>,
    footprint: Arc<Footprint>,
    shows: Shows,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shows {
    Nebula,
    Height,
}

impl Rows for Overlaid {
    fn size(&self) -> Size {
        self.whole.size()
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        match self.shows {
            Shows::Nebula => self.whole.read(first_row, out)?,
            Shows::Height => out.fill(0.0),
        }
        let width = self.size().width;
        for (y, row) in (first_row..).zip(out.chunks_exact_mut(width)) {
            overlay(&self.footprint, y, row, self.shows);
        }
        Ok(())
    }
}

fn overlay(footprint: &Footprint, y: usize, row: &mut [f32], shows: Shows) {
    for span in footprint.spans(y) {
        let values = match shows {
            Shows::Nebula => span.nebula,
            Shows::Height => span.height,
        };
        row[span.left..span.left + values.len()].copy_from_slice(values);
    }
}

/// How high each pixel of a picture of this size lies on its star's image.
pub fn heights(footprint: &Footprint, size: Size) -> Plane {
    let mut values = Array2::zeros((size.height, size.width));
    for (y, mut row) in values.rows_mut().into_iter().enumerate() {
        if let Some(row) = row.as_slice_mut() {
            overlay(footprint, y, row, Shows::Height);
        }
    }
    Plane::new(values)
}

// The brightness of the whole picture, its fine structure brought out.
fn brightness(
    rendition: &Rendition,
    composition: &Composition,
    rows: &[Arc<dyn Rows>],
    step: f64,
    control: Control<'_>,
) -> Result<Arc<dyn Rows>, Error> {
    let nothing = || Error::request("no channel takes part", "give one a color");
    let size = rows.first().ok_or_else(nothing)?.size();
    let amount = rendition
        .luminance
        .as_ref()
        .and_then(|luminance| luminance.detail)
        .unwrap_or(0.0);
    let mut light = vec![0.0_f32; size.pixels()];
    let band = size.width * BAND_ROWS;
    let mut inputs: Vec<Vec<f32>> = vec![Vec::new(); rows.len()];
    for (index, light) in light.chunks_mut(band).enumerate() {
        let row = index * BAND_ROWS;
        control.check()?;
        control
            .progress
            .report("brightness", row as u64, size.height as u64);
        for (rows, values) in rows.iter().zip(&mut inputs) {
            values.resize(light.len(), 0.0);
            rows.read(row, values)?;
        }
        let slices: Vec<&[f32]> = inputs.iter().map(Vec::as_slice).collect();
        composition.brightness(&slices, light);
    }
    control.check()?;
    let settings = detail::Settings::new(amount, step);
    let crisp = detail::brought_out(&light, size, &settings);
    let plane = Plane::from_vec(size, crisp).ok_or_else(nothing)?;
    Ok(Arc::new(plane))
}
