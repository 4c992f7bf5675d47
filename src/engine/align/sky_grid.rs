//! From pixel to pixel by way of the sky, where both headers say how they lie.
//!
//! World coordinates are those of Greisen & Calabretta 2002 (A&A 395, 1061) and
//! Calabretta & Greisen 2002 (A&A 395, 1077), distortions those of the SIP
//! convention (Shupe et al. 2005, ADASS XIV, ASP Conf. Ser. 347, 491). Pixel
//! (1, 1) of a header is (0, 0) here: rows are counted as the file keeps them.

mod celestial;
mod fit;
mod sip;

use super::transform::Transform;
use crate::engine::frame::Size;
use crate::engine::header::Header;
use crate::engine::num::exact;
use celestial::Grid;

/// Positions along each side at which both grids are compared.
const SAMPLES: usize = 25;

/// Why no transform could be made from two headers: what, then the next step.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{message}")]
pub struct SkyError {
    /// What is wrong, naming the source or the reference and the keywords.
    pub message: String,
    /// What to do about it.
    pub hint: String,
}

const BY_STARS: &str = "align this channel by stars instead";

fn error(message: String) -> SkyError {
    SkyError {
        message,
        hint: BY_STARS.to_owned(),
    }
}

/// Right ascension and declination, in degrees, of a pixel position (the first
/// pixel's centre is (0, 0)) by a header. None where the header gives no grid
/// that is understood, or the projection ends.
pub fn place(header: &Header, position: [f64; 2]) -> Option<[f64; 2]> {
    let [x, y, z] = Grid::read(header).ok()?.direction(position)?;
    let across = (x * x + y * y).sqrt();
    Some([exact::angle_deg(y, x), libm::atan2(z, across).to_degrees()])
}

/// The transform from a source to the reference by their headers, and the
/// largest distance between it and the exact maps, in pixels of where each map
/// leads (the reference's for `to_reference`, the source's for `to_source`),
/// over the source and over the part of the reference that it covers.
///
/// Understood are right ascension and declination (in this order) under the
/// projections TAN, SIN and ARC, with CD, PC and CDELT or CDELT and CROTA2, with
/// LONPOLE and with SIP terms up to order 9: A and B give the way to the sky;
/// the way back is found by iteration, so AP and BP, which only approximate
/// it, are not needed. ICRS and FK5 of equinox 2000 differ by less than 0.03
/// arc seconds and count as one.
///
/// # Errors
/// A header without celestial coordinates or with some that are not understood,
/// frames that differ, and pictures that do not overlap.
pub fn between(
    source: &Header,
    source_size: Size,
    reference: &Header,
    reference_size: Size,
) -> Result<(Transform, f64), SkyError> {
    let from = Grid::read(source).map_err(|why| error(format!("the source's header: {why}")))?;
    let to =
        Grid::read(reference).map_err(|why| error(format!("the reference's header: {why}")))?;
    if from.frame != to.frame {
        return Err(error(format!(
            "the source counts positions in {}, the reference in {}",
            from.frame, to.frame
        )));
    }
    let forward = pairs(&from, source_size, &to);
    let backward = pairs(&to, reference_size, &from);
    if !overlap(&forward, reference_size) && !overlap(&backward, source_size) {
        return Err(error(
            "by their headers, the source and the reference show different parts of the sky"
                .to_owned(),
        ));
    }
    let unfit = || {
        error(
            "the headers' coordinates do not make a smooth map between the two pictures".to_owned(),
        )
    };
    if forward.len() < SAMPLES * SAMPLES {
        return Err(unfit());
    }
    // The way back is fitted where it is used, on the reference's pixels that
    // the source covers with a margin, and on what the source's own edge gives.
    let margin = 0.05 * source_size.width.max(source_size.height) as f64;
    let mut covered: Vec<Pair> = backward
        .into_iter()
        .filter(|pair| is_inside(pair.to, source_size, margin))
        .collect();
    covered.extend(forward.iter().map(|pair| Pair {
        from: pair.to,
        to: pair.from,
    }));
    let (to_reference, one_way) = fit::map(&forward).ok_or_else(unfit)?;
    let (to_source, other_way) = fit::map(&covered).ok_or_else(unfit)?;
    Ok((
        Transform {
            to_reference,
            to_source,
        },
        one_way.max(other_way),
    ))
}

/// A position and where it goes.
#[derive(Debug, Clone, Copy)]
struct Pair {
    from: [f64; 2],
    to: [f64; 2],
}

// A grid of positions over a picture, and where each is in the other; those
// that the other grid cannot show are left out.
fn pairs(from: &Grid, size: Size, to: &Grid) -> Vec<Pair> {
    let place = |length: usize, i: usize| (length as f64) * i as f64 / (SAMPLES - 1) as f64 - 0.5;
    let mut pairs = Vec::with_capacity(SAMPLES * SAMPLES);
    for j in 0..SAMPLES {
        for i in 0..SAMPLES {
            let position = [place(size.width, i), place(size.height, j)];
            let end = from
                .direction(position)
                .and_then(|direction| to.pixel(direction));
            if let Some(end) = end {
                pairs.push(Pair {
                    from: position,
                    to: end,
                });
            }
        }
    }
    pairs
}

fn is_inside([x, y]: [f64; 2], size: Size, margin: f64) -> bool {
    let within = |v: f64, length: usize| v >= -0.5 - margin && v <= length as f64 - 0.5 + margin;
    within(x, size.width) && within(y, size.height)
}

fn overlap(pairs: &[Pair], size: Size) -> bool {
    pairs.iter().any(|pair| is_inside(pair.to, size, 0.0))
}

#[cfg(test)]
mod tests;
