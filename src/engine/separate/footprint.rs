//! Where there is starlight, and what is there without it.

use super::pixels::Window;
use crate::engine::frame::{Plane, Size};

/// The pixels of a window that hold starlight, in runs along the rows. All
/// other pixels are nebula, untouched.
#[derive(Debug, Clone, PartialEq)]
pub struct Footprint {
    /// What part of the picture it is about.
    pub window: Window,
    /// Where each row's runs begin in `runs`, and their end.
    rows: Vec<usize>,
    runs: Vec<Run>,
    nebula: Vec<f32>,
    height: Vec<f32>,
}

/// A run of pixels: columns counted in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Run {
    left: usize,
    start: usize,
    end: usize,
}

/// Pixels side by side that hold starlight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span<'a> {
    /// Column of the first, in the picture.
    pub left: usize,
    /// The picture without stars, file units.
    pub nebula: &'a [f32],
    /// How high each pixel lies on its star's image: 1 on top, 0 far out.
    pub height: &'a [f32],
}

/// One pixel: what it is without stars, and how high on a star it lies. None
/// where there is no starlight.
pub(super) type Under = Option<(f32, f32)>;

impl Footprint {
    /// From the rows of a window, each as long as the window is wide.
    pub(super) fn new(window: Window, rows: impl Iterator<Item = Vec<Under>>) -> Self {
        let mut all = Self {
            window,
            rows: vec![0],
            runs: Vec::new(),
            nebula: Vec::new(),
            height: Vec::new(),
        };
        for row in rows {
            all.push(&row);
        }
        all
    }

    fn push(&mut self, row: &[Under]) {
        let mut open = false;
        for (column, under) in row.iter().enumerate() {
            let Some((nebula, height)) = under else {
                open = false;
                continue;
            };
            if !open {
                let start = self.nebula.len();
                let left = self.window.left + column;
                self.runs.push(Run {
                    left,
                    start,
                    end: start,
                });
                open = true;
            }
            self.nebula.push(*nebula);
            self.height.push(*height);
            if let Some(run) = self.runs.last_mut() {
                run.end = self.nebula.len();
            }
        }
        self.rows.push(self.runs.len());
    }

    /// Appends the rows below.
    pub(super) fn extend(&mut self, rows: &[Vec<Under>]) {
        for row in rows {
            self.push(row);
        }
    }

    /// The runs of a row of the picture, from the left; none outside the window.
    pub fn spans(&self, y: usize) -> impl Iterator<Item = Span<'_>> {
        let row = y.wrapping_sub(self.window.top);
        let runs = match (self.rows.get(row), self.rows.get(row.wrapping_add(1))) {
            (Some(start), Some(end)) => &self.runs[*start..*end],
            _ => &[],
        };
        runs.iter().map(|run| Span {
            left: run.left,
            nebula: &self.nebula[run.start..run.end],
            height: &self.height[run.start..run.end],
        })
    }

    /// How many pixels hold starlight.
    pub fn pixels(&self) -> usize {
        self.nebula.len()
    }

    /// Turns a row of the original into nebula. `row` holds the window's
    /// columns of the picture's row `y`.
    pub fn take_stars_off(&self, y: usize, row: &mut [f32]) {
        for span in self.spans(y) {
            let start = span.left - self.window.left;
            row[start..start + span.nebula.len()].copy_from_slice(span.nebula);
        }
    }

    /// The window of the original without its stars: outside the footprint the
    /// same bits. Stars are the original less this.
    pub fn nebula(&self, original: &Plane) -> Plane {
        let Window {
            left,
            top,
            width,
            height,
        } = self.window;
        let part = original
            .values()
            .slice(ndarray::s![top..top + height, left..left + width]);
        let mut values: Vec<f32> = Vec::with_capacity(width * height);
        for (y, row) in part.rows().into_iter().enumerate() {
            let start = values.len();
            values.extend(row.iter());
            self.take_stars_off(top + y, &mut values[start..]);
        }
        let size = Size { width, height };
        Plane::from_vec(size, values).unwrap_or_else(|| original.clone())
    }
}

/// The nebula's value nearest to `nebula` with `nebula + (original - nebula)`
/// equal to `original` in single precision; and whether there is one close by.
///
/// The difference is exact, or rounded by less than the original's last bit,
/// unless nebula and stars are both much larger than the original and of
/// opposite sign: that needs a sky near zero.
pub(super) fn exact(original: f32, nebula: f32) -> (f32, bool) {
    let holds = |nebula: f32| nebula + (original - nebula) == original;
    if holds(nebula) {
        return (nebula, true);
    }
    let rounded = original - (original - nebula);
    let (mut up, mut down) = (rounded, rounded);
    for _ in 0..4 {
        for candidate in [up, down] {
            if holds(candidate) {
                return (candidate, true);
            }
        }
        (up, down) = (up.next_up(), down.next_down());
    }
    (nebula, false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_lie_where_the_light_is() {
        let window = Window {
            left: 5,
            top: 7,
            width: 4,
            height: 2,
        };
        let some = |value: f32| Some((value, 0.5));
        let rows = [vec![some(1.0), None, some(2.0), some(3.0)], vec![None; 4]];
        let footprint = Footprint::new(window, rows.into_iter());
        let spans: Vec<_> = footprint
            .spans(7)
            .map(|span| (span.left, span.nebula.to_vec()))
            .collect();
        assert_eq!(spans, [(5, vec![1.0]), (7, vec![2.0, 3.0])]);
        assert_eq!(
            footprint.spans(8).count() + footprint.spans(9).count() + footprint.spans(0).count(),
            0
        );
        let mut row = [9.0; 4];
        footprint.take_stars_off(7, &mut row);
        assert_eq!(row, [1.0, 9.0, 2.0, 3.0]);
    }

    #[test]
    fn sums_hold_to_the_last_bit() {
        let mut bits = 1_u64;
        let mut draw = |span: f32| {
            bits = bits
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (bits >> 40) as f32 / 16_777_216.0 * span
        };
        for _ in 0..200_000 {
            let sky = 1.0 + draw(60_000.0);
            let original = sky + draw(65_000.0);
            let (nebula, holds) = exact(original, sky + draw(1.0) - 0.5);
            assert!(holds && nebula + (original - nebula) == original);
        }
        // A sky below zero under a star that lifts it to almost nothing.
        let (nebula, holds) = exact(1.234_567_8e-7, -0.9);
        assert_eq!((nebula, holds), (-0.9, false));
    }
}
