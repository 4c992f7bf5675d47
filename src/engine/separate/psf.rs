//! What the telescope and the air make of a point: a round profile that falls
//! outwards without end, and a table of what the true image has beside it.

use super::image::cubic;

/// Widths out to which the table reaches.
pub(super) const TABLE_WIDTHS: f64 = 4.0;

/// The outer part of it over which it fades out.
pub(super) const TABLE_FADE: f64 = 0.8;

/// Arms begin so far out, in widths, and are full from there on.
const ARMS_WIDTHS: (f32, f32) = (1.5, 2.5);

/// Nothing is followed farther out, px.
pub(super) const FARTHEST_PX: f32 = 400.0;

/// The image of a star of height 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Psf {
    /// Full width at half maximum, px.
    pub fwhm_px: f64,
    /// Distance between two samples of the profile, px.
    step: f32,
    /// The profile at 0, `step`, 2 `step`, ...; falls or stays.
    radial: Vec<f32>,
    /// Beyond its end the profile falls as the distance to this power.
    fall: f32,
    /// Distance between two nodes of the table, px.
    spacing: f32,
    /// Nodes on either side of the middle one.
    half: usize,
    /// Row by row; what the image has beside the profile.
    table: Vec<f32>,
    /// Width and steepness of the Moffat profile it began with.
    pub(super) core: (f64, f64),
    /// Arms of bright stars, beyond the table.
    pub(super) arms: Vec<super::arms::Arm>,
}

impl Psf {
    /// A Moffat profile (Moffat 1969, A&A 3, 455): `(1 + (r / alpha)^2)^-beta`.
    pub fn moffat(fwhm_px: f64, beta: f64) -> Self {
        let alpha = fwhm_px / (2.0 * (libm::pow(2.0, 1.0 / beta) - 1.0).sqrt());
        let step = fwhm_px / 16.0;
        let count = (libm::ceil(12.0 * fwhm_px / step)) as usize + 1;
        let radial = (0..count)
            .map(|index| {
                let t = index as f64 * step / alpha;
                libm::pow(1.0 + t * t, -beta) as f32
            })
            .collect();
        let spacing = (fwhm_px / 5.0) as f32;
        let half = libm::ceil(TABLE_WIDTHS * fwhm_px / f64::from(spacing)) as usize + 1;
        Self {
            fwhm_px,
            step: step as f32,
            radial,
            fall: (2.0 * beta) as f32,
            spacing,
            half,
            table: vec![0.0; (2 * half + 1) * (2 * half + 1)],
            arms: Vec::new(),
            core: (alpha, beta),
        }
    }

    /// Nothing beside the profile.
    pub(super) fn clear_table(&mut self) {
        self.table.fill(0.0);
    }

    /// Nodes along the table's side.
    pub(super) fn side(&self) -> usize {
        2 * self.half + 1
    }

    /// Distance between two nodes, px.
    pub(super) fn spacing_px(&self) -> f64 {
        f64::from(self.spacing)
    }

    /// The profile at a distance, px.
    pub(super) fn round(&self, distance: f32) -> f32 {
        let place = distance / self.step;
        let index = place as usize;
        if index + 2 < self.radial.len() {
            // The same on the other side of the star.
            let before = self.radial[if index == 0 { 1 } else { index - 1 }];
            let [a, b, c, d] = cubic(place - index as f32);
            let middle = b * self.radial[index] + c * self.radial[index + 1];
            return a * before + middle + d * self.radial[index + 2];
        }
        if index + 1 < self.radial.len() {
            let (a, b) = (self.radial[index], self.radial[index + 1]);
            return a + (b - a) * (place - index as f32);
        }
        let end = (self.radial.len() - 1) as f32;
        let last = self.radial[self.radial.len() - 1];
        let ratio = (end / place).min(1.0);
        last * crate::engine::num::pow(ratio, self.fall)
    }

    /// The image at an offset from the star, px; without arms.
    pub fn at(&self, dx: f32, dy: f32) -> f32 {
        let square = dx * dx + dy * dy;
        self.round(square.sqrt()) + self.beside(dx, dy)
    }

    /// The arms at an offset from the star: what the table does not hold.
    pub(super) fn arms_at(&self, dx: f32, dy: f32) -> f32 {
        let distance = (dx * dx + dy * dy).sqrt() / self.fwhm_px as f32;
        let grown = ((distance - ARMS_WIDTHS.0) / (ARMS_WIDTHS.1 - ARMS_WIDTHS.0)).clamp(0.0, 1.0);
        if grown <= 0.0 {
            return 0.0;
        }
        let grown = grown * grown * (3.0 - 2.0 * grown);
        let light: f32 = self.arms.iter().map(|arm| arm.at(dx, dy)).sum();
        grown * light
    }

    /// How far from a star of this height an arm stays above `floor`, px.
    pub(super) fn arms_reach_px(&self, height: f32, floor: f32) -> f32 {
        let reach = self.arms.iter().map(|arm| arm.reach_px(height, floor));
        let far = reach.fold(0.0, f32::max).min(FARTHEST_PX);
        if f64::from(far) > f64::from(ARMS_WIDTHS.1) * self.fwhm_px {
            far
        } else {
            0.0
        }
    }

    /// The table: cubic between the nodes (Catmull & Rom 1974), 0 outside.
    fn beside(&self, dx: f32, dy: f32) -> f32 {
        let middle = self.half as f32;
        let (u, v) = (dx / self.spacing + middle, dy / self.spacing + middle);
        let last = (2 * self.half) as f32;
        if !(u >= 1.0 && v >= 1.0 && u < last - 1.0 && v < last - 1.0) {
            return 0.0;
        }
        let (i, j) = (u as usize, v as usize);
        let (across, down) = (cubic(u - i as f32), cubic(v - j as f32));
        let mut sum = 0.0;
        for (row, weight) in down.iter().enumerate() {
            let start = (j + row - 1) * self.side() + i - 1;
            let nodes = &self.table[start..start + 4];
            let line = nodes[0] * across[0]
                + nodes[1] * across[1]
                + nodes[2] * across[2]
                + nodes[3] * across[3];
            sum += weight * line;
        }
        sum
    }

    /// How far from a star of this height the profile stays above `floor`, px.
    pub(super) fn reach_px(&self, height: f32, floor: f32) -> f32 {
        if !(height > floor) {
            return 0.0;
        }
        let (mut near, mut far) = (0.0_f32, FARTHEST_PX);
        if height * self.round(far) >= floor {
            return far;
        }
        for _ in 0..24 {
            let middle = 0.5 * (near + far);
            if height * self.round(middle) >= floor {
                near = middle;
            } else {
                far = middle;
            }
        }
        far
    }

    /// Gives the profile out to where nothing is followed any more. Keeps it from
    /// rising.
    pub(super) fn set_profile(&mut self, profile: impl Fn(f64) -> f64) {
        let count = libm::ceilf(FARTHEST_PX / self.step) as usize + 1;
        let mut least = f64::INFINITY;
        self.radial = (0..count)
            .map(|index| {
                let value = profile(f64::from(index as f32 * self.step));
                // No light is negative; a thousandth of a millionth stands for none.
                least = least.min(value.max(1e-9));
                least as f32
            })
            .collect();
        self.fall = 3.0;
    }

    /// Moves what the table holds all around the star, from some radius on, into
    /// the profile: the image stays, and the profile alone says how it falls.
    pub(super) fn round_out(&mut self, from_px: f64) {
        const ANGLES: u32 = 48;
        let old = self.clone();
        let around = |radius: f64| {
            let grown = ((radius - from_px) / (0.5 * from_px)).clamp(0.0, 1.0);
            let grown = grown * grown * (3.0 - 2.0 * grown);
            if grown <= 0.0 || radius > TABLE_WIDTHS * old.fwhm_px {
                return 0.0;
            }
            let sum: f64 = (0..ANGLES)
                .map(|part| std::f64::consts::TAU * f64::from(part) / f64::from(ANGLES))
                .map(|angle| [libm::cos(angle), libm::sin(angle)].map(|part| radius * part))
                .map(|[dx, dy]| f64::from(old.beside(dx as f32, dy as f32)))
                .sum();
            grown * sum / f64::from(ANGLES)
        };
        self.set_profile(|radius| f64::from(old.round(radius as f32)) + around(radius));
        let (side, half) = (self.side(), self.half as f64);
        let spacing = self.spacing_px();
        for (node, value) in self.table.iter_mut().enumerate() {
            let (u, v) = ((node % side) as f64 - half, (node / side) as f64 - half);
            *value -= around(spacing * (u * u + v * v).sqrt()) as f32;
        }
    }

    /// Adds to the table, node by node.
    pub(super) fn change_table(&mut self, change: &[f64]) {
        for (node, change) in self.table.iter_mut().zip(change) {
            *node = (f64::from(*node) + change) as f32;
        }
    }

    /// Makes the height 1 again, and tells what it was.
    pub(super) fn normalize(&mut self) -> f64 {
        let top = self.at(0.0, 0.0);
        if !(top > 0.05) {
            return 1.0;
        }
        let arms = self.arms.iter_mut().map(|arm| &mut arm.height);
        for value in self.radial.iter_mut().chain(&mut self.table).chain(arms) {
            *value /= top;
        }
        f64::from(top)
    }

    /// What its square adds up to over the pixels, px^2.
    pub(super) fn energy(&self) -> f64 {
        let reach = libm::ceil(3.0 * self.fwhm_px) as i32;
        let mut sum = 0.0;
        for y in -reach..=reach {
            for x in -reach..=reach {
                let value = f64::from(self.at(x as f32, y as f32));
                sum += value * value;
            }
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moffat_profile_has_its_width_and_reach() {
        let psf = Psf::moffat(3.0, 3.0);
        assert!((psf.round(1.5) - 0.5).abs() < 2e-3);
        // (1 + x^2)^-3 = 1e-3 at x = 3; alpha = 1.5 / sqrt(2^(1/3) - 1) = 2.9421.
        assert!((psf.reach_px(1.0, 1e-3) - 8.826).abs() < 0.02);
        assert_eq!(psf.reach_px(1.0, 2.0), 0.0);
        // Far out it falls as the sixth power.
        let ratio = psf.round(60.0) / psf.round(120.0);
        assert!((ratio - 64.0).abs() < 0.1, "{ratio}");
    }

    #[test]
    fn what_the_table_holds_all_around_goes_into_the_profile() {
        let mut psf = Psf::moffat(4.0, 3.0);
        let side = psf.side();
        let middle = (side / 2) as f64;
        // A round hollow and something that is not round.
        let change: Vec<f64> = (0..side * side)
            .map(|node| {
                let (u, v) = ((node % side) as f64 - middle, (node / side) as f64 - middle);
                let r = psf.spacing_px() * (u * u + v * v).sqrt();
                let hollow = libm::exp(-(r - 9.0) * (r - 9.0) / 8.0);
                0.001 * hollow * (-1.0 + (u * u - v * v) / (u * u + v * v).max(1.0))
            })
            .collect();
        psf.change_table(&change);
        let before = psf.clone();
        psf.round_out(4.0);
        for (dx, dy) in [(9.0, 0.0), (0.0, 9.5), (6.3, 6.3), (-8.0, 4.0), (2.0, 1.0)] {
            let (old, new) = (before.at(dx, dy), psf.at(dx, dy));
            assert!((old - new).abs() < 3e-5, "{dx} {dy}: {old} {new}");
        }
        let fall = before.round(9.0) - psf.round(9.0);
        assert!((fall - 0.001).abs() < 3e-5, "{fall}");
        assert!((psf.beside(9.0, 0.0) - 0.001).abs() < 3e-5);
    }

    #[test]
    fn a_table_is_met_at_its_nodes_and_the_height_stays_one() {
        let mut psf = Psf::moffat(4.0, 3.0);
        let side = psf.side();
        let mut change = vec![0.0; side * side];
        change[side / 2 * side + side / 2 + 2] = 0.25;
        psf.change_table(&change);
        let dx = 2.0 * psf.spacing_px() as f32;
        assert!((psf.at(dx, 0.0) - psf.round(dx) - 0.25).abs() < 1e-6);
        assert_eq!(psf.at(0.0, 0.0), 1.0);
        let round = psf.clone();
        psf.set_profile(|r| f64::from(round.round(r as f32)) + if r < 1.0 { 1.0 } else { 0.0 });
        assert!((psf.normalize() - 2.0).abs() < 1e-6);
        assert!((psf.at(0.0, 0.0) - 1.0).abs() < 1e-6);
    }
}
