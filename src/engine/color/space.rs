//! Output spaces.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A 3 x 3 matrix, rows first; a colour is a column.
pub type Matrix = [[f64; 3]; 3];

/// The colour space of a finished picture.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Space {
    /// sRGB, IEC 61966-2-1.
    #[default]
    Srgb,
    /// Display P3: P3 primaries, D65, sRGB's curve.
    DisplayP3,
    /// ITU-R BT.2020 with its own curve.
    Rec2020,
}

impl Space {
    /// Every space.
    pub const ALL: [Self; 3] = [Self::Srgb, Self::DisplayP3, Self::Rec2020];

    /// As the command line and the record write it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Srgb => "srgb",
            Self::DisplayP3 => "display-p3",
            Self::Rec2020 => "rec2020",
        }
    }

    /// As people write it.
    pub fn title(self) -> &'static str {
        match self {
            Self::Srgb => "sRGB",
            Self::DisplayP3 => "Display P3",
            Self::Rec2020 => "Rec. 2020",
        }
    }

    // Chromaticities of red, green and blue: IEC 61966-2-1, SMPTE EG 432-1,
    // ITU-R BT.2020-2.
    fn primaries(self) -> [[f64; 2]; 3] {
        match self {
            Self::Srgb => [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]],
            Self::DisplayP3 => [[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]],
            Self::Rec2020 => [[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]],
        }
    }

    /// Linear light of this space to CIE XYZ (Y of white is 1), by the usual
    /// derivation from primaries and white (SMPTE RP 177).
    pub fn to_xyz(self) -> Matrix {
        let columns = self
            .primaries()
            .map(|[x, y]| [x / y, 1.0, (1.0 - x - y) / y]);
        let [r, g, b] = columns;
        let corners = [[r[0], g[0], b[0]], [r[1], g[1], b[1]], [r[2], g[2], b[2]]];
        let [x, y] = D65;
        let white = [x / y, 1.0, (1.0 - x - y) / y];
        let scale = apply(&inverse(&corners), white);
        corners.map(|row| [row[0] * scale[0], row[1] * scale[1], row[2] * scale[2]])
    }

    /// CIE XYZ to linear light of this space.
    pub fn from_xyz(self) -> Matrix {
        inverse(&self.to_xyz())
    }

    /// Linear sRGB to linear light of this space.
    pub fn from_linear_srgb(self) -> Matrix {
        match self {
            Self::Srgb => [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            _ => product(&self.from_xyz(), &Self::Srgb.to_xyz()),
        }
    }

    /// Weights of linear red, green and blue in luminance; they sum to 1.
    pub fn luminance_weights(self) -> [f64; 3] {
        self.to_xyz()[1]
    }
}

/// Chromaticity of D65 as the three standards give it.
pub const D65: [f64; 2] = [0.3127, 0.3290];

/// Matrix times column.
pub fn apply(matrix: &Matrix, [a, b, c]: [f64; 3]) -> [f64; 3] {
    matrix.map(|row| row[0] * a + row[1] * b + row[2] * c)
}

/// Matrix times matrix.
pub fn product(left: &Matrix, right: &Matrix) -> Matrix {
    left.map(|row| {
        std::array::from_fn(|column| (0..3).map(|k| row[k] * right[k][column]).sum::<f64>())
    })
}

/// The inverse of a regular matrix, by cofactors.
pub fn inverse(m: &Matrix) -> Matrix {
    let cofactor = |r: usize, c: usize| {
        let (r1, r2, c1, c2) = ((r + 1) % 3, (r + 2) % 3, (c + 1) % 3, (c + 2) % 3);
        m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1]
    };
    let determinant = (0..3).map(|c| m[0][c] * cofactor(0, c)).sum::<f64>();
    std::array::from_fn(|r| std::array::from_fn(|c| cofactor(c, r) / determinant))
}

impl std::str::FromStr for Space {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|space| space.name() == text)
            .ok_or_else(|| format!("`{text}` is no output space: srgb, display-p3 or rec2020"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn matrices_are_the_published_ones() {
        // CSS Color 4 and the standards print these rows of XYZ to linear RGB.
        let published = [
            (Space::Srgb, [3.240_969_94, -1.537_383_18, -0.498_610_76]),
            (
                Space::DisplayP3,
                [2.493_496_91, -0.931_383_62, -0.402_710_78],
            ),
            (Space::Rec2020, [1.716_651_19, -0.355_670_78, -0.253_366_28]),
        ];
        for (space, row) in published {
            let computed = space.from_xyz()[0];
            for (a, b) in computed.iter().zip(row) {
                assert!((a - b).abs() < 2e-8, "{space:?}: {computed:?}");
            }
        }
    }

    #[test]
    fn white_stays_white() {
        for space in Space::ALL {
            let white = apply(&space.from_linear_srgb(), [1.0; 3]);
            assert!(
                white.iter().all(|v| (v - 1.0).abs() < 1e-12),
                "{space:?}: {white:?}"
            );
            assert!((space.luminance_weights().iter().sum::<f64>() - 1.0).abs() < 1e-12);
        }
    }
}
