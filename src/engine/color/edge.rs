//! The edge of the sRGB gamut, where the pure colour of every hue lies.

use super::oklab::oklch;

// The edge runs through these corners and back to red; one component is 1 and
// one is 0 all along it.
const CORNERS: [[f64; 3]; 6] = [
    [1.0, 0.0, 0.0],
    [1.0, 1.0, 0.0],
    [0.0, 1.0, 0.0],
    [0.0, 1.0, 1.0],
    [0.0, 0.0, 1.0],
    [1.0, 0.0, 1.0],
];

/// The pure colour of an Oklch hue angle in degrees (any number; it is taken
/// modulo 360): linear sRGB with one component 1 and one component 0.
pub fn pure_color(hue_deg: f64) -> [f64; 3] {
    let start = oklch(CORNERS[0])[2];
    // All angles are counted from red's hue on, so that they only rise.
    let from_red = |hue: f64| (hue - start).rem_euclid(360.0);
    let target = from_red(hue_deg);
    let corner_angles = CORNERS.map(|corner| from_red(oklch(corner)[2]));
    let segment = (0..6)
        .rev()
        .find(|&i| corner_angles[i] <= target)
        .unwrap_or(0);
    let (from, to) = (CORNERS[segment], CORNERS[(segment + 1) % 6]);
    let point = |s: f64| -> [f64; 3] { std::array::from_fn(|i| from[i] + s * (to[i] - from[i])) };
    let (mut low, mut high) = (0.0, 1.0);
    // 60 halvings reach the last bit of a double.
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        let angle = from_red(oklch(point(middle))[2]);
        // On the way back to red the angle ends at 360, never at 0.
        if angle < target && !(segment == 5 && angle == 0.0) {
            low = middle;
        } else {
            high = middle;
        }
    }
    point(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_hue_comes_back() {
        for step in 0..720 {
            let hue = f64::from(step) * 0.5;
            let color = pure_color(hue);
            let max = color.iter().copied().fold(f64::MIN, f64::max);
            let min = color.iter().copied().fold(f64::MAX, f64::min);
            assert!(
                (max - 1.0).abs() < 1e-9 && min.abs() < 1e-9,
                "{hue}: {color:?}"
            );
            let back = oklch(color)[2];
            let off = (back - hue + 180.0).rem_euclid(360.0) - 180.0;
            assert!(off.abs() < 1e-6, "{hue} came back as {back}");
        }
    }

    #[test]
    fn primaries_and_turns() {
        let green = pure_color(142.4953);
        assert!(
            green[1] == 1.0 && green[0] < 1e-3 && green[2] < 1e-3,
            "{green:?}"
        );
        assert_eq!(pure_color(-30.0), pure_color(330.0));
    }
}
