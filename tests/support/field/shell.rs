//! Hollow ellipsoids of gas, seen from outside.
//!
//! A line of sight meets a shell twice. The light is its way through the wall
//! (long at the limb, short in the middle) times a texture that lies on the
//! wall itself, so filaments crowd towards the limb as they do on a real bubble.

use super::noise::{Point, cloud, displacement, ridges, step};

/// A hollow ellipsoid; the axis along the line of sight counts as 1.
#[derive(Clone, Copy, Debug)]
pub struct Shell {
    /// Its middle, scene units.
    pub center: [f32; 2],
    /// Half axes across the sky, scene units.
    pub half_axes: [f32; 2],
    /// Cosine and sine of the first axis' angle.
    pub turn: [f32; 2],
}

/// Where a line of sight meets a shell, in units of the shell's radius.
#[derive(Clone, Copy, Debug)]
pub struct Sight {
    pub x: f32,
    pub y: f32,
    /// Distance from the middle, 1 at the limb.
    pub radius: f32,
}

impl Shell {
    /// The line of sight through a place of the scene.
    pub fn sight(&self, u: f32, v: f32) -> Sight {
        let (du, dv) = (u - self.center[0], v - self.center[1]);
        let x = (du * self.turn[0] + dv * self.turn[1]) / self.half_axes[0];
        let y = (dv * self.turn[0] - du * self.turn[1]) / self.half_axes[1];
        Sight {
            x,
            y,
            radius: libm::sqrtf(x * x + y * y),
        }
    }
}

impl Sight {
    /// The same line of sight through a shell `size` times as large.
    pub fn of_size(&self, size: f32) -> Self {
        Self {
            x: self.x / size,
            y: self.y / size,
            radius: self.radius / size,
        }
    }

    /// Half the way through a ball of radius 1.
    pub fn half_chord(&self) -> f32 {
        libm::sqrtf((1.0 - self.radius * self.radius).max(0.0))
    }

    /// The way through one wall whose density falls inwards from radius 1 to
    /// `1 - thickness` (three nested walls of equal density make the slope).
    pub fn wall(&self, thickness: f32) -> f32 {
        let outer = self.half_chord();
        let inner = |depth: f32| {
            let edge = 1.0 - depth;
            libm::sqrtf((edge * edge - self.radius * self.radius).max(0.0))
        };
        outer - (inner(thickness * 0.35) + inner(thickness * 0.7) + inner(thickness)) * (1.0 / 3.0)
    }

    /// The points where it meets the near and the far wall.
    pub fn walls(&self) -> [Point; 2] {
        let depth = self.half_chord();
        [[self.x, self.y, depth], [self.x, self.y, -depth]]
    }
}

/// The wall's texture at a point of it.
#[derive(Clone, Copy, Debug)]
pub struct Texture {
    /// Filaments: near 0 between them, about 1 in bright ones.
    pub filament: f32,
    /// Large patches, 0..1.
    pub patch: f32,
}

/// Folds and filaments of a shell's wall.
pub fn texture(seed: u32, at: Point, scale: f32) -> Texture {
    let broad = displacement(seed ^ 0x51, scaled(at, 1.5 * scale), 2);
    let folded = [
        at[0] + 0.28 * broad[0] / scale,
        at[1] + 0.28 * broad[1] / scale,
        at[2] + 0.28 * broad[2] / scale,
    ];
    let fine = displacement(seed ^ 0x77, scaled(folded, 6.0 * scale), 2);
    let torn = [
        folded[0] + 0.055 * fine[0] / scale,
        folded[1] + 0.055 * fine[1] / scale,
        folded[2] + 0.055 * fine[2] / scale,
    ];
    let ridge = (ridges(seed ^ 0x99, scaled(torn, 2.3 * scale), 6, 0.70) - 0.13).max(0.0);
    Texture {
        filament: 4.2 * ridge * ridge,
        patch: step(
            -0.45,
            0.55,
            cloud(seed ^ 0xb1, scaled(folded, 1.3 * scale), 3),
        ),
    }
}

/// A point times a number.
pub fn scaled(p: Point, by: f32) -> Point {
    [p[0] * by, p[1] * by, p[2] * by]
}
