//! Colour profiles: ICC.1:2022 (version 4.4) display profiles, matrix and curve.
//!
//! The bytes lie in `assets/icc` and are part of the program; [`build`] makes
//! them again from the primaries, and a test holds the two against each other.

use crate::engine::color::space::Space;

/// The profile of a space; `linear` for samples in linear light.
pub fn profile(space: Space, linear: bool) -> &'static [u8] {
    match (space, linear) {
        (Space::Srgb, false) => include_bytes!("../../../assets/icc/srgb.icc"),
        (Space::Srgb, true) => include_bytes!("../../../assets/icc/srgb-linear.icc"),
        (Space::DisplayP3, false) => include_bytes!("../../../assets/icc/display-p3.icc"),
        (Space::DisplayP3, true) => include_bytes!("../../../assets/icc/display-p3-linear.icc"),
        (Space::Rec2020, false) => include_bytes!("../../../assets/icc/rec2020.icc"),
        (Space::Rec2020, true) => include_bytes!("../../../assets/icc/rec2020-linear.icc"),
    }
}

/// The name of a space in its profile, ASCII.
pub fn name(space: Space) -> &'static str {
    facts(space).name
}

/// D65 as chromaticity, as sRGB, Display P3 and BT.2020 have it.
const D65: [f64; 2] = [0.3127, 0.3290];

/// The white of the profile connection space (ICC.1:2022, 7.2.16).
const D50: [f64; 3] = [0.9642, 1.0, 0.8249];

/// Cone responses after Bradford (ICC.1:2022, annex E).
const BRADFORD: Matrix = [
    [0.8951, 0.2664, -0.1614],
    [-0.7502, 1.7135, 0.0367],
    [0.0389, -0.0685, 1.0296],
];

/// Rows of a 3 by 3 matrix.
type Matrix = [[f64; 3]; 3];

/// What a profile says about a space.
struct Facts {
    name: &'static str,
    /// Chromaticities of R, G, B.
    primaries: [[f64; 2]; 3],
    /// Parameters g, a, b, c, d of the curve (type 3 of ICC.1:2022, 10.18):
    /// Y = (a X + b)^g from d on, c X below.
    curve: [f64; 5],
    /// Colour primaries and transfer characteristics of ITU-T H.273.
    code_points: [u8; 2],
}

/// IEC 61966-2-1.
const SRGB_CURVE: [f64; 5] = [2.4, 1.0 / 1.055, 0.055 / 1.055, 1.0 / 12.92, 0.04045];

fn facts(space: Space) -> Facts {
    match space {
        Space::Srgb => Facts {
            name: "sRGB",
            primaries: [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]],
            curve: SRGB_CURVE,
            code_points: [1, 13],
        },
        Space::DisplayP3 => Facts {
            name: "Display P3",
            primaries: [[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]],
            curve: SRGB_CURVE,
            code_points: [12, 13],
        },
        // ITU-R BT.2020-2, table 4, with the constants for which both parts of
        // the curve meet.
        Space::Rec2020 => Facts {
            name: "Rec. 2020",
            primaries: [[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]],
            curve: [
                1.0 / 0.45,
                1.0 / BT2020_ALPHA,
                (BT2020_ALPHA - 1.0) / BT2020_ALPHA,
                1.0 / 4.5,
                4.5 * BT2020_BETA,
            ],
            code_points: [9, 14],
        },
    }
}

const BT2020_ALPHA: f64 = 1.099_296_826_809_44;
const BT2020_BETA: f64 = 0.018_053_968_510_807;

/// Makes the bytes of a profile; only sums, products and quotients go into
/// them, so they are the same on any machine.
pub fn build(space: Space, linear: bool) -> Vec<u8> {
    let facts = facts(space);
    let to_xyz = rgb_to_xyz(&facts.primaries);
    let adapt = adaptation();
    let colorants = product(&adapt, &to_xyz);
    let column = |index: usize| xyz_type(colorants.map(|row| row[index]));
    let name = if linear {
        format!("{}, linear", facts.name)
    } else {
        facts.name.to_owned()
    };
    let curve = if linear {
        linear_curve()
    } else {
        parametric_curve(&facts.curve)
    };
    // H.273 numbers linear transfer 8; matrix 0 is none, range 1 is full.
    let transfer = if linear { 8 } else { facts.code_points[1] };
    let code_points = [
        &b"cicp\0\0\0\0"[..],
        &[facts.code_points[0], transfer, 0, 1],
    ]
    .concat();
    let tags: [(&[u8; 4], Vec<u8>); 11] = [
        (b"desc", text_type(&name)),
        (b"cprt", text_type("CC0 1.0, no rights reserved")),
        (b"wtpt", xyz_type(D50)),
        (
            b"chad",
            [
                &b"sf32\0\0\0\0"[..],
                &adapt
                    .as_flattened()
                    .iter()
                    .flat_map(|v| fixed(*v))
                    .collect::<Vec<_>>(),
            ]
            .concat(),
        ),
        (b"rXYZ", column(0)),
        (b"gXYZ", column(1)),
        (b"bXYZ", column(2)),
        (b"rTRC", curve.clone()),
        (b"gTRC", curve.clone()),
        (b"bTRC", curve),
        (b"cicp", code_points),
    ];
    assemble(&tags)
}

/// Header, table of tags, data; equal data is kept once.
fn assemble(tags: &[(&[u8; 4], Vec<u8>)]) -> Vec<u8> {
    let table = 128 + 4 + tags.len() * 12;
    let mut data: Vec<u8> = Vec::new();
    let mut entries = (tags.len() as u32).to_be_bytes().to_vec();
    let mut places: Vec<(usize, &[u8])> = Vec::new();
    for (signature, bytes) in tags {
        let place = match places.iter().find(|(_, old)| old == bytes) {
            Some((place, _)) => *place,
            None => {
                let place = table + data.len();
                data.extend_from_slice(bytes);
                data.resize(data.len().next_multiple_of(4), 0);
                places.push((place, bytes));
                place
            }
        };
        entries.extend_from_slice(&signature[..]);
        entries.extend_from_slice(&(place as u32).to_be_bytes());
        entries.extend_from_slice(&(bytes.len() as u32).to_be_bytes());
    }
    let mut out = Vec::with_capacity(table + data.len());
    out.extend_from_slice(&((table + data.len()) as u32).to_be_bytes());
    out.extend_from_slice(&[0; 4]); // no preferred converter
    out.extend_from_slice(&[4, 0x40, 0, 0]); // version 4.4
    out.extend_from_slice(b"mntrRGB XYZ ");
    // The date is fixed, or files would not be reproducible: 2026-01-01.
    for part in [2026_u16, 1, 1, 0, 0, 0] {
        out.extend_from_slice(&part.to_be_bytes());
    }
    out.extend_from_slice(b"acsp");
    out.extend_from_slice(&[0; 24]); // platform, flags, device, attributes
    out.extend_from_slice(&1_u32.to_be_bytes()); // media-relative colorimetric
    out.extend(D50.iter().flat_map(|value| fixed(*value)));
    out.resize(128, 0); // creator, profile identifier, reserved
    out.extend_from_slice(&entries);
    out.extend_from_slice(&data);
    out
}

/// s15Fixed16Number.
fn fixed(value: f64) -> [u8; 4] {
    ((value * 65_536.0).round() as i32).to_be_bytes()
}

fn xyz_type(xyz: [f64; 3]) -> Vec<u8> {
    let mut out = b"XYZ \0\0\0\0".to_vec();
    out.extend(xyz.iter().flat_map(|value| fixed(*value)));
    out
}

/// multiLocalizedUnicodeType with one English text.
fn text_type(text: &str) -> Vec<u8> {
    let units: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
    let mut out = b"mluc\0\0\0\0\0\0\0\x01\0\0\0\x0cenUS".to_vec();
    out.extend_from_slice(&(units.len() as u32).to_be_bytes());
    out.extend_from_slice(&28_u32.to_be_bytes());
    out.extend_from_slice(&units);
    out
}

/// parametricCurveType, function type 3.
fn parametric_curve(parameters: &[f64; 5]) -> Vec<u8> {
    let mut out = b"para\0\0\0\0\0\x03\0\0".to_vec();
    out.extend(parameters.iter().flat_map(|value| fixed(*value)));
    out
}

/// curveType without points: the identity.
fn linear_curve() -> Vec<u8> {
    b"curv\0\0\0\0\0\0\0\0".to_vec()
}

/// XYZ of a chromaticity at Y = 1.
fn xyz([x, y]: [f64; 2]) -> [f64; 3] {
    [x / y, 1.0, (1.0 - x - y) / y]
}

/// Linear RGB to XYZ: the primaries as columns, scaled so that they make white.
fn rgb_to_xyz(primaries: &[[f64; 2]; 3]) -> Matrix {
    let columns = primaries.map(xyz);
    let unscaled = [0, 1, 2].map(|row| columns.map(|column| column[row]));
    let scale = apply(&inverse(&unscaled), xyz(D65));
    unscaled.map(|row| [row[0] * scale[0], row[1] * scale[1], row[2] * scale[2]])
}

/// Bradford's adaptation from D65 to D50.
fn adaptation() -> Matrix {
    let (from, to) = (apply(&BRADFORD, xyz(D65)), apply(&BRADFORD, D50));
    let scaled = [0, 1, 2].map(|i| BRADFORD[i].map(|value| value * to[i] / from[i]));
    product(&inverse(&BRADFORD), &scaled)
}

fn apply(matrix: &Matrix, [x, y, z]: [f64; 3]) -> [f64; 3] {
    matrix.map(|row| row[0] * x + row[1] * y + row[2] * z)
}

fn product(left: &Matrix, right: &Matrix) -> Matrix {
    left.map(|row| {
        [0, 1, 2].map(|j| row[0] * right[0][j] + row[1] * right[1][j] + row[2] * right[2][j])
    })
}

/// By cofactors; the matrices here are far from singular.
fn inverse(m: &Matrix) -> Matrix {
    let cofactor = |i: usize, j: usize| {
        let (a, b, c, d) = ((i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3);
        m[a][c] * m[b][d] - m[a][d] * m[b][c]
    };
    let determinant =
        m[0][0] * cofactor(0, 0) + m[0][1] * cofactor(0, 1) + m[0][2] * cofactor(0, 2);
    [0, 1, 2].map(|i| [0, 1, 2].map(|j| cofactor(j, i) / determinant))
}

#[cfg(test)]
mod tests {
    use super::*;
    use moxcms::{ColorProfile, Layout, TransformOptions};

    /// Run with `LINEHUE_UPDATE_ASSETS=1` to write the profiles anew.
    #[test]
    fn assets_are_what_the_code_makes() {
        for space in Space::ALL {
            for linear in [false, true] {
                let made = build(space, linear);
                let suffix = if linear { "-linear" } else { "" };
                let name = format!("assets/icc/{}{suffix}.icc", space.name());
                if std::env::var_os("LINEHUE_UPDATE_ASSETS").is_some() {
                    std::fs::write(&name, &made).expect("written");
                } else {
                    assert_eq!(profile(space, linear), made, "{name} is out of date");
                }
            }
        }
    }

    /// The D50 colorants of sRGB and Bradford's matrix from D65 to D50, as
    /// commonly published to four places. Those start from a D65 that differs
    /// from the chromaticity 0.3127, 0.3290 in the fourth place.
    #[test]
    fn matrices_are_those_of_the_standards() {
        let close = |a: f64, b: f64| assert!((a - b).abs() < 4e-4, "{a} is not {b}");
        let srgb = product(&adaptation(), &rgb_to_xyz(&facts(Space::Srgb).primaries));
        let expected = [
            [0.4361, 0.3851, 0.1431],
            [0.2225, 0.7169, 0.0606],
            [0.0139, 0.0971, 0.7141],
        ];
        for (row, expected) in srgb.iter().zip(expected) {
            row.iter().zip(expected).for_each(|(a, b)| close(*a, b));
        }
        let expected = [
            [1.0479, 0.0229, -0.0502],
            [0.0296, 0.9905, -0.0171],
            [-0.0092, 0.0151, 0.7519],
        ];
        for (row, expected) in adaptation().iter().zip(expected) {
            row.iter().zip(expected).for_each(|(a, b)| close(*a, b));
        }
    }

    fn convert(from: &[u8], to: &[u8], rgb: [f32; 3]) -> [f32; 3] {
        let parse = |bytes| ColorProfile::new_from_slice(bytes).expect("a profile");
        let transform = parse(from)
            .create_transform_f32(
                Layout::Rgb,
                &parse(to),
                Layout::Rgb,
                TransformOptions::default(),
            )
            .expect("a transform");
        let mut out = [0.0; 3];
        transform.transform(&rgb, &mut out).expect("converted");
        out
    }

    /// Expected values by the formulas of CSS Color 4 and BT.2020, in double
    /// precision.
    #[test]
    fn colours_convert_as_the_spaces_say() {
        let srgb = profile(Space::Srgb, false);
        let colours = [[1.0_f32, 0.0, 0.0], [0.2, 0.5, 0.8]];
        let expected = [
            (Space::Srgb, false, [[1.0, 0.0, 0.0], [0.2, 0.5, 0.8]]),
            (
                Space::Srgb,
                true,
                [[1.0, 0.0, 0.0], [0.033105, 0.214041, 0.603827]],
            ),
            (
                Space::DisplayP3,
                false,
                [
                    [0.917488, 0.200287, 0.138561],
                    [0.283272, 0.493457, 0.777174],
                ],
            ),
            (
                Space::DisplayP3,
                true,
                [
                    [0.822462, 0.033194, 0.017083],
                    [0.065228, 0.208035, 0.565858],
                ],
            ),
            (
                Space::Rec2020,
                false,
                [
                    [0.791977, 0.230975, 0.073759],
                    [0.319952, 0.440618, 0.747653],
                ],
            ),
            (
                Space::Rec2020,
                true,
                [
                    [0.627404, 0.069097, 0.016391],
                    [0.117404, 0.205968, 0.560166],
                ],
            ),
        ];
        for (space, linear, expected) in expected {
            for (from, to) in colours.into_iter().zip(expected) {
                let there = convert(srgb, profile(space, linear), from);
                for (a, b) in there.into_iter().zip(to) {
                    assert!(
                        (a - b).abs() < 1e-3,
                        "{space:?} {linear}: {there:?}, not {to:?}"
                    );
                }
                let back = convert(profile(space, linear), srgb, to);
                for (a, b) in back.into_iter().zip(from) {
                    assert!(
                        (a - b).abs() < 4e-3,
                        "{space:?} {linear}: {back:?}, not {from:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_common_srgb_profile_agrees_within_a_code() {
        let ours = ColorProfile::new_from_slice(profile(Space::Srgb, false)).expect("a profile");
        let theirs = ColorProfile::new_srgb();
        let transform = ours
            .create_transform_8bit(
                Layout::Rgb,
                &theirs,
                Layout::Rgb,
                TransformOptions::default(),
            )
            .expect("a transform");
        let from: Vec<u8> = (0..=255).flat_map(|v: u8| [v, 255 - v, v / 2]).collect();
        let mut to = vec![0; from.len()];
        transform.transform(&from, &mut to).expect("converted");
        assert!(from.iter().zip(&to).all(|(a, b)| a.abs_diff(*b) <= 1));
    }
}
