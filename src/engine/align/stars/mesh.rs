//! Sky and noise on a coarse mesh.

/// Pixels along the side of one cell.
pub(super) const CELL: usize = 64;

/// A cell needs so many of its sampled pixels.
const ENOUGH: usize = CELL * CELL / 32;

/// From the median of absolute deviations to sigma, for normal noise.
const TO_SIGMA: f64 = 1.482_602_218_505_602;

/// Middle and spread of a sample without its outliers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Clipped {
    /// Mean of what was not clipped.
    pub mean: f64,
    /// Median of what was not clipped.
    pub median: f64,
    /// 1.4826 times the median absolute deviation; where so many values are
    /// alike that this is 0, the standard deviation of what was not clipped.
    pub sigma: f64,
    /// Half of how far the highest 2.275 % of what was not clipped lie above
    /// the median: sigma for normal noise, more where the noise leans upwards.
    pub upper: f64,
}

/// Leaves out what is farther than 3 sigma from the median, up to five times.
/// Sorts `sample`, which must hold no NaN. None where it is empty.
pub(super) fn clipped(sample: &mut [f32]) -> Option<Clipped> {
    sample.sort_unstable_by(f32::total_cmp);
    let (mut low, mut high) = (0, sample.len());
    let mut answer = None;
    for _ in 0..5 {
        let part = sample.get(low..high).filter(|part| !part.is_empty())?;
        let median = f64::from(part[part.len() / 2]);
        let mut sigma = TO_SIGMA * deviation(part, median);
        let mean = part.iter().map(|v| f64::from(*v)).sum::<f64>() / part.len() as f64;
        if sigma == 0.0 {
            let square = |v: &f32| (f64::from(*v) - mean) * (f64::from(*v) - mean);
            sigma = (part.iter().map(square).sum::<f64>() / part.len() as f64).sqrt();
        }
        answer = Some(Clipped {
            mean,
            median,
            sigma,
            upper: 0.5 * (f64::from(part[part.len() * 977 / 1000]) - median),
        });
        let from = low + part.partition_point(|v| f64::from(*v) < median - 3.0 * sigma);
        let to = low + part.partition_point(|v| f64::from(*v) <= median + 3.0 * sigma);
        if (from, to) == (low, high) {
            break;
        }
        (low, high) = (from, to);
    }
    answer
}

/// Median distance from `middle` of sorted values.
fn deviation(sorted: &[f32], middle: f64) -> f64 {
    let distance = |index: usize| (f64::from(sorted[index]) - middle).abs();
    let (mut low, mut high) = (0, sorted.len() - 1);
    // The farthest values are at the ends: drop one at a time until half is left.
    for _ in 0..(sorted.len() - 1) / 2 {
        if distance(low) > distance(high) {
            low += 1;
        } else {
            high -= 1;
        }
    }
    distance(low).max(distance(high))
}

/// Every second pixel of every second row of a cell, shifted from row to row,
/// without those that `keep` refuses. `row` gives a row of the picture.
pub(super) fn sample_cell<'a>(
    sample: &mut Vec<f32>,
    rows: std::ops::Range<usize>,
    columns: std::ops::Range<usize>,
    row: impl Fn(usize) -> &'a [f32],
    keep: impl Fn(usize, usize) -> bool,
) {
    sample.clear();
    for y in rows.step_by(2) {
        let values = row(y);
        let shift = y / 2 % 2;
        for x in (columns.start + shift..columns.end).step_by(2) {
            if values[x].is_finite() && keep(x, y) {
                sample.push(values[x]);
            }
        }
    }
}

/// Sky and noise in the middle of each cell, row by row.
#[derive(Debug)]
pub(super) struct Mesh {
    columns: usize,
    sky: Vec<f32>,
    /// Median over the cells.
    pub typical_sky: f64,
    /// Median over the cells.
    pub typical_noise: f64,
}

impl Mesh {
    /// From the cells of a picture, row by row, with how many pixels each was
    /// sampled by. Cells with too few take their neighbours' mean. None where
    /// no cell has any pixel.
    pub fn new(columns: usize, cells: &[(usize, Option<Clipped>)]) -> Option<Self> {
        let most = cells.iter().map(|(count, _)| *count).max()?;
        let enough = ENOUGH.min(most);
        let mut sky: Vec<Option<f64>> = cells
            .iter()
            .map(|(count, cell)| cell.filter(|_| *count >= enough).map(|cell| cell.mean))
            .collect();
        let good = || cells.iter().filter(|(count, _)| *count >= enough);
        let typical_noise = middle(good().filter_map(|(_, c)| c.map(|c| c.sigma)).collect())?;
        let typical_sky = middle(sky.iter().flatten().copied().collect())?;
        while sky.iter().any(Option::is_none) {
            sky = grown(columns, &sky);
        }
        Some(Self {
            columns,
            sky: sky.into_iter().flatten().map(|v| v as f32).collect(),
            typical_sky,
            typical_noise,
        })
    }

    /// The sky along one row of the picture: bilinear between the middles of
    /// the cells, constant beyond the outermost ones.
    pub fn sky_row(&self, y: usize, out: &mut [f32]) {
        let rows = self.sky.len() / self.columns;
        let (above, below, share) = between(y, rows);
        let node = |column: usize| {
            let a = self.sky[above * self.columns + column];
            let b = self.sky[below * self.columns + column];
            a + (b - a) * share
        };
        let half = CELL / 2;
        let width = out.len();
        let last = self.columns - 1;
        out[..half.min(width)].fill(node(0));
        for column in 0..last {
            let start = column * CELL + half;
            let (a, b) = (node(column), node(column + 1));
            let slope = (b - a) / CELL as f32;
            let end = (start + CELL).min(width);
            if start < end {
                for (index, value) in out[start..end].iter_mut().enumerate() {
                    *value = a + slope * (index as f32 + 0.5);
                }
            }
        }
        let start = last * CELL + half;
        if start < width {
            out[start..].fill(node(last));
        }
    }
}

/// The cells above and below a row, and how far it is to the lower one.
fn between(y: usize, rows: usize) -> (usize, usize, f32) {
    let place = (y as f32 + 0.5) / CELL as f32 - 0.5;
    if place <= 0.0 {
        return (0, 0, 0.0);
    }
    let above = (place as usize).min(rows - 1);
    let below = (above + 1).min(rows - 1);
    (above, below, place - above as f32)
}

/// Each empty cell takes the mean of the up to eight filled ones around it.
fn grown(columns: usize, sky: &[Option<f64>]) -> Vec<Option<f64>> {
    let rows = sky.len() / columns;
    let around = |index: usize| {
        let (row, column) = (index / columns, index % columns);
        let (mut sum, mut count) = (0.0, 0.0);
        for y in row.saturating_sub(1)..(row + 2).min(rows) {
            for x in column.saturating_sub(1)..(column + 2).min(columns) {
                if let Some(value) = sky[y * columns + x] {
                    sum += value;
                    count += 1.0;
                }
            }
        }
        (count > 0.0).then(|| sum / count)
    };
    (0..sky.len())
        .map(|index| sky[index].or_else(|| around(index)))
        .collect()
}

/// The median; None of nothing.
pub(super) fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outliers_do_not_move_the_middle() {
        // 101 values -50..50 and ten far ones: median 0, MAD 25.
        let mut sample: Vec<f32> = (-50..=50).map(|v| v as f32).collect();
        sample.extend([1e6; 10]);
        let answer = clipped(&mut sample).expect("not empty");
        assert_eq!(answer.median, 0.0);
        assert_eq!(answer.mean, 0.0);
        assert_eq!(answer.upper, 24.0);
        assert!((answer.sigma - 25.0 * 1.4826).abs() < 0.01);
        assert_eq!(clipped(&mut []), None);
        let flat = clipped(&mut [7.0; 30]).expect("not empty");
        assert_eq!((flat.median, flat.sigma), (7.0, 0.0));
    }

    #[test]
    fn the_sky_runs_straight_between_cells() {
        let cell = |mean: f64| {
            let cell = Clipped {
                mean,
                median: mean,
                sigma: 1.0,
                upper: 1.0,
            };
            (1024, Some(cell))
        };
        let cells = [cell(0.0), cell(64.0), (0, None), cell(100.0)];
        let mesh = Mesh::new(2, &cells).expect("three cells");
        let mut row = [0.0; 100];
        mesh.sky_row(0, &mut row);
        assert_eq!(row[0], 0.0);
        assert_eq!(row[32], 0.5);
        assert_eq!(row[95], 63.5);
        assert_eq!(row[99], 64.0);
        mesh.sky_row(127, &mut row);
        // The empty cell has the mean of the three others.
        assert!((row[0] - 164.0 / 3.0).abs() < 1e-4);
        assert!(Mesh::new(1, &[(0, None)]).is_none());
    }
}
