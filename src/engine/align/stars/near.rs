//! Which places lie near each other.

/// Places in square boxes; finds those within a box's side.
#[derive(Debug)]
pub(super) struct Near {
    side: f64,
    columns: usize,
    boxes: Vec<Vec<usize>>,
    places: Vec<[f64; 2]>,
}

impl Near {
    /// For places in a picture of this size, sought up to `side` px apart.
    pub fn new(width: usize, height: usize, side: f64) -> Self {
        let side = side.max(8.0);
        let count = |length: usize| (length as f64 / side) as usize + 1;
        let columns = count(width);
        Self {
            side,
            columns,
            boxes: vec![Vec::new(); columns * count(height)],
            places: Vec::new(),
        }
    }

    fn cell(&self, [x, y]: [f64; 2]) -> (usize, usize) {
        let rows = self.boxes.len() / self.columns;
        let column = ((x / self.side).max(0.0) as usize).min(self.columns - 1);
        let row = ((y / self.side).max(0.0) as usize).min(rows - 1);
        (column, row)
    }

    /// Adds a place; places are numbered from 0.
    pub fn push(&mut self, place: [f64; 2]) {
        let (column, row) = self.cell(place);
        self.boxes[row * self.columns + column].push(self.places.len());
        self.places.push(place);
    }

    /// Numbers of the places closer than `distance`, which is at most the
    /// side, with their distances.
    pub fn around(
        &self,
        place: [f64; 2],
        distance: f64,
    ) -> impl Iterator<Item = (usize, f64)> + '_ {
        let (column, row) = self.cell(place);
        let rows = self.boxes.len() / self.columns;
        let lines = row.saturating_sub(1)..(row + 2).min(rows);
        let columns = column.saturating_sub(1)..(column + 2).min(self.columns);
        lines
            .flat_map(move |line| columns.clone().map(move |c| line * self.columns + c))
            .flat_map(|index| &self.boxes[index])
            .filter_map(move |number| {
                let [x, y] = self.places[*number];
                let (u, v) = (x - place[0], y - place[1]);
                let apart = (u * u + v * v).sqrt();
                (apart < distance).then_some((*number, apart))
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_what_lies_within_the_distance() {
        let mut near = Near::new(100, 50, 10.0);
        for place in [[9.9, 9.9], [10.1, 10.1], [30.0, 10.0], [-3.0, 60.0]] {
            near.push(place);
        }
        let found: Vec<_> = near.around([9.0, 10.0], 5.0).map(|(n, _)| n).collect();
        assert_eq!(found, [0, 1]);
        assert_eq!(near.around([0.0, 58.0], 5.0).count(), 1);
        assert_eq!(near.around([60.0, 30.0], 9.0).count(), 0);
    }
}
