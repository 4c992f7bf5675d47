//! Pixels at which a detector was full. They say nothing of a line, whatever is
//! done to them afterwards: they are marked in the file's own values, the marks
//! follow the channel onto the grid, and what lies under a mark is no data.

use std::sync::Arc;

use super::crop::Rectangle;
use super::frame::{BAND_ROWS, Rows, RowsError, Size};

/// A pixel to which full ones lend at least this part of its value is no data.
pub const LEAST_SHARE: f32 = 0.001;

/// A pixel to which they lend at least this part of it is full itself.
pub const WHOLE_SHARE: f32 = 0.999;

/// What hears how many rows are done, and may stop.
pub type Tick<'a> = &'a dyn Fn(usize) -> Result<(), RowsError>;

/// Marked pixels of a grid, one bit for each. As rows, 1 where there is a mark,
/// 0 elsewhere.
#[derive(Debug, Clone, PartialEq)]
pub struct Marks {
    size: Size,
    bits: Vec<u64>,
}

impl Marks {
    /// Marks the values of a file at or above `full`, file units.
    ///
    /// # Errors
    /// What the source meets, or `tick` says.
    pub fn of(rows: &dyn Rows, full: f64, tick: Tick<'_>) -> Result<Self, RowsError> {
        Self::by(rows, &|value| f64::from(value) >= full, tick)
    }

    /// Marks the pixels that marked ones went into with `least` of their value or
    /// more: `shares` are marks (0 and 1) after the means that the values went
    /// through. Where there is no share there is no mark.
    ///
    /// # Errors
    /// What the source meets, or `tick` says.
    pub fn reached(shares: &dyn Rows, least: f32, tick: Tick<'_>) -> Result<Self, RowsError> {
        Self::by(shares, &|share| share.abs() >= least, tick)
    }

    fn by(
        rows: &dyn Rows,
        is_marked: &dyn Fn(f32) -> bool,
        tick: Tick<'_>,
    ) -> Result<Self, RowsError> {
        let size = rows.size();
        let mut bits = vec![0; size.pixels().div_ceil(64)];
        let mut band = vec![0.0; size.width * BAND_ROWS.min(size.height)];
        for first_row in (0..size.height).step_by(BAND_ROWS) {
            tick(first_row)?;
            let count = BAND_ROWS.min(size.height - first_row) * size.width;
            rows.read(first_row, &mut band[..count])?;
            for (index, value) in (first_row * size.width..).zip(&band[..count]) {
                bits[index / 64] |= u64::from(is_marked(*value)) << (index % 64);
            }
        }
        Ok(Self { size, bits })
    }

    /// Those of a part of the grid; None where it reaches beyond.
    pub fn within(&self, part: Rectangle) -> Option<Self> {
        let [left, top] = part.origin;
        let (right, bottom) = (
            left.checked_add(part.size.width)?,
            top.checked_add(part.size.height)?,
        );
        if right > self.size.width || bottom > self.size.height {
            return None;
        }
        let mut found = Self::none(part.size);
        for [x, y] in self.places() {
            if (left..right).contains(&x) && (top..bottom).contains(&y) {
                found.mark([x - left, y - top]);
            }
        }
        Some(found)
    }

    /// Marks the cells of `side` x `side` pixels, from the upper left corner on,
    /// in which a pixel is marked.
    pub fn of_cells(&self, side: usize) -> Self {
        let mut found = Self::none(Size {
            width: self.size.width.div_ceil(side),
            height: self.size.height.div_ceil(side),
        });
        for place in self.places() {
            found.mark(place.map(|at| at / side));
        }
        found
    }

    /// Column and row of each marked pixel, row after row.
    pub fn places(&self) -> impl Iterator<Item = [usize; 2]> {
        let words = self.bits.iter().enumerate().filter(|(_, bits)| **bits != 0);
        words
            .flat_map(|(word, bits)| {
                (0..64)
                    .filter(move |bit| bits >> bit & 1 == 1)
                    .map(move |bit| word * 64 + bit)
            })
            .map(|index| [index % self.size.width, index / self.size.width])
    }

    /// Whether the pixel at this column and row is marked; one outside is not.
    pub fn has(&self, [x, y]: [usize; 2]) -> bool {
        let index = y * self.size.width + x;
        x < self.size.width
            && y < self.size.height
            && self.bits[index / 64] >> (index % 64) & 1 == 1
    }

    fn none(size: Size) -> Self {
        let bits = vec![0; size.pixels().div_ceil(64)];
        Self { size, bits }
    }

    fn mark(&mut self, [x, y]: [usize; 2]) {
        let index = y * self.size.width + x;
        self.bits[index / 64] |= 1 << (index % 64);
    }

    /// Whether no pixel is marked.
    pub fn is_empty(&self) -> bool {
        self.bits.iter().all(|bits| *bits == 0)
    }

    /// The lowest value at a marked pixel of a picture of the same size, file
    /// units; None where there is none.
    ///
    /// # Errors
    /// What the source meets, or `tick` says.
    pub fn lowest(&self, rows: &dyn Rows, tick: Tick<'_>) -> Result<Option<f32>, RowsError> {
        let size = self.size;
        let mut lowest: Option<f32> = None;
        let mut band = vec![0.0; size.width * BAND_ROWS.min(size.height)];
        for first_row in (0..size.height).step_by(BAND_ROWS) {
            tick(first_row)?;
            let count = BAND_ROWS.min(size.height - first_row) * size.width;
            let first = first_row * size.width;
            if rows.size() != size || self.none_in(first, count) {
                continue;
            }
            rows.read(first_row, &mut band[..count])?;
            for (index, value) in (first..).zip(&band[..count]) {
                let is_marked = self.bits[index / 64] >> (index % 64) & 1 == 1;
                if is_marked && value.is_finite() {
                    lowest = Some(lowest.map_or(*value, |lowest| lowest.min(*value)));
                }
            }
        }
        Ok(lowest)
    }

    // Whether none of `count` pixels from number `first` on is marked; words that
    // others share count with theirs.
    fn none_in(&self, first: usize, count: usize) -> bool {
        let words = first / 64..(first + count).div_ceil(64);
        self.bits[words].iter().all(|bits| *bits == 0)
    }

    /// Those that one or both have; None where the grids differ.
    pub fn with(mut self, other: &Self) -> Option<Self> {
        for (own, others) in self.bits.iter_mut().zip(&other.bits) {
            *own |= others;
        }
        (self.size == other.size).then_some(self)
    }
}

impl Rows for Marks {
    fn size(&self) -> Size {
        self.size
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        for (index, value) in (first_row * self.size.width..).zip(out) {
            let mark = self.bits[index / 64] >> (index % 64) & 1;
            *value = if mark == 1 { 1.0 } else { 0.0 };
        }
        Ok(())
    }
}

/// A channel whose marked pixels are no data.
pub struct Without {
    rows: Arc<dyn Rows>,
    marks: Arc<dyn Rows>,
}

impl Without {
    /// `marks` are above 0 where there is no data; None where its size is not
    /// that of `rows`.
    pub fn new(rows: Arc<dyn Rows>, marks: Arc<dyn Rows>) -> Option<Self> {
        (rows.size() == marks.size()).then_some(Self { rows, marks })
    }
}

impl Rows for Without {
    fn size(&self) -> Size {
        self.rows.size()
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let mut marks = vec![0.0; out.len()];
        self.marks.read(first_row, &mut marks)?;
        self.rows.read(first_row, out)?;
        for (value, mark) in out.iter_mut().zip(marks) {
            if mark > 0.0 {
                *value = f32::NAN;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Plane;

    const SIZE: Size = Size {
        width: 13,
        height: 150,
    };

    fn plane(value: impl Fn(usize) -> f32) -> Plane {
        let values = (0..SIZE.pixels()).map(value).collect();
        Plane::from_vec(SIZE, values).expect("a whole picture")
    }

    fn read(rows: &dyn Rows) -> Vec<f32> {
        let mut values = vec![0.0; rows.size().pixels()];
        rows.read(0, &mut values).expect("reads");
        values
    }

    /// Protects that just the full pixels go, in every row and band.
    #[test]
    fn what_is_marked_is_no_data_and_nothing_else() {
        let values = plane(|index| if index % 7 == 3 { 9.0 } else { 8.5 });
        let marks = Marks::of(&values, 9.0, &|_| Ok(())).expect("reads");
        let without = Without::new(Arc::new(values), Arc::new(marks)).expect("one size");
        for (index, value) in read(&without).iter().enumerate() {
            assert_eq!(value.is_nan(), index % 7 == 3, "{index}");
        }
        let mut row = vec![0.0; SIZE.width];
        without.read(101, &mut row).expect("reads");
        for (index, value) in (101 * SIZE.width..).zip(row) {
            assert_eq!(value.is_nan(), index % 7 == 3, "{index}");
        }
    }

    /// Protects that marks of two channels add up, and that a share counts by
    /// its amount alone, as a kernel's lobes have both signs.
    #[test]
    fn marks_add_up_and_shares_count_by_their_amount() {
        let shares = plane(|index| match index % 5 {
            0 => -0.1,
            1 => 0.002,
            2 => 0.0005,
            3 => f32::NAN,
            _ => 0.0,
        });
        let one = Marks::reached(&shares, LEAST_SHARE, &|_| Ok(())).expect("reads");
        assert!(!one.is_empty());
        let none = Marks::of(&shares, 5.0, &|_| Ok(())).expect("reads");
        assert!(none.is_empty());
        let both = none.with(&one).expect("one grid");
        for (index, mark) in read(&both).iter().enumerate() {
            assert_eq!(*mark > 0.0, index % 5 < 2, "{index}");
        }
    }

    /// Protects that marks keep their places on parts and cells of the grid.
    #[test]
    fn parts_and_cells_have_the_marks_that_lie_in_them() {
        let values = plane(|index| if index % 37 == 5 { 9.0 } else { 0.0 });
        let marks = Marks::of(&values, 9.0, &|_| Ok(())).expect("reads");
        let places: Vec<[usize; 2]> = marks.places().collect();
        let is_full = |[x, y]: [usize; 2]| (y * SIZE.width + x) % 37 == 5;
        assert_eq!(places.len(), (5..SIZE.pixels()).step_by(37).count());
        assert!(
            places
                .iter()
                .all(|place| is_full(*place) && marks.has(*place))
        );
        assert!(!marks.has([SIZE.width + 5, 0]) && !marks.has([0, SIZE.height]));

        let size = |width, height| Size { width, height };
        let part = |origin, size| Rectangle { origin, size };
        let within = marks.within(part([3, 40], size(10, 70))).expect("inside");
        for (index, mark) in read(&within).iter().enumerate() {
            let place = [index % 10 + 3, index / 10 + 40];
            assert_eq!(*mark > 0.0, is_full(place), "{place:?}");
        }
        assert_eq!(marks.within(part([4, 0], size(10, 70))), None);

        let cells = marks.of_cells(4);
        assert_eq!(cells.size(), size(4, 38));
        for (index, mark) in read(&cells).iter().enumerate() {
            let [x, y] = [index % 4 * 4, index / 4 * 4];
            let inside = |place: &[usize; 2]| {
                (x..x + 4).contains(&place[0]) && (y..y + 4).contains(&place[1])
            };
            assert_eq!(*mark > 0.0, places.iter().any(inside), "{x} {y}");
        }
    }

    /// Protects that the lowest is that of the marked pixels alone.
    #[test]
    fn the_lowest_of_the_marked_is_found() {
        let full = plane(|index| if index % 301 == 7 { 9.0 } else { 0.0 });
        let marks = Marks::of(&full, 9.0, &|_| Ok(())).expect("reads");
        let values = plane(|index| match index % 301 {
            7 if index == 308 => f32::NAN,
            7 => 5000.0 - index as f32,
            _ => 1.0,
        });
        let last = (7..SIZE.pixels())
            .step_by(301)
            .next_back()
            .expect("there is one");
        let found = marks.lowest(&values, &|_| Ok(())).expect("reads");
        assert_eq!(found, Some(5000.0 - last as f32));
        let none = Marks::of(&full, 10.0, &|_| Ok(())).expect("reads");
        assert_eq!(none.lowest(&values, &|_| Ok(())), Ok(None));
    }

    /// Protects that a stopped job does not read on.
    #[test]
    fn a_stop_is_heard() {
        let stop = RowsError {
            message: "stopped".to_owned(),
            hint: String::new(),
        };
        let tick = |row: usize| if row > 0 { Err(stop.clone()) } else { Ok(()) };
        let found = Marks::of(&plane(|_| 1.0), 1.0, &tick);
        assert_eq!(found, Err(stop.clone()));
    }
}
