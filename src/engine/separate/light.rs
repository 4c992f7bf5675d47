//! The light of all stars over a part of the picture.

use rayon::prelude::*;

use super::image::{Image, Placed, Want};
use super::pixels::Window;

/// From this share of its reach on a star's light fades out.
const FADE: f32 = 0.8;

/// Rows that are drawn together.
const BAND: usize = 64;

/// A star as it is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drawn {
    /// Place, px.
    pub x: f64,
    /// Place, px.
    pub y: f64,
    /// Height of its image, file units; 0 where it is not there.
    pub height: f32,
    /// Its light ends here, px.
    pub reach: f32,
    /// Its arms end here, px; 0 where they do not show.
    pub arms: f32,
    /// What of the height the detector shows: less than it for a saturated
    /// star, file units.
    pub shown: f32,
}

impl Drawn {
    /// The columns of a row it shines on, from `left` on and below `right`:
    /// first, and one past the last.
    fn columns(&self, y: usize, left: usize, right: usize) -> (usize, usize) {
        let dy = (y as f64 - self.y) as f32;
        let reach = self.reach.max(self.arms);
        let square = reach * reach - dy * dy;
        if !(square > 0.0 && self.height > 0.0) {
            return (left, left);
        }
        let half = f64::from(square.sqrt()) + 1.0;
        let first = ((self.x - half).max(0.0) as usize).max(left).min(right);
        let end = ((self.x + half).max(-1.0) + 1.0) as usize;
        (first, end.min(right).max(first))
    }

    /// Writes its light over a row's columns from `first` on, file units.
    pub(super) fn row(
        &self,
        image: &Image,
        placed: &Placed,
        y: usize,
        first: usize,
        out: &mut [f32],
    ) {
        image.row(placed, Want::Height, y, first, out);
        self.shine(image, y, first, out);
    }

    /// Makes its light of a row of the image of height 1, from column `first` on.
    pub(super) fn shine(&self, image: &Image, y: usize, first: usize, out: &mut [f32]) {
        let dy = (y as f64 - self.y) as f32;
        let far = FADE * self.reach;
        let (bright, ends, arms) = (far * far, self.reach * self.reach, self.arms * self.arms);
        for (index, value) in out.iter_mut().enumerate() {
            let dx = ((first + index) as f64 - self.x) as f32;
            let square = dx * dx + dy * dy;
            *value *= self.height;
            if square > bright {
                let t = ((self.reach - square.sqrt()) / (self.reach - far)).max(0.0);
                let fade = t * t * (3.0 - 2.0 * t);
                *value = if square < ends { *value * fade } else { 0.0 };
            }
            if square < arms {
                let fade = ((self.arms - square.sqrt()) / ((1.0 - FADE) * self.arms)).min(1.0);
                *value += self.height * fade * image.psf.arms_at(dx, dy);
            }
        }
    }

    /// The rows it shines on of `top..bottom`; others may be among them.
    fn rows(&self, top: usize, bottom: usize) -> std::ops::Range<usize> {
        let reach = f64::from(self.reach.max(self.arms));
        if !(self.height > 0.0) {
            return top..top;
        }
        let first = ((self.y - reach).max(0.0) as usize).max(top);
        let end = ((self.y + reach).max(-1.0) + 1.0) as usize;
        first..end.min(bottom).max(first)
    }

    /// Whether its light may reach into a window.
    fn meets(&self, window: Window) -> bool {
        let reach = f64::from(self.reach.max(self.arms)) + 1.0;
        let within =
            |at: f64, from: usize, to: usize| at + reach >= from as f64 && at - reach <= to as f64;
        within(self.x, window.left, window.right()) && within(self.y, window.top, window.bottom())
    }

    /// Adds its light, `times` over, to the rows of a window.
    fn add(&self, image: &Image, window: Window, times: f32, rows: &mut [f32]) {
        self.each(image, window, |y, first, light| {
            let start = (y - window.top) * window.width + first - window.left;
            for (value, light) in rows[start..].iter_mut().zip(light) {
                *value += times * *light;
            }
        });
    }

    /// Leaves nothing where its light is.
    fn wipe(&self, window: Window, rows: &mut [f32]) {
        for y in self.rows(window.top, window.bottom()) {
            let (first, end) = self.columns(y, window.left, window.right());
            let start = (y - window.top) * window.width;
            rows[start + first - window.left..start + end - window.left].fill(0.0);
        }
    }

    /// What it gives to each row of a window: the row, its first column and the
    /// light from there on, file units.
    fn each(&self, image: &Image, window: Window, mut to: impl FnMut(usize, usize, &[f32])) {
        let placed = image.place(self.x, self.y);
        let mut room = Room::default();
        for y in self.rows(window.top, window.bottom()) {
            let (first, end) = self.columns(y, window.left, window.right());
            if first < end {
                to(y, first, room.of(self, image, &placed, y, first, end));
            }
        }
    }
}

/// Room for a row of one star's light.
struct Room {
    short: [f32; 96],
    long: Vec<f32>,
}

impl Default for Room {
    fn default() -> Self {
        Self {
            short: [0.0; 96],
            long: Vec::new(),
        }
    }
}

impl Room {
    fn of(
        &mut self,
        star: &Drawn,
        image: &Image,
        placed: &Placed,
        y: usize,
        first: usize,
        end: usize,
    ) -> &[f32] {
        let count = end - first;
        let out = if count <= self.short.len() {
            &mut self.short[..count]
        } else {
            self.long.resize(count, 0.0);
            &mut self.long[..count]
        };
        star.row(image, placed, y, first, out);
        out
    }
}

/// Which stars shine into which band of rows.
pub(super) struct Bands(Vec<Vec<u32>>);

impl Bands {
    pub fn new(stars: &[Drawn], height: usize) -> Self {
        let mut bands = Self(vec![Vec::new(); height.div_ceil(BAND)]);
        for (index, star) in stars.iter().enumerate() {
            bands.push(index as u32, star);
        }
        bands
    }

    fn push(&mut self, index: u32, star: &Drawn) {
        let reach = f64::from(star.reach.max(star.arms));
        if !(star.height > 0.0) || star.y + reach < 0.0 {
            return;
        }
        let first = (star.y - reach).max(0.0) as usize / BAND;
        let last = (star.y + reach).max(0.0) as usize / BAND;
        for band in self.0.iter_mut().take(last + 1).skip(first) {
            band.push(index);
        }
    }

    /// The numbers of the stars that may shine into a window, lowest first.
    pub fn over(&self, stars: &[Drawn], window: Window) -> Vec<u32> {
        let bands = &self.0[window.top / BAND..window.bottom().div_ceil(BAND)];
        let meets = |star: &&u32| stars[**star as usize].meets(window);
        let all = bands.iter().flatten().filter(meets);
        let mut over: Vec<u32> = all.copied().collect();
        if bands.len() > 1 {
            over.sort_unstable();
            over.dedup();
        }
        over
    }
}

/// The light of all stars over the whole picture, kept while the stars are
/// measured: only what changes is drawn.
pub(super) struct Plate {
    width: usize,
    /// File units, row by row.
    pub light: Vec<f32>,
    /// The stars as they are drawn.
    pub drawn: Vec<Drawn>,
}

impl Plate {
    /// Without stars.
    pub fn new(width: usize, height: usize) -> Self {
        let mut light = vec![0.0; width * height];
        // Written in parallel before anything is read: each page comes once.
        light
            .par_chunks_mut(width * BAND)
            .for_each(|band| band.fill(0.0));
        Self {
            width,
            light,
            drawn: Vec::new(),
        }
    }

    /// Draws the stars as they are now. Stars may be added at the end.
    pub fn lay(&mut self, image: &Image, stars: Vec<Drawn>) {
        let changed = |index: usize, old: &Drawn| stars.get(index) != Some(old);
        let before = std::mem::take(&mut self.drawn);
        let off = (0..before.len()).filter(|index| changed(*index, &before[*index]));
        let on = (0..stars.len()).filter(|index| before.get(*index) != Some(&stars[*index]));
        let (off, on): (Vec<usize>, Vec<usize>) = (off.collect(), on.collect());
        self.bands(
            [(&before, &off), (&stars, &on)],
            |window, rows, [off, on]| {
                of_each(&before, off, |star| star.add(image, window, -1.0, rows));
                of_each(&stars, on, |star| star.add(image, window, 1.0, rows));
            },
        );
        self.drawn = stars;
    }

    /// Draws all stars anew, with another image, where there is nothing any more.
    pub fn redo(&mut self, image: &Image, stars: Vec<Drawn>) {
        let before = std::mem::take(&mut self.drawn);
        let all = |stars: &[Drawn]| (0..stars.len()).collect::<Vec<_>>();
        let (off, on) = (all(&before), all(&stars));
        self.bands(
            [(&before, &off), (&stars, &on)],
            |window, rows, [off, on]| {
                of_each(&before, off, |star| star.wipe(window, rows));
                of_each(&stars, on, |star| star.add(image, window, 1.0, rows));
            },
        );
        self.drawn = stars;
    }

    /// Calls `draw` with each band of rows, and with the numbers of those of two
    /// lists' stars that may shine into it, lowest first.
    fn bands(
        &mut self,
        lists: [(&[Drawn], &[usize]); 2],
        draw: impl Fn(Window, &mut [f32], [&[u32]; 2]) + Sync,
    ) {
        let width = self.width;
        let height = self.light.len() / width;
        let bands = lists.map(|(stars, which)| {
            let mut bands = Bands::new(&[], height);
            for index in which {
                bands.push(*index as u32, &stars[*index]);
            }
            bands
        });
        let rows = self.light.par_chunks_mut(width * BAND).enumerate();
        rows.for_each(|(band, rows)| {
            let window = Window {
                left: 0,
                top: band * BAND,
                width,
                height: rows.len() / width,
            };
            draw(
                window,
                rows,
                [0, 1].map(|list: usize| &bands[list].0[band][..]),
            );
        });
    }
}

fn of_each(stars: &[Drawn], which: &[u32], mut draw: impl FnMut(&Drawn)) {
    which.iter().for_each(|index| draw(&stars[*index as usize]));
}

/// Light and relative height of a pixel's stars: see [`lit`].
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Lit {
    /// Light of all stars, file units.
    pub light: f32,
    /// Light of the star that gives the most, file units.
    pub most: f32,
    /// Light times relative height, summed; file units.
    pub weighted: f32,
}

impl Lit {
    /// The stars' relative height: 1 on top, 0 far out; the mean over the stars
    /// that share the pixel, by their light.
    pub fn height(self) -> f32 {
        if self.light > 0.0 {
            (self.weighted / self.light).clamp(0.0, 1.0)
        } else {
            0.0
        }
    }
}

/// A window, row by row: the light of all stars, and how high on them the pixels
/// lie. Every pixel adds up its stars in the list's order: the same bits in
/// whatever window it lies.
pub(super) fn lit(image: &Image, stars: &[Drawn], bands: &Bands, window: Window) -> Vec<Lit> {
    let mut all = vec![Lit::default(); window.width * window.height];
    for index in bands.over(stars, window) {
        let star = &stars[index as usize];
        let per_shown = 1.0 / star.shown.max(f32::MIN_POSITIVE);
        star.each(image, window, |y, first, light| {
            let start = (y - window.top) * window.width + first - window.left;
            for (value, light) in all[start..].iter_mut().zip(light) {
                value.light += light;
                value.most = value.most.max(*light);
                value.weighted += light * (light * per_shown).min(1.0);
            }
        });
    }
    all
}
