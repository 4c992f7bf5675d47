//! Counting and sampling while the rows go by.

use super::levels;
use super::{Levels, Survey};
use crate::engine::frame::Size;

/// Up to so many pixels are all kept. Of more, a share that a hash of their
/// position picks: half of them, a quarter, ... whatever first fits, so that
/// at least a million remain.
pub const SAMPLE_PIXELS: usize = 1 << 21;

/// Pixels that a glance takes in, about.
pub const GLANCE_PIXELS: usize = 1 << 18;

/// From this length on a run of zeros at an edge is empty by itself.
const EMPTY_RUN: usize = 8;

/// This part of a row's highest value is no light: rounding errors lie below
/// it, noise never does for a whole run.
const NOTHING: f32 = 1e-9;

/// So many pixels at the highest value at least make a clipped peak.
const CLIPPED_PIXELS: u64 = 10;

#[derive(Debug, Clone, Copy)]
struct Kept {
    /// A hash of the position; the lowest stay longest.
    priority: u32,
    value: f32,
    /// `2 v(x) - v(x-2) - v(x+2)`; NaN where a neighbour is missing.
    difference: f32,
}

/// Zeros in runs at one side that are too short to be empty by themselves.
#[derive(Debug, Default)]
struct ShortRuns {
    rows: usize,
    pixels: u64,
    priorities: Vec<u32>,
}

/// Takes bands of one picture, in any order, and turns them into a [`Survey`].
#[derive(Debug)]
pub struct Sampler {
    size: Size,
    ceiling: Option<f64>,
    valid: u64,
    missing: u64,
    empty: u64,
    saturated: u64,
    min: f32,
    max: f32,
    at_max: u64,
    kept: Vec<Kept>,
    /// Left and right.
    short: [ShortRuns; 2],
    /// Pixels with a higher priority are not kept.
    threshold: u32,
    /// One row of so many is looked at.
    every: usize,
}

/// Spreads the bits of a position (the finaliser of SplitMix64: Steele, Lea &
/// Flood 2014).
fn priority(index: u64) -> u32 {
    let mut z = index.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 32) as u32
}

impl Sampler {
    /// For a picture of this size. `ceiling` is the value at which the
    /// detector is full, where it is known.
    pub fn new(size: Size, ceiling: Option<f64>) -> Self {
        Self {
            size,
            ceiling,
            valid: 0,
            missing: 0,
            empty: 0,
            saturated: 0,
            min: f32::INFINITY,
            max: f32::NEG_INFINITY,
            at_max: 0,
            kept: Vec::new(),
            short: Default::default(),
            threshold: u32::MAX,
            every: 1,
        }
    }

    /// For a look in passing: of a large picture just evenly spaced rows count,
    /// [`GLANCE_PIXELS`] in all. Sky and noise come out as well as anyone can
    /// use them (a 500th of the noise), at a small part of the cost.
    pub fn glance(size: Size, ceiling: Option<f64>) -> Self {
        let rows = GLANCE_PIXELS.div_ceil(size.width.max(1));
        Self {
            every: (size.height / rows.max(1)).max(1),
            ..Self::new(size, ceiling)
        }
    }

    /// The rows that count.
    pub(super) fn rows_of_interest(&self) -> impl Iterator<Item = usize> + use<> {
        (self.every / 2..self.size.height).step_by(self.every)
    }

    /// Takes whole rows of `width` pixels from `first_row` on. Each row of the
    /// picture should come once; what is left over after the last whole row
    /// is not looked at.
    pub fn push_band(&mut self, first_row: usize, width: usize, band: &[f32]) {
        if width == 0 {
            return;
        }
        for (row, values) in (first_row..).zip(band.chunks_exact(width)) {
            if row % self.every != self.every / 2 {
                continue;
            }
            self.push_row(row as u64 * width as u64, values);
            while self.kept_pixels() > SAMPLE_PIXELS {
                self.thin_out();
            }
        }
    }

    fn kept_pixels(&self) -> usize {
        let short = self.short.iter().map(|runs| runs.priorities.len());
        self.kept.len() + short.sum::<usize>()
    }

    fn thin_out(&mut self) {
        self.threshold /= 2;
        let threshold = self.threshold;
        self.kept.retain(|kept| kept.priority <= threshold);
        for runs in &mut self.short {
            runs.priorities.retain(|priority| *priority <= threshold);
        }
    }

    /// `first` is the position of the row's first pixel in the picture.
    fn push_row(&mut self, first: u64, row: &[f32]) {
        // Some programs leave rounding errors where a frame did not reach,
        // instead of zeros.
        let highest = row.iter().filter(|value| value.is_finite());
        let highest = highest.fold(0.0_f32, |highest, value| highest.max(value.abs()));
        let nothing = highest * NOTHING;
        let blank = |value: &&f32| value.abs() <= nothing || !value.is_finite();
        let start = row.iter().take_while(blank).count();
        let tail = row[start..].iter().rev().take_while(blank).count();
        let end = row.len() - tail;
        self.push_edge(0, first, &row[..start], nothing);
        self.push_edge(1, first + end as u64, &row[end..], nothing);

        let inner = &row[start..end];
        let first = first + start as u64;
        for (x, value) in inner.iter().copied().enumerate() {
            if !value.is_finite() {
                self.missing += 1;
                continue;
            }
            self.valid += 1;
            self.min = self.min.min(value);
            if value > self.max {
                (self.max, self.at_max) = (value, 0);
            }
            self.at_max += u64::from(value == self.max);
            self.saturated += u64::from(self.ceiling.is_some_and(|top| f64::from(value) >= top));
            let priority = priority(first + x as u64);
            if priority <= self.threshold {
                self.kept.push(Kept {
                    priority,
                    value,
                    difference: difference(inner, x),
                });
            }
        }
    }

    /// A run at one edge that holds zeros and missing pixels alone.
    fn push_edge(&mut self, side: usize, first: u64, run: &[f32], nothing: f32) {
        let is_zero = |value: &f32| value.abs() <= nothing;
        let zeros = run.iter().filter(|value| is_zero(value)).count();
        self.missing += (run.len() - zeros) as u64;
        if zeros >= EMPTY_RUN {
            self.empty += zeros as u64;
        } else if zeros > 0 {
            let runs = &mut self.short[side];
            runs.rows += 1;
            runs.pixels += zeros as u64;
            let threshold = self.threshold;
            let zeros = (first..).zip(run).filter(|(_, value)| is_zero(value));
            runs.priorities.extend(
                zeros
                    .map(|(index, _)| priority(index))
                    .filter(|priority| *priority <= threshold),
            );
        }
    }

    /// The survey of all that was pushed.
    pub fn finish(mut self) -> Survey {
        for runs in std::mem::take(&mut self.short) {
            if runs.rows * 2 * self.every > self.size.height {
                self.empty += runs.pixels;
            } else if runs.pixels > 0 {
                self.take_back(&runs);
            }
        }
        let mut sample: Vec<f32> = self.kept.iter().map(|kept| kept.value).collect();
        sample.sort_unstable_by(f32::total_cmp);
        let differences = self.kept.iter().map(|kept| kept.difference.abs());
        let differences: Vec<f32> = differences.filter(|d| d.is_finite()).collect();
        let levels = (!sample.is_empty()).then(|| {
            let (sky, spread) = levels::sky(&sample);
            Levels {
                min: f64::from(self.min),
                max: f64::from(self.max),
                median: levels::median(&sample),
                sky,
                spread,
                noise: levels::noise(differences),
            }
        });
        let saturation = self
            .ceiling
            .or_else(|| self.clipped_peak(&sample, levels?.sky));
        Survey {
            size: self.size,
            valid: self.valid,
            missing: self.missing,
            empty: self.empty,
            saturated: match (self.ceiling, saturation) {
                (None, Some(_)) => self.at_max,
                _ => self.saturated,
            },
            saturation,
            levels,
            sample,
        }
    }

    /// Zeros at an edge that turned out to be values like others.
    fn take_back(&mut self, runs: &ShortRuns) {
        self.valid += runs.pixels;
        self.min = self.min.min(0.0);
        if self.max < 0.0 {
            (self.max, self.at_max) = (0.0, 0);
        }
        if self.max == 0.0 {
            self.at_max += runs.pixels;
        }
        if self.ceiling.is_some_and(|top| top <= 0.0) {
            self.saturated += runs.pixels;
        }
        self.kept
            .extend(runs.priorities.iter().map(|priority| Kept {
                priority: *priority,
                value: 0.0,
                difference: f32::NAN,
            }));
    }

    /// The highest value, where at least as many pixels share it as lie within
    /// the 2 % of the range above the sky that are just below it: stars are
    /// steep there, a pile of equal values is a full detector.
    fn clipped_peak(&self, sample: &[f32], sky: f64) -> Option<f64> {
        let max = f64::from(self.max);
        if self.at_max < CLIPPED_PIXELS || self.at_max * 20 > self.valid {
            return None;
        }
        let near = max - 0.02 * (max - sky);
        let from = sample.partition_point(|value| f64::from(*value) < near);
        let peak = sample.partition_point(|value| *value < self.max);
        let (below, at) = (peak - from, sample.len() - peak);
        // In coarse data the next value down may lie outside of those 2 %.
        let next = sample[..peak].last().map_or(max, |value| f64::from(*value));
        let steps = (max - sky) / (max - next).max(f64::MIN_POSITIVE);
        (at > 0 && at >= below && steps > 50.0).then_some(max)
    }
}

fn difference(row: &[f32], x: usize) -> f32 {
    let neighbours = x
        .checked_sub(2)
        .and_then(|left| Some((row[left], row.get(x + 2)?)));
    neighbours.map_or(f32::NAN, |(left, right)| {
        (2.0 * f64::from(row[x]) - f64::from(left) - f64::from(*right)) as f32
    })
}
