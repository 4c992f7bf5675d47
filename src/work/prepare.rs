//! From open files to channels on one grid with an even sky: align, crop, level.
//!
//! A channel that asks for none of them is used as it stands. An aligned one
//! is resampled once into a temporary file, so that memory stays bounded and
//! the steps after it may read it as often as they like.

use std::num::NonZeroUsize;
use std::sync::Arc;

use super::continuum;
use super::inputs::Input;
use super::spooled::spooled;
use super::{Control, Error};
use crate::engine::align::matching::{Matched, Point, match_stars};
use crate::engine::align::resample::Aligned;
use crate::engine::align::sky_grid;
use crate::engine::align::stars::{self, FindLimits, Star, Stars};
use crate::engine::align::transform::Transform;
use crate::engine::crop::{Cropped, Rectangle, Rimless, both, covered, largest};
use crate::engine::frame::{Rows, RowsError};
use crate::engine::level::{self, LevelError, Leveled, SkyModel};
use crate::engine::measure;
use crate::engine::recipe::{AlignMethod, Channel, Crop, Level, Recipe};
use crate::io::record::{AlignEntry, ContinuumEntry, Distortion, LevelEntry};

/// A channel that is ready to be stretched.
pub struct Prepared {
    /// Its values on the common grid.
    pub rows: Arc<dyn Rows>,
    /// How it came there; None: its pixels as they stood.
    pub align: Option<AlignEntry>,
    /// How its sky was evened; None: left alone.
    pub level: Option<LevelEntry>,
    /// The sky model that was taken out.
    pub model: Option<SkyModel>,
    /// How the stars' light was taken out; None: it stayed.
    pub continuum: Option<ContinuumEntry>,
}

/// All channels on one grid.
pub struct Preparation {
    /// In the order of the inputs that were asked for.
    pub channels: Vec<Prepared>,
    /// Index in the recipe of each.
    pub indices: Vec<usize>,
    /// Which part of the reference's grid is kept.
    pub part: Rectangle,
    /// What a person should know.
    pub notices: Vec<String>,
}

impl Preparation {
    /// The rows of the channels.
    pub fn rows(&self) -> Vec<&Arc<dyn Rows>> {
        self.channels.iter().map(|channel| &channel.rows).collect()
    }
}

/// Memory for a channel that is being resampled.
const MEMORY: NonZeroUsize = NonZeroUsize::new(96 << 20).expect("not zero");

/// Prepares the channels `needed` (indices in the recipe) of `inputs`, among
/// which the reference must be where one of them is aligned.
///
/// # Errors
/// When stars do not match, when nothing is covered by all, when a sky model
/// cannot be made, when a file fails, or when the job is stopped.
pub fn prepare(
    recipe: &Recipe,
    inputs: &[Input],
    needed: &[usize],
    control: Control<'_>,
) -> Result<Preparation, Error> {
    each(
        recipe,
        inputs,
        needed,
        &|_| control,
        &mut |_, error| Err(error),
        control,
    )
}

/// As [`prepare`], but what goes wrong with one channel is told to `failed`
/// with its index: where that gives no error back, the others go on without
/// it. `of` is how each channel is told about and stopped.
///
/// # Errors
/// As [`prepare`]; also where no channel is left.
pub fn each<'a>(
    recipe: &Recipe,
    inputs: &[Input],
    needed: &[usize],
    of: &dyn Fn(usize) -> Control<'a>,
    failed: &mut dyn FnMut(usize, Error) -> Result<(), Error>,
    control: Control<'_>,
) -> Result<Preparation, Error> {
    let reference = recipe.reference().map(|channel| channel.id.as_str());
    let id = |input: &Input| recipe.channels[input.channel].id.as_str();
    let involved = continuum::involved(recipe, needed);
    // What all cover is asked of all, so that every rendition of a recipe has
    // the same frame.
    let frames = recipe.crop == Some(Crop::Common);
    let taking_part: Vec<&Input> = inputs
        .iter()
        .filter(|input| frames || involved.contains(&input.channel))
        .collect();
    let grid = inputs
        .iter()
        .find(|input| Some(id(input)) == reference)
        .or(taking_part.first().copied())
        .ok_or_else(|| Error::request("no channel takes part", "give one a color"))?;
    let mut notices = Vec::new();
    let mut on_grid: Vec<(Arc<dyn Rows>, Option<AlignEntry>)> = Vec::new();
    let mut grid_stars: Option<Stars> = None;
    let mut staying: Vec<&Input> = Vec::new();
    for input in taking_part {
        control.check()?;
        let own = of(input.channel);
        match laid(recipe, input, grid, &mut grid_stars, &mut notices, own) {
            Ok(laid) => {
                on_grid.push(laid);
                staying.push(input);
            }
            Err(error) => {
                control.check()?;
                failed(input.channel, error)?;
            }
        }
    }
    if staying.is_empty() {
        return Err(Error::request(
            "no channel is left",
            "look at what is said of each of them",
        ));
    }
    let part = part(recipe, grid, &on_grid, control)?;
    let mut even: Vec<(&Input, Prepared)> = Vec::new();
    for (input, (rows, align)) in staying.into_iter().zip(on_grid) {
        if !involved.contains(&input.channel) {
            continue;
        }
        let own = of(input.channel);
        match evened(recipe, input, rows, align, part, &mut notices, own) {
            Ok(prepared) => even.push((input, prepared)),
            Err(error) => {
                control.check()?;
                failed(input.channel, error)?;
            }
        }
    }
    // Broad channels as they are before anything is taken out by them.
    let broad: Vec<(&Input, Arc<dyn Rows>)> = even
        .iter()
        .map(|(input, prepared)| (*input, Arc::clone(&prepared.rows)))
        .collect();
    let (mut channels, mut indices) = (Vec::new(), Vec::new());
    for (input, prepared) in even {
        if !needed.contains(&input.channel) {
            continue;
        }
        let continuum = recipe.channels[input.channel].continuum.as_ref();
        let broad = broad
            .iter()
            .find(|(other, _)| continuum.is_some_and(|continuum| continuum.from == id(other)));
        let broad = broad.map(|(input, rows)| (*input, rows));
        let own = of(input.channel);
        match continuum::taken_out(recipe, input, prepared, broad, &mut notices, own) {
            Ok(prepared) => {
                channels.push(prepared);
                indices.push(input.channel);
            }
            Err(error) => {
                control.check()?;
                failed(input.channel, error)?;
            }
        }
    }
    Ok(Preparation {
        channels,
        indices,
        part,
        notices,
    })
}

// A channel's rows on the grid, and how they came there.
fn laid(
    recipe: &Recipe,
    input: &Input,
    grid: &Input,
    grid_stars: &mut Option<Stars>,
    notices: &mut Vec<String>,
    control: Control<'_>,
) -> Result<(Arc<dyn Rows>, Option<AlignEntry>), Error> {
    control.check()?;
    let channel = &recipe.channels[input.channel];
    let grid_id = recipe.channels[grid.channel].id.as_str();
    let moves = channel
        .align
        .as_ref()
        .filter(|_| input.channel != grid.channel);
    Ok(match moves {
        None if recipe.crop == Some(Crop::Common) => {
            (Arc::new(Rimless(Arc::clone(&input.rows))), None)
        }
        None => (Arc::clone(&input.rows), None),
        Some(align) => {
            let found = match align.method {
                AlignMethod::Stars => {
                    if grid_stars.is_none() {
                        *grid_stars = Some(stars_of(grid, grid_id, control)?);
                    }
                    by_stars(input, channel, grid, grid_stars.as_ref(), control)?
                }
                AlignMethod::Wcs => by_wcs(input, channel, grid)?,
                AlignMethod::Given => by_matrix(channel)?,
            };
            notices.extend(
                found
                    .notice
                    .map(|notice| format!("{}: {notice}", channel.id)),
            );
            let rows = aligned(input, channel, grid, &found.transform, control)?;
            let share = share_covered(&*rows)?;
            if share == 0.0 {
                return Err(Error::request(
                    format!(
                        "{}: aligned, it lies wholly outside the reference",
                        channel.id
                    ),
                    "check the matrix or the headers, or choose another reference",
                ));
            }
            if share < 0.5 {
                notices.push(format!(
                    "{}: it covers {:.0} % of the reference's field",
                    channel.id,
                    100.0 * share
                ));
            }
            (rows, Some(found.entry))
        }
    })
}

// A channel's sky made even, and its part of the grid.
fn evened(
    recipe: &Recipe,
    input: &Input,
    rows: Arc<dyn Rows>,
    align: Option<AlignEntry>,
    part: Rectangle,
    notices: &mut Vec<String>,
    control: Control<'_>,
) -> Result<Prepared, Error> {
    let channel = &recipe.channels[input.channel];
    // The sky is modelled before cropping: the more of it the better.
    let model = match &channel.level {
        Some(level) => Some(model(&*rows, level, channel, control)?),
        None => None,
    };
    let rows = match &model {
        Some(model) => Arc::new(Leveled::new(rows, model.clone())),
        None => rows,
    };
    let rows = if recipe.crop.is_some() {
        let beyond = || Error::request("`crop` reaches beyond the picture", "make it smaller");
        Arc::new(Cropped::new(rows, part).ok_or_else(beyond)?)
    } else {
        rows
    };
    let level = model.as_ref().map(|model| {
        let notice = |notice| format!("{}: {notice}", channel.id);
        notices.extend(model.notices.iter().map(notice));
        LevelEntry {
            kind: model.kind.to_string(),
            amplitude: model.amplitude,
            amplitude_over_noise: model.amplitude_over_noise,
            samples: model.samples,
            refused: model.refused,
        }
    });
    Ok(Prepared {
        rows,
        align,
        level,
        model,
        continuum: None,
    })
}

/// Finds the stars of an input; its empty rim is no data.
///
/// # Errors
/// When it cannot be read, or the job is stopped.
pub fn stars_of(input: &Input, id: &str, control: Control<'_>) -> Result<Stars, Error> {
    let tick = control.tick(format!("{id}: finding stars"));
    let rows = Rimless(Arc::clone(&input.rows));
    Ok(stars::find(
        &rows,
        input.facts.ceiling,
        &FindLimits::default(),
        &tick,
    )?)
}

/// Stars as the matching wants them, with the error that each centre has: 0.6
/// FWHM / SNR, the limit where the sky's noise rules (King 1983, PASP 95, 163),
/// and a floor for what the pixels hide.
pub fn points(stars: &[Star]) -> Vec<Point> {
    stars
        .iter()
        .map(|star| Point {
            x: star.x,
            y: star.y,
            flux: star.flux,
            weight_px: if star.saturated {
                0.5
            } else {
                0.03 + 0.6 * star.fwhm_px / star.snr.max(1.0)
            },
        })
        .collect()
}

struct Found {
    transform: Transform,
    entry: AlignEntry,
    notice: Option<String>,
}

fn by_stars(
    input: &Input,
    channel: &Channel,
    grid: &Input,
    grid_stars: Option<&Stars>,
    control: Control<'_>,
) -> Result<Found, Error> {
    let own = stars_of(input, &channel.id, control)?;
    let theirs = grid_stars.map_or(&[][..], |stars| &stars.stars);
    let matched = match_stars(
        &points(&own.stars),
        &points(theirs),
        input.facts.size,
        grid.facts.size,
    )
    .map_err(|error| Error::request(format!("{}: {error}", channel.id), error.hint()))?;
    let Matched {
        transform,
        model,
        pairs,
        rms_px,
        ..
    } = matched;
    let notice = if pairs.len() < 10 {
        Some(format!(
            "aligned on {} stars only: look at the edges",
            pairs.len()
        ))
    } else if rms_px > 0.5 {
        Some(format!(
            "the stars fit to {rms_px:.2} px only: look at the edges"
        ))
    } else {
        None
    };
    Ok(Found {
        entry: entry(
            "stars",
            model.name(),
            &transform,
            Some((pairs.len(), rms_px)),
        ),
        transform,
        notice,
    })
}

fn by_wcs(input: &Input, channel: &Channel, grid: &Input) -> Result<Found, Error> {
    let (transform, deviation) = sky_grid::between(
        &input.facts.header,
        input.facts.size,
        &grid.facts.header,
        grid.facts.size,
    )
    .map_err(|error| Error::request(format!("{}: {}", channel.id, error.message), error.hint))?;
    let notice = (deviation > 0.1)
        .then(|| format!("the world coordinates are followed to {deviation:.2} px only"));
    Ok(Found {
        entry: entry("wcs", "world coordinates", &transform, None),
        transform,
        notice,
    })
}

fn by_matrix(channel: &Channel) -> Result<Found, Error> {
    let matrix = channel.align.as_ref().and_then(|align| align.matrix);
    let transform = matrix.and_then(Transform::from_matrix).ok_or_else(|| {
        Error::request(
            format!("{}: `align.matrix` has no inverse", channel.id),
            "check its numbers",
        )
    })?;
    Ok(Found {
        entry: entry("given", "matrix", &transform, None),
        transform,
        notice: None,
    })
}

fn entry(
    method: &str,
    model: &str,
    transform: &Transform,
    stars: Option<(usize, f64)>,
) -> AlignEntry {
    AlignEntry {
        method: method.to_owned(),
        model: model.to_owned(),
        matrix: transform.to_reference.matrix,
        distortion: transform
            .to_reference
            .correction
            .as_ref()
            .map(|correction| Distortion {
                center: correction.center,
                scale: correction.scale,
                x: correction.x,
                y: correction.y,
            }),
        resampling:
            "Lanczos-3 limited beside bright stars, area-true where finer, copies where exact"
                .to_owned(),
        stars: stars.map(|(count, _)| count),
        rms_px: stars.map(|(_, rms)| rms),
    }
}

// The channel on the reference's grid, in a temporary file.
fn aligned(
    input: &Input,
    channel: &Channel,
    grid: &Input,
    transform: &Transform,
    control: Control<'_>,
) -> Result<Arc<dyn Rows>, Error> {
    let source: Arc<dyn Rows> = Arc::new(Rimless(Arc::clone(&input.rows)));
    let noise = measure::glance(&*source, input.facts.ceiling)?
        .levels
        .map(|levels| levels.noise as f32);
    let size = grid.facts.size;
    let aligned = Aligned::new(source, transform, size, noise, MEMORY);
    let tick = control.row_tick(format!("{}: aligning", channel.id), size.height);
    spooled(&aligned, &tick, control)
}

// How much of the field lies between the first and last value of its rows.
fn share_covered(rows: &dyn Rows) -> Result<f64, RowsError> {
    let inside: usize = covered(rows)?.iter().map(|(from, to)| to - from).sum();
    Ok(inside as f64 / rows.size().pixels() as f64)
}

fn part(
    recipe: &Recipe,
    grid: &Input,
    channels: &[(Arc<dyn Rows>, Option<AlignEntry>)],
    control: Control<'_>,
) -> Result<Rectangle, Error> {
    let size = grid.facts.size;
    let whole = Rectangle {
        origin: [0, 0],
        size,
    };
    match recipe.crop {
        None => Ok(whole),
        Some(Crop::Part([x, y, width, height])) => {
            let inside = |origin: usize, length: usize, side: usize| {
                length > 0 && origin.checked_add(length).is_some_and(|end| end <= side)
            };
            if inside(x, width, size.width) && inside(y, height, size.height) {
                let size = crate::engine::frame::Size { width, height };
                return Ok(Rectangle {
                    origin: [x, y],
                    size,
                });
            }
            Err(Error::request(
                if width == 0 || height == 0 {
                    format!("`crop = [{x}, {y}, {width}, {height}]` leaves nothing of {size}")
                } else {
                    format!("`crop = [{x}, {y}, {width}, {height}]` reaches beyond {size}")
                },
                "give the first pixel and how many, in pixels of the reference",
            ))
        }
        Some(Crop::Common) => {
            let mut common = vec![(0, size.width); size.height];
            for (rows, _) in channels {
                control.check()?;
                common = both(&common, &covered(&**rows)?);
            }
            largest(&common, size.width).ok_or_else(|| {
                Error::request(
                    "`crop = \"common\"` leaves nothing: no part is covered by all channels",
                    "look at the channels with `linehue channels`, or take `crop` out",
                )
            })
        }
    }
}

fn model(
    rows: &dyn Rows,
    level: &Level,
    channel: &Channel,
    control: Control<'_>,
) -> Result<SkyModel, Error> {
    let mut tick = control.tick(format!("{}: sky", channel.id));
    level::model(rows, level, &mut tick).map_err(|error| match error {
        LevelError::Rows(error) => Error::Rows(error),
        LevelError::Stopped => Error::Cancelled,
        other => Error::request(format!("{}: {other}", channel.id), other.hint()),
    })
}
