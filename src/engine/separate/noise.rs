//! How strong the noise is, place by place, and how it looks.
//!
//! Where the nebula is as fine as stars are, differences along a row show nebula
//! more than noise. Fits of stars count both against a pixel; what is drawn in
//! place of a star must be as rough as the noise alone.

use rayon::prelude::*;

use super::pixels::{Pixels, Window};

/// Pixels along the side of one cell.
pub(super) const CELL: usize = 32;

/// Values on a coarse mesh: one for each cell.
#[derive(Debug, Clone, PartialEq)]
struct Mesh {
    columns: usize,
    rows: usize,
    values: Vec<f32>,
}

/// The noise on a coarse mesh.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Noise {
    unrest: Mesh,
    alone: Mesh,
    rough: Mesh,
    /// Median of the unrest over the cells, file units.
    pub typical: f32,
    /// Correlation of neighbours along a row and down a column, 0..0.5.
    pub alike: f32,
}

/// From the median of `|2 a - b - c|` to sigma: 1.4826 / sqrt(6); and of the same
/// taken down the columns of that: 1.4826 / 6.
const TO_SIGMA: f32 = 0.605_27;
const TO_SIGMA_BOTH: f32 = 0.247_1;

/// What a surface below stars errs by, in what a star's height does above a
/// plane.
const ROUGH: f32 = 0.35;

impl Noise {
    /// Measures a picture's noise from second differences along its rows, in
    /// which gradients and slow nebula cancel (Stoehr et al. 2008, ASP Conf. 394,
    /// 505), and from those taken along both axes, in which finer nebula does
    /// (Immerkaer 1996, Comput. Vis. Image Underst. 64, 300). None where there is
    /// no pair of neighbours.
    pub fn new(pixels: &Pixels<'_>) -> Option<Self> {
        let (columns, rows) = (pixels.width.div_ceil(CELL), pixels.height.div_ceil(CELL));
        let cells: Vec<Option<Cell>> = (0..columns * rows)
            .into_par_iter()
            .map(|cell| measure(pixels, cell % columns, cell / columns))
            .collect();
        let known = || cells.iter().flatten();
        let typical = middle(known().map(|cell| cell.far).collect())?;
        // Neighbours: var(2 a - b - c) = sigma^2 (6 - 8 r1 + 2 r2), r2 about r1^2;
        // the same factor again down the columns. Nebula only makes it less.
        let ratios = known().map(|cell| cell.near_both / cell.far_both);
        let ratio = upper(ratios.filter(|ratio| ratio.is_finite()).collect());
        let alike = solve_alike(ratio.map_or(1.0, |ratio| ratio.min(1.0)));
        let less = 1.0 - (4.0 * alike - alike * alike) / 3.0;
        let floor = (0.1 * typical).max(pixels.rounding());
        let calm = |of: &dyn Fn(&Cell) -> f32| {
            let cell = |cell: &Option<Cell>| cell.as_ref().map_or(typical, of).max(floor);
            Mesh::calm(columns, rows, &cells.iter().map(cell).collect::<Vec<_>>())
        };
        let alone = calm(&|cell| cell.far.min(cell.near_both / less));
        Some(Self {
            unrest: calm(&|cell| cell.far),
            rough: alone.clone(),
            alone,
            typical: typical.max(floor),
            alike,
        })
    }

    /// Takes in how star heights above a plane err, cell by cell, in sigma of the
    /// white noise that would do that.
    pub fn roughen(&mut self, ground: impl Iterator<Item = f32>) {
        for (rough, ground) in self.rough.values.iter_mut().zip(ground) {
            if ground.is_finite() {
                *rough = rough.max(ROUGH * ground);
            }
        }
    }

    /// The least unrest anywhere.
    pub fn least(&self) -> f32 {
        let values = self.unrest.values.iter();
        values.copied().fold(f32::INFINITY, f32::min)
    }

    /// Sigma of noise and finest nebula together at a place.
    pub fn at(&self, x: f32, y: f32) -> f32 {
        self.unrest.at(x, y)
    }

    /// Sigma of the noise alone at a place.
    pub fn alone(&self, x: f32, y: f32) -> f32 {
        self.alone.at(x, y)
    }

    /// For each pixel of a window, row by row, [`Noise::alone`] and
    /// [`Noise::rough`].
    pub fn over(&self, window: Window) -> Vec<[f32; 2]> {
        let columns = window.left..window.right();
        let columns: Vec<_> = columns
            .map(|x| between(x as f32, self.alone.columns))
            .collect();
        let row = |y: usize| {
            let row = between(y as f32, self.alone.rows);
            let both = move |column: &(usize, usize, f32)| {
                [&self.alone, &self.rough].map(|mesh| mesh.across(*column, row))
            };
            columns.iter().map(both)
        };
        (window.top..window.bottom()).flat_map(row).collect()
    }

    /// What a smooth surface across a star errs by at a place; at least the
    /// noise.
    pub fn rough(&self, x: f32, y: f32) -> f32 {
        self.rough.at(x, y)
    }
}

impl Mesh {
    /// The middle one of each cell's and its neighbours' values.
    fn calm(columns: usize, rows: usize, cells: &[f32]) -> Self {
        let values = (0..columns * rows)
            .map(|cell| {
                let (column, row) = (cell % columns, cell / columns);
                let mut around = Vec::with_capacity(9);
                for y in row.saturating_sub(1)..(row + 2).min(rows) {
                    for x in column.saturating_sub(1)..(column + 2).min(columns) {
                        around.push(cells[y * columns + x]);
                    }
                }
                middle(around).unwrap_or(cells[cell])
            })
            .collect();
        Self {
            columns,
            rows,
            values,
        }
    }

    /// Bilinear between the middles of the cells.
    fn at(&self, x: f32, y: f32) -> f32 {
        self.across(between(x, self.columns), between(y, self.rows))
    }

    fn across(
        &self,
        (left, right, across): (usize, usize, f32),
        (above, below, down): (usize, usize, f32),
    ) -> f32 {
        let node = |row: usize, column: usize| self.values[row * self.columns + column];
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

/// Sigma in a cell, were the noise white.
struct Cell {
    /// From differences along the rows, two pixels apart.
    far: f32,
    /// From differences along both axes, one pixel and two pixels apart; infinite
    /// where there are none.
    near_both: f32,
    far_both: f32,
}

fn measure(pixels: &Pixels<'_>, column: usize, row: usize) -> Option<Cell> {
    let room = || Vec::with_capacity(CELL * CELL);
    let (mut far, mut near_both, mut far_both) = (room(), room(), room());
    let left = (column * CELL).max(2);
    let right = ((column + 1) * CELL).min(pixels.width.saturating_sub(2));
    let around = |y: usize, by: usize| {
        let inside = y >= by && y + by < pixels.height;
        inside.then(|| [y - by, y + by].map(|y| pixels.row(y)))
    };
    for y in row * CELL..((row + 1) * CELL).min(pixels.height) {
        let line = pixels.row(y);
        let (near, wide) = (around(y, 1), around(y, 2));
        for x in left..right {
            let along = |line: &[f32], by: usize| 2.0 * line[x] - line[x - by] - line[x + by];
            let value = along(line, 2);
            if value.is_nan() {
                continue;
            }
            far.push(value.abs());
            if let Some([up, down]) = near {
                near_both.push((2.0 * along(line, 1) - along(up, 1) - along(down, 1)).abs());
            }
            if let Some([up, down]) = wide {
                far_both.push((2.0 * value - along(up, 2) - along(down, 2)).abs());
            }
        }
    }
    if far.len() < 64 && far.len() * 4 < pixels.width * pixels.height {
        return None;
    }
    let both = |mut values: Vec<f32>| {
        values.retain(|value| !value.is_nan());
        middle(values).map_or(f32::INFINITY, |middle| TO_SIGMA_BOTH * middle)
    };
    Some(Cell {
        far: TO_SIGMA * middle(far)?,
        near_both: both(near_both),
        far_both: both(far_both),
    })
}

/// The median; None of nothing. The order of equals plays no part.
pub(super) fn middle(values: Vec<f32>) -> Option<f32> {
    let half = values.len() / 2;
    place(values, half)
}

/// The same of three quarters of the way up.
fn upper(values: Vec<f32>) -> Option<f32> {
    let upper = values.len() * 3 / 4;
    place(values, upper)
}

fn place(mut values: Vec<f32>, at: usize) -> Option<f32> {
    if values.is_empty() {
        return None;
    }
    Some(*values.select_nth_unstable_by(at, f32::total_cmp).1)
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

    #[test]
    fn nebula_as_fine_as_stars_is_no_noise() {
        let texture = Texture::new(0.0);
        // On the right a wave of 7 px along the rows, 30 times as high as the noise.
        let values: Vec<f32> = (0..200 * 160)
            .map(|index| {
                let (x, y) = (index % 200, index / 200);
                let wave = libm::sinf(std::f32::consts::TAU * (x as f32 + 0.2 * y as f32) / 7.0);
                let high = if x < 110 { 0.0 } else { 60.0 };
                500.0 + high * wave + 2.0 * texture.at(x, y)
            })
            .collect();
        let noise = Noise::new(&Pixels::new(&values, 200, 160)).expect("values");
        let (all, alone) = (noise.at(170.0, 70.0), noise.alone(170.0, 70.0));
        assert!(all > 10.0, "{all}");
        assert!((1.7..2.6).contains(&alone), "{alone}");
        assert!(noise.alike < 0.08, "{}", noise.alike);
    }

    #[test]
    fn rough_ground_is_rough_and_what_is_unknown_changes_nothing() {
        let values = vec![3.0; 64 * 32];
        let mut noise = Noise::new(&Pixels::new(&values, 64, 32)).expect("values");
        let before = noise.rough(50.0, 10.0);
        noise.roughen([10.0, f32::INFINITY].into_iter());
        assert_eq!(noise.rough(10.0, 10.0), ROUGH * 10.0);
        assert_eq!(noise.rough(50.0, 10.0), before);
    }
}
