//! The invented sky with and without its stars, and what is left of them.
#![expect(dead_code, reason = "tests each use a part of it")]

use std::ops::ControlFlow;

use linehue::engine::align::stars::{FindLimits, Stars, find};
use linehue::engine::frame::{Plane, Size};

use crate::field::filters::Filter;
use crate::field::optics::Psf;
use crate::field::{Backdrop, GAS_ALONE, SATURATION, Scene, Spec, render_over};

/// The size of the sample stacks.
pub const WIDE: [usize; 2] = [864, 576];

pub fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

/// Noise that is the same on every machine: sums of four even draws, sigma 0.577.
pub struct Grain(pub u64);

impl Grain {
    pub fn draw(&mut self) -> f32 {
        let mut sum = -2.0;
        for _ in 0..4 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            sum += (self.0 >> 40) as f32 / 16_777_216.0;
        }
        sum
    }
}

/// An observation, its truth without stars and noise, and the stars found on it.
pub struct Sky {
    pub filter: Filter,
    pub seed: u64,
    pub spec: Spec,
    pub plane: Plane,
    pub truth: Vec<f32>,
    pub stars: Stars,
}

impl Sky {
    pub fn new(filter: Filter, seed: u64, [width, height]: [usize; 2]) -> Self {
        let scene = Scene::new(width, height, seed);
        let spec = Spec::new(width, height, filter);
        let back = Backdrop::new(&scene, spec.grid, 0..height);
        let seen = render_over(&scene, &back, &spec, 0..height);
        let truth = render_over(&scene, &back, &spec.with_parts(GAS_ALONE), 0..height);
        let size = Size { width, height };
        let plane = Plane::from_vec(size, seen).expect("pixels");
        let stars = find(&plane, None, &FindLimits::default(), &go_on).expect("stars");
        Self {
            filter,
            seed,
            spec,
            plane,
            truth,
            stars,
        }
    }
}

/// How high stars are, in sigma of the noise; the last are cut off.
pub const CLASSES: [&str; 5] = ["below 20", "to 200", "to half full", "to full", "cut off"];

/// What is left of a sky: squares in sigma of the noise, and pixels.
#[derive(Default)]
pub struct Left {
    /// Where a star of this class gives the most light.
    classes: [[f64; 2]; 5],
    /// Of each star, over the pixels its light reaches.
    stars: [Vec<f64>; 5],
    /// Where no star's light is a fifth of the noise.
    beside: [f64; 2],
}

impl Left {
    /// Root mean square over the pixels of a class, noise.
    pub fn all(&self, class: usize) -> f64 {
        let [squares, pixels] = self.classes[class];
        (squares / pixels).sqrt()
    }

    /// The same of the star in the middle.
    pub fn middle(&self, class: usize) -> f64 {
        let mut stars = self.stars[class].clone();
        stars.sort_by(f64::total_cmp);
        stars[stars.len() / 2]
    }

    /// The same where no star's light is.
    pub fn beside(&self) -> f64 {
        (self.beside[0] / self.beside[1]).sqrt()
    }

    /// Adds a sky of the size [`WIDE`] taken apart, measured under the stars that are truly there,
    /// whether they were found or not; those outside the frame own their pixels
    /// and do not count.
    pub fn add(&mut self, sky: &Sky, nebula: &Plane) {
        let psf = Psf::new(sky.spec.fwhm_px, [0.92, 0.39]);
        let square = |at: usize| {
            let truth = f64::from(sky.truth[at]);
            let off = f64::from(nebula.values()[[at / WIDE[0], at % WIDE[0]]]) - truth;
            off * off / sky.spec.variance(truth)
        };
        let mut owners: Vec<(f32, Option<usize>)> = vec![(0.0, None); WIDE[0] * WIDE[1]];
        let mut counted = vec![true; owners.len()];
        for star in &Scene::new(WIDE[0], WIDE[1], sky.seed).stars {
            let (x, y) = sky.spec.grid.on_grid(star.x, star.y);
            let light = sky.spec.star_light(star) as f32;
            let inside = |at: f64, size: usize| (at.round().max(0.0) as usize).min(size - 1);
            let at = inside(y, WIDE[1]) * WIDE[0] + inside(x, WIDE[0]);
            let level = f64::from(sky.truth[at]);
            let sigma = sky.spec.variance(level).sqrt();
            let height = f64::from(light * psf.round(0.0));
            let class = match height / sigma {
                ..3.0 => continue,
                _ if level + height > f64::from(SATURATION) => 4,
                _ if level + height > 0.5 * f64::from(SATURATION) => 3,
                200.0.. => 2,
                20.0.. => 1,
                _ => 0,
            };
            let reach = f64::from(psf.reach_px(light, 0.2 * sigma as f32)).max(4.0);
            let within = |at: f64, size: usize| (-0.5..size as f64 - 0.5).contains(&at);
            let there = within(x, WIDE[0]) && within(y, WIDE[1]);
            let mut sums = [0.0, 0.0];
            for row in inside(y - reach, WIDE[1])..=inside(y + reach, WIDE[1]) {
                for column in inside(x - reach, WIDE[0])..=inside(x + reach, WIDE[0]) {
                    let (u, v) = (column as f64 - x, row as f64 - y);
                    if u * u + v * v >= reach * reach {
                        continue;
                    }
                    let at = row * WIDE[0] + column;
                    let here = light * psf.round((u * u + v * v) as f32);
                    if here > owners[at].0 {
                        owners[at] = (here, Some(class));
                        counted[at] = there;
                    }
                    sums[0] += square(at);
                    sums[1] += 1.0;
                }
            }
            if there && sums[1] > 0.0 {
                self.stars[class].push((sums[0] / sums[1]).sqrt());
            }
        }
        for (at, (_, class)) in owners.iter().enumerate().filter(|(at, _)| counted[*at]) {
            let sums = class.map_or(&mut self.beside, |class| &mut self.classes[class]);
            sums[0] += square(at);
            sums[1] += 1.0;
        }
    }
}
