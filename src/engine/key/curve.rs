//! The course of a thread: an S that leaves and arrives upright.

/// The two inner control points of the cubic from `top` to `bottom` (y grows
/// downwards, any unit).
pub fn controls(top: [f64; 2], bottom: [f64; 2]) -> [[f64; 2]; 2] {
    let reach = 0.52 * (bottom[1] - top[1]);
    [[top[0], top[1] + reach], [bottom[0], bottom[1] - reach]]
}

/// The point at `t` (0 is the top, 1 the bottom).
pub fn point(top: [f64; 2], bottom: [f64; 2], t: f64) -> [f64; 2] {
    let [one, two] = controls(top, bottom);
    let u = 1.0 - t;
    let weights = [u * u * u, 3.0 * u * u * t, 3.0 * u * t * t, t * t * t];
    std::array::from_fn(|i| {
        weights[0] * top[i] + weights[1] * one[i] + weights[2] * two[i] + weights[3] * bottom[i]
    })
}

/// How much of the lower colour a thread has at `t`: it leaves in the colour of
/// the light and arrives in the colour that is shown, calmly.
pub fn blend(t: f64) -> f64 {
    let t = ((t - 0.08) / 0.84).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_falls_all_the_way_and_leaves_upright() {
        let (top, bottom) = ([0.9, 10.0], [0.1, 70.0]);
        assert_eq!(point(top, bottom, 0.0), top);
        assert_eq!(point(top, bottom, 1.0), bottom);
        let mut before = top;
        for step in 1..=50 {
            let next = point(top, bottom, f64::from(step) / 50.0);
            assert!(next[1] > before[1] && next[0] <= before[0]);
            before = next;
        }
        let first = point(top, bottom, 0.01);
        assert!((first[1] - top[1]) > 100.0 * (top[0] - first[0]) * 0.5);
        assert_eq!((blend(0.0), blend(1.0)), (0.0, 1.0));
    }
}
