//! The colour of a black body.

use super::super::color::natural::{VISIBLE_NM, matching_functions};
use super::super::color::space::{Space, apply};

/// h c / k in nm K (CODATA 2018, exact).
const SECOND_RADIATION_NM_K: f64 = 1.438_776_877e7;

/// Linear sRGB of a black body at `kelvin`, its largest component 1:
///
/// ```text
/// XYZ = sum over 380, 381 .. 780 nm of  w^-5 / (exp(c2 / w T) - 1)  times  x, y, z
/// ```
///
/// with the CIE 1931 2-degree functions, then the matrix of sRGB (white D65).
/// Below about 1900 K blue is negative: outside of the gamut. None where the
/// temperature is not within 1000 to 1,000,000 K.
pub fn linear_srgb(kelvin: f64) -> Option<[f64; 3]> {
    if !(1e3..=1e6).contains(&kelvin) {
        return None;
    }
    let [first, last] = VISIBLE_NM;
    let mut xyz = [0.0; 3];
    for step in 0..=(last - first) as usize {
        let nm = first + step as f64;
        let scaled = nm / 550.0;
        let fifth = scaled * scaled * scaled * scaled * scaled;
        let light = 1.0 / (fifth * libm::expm1(SECOND_RADIATION_NM_K / (nm * kelvin)));
        for (sum, value) in xyz.iter_mut().zip(matching_functions(nm)?) {
            *sum += light * value;
        }
    }
    let rgb = apply(&Space::Srgb.from_xyz(), xyz);
    let largest = rgb.iter().copied().fold(f64::MIN, f64::max);
    Some(rgb.map(|part| part / largest))
}

/// The temperature of the black body with this ratio of blue to red in linear
/// sRGB, K; None outside of 2000 to 40,000 K. The ratio rises with temperature.
pub fn temperature_of(blue_over_red: f64) -> Option<f64> {
    let ratio = |kelvin: f64| linear_srgb(kelvin).map(|[r, _, b]| b / r);
    let (mut low, mut high) = (2e3, 4e4);
    if !(ratio(low)?..=ratio(high)?).contains(&blue_over_red) {
        return None;
    }
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if ratio(middle)? < blue_over_red {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against an independent computation, see `check_star_colors.py`.
    #[test]
    fn colors_are_those_of_an_independent_computation() {
        let mut seen = 0;
        for line in include_str!("golden.txt").lines() {
            let Some(rest) = line.strip_prefix("black_body ") else {
                continue;
            };
            let numbers: Vec<f64> = rest.split(' ').map(|n| n.parse().expect("n")).collect();
            let rgb = linear_srgb(numbers[0]).expect("in range");
            for (a, b) in rgb.iter().zip(&numbers[1..]) {
                assert!((a - b).abs() < 1e-4, "{line}: {rgb:?}");
            }
            let back = temperature_of(rgb[2] / rgb[0]).expect("in range");
            assert!((back / numbers[0] - 1.0).abs() < 1e-8, "{line}: {back}");
            seen += 1;
        }
        assert_eq!(seen, 13);
        assert_eq!(linear_srgb(f64::NAN), None);
        assert_eq!(linear_srgb(500.0), None);
        assert_eq!(temperature_of(f64::NAN), None);
        assert_eq!(temperature_of(100.0), None);
    }
}
