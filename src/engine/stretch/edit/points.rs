//! The points of a tone curve: x strictly rising, y never falling, all within
//! the unit square, at least two.

use crate::engine::recipe::Stretch;

/// Points keep this distance along x.
pub const APART: f64 = 0.002;

/// Coordinates are kept to this many decimals.
const DECIMALS: f64 = 1e4;

/// The points of a stretch's curve; both corners where it has none.
pub fn of(stretch: &Stretch) -> Vec<[f64; 2]> {
    stretch
        .curve
        .clone()
        .unwrap_or_else(|| vec![[0.0, 0.0], [1.0, 1.0]])
}

/// With these points; without a curve where they are the two corners alone.
pub fn with(stretch: &Stretch, points: Vec<[f64; 2]>) -> Stretch {
    Stretch {
        curve: (points != [[0.0, 0.0], [1.0, 1.0]]).then_some(points),
        ..stretch.clone()
    }
}

/// One more point near (x, y), and its place in the row; None where there is no
/// room along x.
pub fn added(points: &[[f64; 2]], [x, y]: [f64; 2]) -> Option<(Vec<[f64; 2]>, usize)> {
    let place = points.partition_point(|point| point[0] < x);
    let left = place.checked_sub(1).map(|before| points[before]);
    let right = points.get(place).copied();
    let point = fitted([x, y], left, right)?;
    let mut points = points.to_vec();
    points.insert(place, point);
    Some((points, place))
}

/// With the point at `place` moved as near to (x, y) as its neighbours let it.
pub fn moved(points: &[[f64; 2]], place: usize, to: [f64; 2]) -> Vec<[f64; 2]> {
    let mut moved = points.to_vec();
    let left = place.checked_sub(1).and_then(|i| points.get(i)).copied();
    let right = points.get(place + 1).copied();
    if let (Some(point), Some(fitted)) = (moved.get_mut(place), fitted(to, left, right)) {
        *point = fitted;
    }
    moved
}

/// Without the point at `place`; as they were where only two are left.
pub fn removed(points: &[[f64; 2]], place: usize) -> Vec<[f64; 2]> {
    let mut left = points.to_vec();
    if left.len() > 2 && place < left.len() {
        left.remove(place);
    }
    left
}

/// A place for one more point: on the straight line in the middle of the widest
/// gap along x.
pub fn widest_gap(points: &[[f64; 2]]) -> [f64; 2] {
    points
        .windows(2)
        .map(|pair| (pair[0], pair[1]))
        .max_by(|a, b| (a.1[0] - a.0[0]).total_cmp(&(b.1[0] - b.0[0])))
        .map_or([0.5, 0.5], |(a, b)| {
            [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]
        })
}

fn fitted([x, y]: [f64; 2], left: Option<[f64; 2]>, right: Option<[f64; 2]>) -> Option<[f64; 2]> {
    let least = left.map_or(0.0, |left| left[0] + APART).max(0.0);
    let most = right.map_or(1.0, |right| right[0] - APART).min(1.0);
    let (low, high) = (left.map_or(0.0, |p| p[1]), right.map_or(1.0, |p| p[1]));
    if !(x.is_finite() && y.is_finite() && least <= most && low <= high) {
        return None;
    }
    let short = |value: f64| libm::round(value * DECIMALS) / DECIMALS;
    Some([short(x).clamp(least, most), short(y).clamp(low, high)])
}
