//! Neighbours in a star list, by a grid of square cells.

/// A star as matching sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Star {
    /// Pixels, x right and y down.
    pub at: [f64; 2],
    /// Expected error of either coordinate, in pixels.
    pub sigma: f64,
    /// Its place in the list that was handed in.
    pub index: usize,
}

/// The distance of two positions, squared.
pub(super) fn squared(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (a[0] - b[0], a[1] - b[1]);
    dx * dx + dy * dy
}

/// Stars sorted into square cells, row by row.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    origin: [f64; 2],
    cell: f64,
    columns: usize,
    rows: usize,
    /// Where each cell begins in `members`; one more at the end.
    starts: Vec<u32>,
    /// Positions and places in the list, cell by cell.
    members: Vec<([f64; 2], u32)>,
}

impl Grid {
    /// The grid of a list of finite positions, about one star in a cell.
    pub fn new(stars: &[Star]) -> Self {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for star in stars {
            for axis in 0..2 {
                low[axis] = low[axis].min(star.at[axis]);
                high[axis] = high[axis].max(star.at[axis]);
            }
        }
        if stars.is_empty() {
            (low, high) = ([0.0; 2], [1.0; 2]);
        }
        let extent = [(high[0] - low[0]).max(1.0), (high[1] - low[1]).max(1.0)];
        let count = stars.len().max(1) as f64;
        // A thin strip of stars must not ask for more cells than stars.
        let cell = (extent[0] * extent[1] / count)
            .sqrt()
            .max(extent[0].max(extent[1]) / count)
            .max(1e-6);
        let columns = (extent[0] / cell) as usize + 1;
        let rows = (extent[1] / cell) as usize + 1;
        let mut grid = Self {
            origin: low,
            cell,
            columns,
            rows,
            starts: vec![0; columns * rows + 1],
            members: vec![([0.0; 2], 0); stars.len()],
        };
        let cells: Vec<usize> = stars
            .iter()
            .map(|star| {
                let column = grid.index(star.at[0] - low[0], columns);
                grid.index(star.at[1] - low[1], rows) * columns + column
            })
            .collect();
        for &cell in &cells {
            grid.starts[cell + 1] += 1;
        }
        for cell in 1..grid.starts.len() {
            grid.starts[cell] += grid.starts[cell - 1];
        }
        let mut next = grid.starts.clone();
        for (place, (&cell, star)) in cells.iter().zip(stars).enumerate() {
            grid.members[next[cell] as usize] = (star.at, place as u32);
            next[cell] += 1;
        }
        grid
    }

    // Casting saturates: what lies outside falls into the outermost cells.
    fn index(&self, offset: f64, count: usize) -> usize {
        ((offset / self.cell) as usize).min(count - 1)
    }

    fn each(&self, at: [f64; 2], radius: f64, mut visit: impl FnMut([f64; 2], u32)) {
        let offset = [at[0] - self.origin[0], at[1] - self.origin[1]];
        let left = self.index(offset[0] - radius, self.columns);
        let right = self.index(offset[0] + radius, self.columns);
        let top = self.index(offset[1] - radius, self.rows);
        let bottom = self.index(offset[1] + radius, self.rows);
        for row in top..=bottom {
            let from = self.starts[row * self.columns + left] as usize;
            let to = self.starts[row * self.columns + right + 1] as usize;
            for &(position, place) in &self.members[from..to] {
                visit(position, place);
            }
        }
    }

    /// The star nearest to a position, not farther than `radius`, with its
    /// squared distance. Of equals, the one earlier in the list.
    pub fn nearest(&self, at: [f64; 2], radius: f64) -> Option<(usize, f64)> {
        let mut best: Option<(u32, f64)> = None;
        let limit = radius * radius;
        self.each(at, radius, |position, place| {
            let distance = squared(at, position);
            if distance <= limit
                && best.is_none_or(|(other, least)| {
                    distance < least || (distance == least && place < other)
                })
            {
                best = Some((place, distance));
            }
        });
        best.map(|(place, distance)| (place as usize, distance))
    }

    /// The `count` stars nearest to the position of star `own`, nearest first,
    /// without it.
    pub fn neighbours(&self, own: usize, at: [f64; 2], count: usize) -> Vec<u32> {
        let mut found: Vec<(f64, u32)> = Vec::new();
        let mut radius = self.cell * ((count + 1) as f64).sqrt() * 0.7;
        let all = self.cell * (self.columns + self.rows) as f64;
        loop {
            found.clear();
            let limit = radius * radius;
            self.each(at, radius, |position, place| {
                let distance = squared(at, position);
                if distance <= limit && place as usize != own {
                    found.push((distance, place));
                }
            });
            if found.len() >= count || radius > all {
                break;
            }
            radius *= 1.6;
        }
        found.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        found.truncate(count);
        found.into_iter().map(|(_, place)| place).collect()
    }

    /// Stars for each square pixel around a position: the mean of the cell
    /// and its eight neighbours, or of the whole grid where that is more; 0
    /// more than a cell outside of the grid.
    pub fn density(&self, at: [f64; 2]) -> f64 {
        let inside = |axis: usize, count: usize| {
            let cells = (at[axis] - self.origin[axis]) / self.cell;
            cells > -1.0 && cells < count as f64 + 1.0
        };
        if !inside(0, self.columns) || !inside(1, self.rows) {
            return 0.0;
        }
        let column = self.index(at[0] - self.origin[0], self.columns);
        let row = self.index(at[1] - self.origin[1], self.rows);
        let (left, right) = (column.saturating_sub(1), (column + 1).min(self.columns - 1));
        let (top, bottom) = (row.saturating_sub(1), (row + 1).min(self.rows - 1));
        let mut count = 0;
        for row in top..=bottom {
            count += self.starts[row * self.columns + right + 1]
                - self.starts[row * self.columns + left];
        }
        let cells = ((right - left + 1) * (bottom - top + 1)) as f64;
        let whole = self.members.len() as f64 / (self.columns * self.rows) as f64;
        (f64::from(count) / cells).max(whole) / (self.cell * self.cell)
    }

    /// Whether a star earlier in the list than `place` lies within `radius`.
    pub fn any_before(&self, place: usize, at: [f64; 2], radius: f64) -> bool {
        let mut any = false;
        self.each(at, radius, |position, other| {
            any |= (other as usize) < place && squared(at, position) <= radius * radius;
        });
        any
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stars() -> Vec<Star> {
        // A low-discrepancy sequence with a tight clump added.
        (0..300)
            .map(|k| {
                let (u, v) = (f64::from(k) * 0.754_877_666, f64::from(k) * 0.569_840_291);
                let at = if k % 10 == 0 {
                    [500.0 + u % 1.0 * 8.0, 200.0 + v % 1.0 * 8.0]
                } else {
                    [u % 1.0 * 1000.0, v % 1.0 * 400.0]
                };
                Star {
                    at,
                    sigma: 0.1,
                    index: k as usize,
                }
            })
            .collect()
    }

    #[test]
    fn nearest_equals_the_plain_search() {
        let stars = stars();
        let grid = Grid::new(&stars);
        for k in 0..400 {
            let at = [f64::from(k) * 3.7 - 200.0, f64::from(k * k % 611) - 100.0];
            for radius in [0.5, 20.0, 150.0] {
                let plain = stars
                    .iter()
                    .enumerate()
                    .map(|(place, star)| (squared(at, star.at), place))
                    .filter(|&(distance, _)| distance <= radius * radius)
                    .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
                    .map(|(distance, place)| (place, distance));
                assert_eq!(grid.nearest(at, radius), plain);
            }
        }
    }

    #[test]
    fn neighbours_equal_the_plain_search() {
        let stars = stars();
        let grid = Grid::new(&stars);
        for own in 0..stars.len() {
            let mut plain: Vec<(f64, u32)> = (0..stars.len())
                .filter(|&place| place != own)
                .map(|place| (squared(stars[own].at, stars[place].at), place as u32))
                .collect();
            plain.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let plain: Vec<u32> = plain.iter().take(12).map(|pair| pair.1).collect();
            assert_eq!(grid.neighbours(own, stars[own].at, 12), plain);
        }
        assert_eq!(grid.neighbours(0, stars[0].at, 1000).len(), 299);
    }

    #[test]
    fn density_follows_the_clump_and_survives_odd_lists() {
        let stars = stars();
        let grid = Grid::new(&stars);
        assert!(grid.density([504.0, 204.0]) > 3.0 * grid.density([100.0, 100.0]));
        assert!((grid.density([150.0, 150.0]) / (300.0 / 400_000.0) - 1.0).abs() < 0.4);
        assert_eq!(grid.density([2000.0, 100.0]), 0.0);
        assert_eq!(Grid::new(&[]).nearest([0.0, 0.0], 10.0), None);
        let one = Grid::new(&stars[..1]);
        assert_eq!(one.neighbours(0, stars[0].at, 5), Vec::<u32>::new());
        assert_eq!(one.nearest([f64::NAN, 0.0], 5.0), None);
    }
}
