//! A map of ratios as rows, made as they are asked for.

use super::{Law, Point};
use crate::engine::frame::{BAND_ROWS, Rows, RowsError, Size};

/// A map of two prepared channels on one grid. Its pixels are means of
/// bin x bin of theirs from the upper left corner on; what is left over at the
/// right and lower edge is dropped.
pub struct Map<'a> {
    over: &'a dyn Rows,
    under: &'a dyn Rows,
    law: Law,
    size: Size,
}

/// What of a map is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// The ratios.
    Ratio,
    /// Their uncertainties.
    Sigma,
}

/// How many pixels of a map are what.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Pixels with data of both lines.
    pub data: u64,
    /// Of those, with a ratio.
    pub known: u64,
    /// Of those with data, where the line that is divided stands out alone.
    pub over_alone: u64,
    /// Where the other stands out alone.
    pub under_alone: u64,
    /// Ratios above the mark.
    pub above: u64,
    /// Ratios above the mark by more than their uncertainty.
    pub surely_above: u64,
}

impl Counts {
    /// Adds those of another part of the map.
    pub fn add(&mut self, other: &Self) {
        self.data += other.data;
        self.known += other.known;
        self.over_alone += other.over_alone;
        self.under_alone += other.under_alone;
        self.above += other.above;
        self.surely_above += other.surely_above;
    }

    /// Counts a pixel in.
    pub fn take(&mut self, point: Point, mark: Option<f64>) {
        match point {
            Point::NoData => return,
            Point::Faint { over, under } => {
                self.over_alone += u64::from(over);
                self.under_alone += u64::from(under);
            }
            Point::Known { ratio, sigma } => {
                self.known += 1;
                if let Some(mark) = mark {
                    self.above += u64::from(ratio > mark);
                    self.surely_above += u64::from(ratio - sigma > mark);
                }
            }
        }
        self.data += 1;
    }
}

impl<'a> Map<'a> {
    /// A map of two channels of one size; None where that holds no whole
    /// bin x bin pixels, or where the sizes differ.
    pub fn new(over: &'a dyn Rows, under: &'a dyn Rows, law: Law) -> Option<Self> {
        let whole = over.size();
        let size = Size {
            width: whole.width / law.bin,
            height: whole.height / law.bin,
        };
        (whole == under.size() && size.pixels() > 0).then_some(Self {
            over,
            under,
            law,
            size,
        })
    }

    /// Its width and height.
    pub fn size(&self) -> Size {
        self.size
    }

    /// What is known of whole rows from `first_row` on, told from left to right
    /// with the place in these rows, from 0.
    ///
    /// # Errors
    /// What one of the channels meets.
    pub fn look(
        &self,
        first_row: usize,
        rows: usize,
        told: &mut dyn FnMut(usize, Point),
    ) -> Result<(), RowsError> {
        let bin = self.law.bin;
        let width = self.over.size().width;
        let at_once = (BAND_ROWS / bin).max(1);
        let mut over = vec![0.0_f32; width * bin * at_once.min(rows)];
        let mut under = over.clone();
        for row in (0..rows).step_by(at_once) {
            let length = width * bin * at_once.min(rows - row);
            let from = (first_row + row) * bin;
            self.over.read(from, &mut over[..length])?;
            self.under.read(from, &mut under[..length])?;
            let lines = over[..length].chunks_exact(width * bin);
            let both = lines.zip(under[..length].chunks_exact(width * bin));
            for (row, (one, other)) in (row..).zip(both) {
                for column in 0..self.size.width {
                    let point = self.point(one, other, width, column * bin);
                    told(row * self.size.width + column, point);
                }
            }
        }
        Ok(())
    }

    // A mean takes pixels that have data in both lines; half of them at least.
    fn point(&self, over: &[f32], under: &[f32], width: usize, left: usize) -> Point {
        let Law { bin, .. } = self.law;
        let has = |value: f32, full: Option<f64>| {
            value.is_finite() && full.is_none_or(|full| f64::from(value) < full)
        };
        let (mut n, mut d, mut count) = (0.0, 0.0, 0_usize);
        for row in 0..bin {
            let from = row * width + left;
            let pixels = over[from..from + bin].iter().zip(&under[from..from + bin]);
            for (one, other) in pixels {
                if has(*one, self.law.over.full) && has(*other, self.law.under.full) {
                    n += f64::from(*one);
                    d += f64::from(*other);
                    count += 1;
                }
            }
        }
        let all = bin * bin;
        if 2 * count < all || count == 0 {
            return Point::NoData;
        }
        let filled = count as f64 / all as f64;
        self.law.at(n / count as f64, d / count as f64, filled)
    }

    /// One part of it as a picture.
    pub fn part(&'a self, which: Which) -> Part<'a> {
        Part { map: self, which }
    }
}

/// The ratios of a map, or their uncertainties; NaN where there are none.
pub struct Part<'a> {
    map: &'a Map<'a>,
    which: Which,
}

impl Rows for Part<'_> {
    fn size(&self) -> Size {
        self.map.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let rows = out.len() / self.map.size.width;
        self.map.look(first_row, rows, &mut |at, point| {
            out[at] = match (point, self.which) {
                (Point::Known { ratio, .. }, Which::Ratio) => ratio as f32,
                (Point::Known { sigma, .. }, Which::Sigma) => sigma as f32,
                _ => f32::NAN,
            };
        })
    }
}
