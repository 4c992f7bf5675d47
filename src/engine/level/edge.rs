//! What alignment leaves where a frame did not reach: zeros at a row's ends.

use std::ops::Range;

/// From this length on a run of zeros at an edge holds no data.
const EMPTY_RUN: usize = 8;

/// The columns of a row that are not empty. A run of zeros and missing pixels
/// that starts at either end is empty when it holds 8 zeros or more.
pub(super) fn inner(row: &[f32]) -> Range<usize> {
    let blank = |value: &&f32| **value == 0.0 || !value.is_finite();
    let zeros = |run: &[f32]| run.iter().filter(|value| **value == 0.0).count();
    let lead = row.iter().take_while(blank).count();
    let from = if zeros(&row[..lead]) >= EMPTY_RUN {
        lead
    } else {
        0
    };
    let tail = row[from..].iter().rev().take_while(blank).count();
    let end = row.len() - tail;
    let to = if zeros(&row[end..]) >= EMPTY_RUN {
        end
    } else {
        row.len()
    };
    from..to
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_long_runs_at_the_ends_are_empty() {
        let mut row = [0.0f32; 40];
        row[10..30].fill(1.0);
        row[15..25].fill(0.0);
        row[2] = f32::NAN;
        assert_eq!(inner(&row), 10..30);
        row[37] = 2.0;
        assert_eq!(inner(&row), 10..40);
        assert_eq!(inner(&[0.0; 40]), 40..40);
        assert_eq!(inner(&[0.0; 5]), 0..5);
        assert_eq!(inner(&[f32::NAN; 9]), 0..9);
        assert_eq!(inner(&[]), 0..0);
    }
}
