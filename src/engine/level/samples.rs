//! Samples of the sky: one robust level for each box of a grid.
//!
//! A box keeps a few thousand of its pixels, on a fixed pattern of places. Its
//! level is their median after clipping, which leaves stars out; its noise
//! comes from differences along the rows, in which gradients cancel.

use std::ops::ControlFlow;

use rayon::prelude::*;

use super::keep_out;
use super::{LevelError, edge};
use crate::engine::frame::{BAND_ROWS, Rows, RowsError, Size};
use crate::engine::recipe::KeepOut;

/// Boxes along the picture's longer side.
const BOXES: usize = 48;

/// No box is narrower than this, px, so that a median means something.
const BOX_MIN_PX: usize = 8;

/// Boxes along the shorter side of a narrow picture, where pixels allow.
const BOXES_ACROSS: usize = 6;

/// At most so many pixels of a box are looked at.
const BOX_PIXELS: usize = 6144;

/// Boxes where fewer of the pixels than this share have a value are refused.
const ENOUGH: f64 = 0.4;

/// Every so many kept pixels one is taken for the noise.
const NOISE_STEP: usize = 4;

/// One box that has a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sample {
    /// Mean position of the pixels that count, px.
    pub x: f64,
    /// See `x`.
    pub y: f64,
    /// Level in file units.
    pub value: f64,
    /// Pixels that the level comes from.
    pub pixels: usize,
    /// Sigma of one pixel.
    pub noise: f64,
}

/// All boxes of a picture, row by row.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Grid {
    /// Of the picture, px.
    pub size: Size,
    /// Boxes in a row.
    pub across: usize,
    /// Rows of boxes.
    pub down: usize,
    /// None where a box has too few pixels with a value.
    pub samples: Vec<Option<Sample>>,
}

impl Grid {
    /// Sigma of one pixel: the median over the boxes for which `counts` holds.
    pub(super) fn noise(&self, counts: impl Fn(usize) -> bool) -> f64 {
        let boxes = self.samples.iter().enumerate();
        let mut noises: Vec<f64> = boxes
            .filter(|(index, _)| counts(*index))
            .filter_map(|(_, sample)| sample.map(|sample| sample.noise))
            .filter(|noise| noise.is_finite())
            .collect();
        noises.sort_unstable_by(f64::total_cmp);
        noises.get(noises.len() / 2).copied().unwrap_or(0.0)
    }
}

/// How the picture is cut into boxes and which pixels are looked at.
struct Layout {
    size: Size,
    across: usize,
    down: usize,
    step: usize,
}

impl Layout {
    fn new(size: Size) -> Self {
        let long = size.width.max(size.height);
        let side = long.div_ceil(BOXES).max(BOX_MIN_PX);
        let boxes = |length: usize| {
            let square = (length + side / 2) / side;
            let room = (length * side / (BOX_MIN_PX * BOX_MIN_PX)).min(length);
            square.max(BOXES_ACROSS.min(room)).max(1)
        };
        let (across, down) = (boxes(size.width), boxes(size.height));
        let pixels = (size.width / across + 1) * (size.height / down + 1);
        let mut step = 1;
        while pixels > BOX_PIXELS * step * step {
            step += 1;
        }
        Self {
            size,
            across,
            down,
            step,
        }
    }

    /// First column of box `index`; the width where it is the last's next.
    fn left(&self, index: usize) -> usize {
        index * self.size.width / self.across
    }

    fn top(&self, index: usize) -> usize {
        index * self.size.height / self.down
    }
}

/// What a box has gathered so far.
#[derive(Debug, Default, Clone)]
struct Gathered {
    values: Vec<f32>,
    differences: Vec<f32>,
    looked_at: usize,
    sum_x: f64,
    sum_y: f64,
}

impl Gathered {
    fn clear(&mut self) {
        self.values.clear();
        self.differences.clear();
        (self.looked_at, self.sum_x, self.sum_y) = (0, 0.0, 0.0);
    }

    fn sample(&mut self) -> Option<Sample> {
        let count = self.values.len();
        if count == 0 || (count as f64) < ENOUGH * self.looked_at as f64 {
            return None;
        }
        self.values.sort_unstable_by(f32::total_cmp);
        let left = clipped(&self.values);
        Some(Sample {
            x: self.sum_x / count as f64,
            y: self.sum_y / count as f64,
            value: level(left),
            pixels: left.len(),
            noise: clipped_rms(&self.differences) / 6.0_f64.sqrt(),
        })
    }
}

/// Reads a picture once from the top and takes a sample from every box.
pub(super) fn gather(
    rows: &dyn Rows,
    parts: &[KeepOut],
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Grid, LevelError> {
    let size = rows.size();
    let layout = Layout::new(size);
    let mut strip = Strip {
        boxes: vec![Gathered::default(); layout.across],
        mask: vec![false; size.width],
        next: 0,
        samples: Vec::with_capacity(layout.across * layout.down),
        parts,
        layout: &layout,
    };
    let read = |first_row: usize, buffer: &mut Vec<f32>| -> Result<(), RowsError> {
        let count = BAND_ROWS.min(size.height.saturating_sub(first_row));
        buffer.resize(count * size.width, 0.0);
        match count {
            0 => Ok(()),
            _ => rows.read(first_row, buffer),
        }
    };
    let (mut band, mut spare) = (Vec::new(), Vec::new());
    read(0, &mut band)?;
    for first_row in (0..size.height).step_by(BAND_ROWS) {
        let (next, ()) = rayon::join(
            || read(first_row + BAND_ROWS, &mut spare),
            || strip.take(first_row, &band),
        );
        next?;
        std::mem::swap(&mut band, &mut spare);
        let done = (first_row + BAND_ROWS).min(size.height);
        if tick(done, size.height).is_break() {
            return Err(LevelError::Stopped);
        }
    }
    Ok(Grid {
        size,
        across: layout.across,
        down: layout.down,
        samples: strip.samples,
    })
}

/// The row of boxes that is being filled.
struct Strip<'a> {
    boxes: Vec<Gathered>,
    mask: Vec<bool>,
    /// Index of this row of boxes.
    next: usize,
    samples: Vec<Option<Sample>>,
    parts: &'a [KeepOut],
    layout: &'a Layout,
}

impl Strip<'_> {
    fn take(&mut self, first_row: usize, band: &[f32]) {
        for (y, row) in (first_row..).zip(band.chunks_exact(self.layout.size.width)) {
            if y.is_multiple_of(self.layout.step) {
                self.take_row(y, row);
            }
            if y + 1 == self.layout.top(self.next + 1) {
                let samples: Vec<_> = self.boxes.par_iter_mut().map(Gathered::sample).collect();
                self.samples.extend(samples);
                self.boxes.iter_mut().for_each(Gathered::clear);
                self.next += 1;
            }
        }
    }

    fn take_row(&mut self, y: usize, row: &[f32]) {
        let step = self.layout.step;
        let counted = edge::inner(row);
        self.mask.fill(false);
        keep_out::mark(self.parts, y as f64, &mut self.mask);
        // Rows begin one pixel later each time, so that no column is left out.
        let mut x = (y / step) % step;
        for (index, gathered) in self.boxes.iter_mut().enumerate() {
            let right = self.layout.left(index + 1);
            let mut sum_x = 0;
            let before = gathered.values.len();
            while x < right {
                gathered.looked_at += 1;
                let value = row[x];
                if value.is_finite() && counted.contains(&x) && !self.mask[x] {
                    if gathered.values.len().is_multiple_of(NOISE_STEP) {
                        gathered.differences.extend(difference(row, x));
                    }
                    gathered.values.push(value);
                    sum_x += x;
                }
                x += step;
            }
            gathered.sum_x += sum_x as f64;
            gathered.sum_y += ((gathered.values.len() - before) * y) as f64;
        }
    }
}

/// `2 v(x) - v(x-2) - v(x+2)`: its variance is 6 times that of a pixel (Stoehr
/// et al. 2008, ASP Conf. 394, 505). Neighbours two apart share no light even
/// in resampled pictures.
fn difference(row: &[f32], x: usize) -> Option<f32> {
    let (left, right) = (row[x.checked_sub(2)?], *row.get(x + 2)?);
    let difference = 2.0 * f64::from(row[x]) - f64::from(left) - f64::from(right);
    difference.is_finite().then_some(difference as f32)
}

/// Values in rising order less those farther than 3 standard deviations from
/// the median, until nothing more falls out.
fn clipped(sorted: &[f32]) -> &[f32] {
    let mut left = sorted;
    for _ in 0..50 {
        let middle = f64::from(left[left.len() / 2]);
        let count = left.len() as f64;
        let mean = left.iter().map(|value| f64::from(*value)).sum::<f64>() / count;
        let squares = left.iter().map(|value| {
            let offset = f64::from(*value) - mean;
            offset * offset
        });
        let reach = 3.0 * (squares.sum::<f64>() / count).sqrt();
        let from = left.partition_point(|value| f64::from(*value) < middle - reach);
        let to = left.partition_point(|value| f64::from(*value) <= middle + reach);
        if from >= to || to - from == left.len() {
            break;
        }
        left = &left[from..to];
    }
    left
}

/// The median of values in rising order. Where several share the middle value
/// they stand for a range, from half-way to the next lower value to half-way to
/// the next higher one, and the median lies within it: whole numbers from a
/// converter then give a level between them.
fn level(sorted: &[f32]) -> f64 {
    let half = sorted.len() as f64 / 2.0;
    let middle = sorted[sorted.len() / 2];
    let value = f64::from(middle);
    let from = sorted.partition_point(|other| *other < middle);
    let to = sorted.partition_point(|other| *other <= middle);
    let below = from.checked_sub(1).map(|index| f64::from(sorted[index]));
    let above = sorted.get(to).map(|other| f64::from(*other));
    let (low, high) = match (below, above) {
        (Some(below), Some(above)) => ((value + below) / 2.0, (value + above) / 2.0),
        (Some(below), None) => ((value + below) / 2.0, value + (value - below) / 2.0),
        (None, Some(above)) => (value - (above - value) / 2.0, (value + above) / 2.0),
        (None, None) => return value,
    };
    low + (high - low) * ((half - from as f64) / (to - from) as f64)
}

/// The root mean square, what is beyond 3.5 times it left out until nothing
/// changes. NaN where there is nothing.
fn clipped_rms(differences: &[f32]) -> f64 {
    let mut reach = f64::INFINITY;
    let mut count = 0;
    let mut rms = f64::NAN;
    for _ in 0..50 {
        let near = differences
            .iter()
            .map(|difference| f64::from(*difference))
            .filter(|difference| difference.abs() <= reach);
        let (left, sum) = near.fold((0usize, 0.0), |(left, sum), d| (left + 1, sum + d * d));
        if left == count {
            break;
        }
        count = left;
        rms = (sum / left as f64).sqrt();
        reach = 3.5 * rms;
    }
    rms
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boxes_cover_every_size() {
        let boxes = |width, height| {
            let layout = Layout::new(Size { width, height });
            (layout.across, layout.down, layout.step)
        };
        assert_eq!(boxes(6248, 4176), (48, 32, 2));
        assert_eq!(boxes(8, 8), (1, 1, 1));
        assert_eq!(boxes(24, 24), (3, 3, 1));
        assert_eq!(boxes(10_000, 10), (48, 6, 1));
        assert_eq!(boxes(1, 1), (1, 1, 1));
        assert_eq!(boxes(1, 4000), (1, 48, 1));
    }

    /// Grouped data by hand: 2 below, 6 at 5, 2 above; the fifth of ten lies
    /// at 4.5 + 3/6.
    #[test]
    fn whole_numbers_give_levels_between() {
        assert_eq!(
            level(&[4.0, 4.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 6.0, 6.0]),
            5.0
        );
        assert_eq!(level(&[4.0, 4.0, 4.0, 5.0, 5.0, 5.0, 5.0, 5.0]), 4.7);
        assert_eq!(level(&[1.0, 2.0, 3.0]), 2.0);
        assert_eq!(level(&[7.0, 7.0]), 7.0);
        assert_eq!(level(&[7.0]), 7.0);
    }

    #[test]
    fn clipping_leaves_stars_out() {
        let mut values: Vec<f32> = (0..100).map(|i| i as f32 / 100.0).collect();
        values.extend([50.0, 900.0, 1000.0]);
        assert_eq!(clipped(&values).len(), 100);
        assert_eq!(clipped_rms(&[1.0, -1.0, 1.0, -1.0]), 1.0);
        let mut differences = vec![1.0f32; 100];
        differences.push(1000.0);
        assert_eq!(clipped_rms(&differences), 1.0);
        assert!(clipped_rms(&[]).is_nan());
    }
}
