//! Made-up fields for tests: sky, noise, nebula, stars, gaps.

use ndarray::Array2;

use crate::engine::frame::Plane;

/// Numbers without end, the same each time (SplitMix64).
pub(crate) struct Dice(pub u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0..1, neither end.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// Normal, mean 0, sigma 1 (Box & Muller 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        radius * libm::cos(std::f64::consts::TAU * self.uniform())
    }

    /// Exponential, mean 1.
    pub(crate) fn exponential(&mut self) -> f64 {
        -libm::log(self.uniform())
    }
}

/// A field of `width` by `height`, each pixel from its place and the dice.
pub(crate) fn field(
    width: usize,
    height: usize,
    seed: u64,
    mut value: impl FnMut(usize, usize, &mut Dice) -> f64,
) -> Plane {
    let mut dice = Dice(seed);
    Plane::new(Array2::from_shape_fn((height, width), |(y, x)| {
        value(x, y, &mut dice) as f32
    }))
}

/// Adds `count` round stars: brightest `peak`, 1.5 px sigma, cut off at `full`.
pub(crate) fn with_stars(plane: &Plane, count: usize, peak: f64, full: f64, seed: u64) -> Plane {
    let mut dice = Dice(seed);
    let mut values = plane.values().clone();
    let (height, width) = values.dim();
    for _ in 0..count {
        let (x0, y0) = (
            dice.uniform() * width as f64,
            dice.uniform() * height as f64,
        );
        let height_of_star = peak * dice.uniform() * dice.uniform();
        for y in (y0 as usize).saturating_sub(7)..(y0 as usize + 7).min(height) {
            for x in (x0 as usize).saturating_sub(7)..(x0 as usize + 7).min(width) {
                let (dx, dy) = (x as f64 - x0, y as f64 - y0);
                let light = height_of_star * libm::exp(-(dx * dx + dy * dy) / 4.5);
                values[(y, x)] = (f64::from(values[(y, x)]) + light).min(full) as f32;
            }
        }
    }
    Plane::new(values)
}

/// Sets columns at the left and rows at the top to `value`, as alignment leaves them.
pub(crate) fn with_rim(plane: &Plane, left: usize, top: usize, value: f32) -> Plane {
    let mut values = plane.values().clone();
    for ((y, x), pixel) in values.indexed_iter_mut() {
        if x < left || y < top {
            *pixel = value;
        }
    }
    Plane::new(values)
}
