//! What else a filter lets through.

use super::table::lines;

/// From this share on a neighbour is worth a word: below it, the differences
/// between the model and a real filter are larger than the share itself.
pub const WORTH_NAMING: f64 = 0.10;

/// Another line inside a filter's passband.
#[derive(Debug, Clone, PartialEq)]
pub struct Passing {
    /// The id of the line.
    pub line: String,
    /// Its wavelength in air, nm.
    pub wavelength_nm: f64,
    /// How much of it passes, 0..1 of the filter's peak.
    pub share: f64,
}

/// The transmission of a three-cavity interference filter, 0..1 of its peak.
///
/// ```text
/// T = 1 / (1 + (2 d / FWHM)^6)      d: offset from the centre
/// ```
///
/// The usual textbook model (Macleod, Thin-Film Optical Filters): flat at the
/// top, a half at half the width off centre, steep beyond. Real curves differ,
/// and fast beams move them towards the blue.
pub fn transmission(offset_nm: f64, width_nm: f64) -> f64 {
    if width_nm.is_nan() || width_nm <= 0.0 {
        return 0.0;
    }
    let x = 2.0 * offset_nm / width_nm;
    1.0 / (1.0 + x * x * x * x * x * x)
}

/// The lines other than `line` that a filter about `center_nm`, `width_nm`
/// wide at half maximum, lets through by [`WORTH_NAMING`] or more, rising in
/// wavelength. Other wavelengths of `line` itself are not listed.
pub fn also_passes(line: &str, center_nm: f64, width_nm: f64) -> Vec<Passing> {
    let mut passing: Vec<Passing> = lines()
        .iter()
        .filter(|other| !other.id.eq_ignore_ascii_case(line))
        .flat_map(|other| other.air_nm.iter().map(move |nm| (other, *nm)))
        .map(|(other, nm)| Passing {
            line: other.id.clone(),
            wavelength_nm: nm,
            share: transmission(nm - center_nm, width_nm),
        })
        .filter(|passing| passing.share >= WORTH_NAMING)
        .collect();
    passing.sort_by(|a, b| a.wavelength_nm.total_cmp(&b.wavelength_nm));
    passing
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Made with NumPy from the formula and the wavelengths above:
    /// width, [N II] 654.8 and 658.3 about 656.28, [O III] 495.9 about 500.684,
    /// He I 667.8 about 672.4.
    const SHARES: [(f64, [f64; 4]); 7] = [
        (3.0, [0.53, 0.13, 0.00, 0.00]),
        (4.0, [0.86, 0.45, 0.01, 0.01]),
        (5.0, [0.96, 0.76, 0.02, 0.03]),
        (6.0, [0.99, 0.90, 0.06, 0.07]),
        (7.0, [0.99, 0.96, 0.13, 0.17]),
        (8.5, [1.00, 0.99, 0.33, 0.39]),
        (12.0, [1.00, 1.00, 0.79, 0.83]),
    ];

    #[test]
    fn shares_match_an_independent_table() {
        let offsets = [
            654.805 - 656.28,
            658.345 - 656.28,
            495.891 - 500.684,
            667.815 - 672.4,
        ];
        for (width, expected) in SHARES {
            for (offset, share) in offsets.iter().zip(expected) {
                let ours = transmission(*offset, width);
                assert!((ours - share).abs() <= 0.0051, "{width} {offset}: {ours}");
            }
        }
    }

    #[test]
    fn a_half_at_half_the_width() {
        assert_eq!(transmission(2.5, 5.0), 0.5);
        assert_eq!(transmission(0.0, 5.0), 1.0);
        assert_eq!(transmission(0.0, 0.0), 0.0);
        assert_eq!(transmission(0.0, f64::NAN), 0.0);
    }

    fn named(line: &str, center_nm: f64, width_nm: f64) -> Vec<(String, f64)> {
        also_passes(line, center_nm, width_nm)
            .into_iter()
            .map(|passing| (passing.line, passing.wavelength_nm))
            .collect()
    }

    #[test]
    fn usual_filters_pass_their_usual_neighbours() {
        let both = vec![("NII".into(), 654.805), ("NII".into(), 658.345)];
        assert_eq!(named("Ha", 656.28, 3.0), both);
        assert_eq!(named("Ha", 656.28, 7.0), both);
        assert_eq!(named("OIII", 500.684, 12.0), vec![]);
        assert_eq!(named("SII", 672.4, 6.0), vec![]);
        assert_eq!(named("SII", 672.4, 7.0), vec![("HeI".into(), 667.815)]);
        assert_eq!(named("OI", 630.03, 3.0), vec![("SIII".into(), 631.206)]);
        assert_eq!(named("Hg", 434.047, 7.0), vec![("OIII".into(), 436.321)]);
    }

    #[test]
    fn a_width_that_is_none_passes_nothing() {
        assert_eq!(also_passes("Ha", 656.28, f64::NAN), vec![]);
        assert_eq!(also_passes("Ha", f64::NAN, 5.0), vec![]);
    }
}
