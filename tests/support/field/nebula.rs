//! The Lantern Shell: an invented bubble blown by a hot star into a cloud.
//!
//! Doubly ionised oxygen fills the inside, hydrogen glows in the wall around
//! it, singly ionised sulfur in thin fronts outside of that. Towards the cloud
//! (left and below) the wall is squeezed and bright and dust stands in front;
//! on the other side it has burst into a second, fainter chamber. Broken arcs
//! of older shells lie further out.
//!
//! Scene units: the origin is the middle of the reference frame, u runs right,
//! v down, and the frame is at least 3 wide and 2 high.

use super::dust::{Dust, dust};
use super::filters::Filter;
use super::knots::{self, Knot};
use super::noise::{bell, cloud, displacement, ridges, step};
use super::shell::{Shell, Sight, texture};

/// Light of the gas at one place. 1 is the level of a bright filament.
#[derive(Clone, Copy, Debug, Default)]
pub struct Emission {
    pub ha: f32,
    pub oiii: f32,
    pub sii: f32,
    /// Continuum light of the gas and of dust lit by stars, per 100 nm.
    pub glow: f32,
    /// Dust in front of the light above, e-foldings at 550 nm.
    pub dust: f32,
}

impl Emission {
    /// What passes a filter, dimmed by the dust in front.
    pub fn through(&self, filter: Filter) -> f32 {
        let (first, last) = filter.passband_nm();
        let glow = self.glow * ((last - first) / 100.0) as f32;
        let lines = match filter {
            Filter::Ha => self.ha,
            Filter::Oiii => self.oiii,
            Filter::Sii => self.sii,
            // Hydrogen beta is a third of alpha; 500.7 passes G and B.
            Filter::L => 1.36 * self.ha + 1.33 * self.oiii + self.sii,
            Filter::R => 1.03 * self.ha + self.sii,
            Filter::G => 1.33 * self.oiii,
            Filter::B => 0.33 * self.ha + 1.33 * self.oiii,
        };
        (lines + glow) * filter.through_dust(self.dust)
    }
}

/// The nebula in a reference frame.
#[derive(Clone, Debug)]
pub struct Nebula {
    knots: Vec<Knot>,
    middle_px: [f64; 2],
    unit_px: f64,
    seed: u32,
}

/// The central star, scene units.
const STAR: [f32; 2] = [-0.035, 0.03];

/// The main bubble.
const MAIN: Shell = Shell {
    center: [0.0, 0.0],
    half_axes: [0.66, 0.52],
    turn: [0.848, -0.530],
};

/// The chamber beyond the breach.
const CHAMBER: Shell = Shell {
    center: [0.50, -0.32],
    half_axes: [0.52, 0.36],
    turn: [0.848, -0.530],
};

/// The small bubble around the star.
const FLAME: Shell = Shell {
    center: [-0.02, 0.02],
    half_axes: [0.27, 0.155],
    turn: [0.342, 0.940],
};

/// One wall of the main bubble.
struct Layer {
    size: f32,
    strength: f32,
    /// Sulfur, as a multiple of its share in the middle wall.
    sulfur: f32,
    /// How far its outline is torn, scene units.
    tear: f32,
    /// How fine its texture is.
    scale: f32,
}

/// The walls, from inside out.
const LAYERS: [Layer; 3] = [
    Layer {
        size: 0.93,
        strength: 0.50,
        sulfur: 0.55,
        tear: 0.030,
        scale: 1.15,
    },
    Layer {
        size: 1.0,
        strength: 0.85,
        sulfur: 0.9,
        tear: 0.036,
        scale: 1.0,
    },
    Layer {
        size: 1.09,
        strength: 0.36,
        sulfur: 2.1,
        tear: 0.055,
        scale: 0.9,
    },
];

impl Nebula {
    /// The nebula as it lies in a frame of this size.
    pub fn new(width: usize, height: usize, seed: u64) -> Self {
        let (wide, high) = (width as f64, height as f64);
        Self {
            knots: knots::scatter(seed),
            middle_px: [0.5 * (wide - 1.0), 0.5 * (high - 1.0)],
            unit_px: 0.5 * high.min(wide / 1.5),
            seed: super::random::mix(seed) as u32,
        }
    }

    /// Pixels of the reference grid to one scene unit.
    pub fn unit_px(&self) -> f64 {
        self.unit_px
    }

    /// The central star on the reference grid, px.
    pub fn central_star_px(&self) -> (f64, f64) {
        (
            self.middle_px[0] + f64::from(STAR[0]) * self.unit_px,
            self.middle_px[1] + f64::from(STAR[1]) * self.unit_px,
        )
    }

    fn scene(&self, x: f64, y: f64) -> (f32, f32) {
        (
            ((x - self.middle_px[0]) / self.unit_px) as f32,
            ((y - self.middle_px[1]) / self.unit_px) as f32,
        )
    }

    /// Depth of the dust at a place of the reference grid, e-foldings at 550 nm.
    pub fn dust_at_px(&self, x: f64, y: f64) -> f32 {
        let (u, v) = self.scene(x, y);
        self.dust(u, v).depth
    }

    /// The light at a place of the reference grid.
    pub fn at_px(&self, x: f64, y: f64) -> Emission {
        let (u, v) = self.scene(x, y);
        self.at(u, v)
    }

    fn dust(&self, u: f32, v: f32) -> Dust {
        dust(self.seed ^ 0xd0, u - STAR[0], v - STAR[1])
    }

    fn at(&self, u: f32, v: f32) -> Emission {
        let dust = self.dust(u, v);
        let broad = displacement(self.seed ^ 0xa1, [u * 1.9, v * 1.9, 0.3], 3);
        let (bu, bv) = (u + 0.085 * broad[0], v + 0.085 * broad[1]);
        let main = MAIN.sight(bu, bv);
        let mut light = Emission::default();
        for (index, layer) in LAYERS.iter().enumerate() {
            self.wall(index as u32, layer, (u, v), (bu, bv), &mut light);
        }
        self.oxygen(&main, &mut light);
        self.flame(u, v, &mut light);
        self.chamber(&main, u, v, &mut light);
        self.surroundings(&main, u, v, &mut light);
        light.ha += 0.42 * dust.skin + 0.20 * dust.front;
        light.sii += 0.09 * dust.skin + 0.22 * dust.front;
        light.oiii += 0.10 * dust.skin;
        let knots = knots::light(&self.knots, u - STAR[0], v - STAR[1]);
        light.ha += 0.42 * knots.cusp + 0.13 * knots.tail;
        light.sii += 0.15 * knots.cusp + 0.03 * knots.tail;
        light.oiii += 0.06 * knots.tail;
        light.dust = dust.depth + knots.dust;
        light.glow += 0.012 * (light.ha + light.oiii) + 0.01 * (1.0 - libm::expf(-dust.depth));
        light
    }

    /// One of the walls of hydrogen and sulfur: several, torn each in its own
    /// way, overlap along the line of sight.
    fn wall(
        &self,
        index: u32,
        layer: &Layer,
        (u, v): (f32, f32),
        (bu, bv): (f32, f32),
        light: &mut Emission,
    ) {
        let seed = self.seed ^ (0x4000 + 0x101 * index);
        let z = index as f32 * 3.3;
        let torn = displacement(seed, [u * 4.6, v * 4.6, z], 4);
        let sight = MAIN
            .sight(bu + layer.tear * torn[0], bv + layer.tear * torn[1])
            .of_size(layer.size);
        if sight.radius >= 1.0 {
            return;
        }
        for (side, point) in sight.walls().into_iter().enumerate() {
            let t = texture(seed ^ 0x40, point, layer.scale);
            let squeeze = (0.58 - 0.46 * point[0] + 0.16 * point[1]).clamp(0.10, 1.15);
            let near = if side == 0 { 1.0 } else { 0.75 };
            let weight = squeeze * near * layer.strength * (0.25 + 0.75 * t.patch);
            let wall = sight.wall(0.12) * weight;
            let thin = sight.wall(0.045) * weight;
            let filament = t.filament;
            light.ha += wall * (0.03 + 1.35 * filament) + thin * (0.20 + 2.0 * filament);
            let fronts = wall * 0.5 * filament * filament.min(1.0)
                + thin * (0.09 + 1.4 * filament * (0.2 + filament.min(1.0)));
            light.sii += layer.sulfur * fronts;
        }
    }

    /// Oxygen: a thick inner wall and a thin filling.
    fn oxygen(&self, main: &Sight, light: &mut Emission) {
        let inner = main.of_size(0.93);
        if inner.radius >= 1.0 {
            return;
        }
        let veil = cloud(self.seed ^ 0x71, [inner.x * 2.0, inner.y * 2.0, 0.0], 4);
        light.oiii += 0.06 * inner.half_chord() * (1.0 + 0.9 * veil).max(0.2);
        for point in inner.walls() {
            let t = texture(self.seed ^ 0x70, point, 0.75);
            let there = 0.08 + 0.95 * t.patch * t.patch;
            light.oiii += inner.wall(0.30) * there * (0.05 + 2.2 * t.filament);
            light.oiii += inner.wall(0.06) * there * (0.10 + 1.6 * t.filament);
        }
    }

    /// The small hot bubble around the star: the lantern's flame.
    fn flame(&self, u: f32, v: f32, light: &mut Emission) {
        let torn = displacement(self.seed ^ 0x81, [u * 4.4, v * 4.4, 0.0], 4);
        let sight = FLAME.sight(u + 0.055 * torn[0], v + 0.055 * torn[1]);
        if sight.radius >= 1.0 {
            return;
        }
        for point in sight.walls() {
            let t = texture(self.seed ^ 0x82, point, 0.7);
            let there = 0.08 + 0.92 * t.patch;
            light.oiii += there * sight.wall(0.12) * (0.06 + 1.9 * t.filament);
            light.ha += there * sight.wall(0.05) * (0.06 + 2.2 * t.filament);
        }
        light.oiii += 0.06 * sight.half_chord();
        let (du, dv) = (u - STAR[0], v - STAR[1]);
        let near = libm::sqrtf(du * du + dv * dv);
        light.oiii += 0.30 * libm::expf(-near / 0.075);
    }

    /// The faint chamber beyond the breach.
    fn chamber(&self, main: &Sight, u: f32, v: f32, light: &mut Emission) {
        let torn = displacement(self.seed ^ 0xc1, [u * 3.1, v * 3.1, 0.0], 4);
        let beyond = step(0.80, 1.05, main.radius);
        for (size, strength) in [(1.0, 1.0), (0.84, 0.6)] {
            let sight = CHAMBER
                .sight(u + 0.075 * torn[0], v + 0.075 * torn[1])
                .of_size(size);
            if sight.radius >= 1.0 || beyond <= 0.0 {
                continue;
            }
            for point in sight.walls() {
                let t = texture(self.seed ^ 0xc0, point, 0.9);
                let fade = strength * beyond * (0.62 - 0.5 * point[0]).clamp(0.10, 1.0);
                let there = fade * (0.15 + 0.85 * t.patch);
                light.oiii += there * sight.wall(0.09) * (0.03 + 1.7 * t.filament);
                light.oiii += there * 0.025 * sight.half_chord();
                light.ha += there * sight.wall(0.06) * (0.03 + 0.9 * t.filament);
                light.sii += there * sight.wall(0.03) * 0.5 * t.filament * t.filament.min(1.0);
            }
        }
    }

    /// Halo, broken arcs and the cloud behind.
    fn surroundings(&self, main: &Sight, u: f32, v: f32, light: &mut Emission) {
        let drift = displacement(self.seed ^ 0xe4, [u * 2.2, v * 2.2, 6.1], 3);
        let wisp = ridges(
            self.seed ^ 0xe1,
            [u * 2.6 + 0.38 * drift[0], v * 2.6 + 0.38 * drift[1], 3.1],
            6,
            0.68,
        );
        let mist = cloud(self.seed ^ 0xe2, [u * 1.5, v * 1.5, 7.7], 5);
        let halo = libm::expf(-(main.radius - 1.0).max(0.0) / 0.34);
        // Light that leaks out between the knots of the wall makes rays.
        let away = main.radius.max(0.2);
        let ray = cloud(
            self.seed ^ 0xe3,
            [main.x / away * 5.0, main.y / away * 5.0, 0.35 * away],
            4,
        );
        let ray = step(-0.35, 0.65, ray);
        light.ha += 0.075 * halo * (0.35 + 0.9 * wisp) * (0.45 + 0.9 * ray);
        light.oiii += 0.070 * halo * (0.5 + 0.5 * mist) * (0.25 + 1.3 * ray);
        // Older shells: radius, width, direction, opening, strength.
        const ARCS: [(f32, f32, [f32; 2], f32, f32); 4] = [
            (1.36, 0.022, [-0.30, 0.95], 0.35, 0.16),
            (1.55, 0.030, [-0.95, -0.30], 0.45, 0.12),
            (1.86, 0.040, [0.10, 0.99], 0.62, 0.09),
            (1.46, 0.020, [0.10, -0.99], 0.55, 0.10),
        ];
        for (index, (radius, width, direction, opening, strength)) in ARCS.into_iter().enumerate() {
            let along = (main.x * direction[0] + main.y * direction[1]) / main.radius.max(0.01);
            let broken = cloud(
                self.seed ^ (0xf0 + index as u32),
                [u * 3.5, v * 3.5, index as f32],
                3,
            );
            let present =
                step(opening, opening + 0.4, along + 0.25 * broken) * step(-0.3, 0.35, broken);
            if present <= 0.0 {
                continue;
            }
            let away = main.radius - radius + 0.03 * broken;
            let sharp = bell(away, width) + 0.35 * bell(away + 2.5 * width, 3.0 * width);
            let light_here = strength * present * sharp * (0.3 + 1.4 * wisp);
            light.ha += light_here;
            light.sii += 0.38 * light_here * bell(away + 0.6 * width, width);
            light.oiii +=
                0.75 * strength * present * bell(away - 1.3 * width, width) * (0.4 + wisp);
        }
        let side = step(-0.5, 1.5, -0.62 * u + 0.78 * v + 0.45 * mist);
        let cloud_light = side * (0.05 + 0.36 * wisp * step(-0.5, 0.6, mist));
        light.ha += 0.8 * cloud_light;
        light.sii += 0.30 * cloud_light * (0.4 + 1.2 * wisp);
    }
}
