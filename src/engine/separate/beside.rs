//! Which stars lie beside which.

use rayon::prelude::*;

use super::fit::Spot;
use crate::engine::frame::Size;

/// Places, sorted into square cells.
#[derive(Debug, Clone)]
pub(super) struct Cells {
    side: f64,
    columns: usize,
    rows: usize,
    cells: Vec<Vec<u32>>,
    places: Vec<[f64; 2]>,
}

impl Cells {
    /// For places on a picture of this size, that are looked for within
    /// `distance` of others.
    pub fn new(places: Vec<[f64; 2]>, distance: f64, size: Size) -> Self {
        let side = distance.max(8.0);
        let columns = (size.width as f64 / side) as usize + 1;
        let rows = (size.height as f64 / side) as usize + 1;
        let mut all = Self {
            side,
            columns,
            rows,
            cells: vec![Vec::new(); columns * rows],
            places,
        };
        for (index, place) in all.places.iter().enumerate() {
            let (column, row) = all.cell(*place);
            all.cells[row * columns + column].push(index as u32);
        }
        all
    }

    fn cell(&self, place: [f64; 2]) -> (usize, usize) {
        let part = |at: f64, count: usize| ((at / self.side).max(0.0) as usize).min(count - 1);
        (part(place[0], self.columns), part(place[1], self.rows))
    }

    /// The numbers of the places within `distance` (no more than that of
    /// [`Cells::new`]), nearest first; and the squares of how far they are.
    pub fn within(&self, place: [f64; 2], distance: f64) -> Vec<(f64, u32)> {
        let (column, row) = self.cell(place);
        let mut found = Vec::new();
        for y in row.saturating_sub(1)..(row + 2).min(self.rows) {
            for x in column.saturating_sub(1)..(column + 2).min(self.columns) {
                for other in &self.cells[y * self.columns + x] {
                    let [u, v] =
                        [0, 1].map(|axis| self.places[*other as usize][axis] - place[axis]);
                    let square = u * u + v * v;
                    if square < distance * distance {
                        found.push((square, *other));
                    }
                }
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        found
    }
}

/// For each star the numbers of those within `distance`, nearest first.
pub(super) fn neighbours(spots: &[Spot], distance: f64, size: Size) -> Vec<Vec<u32>> {
    let places = spots.iter().map(|spot| spot.place).collect();
    let cells = Cells::new(places, distance, size);
    spots
        .par_iter()
        .enumerate()
        .map(|(own, spot)| {
            let found = cells.within(spot.place, distance);
            let others = found.into_iter().map(|(_, other)| other);
            others.filter(|other| *other as usize != own).collect()
        })
        .collect()
}
