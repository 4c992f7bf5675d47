//! Cold dust in front: the wall with its pillars and the thin dark lanes.

use super::noise::{bell, cloud, ridges, step};

/// Dust and the glowing skin that the star's light makes of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Dust {
    /// E-foldings at 550 nm in front of the gas.
    pub depth: f32,
    /// Skin just outside the dust, where hydrogen glows, 0..1.
    pub skin: f32,
    /// Skin at the dust itself, where sulfur glows, 0..1.
    pub front: f32,
}

/// The direction in which the wall of dust stands from the star.
const TOWARDS: [f32; 2] = [-0.80, 0.60];

/// The dust at an offset from the star, scene units.
pub fn dust(seed: u32, du: f32, dv: f32) -> Dust {
    let wall = pillars(seed, du, dv);
    let lanes = lanes(seed ^ 0x1a, du, dv);
    Dust {
        depth: wall.depth + lanes,
        ..wall
    }
}

/// A wall whose edge is drawn out into fingers that point at the star.
fn pillars(seed: u32, du: f32, dv: f32) -> Dust {
    let distance = libm::sqrtf(du * du + dv * dv).max(1e-3);
    let (x, y) = (du / distance, dv / distance);
    let facing = x * TOWARDS[0] + y * TOWARDS[1];
    if facing < 0.25 || distance < 0.2 {
        return Dust::default();
    }
    const STEP: f32 = 0.004;
    let here = beyond_edge(seed, du, dv);
    let slope = [
        (beyond_edge(seed, du + STEP, dv) - here) / STEP,
        (beyond_edge(seed, du, dv + STEP) - here) / STEP,
    ];
    let steep = libm::sqrtf(slope[0] * slope[0] + slope[1] * slope[1]).max(0.6);
    // Distance from the edge, and how squarely the star shines on it.
    let depth = here / steep;
    let lit = ((slope[0] * x + slope[1] * y) / steep).max(0.0);
    let thick = 0.62 + 0.38 * cloud(seed ^ 0xd, [du * 6.0, dv * 6.0, 2.9], 4);
    let flux = (0.42 / distance) * (0.42 / distance);
    let light = flux.min(1.6) * (0.12 + 0.88 * lit * lit) * step(0.25, 0.65, facing);
    let streaks = 0.6 + 0.6 * cloud(seed ^ 0x13, [x * 40.0, y * 40.0, distance * 3.0], 2);
    let outside = -depth;
    Dust {
        depth: 2.6 * step(-0.006, 0.05, depth) * thick.max(0.1) * step(0.25, 0.7, facing),
        skin: light
            * (bell(depth, 0.006)
                + 0.35
                    * step(0.0, 0.012, outside)
                    * libm::expf(-outside.max(0.0) / 0.045)
                    * streaks),
        front: light * bell(depth - 0.006, 0.007),
    }
}

/// How far beyond the wall's edge a place is, counted away from the star.
fn beyond_edge(seed: u32, du: f32, dv: f32) -> f32 {
    let bend = [
        0.070 * cloud(seed ^ 0x3, [du * 2.3, dv * 2.3, 0.7], 3),
        0.070 * cloud(seed ^ 0x4, [du * 2.3, dv * 2.3, 5.7], 3),
    ];
    let (du, dv) = (du + bend[0], dv + bend[1]);
    let distance = libm::sqrtf(du * du + dv * dv).max(1e-3);
    let (x, y) = (du / distance, dv / distance);
    let facing = x * TOWARDS[0] + y * TOWARDS[1];
    // Noise that varies quickly around the star and slowly away from it.
    let finger = cloud(seed ^ 0x5, [x * 5.3, y * 5.3, distance * 0.8], 2);
    let sharp = step(0.0, 0.62, finger);
    let rough = cloud(seed ^ 0x9, [du * 8.0, dv * 8.0, 1.3], 5);
    distance - 0.86 + 0.46 * sharp + 0.045 * rough - 0.5 * step(0.80, 0.30, facing)
}

/// Thin lanes across the bright gas.
fn lanes(seed: u32, du: f32, dv: f32) -> f32 {
    let bend = cloud(seed ^ 0x21, [du * 1.8, dv * 1.8, 4.0], 3);
    let turn = cloud(seed ^ 0x22, [du * 1.8, dv * 1.8, 9.0], 3);
    let (x, y) = (du + 0.25 * bend, dv + 0.25 * turn);
    let thread = ridges(seed ^ 0x23, [x * 1.5, y * 1.5, 0.4], 5, 0.6);
    let where_to = step(
        0.0,
        0.6,
        cloud(seed ^ 0x24, [du * 1.4, dv * 1.4, 2.2], 2) + 0.1,
    );
    1.5 * step(0.42, 0.85, thread) * where_to
}
