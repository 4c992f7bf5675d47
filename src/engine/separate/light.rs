//! The light of all stars over a part of the picture.

use rayon::prelude::*;

use super::pixels::Window;
use super::psf::Psf;

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
    /// Its light at a pixel, file units.
    pub fn at(&self, psf: &Psf, x: usize, y: usize) -> f32 {
        let (dx, dy) = ((x as f64 - self.x) as f32, (y as f64 - self.y) as f32);
        self.beside(psf, dx, dy)
    }

    /// Its light at an offset, px.
    #[inline]
    pub fn beside(&self, psf: &Psf, dx: f32, dy: f32) -> f32 {
        let square = dx * dx + dy * dy;
        let arms = if square < self.arms * self.arms {
            let fade = ((self.arms - square.sqrt()) / ((1.0 - FADE) * self.arms)).min(1.0);
            self.height * fade * psf.arms_at(dx, dy)
        } else {
            0.0
        };
        if square >= self.reach * self.reach {
            return arms;
        }
        arms + self.round(psf, dx, dy, square)
    }

    fn round(&self, psf: &Psf, dx: f32, dy: f32, square: f32) -> f32 {
        let light = self.height * psf.at(dx, dy).max(0.0);
        let far = FADE * self.reach;
        if square <= far * far {
            return light;
        }
        let t = (self.reach - square.sqrt()) / (self.reach - far);
        light * t * t * (3.0 - 2.0 * t)
    }
}

/// Which stars shine into which band of rows.
pub(super) struct Bands(Vec<Vec<u32>>);

impl Bands {
    pub fn new(stars: &[Drawn], height: usize) -> Self {
        let mut bands = vec![Vec::new(); height.div_ceil(BAND)];
        for (index, star) in stars.iter().enumerate() {
            let reach = f64::from(star.reach.max(star.arms));
            if !(star.height > 0.0) || star.y + reach < 0.0 {
                continue;
            }
            let first = (star.y - reach).max(0.0) as usize / BAND;
            let last = (star.y + reach).max(0.0) as usize / BAND;
            for band in bands.iter_mut().take(last + 1).skip(first) {
                band.push(index as u32);
            }
        }
        Self(bands)
    }

    /// The numbers of the stars that may shine into a row, lowest first.
    pub fn row(&self, y: usize) -> &[u32] {
        &self.0[y / BAND]
    }
}

/// The light of all stars over a window, row by row. Every pixel adds up its
/// stars in the list's order: the same bits in whatever window it lies.
pub(super) fn light(psf: &Psf, stars: &[Drawn], bands: &Bands, window: Window) -> Vec<f32> {
    let mut out = vec![0.0; window.width * window.height];
    if out.is_empty() {
        return out;
    }
    out.par_chunks_mut(window.width)
        .enumerate()
        .for_each(|(row, line)| {
            let y = window.top + row;
            for index in bands.row(y) {
                let star = &stars[*index as usize];
                along(psf, star, y, window.left, line, |value, light| {
                    *value += light
                });
            }
        });
    out
}

/// Calls `add` with every pixel of a row that a star shines on.
fn along<T>(
    psf: &Psf,
    star: &Drawn,
    y: usize,
    left: usize,
    line: &mut [T],
    mut add: impl FnMut(&mut T, f32),
) {
    let dy = (y as f64 - star.y) as f32;
    let reach = star.reach.max(star.arms);
    let square = reach * reach - dy * dy;
    if square <= 0.0 {
        return;
    }
    let half = f64::from(square.sqrt()) + 1.0;
    let first = ((star.x - half).max(0.0) as usize).max(left);
    let end = ((star.x + half).max(-1.0) + 1.0) as usize;
    for x in first..end.min(left + line.len()) {
        let dx = (x as f64 - star.x) as f32;
        add(&mut line[x - left], star.beside(psf, dx, dy));
    }
}

/// Light and relative height of a pixel's stars: see [`light_and_height`].
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

/// One row of a window: its light as [`light`] has it, and how high on their
/// stars the pixels lie.
pub(super) fn lit_row(
    psf: &Psf,
    stars: &[Drawn],
    bands: &Bands,
    y: usize,
    left: usize,
    line: &mut [Lit],
) {
    line.fill(Lit::default());
    for index in bands.row(y) {
        let star = &stars[*index as usize];
        let per_shown = 1.0 / star.shown.max(f32::MIN_POSITIVE);
        along(psf, star, y, left, line, |value, light| {
            value.light += light;
            value.most = value.most.max(light);
            value.weighted += light * (light * per_shown).min(1.0);
        });
    }
}
