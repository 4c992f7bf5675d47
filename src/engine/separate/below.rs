//! What lies below a star, as its fit takes it: a plane far around, or a curved
//! surface near by.
//!
//! Where the nebula is as finely structured as a star is wide, a plane through
//! everything around mistakes structure for height; a curved surface, with
//! pixels that count the less the farther they are, does so many times less, at
//! the price of more noise. Which way errs least is measured on the picture
//! itself, place by place: the heights that each way finds where no star is.

use rayon::prelude::*;

use super::fit::solve;
use super::noise::{CELL, Noise, middle};
use super::pixels::Pixels;
use super::psf::Psf;

/// Sigma of the bell with which pixels count less outwards, in widths.
const TAPERS: [f64; 3] = [0.8, 0.55, 0.4];

/// The least sigma of such a bell, px: a curved surface needs its pixels.
const LEAST_PX: f64 = 0.85;

/// A fit looks out to so many sigma of its bell.
pub(super) const FAR: f64 = 3.2;

/// The part of a star's height by which a way is wrong where the image of a
/// point is: the plane's, then as many as [`TAPERS`].
const WRONG: [f64; 4] = [0.003, 0.006, 0.012, 0.02];

/// A plane looks so far, in widths.
const PLANE_WIDTHS: f64 = 2.2;

/// Where a plane errs by less than so many times what noise alone makes, it is
/// the best way.
const FLAT: f32 = 1.3;

/// A part of the picture's typical noise that no data fall below.
const QUIET: f32 = 0.2;

/// Pixels from one sample of a cell to the next.
const STRIDE: usize = 4;

/// How a star's ground is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Way {
    /// Sigma of the bell with which pixels count less outwards, px; none for a
    /// plane through all.
    pub taper_px: Option<f64>,
    /// What structure and noise add to a height, file units.
    pub error: f64,
}

/// One way of taking the ground, and how it errs on a mesh of cells.
#[derive(Debug, Clone)]
struct Mesh {
    kernel: Kernel,
    taper_px: Option<f64>,
    wrong: f64,
    error: Vec<f32>,
}

/// See the module's words.
#[derive(Debug, Clone)]
pub(super) struct Below {
    columns: usize,
    cells: usize,
    meshes: Vec<Mesh>,
}

impl Below {
    /// Measures the ways on what is left of a picture below `light`: curved
    /// surfaces where a plane errs by more than the noise.
    pub fn new(pixels: &Pixels<'_>, light: &[f32], noise: &Noise, psf: &Psf) -> Self {
        let columns = pixels.width.div_ceil(CELL);
        let cells = columns * pixels.height.div_ceil(CELL);
        let bell = |widths: &f64| Some((widths * psf.fwhm_px).max(LEAST_PX));
        let ways = std::iter::once(None).chain(TAPERS.iter().map(bell));
        let mut meshes: Vec<Mesh> = Vec::new();
        for (taper_px, wrong) in ways.zip(WRONG) {
            let Some(kernel) = Kernel::new(psf, taper_px) else {
                continue;
            };
            let of = |cell: usize| {
                let (column, row) = (cell % columns, cell / columns);
                let flat = meshes.first().is_some_and(|plane| {
                    let middle = [column, row].map(|at| (at * CELL + CELL / 2) as f32);
                    let sigma = noise.at(middle[0], middle[1]);
                    plane.error[cell] < FLAT * plane.kernel.of_noise * sigma
                });
                if flat {
                    f32::INFINITY
                } else {
                    kernel.error(pixels, light, column, row)
                }
            };
            let error = (0..cells).into_par_iter().map(of).collect();
            meshes.push(Mesh {
                kernel,
                taper_px,
                wrong,
                error,
            });
        }
        Self {
            columns,
            cells,
            meshes,
        }
    }

    /// How high a star would be at a pixel, and the error of that; none where
    /// there is no data, or less noise than data have beside the picture's
    /// `typical` one.
    pub fn height_at(
        &self,
        pixels: &Pixels<'_>,
        light: &[f32],
        (x, y): (usize, usize),
        typical: f32,
    ) -> Option<[f32; 2]> {
        let cell = y / CELL * self.columns + x / CELL;
        let mesh = self
            .meshes
            .iter()
            .min_by(|a, b| a.error[cell].total_cmp(&b.error[cell]))?;
        let height = mesh.kernel.height(pixels, light, x, y);
        let error = mesh.error[cell];
        let data = height.is_finite() && height != 0.0 && error.is_finite();
        (data && error > QUIET * mesh.kernel.of_noise * typical).then_some([height, error])
    }

    /// How heights above a plane err, cell by cell, in sigma of the white noise
    /// that would do that.
    pub fn roughness(&self) -> impl Iterator<Item = f32> {
        let plane = self.meshes.iter().take(1);
        plane.flat_map(|plane| {
            plane
                .error
                .iter()
                .map(|error| error / plane.kernel.of_noise)
        })
    }

    /// How heights above a plane err, in what noise of `sigma` alone would do.
    pub fn unrest(&self, place: [f64; 2], sigma: f64) -> f64 {
        let cell = self.cell(place);
        let plane = self.meshes.first();
        plane.map_or(1.0, |plane| {
            f64::from(plane.error[cell] / plane.kernel.of_noise) / sigma
        })
    }

    fn cell(&self, [x, y]: [f64; 2]) -> usize {
        let [x, y] = [x, y].map(|at| at.max(0.0) as usize / CELL);
        (y * self.columns + x.min(self.columns - 1)).min(self.cells - 1)
    }

    /// Where a star near a pixel would be highest, if it stands out so many times
    /// its error there.
    pub fn stands_out(
        &self,
        pixels: &Pixels<'_>,
        light: &[f32],
        (x, y): (usize, usize),
        times: f64,
    ) -> Option<(usize, usize)> {
        let cell = y / CELL * self.columns + x / CELL;
        let mesh = self
            .meshes
            .iter()
            .min_by(|a, b| a.error[cell].total_cmp(&b.error[cell]))?;
        let mut best = (f32::NEG_INFINITY, (x, y));
        for y in y.saturating_sub(1)..(y + 2).min(pixels.height) {
            for x in x.saturating_sub(1)..(x + 2).min(pixels.width) {
                let height = mesh.kernel.height(pixels, light, x, y);
                if height > best.0 {
                    best = (height, (x, y));
                }
            }
        }
        (f64::from(best.0) > times * f64::from(mesh.error[cell])).then_some(best.1)
    }

    /// The way that errs least for a star of this height.
    pub fn best(&self, place: [f64; 2], height: f64) -> Option<Way> {
        let cell = self.cell(place);
        let error = |mesh: &Mesh| {
            let image = mesh.wrong * height;
            let there = f64::from(mesh.error[cell]);
            (there * there + image * image).sqrt()
        };
        self.meshes
            .iter()
            .map(|mesh| Way {
                taper_px: mesh.taper_px,
                error: error(mesh),
            })
            .min_by(|a, b| a.error.total_cmp(&b.error))
    }
}

/// What gives a star's height, from the pixels around it.
#[derive(Debug, Clone)]
struct Kernel {
    reach: usize,
    /// Weights of a row, zeros at its end: a whole number of [`LANES`].
    lanes: usize,
    weights: Vec<f32>,
    /// Sigma of what it makes of noise of sigma 1.
    of_noise: f32,
}

/// Weights that are summed side by side, and so many times that in the longest
/// row.
const LANES: usize = 8;
const MOST_LANES: usize = 16;

/// Height; level and slopes; curvatures.
const TERMS: usize = 7;

impl Kernel {
    /// None where the pixels do not settle the height.
    fn new(psf: &Psf, taper_px: Option<f64>) -> Option<Self> {
        let radius = taper_px.map_or(PLANE_WIDTHS * psf.fwhm_px, |taper| FAR * taper);
        let reach = (radius as usize).min((LANES * MOST_LANES - 1) / 2);
        let count = if taper_px.is_some() { TERMS } else { 4 };
        let side = 2 * reach + 1;
        let mut lines = Vec::with_capacity(side * side);
        let mut normal = [[0.0; super::fit::MOST]; super::fit::MOST];
        for row in 0..side {
            for column in 0..side {
                let [u, v] = [column, row].map(|at| at as f64 - reach as f64);
                let square = u * u + v * v;
                let weight = if square > radius * radius {
                    0.0
                } else {
                    taper_px.map_or(1.0, |taper| libm::exp(-0.5 * square / (taper * taper)))
                };
                let image = f64::from(psf.at(u as f32, v as f32));
                let parts = [image, 1.0, u, v, u * u, u * v, v * v];
                for i in 0..count {
                    for j in 0..count {
                        normal[i][j] += weight * parts[i] * parts[j];
                    }
                }
                lines.push((parts, weight));
            }
        }
        // The first row of the inverse.
        let mut right = [0.0; super::fit::MOST];
        right[0] = 1.0;
        let first = solve(&mut normal, right, count)?;
        let lanes = side.next_multiple_of(LANES);
        let mut weights = vec![0.0; side * lanes];
        for (index, (parts, weight)) in lines.iter().enumerate() {
            let sum: f64 = parts[..count].iter().zip(&first).map(|(a, b)| a * b).sum();
            weights[index / side * lanes + index % side] = (weight * sum) as f32;
        }
        let square: f32 = weights.iter().map(|weight| weight * weight).sum();
        Some(Self {
            reach,
            lanes,
            weights,
            of_noise: square.sqrt(),
        })
    }

    /// A star's height at a pixel; the outermost pixels go on beyond the border.
    fn height(&self, pixels: &Pixels<'_>, light: &[f32], x: usize, y: usize) -> f32 {
        let (reach, width) = (self.reach, pixels.width);
        let inside = x >= reach && x - reach + self.lanes <= width;
        if inside && y >= reach && y + reach < pixels.height {
            let mut sums = [0.0_f32; LANES * MOST_LANES];
            let sums = &mut sums[..self.lanes];
            for (v, weights) in self.weights.chunks_exact(self.lanes).enumerate() {
                let start = (y + v - reach) * width + x - reach;
                let values = &pixels.values[start..start + self.lanes];
                let light = &light[start..start + self.lanes];
                for (((sum, weight), value), light) in
                    sums.iter_mut().zip(weights).zip(values).zip(light)
                {
                    *sum += weight * (value - light);
                }
            }
            return sums.iter().sum();
        }
        let mut sum = 0.0;
        for (v, weights) in self.weights.chunks_exact(self.lanes).enumerate() {
            let row = (y + v).saturating_sub(reach).min(pixels.height - 1);
            for (u, weight) in weights.iter().take(2 * reach + 1).enumerate() {
                let column = (x + u).saturating_sub(reach).min(width - 1);
                let at = row * width + column;
                sum += weight * (pixels.values[at] - light[at]);
            }
        }
        sum
    }

    /// Sigma of the heights that it finds in a cell, from their median.
    fn error(&self, pixels: &Pixels<'_>, light: &[f32], column: usize, row: usize) -> f32 {
        let mut heights = Vec::with_capacity(CELL * CELL / STRIDE / STRIDE);
        let inside = |first: usize, size: usize| {
            let start = (first + STRIDE / 2).min(size - 1);
            (start..(first + CELL).min(size)).step_by(STRIDE)
        };
        for y in inside(row * CELL, pixels.height) {
            for x in inside(column * CELL, pixels.width) {
                let sum = self.height(pixels, light, x, y);
                if !sum.is_nan() {
                    heights.push(sum.abs());
                }
            }
        }
        1.4826 * middle(heights).unwrap_or(f32::INFINITY)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 128;

    /// Noise of sigma about 1 everywhere; on the right waves of so many pixels.
    fn picture(length: f32) -> Vec<f32> {
        let mut state = 11_u64;
        (0..SIDE * SIDE)
            .map(|index| {
                let mut sum = -2.0;
                for _ in 0..4 {
                    state = state
                        .wrapping_mul(6_364_136_223_846_793_005)
                        .wrapping_add(1_442_695_040_888_963_407);
                    sum += (state >> 40) as f32 / 16_777_216.0;
                }
                let (x, y) = ((index % SIDE) as f32, (index / SIDE) as f32);
                let wave = libm::sinf(std::f32::consts::TAU * (x + 0.3 * y) / length);
                let there = if x < 64.0 { 0.0 } else { 150.0 };
                500.0 + 1.732 * sum + there * wave
            })
            .collect()
    }

    #[test]
    fn a_plane_where_it_is_flat_and_a_curved_surface_where_it_is_not() {
        let values = picture(14.0);
        let pixels = Pixels::new(&values, SIDE, SIDE);
        let psf = Psf::moffat(3.0, 3.0);
        let below = Below::new(
            &pixels,
            &[0.0; SIDE * SIDE],
            &Noise::new(&pixels).unwrap(),
            &psf,
        );
        let flat = below.best([20.0, 60.0], 10.0).unwrap();
        assert_eq!(flat.taper_px, None);
        // All light of a star of height 1 over its square: what white noise adds.
        assert!((0.3..0.9).contains(&flat.error), "{}", flat.error);
        let wavy = below.best([100.0, 60.0], 10.0).unwrap();
        assert!(wavy.taper_px.is_some());
        let plane = f64::from(below.meshes[0].error[7]);
        assert!(wavy.error < 0.3 * plane, "{} {plane}", wavy.error);
        // So high that what the image of a point errs by is the most of it.
        let high = below.best([100.0, 60.0], 1e6).unwrap();
        assert_eq!(high.taper_px, None);
    }

    #[test]
    fn a_kernel_finds_a_height_and_no_slope_or_curve() {
        let psf = Psf::moffat(2.6, 3.0);
        for taper_px in [Some(2.1), Some(1.05)] {
            let kernel = Kernel::new(&psf, taper_px).unwrap();
            let mut values = vec![0.0; 41 * 41];
            for (index, value) in values.iter_mut().enumerate() {
                let [u, v] = [index % 41, index / 41].map(|at| at as f32 - 20.0);
                let curve = 900.0 + 3.0 * u - 2.0 * v + 0.4 * u * u - 0.2 * u * v + 0.1 * v * v;
                *value = curve + 70.0 * psf.at(u, v);
            }
            let pixels = Pixels::new(&values, 41, 41);
            let height = kernel.height(&pixels, &[0.0; 41 * 41], 20, 20);
            assert!((height - 70.0).abs() < 0.05, "{height}");
        }
    }
}
