//! Which coefficients are noise.
//!
//! A coefficient stays as far as the energy of its neighbourhood, 3 x 3 taps of
//! its own scale, stands out of the noise (block thresholding: Cai & Silverman
//! 2001, Sankhya B 63, 127; Chen, Bui & Krzyzak 2005), or as far as it stands out
//! alone. The neighbourhood keeps the wings and rings of a star with its core,
//! so that none of them is left over.

use super::noise::NoiseModel;
use super::patch::Patch;
use super::scales::{MARGIN, each_scale};

/// Mean energy of nine neighbours, in units of the noise's: nothing stays below
/// the first, everything above the second.
const TOGETHER: (f32, f32) = (1.8, 3.6);

/// Energy of one coefficient alone, likewise.
const ALONE: (f32, f32) = (12.0, 20.0);

/// The noise in a patch with a margin of [`MARGIN`]; meaningful inside of it.
#[inline(always)]
pub(super) fn noise_of(patch: &Patch, model: &NoiseModel) -> Vec<f32> {
    let width = patch.width;
    let mut removed = vec![0.0f32; patch.values.len()];
    let mut lines = Lines::new(width);
    each_scale(patch, |scale| {
        let sigma = model.scales[scale.index];
        if sigma <= 0.0 {
            return;
        }
        let (step, inset) = (scale.step(), scale.inset + scale.step());
        let variance = sigma * sigma;
        let count = width - 2 * inset;
        for y in inset..patch.height - inset {
            lines.add_energy(scale.fine, scale.coarse, y, step, scale.inset);
            if !patch.mask.is_empty() {
                lines.count(&patch.mask, y, step, scale.inset);
            }
            // Only the inside is handed out: finer scales need not be done
            // beyond what the coarser ones can use.
            let at = y * width + inset;
            let fine = &scale.fine[at..][..count];
            let coarse = &scale.coarse[at..][..count];
            let removed = &mut removed[at..][..count];
            let (sums, counts) = (&lines.sums[..count], &lines.counts[..count]);
            for x in 0..count {
                let w = fine[x] - coarse[x];
                let local = variance * (1.0 + model.growth * coarse[x].max(0.0));
                let here = (w * w / local - ALONE.0) * (1.0 / (ALONE.1 - ALONE.0));
                let around = (sums[x] / (counts[x] * local) - TOGETHER.0)
                    * (1.0 / (TOGETHER.1 - TOGETHER.0));
                let kept = here.max(around).clamp(0.0, 1.0);
                removed[x] += (1.0 - kept) * w;
            }
        }
    });
    debug_assert!(MARGIN * 2 < width);
    removed
}

// Sums over 3 x 3 taps for one row, and room for them.
struct Lines {
    width: usize,
    down: Vec<f32>,
    sums: Vec<f32>,
    counts: Vec<f32>,
}

impl Lines {
    fn new(width: usize) -> Self {
        Self {
            width,
            down: vec![0.0; width],
            sums: vec![0.0; width],
            counts: vec![9.0; width],
        }
    }

    // Squares of the coefficients, at `inset + step` columns from the edge on.
    #[inline(always)]
    fn add_energy(&mut self, fine: &[f32], coarse: &[f32], y: usize, step: usize, inset: usize) {
        let count = self.width - 2 * inset;
        let row = |from: usize| {
            let at = from * self.width + inset;
            (&fine[at..][..count], &coarse[at..][..count])
        };
        let ((a, p), (b, q), (c, r)) = (row(y - step), row(y), row(y + step));
        let down = &mut self.down[..count];
        for x in 0..count {
            let (u, v, w) = (a[x] - p[x], b[x] - q[x], c[x] - r[x]);
            down[x] = u * u + v * v + w * w;
        }
        across(down, step, &mut self.sums);
    }

    // How many of the nine have data.
    #[inline(always)]
    fn count(&mut self, mask: &[f32], y: usize, step: usize, inset: usize) {
        let count = self.width - 2 * inset;
        let row = |from: usize| &mask[from * self.width + inset..][..count];
        let (a, b, c) = (row(y - step), row(y), row(y + step));
        let down = &mut self.down[..count];
        for x in 0..count {
            down[x] = a[x] + b[x] + c[x];
        }
        across(down, step, &mut self.counts);
        // A pixel without data has no coefficient: any count will do.
        for count in &mut self.counts {
            *count = count.max(1.0);
        }
    }
}

#[inline(always)]
fn across(down: &[f32], step: usize, out: &mut [f32]) {
    let count = down.len() - 2 * step;
    let (a, b, c) = (&down[..count], &down[step..][..count], &down[2 * step..]);
    let (c, out) = (&c[..count], &mut out[..count]);
    for x in 0..count {
        out[x] = a[x] + b[x] + c[x];
    }
}
