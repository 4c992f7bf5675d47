//! Whether so many pairs can be chance.
//!
//! The background model is a random field: a source star laid on the
//! reference meets one of its stars within `tolerance` with the probability
//! density * pi * tolerance^2. The number of false alarms of a find is the
//! chance of at least as many meetings, times the number of ways to lay one
//! list on the other that might have been tried: below 1 it is unlikely to be
//! met even once by trying them all (Desolneux, Moisan & Morel 2000,
//! IJCV 40, 7; Moisan & Stival 2004, IJCV 57, 201).

use super::grid::Star;
use super::hypothesis::{Part, scale_of};
use crate::engine::align::transform::Map;
use crate::engine::frame::Size;

/// Natural logarithm of the false alarms that are accepted: one in 100,000.
pub(super) const ACCEPTED: f64 = -11.5;

/// Tolerances tried, in pixels of the coarser of the two grids.
const TOLERANCES: [f64; 4] = [0.3, 0.6, 1.2, 2.4];

/// Upper bound of ln P(at least `hits`) for a sum of independent chances with
/// the mean `expected` (Chernoff 1952): hits - expected + hits ln(expected /
/// hits), and 0 where there are no more hits than expected.
pub(super) fn ln_chance(hits: f64, expected: f64) -> f64 {
    let expected = expected.max(1e-300);
    if hits <= expected {
        return 0.0;
    }
    hits - expected + hits * libm::log(expected / hits)
}

/// Natural logarithm of the number of false alarms of a map between two
/// lists, of `pairs` (source, reference, distance in reference pixels) that
/// are mutual. `freedom` is the number of pairs that would fix the map alone.
pub(super) fn ln_false_alarms(
    map: &Map,
    freedom: usize,
    pairs: &[(usize, usize, f64)],
    source: &[Star],
    reference: &Part<'_>,
    frame: Size,
) -> f64 {
    let unit = scale_of(map).max(1.0);
    let mut area = 0.0;
    let (width, height) = (frame.width as f64, frame.height as f64);
    for star in source {
        let [x, y] = map.apply(star.at);
        if x > -1.0 && y > -1.0 && x < width && y < height {
            area += reference.grid.density([x, y]);
        }
    }
    let ways = source.len() as f64 * reference.stars.len() as f64;
    let tests = freedom as f64 * libm::log(ways) + libm::log(2.0 * TOLERANCES.len() as f64);
    let mut least = f64::INFINITY;
    for tolerance in TOLERANCES.map(|tolerance| tolerance * unit) {
        let hits = pairs.iter().filter(|pair| pair.2 <= tolerance).count();
        let expected = area * core::f64::consts::PI * tolerance * tolerance;
        let chance = ln_chance(hits.saturating_sub(freedom) as f64, expected);
        least = least.min(tests + chance);
    }
    least
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bound_holds_and_is_not_loose() {
        // Exact Poisson tails P(X >= k | mean), from scipy.stats.poisson.sf.
        for (hits, mean, exact) in [
            (3.0, 0.001, 1.665_417_e-10),
            (5.0, 0.5, 1.721_156_3e-4),
            (20.0, 4.0, 1.020_052_21e-8),
            (60.0, 30.0, 9.251_869e-7),
        ] {
            let bound = ln_chance(hits, mean);
            let exact = libm::log(exact);
            assert!(
                bound >= exact && bound < exact + 3.5,
                "{hits} {bound} {exact}"
            );
        }
        assert_eq!(ln_chance(3.0, 4.0), 0.0);
        assert!(ln_chance(3.0, 0.0) < -1000.0);
    }
}
