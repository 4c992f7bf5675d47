//! The light of all stars over a part of the picture.

use rayon::prelude::*;

use super::image::{Image, Placed, Want};

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

    /// Adds its light, `times` over, to a row that begins with column `left`.
    fn add(&self, image: &Image, y: usize, left: usize, times: f32, line: &mut [f32]) {
        let (first, end) = self.columns(y, left, left + line.len());
        let mut room = Room::default();
        let light = room.of(self, image, y, first, end);
        for (value, light) in line[first - left..end - left].iter_mut().zip(light) {
            *value += times * *light;
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
    fn of(&mut self, star: &Drawn, image: &Image, y: usize, first: usize, end: usize) -> &[f32] {
        let count = end - first;
        let out = if count <= self.short.len() {
            &mut self.short[..count]
        } else {
            self.long.resize(count, 0.0);
            &mut self.long[..count]
        };
        if count > 0 {
            star.row(image, &image.place(star.x, star.y), y, first, out);
        }
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

    /// The numbers of the stars that may shine into a row, lowest first.
    pub fn row(&self, y: usize) -> &[u32] {
        &self.0[y / BAND]
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
        let (off, on) = (off.collect(), on.collect());
        self.swap([image, image], [&before, &stars], [off, on]);
        self.drawn = stars;
    }

    /// Draws all stars anew, with another image.
    pub fn redo(&mut self, before: &Image, image: &Image, stars: Vec<Drawn>) {
        let old = std::mem::take(&mut self.drawn);
        let all = [&old, &stars].map(|stars| (0..stars.len()).collect());
        self.swap([before, image], [&old, &stars], all);
        self.drawn = stars;
    }

    /// Takes some stars off and puts some on, each row in the stars' order.
    fn swap(&mut self, images: [&Image; 2], stars: [&[Drawn]; 2], which: [Vec<usize>; 2]) {
        let height = self.light.len() / self.width;
        let bands = [0, 1].map(|part| {
            let mut bands = Bands::new(&[], height);
            for index in &which[part] {
                bands.push(*index as u32, &stars[part][*index]);
            }
            bands
        });
        let rows = self.light.par_chunks_mut(self.width * BAND).enumerate();
        rows.for_each(|(band, rows)| {
            for (row, line) in rows.chunks_mut(self.width).enumerate() {
                let y = band * BAND + row;
                for (part, times) in [-1.0, 1.0].into_iter().enumerate() {
                    for index in bands[part].row(y) {
                        stars[part][*index as usize].add(images[part], y, 0, times, line);
                    }
                }
            }
        });
    }
}

/// Light and relative height of a pixel's stars: see [`lit_row`].
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

/// One row of a window: the light of all stars, and how high on them the pixels
/// lie. Every pixel adds up its stars in the list's order: the same bits in
/// whatever window it lies.
pub(super) fn lit_row(
    image: &Image,
    stars: &[Drawn],
    bands: &Bands,
    y: usize,
    left: usize,
    line: &mut [Lit],
) {
    line.fill(Lit::default());
    let mut room = Room::default();
    for index in bands.row(y) {
        let star = &stars[*index as usize];
        let (first, end) = star.columns(y, left, left + line.len());
        let light = room.of(star, image, y, first, end);
        let per_shown = 1.0 / star.shown.max(f32::MIN_POSITIVE);
        for (value, light) in line[first - left..end - left].iter_mut().zip(light) {
            value.light += light;
            value.most = value.most.max(*light);
            value.weighted += light * (light * per_shown).min(1.0);
        }
    }
}
