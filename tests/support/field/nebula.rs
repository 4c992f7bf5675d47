//! The Lantern Shell: an invented bubble blown by a hot star into a cloud.
//!
//! Doubly ionised oxygen fills the inside, hydrogen glows in the wall around
//! it, singly ionised sulphur in thin fronts outside of that. Towards the cloud
//! (left and below) the wall is squeezed and bright and dust stands in front;
//! on the other side it has burst into a second, fainter chamber. Broken arcs
//! of older shells lie further out.
//!
//! Scene units: the origin is the middle of the reference frame, u runs right,
//! v down, and the frame is at least 3 wide and 2 high.

use super::dust::{Dust, dust};
use super::filters::Filter;
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
#[derive(Clone, Copy, Debug)]
pub struct Nebula {
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
    center: [0.50, -0.30],
    half_axes: [0.47, 0.36],
    turn: [0.848, -0.530],
};

impl Nebula {
    /// The nebula as it lies in a frame of this size.
    pub fn new(width: usize, height: usize, seed: u64) -> Self {
        let (wide, high) = (width as f64, height as f64);
        Self {
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
        // The whole outline is bent gently and torn finely.
        let broad = displacement(self.seed ^ 0xa1, [u * 1.7, v * 1.7, 0.3], 2);
        let fine = displacement(self.seed ^ 0xa2, [u * 7.0, v * 7.0, 1.9], 3);
        let (wu, wv) = (
            u + 0.075 * broad[0] + 0.016 * fine[0],
            v + 0.075 * broad[1] + 0.016 * fine[1],
        );
        let main = MAIN.sight(wu, wv);
        let mut light = Emission::default();
        self.bubble(&main, &mut light);
        self.chamber(&main, wu, wv, &mut light);
        self.surroundings(&main, u, v, &mut light);
        light.ha += 0.55 * dust.skin + 0.25 * dust.front;
        light.sii += 0.10 * dust.skin + 0.33 * dust.front;
        light.dust = dust.depth;
        light.glow += 0.012 * (light.ha + light.oiii) + 0.01 * (1.0 - libm::expf(-dust.depth));
        light
    }

    /// The main bubble: oxygen inside, hydrogen in the wall, sulphur outside.
    fn bubble(&self, main: &Sight, light: &mut Emission) {
        if main.radius > 1.25 {
            return;
        }
        for (side, point) in main.walls().into_iter().enumerate() {
            let seed = self.seed ^ 0x40;
            let t = texture(seed, point, 1.0);
            // Squeezed towards the cloud, thin towards the breach.
            let squeeze = 0.62 - 0.42 * point[0] + 0.12 * point[1];
            let squeeze = squeeze.clamp(0.12, 1.1);
            let filament = t.filament * t.filament;
            let near = if side == 0 { 1.0 } else { 0.75 };
            let wall = main.wall(0.16) * squeeze * near;
            light.ha += wall * (0.10 + 2.4 * filament * t.patch + 0.5 * filament);
            let thin = main.wall(0.05) * squeeze * near;
            light.ha += thin * (0.25 + 1.6 * filament);
            light.sii += thin * (0.08 + 1.7 * filament * filament * (0.4 + t.patch));
            light.sii += wall * 0.75 * filament * filament * t.patch;
        }
        let inner = main.of_size(0.90);
        if inner.radius < 1.0 {
            for point in inner.walls() {
                let t = texture(self.seed ^ 0x70, point, 0.8);
                let wall = inner.wall(0.42);
                light.oiii += wall * (0.18 + 1.25 * t.filament * (0.35 + 0.65 * t.patch));
            }
            let veil = cloud(self.seed ^ 0x71, [inner.x * 2.0, inner.y * 2.0, 0.0], 4);
            light.oiii += 0.22 * inner.half_chord() * (1.0 + 0.6 * veil);
        }
        // A skin of swept-up oxygen-bright shock just outside.
        let outside = main.radius - 1.0;
        light.ha += 0.05 * bell(outside, 0.03);
        light.sii += 0.05 * bell(outside - 0.012, 0.014);
    }

    /// The faint chamber beyond the breach.
    fn chamber(&self, main: &Sight, u: f32, v: f32, light: &mut Emission) {
        let sight = CHAMBER.sight(u, v);
        if sight.radius > 1.0 {
            return;
        }
        let beyond = step(0.72, 1.08, main.radius);
        for point in sight.walls() {
            let t = texture(self.seed ^ 0xc0, point, 0.9);
            let filament = t.filament * t.filament;
            let fade = (0.75 - 0.35 * point[0]).max(0.15);
            light.oiii += beyond * fade * sight.wall(0.10) * (0.10 + 1.1 * t.filament);
            light.oiii += beyond * 0.05 * sight.half_chord();
            light.ha += beyond * fade * sight.wall(0.06) * (0.05 + 1.3 * filament * t.patch);
            light.sii += beyond * fade * sight.wall(0.03) * 0.5 * filament * filament;
        }
    }

    /// Halo, broken arcs and the cloud behind.
    fn surroundings(&self, main: &Sight, u: f32, v: f32, light: &mut Emission) {
        let wisp = ridges(self.seed ^ 0xe1, [u * 2.6, v * 2.6, 3.1], 5, 0.6);
        let mist = cloud(self.seed ^ 0xe2, [u * 1.5, v * 1.5, 7.7], 5);
        let halo = libm::expf(-(main.radius - 1.0).max(0.0) / 0.32);
        light.ha += 0.055 * halo * (0.5 + 1.1 * wisp);
        light.oiii += 0.045 * halo * (0.6 + 0.5 * mist);
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
            let present = step(opening, opening + 0.4, along + 0.25 * broken)
                * step(-0.3, 0.35, broken);
            if present <= 0.0 {
                continue;
            }
            let away = main.radius - radius + 0.03 * broken;
            let sharp = bell(away, width) + 0.35 * bell(away + 2.5 * width, 3.0 * width);
            let light_here = strength * present * sharp * (0.3 + 1.4 * wisp);
            light.ha += light_here;
            light.sii += 0.38 * light_here * bell(away + 0.6 * width, width);
            light.oiii += 0.75 * strength * present * bell(away - 1.3 * width, width) * (0.4 + wisp);
        }
        let side = step(-0.5, 1.5, -0.62 * u + 0.78 * v + 0.45 * mist);
        let cloud_light = side * (0.02 + 0.16 * wisp * step(-0.4, 0.6, mist));
        light.ha += 0.8 * cloud_light;
        light.sii += 0.30 * cloud_light * (0.4 + 1.2 * wisp);
    }
}
