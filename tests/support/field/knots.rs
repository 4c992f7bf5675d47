//! Small dense knots in the bubble: a bright cusp towards the star, a dark
//! head, a tail away from it.

use super::noise::bell;
use super::random::Stream;

/// One knot; places are offsets from the star, scene units.
#[derive(Clone, Copy, Debug)]
pub struct Knot {
    at: [f32; 2],
    /// Unit vector away from the star.
    away: [f32; 2],
    size: f32,
    strength: f32,
}

/// What a place gets from the knots.
#[derive(Clone, Copy, Debug, Default)]
pub struct KnotLight {
    /// Warm skin of the heads, 0..1.
    pub cusp: f32,
    /// Light of the tails, 0..1.
    pub tail: f32,
    /// Dust of the heads, e-foldings at 550 nm.
    pub dust: f32,
}

/// How many there are.
const COUNT: u64 = 170;

/// The knots of a scene.
pub fn scatter(seed: u64) -> Vec<Knot> {
    let draw = Stream::new(seed, 0x6b07);
    (0..COUNT)
        .map(|index| {
            let at = |slot: u64| draw.uniform(index * 8 + slot) as f32;
            // Three crowded sectors and a thin ring of others.
            let sector = [0.55, 2.35, 4.05, 5.2][(index % 4) as usize];
            let spread = 0.28 + 0.25 * (index % 3) as f32;
            let angle = sector + spread * (at(0) + at(1) + at(2) - 1.5) * 1.6;
            let distance = 0.27 + 0.20 * libm::sqrtf(at(3)) + 0.05 * at(4);
            let away = [libm::cosf(angle), libm::sinf(angle)];
            Knot {
                at: [away[0] * distance * 1.12, away[1] * distance * 0.94],
                away,
                size: 0.0026 + 0.0042 * at(5) * at(5) * at(5),
                strength: 0.35 + 0.65 * at(6),
            }
        })
        .collect()
}

/// The knots' light at an offset from the star.
pub fn light(knots: &[Knot], du: f32, dv: f32) -> KnotLight {
    let mut sum = KnotLight::default();
    for knot in knots {
        let (x, y) = (du - knot.at[0], dv - knot.at[1]);
        let reach = 22.0 * knot.size;
        if x.abs() > reach || y.abs() > reach {
            continue;
        }
        // In units of the head: along the tail and across it.
        let along = (x * knot.away[0] + y * knot.away[1]) / knot.size;
        let across = (y * knot.away[0] - x * knot.away[1]) / knot.size;
        let distance = libm::sqrtf(along * along + across * across);
        let front = (0.5 - 0.5 * along / distance.max(0.2)).clamp(0.0, 1.0);
        sum.cusp += knot.strength * front * front * bell(distance - 1.0, 0.42);
        sum.dust += 0.6 * knot.strength * bell(distance, 0.7);
        if along > 0.0 {
            let fade = libm::expf(-along / 6.0) - libm::expf(-22.0 / 6.0);
            let side = bell(across.abs() - 0.8 - 0.03 * along, 0.45) + 0.3 * bell(across, 0.8);
            sum.tail += knot.strength * fade.max(0.0) * side * (along / (1.0 + along));
        }
    }
    sum
}
