//! Stars on a linear stack: where they are, how bright and how wide.
//!
//! The picture goes past twice. First a coarse mesh takes the sky, and the
//! bright peaks tell how wide the field's stars are: the width that most of
//! them share, since stars are all alike while nebula knots and cosmic rays
//! are not. Then a filter matched to that width finds the peaks that stand out
//! of the noise of the filtered picture itself, so that neither resampled nor
//! coarse values nor the texture of a nebula pretend a significance they do not
//! have. Each peak is fitted by a bell and judged by its width and roundness.
//!
//! Rows are worked on in bands; memory grows with the width of the picture,
//! not with its height. Bands have a fixed geometry: the same bits with any
//! number of threads.

mod filter;
mod fit;
mod judge;
mod mesh;
mod near;
mod peaks;
mod plateau;
mod ring;
mod width;
mod window;

use std::ops::{ControlFlow, Range};

use super::super::frame::{Rows, RowsError};
use filter::Filter;
use fit::{Bell, Shape};
use judge::Field;
use mesh::{CELL, Clipped, Mesh, clipped, middle, sample_cell};
use near::Near;
use window::{Window, walk};

/// One star. Positions are in pixels: x right, y down in file order, the
/// centre of the first pixel at (0, 0).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Star {
    /// Place, px; for saturated stars the middle of the plateau.
    pub x: f64,
    /// Place, px.
    pub y: f64,
    /// Light above the sky under the fitted bell, file units times px^2; a
    /// rough lower bound for saturated stars.
    pub flux: f64,
    /// The brightest pixel above the sky, file units.
    pub peak: f64,
    /// Full width at half maximum, px: of the round bell with the same area.
    /// Stars with wide wings come out wider than their profile's half maximum
    /// says: a Moffat profile of beta 3 by about a tenth.
    pub fwhm_px: f64,
    /// Long axis over short axis, at least 1.
    pub elongation: f64,
    /// Signal to noise of the fitted height against the sky's noise alone.
    pub snr: f64,
    /// Whether its top is cut off.
    pub saturated: bool,
}

/// The stars of a field.
#[derive(Debug, Clone, PartialEq)]
pub struct Stars {
    /// Highest flux first; of equals the upper, then the left one.
    pub stars: Vec<Star>,
    /// Median width of the good stars, px: not saturated, with a signal to
    /// noise of 20 or, where there are fewer than five such, any. None where
    /// there are no stars.
    pub fwhm_px: Option<f64>,
    /// Their median elongation, at least 1.
    pub elongation: Option<f64>,
    /// Median sky over the field, file units; NaN where there is no data.
    pub background: f64,
    /// Median noise of a pixel over the field, file units; NaN where there is
    /// no data. Nebula and gradients within 64 px are part of it.
    pub background_noise: f64,
    /// The value from which on pixels were taken as saturated: the ceiling
    /// that was given, or the highest value where clipped peaks share it.
    pub ceiling: Option<f64>,
}

/// How far the search goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FindLimits {
    /// No more stars than this, the brightest. Every band of rows is searched
    /// for at most four times its share of them and 500 more.
    pub max_stars: usize,
    /// Least signal to noise, sigma of the filtered picture.
    pub threshold_sigma: f64,
}

impl Default for FindLimits {
    fn default() -> Self {
        Self {
            max_stars: 20_000,
            threshold_sigma: 5.0,
        }
    }
}

/// Why there is no list of stars.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FindError {
    /// The rows could not be read.
    #[error(transparent)]
    Rows(#[from] RowsError),
    /// `tick` asked to stop.
    #[error("stopped before all rows were searched for stars")]
    Stopped,
}

/// Widths that are tried where bright peaks tell none, px.
const GUESSES_PX: [f64; 2] = [3.0, 7.0];

/// Noise of rounding to whole numbers: 1 / sqrt(12).
const ROUNDING: f64 = 0.288_675;

/// Finds the stars of a linear picture.
///
/// `ceiling` is the value at which the detector is full, where it is known.
/// Stars are wider than about 1.2 and narrower than about 14 px. `tick` hears
/// how many rows are done, of how many; the second number may grow where the
/// field has to be searched again for stars of another width.
///
/// # Errors
/// [`FindError::Rows`] where the source fails, [`FindError::Stopped`] where
/// `tick` breaks off.
pub fn find(
    rows: &dyn Rows,
    ceiling: Option<f64>,
    limits: &FindLimits,
    tick: &(dyn Fn(usize, usize) -> ControlFlow<()> + Sync),
) -> Result<Stars, FindError> {
    let height = rows.size().height;
    let mut passes = Passes {
        tick,
        height,
        done: 0,
        expected: 2,
    };
    let mut look = Look::new(rows, ceiling, false, &mut passes)?;
    if look.zeros_are_data() {
        passes.expected += 1;
        look = Look::new(rows, ceiling, true, &mut passes)?;
    }
    let ceiling = look.ceiling.or(ceiling);
    let mut answer = Stars {
        stars: Vec::new(),
        fwhm_px: None,
        elongation: None,
        background: f64::NAN,
        background_noise: f64::NAN,
        ceiling,
    };
    let Some(mesh) = Mesh::new(rows.size().width.div_ceil(CELL), &look.cells) else {
        return Ok(answer);
    };
    answer.background = mesh.typical_sky;
    answer.background_noise = mesh.typical_noise.max(look.rounding());
    let mut guesses = GUESSES_PX.iter().map(|fwhm_px| Shape::round(*fwhm_px));
    let measured = width::common(&look.bells);
    let known = measured.is_some();
    let Some(mut shape) = measured.or_else(|| guesses.next()) else {
        return Ok(answer);
    };
    loop {
        let search = Search {
            look: &look,
            mesh: &mesh,
            ceiling: ceiling.map_or(f32::INFINITY, |top| top as f32),
            shape,
            limits,
        };
        answer.stars = search.run(rows, &mut passes)?;
        let (fwhm_px, elongation) = typical(&answer.stars).unzip();
        (answer.fwhm_px, answer.elongation) = (fwhm_px, elongation);
        let used = shape.fwhm_px();
        let next = match fwhm_px {
            // Once more with the right width, but not back and forth.
            Some(found) if (found / used - 1.0).abs() > 0.2 && answer.stars.len() >= 5 => {
                Some(Shape::round(found))
            }
            _ if !known && answer.stars.len() < 5 => guesses.next(),
            _ => None,
        };
        match next.filter(|_| passes.expected < 5) {
            Some(next) => shape = next,
            None => return Ok(answer),
        }
        passes.expected += 1;
    }
}

/// Tells the caller how far it is.
struct Passes<'a> {
    tick: &'a (dyn Fn(usize, usize) -> ControlFlow<()> + Sync),
    height: usize,
    /// Passes that are over.
    done: usize,
    /// Passes in all, as far as is known.
    expected: usize,
}

impl Passes<'_> {
    fn walk<T: Send>(
        &mut self,
        rows: &dyn Rows,
        margin: usize,
        zeros_are_data: bool,
        visit: &(dyn Fn(&Window, Range<usize>) -> T + Sync),
    ) -> Result<Vec<T>, FindError> {
        let before = self.done * self.height;
        let all = self.expected * self.height;
        let answers = walk(rows, margin, zeros_are_data, visit, &mut |row| {
            (self.tick)(before + row, all)
        })?;
        self.done += 1;
        Ok(answers)
    }
}

/// What the first pass sees.
struct Look {
    zeros_are_data: bool,
    cells: Vec<(usize, Option<Clipped>)>,
    bells: Vec<Bell>,
    highest: f32,
    ceiling: Option<f64>,
    zeros: usize,
    present: usize,
    whole_numbers: bool,
}

/// What the first pass sees of one band.
struct BandLook {
    cells: Vec<(usize, Option<Clipped>)>,
    bells: Vec<Bell>,
    highest: f32,
    /// Neighbours along a row that both have the highest value.
    pairs: usize,
    zeros: usize,
    present: usize,
    whole_numbers: bool,
}

impl Look {
    fn new(
        rows: &dyn Rows,
        ceiling: Option<f64>,
        zeros_are_data: bool,
        passes: &mut Passes<'_>,
    ) -> Result<Self, FindError> {
        let full = ceiling.map_or(f32::INFINITY, |top| top as f32);
        let visit = |window: &Window, band: Range<usize>| BandLook::new(window, band, full);
        let bands = passes.walk(rows, width::MARGIN, zeros_are_data, &visit)?;
        let highest = bands.iter().map(|b| b.highest).fold(f32::MIN, f32::max);
        let at_top = bands.iter().filter(|band| band.highest == highest);
        let pairs: usize = at_top.map(|band| band.pairs).sum();
        let mut look = Self {
            zeros_are_data,
            cells: Vec::new(),
            bells: Vec::new(),
            highest,
            ceiling: None,
            zeros: bands.iter().map(|band| band.zeros).sum(),
            present: bands.iter().map(|band| band.present).sum(),
            whole_numbers: bands.iter().all(|band| band.whole_numbers),
        };
        for mut band in bands {
            look.cells.append(&mut band.cells);
            look.bells.append(&mut band.bells);
        }
        let top = f64::from(highest);
        let shared = pairs >= 6 && look.stands_out(top);
        look.ceiling = (shared && ceiling.is_none_or(|given| top < given)).then_some(top);
        if shared {
            look.bells
                .retain(|bell| bell.residual > 0.0 && bell.amplitude < top);
        }
        Ok(look)
    }

    /// Far above the typical sky: not just the end of the noise.
    fn stands_out(&self, value: f64) -> bool {
        let part = |pick: fn(&Clipped) -> f64| {
            middle(
                self.cells
                    .iter()
                    .filter_map(|c| c.1.as_ref().map(pick))
                    .collect(),
            )
        };
        let sky = part(|cell| cell.median);
        let noise = part(|cell| cell.sigma);
        matches!((sky, noise), (Some(sky), Some(noise)) if value > sky + 20.0 * noise)
    }

    /// Zeros within the picture, too, are many: the sky is cut off at 0, so
    /// that zeros at the edges are nothing special.
    fn zeros_are_data(&self) -> bool {
        !self.zeros_are_data && self.zeros * 100 > self.present
    }

    fn rounding(&self) -> f64 {
        if self.whole_numbers { ROUNDING } else { 0.0 }
    }
}

impl BandLook {
    fn new(window: &Window, band: Range<usize>, full: f32) -> Self {
        let mut look = Self {
            cells: Vec::new(),
            bells: Vec::new(),
            highest: f32::MIN,
            pairs: 0,
            zeros: 0,
            present: 0,
            whole_numbers: true,
        };
        for y in band.clone() {
            look.count(window.row(y));
        }
        let mut sample = Vec::with_capacity(CELL * CELL / 4);
        for top in band.clone().step_by(CELL) {
            let lines = top..(top + CELL).min(band.end);
            for left in (0..window.width).step_by(CELL) {
                let along = left..(left + CELL).min(window.width);
                sample_cell(
                    &mut sample,
                    lines.clone(),
                    along,
                    |y| window.row(y),
                    |_, _| true,
                );
                let count = sample.len();
                look.cells.push((count, clipped(&mut sample)));
            }
        }
        look.bells = width::shapes(window, band, &look.cells, full);
        look
    }

    fn count(&mut self, row: &[f32]) {
        let highest = row
            .iter()
            .fold(f32::MIN, |top, v| if *v > top { *v } else { top });
        if highest > self.highest {
            (self.highest, self.pairs) = (highest, 0);
        }
        if highest == self.highest {
            let both = |pair: &&[f32]| pair[0] == highest && pair[1] == highest;
            self.pairs += row.windows(2).filter(both).count();
        }
        let (mut zeros, mut present) = (0_u32, 0_u32);
        for value in row {
            zeros += u32::from(*value == 0.0);
            present += u32::from(!value.is_nan());
        }
        self.zeros += zeros as usize;
        self.present += present as usize;
        let fraction = |value: &&f32| !value.is_nan() && libm::truncf(**value) != **value;
        self.whole_numbers = self.whole_numbers && !row.iter().step_by(7).any(|v| fraction(&v));
    }
}

/// One search with stars of one shape.
struct Search<'a> {
    look: &'a Look,
    mesh: &'a Mesh,
    ceiling: f32,
    shape: Shape,
    limits: &'a FindLimits,
}

impl Search<'_> {
    fn run(&self, rows: &dyn Rows, passes: &mut Passes<'_>) -> Result<Vec<Star>, FindError> {
        let size = rows.size();
        let fwhm_px = self.shape.fwhm_px();
        let filter = Filter::new(fwhm_px);
        let field = Field {
            shape: self.shape,
            fwhm_px,
            ceiling: self.ceiling,
            threshold: self.limits.threshold_sigma,
            noise_gain: filter.noise_gain(),
        };
        let margin = field.peak_margin() + 1 + field.star_margin().max(filter.reach());
        let visit = |window: &Window, band: Range<usize>| {
            self.band(window, band, size.height, &filter, &field)
        };
        let bands = passes.walk(rows, margin, self.look.zeros_are_data, &visit)?;
        let mut stars: Vec<Star> = bands.into_iter().flatten().collect();
        stars.sort_by(|a, b| {
            let flux = b.flux.total_cmp(&a.flux);
            flux.then(a.y.total_cmp(&b.y)).then(a.x.total_cmp(&b.x))
        });
        let mut stars = once(stars, size.width, size.height, fwhm_px);
        stars.truncate(self.limits.max_stars);
        Ok(stars)
    }

    fn band(
        &self,
        raw: &Window,
        band: Range<usize>,
        height: usize,
        filter: &Filter,
        field: &Field,
    ) -> Vec<Star> {
        let margin = field.peak_margin();
        let searched = band.start.saturating_sub(margin)..(band.end + margin).min(height);
        let rows = searched.start.saturating_sub(1)..(searched.end + 1).min(height);
        let above = self.above_sky(raw, &rows, height, filter.reach());
        let filtered = filter.apply(&above, rows);
        drop(above);
        let gain = filter.noise_gain();
        let still = if self.mesh.typical_noise > 0.0 {
            self.mesh.typical_noise
        } else {
            1e-4 * (f64::from(self.look.highest) - self.mesh.typical_sky).abs()
        };
        // Where a picture fades out to almost nothing is no place for stars.
        let floor = self.look.rounding().max(0.02 * self.mesh.typical_noise) * gain;
        let noise = peaks::Noise::new(
            raw,
            &filtered,
            band.clone(),
            floor,
            still * gain,
            self.look.zeros_are_data,
        );
        let mut found = peaks::peaks(&filtered, searched, &noise, field.threshold);
        let share = self.limits.max_stars as f64 * (band.len() as f64 / height as f64);
        found.truncate((4.0 * share) as usize + 500);
        let found = peaks::parted(&found, &filtered, field.fwhm_px);
        drop(filtered);
        field.stars(raw, band, &found)
    }

    /// Values above the sky of these rows and `reach` more on either side; 0
    /// where there is no data.
    fn above_sky(&self, raw: &Window, rows: &Range<usize>, height: usize, reach: usize) -> Window {
        let first_row = rows.start.saturating_sub(reach);
        let end_row = (rows.end + reach).min(height);
        let width = raw.width;
        let mut values = vec![0.0; (end_row - first_row) * width];
        for (y, out) in (first_row..).zip(values.chunks_exact_mut(width)) {
            self.mesh.sky_row(y, out);
            for (value, raw) in out.iter_mut().zip(raw.row(y)) {
                let above = raw - *value;
                *value = if above.is_nan() { 0.0 } else { above };
            }
        }
        Window {
            first_row,
            width,
            values,
        }
    }
}

/// Leaves out stars that are on top of a brighter one: the same star, found
/// from two peaks or in two bands. Stars come brightest first.
fn once(stars: Vec<Star>, width: usize, height: usize, fwhm_px: f64) -> Vec<Star> {
    let reach = |star: &Star| {
        let plateau = if star.saturated { star.fwhm_px } else { 0.0 };
        0.5 * fwhm_px.max(plateau)
    };
    let widest = stars.iter().map(reach).fold(fwhm_px, f64::max);
    let mut near = Near::new(width, height, widest);
    let mut kept: Vec<Star> = Vec::with_capacity(stars.len());
    for star in stars {
        let place = [star.x, star.y];
        let double = near
            .around(place, widest)
            .any(|(index, apart)| apart < reach(&kept[index]));
        if !double {
            near.push(place);
            kept.push(star);
        }
    }
    kept
}

/// Median width and elongation of the good stars.
fn typical(stars: &[Star]) -> Option<(f64, f64)> {
    let good = |least: f64| {
        let stars = stars.iter();
        stars
            .filter(|star| !star.saturated && star.snr >= least)
            .collect::<Vec<_>>()
    };
    let mut chosen = good(20.0);
    if chosen.len() < 5 {
        chosen = good(0.0);
    }
    let fwhm_px = middle(chosen.iter().map(|star| star.fwhm_px).collect())?;
    let elongation = middle(chosen.iter().map(|star| star.elongation).collect())?;
    Some((fwhm_px, elongation))
}
