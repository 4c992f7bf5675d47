//! Channels are laid on the reference's grid.

use std::num::NonZeroUsize;
use std::sync::Arc;

use crate::engine::align::matching::{Matched, Point, match_stars};
use crate::engine::align::resample::Aligned;
use crate::engine::align::sky_grid;
use crate::engine::align::stars::{self, FindLimits, Star, Stars};
use crate::engine::align::transform::Transform;
use crate::engine::crop::{Rimless, covered};
use crate::engine::frame::{Rows, RowsError};
use crate::engine::measure;
use crate::engine::recipe::{AlignMethod, Channel, Crop, Recipe};
use crate::io::record::{AlignEntry, Distortion};
use crate::work::inputs::Input;
use crate::work::spooled::spooled;
use crate::work::{Control, Error};

/// Memory for a channel that is being resampled.
const MEMORY: NonZeroUsize = NonZeroUsize::new(96 << 20).expect("not zero");

/// A channel's rows on the grid, and how they came there; None: as they stood.
pub(super) struct Laid {
    pub rows: Arc<dyn Rows>,
    pub align: Option<AlignEntry>,
    pub transform: Option<Transform>,
}

pub(super) fn laid(
    recipe: &Recipe,
    input: &Input,
    grid: &Input,
    grid_stars: &mut Option<Stars>,
    notices: &mut Vec<String>,
    control: Control<'_>,
) -> Result<Laid, Error> {
    control.check()?;
    let channel = &recipe.channels[input.channel];
    let grid_id = recipe.channels[grid.channel].id.as_str();
    let moves = channel
        .align
        .as_ref()
        .filter(|_| input.channel != grid.channel);
    let unmoved = |rows| Laid {
        rows,
        align: None,
        transform: None,
    };
    Ok(match moves {
        None if recipe.crop == Some(Crop::Common) => {
            unmoved(Arc::new(Rimless(Arc::clone(&input.rows))))
        }
        None => unmoved(Arc::clone(&input.rows)),
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
            Laid {
                rows,
                align: Some(found.entry),
                transform: Some(found.transform),
            }
        }
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
