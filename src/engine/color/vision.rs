//! How a picture looks to readers with a colour-vision deficiency.

/// A way of seeing colours.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub enum Vision {
    /// All three kinds of cones.
    #[default]
    Usual,
    /// Without the long-wave cones.
    Protan,
    /// Without the middle-wave cones.
    Deutan,
    /// Without the short-wave cones.
    Tritan,
}

type Matrix = [[f64; 3]; 3];

// Machado, Oliveira & Fernandes (2009, IEEE Trans. Vis. Comput. Graph. 15,
// 1291), severity 1.0; linear light, sRGB primaries.
const PROTAN: Matrix = [
    [0.152286, 1.052583, -0.204868],
    [0.114503, 0.786281, 0.099216],
    [-0.003882, -0.048116, 1.051998],
];
const DEUTAN: Matrix = [
    [0.367322, 0.860646, -0.227968],
    [0.280085, 0.672501, 0.047413],
    [-0.011820, 0.042940, 0.968881],
];

// Brettel, Viénot & Mollon (1997, J. Opt. Soc. Am. A 14, 2647): two half-planes
// in Smith & Pokorny's cone space, brought to linear light with sRGB primaries;
// the side of the plane through the greys decides.
const TRITAN_PLANE: [f64; 3] = [0.03901, -0.02788, -0.01113];
const TRITAN_BEHIND: Matrix = [
    [0.93678, 0.18979, -0.12657],
    [0.06153, 0.81526, 0.12320],
    [-0.37561, 1.12765, 0.24795],
];
const TRITAN_BEFORE: Matrix = [
    [1.01277, 0.13548, -0.14826],
    [-0.01243, 0.86812, 0.14431],
    [0.07589, 0.80500, 0.11911],
];

impl Vision {
    /// Every way, the usual one first.
    pub const ALL: [Self; 4] = [Self::Usual, Self::Protan, Self::Deutan, Self::Tritan];

    /// What a reader sees: linear light with sRGB primaries in and out, 0..1;
    /// what falls outside is cut off.
    pub fn see(self, rgb: [f64; 3]) -> [f64; 3] {
        let rgb = rgb.map(|component| component.clamp(0.0, 1.0));
        let matrix = match self {
            Self::Usual => return rgb,
            Self::Protan => &PROTAN,
            Self::Deutan => &DEUTAN,
            Self::Tritan if dot(&TRITAN_PLANE, rgb) <= 0.0 => &TRITAN_BEHIND,
            Self::Tritan => &TRITAN_BEFORE,
        };
        [0, 1, 2].map(|row: usize| dot(&matrix[row], rgb).clamp(0.0, 1.0))
    }
}

fn dot(row: &[f64; 3], rgb: [f64; 3]) -> f64 {
    row[0] * rgb[0] + row[1] * rgb[1] + row[2] * rgb[2]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn greys_stay_grey() {
        for vision in Vision::ALL {
            for grey in [0.0, 0.2, 1.0] {
                for component in vision.see([grey; 3]) {
                    assert!((component - grey).abs() < 3e-5, "{vision:?} {grey}");
                }
            }
        }
    }

    #[test]
    fn red_and_green_come_nearer_for_protan_and_deutan() {
        use crate::engine::color::difference::{Lab, ciede2000};
        let far = |vision: Vision| {
            let [red, green] = [[0.5, 0.1, 0.0], [0.1, 0.35, 0.0]].map(|rgb| vision.see(rgb));
            ciede2000(Lab::from_linear_srgb(red), Lab::from_linear_srgb(green))
        };
        assert!(far(Vision::Deutan) < far(Vision::Usual) / 2.0);
        assert!(far(Vision::Protan) < far(Vision::Usual));
        assert!(far(Vision::Tritan) > far(Vision::Usual) / 2.0);
    }

    /// The tritan's two halves meet along the greys and agree there.
    #[test]
    fn the_halves_meet() {
        let [x, y, z] = TRITAN_PLANE;
        // A colour on the plane that is not grey.
        let on_plane = [-(0.2 * y + 0.1 * z) / x, 0.2, 0.1];
        for row in 0..3 {
            let gap = dot(&TRITAN_BEHIND[row], on_plane) - dot(&TRITAN_BEFORE[row], on_plane);
            assert!(gap.abs() < 1e-4, "{row}: {gap}");
        }
    }
}
