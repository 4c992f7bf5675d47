//! Cold dust in front: the wall with its pillars and the thin dark lanes.

use super::noise::{bell, cloud, ridges, step};

/// Dust and the glowing skin that the star's light makes of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Dust {
    /// E-foldings at 550 nm in front of the gas.
    pub depth: f32,
    /// Skin just outside the dust, where hydrogen glows, 0..1.
    pub skin: f32,
    /// Skin at the dust itself, where sulphur glows, 0..1.
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
    if facing < 0.2 || distance < 0.2 {
        return Dust::default();
    }
    // Noise that varies quickly around the star and slowly away from it.
    let bend = 0.05 * cloud(seed ^ 0x3, [du * 3.0, dv * 3.0, 0.7], 2);
    let (bx, by) = (x + bend, y - bend);
    let finger = cloud(seed ^ 0x5, [bx * 5.6, by * 5.6, distance * 0.9], 2);
    let sharp = step(-0.05, 0.75, finger);
    let rough = cloud(seed ^ 0x9, [du * 9.0, dv * 9.0, 1.3], 4);
    let open = step(0.95, 0.35, facing);
    let edge = 0.80 - 0.47 * sharp + 0.035 * rough + 0.9 * open;
    let inside = distance - edge;
    let thick = 0.65 + 0.35 * cloud(seed ^ 0xd, [du * 5.0, dv * 5.0, 2.9], 4);
    let flux = (0.34 / distance) * (0.34 / distance) * 1.6;
    Dust {
        depth: 3.0 * step(-0.004, 0.06, inside) * thick.max(0.1),
        skin: bell(inside + 0.012, 0.012) * flux,
        front: bell(inside - 0.002, 0.008) * flux,
    }
}

/// Thin lanes across the bright gas.
fn lanes(seed: u32, du: f32, dv: f32) -> f32 {
    let bend = cloud(seed ^ 0x21, [du * 1.8, dv * 1.8, 4.0], 3);
    let turn = cloud(seed ^ 0x22, [du * 1.8, dv * 1.8, 9.0], 3);
    let (x, y) = (du + 0.25 * bend, dv + 0.25 * turn);
    let thread = ridges(seed ^ 0x23, [x * 1.5, y * 1.5, 0.4], 5, 0.6);
    let where_to = step(0.0, 0.6, cloud(seed ^ 0x24, [du * 1.4, dv * 1.4, 2.2], 2) + 0.1);
    1.5 * step(0.42, 0.85, thread) * where_to
}
