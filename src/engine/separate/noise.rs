//! How strong the noise is, place by place, and how it looks.

use rayon::prelude::*;

use super::pixels::Pixels;

/// Pixels along the side of one cell.
const CELL: usize = 32;

/// The noise on a coarse mesh.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Noise {
    columns: usize,
    rows: usize,
    sigma: Vec<f32>,
    /// Median over the cells, file units.
    pub typical: f32,
    /// Correlation of neighbours along a row and down a column, 0..0.5.
    pub alike: f32,
}

/// From the median of `|2 a - b - c|` to sigma: 1.4826 / sqrt(6).
const TO_SIGMA: f32 = 0.605_27;

impl Noise {
    /// Measures a picture's noise from second differences along its rows, in
    /// which gradients and nebula cancel (Stoehr et al. 2008, ASP Conf. 394,
    /// 505). None where there is no pair of neighbours.
    pub fn new(pixels: &Pixels<'_>) -> Option<Self> {
        let (columns, rows) = (pixels.width.div_ceil(CELL), pixels.height.div_ceil(CELL));
        let cells: Vec<Option<(f32, f32)>> = (0..columns * rows)
            .into_par_iter()
            .map(|cell| measure(pixels, cell % columns, cell / columns))
            .collect();
        let typical = middle(cells.iter().flatten().map(|cell| cell.0).collect())?;
        let near = middle(cells.iter().flatten().map(|cell| cell.1).collect())?;
        // Neighbours: var(2 a - b - c) = sigma^2 (6 - 8 r1 + 2 r2), r2 about r1^2.
        let ratio = if typical > 0.0 {
            (near / typical).min(1.0)
        } else {
            1.0
        };
        let alike = solve_alike(ratio * ratio);
        let floor = (0.1 * typical).max(pixels.rounding());
        let filled: Vec<f32> = cells
            .iter()
            .map(|cell| cell.map_or(typical, |cell| cell.0).max(floor))
            .collect();
        let sigma = (0..columns * rows)
            .map(|cell| {
                let (column, row) = (cell % columns, cell / columns);
                let mut around = Vec::with_capacity(9);
                for y in row.saturating_sub(1)..(row + 2).min(rows) {
                    for x in column.saturating_sub(1)..(column + 2).min(columns) {
                        around.push(filled[y * columns + x]);
                    }
                }
                middle(around).unwrap_or(floor)
            })
            .collect();
        Some(Self {
            columns,
            rows,
            sigma,
            typical: typical.max(floor),
            alike,
        })
    }

    /// The least sigma anywhere.
    pub fn least(&self) -> f32 {
        self.sigma.iter().copied().fold(f32::INFINITY, f32::min)
    }

    /// Sigma of the noise at a place: bilinear between the middles of the cells.
    pub fn at(&self, x: f32, y: f32) -> f32 {
        let (left, right, across) = between(x, self.columns);
        let (above, below, down) = between(y, self.rows);
        let node = |row: usize, column: usize| self.sigma[row * self.columns + column];
        let line = |row: usize| {
            let (a, b) = (node(row, left), node(row, right));
            a + (b - a) * across
        };
        let (a, b) = (line(above), line(below));
        a + (b - a) * down
    }
}

fn between(place: f32, count: usize) -> (usize, usize, f32) {
    let place = ((place + 0.5) / CELL as f32 - 0.5).clamp(0.0, (count - 1) as f32);
    let low = (place as usize).min(count - 1);
    (low, (low + 1).min(count - 1), place - low as f32)
}

/// Correlation of neighbours from the variance of close second differences
/// over that of far ones: (6 - 8 r + 2 r^2) / 6, for r in 0..0.5.
fn solve_alike(ratio: f32) -> f32 {
    // r^2 - 4 r + 3 (1 - ratio) = 0.
    let root = 2.0 - (1.0 + 3.0 * ratio).sqrt();
    root.clamp(0.0, 0.5)
}

/// Sigma from differences two pixels apart, and one pixel apart.
fn measure(pixels: &Pixels<'_>, column: usize, row: usize) -> Option<(f32, f32)> {
    let (mut far, mut near) = (Vec::with_capacity(1024), Vec::with_capacity(1024));
    let left = (column * CELL).max(2);
    let right = ((column + 1) * CELL).min(pixels.width.saturating_sub(2));
    for y in row * CELL..((row + 1) * CELL).min(pixels.height) {
        let line = pixels.row(y);
        for x in left..right {
            let twice = 2.0 * line[x];
            let wide = twice - line[x - 2] - line[x + 2];
            if !wide.is_nan() {
                far.push(wide.abs());
                let close = twice - line[x - 1] - line[x + 1];
                if !close.is_nan() {
                    near.push(close.abs());
                }
            }
        }
    }
    if far.len() < 64 && far.len() * 4 < pixels.width * pixels.height {
        return None;
    }
    Some((TO_SIGMA * middle(far)?, TO_SIGMA * middle(near)?))
}

/// The median; None of nothing. The order of equals plays no part.
pub(super) fn middle(mut values: Vec<f32>) -> Option<f32> {
    if values.is_empty() {
        return None;
    }
    let half = values.len() / 2;
    Some(*values.select_nth_unstable_by(half, f32::total_cmp).1)
}

/// Noise that depends on the place alone: sigma 1, neighbours alike by `alike`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Texture {
    side: f32,
    scale: f32,
}

impl Texture {
    pub fn new(alike: f32) -> Self {
        // Weights (t, 1, t) along both axes: r1 = 2 t / (1 + 2 t^2).
        let side = if alike > 0.02 {
            (1.0 - (1.0 - 2.0 * alike * alike).max(0.0).sqrt()) / (2.0 * alike)
        } else {
            0.0
        };
        Self {
            side,
            scale: 1.0 / (1.0 + 2.0 * side * side),
        }
    }

    pub fn at(self, x: usize, y: usize) -> f32 {
        let (x, y) = (x as u64 + 1, y as u64 + 1);
        if self.side == 0.0 {
            return normal(x, y);
        }
        let line = |y: u64| normal(x, y) + self.side * (normal(x - 1, y) + normal(x + 1, y));
        self.scale * (line(y) + self.side * (line(y - 1) + line(y + 1)))
    }
}

/// A nearly normal number of variance 1: twelve bits each of five draws from a
/// mixed counter (SplitMix64: Steele, Lea & Flood 2014, OOPSLA).
fn normal(x: u64, y: u64) -> f32 {
    let mut z = (y << 32 | x).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5e9a_7a7e;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^= z >> 31;
    let mut sum = 0_u64;
    for part in 0..5 {
        sum += (z >> (12 * part)) & 0xfff;
    }
    // Five uniform draws: mean 5 x 2047.5, variance 5 (4096^2 - 1) / 12.
    (sum as f32 - 10_237.5) * (1.0 / 2_643.957)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_texture_has_its_variance_and_likeness() {
        for alike in [0.0_f32, 0.3] {
            let texture = Texture::new(alike);
            let (mut sum, mut square, mut product) = (0.0_f64, 0.0_f64, 0.0_f64);
            for y in 0..300 {
                for x in 0..300 {
                    let value = f64::from(texture.at(x, y));
                    sum += value;
                    square += value * value;
                    product += value * f64::from(texture.at(x + 1, y));
                }
            }
            let count = 90_000.0;
            assert!((sum / count).abs() < 0.03, "{}", sum / count);
            assert!((square / count - 1.0).abs() < 0.04, "{}", square / count);
            let found = product / square;
            assert!((found - f64::from(alike)).abs() < 0.03, "{found}");
        }
    }

    #[test]
    fn noise_is_measured_beside_a_gradient_and_smoothed_noise_is_told() {
        for alike in [0.0_f32, 0.25] {
            let texture = Texture::new(alike);
            let values: Vec<f32> = (0..200 * 160)
                .map(|index| {
                    let (x, y) = (index % 200, index / 200);
                    500.0 + 2.0 * x as f32 + 4.0 * texture.at(x, y)
                })
                .collect();
            let pixels = Pixels::new(&values, 200, 160);
            let noise = Noise::new(&pixels).expect("values");
            assert!((noise.typical / 4.0 - 1.0).abs() < 0.1, "{}", noise.typical);
            assert!((noise.at(90.0, 70.0) / 4.0 - 1.0).abs() < 0.15);
            assert!((noise.alike - alike).abs() < 0.08, "{}", noise.alike);
        }
    }
}
