//! The colours of the two strips.

use std::sync::OnceLock;

use crate::engine::color::edge::pure_color;
use crate::engine::color::natural::{line_color, luminous_efficiency};
use crate::engine::color::oklab::oklch;
use crate::engine::num::exact;

/// The hue at the left end of the scale: in the rose between magenta and red,
/// where few channels are put and no line has its own colour.
pub const SEAM: f64 = 345.0;

/// Where the hue scale ends.
pub const SCALE_END: f64 = 0.94;

/// The middle of the white stop beside it.
pub const WHITE_STOP: f64 = 0.98;

/// Where the white stop begins to draw an end that comes from the scale.
pub const WHITE_FROM: f64 = 0.96;

/// Where a hue lies on the scale.
pub fn hue_place(hue_deg: f64) -> f64 {
    (hue_deg - SEAM).rem_euclid(360.0) / 360.0 * SCALE_END
}

/// The hue at a place on the scale; beyond its ends: the hue at the end.
pub fn place_hue(x: f64) -> f64 {
    let turn = (x / SCALE_END).clamp(0.0, 1.0 - 1e-4);
    (turn * 360.0 + SEAM).rem_euclid(360.0)
}

/// The colour of the hue scale at each of 360 steps from its left end on:
/// linear sRGB, one component 1 and one 0.
pub fn hues() -> &'static [[f64; 3]; 361] {
    static HUES: OnceLock<[[f64; 3]; 361]> = OnceLock::new();
    HUES.get_or_init(|| std::array::from_fn(|step| pure_color(SEAM + step as f64)))
}

/// The colour of light of one wavelength as a screen can hint at it: the pure
/// colour of its Oklch hue, darker towards the ends as the eye grows blind.
/// Linear sRGB; black where it sees nothing.
pub fn light(nm: f64) -> [f64; 3] {
    static TABLE: OnceLock<Vec<[f64; 3]>> = OnceLock::new();
    let table = TABLE.get_or_init(|| {
        (0..=400)
            .map(|i| exact_light(380.0 + f64::from(i)))
            .collect()
    });
    let position = nm - 380.0;
    if !(0.0..=400.0).contains(&position) {
        return [0.0; 3];
    }
    let index = (position as usize).min(table.len() - 2);
    let part = position - index as f64;
    std::array::from_fn(|i| table[index][i] + part * (table[index + 1][i] - table[index][i]))
}

/// The colour of a line at full brightness; None where it is invisible.
pub fn line(nm: f64) -> Option<[f64; 3]> {
    line_color(nm).map(|color| pure_color(oklch(color)[2]))
}

fn exact_light(nm: f64) -> [f64; 3] {
    let (Some(color), Some(bright)) = (line(nm), luminous_efficiency(nm)) else {
        return [0.0; 3];
    };
    // Steeper than the eye's own curve it would be black over half its length;
    // it falls from where an eye keeps a twentieth of its best.
    let factor = exact::pow(bright / 0.05, 0.42).min(1.0);
    color.map(|component| component * factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hues_and_places_belong_together() {
        for step in 0..3599 {
            let hue = f64::from(step) * 0.1;
            let back = place_hue(hue_place(hue));
            let off = (back - hue + 180.0).rem_euclid(360.0) - 180.0;
            assert!(off.abs() < 0.04, "{hue} came back as {back}");
        }
        assert_eq!(hue_place(SEAM), 0.0);
        assert!(hue_place(SEAM - 0.1) > 0.93);
    }

    #[test]
    fn the_spectrum_fades_where_the_eye_does() {
        let sum = |nm: f64| light(nm).iter().sum::<f64>();
        assert!(sum(390.0) < 0.1 * sum(460.0));
        assert!(sum(745.0) < 0.2 * sum(650.0));
        assert_eq!((light(300.0), light(953.0)), ([0.0; 3], [0.0; 3]));
        // H-alpha and its natural colour on the hue scale look alike.
        let red = light(656.28);
        assert!(red[0] > 0.95 && red[1] < 0.01 && red[2] < 0.1, "{red:?}");
    }
}
