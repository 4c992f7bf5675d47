//! The stars of one picture, measured; and any part of the picture without them.

use std::ops::ControlFlow;

use rayon::prelude::*;

use super::fit::{Round, Spot};
use super::footprint::{Footprint, Under, exact};
use super::islands::{Disc, Filled, Ground, Island, islands};
use super::light::{Bands, Drawn, Lit, light, lit_row};
use super::noise::{Noise, Texture};
use super::pixels::{Pixels, Window};
use super::psf::Psf;
use super::{Notice, Report, SeparateError, Settings, Tick, arms, build, start};
use crate::engine::align::stars::Star;
use crate::engine::frame::{Plane, Size};

/// A star's light ends where it falls below this, sigma of the noise.
const FLOOR: f32 = 0.2;

/// Rounds that improve the image of a point, and rounds for all stars.
const LEARN: usize = 4;
const ROUNDS: usize = 3;

/// Fewer lone stars make no image.
const FEWEST: usize = 5;

/// Steps that `tick` hears about while measuring, and while separating.
const MEASURING: usize = 2 + LEARN + ROUNDS;

/// The stars of one picture, measured.
#[derive(Debug, Clone, PartialEq)]
pub struct StarModel {
    size: Size,
    psf: Psf,
    drawn: Vec<Drawn>,
    noise: Option<Noise>,
    islands: Vec<Island>,
    /// What happened to the listed stars.
    pub report: Report,
    /// What the user should know.
    pub notices: Vec<Notice>,
}

/// Measures listed stars on a picture. The list may come from another channel
/// on the same grid: places are improved where the star is bright enough here,
/// and stars that do not show here stay untouched. Brightness and width in the
/// list play no part; whether a star is cut off is also told from
/// [`Settings::ceiling`].
///
/// # Errors
/// [`SeparateError::Stopped`] where `tick` breaks off.
pub fn measure(
    plane: &Plane,
    stars: &[Star],
    settings: &Settings,
    tick: Tick<'_>,
) -> Result<StarModel, SeparateError> {
    let mut done = 0;
    let mut step = || -> Result<(), SeparateError> {
        done += 1;
        match tick(done, MEASURING) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(SeparateError::Stopped),
        }
    };
    let (height, width) = plane.values().dim();
    let mut model = StarModel {
        size: Size { width, height },
        psf: Psf::moffat(settings.fwhm_px.clamp(1.0, 20.0), 3.0),
        drawn: Vec::new(),
        noise: None,
        islands: Vec::new(),
        report: Report::default(),
        notices: Vec::new(),
    };
    model.report.faint = stars.len();
    let Some(values) = plane.values().as_slice().filter(|_| !stars.is_empty()) else {
        return Ok(model);
    };
    let pixels = Pixels::new(values, width, height);
    let Some(noise) = Noise::new(&pixels).filter(|noise| noise.typical > 0.0) else {
        return Ok(model);
    };
    step()?;
    let given = settings.fwhm_px.clamp(1.0, 20.0);
    let mut spots = start::spots(&pixels, &noise, stars, given, settings.ceiling);
    let fwhm_px = start::width(&pixels, &spots, &noise, given).unwrap_or(given);
    let mut psf = Psf::moffat(fwhm_px.clamp(1.0, 20.0), 3.0);
    step()?;
    let beside = neighbours(&spots, 4.0 * psf.fwhm_px, width, height);
    let (chosen, usable) = build::chosen(&spots, &beside, &noise);
    let learns = usable >= FEWEST;
    for round in 0..LEARN {
        if learns {
            let drawn = draw_far(&spots, &psf, &noise, &chosen);
            let shine = light(&psf, &drawn, &Bands::new(&drawn, height), model.whole());
            let task = Round {
                pixels,
                light: &shine,
                drawn: &drawn,
                noise: &noise,
                psf: &psf,
                beside: &beside,
            };
            task.fit(&mut spots, &chosen);
            let drawn = draw_far(&spots, &psf, &noise, &chosen);
            let shine = light(&psf, &drawn, &Bands::new(&drawn, height), model.whole());
            build::profile(&mut psf, &pixels, &shine, &spots, &chosen, &noise);
            if round > 0 {
                let drawn = draw_far(&spots, &psf, &noise, &chosen);
                let shine = light(&psf, &drawn, &Bands::new(&drawn, height), model.whole());
                build::table(&mut psf, &pixels, &shine, &spots, &chosen[..usable], &noise);
            }
            let factor = psf.normalize();
            spots.iter_mut().for_each(|spot| spot.height *= factor);
        }
        step()?;
    }
    let mut beside = beside;
    let whole = model.whole();
    if learns {
        let drawn = draw_far(&spots, &psf, &noise, &chosen);
        let shine = light(&psf, &drawn, &Bands::new(&drawn, height), whole);
        psf.arms = arms::arms(&psf, &pixels, &shine, &spots, &chosen, &noise);
    }
    for round in 0..ROUNDS {
        let lay = |spots: &[Spot]| {
            let drawn = draw(spots, &psf, &noise, FLOOR);
            let shine = light(&psf, &drawn, &Bands::new(&drawn, height), whole);
            (drawn, shine)
        };
        let (drawn, shine) = lay(&spots);
        let task = Round {
            pixels,
            light: &shine,
            drawn: &drawn,
            noise: &noise,
            psf: &psf,
            beside: &beside,
        };
        let all: Vec<u32> = (0..spots.len() as u32)
            .filter(|index| spots[*index as usize].height > 0.0)
            .collect();
        task.fit(&mut spots, &all);
        if round == 0 {
            let (drawn, shine) = lay(&spots);
            let task = Round {
                pixels,
                light: &shine,
                drawn: &drawn,
                noise: &noise,
                psf: &psf,
                beside: &beside,
            };
            model.report.unlike = task.leave_out_unlike(&mut spots);
            if settings.seek {
                let (drawn, shine) = lay(&spots);
                let task = Round {
                    pixels,
                    light: &shine,
                    drawn: &drawn,
                    noise: &noise,
                    psf: &psf,
                    beside: &beside,
                };
                let full = settings
                    .ceiling
                    .map_or(f32::INFINITY, |ceiling| ceiling as f32);
                spots.extend(task.seek(full));
                beside = neighbours(&spots, 4.0 * psf.fwhm_px, width, height);
            }
        }
        step()?;
    }
    judge(
        &mut spots,
        stars.len(),
        settings.least_snr,
        &mut model.report,
    );
    model.report.models = if learns { chosen.len() } else { 0 };
    if !learns {
        model.notices.push(Notice::TextbookProfile {
            usable,
            fwhm_px: psf.fwhm_px,
        });
    }
    model.drawn = draw(&spots, &psf, &noise, FLOOR);
    let disc = |(spot, drawn): (&Spot, &Drawn)| {
        let sigma = noise.at(spot.place[0] as f32, spot.place[1] as f32);
        Disc::of(&psf, drawn, sigma, spot.plateau_px, spot.full)
    };
    let discs: Vec<Disc> = spots.iter().zip(&model.drawn).filter_map(disc).collect();
    model.islands = islands(&discs, width, height);
    (model.psf, model.noise) = (psf, Some(noise));
    Ok(model)
}

/// The stars as they are drawn, out to `floor` sigma.
fn draw(spots: &[Spot], psf: &Psf, noise: &Noise, floor: f32) -> Vec<Drawn> {
    spots
        .par_iter()
        .map(|spot| {
            let [x, y] = spot.place;
            let height = spot.height as f32;
            let reach = psf.reach_px(height, floor * noise.at(x as f32, y as f32));
            let shown = (f64::from(spot.full) - spot.background[0]) as f32;
            Drawn {
                x,
                y,
                height,
                arms: psf.arms_reach_px(height, floor * noise.at(x as f32, y as f32)),
                reach: if height > 0.0 {
                    reach.max(spot.plateau_px as f32 + 2.0)
                } else {
                    0.0
                },
                shown: height.min(shown.max(0.05 * height)),
            }
        })
        .collect()
}

/// As [`draw`], the chosen ones as far as anything can be learned from them.
fn draw_far(spots: &[Spot], psf: &Psf, noise: &Noise, chosen: &[u32]) -> Vec<Drawn> {
    let mut drawn = draw(spots, psf, noise, FLOOR);
    for index in chosen {
        let spot = &spots[*index as usize..=*index as usize];
        drawn[*index as usize] = draw(spot, psf, noise, 0.02)[0];
    }
    drawn
}

/// Leaves out what is too faint here. The first `listed` spots are the list's.
fn judge(spots: &mut [Spot], listed: usize, least_snr: f64, report: &mut Report) {
    for (index, spot) in spots.iter_mut().enumerate() {
        if spot.height > 0.0 && spot.snr >= least_snr {
            report.stars += 1;
            report.saturated += usize::from(spot.plateau_px > 0.0);
            report.found += usize::from(index >= listed);
        } else {
            spot.height = 0.0;
        }
    }
    report.faint = (listed + report.found).saturating_sub(report.stars + report.unlike);
}

/// For each star the numbers of those within `distance`, nearest first.
fn neighbours(spots: &[Spot], distance: f64, width: usize, height: usize) -> Vec<Vec<u32>> {
    let side = distance.max(8.0);
    let columns = (width as f64 / side) as usize + 1;
    let rows = (height as f64 / side) as usize + 1;
    let cell = |spot: &Spot| {
        let part = |at: f64, count: usize| ((at / side).max(0.0) as usize).min(count - 1);
        (part(spot.place[0], columns), part(spot.place[1], rows))
    };
    let mut cells = vec![Vec::new(); columns * rows];
    for (index, spot) in spots.iter().enumerate() {
        let (column, row) = cell(spot);
        cells[row * columns + column].push(index as u32);
    }
    spots
        .par_iter()
        .enumerate()
        .map(|(own, spot)| {
            let (column, row) = cell(spot);
            let mut found = Vec::new();
            for y in row.saturating_sub(1)..(row + 2).min(rows) {
                for x in column.saturating_sub(1)..(column + 2).min(columns) {
                    for other in &cells[y * columns + x] {
                        let [u, v] = [0, 1]
                            .map(|axis| spots[*other as usize].place[axis] - spot.place[axis]);
                        let square = u * u + v * v;
                        if *other as usize != own && square < distance * distance {
                            found.push((square, *other));
                        }
                    }
                }
            }
            found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            found.into_iter().map(|(_, other)| other).collect()
        })
        .collect()
}

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
        let bands = Bands::new(&self.drawn, height);
        let ground = Ground {
            pixels: Pixels::new(values, width, height),
            psf: &self.psf,
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
            let rows: Vec<Vec<Under>> = (first..end)
                .into_par_iter()
                .map(|row| under(&ground, window, window.top + row, &filled[row]))
                .collect();
            footprint.extend(&rows);
            told(all - strips + strip + 1)?;
        }
        Ok(footprint)
    }
}

fn meet(a: Window, b: Window) -> bool {
    a.left < b.right() && b.left < a.right() && a.top < b.bottom() && b.top < a.bottom()
}

/// One row of a window without stars.
fn under(ground: &Ground<'_>, window: Window, y: usize, filled: &[Filled]) -> Vec<Under> {
    let mut lit = vec![Lit::default(); window.width];
    lit_row(
        ground.psf,
        ground.drawn,
        ground.bands,
        y,
        window.left,
        &mut lit,
    );
    let values = &ground.pixels.row(y)[window.left..window.right()];
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
}
