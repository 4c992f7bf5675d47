//! Drawing the stars.

use super::optics::Psf;
use super::{Scene, Spec};

/// Stars are drawn out to where they fall below this, camera units.
const FAINT: f32 = 0.04;

/// A star ready to be drawn on a grid.
pub struct Stamp {
    x: f64,
    y: f64,
    light: f32,
    reach: f32,
    psf: Psf,
}

impl Stamp {
    /// All stars whose light falls on the observation's grid.
    pub fn all(scene: &Scene, spec: &Spec) -> Vec<Self> {
        // Vanes are fixed to the mount, so spikes keep their direction on the sky.
        let (x0, y0) = spec.grid.on_grid(0.0, 0.0);
        let (x1, y1) = spec.grid.on_grid(0.92, 0.39);
        let psf = Psf::new(spec.fwhm_px, [x1 - x0, y1 - y0]);
        scene
            .stars
            .iter()
            .filter_map(|star| {
                let light = spec.star_light(star) as f32;
                let (x, y) = spec.grid.on_grid(star.x, star.y);
                let reach = psf.reach_px(light, FAINT);
                let far = f64::from(reach);
                let seen = x > -far
                    && y > -far
                    && x < spec.grid.width as f64 + far
                    && y < spec.grid.height as f64 + far;
                seen.then_some(Self {
                    x,
                    y,
                    light,
                    reach,
                    psf,
                })
            })
            .collect()
    }

    /// Adds the star to the rows of a strip that it reaches.
    pub fn add(&self, width: usize, first: usize, strip: &mut [f32]) {
        let far = f64::from(self.reach);
        let rows = strip.len() / width;
        let low = |at: f64| libm::ceil(at - far).max(0.0) as usize;
        let top = low(self.y).max(first);
        let bottom = (libm::floor(self.y + far) + 1.0).max(0.0) as usize;
        let left = low(self.x);
        let right = ((libm::floor(self.x + far) + 1.0).max(0.0) as usize).min(width);
        let reach2 = self.reach * self.reach;
        let floor = self.psf.round(reach2);
        let spiked = self.light > 40_000.0;
        for y in top..bottom.min(first + rows) {
            let dy = (y as f64 - self.y) as f32;
            let row = &mut strip[(y - first) * width..][..width];
            for (x, out) in row.iter_mut().enumerate().take(right).skip(left) {
                let dx = (x as f64 - self.x) as f32;
                let distance2 = dx * dx + dy * dy;
                if distance2 < reach2 {
                    let mut image = self.psf.round(distance2) - floor;
                    if spiked {
                        image += self.psf.spikes(dx, dy);
                    }
                    *out += self.light * image;
                }
            }
        }
    }
}
