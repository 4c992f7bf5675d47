//! One side of a reduction: which source values lie under an output pixel.

use std::ops::Range;

/// Overlaps below this share of a step are rounding errors.
const LEAST: f64 = 1e-9;

/// For each output pixel along one side the source values under it, and how
/// much of its length each takes, in pixels of the picture.
#[derive(Debug, Clone)]
pub(super) struct Axis {
    // First source value, first weight; one more than there are pixels.
    spans: Vec<(usize, usize)>,
    weights: Vec<f64>,
    source: Range<usize>,
    inside: Range<usize>,
}

impl Axis {
    /// `count` output pixels of `step` from `corner` on, over a side of `whole`
    /// pixels that the source holds in cells of `cell`.
    pub fn new(corner: f64, step: f64, count: usize, whole: usize, cell: usize) -> Self {
        let (whole, cell) = (whole as f64, cell.max(1) as f64);
        let edge = |index: usize| (corner + index as f64 * step).clamp(0.0, whole);
        let least = LEAST * step;
        let mut axis = Self {
            spans: Vec::with_capacity(count + 1),
            weights: Vec::new(),
            source: 0..0,
            inside: 0..0,
        };
        for index in 0..count {
            let (low, high) = (edge(index), edge(index + 1));
            let before = axis.weights.len();
            let mut first = 0;
            if high - low > least {
                let mut at = (low / cell) as usize;
                while (at as f64) * cell < high {
                    let from = at as f64 * cell;
                    let shared = high.min((from + cell).min(whole)) - low.max(from);
                    if shared > least {
                        if axis.weights.len() == before {
                            first = at;
                        }
                        axis.weights.push(shared);
                    }
                    at += 1;
                }
            }
            axis.spans.push((first, before));
            let found = axis.weights.len() - before;
            if found > 0 {
                if before == 0 {
                    axis.source.start = first;
                    axis.inside.start = index;
                }
                axis.source.end = first + found;
                axis.inside.end = index + 1;
            }
        }
        axis.spans.push((0, axis.weights.len()));
        axis
    }

    /// Output pixels.
    pub fn len(&self) -> usize {
        self.spans.len() - 1
    }

    /// The first source value under an output pixel, and the weights from it on.
    pub fn span(&self, index: usize) -> (usize, &[f64]) {
        let (first, from) = self.spans[index];
        (first, &self.weights[from..self.spans[index + 1].1])
    }

    /// The source values that are used at all.
    pub fn source(&self) -> Range<usize> {
        self.source.clone()
    }

    /// The output pixels that have something under them.
    pub fn inside(&self) -> Range<usize> {
        self.inside.clone()
    }
}
