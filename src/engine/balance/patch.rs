//! Gains that make a part of the picture neutral, and how sure they are.

use super::error::Dim;
use super::{Balance, BalanceError, Broadband, Field, Gains, SkyLevel, robust};
use crate::engine::full::Marks;

/// So many times its uncertainty the light of a patch must stand above the sky
/// in each channel: gains that are surer than a fifth.
pub const LEAST_SIGNIFICANCE: f64 = 5.0;

/// A patch is cut into so many blocks along each side, or one for each pixel.
const BLOCKS: usize = 8;

/// Fewer second differences of blocks than this give no noise.
const ENOUGH: usize = 6;

const NAMES: [&str; 3] = ["red", "green", "blue"];

/// Some pixels of the common grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patch {
    /// The upper left pixel: column, row.
    pub corner: [usize; 2],
    /// Columns, at least 1.
    pub width: usize,
    /// Rows, at least 1.
    pub height: usize,
}

/// A patch becomes neutral: its mean light above `sky` (each channel's own, as
/// [`neutral_sky`](super::neutral_sky) gives it). Pixels without data in any
/// channel are left out; `full` is where a detector was full, None where nowhere.
///
/// The light of a channel is as uncertain as its sky, and as its pixels' noise:
///
/// ```text
/// s_i^2  = max(noise_i / sqrt(n), b_i / sqrt(m))^2 + sky_error_i^2
/// s_c^2  = m / (m - 1) sum (X - R G)^2 / (sum X)^2
/// ```
///
/// `b` is the noise of the means of `m` blocks, from their second differences,
/// in which what the patch shows cancels: it is more than independent pixels
/// would give wherever neighbours share their noise. `s_c` is how far the
/// blocks' colour scatters about the patch's, R (Cochran 1977, Sampling
/// Techniques, ch. 6), relative. The relative error of a gain is that of both
/// lights, or the blocks' scatter with that of both skies, whichever is more.
///
/// # Errors
/// A patch without size, outside, saturated, without data, or whose light is less than
/// [`LEAST_SIGNIFICANCE`] sigma in a channel, and those of the channels.
pub fn by_patch(
    channels: &Broadband<'_>,
    patch: Patch,
    sky: [SkyLevel; 3],
    full: [Option<&Marks>; 3],
) -> Result<Balance, BalanceError> {
    let fields = channels.complete()?;
    let blocks = Blocks::read(&fields, patch, sky, full)?;
    let count = blocks.count.iter().sum::<usize>();
    if count == 0 {
        return Err(BalanceError::PatchEmpty);
    }
    let lights: [Light; 3] = std::array::from_fn(|i| blocks.light(i, &sky[i]));
    let dim: Vec<Dim> = (0..3)
        .filter(|i| !lights[*i].is_significant())
        .map(|i| Dim {
            color: NAMES[i],
            light: lights[i].mean,
            error: lights[i].error(),
        })
        .collect();
    if !dim.is_empty() {
        return Err(BalanceError::PatchDark { dim });
    }
    let [red, blue] = [0, 2].map(|i| {
        let [own, green] = [&lights[i], &lights[1]];
        let skies = own.part(own.sky) + green.part(green.sky);
        let noises = own.part(own.noise) + green.part(green.noise);
        let scatter = blocks.color_scatter(i);
        let error = (skies + noises.max(scatter * scatter)).sqrt();
        [-libm::log(own.mean / green.mean), error]
    });
    Ok(Balance {
        gains: Gains::from_logs(red, blue),
        used: 0,
        refused: Vec::new(),
        scatter: [0.0; 2],
        moved_px: None,
    })
}

/// The mean light of a channel above its sky, file units.
struct Light {
    mean: f64,
    /// Its error by the pixels.
    noise: f64,
    /// Its error by the sky's level.
    sky: f64,
}

impl Light {
    fn error(&self) -> f64 {
        (self.noise * self.noise + self.sky * self.sky).sqrt()
    }

    fn is_significant(&self) -> bool {
        self.mean > 0.0 && self.mean.is_finite() && self.mean >= LEAST_SIGNIFICANCE * self.error()
    }

    // The square of an error relative to the light.
    fn part(&self, error: f64) -> f64 {
        (error / self.mean) * (error / self.mean)
    }
}

/// The light of a patch, block by block, row after row.
struct Blocks {
    across: usize,
    down: usize,
    /// Pixels with data.
    count: Vec<usize>,
    /// Light above the sky, added up.
    sums: [Vec<f64>; 3],
}

impl Blocks {
    fn read(
        fields: &[Field<'_>; 3],
        patch: Patch,
        sky: [SkyLevel; 3],
        full: [Option<&Marks>; 3],
    ) -> Result<Self, BalanceError> {
        let size = fields[1].rows.size();
        let [x, y] = patch.corner;
        if patch.width == 0 || patch.height == 0 {
            return Err(BalanceError::PatchWithoutSize {
                corner: patch.corner,
                width: patch.width,
                height: patch.height,
            });
        }
        let within = |from: usize, length: usize, whole: usize| {
            from.checked_add(length).is_some_and(|end| end <= whole)
        };
        if !within(x, patch.width, size.width) || !within(y, patch.height, size.height) {
            return Err(BalanceError::PatchOutside {
                corner: patch.corner,
                width: patch.width,
                height: patch.height,
                size,
            });
        }
        let (across, down) = (patch.width.min(BLOCKS), patch.height.min(BLOCKS));
        let mut blocks = Self {
            across,
            down,
            count: vec![0; across * down],
            sums: std::array::from_fn(|_| vec![0.0; across * down]),
        };
        let mut rows: [Vec<f32>; 3] = std::array::from_fn(|_| vec![0.0; size.width]);
        for line in 0..patch.height {
            for (field, row) in fields.iter().zip(&mut rows) {
                field.rows.read(y + line, row)?;
            }
            for column in 0..patch.width {
                let at = (line * down / patch.height) * across + column * across / patch.width;
                let values: [f64; 3] = std::array::from_fn(|i| f64::from(rows[i][x + column]));
                for i in 0..3 {
                    if full[i].is_some_and(|marks| marks.has([x + column, y + line])) {
                        return Err(BalanceError::PatchSaturated { color: NAMES[i] });
                    }
                }
                if values.iter().all(|value| value.is_finite()) {
                    blocks.count[at] += 1;
                    for i in 0..3 {
                        blocks.sums[i][at] += values[i] - sky[i].level;
                    }
                }
            }
        }
        Ok(blocks)
    }

    fn light(&self, channel: usize, sky: &SkyLevel) -> Light {
        let count = self.count.iter().sum::<usize>().max(1) as f64;
        let mean = self.sums[channel].iter().sum::<f64>() / count;
        let by_pixels = sky.noise.max(0.0) / count.sqrt();
        let filled = self.count.iter().filter(|count| **count > 0).count();
        let by_blocks = self.noise_of_blocks(channel) / (filled.max(1) as f64).sqrt();
        Light {
            mean,
            noise: by_pixels.max(by_blocks),
            sky: sky.error.max(0.0),
        }
    }

    /// Sigma of the mean of one block; 0 where there are too few to tell.
    fn noise_of_blocks(&self, channel: usize) -> f64 {
        let mean = |column: usize, row: usize| {
            let at = row * self.across + column;
            self.sums[channel][at] / self.count[at] as f64
        };
        let mut differences = Vec::new();
        for row in 0..self.down {
            for column in 0..self.across {
                if (1..self.across.saturating_sub(1)).contains(&column) {
                    let beside = mean(column - 1, row) + mean(column + 1, row);
                    differences.push(2.0 * mean(column, row) - beside);
                }
                if (1..self.down.saturating_sub(1)).contains(&row) {
                    let beside = mean(column, row - 1) + mean(column, row + 1);
                    differences.push(2.0 * mean(column, row) - beside);
                }
            }
        }
        // Blocks without data have no mean.
        differences.retain(|difference| difference.is_finite());
        if differences.len() < ENOUGH {
            return 0.0;
        }
        // The variance of `2 b - a - c` is 6 times that of a block.
        robust::spread(&differences, 0.0) / 6.0_f64.sqrt()
    }

    /// How far the colour of the blocks scatters about the patch's: the
    /// relative standard error of the ratio to green.
    fn color_scatter(&self, channel: usize) -> f64 {
        let (own, green) = (&self.sums[channel], &self.sums[1]);
        let all = own.iter().sum::<f64>();
        let ratio = all / green.iter().sum::<f64>();
        let filled = self.count.iter().filter(|count| **count > 0).count() as f64;
        if filled < 2.0 {
            return 0.0;
        }
        let squares: f64 = own
            .iter()
            .zip(green)
            .map(|(own, green)| (own - ratio * green) * (own - ratio * green))
            .sum();
        (filled / (filled - 1.0) * squares).sqrt() / all
    }
}
