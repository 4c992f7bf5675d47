//! Names beside each other: each as near to its place as the others allow.

/// A name along the drawing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slot {
    /// The row, 0 nearest to the drawing.
    pub row: usize,
    /// Its middle.
    pub x: f64,
}

/// Places names of these widths, whose wished middles rise, between `low` and
/// `high`, `gap` apart at least. Rows are added until all fit; a name that is
/// wider than the room alone gets a row of its own.
pub fn spread(wished: &[(f64, f64)], gap: f64, [low, high]: [f64; 2]) -> Vec<Slot> {
    let count = wished.len();
    let fits = |rows: usize| {
        (0..rows).all(|row| {
            let mine = wished.iter().skip(row).step_by(rows);
            let number = mine.clone().count();
            let total: f64 = mine.map(|(_, width)| width + gap).sum();
            number <= 1 || total - gap <= high - low
        })
    };
    let rows = (1..=count.max(1)).find(|rows| fits(*rows)).unwrap_or(1);
    let mut slots = vec![Slot { row: 0, x: 0.0 }; count];
    for row in 0..rows {
        let mine: Vec<usize> = (row..count).step_by(rows).collect();
        let items: Vec<(f64, f64)> = mine.iter().map(|i| wished[*i]).collect();
        for (index, x) in mine.iter().zip(one_row(&items, gap, low, high)) {
            slots[*index] = Slot { row, x };
        }
    }
    slots
}

// Least squares: with the widths before each name taken off, the places must
// only rise, which is isotonic regression by pooling neighbours.
fn one_row(items: &[(f64, f64)], gap: f64, low: f64, high: f64) -> Vec<f64> {
    let mut offsets = Vec::with_capacity(items.len());
    let mut offset = 0.0;
    for (index, (_, width)) in items.iter().enumerate() {
        if index > 0 {
            offset += 0.5 * (items[index - 1].1 + width) + gap;
        }
        offsets.push(offset);
    }
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for ((wish, _), offset) in items.iter().zip(&offsets) {
        let mut pool = (wish - offset, 1);
        while let Some(before) = pools.last().filter(|before| before.0 > pool.0).copied() {
            pools.pop();
            let number = before.1 + pool.1;
            let mean = (before.0 * before.1 as f64 + pool.0 * pool.1 as f64) / number as f64;
            pool = (mean, number);
        }
        pools.push(pool);
    }
    let (Some(first), Some(last)) = (items.first(), items.last()) else {
        return Vec::new();
    };
    let least = low + 0.5 * first.1;
    let most = high - 0.5 * last.1 - offset;
    pools
        .iter()
        .flat_map(|(place, number)| std::iter::repeat_n(*place, *number))
        .zip(&offsets)
        .map(|(place, offset)| place.min(most).max(least) + offset)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_with_room_stay_where_they_are() {
        let slots = spread(&[(0.2, 0.05), (0.6, 0.05)], 0.01, [0.0, 1.0]);
        assert_eq!(slots.iter().map(|s| s.x).collect::<Vec<_>>(), [0.2, 0.6]);
    }

    #[test]
    fn close_names_move_aside_evenly() {
        let slots = spread(&[(0.50, 0.1), (0.51, 0.1)], 0.0, [0.0, 1.0]);
        assert!((slots[0].x - 0.455).abs() < 1e-12 && (slots[1].x - 0.555).abs() < 1e-12);
    }

    #[test]
    fn crowds_take_more_rows() {
        let wished: Vec<_> = (0..9).map(|i| (0.5 + 0.01 * f64::from(i), 0.2)).collect();
        let slots = spread(&wished, 0.01, [0.0, 1.0]);
        assert_eq!(slots.iter().map(|slot| slot.row).max(), Some(2));
    }
}
