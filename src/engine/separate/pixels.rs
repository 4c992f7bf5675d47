//! A picture's values, and rectangles of it.

use crate::engine::frame::Size;

/// Values row by row; NaN where there is no data.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pixels<'a> {
    pub values: &'a [f32],
    pub width: usize,
    pub height: usize,
}

impl<'a> Pixels<'a> {
    /// `values` has `width` times `height` of them.
    pub fn new(values: &'a [f32], width: usize, height: usize) -> Self {
        debug_assert_eq!(values.len(), width * height);
        Self {
            values,
            width,
            height,
        }
    }

    pub fn size(&self) -> Size {
        Size {
            width: self.width,
            height: self.height,
        }
    }

    pub fn row(&self, y: usize) -> &'a [f32] {
        &self.values[y * self.width..(y + 1) * self.width]
    }

    /// A pixel; NaN outside.
    pub fn at(&self, x: i64, y: i64) -> f32 {
        if x < 0 || y < 0 || x >= self.width as i64 || y >= self.height as i64 {
            return f32::NAN;
        }
        self.values[y as usize * self.width + x as usize]
    }

    /// Noise of rounding, where all values are whole numbers: 1 / sqrt(12).
    pub fn rounding(&self) -> f32 {
        let whole = self
            .values
            .iter()
            .step_by(61)
            .all(|v| v.is_nan() || libm::truncf(*v) == *v);
        if whole { 0.288_675 } else { 0.0 }
    }
}

/// A rectangle of a picture, px: columns and rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First column.
    pub left: usize,
    /// First row.
    pub top: usize,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

impl Window {
    /// The column after the last one.
    pub fn right(&self) -> usize {
        self.left + self.width
    }

    /// The row after the last one.
    pub fn bottom(&self) -> usize {
        self.top + self.height
    }

    /// The part that lies in a picture of this size.
    pub fn within(&self, width: usize, height: usize) -> Self {
        let (left, top) = (self.left.min(width), self.top.min(height));
        Self {
            left,
            top,
            width: self.right().min(width) - left,
            height: self.bottom().min(height) - top,
        }
    }

    /// The pixels within `reach` of a place, cut to a picture of this size.
    pub(super) fn around([x, y]: [f64; 2], reach: f64, width: usize, height: usize) -> Self {
        let low = |at: f64| libm::ceil(at - reach).max(0.0) as usize;
        let high = |at: f64| (libm::floor(at + reach) + 1.0).max(0.0) as usize;
        let (left, top) = (low(x).min(width), low(y).min(height));
        Self {
            left,
            top,
            width: high(x).min(width).saturating_sub(left),
            height: high(y).min(height).saturating_sub(top),
        }
    }
}
