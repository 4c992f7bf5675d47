//! What a line really looks like: CIE 1931 2-degree colour matching.

use std::sync::OnceLock;

use super::space::{Space, apply};

/// The first and last wavelength that has a colour, in nm.
pub const VISIBLE_NM: [f64; 2] = [380.0, 780.0];

static TABLE_TEXT: &str = include_str!("../../../assets/cie1931-2deg-1nm.csv");

fn table() -> &'static [[f64; 3]] {
    static TABLE: OnceLock<Vec<[f64; 3]>> = OnceLock::new();
    TABLE.get_or_init(|| {
        TABLE_TEXT
            .lines()
            .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
            .map(|line| {
                let mut numbers = line.split(',').skip(1).map(|n| n.trim().parse());
                std::array::from_fn(|_| match numbers.next() {
                    Some(Ok(number)) => number,
                    _ => f64::NAN,
                })
            })
            .collect()
    })
}

/// The colour-matching functions x, y, z at a wavelength in nm, linear between
/// the table's whole nanometres. None outside 380..780 nm.
pub fn matching_functions(wavelength_nm: f64) -> Option<[f64; 3]> {
    let [first, last] = VISIBLE_NM;
    if !(first..=last).contains(&wavelength_nm) {
        return None;
    }
    let position = wavelength_nm - first;
    let index = (position as usize).min(table().len() - 2);
    let part = position - index as f64;
    let (a, b) = (table()[index], table()[index + 1]);
    Some(std::array::from_fn(|i| a[i] + part * (b[i] - a[i])))
}

/// The natural colour of a line: linear sRGB divided by its largest component.
/// Components below zero stay: pure lines lie outside the sRGB gamut. None
/// where the wavelength has no colour.
pub fn line_color(wavelength_nm: f64) -> Option<[f64; 3]> {
    let xyz = matching_functions(wavelength_nm)?;
    let rgb = apply(&Space::Srgb.from_xyz(), xyz);
    let largest = rgb.iter().copied().fold(f64::MIN, f64::max);
    (largest > 0.0).then(|| rgb.map(|component| component / largest))
}

/// How bright an eye sees the line, on the scale of the y function.
pub fn luminous_efficiency(wavelength_nm: f64) -> Option<f64> {
    matching_functions(wavelength_nm).map(|[_, y, _]| y)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_whole() {
        assert_eq!(table().len(), 401);
        assert!(
            table()
                .iter()
                .flatten()
                .all(|value| value.is_finite() && *value >= 0.0)
        );
        // The y function peaks at 555 nm with 1 in the published table.
        assert_eq!(matching_functions(555.0).map(|[_, y, _]| y), Some(1.0));
    }

    #[test]
    fn lines_have_their_colors() {
        // Linear sRGB over its largest component, from an independent computation
        // with the CIE data at 1 nm.
        let cases = [
            (656.28, [1.0, -0.102, -0.008]),
            (500.684, [-0.997, 1.0, 0.332]),
            (672.4, [1.0, -0.106, -0.007]),
            (486.133, [-0.684, 0.531, 1.0]),
        ];
        for (nm, truth) in cases {
            let color = line_color(nm).expect("visible");
            for (a, b) in color.iter().zip(truth) {
                assert!((a - b).abs() < 1.1e-3, "{nm}: {color:?}");
            }
        }
    }

    #[test]
    fn invisible_light_has_no_color() {
        assert_eq!(line_color(953.061), None);
        assert_eq!(line_color(372.603), None);
        assert!(line_color(380.0).is_some() && line_color(780.0).is_some());
    }
}
