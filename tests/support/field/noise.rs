//! Smooth noise in three dimensions and what is woven from it.
//!
//! Gradient noise after Perlin ("Improving noise", SIGGRAPH 2002: twelve edge
//! directions, quintic fade), with hashed instead of tabled corners. Octaves are
//! turned against each other so that no lattice shows. Ridges after Musgrave
//! (Ebert et al., "Texturing and Modeling", chapter 16).

/// A point or a direction in the scene.
pub type Point = [f32; 3];

/// A hash of a lattice corner (multiply and xor-shift).
fn corner(seed: u32, x: i32, y: i32, z: i32) -> u32 {
    let mut h = seed
        ^ (x as u32).wrapping_mul(0x8da6_b343)
        ^ (y as u32).wrapping_mul(0xd816_3841)
        ^ (z as u32).wrapping_mul(0xcb1a_b31f);
    h ^= h >> 15;
    h = h.wrapping_mul(0x2c1b_3c6d);
    h ^= h >> 12;
    h = h.wrapping_mul(0x297a_2d39);
    h ^ (h >> 15)
}

/// The dot product of a corner's direction with the way from that corner.
fn slope(hash: u32, x: f32, y: f32, z: f32) -> f32 {
    let h = hash >> 28;
    let a = if h < 8 { x } else { y };
    let b = if h < 4 {
        y
    } else if h == 12 || h == 14 {
        x
    } else {
        z
    };
    let a = if h & 1 == 0 { a } else { -a };
    let b = if h & 2 == 0 { b } else { -b };
    a + b
}

/// Six t^5 - 15 t^4 + 10 t^3: flat to the second derivative at both ends.
fn fade(t: f32) -> f32 {
    t * t * t * (t * (t * 6.0 - 15.0) + 10.0)
}

/// The whole number below; scene coordinates are far inside the range of i32.
fn floor(value: f32) -> i32 {
    let whole = value as i32;
    if whole as f32 > value {
        whole - 1
    } else {
        whole
    }
}

fn between(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}

/// Gradient noise: smooth, mean 0, mostly within -0.7..0.7, never beyond -1..1.
pub fn gradient(seed: u32, p: Point) -> f32 {
    let (i, j, k) = (floor(p[0]), floor(p[1]), floor(p[2]));
    let (x, y, z) = (p[0] - i as f32, p[1] - j as f32, p[2] - k as f32);
    let (u, v, w) = (fade(x), fade(y), fade(z));
    let at = |di: i32, dj: i32, dk: i32| {
        slope(
            corner(seed, i + di, j + dj, k + dk),
            x - di as f32,
            y - dj as f32,
            z - dk as f32,
        )
    };
    let near = between(
        between(at(0, 0, 0), at(1, 0, 0), u),
        between(at(0, 1, 0), at(1, 1, 0), u),
        v,
    );
    let far = between(
        between(at(0, 0, 1), at(1, 0, 1), u),
        between(at(0, 1, 1), at(1, 1, 1), u),
        v,
    );
    between(near, far, w)
}

/// Turns a point (a rotation with rational entries: 2/3, 1/3, 2/3) and scales it.
fn next_octave(p: Point, lacunarity: f32) -> Point {
    const THIRD: f32 = 1.0 / 3.0;
    [
        (2.0 * p[0] - p[1] + 2.0 * p[2]) * THIRD * lacunarity + 17.3,
        (2.0 * p[0] + 2.0 * p[1] - p[2]) * THIRD * lacunarity - 5.9,
        (-p[0] + 2.0 * p[1] + 2.0 * p[2]) * THIRD * lacunarity + 11.1,
    ]
}

/// Octaves of noise added up; about -1..1.
pub fn cloud(seed: u32, p: Point, octaves: u32) -> f32 {
    let (mut at, mut sum, mut weight) = (p, 0.0, 1.0);
    for octave in 0..octaves {
        sum += weight * gradient(seed.wrapping_add(octave), at);
        weight *= 0.5;
        at = next_octave(at, 2.03);
    }
    sum
}

/// Three independent clouds: a displacement.
pub fn displacement(seed: u32, p: Point, octaves: u32) -> Point {
    [
        cloud(seed ^ 0x11, p, octaves),
        cloud(
            seed ^ 0x2222,
            [p[0] + 31.7, p[1] - 12.1, p[2] + 5.3],
            octaves,
        ),
        cloud(
            seed ^ 0x33_3333,
            [p[0] - 7.7, p[1] + 45.1, p[2] - 21.9],
            octaves,
        ),
    ]
}

/// Ridged octaves: bright lines where the noise passes zero, each octave
/// strongest where the one before it was bright. 0..1.
pub fn ridges(seed: u32, p: Point, octaves: u32, gain: f32) -> f32 {
    let (mut at, mut sum, mut weight, mut total, mut carry) = (p, 0.0, 1.0, 0.0, 1.0);
    for octave in 0..octaves {
        let noise = gradient(seed.wrapping_add(octave.wrapping_mul(101)), at);
        let ridge = 1.0 - libm::sqrtf(noise * noise + 0.0004) * 1.45;
        let ridge = if ridge > 0.0 { ridge * ridge } else { 0.0 };
        sum += ridge * weight * carry;
        total += weight;
        carry = (ridge * 1.6).min(1.0);
        weight *= gain;
        at = next_octave(at, 2.07);
    }
    sum / total
}

/// 0 below `low`, 1 above `high`, smooth between (cubic).
pub fn step(low: f32, high: f32, value: f32) -> f32 {
    let t = ((value - low) / (high - low)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A bell of height 1 and width `sigma` around zero.
pub fn bell(distance: f32, sigma: f32) -> f32 {
    let t = distance / sigma;
    libm::expf(-0.5 * t * t)
}
