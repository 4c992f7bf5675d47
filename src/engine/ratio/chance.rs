//! Whether what stands above the noise is more than noise.
//!
//! Of white noise some pixels stand out by chance in both lines at once:
//!
//! ```text
//! expected = data Q(k)^2      Q(k): the part of a Gaussian beyond k sigma
//! ```
//!
//! A map counts as more than that in one of two ways. Either a square of
//! [`SURE`] pixels stands [`SURE_SIGMA`] sigma out in both lines, which is the
//! least that a telescope's image of a point covers: white noise does that in
//! one field of a million pixels in 10^46. Or more pixels stand out than chance explains
//! where it is given every advantage (the noise is a tenth more than was
//! measured, and pixels come in groups of ten as in resampled stacks, 5 sigma
//! on top), and some of them lie together: a square of 3 x 3 is whole. The
//! second also holds against noise that both lines share, as where one broad
//! channel was taken out of both: it makes more pixels stand out, but far
//! apart.

use super::{Counts, Point};

/// The side of a square that is surely light, pixels.
pub const SURE: usize = 2;

/// Both lines stand so far above their skies there.
pub const SURE_SIGMA: f64 = 5.0;

/// The side of a square of known pixels that lie together.
const TOGETHER: usize = 3;

/// The noise may be so much more than was measured.
const MORE_NOISE: f64 = 1.1;

/// Pixels that stand out together by chance where neighbours share noise.
const GROUP: f64 = 10.0;

/// How many pixels stand out in both lines where there is noise alone.
pub fn expected(data: u64, min_snr: f64) -> f64 {
    let beyond = 0.5 * libm::erfc(min_snr / std::f64::consts::SQRT_2);
    data as f64 * beyond * beyond
}

/// Whether there is light in a map, and not noise alone.
pub fn stands_out(counts: &Counts, squares: &Squares, min_snr: f64) -> bool {
    let most = expected(counts.data, min_snr / MORE_NOISE);
    let bound = most + 5.0 * (GROUP * most).sqrt();
    squares.sure > 0 || (squares.known > 0 && counts.known as f64 > bound)
}

/// What a pixel of a map adds to squares.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Runs {
    /// Known pixels up to and with this one from above.
    known: u8,
    /// Sure ones.
    sure: u8,
}

/// Finds squares of pixels that stand out while the rows of a map go by from
/// the top.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Squares {
    /// Squares of 3 x 3 pixels that all have a ratio.
    pub known: u64,
    /// Squares of 2 x 2 pixels that are all surely light.
    pub sure: u64,
    columns: Vec<Runs>,
    next: usize,
    /// Known pixels and sure ones in a run that ends here, from the left, whose
    /// columns are tall enough.
    across: Runs,
}

impl Squares {
    /// For rows of `width` pixels.
    pub fn new(width: usize) -> Self {
        Self {
            known: 0,
            sure: 0,
            columns: vec![Runs::default(); width],
            next: 0,
            across: Runs::default(),
        }
    }

    /// Counts the next pixel in, from left to right and from the top down.
    pub fn take(&mut self, point: &Point) {
        let (is_known, is_sure) = match point {
            Point::Known { ratio, sigma } => (true, SURE_SIGMA * sigma <= *ratio),
            _ => (false, false),
        };
        let grown = |run: u8, on: bool| if on { run.saturating_add(1) } else { 0 };
        let column = &mut self.columns[self.next];
        column.known = grown(column.known, is_known);
        column.sure = grown(column.sure, is_sure);
        let tall = |run: u8, side: usize| usize::from(run) >= side;
        self.across.known = grown(self.across.known, tall(column.known, TOGETHER));
        self.across.sure = grown(self.across.sure, tall(column.sure, SURE));
        self.known += u64::from(tall(self.across.known, TOGETHER));
        self.sure += u64::from(tall(self.across.sure, SURE));
        self.next += 1;
        if self.next == self.columns.len() {
            self.next = 0;
            self.across = Runs::default();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn squares(width: usize, map: &str, sigma: f64) -> Squares {
        let mut squares = Squares::new(width);
        for letter in map.chars().filter(|letter| !letter.is_whitespace()) {
            let point = match letter {
                '#' => Point::Known { ratio: 1.0, sigma },
                _ => Point::Faint {
                    over: false,
                    under: false,
                },
            };
            squares.take(&point);
        }
        squares
    }

    /// Counted by eye.
    #[test]
    fn squares_are_counted() {
        let map = "#### .
                   ####.
                   ###..
                   ...##
                   ...##";
        let found = squares(5, map, 0.3);
        assert_eq!((found.known, found.sure), (1, 0));
        let found = squares(5, map, 0.2);
        assert_eq!((found.known, found.sure), (1, 6));
        // What ends a row and begins the next does not lie together.
        assert_eq!(squares(3, "##. #.# .## ##. #.#", 0.1).sure, 0);
    }

    /// Q(3) = 0.001349898, by tables of the normal distribution.
    #[test]
    fn the_gaussian_has_its_tails() {
        assert!((expected(1_000_000, 3.0) - 1.822_22).abs() < 1e-4);
        assert!((expected(1_000_000, 1.0) - 25_171.5).abs() < 1.0);
    }

    #[test]
    fn more_than_chance_counts_where_it_lies_together() {
        let found = |known, squares, sure, min_snr| {
            let counts = Counts {
                data: 1_000_000,
                known,
                ..Counts::default()
            };
            let squares = Squares {
                known: squares,
                sure,
                ..Squares::new(1000)
            };
            stands_out(&counts, &squares, min_snr)
        };
        assert!(!found(3, 0, 0, 3.0));
        assert!(!found(20, 1, 0, 3.0), "chance explains them");
        assert!(!found(1500, 0, 0, 3.0), "they lie far apart");
        assert!(found(1500, 40, 0, 3.0));
        assert!(found(16, 4, 9, 3.0), "a small bright knot");
        assert!(!found(26_000, 900, 0, 1.0));
    }
}
