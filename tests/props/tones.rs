//! Stretches.

use linehue::engine::num::LANES;
use linehue::engine::recipe::Stretch;
use linehue::engine::stretch::Prepared;
use proptest::prelude::*;

use crate::draws::cases;
use crate::recipes::stretch;

/// Values in file units across a stretch: even steps, fine ones near black
/// where shapes are steepest, and some beyond both ends. Rising, single
/// precision, as a stack holds them.
fn values_across(stretch: &Stretch) -> [f32; LANES] {
    let range = stretch.white - stretch.black;
    let mut values: [f32; LANES] = std::array::from_fn(|i| {
        let t = match i {
            0..96 => libm::pow(10.0, -9.6 + i as f64 / 10.0),
            _ => (i as f64 - 100.0) / 150.0,
        };
        let value = (stretch.black + t * range) as f32;
        value.clamp(f32::MIN, f32::MAX)
    });
    values.sort_by(f32::total_cmp);
    values
}

/// How far a block may lie from the formula: less than two thirds of a 16-bit
/// code, whatever the curve.
const ALLOWED: f64 = 1e-5;

proptest! {
    #![proptest_config(cases(4096))]

    /// Protects the order of brightness: no stretch may turn a brighter pixel
    /// darker, nor leave 0..1, by either way of working it out; and what a
    /// picture is made with is what the formula says, to a quarter of a 16-bit
    /// code.
    #[test]
    fn tones_rise_with_values_and_blocks_follow_the_formula(stretch in stretch()) {
        let values = values_across(&stretch);
        let prepared = Prepared::new(&stretch);
        let range = stretch.white - stretch.black;
        let exact = values.map(|value| prepared.tone(f64::from(value)));
        let mut tones = [0.0; LANES];
        prepared.tones(&values, &mut tones);
        for tone in exact {
            prop_assert!((0.0..=1.0).contains(&tone), "{}", tone);
        }
        for tone in tones {
            prop_assert!((0.0..=1.0).contains(&tone), "{}", tone);
        }
        for i in 1..LANES {
            prop_assert!(exact[i] >= exact[i - 1] - 1e-15, "{} after {}", exact[i], exact[i - 1]);
            prop_assert!(tones[i] >= tones[i - 1] - 3e-7, "{} after {}", tones[i], tones[i - 1]);
        }
        for i in 0..LANES {
            // Single precision holds no normal number below that: it is black.
            let t = (f64::from(values[i]) - stretch.black) / range;
            if t < f64::from(f32::MIN_POSITIVE) {
                continue;
            }
            let apart = (f64::from(tones[i]) - exact[i]).abs();
            prop_assert!(apart < ALLOWED, "{} at {}: {} from {}", apart, values[i], tones[i], exact[i]);
        }
    }
}
