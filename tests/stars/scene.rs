//! An invented field of stars with everything that is none.

use linehue::engine::frame::Plane;
use ndarray::Array2;

/// Numbers that look random (SplitMix64: Steele, Lea & Flood 2014).
pub struct Draw(u64);

impl Draw {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5851_f42d)
    }

    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(1.0 - self.uniform())).sqrt();
        radius * libm::cos(std::f64::consts::TAU * self.uniform())
    }
}

/// A star, or with a width above 1 a knot.
#[derive(Debug, Clone, Copy)]
pub struct Point {
    pub x: f64,
    pub y: f64,
    pub flux: f64,
    /// In widths of the field's stars.
    pub width: f64,
}

/// A field; sampled at pixel centres.
pub struct Scene {
    pub width: usize,
    pub height: usize,
    pub fwhm_px: f64,
    /// Long over short axis; the long one lies at 30 degrees.
    pub elongation: f64,
    pub seed: u64,
    pub sky: f64,
    pub noise: f64,
    /// Rise of the sky per pixel, right and down.
    pub slope: [f64; 2],
    /// Height of a smooth nebula in sigma.
    pub nebula: f64,
    /// Height of a thin bright arc in sigma.
    pub filament: f64,
    pub points: Vec<Point>,
    pub knots: Vec<Point>,
    pub hot_pixels: usize,
    pub rays: usize,
    pub ceiling: f64,
    /// Like `ceiling`, but before noise is added.
    pub soft_ceiling: f64,
    pub whole_numbers: bool,
}

impl Scene {
    pub fn new(width: usize, height: usize, fwhm_px: f64, seed: u64) -> Self {
        Self {
            width,
            height,
            fwhm_px,
            elongation: 1.0,
            seed,
            sky: 500.0,
            noise: 5.0,
            slope: [0.0; 2],
            nebula: 0.0,
            filament: 0.0,
            points: Vec::new(),
            knots: Vec::new(),
            hot_pixels: 0,
            rays: 0,
            ceiling: f64::INFINITY,
            soft_ceiling: f64::INFINITY,
            whole_numbers: false,
        }
    }

    fn sigma(&self) -> f64 {
        self.fwhm_px / (8.0 * libm::log(2.0)).sqrt()
    }

    /// Signal to noise of a star's height, fitted by its own shape: its flux
    /// times the root of the sum of the squared shape, 1 / (2 sqrt(pi) sigma).
    pub fn snr(&self, point: &Point) -> f64 {
        point.flux / self.flux_of_snr(1.0)
    }

    pub fn flux_of_snr(&self, snr: f64) -> f64 {
        snr * self.noise * 2.0 * std::f64::consts::PI.sqrt() * self.sigma()
    }

    pub fn push(&mut self, x: f64, y: f64, flux: f64) {
        self.points.push(Point {
            x,
            y,
            flux,
            width: 1.0,
        });
    }

    /// Stars all over, many faint and few bright.
    pub fn scatter(&mut self, count: usize, least_snr: f64, most_snr: f64) {
        let mut draw = Draw::new(self.seed);
        for _ in 0..count {
            let x = draw.uniform() * self.width as f64 - 0.5;
            let y = draw.uniform() * self.height as f64 - 0.5;
            let snr = least_snr * libm::pow(most_snr / least_snr, draw.uniform());
            let flux = self.flux_of_snr(snr);
            self.push(x, y, flux);
        }
    }

    /// No other star of a tenth of its light within four widths, and the
    /// border two widths away.
    pub fn isolated(&self, point: &Point) -> bool {
        let edge = 2.0 * self.fwhm_px;
        let inside = point.x > edge
            && point.y > edge
            && point.x < self.width as f64 - edge
            && point.y < self.height as f64 - edge;
        inside
            && !self.points.iter().any(|other| {
                let (u, v) = (other.x - point.x, other.y - point.y);
                let apart = (u * u + v * v).sqrt();
                let glare = 1.0 + 0.25 * libm::log10((other.flux / point.flux).max(1.0));
                apart > 0.0 && apart < 4.0 * self.fwhm_px * glare && other.flux > 0.1 * point.flux
            })
    }

    fn bell(&self, point: &Point, values: &mut Array2<f64>) {
        let sigma = self.sigma() * point.width;
        let stretch = self.elongation.sqrt();
        let (long, short) = (sigma * stretch, sigma / stretch);
        let (c, s) = (0.75_f64.sqrt(), 0.5);
        let height = point.flux / (2.0 * std::f64::consts::PI * sigma * sigma);
        let reach = (6.5 * long).ceil() as isize;
        let (x0, y0) = (point.x.round() as isize, point.y.round() as isize);
        for y in (y0 - reach).max(0)..(y0 + reach + 1).min(self.height as isize) {
            for x in (x0 - reach).max(0)..(x0 + reach + 1).min(self.width as isize) {
                let (u, v) = (x as f64 - point.x, y as f64 - point.y);
                let (along, across) = ((c * u + s * v) / long, (c * v - s * u) / short);
                values[[y as usize, x as usize]] +=
                    height * libm::exp(-0.5 * (along * along + across * across));
            }
        }
    }

    pub fn plane(&self) -> Plane {
        let mut draw = Draw::new(self.seed ^ 0xabcd);
        let (wide, high) = (self.width as f64, self.height as f64);
        let mut values = Array2::from_shape_fn((self.height, self.width), |(y, x)| {
            let (x, y) = (x as f64, y as f64);
            let (u, v) = (
                (x - 0.45 * wide) / (0.2 * wide),
                (y - 0.5 * high) / (0.25 * high),
            );
            let distance = (u * u + v * v).sqrt();
            let waves = 1.0 + 0.3 * libm::sin(x / 17.0 + 2.0 * libm::sin(y / 23.0));
            let nebula = self.nebula * libm::exp(-0.5 * u * u - 0.5 * v * v) * waves;
            // An arc with a standard deviation of about 3 px across.
            let across = (distance - 1.2) * 0.2 * wide / 3.0;
            let arc = self.filament * libm::exp(-0.5 * across * across);
            self.sky + self.slope[0] * x + self.slope[1] * y + self.noise * (nebula + arc)
        });
        for point in self.points.iter().chain(&self.knots) {
            self.bell(point, &mut values);
        }
        for value in &mut values {
            *value = value.min(self.soft_ceiling) + self.noise * draw.normal();
        }
        for _ in 0..self.hot_pixels {
            let y = (draw.uniform() * high) as usize;
            let x = (draw.uniform() * wide) as usize;
            values[[y, x]] += self.noise * (10.0 + 300.0 * draw.uniform());
        }
        for _ in 0..self.rays {
            let (mut x, mut y) = (draw.uniform() * wide, draw.uniform() * high);
            let angle = std::f64::consts::TAU * draw.uniform();
            let light = self.noise * (20.0 + 200.0 * draw.uniform());
            for _ in 0..(1.0 + 12.0 * draw.uniform()) as usize {
                if let Some(value) = values.get_mut([y.max(0.0) as usize, x.max(0.0) as usize]) {
                    *value += light;
                }
                x += libm::cos(angle);
                y += libm::sin(angle);
            }
        }
        Plane::new(values.mapv(|value| {
            let value = value.min(self.ceiling);
            if self.whole_numbers {
                value.round().max(0.0) as f32
            } else {
                value as f32
            }
        }))
    }
}
