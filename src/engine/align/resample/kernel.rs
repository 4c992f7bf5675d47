//! Tables of kernel weights along one axis.

use fearless_simd::{Simd, SimdBase, f32x8};

/// Lobes of the kernel on either side.
const LOBES: f64 = 3.0;

/// Steps of a pixel that weights are tabulated at; between them they are
/// interpolated linearly. The second derivative of the kernel stays below 3.7
/// in size, so a weight is off by at most 3.7 / 8 / 1024^2 = 4.4e-7 of the
/// largest.
const STEPS: f64 = 1024.0;

/// Source pixels for one pixel of the result beyond which the kernel is
/// widened.
const FINER: f64 = 1.25;

/// The widest a kernel gets. A picture that shrinks even more is sampled with
/// gaps: its result would be a few pixels wide.
const WIDEST: f64 = 4096.0;

/// Weights along one axis for every position between two pixels.
///
/// The kernel is sinc(x) sinc(x / 3) for |x| < 3 (Lanczos 1956; Duchon 1979,
/// J. Appl. Meteorol. 18, 1016), divided by the sum of the weights taken.
/// Where the source is finer than the result, x is divided by the number of
/// source pixels in a pixel of the result: the kernel then averages over the
/// pixel's footprint, and what is too fine for the result is averaged out.
#[derive(Debug, Clone)]
pub(super) struct Kernel {
    /// Taps taken: an even number, half of them at or before the position.
    pub taps: usize,
    /// Taps with the zeros that fill the last group of eight.
    pub stride: usize,
    /// Half the width of the tent that stands in where the kernel rings, px.
    pub tent: f32,
    steps: usize,
    steps_per_pixel: f32,
    table: Vec<f32>,
}

impl Kernel {
    /// The kernel for a source with `pixels` source pixels in a pixel of the
    /// result.
    pub fn new(pixels: f64) -> Self {
        let widening = if pixels > FINER {
            pixels.min(WIDEST)
        } else {
            1.0
        };
        let half = (LOBES * widening).ceil() as usize;
        let taps = 2 * half;
        let stride = taps.next_multiple_of(8);
        let steps = (STEPS / widening).ceil().max(32.0) as usize;
        let mut table = vec![0.0; (steps + 1) * stride];
        let mut weights = vec![0.0; taps];
        for (step, row) in table.chunks_exact_mut(stride).enumerate() {
            let phase = step as f64 / steps as f64;
            for (tap, weight) in weights.iter_mut().enumerate() {
                let distance = tap as f64 - (half - 1) as f64 - phase;
                *weight = lanczos(distance / widening);
            }
            let total: f64 = weights.iter().sum();
            for (entry, weight) in row.iter_mut().zip(&weights) {
                *entry = (weight / total) as f32;
            }
        }
        Self {
            taps,
            stride,
            tent: widening as f32,
            steps,
            steps_per_pixel: steps as f32,
            table,
        }
    }

    /// Pixels from the first tap to the pixel at or before the position.
    pub fn lead(&self) -> i64 {
        (self.taps / 2) as i64 - 1
    }

    /// Fills `weights` ([`Self::stride`] of them) for a position `phase`
    /// (0..1) after a pixel. They add up to 1.
    #[inline(always)]
    pub fn weights(&self, phase: f32, weights: &mut [f32]) {
        let place = phase * self.steps_per_pixel;
        let step = (place as usize).min(self.steps - 1);
        let part = place - step as f32;
        let rows = &self.table[step * self.stride..(step + 2) * self.stride];
        let (low, high) = rows.split_at(self.stride);
        for ((weight, low), high) in weights.iter_mut().zip(low).zip(high) {
            *weight = low + part * (high - low);
        }
    }

    /// [`Self::weights`] of a kernel of six taps, in a vector.
    #[inline(always)]
    pub fn six_lanes<S: Simd>(&self, simd: S, phase: f32) -> f32x8<S> {
        let place = phase * self.steps_per_pixel;
        let step = (place as usize).min(self.steps - 1);
        let part = f32x8::splat(simd, place - step as f32);
        let rows = &self.table[step * 8..step * 8 + 16];
        let low = f32x8::from_slice(simd, &rows[..8]);
        let high = f32x8::from_slice(simd, &rows[8..]);
        low + part * (high - low)
    }
}

fn lanczos(x: f64) -> f64 {
    if x.abs() >= LOBES {
        0.0
    } else {
        sinc(x) * sinc(x / LOBES)
    }
}

fn sinc(x: f64) -> f64 {
    if x == 0.0 {
        return 1.0;
    }
    // Zeros fall exactly on whole numbers, so that taps on pixels are exact.
    if x == x.round() {
        return 0.0;
    }
    let angle = std::f64::consts::PI * x;
    libm::sin(angle) / angle
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_follow_the_kernel_and_add_up_to_one() {
        let kernel = Kernel::new(1.0);
        let mut worst = 0.0_f64;
        for i in 0..5000 {
            let phase = (f64::from(i) + 0.37) / 5000.0;
            let mut weights = [1.0; 8];
            kernel.weights(phase as f32, &mut weights);
            let exact = |tap: usize| {
                let x = tap as f64 - 2.0 - f64::from(phase as f32);
                let x = if x == 0.0 { 1e-12 } else { x };
                let pi = std::f64::consts::PI;
                3.0 * libm::sin(pi * x) * libm::sin(pi * x / 3.0) / (pi * x * pi * x)
            };
            let total: f64 = (0..6).map(exact).sum();
            for (tap, weight) in weights.iter().enumerate().take(6) {
                worst = worst.max((f64::from(*weight) - exact(tap) / total).abs());
            }
            let sum: f64 = weights.iter().map(|weight| f64::from(*weight)).sum();
            assert!((sum - 1.0).abs() < 2e-7, "{phase}: {sum}");
            assert_eq!(&weights[6..], [0.0, 0.0]);
            let lanes: [f32; 8] = fearless_simd::dispatch!(
                fearless_simd::Level::new(),
                simd => kernel.six_lanes(simd, phase as f32).into()
            );
            assert_eq!(lanes, weights);
        }
        assert!(worst < 6e-7, "{worst}");
    }

    #[test]
    fn a_position_on_a_pixel_takes_that_pixel_alone() {
        let kernel = Kernel::new(1.0);
        let mut weights = [1.0; 8];
        kernel.weights(0.0, &mut weights);
        assert_eq!(weights, [0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
        kernel.weights(1.0, &mut weights);
        assert_eq!(weights, [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0]);
    }

    #[test]
    fn wide_kernels_cover_their_footprint() {
        for pixels in [1.3, 2.0, 7.7, 1e9] {
            let kernel = Kernel::new(pixels);
            assert!(kernel.taps as f64 >= (6.0 * pixels).min(6.0 * WIDEST));
            let mut weights = vec![0.0; kernel.stride];
            kernel.weights(0.3, &mut weights);
            let sum: f64 = weights.iter().map(|weight| f64::from(*weight)).sum();
            assert!((sum - 1.0).abs() < 2e-6, "{pixels}: {sum}");
        }
        assert_eq!(Kernel::new(f64::NAN).taps, 6);
    }
}
