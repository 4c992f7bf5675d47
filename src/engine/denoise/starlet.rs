//! One step of the starlet transform: a smoother copy.

use rayon::prelude::*;

use crate::engine::frame::Size;

/// Rows that one thread takes at a time.
pub const ROWS_TOGETHER: usize = 32;

/// The cubic B-spline at -2, -1, 0, 1, 2.
const SPLINE: [f32; 5] = [1.0 / 16.0, 1.0 / 4.0, 3.0 / 8.0, 1.0 / 4.0, 1.0 / 16.0];

/// A channel at some scale; NaN where there is no data.
pub struct Field<'a> {
    size: Size,
    first: &'a [f32],
    own: Option<Vec<f32>>,
    gaps: bool,
}

impl<'a> Field<'a> {
    /// The channel itself.
    pub fn new(values: &'a [f32], size: Size) -> Self {
        Self {
            size,
            first: values,
            own: None,
            gaps: values
                .par_chunks(1 << 16)
                .any(|part| part.iter().any(|v| v.is_nan())),
        }
    }

    /// Its size.
    pub fn size(&self) -> Size {
        self.size
    }

    /// Row by row.
    pub fn values(&self) -> &[f32] {
        self.own.as_deref().unwrap_or(self.first)
    }

    /// Becomes the smoother copy; what it was is left in `values`.
    pub fn take(&mut self, values: &mut Vec<f32>) {
        let mut own = self.own.take().unwrap_or_else(|| vec![0.0; values.len()]);
        std::mem::swap(&mut own, values);
        self.own = Some(own);
    }
}

/// The mean over 5 x 5 points 2^`scale` px apart, weighted by the B-spline; the
/// picture goes on as its mirror image beyond the edges, and what is no data is
/// left out of means.
pub fn smoother(field: &Field<'_>, scale: usize, out: &mut [f32]) {
    let Size { width, height } = field.size;
    let apart = 1_i64 << scale;
    let values = field.values();
    out.par_chunks_mut(width * ROWS_TOGETHER)
        .enumerate()
        .for_each(|(chunk, out)| {
            let level = fearless_simd::Level::new();
            let mut across = Across::new(width, apart as usize);
            for (y, out) in (chunk * ROWS_TOGETHER..).zip(out.chunks_exact_mut(width)) {
                let rows: [&[f32]; 5] = std::array::from_fn(|tap| {
                    let y = mirrored(y as i64 + (tap as i64 - 2) * apart, height);
                    &values[y * width..(y + 1) * width]
                });
                if field.gaps {
                    fearless_simd::dispatch!(level, _simd => across.with_gaps(rows, out));
                } else {
                    fearless_simd::dispatch!(level, _simd => across.whole(rows, out));
                }
            }
        });
}

// The place that stands for one beyond the edges.
fn mirrored(at: i64, length: usize) -> usize {
    let last = length as i64 - 1;
    if last == 0 {
        return 0;
    }
    let around = at.rem_euclid(2 * last);
    around.min(2 * last - around) as usize
}

// A row of sums down the columns, with room beyond both ends.
struct Across {
    apart: usize,
    sums: Vec<f32>,
    weights: Vec<f32>,
}

impl Across {
    fn new(width: usize, apart: usize) -> Self {
        Self {
            apart,
            sums: vec![0.0; width + 4 * apart],
            weights: vec![0.0; width + 4 * apart],
        }
    }

    #[inline(always)]
    fn whole(&mut self, rows: [&[f32]; 5], out: &mut [f32]) {
        let (width, room) = (out.len(), 2 * self.apart);
        let sums = &mut self.sums[room..room + width];
        for x in 0..width {
            sums[x] = spline([rows[0][x], rows[1][x], rows[2][x], rows[3][x], rows[4][x]]);
        }
        beyond(&mut self.sums, room, width);
        let taps = taps(&self.sums, self.apart, width);
        for x in 0..width {
            out[x] = spline([taps[0][x], taps[1][x], taps[2][x], taps[3][x], taps[4][x]]);
        }
    }

    #[inline(always)]
    fn with_gaps(&mut self, rows: [&[f32]; 5], out: &mut [f32]) {
        let (width, room) = (out.len(), 2 * self.apart);
        for x in 0..width {
            let (mut sum, mut weight) = (0.0, 0.0);
            for (row, share) in rows.iter().zip(SPLINE) {
                let there = !row[x].is_nan();
                sum += if there { share * row[x] } else { 0.0 };
                weight += if there { share } else { 0.0 };
            }
            self.sums[room + x] = sum;
            self.weights[room + x] = weight;
        }
        beyond(&mut self.sums, room, width);
        beyond(&mut self.weights, room, width);
        let sums = taps(&self.sums, self.apart, width);
        let weights = taps(&self.weights, self.apart, width);
        for x in 0..width {
            let at = |taps: [&[f32]; 5]| {
                spline([taps[0][x], taps[1][x], taps[2][x], taps[3][x], taps[4][x]])
            };
            let there = !rows[2][x].is_nan();
            out[x] = if there {
                at(sums) / at(weights)
            } else {
                f32::NAN
            };
        }
    }
}

#[inline(always)]
fn spline(v: [f32; 5]) -> f32 {
    SPLINE[2] * v[2] + (SPLINE[1] * (v[1] + v[3]) + SPLINE[0] * (v[0] + v[4]))
}

fn beyond(row: &mut [f32], room: usize, width: usize) {
    for step in 1..=room as i64 {
        row[room - step as usize] = row[room + mirrored(-step, width)];
        row[room + width - 1 + step as usize] =
            row[room + mirrored(width as i64 - 1 + step, width)];
    }
}

#[inline(always)]
fn taps(row: &[f32], apart: usize, width: usize) -> [&[f32]; 5] {
    std::array::from_fn(|tap| &row[tap * apart..tap * apart + width])
}

#[cfg(test)]
mod tests {
    use super::*;

    // By the definition, in double precision.
    fn plain(values: &[f32], size: Size, scale: usize, x: i64, y: i64) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (j, down) in SPLINE.iter().enumerate() {
            for (i, across) in SPLINE.iter().enumerate() {
                let step = 1_i64 << scale;
                let column = mirrored(x + (i as i64 - 2) * step, size.width);
                let row = mirrored(y + (j as i64 - 2) * step, size.height);
                let value = values[row * size.width + column];
                if !value.is_nan() {
                    let weight = f64::from(*down) * f64::from(*across);
                    sum += weight * f64::from(value);
                    weights += weight;
                }
            }
        }
        sum / weights
    }

    #[test]
    fn every_point_is_the_weighted_mean_of_its_neighbours() {
        for (width, height, gaps) in [(37, 41, false), (37, 41, true), (3, 1, false), (2, 9, true)]
        {
            let size = Size { width, height };
            let values: Vec<f32> = (0..size.pixels())
                .map(|i| {
                    let gap = gaps && i % 7 == 3;
                    if gap {
                        f32::NAN
                    } else {
                        ((i * 7919) % 101) as f32
                    }
                })
                .collect();
            let field = Field::new(&values, size);
            for scale in 0..4 {
                let mut out = vec![0.0; values.len()];
                smoother(&field, scale, &mut out);
                for (at, found) in out.iter().enumerate() {
                    let (x, y) = ((at % width) as i64, (at / width) as i64);
                    if values[at].is_nan() {
                        assert!(found.is_nan());
                        continue;
                    }
                    let truth = plain(&values, size, scale, x, y);
                    assert!(
                        (f64::from(*found) - truth).abs() < 1e-4,
                        "{at} {found} {truth}"
                    );
                }
            }
        }
    }
}
