//! Which stars lie beside which.

use rayon::prelude::*;

use super::fit::Spot;

/// For each star the numbers of those within `distance`, nearest first.
pub(super) fn neighbours(
    spots: &[Spot],
    distance: f64,
    width: usize,
    height: usize,
) -> Vec<Vec<u32>> {
    let side = distance.max(8.0);
    let columns = (width as f64 / side) as usize + 1;
    let rows = (height as f64 / side) as usize + 1;
    let cell = |spot: &Spot| {
        let part = |at: f64, count: usize| ((at / side).max(0.0) as usize).min(count - 1);
        (part(spot.place[0], columns), part(spot.place[1], rows))
    };
    let mut cells = vec![Vec::new(); columns * rows];
    for (index, spot) in spots.iter().enumerate() {
        let (column, row) = cell(spot);
        cells[row * columns + column].push(index as u32);
    }
    spots
        .par_iter()
        .enumerate()
        .map(|(own, spot)| {
            let (column, row) = cell(spot);
            let mut found = Vec::new();
            for y in row.saturating_sub(1)..(row + 2).min(rows) {
                for x in column.saturating_sub(1)..(column + 2).min(columns) {
                    for other in &cells[y * columns + x] {
                        let [u, v] = [0, 1]
                            .map(|axis| spots[*other as usize].place[axis] - spot.place[axis]);
                        let square = u * u + v * v;
                        if *other as usize != own && square < distance * distance {
                            found.push((square, *other));
                        }
                    }
                }
            }
            found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            found.into_iter().map(|(_, other)| other).collect()
        })
        .collect()
}
