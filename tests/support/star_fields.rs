//! Made-up star fields seen through two frames, with a known way between them.

use linehue::engine::align::matching::Point;
use linehue::engine::frame::Size;

/// SplitMix64 (Steele, Lea & Flood 2014): the same numbers on any machine.
pub struct Random(pub u64);

impl Random {
    pub fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Normal, mean 0 and deviation 1 (Box & Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(1.0 - self.unit())).sqrt();
        radius * libm::cos(std::f64::consts::TAU * self.unit())
    }
}

/// The true way from source pixels to reference pixels.
#[derive(Debug, Clone, Copy)]
pub struct Truth {
    pub scale: f64,
    pub angle: f64,
    pub mirrored: bool,
    /// Where the middle of the source lies in the reference.
    pub middle: [f64; 2],
    /// What a point in the corner of the source moves outwards, in source
    /// pixels, growing with the cube of the distance.
    pub barrel_px: f64,
    pub source: Size,
    pub reference: Size,
}

impl Truth {
    pub fn apply(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let (w, h) = (self.source.width as f64, self.source.height as f64);
        let (x, y) = (x - (w - 1.0) / 2.0, y - (h - 1.0) / 2.0);
        let corner = (w * w + h * h) / 4.0;
        let swell = 1.0 + self.barrel_px / corner.sqrt() * (x * x + y * y) / corner;
        let (x, y) = (x * swell, y * swell);
        let y = if self.mirrored { -y } else { y };
        let (sine, cosine) = self.angle.sin_cos();
        [
            self.middle[0] + self.scale * (cosine * x - sine * y),
            self.middle[1] + self.scale * (sine * x + cosine * y),
        ]
    }

    /// By Newton's method with the slopes of the undistorted map.
    pub fn back(&self, target: [f64; 2]) -> [f64; 2] {
        let mut at = [0.0; 2];
        for _ in 0..60 {
            let now = self.apply(at);
            let (dx, dy) = (target[0] - now[0], target[1] - now[1]);
            if dx.abs() + dy.abs() < 1e-9 {
                break;
            }
            let (sine, cosine) = self.angle.sin_cos();
            let (u, v) = (cosine * dx + sine * dy, cosine * dy - sine * dx);
            at[0] += u / self.scale;
            at[1] += if self.mirrored { -v } else { v } / self.scale;
        }
        at
    }

    /// Places of the source, on a lattice, that lie in the reference.
    pub fn overlap(&self, steps: usize) -> Vec<[f64; 2]> {
        (0..steps * steps)
            .map(|k| {
                let (i, j) = ((k % steps) as f64 + 0.5, (k / steps) as f64 + 0.5);
                [
                    i / steps as f64 * self.source.width as f64 - 0.5,
                    j / steps as f64 * self.source.height as f64 - 0.5,
                ]
            })
            .filter(|&at| inside(self.apply(at), self.reference))
            .collect()
    }

    /// Shared area over the area of the smaller frame.
    pub fn shared(&self) -> f64 {
        let part = self.overlap(24).len() as f64 / 576.0;
        let source = self.source.pixels() as f64 * self.scale * self.scale;
        part * source / source.min(self.reference.pixels() as f64)
    }
}

pub fn inside([x, y]: [f64; 2], size: Size) -> bool {
    x >= 0.0 && y >= 0.0 && x <= size.width as f64 - 1.0 && y <= size.height as f64 - 1.0
}

/// How the two lists differ.
#[derive(Debug, Clone, Copy)]
pub struct Unlike {
    /// Flux of a star in the source over that in the reference: up to this
    /// factor from the faintest to the brightest, evenly in its logarithm.
    pub colors: f64,
    /// Part of the stars that a list misses.
    pub missing: f64,
    /// Part of each list that is no star.
    pub spurious: f64,
    /// Depth of the source over that of the reference: a factor in flux.
    pub depth: f64,
    /// Part of the stars that stand in clumps.
    pub clumped: f64,
}

pub const ALIKE: Unlike = Unlike {
    colors: 1.0,
    missing: 0.0,
    spurious: 0.0,
    depth: 1.0,
    clumped: 0.0,
};

pub struct Scene {
    pub source: Vec<Point>,
    pub reference: Vec<Point>,
    /// Stars in both.
    pub common: usize,
}

/// A detection: error of 0.6 x width / signal-to-noise in either axis, for a
/// width of 3 pixels, and 0.01 that even bright stars have.
fn detect(random: &mut Random, at: [f64; 2], flux: f64) -> Point {
    let error = (0.6 * 3.0 / (5.0 * flux)).hypot(0.01);
    Point {
        x: at[0] + error * random.normal(),
        y: at[1] + error * random.normal(),
        flux,
        weight_px: error,
    }
}

/// A field with `stars` in an area as large as the smaller frame, down to flux
/// 1 at a signal-to-noise ratio of 5; twice as many for half the flux.
pub fn scene(random: &mut Random, truth: &Truth, stars: usize, unlike: Unlike) -> Scene {
    let corners = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]].map(|[i, j]| {
        truth.apply([
            i * truth.source.width as f64,
            j * truth.source.height as f64,
        ])
    });
    let mut low = [0.0_f64; 2];
    let mut high = [truth.reference.width as f64, truth.reference.height as f64];
    for corner in corners {
        for axis in 0..2 {
            low[axis] = low[axis].min(corner[axis] - 10.0);
            high[axis] = high[axis].max(corner[axis] + 10.0);
        }
    }
    let area = (high[0] - low[0]) * (high[1] - low[1]);
    let source_area = truth.source.pixels() as f64 * truth.scale * truth.scale;
    let smaller = source_area.min(truth.reference.pixels() as f64);
    // Stars below the limit of one list may be above that of the other.
    let faintest = (1.0 / (unlike.colors * unlike.depth.max(1.0))).min(1.0);
    let count = (stars as f64 * area / smaller / faintest) as usize;
    let clumps: Vec<[f64; 2]> = (0..5)
        .map(|_| {
            [
                random.between(low[0], high[0]),
                random.between(low[1], high[1]),
            ]
        })
        .collect();
    let wide = smaller.sqrt() * 0.05;
    let mut scene = Scene {
        source: Vec::new(),
        reference: Vec::new(),
        common: 0,
    };
    for k in 0..count {
        let at = if random.unit() < unlike.clumped {
            let clump = clumps[k % clumps.len()];
            [
                clump[0] + wide * random.normal(),
                clump[1] + wide * random.normal(),
            ]
        } else {
            [
                random.between(low[0], high[0]),
                random.between(low[1], high[1]),
            ]
        };
        let flux = (faintest / (1.0 - random.unit())).min(2000.0);
        let there = inside(at, truth.reference) && flux >= 1.0 && random.unit() >= unlike.missing;
        if there {
            scene.reference.push(detect(random, at, flux));
        }
        let factor = libm::pow(unlike.colors, random.between(-0.5, 0.5));
        let flux = flux * factor * unlike.depth;
        let back = truth.back(at);
        let here = inside(back, truth.source) && flux >= 1.0 && random.unit() >= unlike.missing;
        if here {
            scene.source.push(detect(random, back, flux));
        }
        scene.common += usize::from(here && there);
    }
    for (list, size) in [
        (&mut scene.source, truth.source),
        (&mut scene.reference, truth.reference),
    ] {
        let good = list.len();
        let more = (good as f64 * unlike.spurious / (1.0 - unlike.spurious)) as usize;
        for _ in 0..more {
            let at = [
                random.between(0.0, size.width as f64 - 1.0),
                random.between(0.0, size.height as f64 - 1.0),
            ];
            let flux = list[((random.unit() * good as f64) as usize).min(good - 1)].flux;
            list.push(detect(random, at, flux));
        }
        list.sort_by(|a, b| b.flux.total_cmp(&a.flux));
    }
    scene
}

/// A field of `stars` at random places.
pub fn lone_field(random: &mut Random, stars: usize, size: Size) -> Vec<Point> {
    let mut list: Vec<Point> = (0..stars)
        .map(|_| {
            let at = [
                random.between(0.0, size.width as f64 - 1.0),
                random.between(0.0, size.height as f64 - 1.0),
            ];
            let flux = (1.0 / (1.0 - random.unit())).min(2000.0);
            detect(random, at, flux)
        })
        .collect();
    list.sort_by(|a, b| b.flux.total_cmp(&a.flux));
    list
}

/// A way with the given scale, any angle and parity, and a shared part of at
/// least `shared`.
pub fn random_truth(random: &mut Random, scale: f64, shared: [f64; 2]) -> Truth {
    loop {
        let mut size = || Size {
            width: random.between(1000.0, 4200.0) as usize,
            height: random.between(1000.0, 4200.0) as usize,
        };
        let (source, reference) = (size(), size());
        let reach = scale * (source.width as f64).hypot(source.height as f64) / 2.0;
        let truth = Truth {
            scale,
            angle: random.between(0.0, std::f64::consts::TAU),
            mirrored: random.unit() < 0.5,
            middle: [
                random.between(-reach, reach + reference.width as f64),
                random.between(-reach, reach + reference.height as f64),
            ],
            barrel_px: 0.0,
            source,
            reference,
        };
        let part = truth.shared();
        if part >= shared[0] && part <= shared[1] {
            return truth;
        }
    }
}
