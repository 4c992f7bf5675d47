//! Temperature from a star's catalogue colour, and back.

/// B-V within which [`from_b_v`] answers: about 16,600 to 3,170 K. Beyond, the
/// black body behind the relation is no likeness of a star.
pub const B_V_RANGE: [f64; 2] = [-0.3, 2.0];

/// What kind of star a BP-RP colour belongs to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Luminosity {
    /// On the main sequence: BP-RP 0.39 to 1.50, good to 61 K.
    #[default]
    Dwarf,
    /// A giant: BP-RP 0.33 to 1.81, good to about 83 K.
    Giant,
}

impl Luminosity {
    /// BP-RP within which [`from_bp_rp`] answers.
    pub fn range(self) -> [f64; 2] {
        match self {
            Self::Dwarf => [0.39, 1.50],
            Self::Giant => [0.33, 1.81],
        }
    }
}

/// Temperature from B-V, K:
///
/// ```text
/// T = 4600 (1 / (0.92 (B-V) + 1.7) + 1 / (0.92 (B-V) + 0.62))
/// ```
///
/// (Ballesteros 2012, EPL 97, 34008.) None outside of [`B_V_RANGE`].
pub fn from_b_v(b_v: f64) -> Option<f64> {
    let [least, most] = B_V_RANGE;
    let x = 0.92 * b_v;
    ((least..=most).contains(&b_v)).then(|| 4600.0 * (1.0 / (x + 1.7) + 1.0 / (x + 0.62)))
}

/// B-V of a temperature: [`from_b_v`] solved for the colour. It answers beyond
/// [`B_V_RANGE`] too; None where the temperature is not above 0.
///
/// With `x = 0.92 (B-V)` and `s = T / 4600` the relation is
/// `s x^2 + (2.32 s - 2) x + 1.054 s - 2.32 = 0`; the larger root counts.
pub fn to_b_v(kelvin: f64) -> Option<f64> {
    if !(kelvin > 0.0 && kelvin.is_finite()) {
        return None;
    }
    let s = kelvin / 4600.0;
    let (b, c) = (2.32 * s - 2.0, 1.054 * s - 2.32);
    let root = (b * b - 4.0 * s * c).sqrt();
    Some((root - b) / (2.0 * s) / 0.92)
}

/// Temperature from BP-RP, K, for solar metallicity:
///
/// ```text
/// 5040 / T = b0 + b1 C + b2 C^2,    C = BP-RP, free of reddening
/// ```
///
/// (Mucciarelli, Bellazzini & Massari 2021, A&A 653, A90; the terms of
/// metallicity vanish.) None outside of the [`Luminosity::range`].
pub fn from_bp_rp(bp_rp: f64, luminosity: Luminosity) -> Option<f64> {
    let [least, most] = luminosity.range();
    let [b0, b1, b2] = match luminosity {
        Luminosity::Dwarf => [0.4929, 0.5092, -0.0353],
        Luminosity::Giant => [0.5323, 0.4775, -0.0344],
    };
    ((least..=most).contains(&bp_rp)).then(|| 5040.0 / (b0 + (b1 + b2 * bp_rp) * bp_rp))
}

/// B-V of a star by its balanced light in red, green and blue: the black body
/// with its ratio of blue to red, brought to B-V. None without light in red and
/// blue, or outside of 2000 to 40,000 K.
pub fn b_v_of(balanced: [f64; 3]) -> Option<f64> {
    let [red, _, blue] = balanced;
    if !(red > 0.0 && blue > 0.0) {
        return None;
    }
    to_b_v(super::black_body::temperature_of(blue / red)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against an independent computation, see `check_star_colors.py`.
    #[test]
    fn relations_are_the_published_ones() {
        let mut seen = 0;
        for line in include_str!("golden.txt").lines().skip(1) {
            let mut words = line.split(' ');
            let name = words.next().expect("a name");
            let n: Vec<f64> = words.map(|n| n.parse().expect("a number")).collect();
            let near = |found: Option<f64>, truth: f64| {
                let found = found.expect("in range");
                assert!(
                    (found - truth).abs() < 1e-9 * truth.abs().max(1.0),
                    "{line}: {found}"
                );
            };
            match name {
                "b_v" => near(from_b_v(n[0]), n[1]),
                "bp_rp" => {
                    near(from_bp_rp(n[0], Luminosity::Dwarf), n[1]);
                    near(from_bp_rp(n[0], Luminosity::Giant), n[2]);
                }
                "inverse" => near(to_b_v(n[0]), n[1]),
                _ => continue,
            }
            seen += 1;
        }
        assert_eq!(seen, 21);
    }

    #[test]
    fn colors_out_of_range_have_no_temperature() {
        assert_eq!(from_b_v(-0.31), None);
        assert_eq!(from_b_v(2.01), None);
        assert_eq!(from_b_v(f64::NAN), None);
        assert_eq!(from_bp_rp(1.6, Luminosity::Dwarf), None);
        assert!(from_bp_rp(1.6, Luminosity::Giant).is_some());
        assert_eq!(to_b_v(0.0), None);
        assert_eq!(b_v_of([1.0, 1.0, -0.1]), None);
    }
}
