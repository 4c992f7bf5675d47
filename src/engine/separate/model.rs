//! The stars of one picture, measured; and any part of the picture without them.

use std::ops::ControlFlow;

use rayon::prelude::*;

use super::footprint::{Footprint, Under, exact};
use super::image::Image;
use super::islands::{Filled, Ground, Island};
use super::light::{Bands, Drawn, lit};
use super::noise::{Noise, Texture};
use super::pixels::{Pixels, Window};
use super::psf::Psf;
use super::{Notice, Report, SeparateError, Tick};
use crate::engine::frame::{Plane, Size};

/// The stars of one picture, measured.
#[derive(Debug, Clone, PartialEq)]
pub struct StarModel {
    pub(super) size: Size,
    pub(super) psf: Psf,
    pub(super) drawn: Vec<Drawn>,
    pub(super) noise: Option<Noise>,
    pub(super) islands: Vec<Island>,
    /// What happened to the listed stars.
    pub report: Report,
    /// What the user should know.
    pub notices: Vec<Notice>,
    /// Which other channels, by the order in which they were added, told of these
    /// stars: see [`Together`](super::Together).
    pub told_by: Vec<usize>,
}

/// Rows that are taken apart together.
const TOGETHER: usize = 16;

impl StarModel {
    /// All of the picture.
    pub fn whole(&self) -> Window {
        Window {
            left: 0,
            top: 0,
            width: self.size.width,
            height: self.size.height,
        }
    }

    /// The image of a point.
    pub fn psf(&self) -> &Psf {
        &self.psf
    }

    /// Every star as it is taken off: the listed ones in the list's order, height
    /// 0 for those that stay; then those that were found besides.
    pub fn stars(&self) -> &[Drawn] {
        &self.drawn
    }

    /// A part of the picture without its stars, the same bits as in the whole.
    ///
    /// # Errors
    /// [`SeparateError::OtherSize`] where `plane` is not the measured one's
    /// size, [`SeparateError::Stopped`] where `tick` breaks off.
    pub fn separate(
        &self,
        plane: &Plane,
        window: Window,
        tick: Tick<'_>,
    ) -> Result<Footprint, SeparateError> {
        const AT_ONCE: usize = 512;
        let (height, width) = plane.values().dim();
        let size = Size { width, height };
        if size != self.size {
            return Err(SeparateError::OtherSize {
                model: self.size,
                plane: size,
            });
        }
        let window = window.within(width, height);
        let nothing =
            || Footprint::new(window, (0..window.height).map(|_| vec![None; window.width]));
        let (Some(values), Some(noise)) = (plane.values().as_slice(), &self.noise) else {
            return Ok(nothing());
        };
        if window.width == 0 {
            return Ok(nothing());
        }
        let bands = Bands::new(&self.drawn, height);
        let image = Image::new(&self.psf);
        let ground = Ground {
            pixels: Pixels::new(values, width, height),
            image: &image,
            drawn: &self.drawn,
            bands: &bands,
            noise,
            texture: Texture::new(noise.alike),
        };
        let touched: Vec<&Island> = self
            .islands
            .iter()
            .filter(|island| meet(island.bounds, window))
            .collect();
        let strips = window.height.div_ceil(AT_ONCE);
        let all = touched.len().div_ceil(AT_ONCE) + strips;
        let told = |done: usize| match tick(done, all) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(SeparateError::Stopped),
        };
        let mut filled: Vec<Vec<Filled>> = vec![Vec::new(); window.height];
        for (part, islands) in touched.chunks(AT_ONCE).enumerate() {
            let parts: Vec<Vec<Filled>> = islands
                .par_iter()
                .map(|island| ground.fill(island))
                .collect();
            for pixel in parts.into_iter().flatten() {
                if let Some(row) = filled.get_mut((pixel.1 as usize).wrapping_sub(window.top)) {
                    row.push(pixel);
                }
            }
            told(part + 1)?;
        }
        let mut footprint = Footprint::new(window, std::iter::empty());
        for strip in 0..strips {
            let first = strip * AT_ONCE;
            let end = (first + AT_ONCE).min(window.height);
            let parts: Vec<Vec<Vec<Under>>> = filled[first..end]
                .par_chunks(TOGETHER)
                .enumerate()
                .map(|(part, filled)| under(&ground, window, first + part * TOGETHER, filled))
                .collect();
            parts.iter().for_each(|rows| footprint.extend(rows));
            told(all - strips + strip + 1)?;
        }
        Ok(footprint)
    }
}

fn meet(a: Window, b: Window) -> bool {
    a.left < b.right() && b.left < a.right() && a.top < b.bottom() && b.top < a.bottom()
}

/// Rows of a window without stars, from its `first` one on: as many as `filled`
/// has.
fn under(
    ground: &Ground<'_>,
    window: Window,
    first: usize,
    filled: &[Vec<Filled>],
) -> Vec<Vec<Under>> {
    let part = Window {
        top: window.top + first,
        height: filled.len(),
        ..window
    };
    let lit = lit(ground.image, ground.drawn, ground.bands, part);
    let rows = lit.chunks(window.width).zip(filled).enumerate();
    rows.map(|(row, (lit, filled))| {
        let values = &ground.pixels.row(part.top + row)[window.left..window.right()];
        let mut row: Vec<Under> = lit
            .iter()
            .zip(values)
            .map(|(lit, value)| {
                let there = lit.light > 0.0 && !value.is_nan();
                there.then(|| (value - lit.light, lit.height()))
            })
            .collect();
        for (x, _, value) in filled {
            let Some(column) = (*x as usize)
                .checked_sub(window.left)
                .filter(|column| *column < row.len())
            else {
                continue;
            };
            row[column] = Some((*value, lit[column].height()));
        }
        for (under, value) in row.iter_mut().zip(values) {
            if let Some((nebula, _)) = under {
                *nebula = exact(*value, *nebula).0;
            }
        }
        row
    })
    .collect()
}
