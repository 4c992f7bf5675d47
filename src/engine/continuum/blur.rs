//! A picture as it would be under poorer seeing, band by band.

use std::sync::Arc;

use rayon::prelude::*;

use crate::engine::frame::{Rows, RowsError, Size};

/// A picture convolved with a bell. It holds the bands that are asked for and
/// the kernel's reach above and below, nothing more.
///
/// The kernel is the bell of a grid, exp(-t) I_n(t) with the modified Bessel
/// functions (Lindeberg 1990, IEEE PAMI 12, 234): its variance is exactly t,
/// however narrow it is. Pixels without data stay so; elsewhere they are left
/// out of the mean.
pub struct Blurred {
    rows: Arc<dyn Rows>,
    /// From the middle outwards; both sides add up to 1.
    kernel: Vec<f64>,
}

impl Blurred {
    /// `variance_px2` is that of the bell along each axis, px^2, above 0 and at
    /// most 400.
    pub fn new(rows: Arc<dyn Rows>, variance_px2: f64) -> Self {
        Self {
            rows,
            kernel: kernel(variance_px2.clamp(0.0, 400.0)),
        }
    }
}

/// exp(-t) I_n(t) for n = 0, 1 .. until it is below 1e-6 of the whole, by
/// Miller's backward recurrence I_(n-1) = I_(n+1) + (2 n / t) I_n.
fn kernel(t: f64) -> Vec<f64> {
    if t.is_nan() || t < 1e-9 {
        return vec![1.0];
    }
    let reach = libm::ceil(5.0 * t.sqrt()) as usize + 3;
    let mut values = vec![0.0; reach + 20];
    let last = values.len() - 1;
    values[last - 1] = 1e-200;
    for n in (1..last).rev() {
        values[n - 1] = values[n + 1] + 2.0 * n as f64 / t * values[n];
        if values[n - 1] > 1e200 {
            for value in &mut values {
                *value *= 1e-300;
            }
        }
    }
    let total = |values: &[f64]| values[0] + 2.0 * values[1..].iter().sum::<f64>();
    let whole = total(&values);
    let end = values.iter().rposition(|value| *value > 1e-6 * whole);
    values.truncate(end.map_or(1, |end| end + 1));
    let whole = total(&values);
    values.iter().map(|value| value / whole).collect()
}

impl Rows for Blurred {
    fn size(&self) -> Size {
        self.rows.size()
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let Size { width, height } = self.size();
        let reach = self.kernel.len() - 1;
        let count = out.len() / width;
        let top = first_row.saturating_sub(reach);
        let bottom = (first_row + count + reach).min(height);
        let mut source = vec![0.0_f32; (bottom - top) * width];
        self.rows.read(top, &mut source)?;
        out.par_chunks_mut(width)
            .enumerate()
            .for_each(|(index, out)| {
                // Down the columns: sums of values and of weights, then along.
                let row = first_row + index;
                let mut sums = vec![[0.0_f64; 2]; width];
                for y in row.saturating_sub(reach)..(row + reach + 1).min(height) {
                    let weight = self.kernel[y.abs_diff(row)];
                    let line = &source[(y - top) * width..(y - top + 1) * width];
                    for (sum, value) in sums.iter_mut().zip(line) {
                        if !value.is_nan() {
                            sum[0] += weight * f64::from(*value);
                            sum[1] += weight;
                        }
                    }
                }
                let middle = &source[(row - top) * width..(row - top + 1) * width];
                for (x, out) in out.iter_mut().enumerate() {
                    let (mut value, mut weights) = (0.0, 0.0);
                    for u in x.saturating_sub(reach)..(x + reach + 1).min(width) {
                        let weight = self.kernel[u.abs_diff(x)];
                        value += weight * sums[u][0];
                        weights += weight * sums[u][1];
                    }
                    *out = if middle[x].is_nan() || weights <= 0.0 {
                        f32::NAN
                    } else {
                        (value / weights) as f32
                    };
                }
            });
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Plane;
    use ndarray::Array2;

    #[test]
    fn a_kernel_has_its_variance() {
        for t in [0.01, 0.09, 0.5, 1.0, 4.0, 25.0, 300.0] {
            let kernel = kernel(t);
            let moment = |n: usize, w: f64| 2.0 * (n * n) as f64 * w;
            let second: f64 = kernel.iter().enumerate().map(|(n, w)| moment(n, *w)).sum();
            assert!((second / t - 1.0).abs() < 1e-3, "{t}: {second}");
            let whole = kernel[0] + 2.0 * kernel[1..].iter().sum::<f64>();
            assert!((whole - 1.0).abs() < 1e-12);
        }
        // exp(-1) I_0(1) and exp(-1) I_1(1), Abramowitz & Stegun table 9.8.
        assert!((kernel(1.0)[0] - 0.465_759_6).abs() < 1e-5);
        assert!((kernel(1.0)[1] - 0.207_910_4).abs() < 1e-5);
    }

    #[test]
    fn bands_agree_and_gaps_survive() {
        let plane = Plane::new(Array2::from_shape_fn((70, 41), |(y, x)| {
            if (x + y) % 13 == 0 {
                f32::NAN
            } else {
                ((x * 7 + y * 11) % 29) as f32
            }
        }));
        let blurred = Blurred::new(Arc::new(plane.clone()), 2.3);
        let mut whole = vec![0.0; 70 * 41];
        blurred.read(0, &mut whole).expect("in memory");
        for first in [63, 0, 21, 35] {
            let mut part = vec![0.0; 7 * 41];
            blurred.read(first, &mut part).expect("in memory");
            for (a, b) in part.iter().zip(&whole[first * 41..]) {
                assert_eq!(a.to_bits(), b.to_bits());
            }
        }
        for (value, source) in whole.iter().zip(plane.values()) {
            assert_eq!(value.is_nan(), source.is_nan());
        }
        let flat: Arc<dyn Rows> = Arc::new(Plane::new(Array2::from_elem((9, 9), 4.0)));
        let mut out = [0.0; 81];
        Blurred::new(flat, 3.0)
            .read(0, &mut out)
            .expect("in memory");
        assert!(out.iter().all(|value| (value - 4.0).abs() < 1e-6));
    }
}
