//! Which pixels of a row never count as sky.

use crate::engine::recipe::KeepOut;

/// Sets `mask` (one flag for each pixel of row `y`) where a part covers the
/// pixel's centre; the rest is left as it is.
pub(super) fn mark(parts: &[KeepOut], y: f64, mask: &mut [bool]) {
    for part in parts {
        match part {
            KeepOut::Circle([x, center_y, radius]) => {
                let dy = y - center_y;
                let half = radius * radius - dy * dy;
                if half >= 0.0 {
                    let half = half.sqrt();
                    span(x - half, x + half, mask);
                }
            }
            KeepOut::Polygon(corners) => polygon(corners, y, mask),
        }
    }
}

/// Even-odd: between the first and second crossing, the third and fourth, ...
fn polygon(corners: &[[f64; 2]], y: f64, mask: &mut [bool]) {
    let Some(last) = corners.last() else { return };
    let mut crossings = Vec::new();
    let mut from = last;
    for to in corners {
        if (from[1] <= y) != (to[1] <= y) {
            let share = (y - from[1]) / (to[1] - from[1]);
            crossings.push(from[0] + share * (to[0] - from[0]));
        }
        from = to;
    }
    crossings.sort_unstable_by(f64::total_cmp);
    for pair in crossings.chunks_exact(2) {
        span(pair[0], pair[1], mask);
    }
}

/// Pixels whose centres lie in `low..=high`.
fn span(low: f64, high: f64, mask: &mut [bool]) {
    if high >= 0.0 {
        // Casts saturate: whatever lies outside ends at an edge.
        let from = low.max(0.0).ceil() as usize;
        let to = (high.floor() as usize).saturating_add(1).min(mask.len());
        if from < to {
            mask[from..to].fill(true);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(parts: &[KeepOut], y: f64) -> String {
        let mut mask = [false; 10];
        mark(parts, y, &mut mask);
        mask.iter()
            .map(|set| if *set { '#' } else { '.' })
            .collect()
    }

    #[test]
    fn circles() {
        let part = [KeepOut::Circle([4.0, 3.0, 2.0])];
        assert_eq!(row(&part, 0.0), "..........");
        assert_eq!(row(&part, 1.0), "....#.....");
        assert_eq!(row(&part, 2.0), "...###....");
        assert_eq!(row(&part, 3.0), "..#####...");
        assert_eq!(row(&[KeepOut::Circle([-5.0, 0.0, 2.0])], 0.0), "..........");
        assert_eq!(
            row(&[KeepOut::Circle([0.0, 0.0, 1e300])], 0.0),
            "##########"
        );
    }

    #[test]
    fn polygons_with_a_bay() {
        let bay = [[1.0, 0.5], [8.0, 0.5], [8.0, 6.0], [4.5, 2.0], [1.0, 6.0]];
        let part = [KeepOut::Polygon(bay.to_vec())];
        assert_eq!(row(&part, 0.0), "..........");
        assert_eq!(row(&part, 1.0), ".########.");
        // The bay's sides are at 4.5 -+ 1.75 there.
        assert_eq!(row(&part, 4.0), ".##....##.");
        assert_eq!(row(&part, 7.0), "..........");
    }
}
