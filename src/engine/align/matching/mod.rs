//! Two star lists onto each other, without knowing where either points.
//!
//! 1. Triangles of neighbouring stars are found again by their shape, in the
//!    brightest stars of both lists and at several depths.
//! 2. Where the stars around two triangles agree as well, the agreement is
//!    widened step by step over the field.
//! 3. A field is accepted only where chance would hardly ever give as many
//!    pairs, whatever had been tried.
//! 4. All stars take part in the final fit, and the model grows only as far
//!    as they ask.
//!
//! The result depends on the lists alone: nothing is drawn at random.

mod asterism;
mod evidence;
mod fit;
mod grid;
mod hypothesis;
mod refine;

use crate::engine::align::transform::Transform;
use crate::engine::frame::Size;
use grid::{Grid, Star};
use hypothesis::{Find, NEIGHBOURS, Part};
use refine::Frames;

/// A star to match. Lists are ordered brightest first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Pixels from the left, the centre of the first pixel at 0.
    pub x: f64,
    /// Pixels from the top, the centre of the first pixel at 0.
    pub y: f64,
    /// Light of the star, in any unit; only the order of the list counts.
    pub flux: f64,
    /// Expected error of `x` and of `y`, in pixels. Taken as 0.05 to 3, and as
    /// 0.3 where it is not a positive number.
    pub weight_px: f64,
}

/// What kind of map takes one list to the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Model {
    /// Shift, rotation, scale and perhaps reflection.
    Similarity,
    /// Any linear map and a shift.
    Affine,
    /// A homography: perspective as well.
    Projective,
    /// Affine, with all terms of degree 2 and 3 added.
    Distorted,
}

impl Model {
    /// As the record writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Similarity => "similarity",
            Self::Affine => "affine",
            Self::Projective => "projective",
            Self::Distorted => "distorted",
        }
    }

    /// Pairs that fix it.
    fn pairs(self) -> usize {
        match self {
            Self::Similarity => 2,
            Self::Affine => 3,
            Self::Projective => 4,
            Self::Distorted => 10,
        }
    }

    /// Numbers that describe it: two for each pair.
    fn parameters(self) -> f64 {
        2.0 * self.pairs() as f64
    }
}

/// How two lists lie on each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Matched {
    /// Source pixel to reference pixel, and back.
    pub transform: Transform,
    /// Its kind.
    pub model: Model,
    /// Places in the source and in the reference list, by source.
    pub pairs: Vec<(usize, usize)>,
    /// Root mean square distance of the pairs, in reference pixels.
    pub rms_px: f64,
    /// Median distance of the pairs, in reference pixels.
    pub median_px: f64,
    /// Whether one is the mirror image of the other.
    pub mirrored: bool,
    /// What led to it, in words.
    pub tried: String,
}

/// Why two lists could not be laid on each other.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MatchError {
    /// Hardly any stars.
    #[error(
        "too few stars to match: {source_stars} in this image and {reference_stars} in the \
         reference, at least {FEWEST} are needed in each"
    )]
    TooFew {
        /// Usable stars of the source.
        source_stars: usize,
        /// Usable stars of the reference.
        reference_stars: usize,
    },
    /// No way to lay one on the other stands out from chance.
    #[error(
        "the {source_stars} stars of this image fit the {reference_stars} of the reference in \
         no way that could not be chance ({tried})"
    )]
    NoMatch {
        /// Usable stars of the source.
        source_stars: usize,
        /// Usable stars of the reference.
        reference_stars: usize,
        /// What was tried, in words.
        tried: String,
    },
}

impl MatchError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::TooFew { .. } => {
                "use `method = \"wcs\"` if both headers hold a plate solution, `method = \
                 \"given\"` with a matrix, or a reference with more stars"
            }
            Self::NoMatch { .. } => {
                "check that both show the same field; then use `method = \"wcs\"` if both \
                 headers hold a plate solution, `method = \"given\"` with a matrix, or another \
                 reference"
            }
        }
    }
}

/// Fewer stars than this are not matched.
pub const FEWEST: usize = 6;

/// Brightest stars taken from the two lists: the mean, and by how much more
/// from the source than from the reference. Unequal numbers are for lists of
/// unequal depth or grids of unequal extent.
const DEPTHS: [f64; 4] = [40.0, 120.0, 350.0, 1000.0];
const RATIOS: [f64; 7] = [1.0, 3.162, 1.0 / 3.162, 10.0, 0.1, 31.62, 1.0 / 31.62];

/// Triangle pairs looked at for each depth and ratio.
const TRIANGLE_PAIRS: usize = 40_000;

/// Lays the stars of a source on those of a reference.
///
/// Both lists are ordered brightest first and positions are in pixels of their
/// own grids. Positions that are not finite or lie outside of their frame are
/// left out, as are stars within 1 pixel of a brighter one.
///
/// # Errors
/// If there are too few stars, or nothing found stands out from chance.
pub fn match_stars(
    source: &[Point],
    reference: &[Point],
    source_size: Size,
    reference_size: Size,
) -> Result<Matched, MatchError> {
    let here = usable(source, source_size);
    let there = usable(reference, reference_size);
    let frames = Frames {
        source: source_size,
        reference: reference_size,
    };
    if here.len() < FEWEST || there.len() < FEWEST {
        return Err(MatchError::TooFew {
            source_stars: here.len(),
            reference_stars: there.len(),
        });
    }
    let whole = Part::new(&there);
    let mut search = Search::default();
    for (source_count, reference_count) in depths(here.len(), there.len()) {
        let found = search.at_depth(
            &here[..source_count],
            &there[..reference_count],
            frames,
            |find| finish(find, &here, &whole, frames),
        );
        if let Some(mut matched) = found {
            matched.tried = format!(
                "found in the {source_count} brightest of {} stars and the {reference_count} \
                 brightest of {}; {}",
                here.len(),
                there.len(),
                search.words()
            );
            return Ok(matched);
        }
    }
    Err(MatchError::NoMatch {
        source_stars: here.len(),
        reference_stars: there.len(),
        tried: search.words(),
    })
}

/// Stars with a position in the frame, without those beside a brighter one.
fn usable(points: &[Point], size: Size) -> Vec<Star> {
    let (right, bottom) = (size.width as f64, size.height as f64);
    let stars: Vec<Star> = points
        .iter()
        .enumerate()
        .filter(|(_, p)| p.x >= -1.0 && p.y >= -1.0 && p.x <= right && p.y <= bottom)
        .map(|(index, p)| Star {
            at: [p.x, p.y],
            sigma: if p.weight_px > 0.0 && p.weight_px.is_finite() {
                p.weight_px.clamp(0.05, 3.0)
            } else {
                0.3
            },
            index,
        })
        .collect();
    let grid = Grid::new(&stars);
    stars
        .iter()
        .enumerate()
        .filter(|&(place, star)| !grid.any_before(place, star.at, 1.0))
        .map(|(_, star)| *star)
        .collect()
}

/// How many of the brightest to take from each list, in the order of trying.
fn depths(source: usize, reference: usize) -> Vec<(usize, usize)> {
    let mut list = Vec::new();
    for depth in DEPTHS {
        for ratio in RATIOS {
            if depth * ratio.min(1.0 / ratio).sqrt() < 12.0 {
                continue;
            }
            let part = |factor: f64, all: usize| ((depth * factor) as usize).min(all);
            let pair = (
                part(ratio.sqrt(), source),
                part(1.0 / ratio.sqrt(), reference),
            );
            if !list.contains(&pair) {
                list.push(pair);
            }
        }
    }
    list
}

/// What was looked at so far.
#[derive(Debug, Default)]
struct Search {
    depths: usize,
    alike: usize,
    promising: usize,
    grown: usize,
}

impl Search {
    fn words(&self) -> String {
        format!(
            "{} triangle pairs of one shape at {} depths, in both parities; {} with agreeing \
             neighbours, {} of them over the whole field",
            self.alike, self.depths, self.promising, self.grown
        )
    }

    fn at_depth(
        &mut self,
        source: &[Star],
        reference: &[Star],
        frames: Frames,
        finish: impl Fn(Find) -> Option<Matched>,
    ) -> Option<Matched> {
        self.depths += 1;
        let source = Part::new(source);
        let reference = Part::new(reference);
        let near = asterism::neighbourhoods(source.stars, &source.grid, NEIGHBOURS);
        let (here, there) = reaches(source.stars.len(), reference.stars.len());
        let triangles = asterism::triangles(source.stars, &near, here);
        let around = asterism::neighbourhoods(reference.stars, &reference.grid, there);
        let shapes = asterism::Shapes::new(&asterism::triangles(reference.stars, &around, there));
        let mut left = TRIANGLE_PAIRS;
        let mut found = None;
        for triangle in &triangles {
            let go_on = shapes.alike(triangle, |other| {
                if left == 0 {
                    return false;
                }
                left -= 1;
                found = self
                    .try_out(triangle, other, &source, &near, &reference, frames)
                    .and_then(&finish);
                found.is_none()
            });
            if !go_on {
                break;
            }
        }
        self.alike += TRIANGLE_PAIRS - left;
        found
    }

    fn try_out(
        &mut self,
        here: &asterism::Triangle,
        there: &asterism::Triangle,
        source: &Part<'_>,
        near: &[Vec<u32>],
        reference: &Part<'_>,
        frames: Frames,
    ) -> Option<Find> {
        let (seed, mirrored) = hypothesis::neighbours_agree(here, there, source, near, reference)?;
        self.promising += 1;
        let find = hypothesis::grow(&seed, mirrored, source, reference)?;
        self.grown += 1;
        significant(&find, source.stars, reference, frames).then_some(find)
    }
}

/// Neighbours of a star that make triangles with it, in the source and in the
/// reference: more where stars are few, and more in the longer list, where
/// others stand between those of the shorter.
fn reaches(source: usize, reference: usize) -> (usize, usize) {
    let reach = |own: usize, other: usize| {
        let triangles = match own.cmp(&other) {
            _ if own * 2 < other => 4_000.0,
            _ if own > other * 2 => 20_000.0,
            _ => 7_000.0,
        };
        let reach = 1.0 + (2.0 * triangles / own as f64).sqrt();
        (reach as usize).clamp(5, NEIGHBOURS)
    };
    (reach(source, reference), reach(reference, source))
}

/// Whether a find stands out from chance.
fn significant(find: &Find, source: &[Star], reference: &Part<'_>, frames: Frames) -> bool {
    let pairs: Vec<(usize, usize, f64)> = find
        .pairs
        .iter()
        .map(|&(here, there)| {
            let at = find.map.apply(source[here].at);
            (
                here,
                there,
                grid::squared(at, reference.stars[there].at).sqrt(),
            )
        })
        .collect();
    evidence::ln_false_alarms(
        &find.map,
        find.model.pairs(),
        &pairs,
        source,
        reference,
        frames.reference,
    ) < evidence::ACCEPTED
}

/// Takes in fainter and fainter stars, and makes the transform.
fn finish(
    mut find: Find,
    source: &[Star],
    reference: &Part<'_>,
    frames: Frames,
) -> Option<Matched> {
    let mut depth = 300;
    loop {
        let part = Part::new(&reference.stars[..depth.min(reference.stars.len())]);
        let brightest = &source[..depth.min(source.len())];
        if let Some(refined) = refine::refine(find.clone(), brightest, &part, frames)
            && refined.pairs.len() >= find.pairs.len().min(8)
        {
            find = refined;
        }
        if depth >= source.len().max(reference.stars.len()) {
            break;
        }
        depth *= 4;
    }
    if !significant(&find, source, reference, frames) {
        return None;
    }
    let transform = refine::transform(&find, source, reference.stars, frames)?;
    let mut distances: Vec<f64> = find
        .pairs
        .iter()
        .map(|&(here, there)| {
            let at = transform.to_reference.apply(source[here].at);
            grid::squared(at, reference.stars[there].at).sqrt()
        })
        .collect();
    let squares: f64 = distances.iter().map(|distance| distance * distance).sum();
    let rms_px = (squares / distances.len() as f64).sqrt();
    let middle = distances.len() / 2;
    let median_px = *distances.select_nth_unstable_by(middle, f64::total_cmp).1;
    let mut pairs: Vec<(usize, usize)> = find
        .pairs
        .iter()
        .map(|&(here, there)| (source[here].index, reference.stars[there].index))
        .collect();
    pairs.sort_unstable();
    Some(Matched {
        transform,
        model: find.model,
        pairs,
        rms_px,
        median_px,
        mirrored: find.mirrored,
        tried: String::new(),
    })
}
