//! A finished sky model, and a channel without its sky glow.

use std::sync::Arc;

use rayon::prelude::*;

use super::edge;
use super::fit::Fitted;
use super::polynomial::{Polynomial, horner};
use super::samples::Grid;
use super::spline::{Mesh, cubic_of};
use crate::engine::frame::{Rows, RowsError, Size};

/// With a smaller share of sky among the samples the model says so.
const SHARE_LOW: f64 = 0.15;

/// Farther from any sky than this share of the longer side is far,
const FAR: f64 = 0.25;

/// and the model says so where more of the field is far.
const FAR_SHARE: f64 = 0.1;

/// The ends of 32-bit floats.
const LOWEST: f64 = f32::MIN as f64;

/// See [`LOWEST`].
const HIGHEST: f64 = f32::MAX as f64;

/// Rows that are worked on together.
const PIECE_ROWS: usize = 16;

/// What a sky model is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// A polynomial.
    Polynomial {
        /// Its total degree, 1 to 3.
        degree: u8,
    },
    /// A thin-plate spline.
    Spline {
        /// The wave that it follows by half, as a share of the longer side.
        smooth: f64,
    },
}

impl std::fmt::Display for Kind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Polynomial { degree } => write!(f, "polynomial of degree {degree}"),
            Self::Spline { smooth } => write!(f, "spline, smooth {smooth}"),
        }
    }
}

/// What to know about a sky model before trusting it.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Notice {
    /// The samples did not settle what was asked for.
    #[error("the samples of the sky settle no {asked}; the model is a {used}")]
    Simpler {
        /// From the recipe.
        asked: Kind,
        /// What was made.
        used: Kind,
    },
    /// Hardly any of the field is sky.
    #[error(
        "little of the field is sky: {:.0} % of the samples agree on one; look at the model, and mark the nebula with `keep_out`",
        100.0 * share
    )]
    LittleSky {
        /// Sky among the samples, 0..1.
        share: f64,
    },
    /// Much of the field lies far from any sky: the model is a guess there.
    #[error(
        "{:.0} % of the field lies far from any sky, where the model is a guess; the stiffer the safer",
        100.0 * share
    )]
    Far {
        /// Share of the samples' places, 0..1.
        share: f64,
    },
    /// What counts as sky does not lie on the model.
    #[error(
        "there is no sky to speak of, or the model does not follow it: samples scatter by {scatter_over_noise:.1} times the noise; mark the nebula with `keep_out`, or let the model bend more"
    )]
    Uneven {
        /// Scatter of the samples about the model over the noise of a pixel.
        scatter_over_noise: f64,
    },
}

/// The surface itself, in file units.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Surface {
    Polynomial(Polynomial),
    Mesh(Mesh),
}

impl Surface {
    fn at(&self, x: f64, y: f64) -> f64 {
        match self {
            Self::Polynomial(polynomial) => polynomial.at(x, y),
            Self::Mesh(mesh) => mesh.at(x, y),
        }
    }
}

/// A model of the sky glow over a picture. Values are in file units.
#[derive(Debug, Clone, PartialEq)]
pub struct SkyModel {
    /// What it is made of.
    pub kind: Kind,
    /// Its highest less its lowest value over the field.
    pub amplitude: f64,
    /// `amplitude / noise`; None where the picture has no noise.
    pub amplitude_over_noise: Option<f64>,
    /// Samples that count as sky.
    pub samples: usize,
    /// Samples that do not: nebula, kept out, or too few pixels with a value.
    pub refused: usize,
    /// The level of the sky: the median of the model over the samples that count.
    pub sky_level: f64,
    /// Sigma of one pixel, from differences along the rows where there is sky.
    pub noise: f64,
    /// Sigma of the samples about the model.
    pub scatter: f64,
    /// What to know before trusting it.
    pub notices: Vec<Notice>,
    surface: Surface,
    /// What is added back.
    back: f64,
}

impl SkyModel {
    pub(super) fn new(
        grid: &Grid,
        found: Fitted<Surface>,
        asked: Kind,
        kind: Kind,
        zero: bool,
    ) -> Self {
        let Fitted {
            surface,
            kept,
            scatter,
        } = found;
        let noise = grid.noise(|index| kept[index]);
        let with_value = grid.samples.iter().flatten().count();
        let mut levels: Vec<f64> = (grid.samples.iter().zip(&kept))
            .filter_map(|(sample, kept)| sample.filter(|_| *kept))
            .map(|sample| surface.at(sample.x, sample.y))
            .collect();
        levels.sort_unstable_by(f64::total_cmp);
        let sky_level = median(&levels);
        let (low, high) = range(&surface, grid.size);
        let share = levels.len() as f64 / with_value.max(1) as f64;
        let largest = low.abs().max(high.abs());
        let mut notices = Vec::new();
        if kind != asked {
            notices.push(Notice::Simpler { asked, used: kind });
        }
        if share < SHARE_LOW {
            notices.push(Notice::LittleSky { share });
        }
        let far = far(grid, &kept);
        if far > FAR_SHARE {
            notices.push(Notice::Far { share: far });
        }
        if scatter > noise && scatter > 1e-5 * largest && noise > 0.0 {
            notices.push(Notice::Uneven {
                scatter_over_noise: scatter / noise,
            });
        }
        Self {
            kind,
            amplitude: high - low,
            amplitude_over_noise: (noise > 0.0).then(|| (high - low) / noise),
            samples: levels.len(),
            refused: grid.samples.len() - levels.len(),
            sky_level,
            noise,
            scatter,
            notices,
            surface,
            back: if zero { 0.0 } else { sky_level },
        }
    }

    /// The model at a position in px, in file units: what is taken away there
    /// (before the level of the sky is added back).
    pub fn at(&self, x: f64, y: f64) -> f64 {
        self.surface.at(x, y)
    }

    /// Takes the model from whole rows of `width` pixels, from `first_row` on,
    /// and adds the level of the sky back unless the recipe says `zero`.
    /// Pixels without a value stay so; so do the zeros that alignment leaves
    /// at the ends of a row (runs of 8 or more).
    pub fn subtract(&self, first_row: usize, width: usize, values: &mut [f32]) {
        if width == 0 {
            return;
        }
        values
            .par_chunks_mut(width * PIECE_ROWS)
            .enumerate()
            .for_each(|(piece, values)| {
                let first_row = first_row + piece * PIECE_ROWS;
                let level = fearless_simd::Level::new();
                fearless_simd::dispatch!(level, _simd => self.subtract_rows(first_row, width, values));
            });
    }

    #[inline(always)]
    fn subtract_rows(&self, first_row: usize, width: usize, values: &mut [f32]) {
        for (y, row) in (first_row..).zip(values.chunks_mut(width)) {
            let inner = edge::inner(row);
            let from = inner.start;
            let row = &mut row[inner];
            match &self.surface {
                Surface::Polynomial(polynomial) => {
                    let (mut c, unit) = polynomial.row(y as f64);
                    c[0] -= self.back;
                    take(row, from, &c, unit.scale, unit.shift);
                }
                Surface::Mesh(mesh) => {
                    let nodes = mesh.row(y as f64);
                    let step = mesh.step;
                    let scale = 1.0 / step as f64;
                    let mut done = 0;
                    while done < row.len() {
                        let x = from + done;
                        // Beyond the picture there are no nodes.
                        let cell = (x / step).min(nodes.len() - 4);
                        let next = ((cell + 1) * step).max(x + 1);
                        let end = (next - from).min(row.len());
                        let mut c = cubic_of(&nodes, cell);
                        c[0] -= self.back;
                        take(&mut row[done..end], x - cell * step, &c, scale, 0.0);
                        done = end;
                    }
                }
            }
        }
    }
}

/// Takes `c(t)` from each value, `t = (first + index) * scale + shift`.
#[inline(always)]
fn take(values: &mut [f32], first: usize, c: &[f64; 4], scale: f64, shift: f64) {
    let first = first as i32;
    for (index, value) in (first..).zip(values) {
        let t = f64::from(index) * scale + shift;
        let left = f64::from(*value) - horner(c, t);
        // No value may become infinite.
        *value = left.clamp(LOWEST, HIGHEST) as f32;
    }
}

/// The median of values in rising order; 0 where there are none.
fn median(sorted: &[f64]) -> f64 {
    let half = sorted.len() / 2;
    match sorted {
        [] => 0.0,
        _ if sorted.len() % 2 == 1 => sorted[half],
        _ => (sorted[half - 1] + sorted[half]) / 2.0,
    }
}

/// The share of the boxes that lie far from any sample that counts.
fn far(grid: &Grid, kept: &[bool]) -> f64 {
    let Size { width, height } = grid.size;
    let reach = FAR * width.max(height) as f64;
    // Boxes by their middles: those without a sample have no position.
    let middle = |index: usize| {
        let x = (index % grid.across) as f64 + 0.5;
        let y = (index / grid.across) as f64 + 0.5;
        (
            x * width as f64 / grid.across as f64,
            y * height as f64 / grid.down as f64,
        )
    };
    let sky: Vec<_> = (0..kept.len()).filter(|i| kept[*i]).map(middle).collect();
    let far = (0..kept.len()).map(middle).filter(|(x, y)| {
        !sky.iter()
            .any(|(p, q)| (x - p) * (x - p) + (y - q) * (y - q) <= reach * reach)
    });
    far.count() as f64 / kept.len().max(1) as f64
}

/// Lowest and highest value on a mesh of places over the field.
fn range(surface: &Surface, size: Size) -> (f64, f64) {
    const PLACES: usize = 64;
    let place = |index: usize, length: usize| (length as f64 - 1.0) * index as f64 / PLACES as f64;
    let mut range = (f64::INFINITY, f64::NEG_INFINITY);
    for j in 0..=PLACES {
        for i in 0..=PLACES {
            let value = surface.at(place(i, size.width), place(j, size.height));
            range = (range.0.min(value), range.1.max(value));
        }
    }
    range
}

/// A channel without its sky glow.
#[derive(Clone)]
pub struct Leveled {
    rows: Arc<dyn Rows>,
    model: SkyModel,
}

impl Leveled {
    /// `model` should have been made from `rows`.
    pub fn new(rows: Arc<dyn Rows>, model: SkyModel) -> Self {
        Self { rows, model }
    }

    /// The sky model.
    pub fn model(&self) -> &SkyModel {
        &self.model
    }
}

impl std::fmt::Debug for Leveled {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Leveled")
            .field("size", &self.rows.size())
            .field("model", &self.model)
            .finish()
    }
}

impl Rows for Leveled {
    fn size(&self) -> Size {
        self.rows.size()
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        self.rows.read(first_row, out)?;
        self.model.subtract(first_row, self.size().width, out);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_name_what_was_asked_for_and_what_was_made() {
        let notice = Notice::Simpler {
            asked: Kind::Spline { smooth: 0.25 },
            used: Kind::Polynomial { degree: 2 },
        };
        let words = notice.to_string();
        assert!(words.contains("spline, smooth 0.25"), "{words}");
        assert!(words.contains("polynomial of degree 2"), "{words}");
        let words = Notice::LittleSky { share: 0.07 }.to_string();
        assert!(words.contains("little of the field is sky: 7 %"), "{words}");
    }

    /// 2 - (1 + t + t^2) for t = 0, 0.5, 1, by hand.
    #[test]
    fn the_model_is_taken_pixel_by_pixel() {
        let mut values = [2.0, 2.0, 2.0, f32::NAN];
        take(&mut values, 4, &[1.0, 1.0, 1.0, 0.0], 0.5, -2.0);
        assert_eq!(values[..3], [1.0, 0.25, -1.0]);
        assert!(values[3].is_nan());
        let mut values = [f32::MAX, f32::MIN];
        take(&mut values, 0, &[-1e38, 2e38, 0.0, 0.0], 1.0, 0.0);
        assert_eq!(values, [f32::MAX, f32::MIN]);
    }

    #[test]
    fn medians() {
        assert_eq!(median(&[]), 0.0);
        assert_eq!(median(&[1.0, 2.0, 9.0]), 2.0);
        assert_eq!(median(&[1.0, 2.0, 4.0, 9.0]), 3.0);
    }
}
