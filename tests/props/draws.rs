//! Random numbers and words.

use proptest::prelude::*;

pub(super) fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        // A failure prints what it needs; nothing is left beside the sources.
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// Any finite number, the smallest and the largest among them.
pub(super) fn finite() -> impl Strategy<Value = f64> {
    use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    prop_oneof![
        3 => -1e5..1e5,
        1 => POSITIVE | NEGATIVE | NORMAL | SUBNORMAL | ZERO,
    ]
}

/// From `10^low` to `10^high`, each power of ten as likely as the next.
pub(super) fn logarithmic(low: f64, high: f64) -> impl Strategy<Value = f64> {
    (low..=high).prop_map(|exponent| libm::pow(10.0, exponent))
}

/// Single precision between two ends. Drawn from whole numbers: proptest's own
/// ranges of `f32` stumble over their rounding once in some million draws.
pub(super) fn between(low: f32, high: f32) -> impl Strategy<Value = f32> {
    any::<u32>().prop_map(move |dice| {
        let share = f64::from(dice) / f64::from(u32::MAX);
        (f64::from(low) + share * f64::from(high - low)) as f32
    })
}

/// Any text: quotation marks, line ends, control characters, any script.
pub(super) fn words() -> impl Strategy<Value = String> {
    prop_oneof![
        2 => "(?s).{0,12}",
        1 => "[\"'\\\\\n\r\t #=\\[\\]]{0,8}",
    ]
}
