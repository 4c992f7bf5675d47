//! Small dense systems of linear equations, in a fixed order of operations.

/// A pivot this small against the largest entry of the matrix means that the
/// equations do not settle all unknowns.
const SINGULAR: f64 = 1e-11;

/// Solves `matrix * x = right` by Gaussian elimination with row pivoting.
/// `matrix` holds rows of `right.len()`. None where the equations do not
/// settle every unknown, or hold something that is not finite.
pub(super) fn solve(mut matrix: Vec<f64>, mut right: Vec<f64>) -> Option<Vec<f64>> {
    let n = right.len();
    let largest = matrix
        .iter()
        .fold(0.0f64, |top, entry| top.max(entry.abs()));
    if n == 0 || matrix.len() != n * n || largest == 0.0 {
        return None;
    }
    for column in 0..n {
        let mut pivot = column;
        for row in column + 1..n {
            if matrix[row * n + column].abs() > matrix[pivot * n + column].abs() {
                pivot = row;
            }
        }
        let entry = matrix[pivot * n + column].abs();
        if entry.is_nan() || entry <= SINGULAR * largest {
            return None;
        }
        if pivot != column {
            let (above, below) = matrix.split_at_mut(pivot * n);
            above[column * n..(column + 1) * n].swap_with_slice(&mut below[..n]);
            right.swap(pivot, column);
        }
        let (above, below) = matrix.split_at_mut((column + 1) * n);
        let top = &above[column * n + column..];
        let top_right = right[column];
        for (row, right) in below.chunks_exact_mut(n).zip(&mut right[column + 1..]) {
            let row = &mut row[column..];
            let factor = row[0] / top[0];
            if factor != 0.0 {
                for (entry, upper) in row.iter_mut().zip(top) {
                    *entry -= factor * upper;
                }
                *right -= factor * top_right;
            }
        }
    }
    for row in (0..n).rev() {
        let known = matrix[row * n + row + 1..(row + 1) * n]
            .iter()
            .zip(&right[row + 1..]);
        let sum: f64 = known.map(|(entry, x)| entry * x).sum();
        right[row] = (right[row] - sum) / matrix[row * n + row];
    }
    right.iter().all(|x| x.is_finite()).then_some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// x = 2, y = 3, z = -1 by hand; the first pivot is 0.
    #[test]
    fn three_equations() {
        let matrix = vec![0.0, 2.0, 1.0, 2.0, 1.0, -1.0, -3.0, -1.0, 2.0];
        let found = solve(matrix, vec![5.0, 8.0, -11.0]).unwrap();
        for (x, wanted) in found.iter().zip([2.0, 3.0, -1.0]) {
            assert!((x - wanted).abs() < 1e-12, "{found:?}");
        }
    }

    #[test]
    fn what_is_not_settled_is_refused() {
        assert_eq!(solve(vec![1.0, 2.0, 2.0, 4.0], vec![1.0, 2.0]), None);
        assert_eq!(solve(vec![0.0; 4], vec![1.0, 2.0]), None);
        assert_eq!(solve(vec![f64::NAN, 0.0, 0.0, 1.0], vec![1.0, 2.0]), None);
        assert_eq!(solve(vec![], vec![]), None);
    }
}
