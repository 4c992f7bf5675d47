//! Places where the difference is too rough to stand alone, and what is put
//! there.
//!
//! Stars whose discs overlap are one island and are filled together, in a
//! window of their own: the same bits whatever part of the picture is asked for.

use super::fill;
use super::image::Image;
use super::light::{Bands, Drawn, lit};
use super::noise::{Noise, Texture};
use super::pixels::{Pixels, Window};
use super::psf::{Psf, TABLE_WIDTHS};

/// Starlight, in what a surface errs by, where the fill sets in and where nothing
/// but it is left.
const FILL_FROM: f32 = 5.0;
const FILL_ALL: f32 = 40.0;

/// Starlight in the same at which a pixel is trusted by a quarter.
const DOUBT: f32 = 30.0;

/// A disc to be filled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Disc {
    pub x: f64,
    pub y: f64,
    pub radius: f64,
    /// Within this the star is cut off: from `full` on pixels say nothing.
    pub plateau: f64,
    pub full: f32,
}

impl Disc {
    /// The disc of a star on ground so `rough`; None where its light stays low.
    pub fn of(
        crest: &Crest<'_>,
        star: &Drawn,
        rough: f32,
        plateau: f64,
        full: f32,
    ) -> Option<Self> {
        let psf = crest.psf;
        let low = crest.reach_px(star.height, 0.8 * FILL_FROM * rough);
        let arms = psf.arms_reach_px(star.height, FILL_FROM * rough);
        let radius = f64::from(low).max(f64::from(arms)).max(if plateau > 0.0 {
            plateau + 2.0
        } else {
            0.0
        });
        (star.height > 0.0 && radius > 0.0).then_some(Self {
            x: star.x,
            y: star.y,
            radius: radius + 1.0,
            plateau,
            full,
        })
    }

    fn covers(&self, x: usize, y: usize) -> bool {
        let (u, v) = (x as f64 - self.x, y as f64 - self.y);
        u * u + v * v < self.radius * self.radius
    }
}

/// How high the image rises at most from a distance on, in any direction.
pub(super) struct Crest<'a> {
    psf: &'a Psf,
    /// Every half pixel, as far as the table reaches.
    most: Vec<f32>,
}

impl<'a> Crest<'a> {
    pub fn new(psf: &'a Psf) -> Self {
        let count = libm::ceil(2.0 * TABLE_WIDTHS * psf.fwhm_px) as usize + 1;
        let around = |step: usize| {
            let distance = 0.5 * step as f64;
            (0..48)
                .map(|part| std::f64::consts::TAU * f64::from(part) / 48.0)
                .map(|angle| [libm::cos(angle), libm::sin(angle)].map(|part| distance * part))
                .map(|[dx, dy]| psf.at(dx as f32, dy as f32))
                .fold(0.0, f32::max)
        };
        let mut most: Vec<f32> = (0..count).map(around).collect();
        for step in (1..count).rev() {
            most[step - 1] = most[step - 1].max(most[step]);
        }
        Self { psf, most }
    }

    /// How far from a star of this height its light stays above `floor`, px.
    fn reach_px(&self, height: f32, floor: f32) -> f32 {
        let near = self.most.partition_point(|most| height * most >= floor);
        self.psf.reach_px(height, floor).max(0.5 * near as f32)
    }
}

/// Discs that overlap.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Island {
    discs: Vec<Disc>,
    /// Where its pixels lie.
    pub bounds: Window,
}

/// Groups discs into islands, in the order of their first discs.
pub(super) fn islands(discs: &[Disc], width: usize, height: usize) -> Vec<Island> {
    let mut parent: Vec<usize> = (0..discs.len()).collect();
    fn root(parent: &mut [usize], mut index: usize) -> usize {
        while parent[index] != index {
            parent[index] = parent[parent[index]];
            index = parent[index];
        }
        index
    }
    let order = by_left_edge(discs);
    for (place, first) in order.iter().enumerate() {
        let a = &discs[*first];
        for second in &order[place + 1..] {
            let b = &discs[*second];
            if b.x - b.radius > a.x + a.radius {
                break;
            }
            let (u, v, apart) = (a.x - b.x, a.y - b.y, a.radius + b.radius);
            if u * u + v * v < apart * apart {
                let (one, two) = (root(&mut parent, *first), root(&mut parent, *second));
                parent[one.max(two)] = one.min(two);
            }
        }
    }
    let mut groups: Vec<Vec<Disc>> = vec![Vec::new(); discs.len()];
    for index in 0..discs.len() {
        let group = root(&mut parent, index);
        groups[group].push(discs[index]);
    }
    groups
        .into_iter()
        .filter(|group| !group.is_empty())
        .map(|discs| Island {
            bounds: bounds(&discs, width, height),
            discs,
        })
        .filter(|island| island.bounds.width > 0 && island.bounds.height > 0)
        .collect()
}

fn by_left_edge(discs: &[Disc]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..discs.len()).collect();
    let left = |index: &usize| discs[*index].x - discs[*index].radius;
    order.sort_by(|a, b| left(a).total_cmp(&left(b)).then(a.cmp(b)));
    order
}

fn bounds(discs: &[Disc], width: usize, height: usize) -> Window {
    let part = |disc: &Disc| Window::around([disc.x, disc.y], disc.radius, width, height);
    let mut parts = discs
        .iter()
        .map(part)
        .filter(|part| part.width > 0 && part.height > 0);
    let Some(first) = parts.next() else {
        return Window {
            left: 0,
            top: 0,
            width: 0,
            height: 0,
        };
    };
    parts.fold(first, |all, part| {
        let (left, top) = (all.left.min(part.left), all.top.min(part.top));
        Window {
            left,
            top,
            width: all.right().max(part.right()) - left,
            height: all.bottom().max(part.bottom()) - top,
        }
    })
}

/// What is needed to fill.
pub(super) struct Ground<'a> {
    pub pixels: Pixels<'a>,
    pub image: &'a Image,
    pub drawn: &'a [Drawn],
    pub bands: &'a Bands,
    pub noise: &'a Noise,
    pub texture: Texture,
}

/// A pixel that was filled: column, row, value.
pub(super) type Filled = (u32, u32, f32);

impl Ground<'_> {
    /// Fills an island.
    pub fn fill(&self, island: &Island) -> Vec<Filled> {
        let widest = island
            .discs
            .iter()
            .map(|disc| disc.radius)
            .fold(0.0, f64::max);
        let margin = (0.6 * widest).max(6.0) as usize;
        let inner = island.bounds;
        let outer = Window {
            left: inner.left.saturating_sub(margin),
            top: inner.top.saturating_sub(margin),
            width: inner.width + margin + margin.min(inner.left),
            height: inner.height + margin + margin.min(inner.top),
        }
        .within(self.pixels.width, self.pixels.height);
        let count = outer.width * outer.height;
        let mut values = vec![0.0; count];
        let mut trust = vec![0.0; count];
        let mut share = vec![0.0; count];
        let lit = lit(self.image, self.drawn, self.bands, outer);
        let noise = self.noise.over(outer);
        let rows = lit.chunks(outer.width).zip(noise.chunks(outer.width));
        for (row, (lit, noise)) in rows.enumerate() {
            let here = &self.pixels.row(outer.top + row)[outer.left..outer.right()];
            for (column, ((lit, [alone, rough]), value)) in
                lit.iter().zip(noise).zip(here).enumerate()
            {
                if value.is_nan() {
                    continue;
                }
                let at = row * outer.width + column;
                values[at] = value - lit.light;
                let doubt = lit.light / (DOUBT * rough);
                let doubt = 1.0 + doubt * doubt;
                // Rough ground holds the surface more firmly.
                let firm = (rough / alone).sqrt();
                trust[at] = firm / (doubt * doubt);
                share[at] = step((lit.most / rough - FILL_FROM) / (FILL_ALL - FILL_FROM));
            }
        }
        let mut covered = vec![false; count];
        for disc in &island.discs {
            let part = Window::around(
                [disc.x, disc.y],
                disc.radius,
                self.pixels.width,
                self.pixels.height,
            );
            for y in part.top..part.bottom() {
                for x in part.left..part.right() {
                    let at = (y - outer.top) * outer.width + x - outer.left;
                    if !disc.covers(x, y) {
                        continue;
                    }
                    covered[at] = true;
                    if self.pixels.row(y)[x] >= disc.full {
                        (trust[at], share[at]) = (0.0, 1.0);
                    }
                }
            }
        }
        let surface = fill::surface(&values, &trust, outer.width);
        let mut filled = Vec::new();
        for (at, surface) in surface.iter().enumerate() {
            let (x, y) = (outer.left + at % outer.width, outer.top + at / outer.width);
            let share = share[at];
            if !covered[at] || share <= 0.0 || self.pixels.row(y)[x].is_nan() {
                continue;
            }
            let [sigma, _] = noise[at];
            let kept = 1.0 - share;
            let grain = (1.0 - kept * kept).max(0.0).sqrt() * sigma * self.texture.at(x, y);
            filled.push((
                x as u32,
                y as u32,
                kept * values[at] + share * surface + grain,
            ));
        }
        filled
    }
}

/// 0 below 0, 1 above 1, smooth between.
fn step(t: f32) -> f32 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn disc(x: f64, y: f64, radius: f64) -> Disc {
        Disc {
            x,
            y,
            radius,
            plateau: 0.0,
            full: f32::INFINITY,
        }
    }

    #[test]
    fn overlapping_discs_are_one_island() {
        let discs = [
            disc(10.0, 10.0, 4.0),
            disc(50.0, 10.0, 4.0),
            disc(17.0, 10.0, 4.0),
            disc(24.0, 13.0, 5.0),
            disc(-90.0, 0.0, 3.0),
        ];
        let islands = islands(&discs, 60, 40);
        assert_eq!(islands.len(), 2);
        assert_eq!(islands[0].discs.len(), 3);
        assert_eq!(
            islands[0].bounds,
            Window {
                left: 6,
                top: 6,
                width: 24,
                height: 13
            }
        );
        assert_eq!(islands[1].discs.len(), 1);
    }
}
