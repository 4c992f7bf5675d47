//! The starlet transform of one patch: scale by scale, what the smoothing
//! took away.

use super::patch::{Patch, renormalise, spline};

/// Scales that are looked at: structures of about 1, 2, 4, 8 and 16 px.
pub const SCALES: usize = 5;

/// Pixels on each side that a result depends on: all the smoothings' reach, and
/// one step of the coarsest scale for the look at its neighbours.
pub const MARGIN: usize = 2 * ((1 << SCALES) - 1) + (1 << (SCALES - 1));

/// One scale of a patch. What lies within `inset` pixels of the patch's edge
/// has no meaning.
pub(super) struct Scale<'a> {
    /// Which: 0 is the finest.
    pub index: usize,
    /// Smoothed up to this scale.
    pub fine: &'a [f32],
    /// Smoothed beyond it; `fine - coarse` are the coefficients.
    pub coarse: &'a [f32],
    /// Pixels at the edge without meaning.
    pub inset: usize,
}

impl Scale<'_> {
    /// Pixels between the taps of this scale.
    pub fn step(&self) -> usize {
        1 << self.index
    }
}

/// Hands out all scales from the finest on.
#[inline(always)]
pub(super) fn each_scale(patch: &Patch, mut look: impl FnMut(&Scale<'_>)) {
    let mut fine = patch.values.clone();
    let mut coarse = vec![0.0; fine.len()];
    let mut share = vec![0.0; patch.mask.len()];
    let mut inset = 0;
    for index in 0..SCALES {
        let step = 1 << index;
        inset += 2 * step;
        spline(&fine, patch.width, step, inset, &mut coarse);
        if !patch.mask.is_empty() {
            // The share is taken from the mask itself: no data at this step's
            // own taps, so its reach is that of one step alone.
            spline(&patch.mask, patch.width, step, inset, &mut share);
            renormalise(&mut coarse, &patch.mask, &share);
        }
        look(&Scale {
            index,
            fine: &fine,
            coarse: &coarse,
            inset,
        });
        std::mem::swap(&mut fine, &mut coarse);
    }
}
