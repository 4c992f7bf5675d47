//! Hues that an end is softly drawn to: those of the other channels, a third
//! and a half of the wheel from them, and the hue of its own light.

/// Why a hue draws an end to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// It is the hue of the channel's own light.
    Natural,
    /// Another channel has it.
    Same,
    /// It lies half the wheel from another channel's.
    Opposite,
    /// It lies a third of the wheel from another channel's.
    Third,
}

/// A hue that draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Snap {
    /// In degrees, 0..360.
    pub hue: f64,
    /// Why.
    pub why: Why,
}

/// All hues that draw, given those of the other channels and of the own light.
pub fn snaps(others: &[f64], natural: Option<f64>) -> Vec<Snap> {
    let mut all = Vec::new();
    let mut push = |hue: f64, why| {
        all.push(Snap {
            hue: hue.rem_euclid(360.0),
            why,
        });
    };
    if let Some(hue) = natural {
        push(hue, Why::Natural);
    }
    for hue in others {
        push(*hue, Why::Same);
        push(hue + 180.0, Why::Opposite);
        push(hue + 120.0, Why::Third);
        push(hue - 120.0, Why::Third);
    }
    all
}

/// How far two hues lie apart, in degrees (0..=180).
pub fn apart(one: f64, two: f64) -> f64 {
    ((one - two + 180.0).rem_euclid(360.0) - 180.0).abs()
}

/// The hue that draws hardest within `reach` degrees: the nearest.
pub fn nearest(snaps: &[Snap], hue: f64, reach: f64) -> Option<Snap> {
    snaps
        .iter()
        .filter(|snap| apart(snap.hue, hue) <= reach)
        .min_by(|a, b| {
            apart(a.hue, hue)
                .total_cmp(&apart(b.hue, hue))
                .then(a.why.cmp(&b.why))
        })
        .copied()
}

/// The middle of the widest gap between hues in degrees: where one more is told
/// apart best. 0 where there is none yet.
pub fn widest_gap(hues: &[f64]) -> f64 {
    let mut sorted: Vec<f64> = hues.iter().map(|hue| hue.rem_euclid(360.0)).collect();
    sorted.sort_by(f64::total_cmp);
    let mut best = (0.0, 0.0);
    for (index, hue) in sorted.iter().enumerate() {
        let next = sorted.get(index + 1).copied();
        let gap = next.unwrap_or(sorted[0] + 360.0) - hue;
        if gap > best.0 {
            best = (gap, (hue + 0.5 * gap).rem_euclid(360.0));
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_draws_to_others_and_home() {
        let all = snaps(&[350.0], Some(21.0));
        assert_eq!(nearest(&all, 19.5, 2.0).map(|s| s.why), Some(Why::Natural));
        assert_eq!(nearest(&all, 168.9, 2.0).map(|s| s.hue), Some(170.0));
        assert_eq!(nearest(&all, 111.0, 2.0).map(|s| s.why), Some(Why::Third));
        assert_eq!(nearest(&all, 351.0, 2.0).map(|s| s.why), Some(Why::Same));
        assert_eq!(nearest(&all, 60.0, 2.0), None);
        assert_eq!(apart(359.0, 1.0), 2.0);
    }

    #[test]
    fn one_more_goes_into_the_widest_gap() {
        assert_eq!(widest_gap(&[]), 0.0);
        assert_eq!(widest_gap(&[10.0]), 190.0);
        assert_eq!(widest_gap(&[0.0, 100.0, 200.0]), 280.0);
    }
}
