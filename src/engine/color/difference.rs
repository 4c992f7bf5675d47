//! How far apart two colours look: CIELAB and CIEDE2000.

/// sRGB primaries to XYZ, D65 (IEC 61966-2-1 chromaticities), rows are X Y Z.
const XYZ_FROM_LINEAR: [[f64; 3]; 3] = [
    [
        0.412_390_799_265_959_5,
        0.357_584_339_383_877_96,
        0.180_480_788_401_834_3,
    ],
    [
        0.212_639_005_871_510_36,
        0.715_168_678_767_755_9,
        0.072_192_315_360_733_71,
    ],
    [
        0.019_330_818_715_591_85,
        0.119_194_779_794_625_99,
        0.950_532_152_249_660_6,
    ],
];

/// A colour in CIELAB (CIE 15:2018), white D65: L* 0..100, a*, b*.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lab {
    /// Lightness, 0..100.
    pub l: f64,
    /// From green to red.
    pub a: f64,
    /// From blue to yellow.
    pub b: f64,
}

impl Lab {
    /// From linear light with sRGB primaries; components are taken as 0..1.
    pub fn from_linear_srgb(rgb: [f64; 3]) -> Self {
        let [x, y, z] = XYZ_FROM_LINEAR.map(|row| {
            let white: f64 = row.iter().sum();
            let sum = row[0] * rgb[0] + row[1] * rgb[1] + row[2] * rgb[2];
            root(sum / white)
        });
        Self {
            l: 116.0 * y - 16.0,
            a: 500.0 * (x - y),
            b: 200.0 * (y - z),
        }
    }
}

/// The cube root of CIELAB, straight below (6/29)^3.
fn root(t: f64) -> f64 {
    if t > 216.0 / 24389.0 {
        libm::cbrt(t)
    } else {
        (24389.0 / 27.0 * t + 16.0) / 116.0
    }
}

/// The CIEDE2000 colour difference (ISO/CIE 11664-6) with all weights 1, as
/// written out by Sharma, Wu & Dalal (2005, Color Res. Appl. 30, 21). About 1
/// is just noticeable side by side.
pub fn ciede2000(one: Lab, two: Lab) -> f64 {
    let mean_chroma = (libm::hypot(one.a, one.b) + libm::hypot(two.a, two.b)) / 2.0;
    let stretch = 1.5 - 0.5 * chroma_share(mean_chroma);
    let (c1, h1) = polar(one.a * stretch, one.b);
    let (c2, h2) = polar(two.a * stretch, two.b);

    let grey = c1 * c2 == 0.0;
    let turn = (h2 - h1).abs();
    let (hue_step, hue) = if grey {
        (0.0, h1 + h2)
    } else if turn <= 180.0 {
        (h2 - h1, (h1 + h2) / 2.0)
    } else {
        let around = if h2 > h1 { -360.0 } else { 360.0 };
        let half = if h1 + h2 < 360.0 { 180.0 } else { -180.0 };
        (h2 - h1 + around, (h1 + h2) / 2.0 + half)
    };

    let lightness = (one.l + two.l) / 2.0 - 50.0;
    let chroma = (c1 + c2) / 2.0;
    let cos = |degrees: f64| libm::cos(degrees.to_radians());
    let t = 1.0 - 0.17 * cos(hue - 30.0) + 0.24 * cos(2.0 * hue) + 0.32 * cos(3.0 * hue + 6.0)
        - 0.20 * cos(4.0 * hue - 63.0);
    let blue = (hue - 275.0) / 25.0;
    let rotation = 30.0 * libm::exp(-blue * blue);
    let rotate = -libm::sin((2.0 * rotation).to_radians()) * 2.0 * chroma_share(chroma);

    let square = lightness * lightness;
    let dl = (two.l - one.l) / (1.0 + 0.015 * square / (20.0 + square).sqrt());
    let dc = (c2 - c1) / (1.0 + 0.045 * chroma);
    let dh = 2.0 * (c1 * c2).sqrt() * libm::sin((hue_step / 2.0).to_radians());
    let dh = dh / (1.0 + 0.015 * chroma * t);
    (dl * dl + dc * dc + dh * dh + rotate * dc * dh)
        .max(0.0)
        .sqrt()
}

/// sqrt(C^7 / (C^7 + 25^7))
fn chroma_share(chroma: f64) -> f64 {
    let cube = chroma * chroma * chroma;
    let seventh = cube * cube * chroma;
    (seventh / (seventh + 6_103_515_625.0)).sqrt()
}

/// Chroma and hue angle in degrees, 0..360.
fn polar(a: f64, b: f64) -> (f64, f64) {
    let hue = libm::atan2(b, a).to_degrees();
    (libm::hypot(a, b), if hue < 0.0 { hue + 360.0 } else { hue })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The pairs of table 1 of Sharma, Wu & Dalal (2005): two colours and
    /// their difference.
    #[rustfmt::skip]
    const PUBLISHED: [[f64; 7]; 34] = [
        [50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425],
        [50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615],
        [50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412],
        [50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669],
        [50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461],
        [50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065],
        [50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492],
        [50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977],
        [50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030],
        [50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ];

    #[test]
    fn published_pairs() {
        for [l1, a1, b1, l2, a2, b2, expected] in PUBLISHED {
            let one = Lab {
                l: l1,
                a: a1,
                b: b1,
            };
            let two = Lab {
                l: l2,
                a: a2,
                b: b2,
            };
            for ours in [ciede2000(one, two), ciede2000(two, one)] {
                assert!((ours - expected).abs() < 1e-4, "{one:?} {two:?}: {ours}");
            }
        }
    }

    /// Lab of sRGB's corners, D65, as CSS Color 4 conversions give them by way
    /// of a separate Python implementation (colour-science).
    #[test]
    fn lab_of_the_corners() {
        let corners = [
            ([1.0, 1.0, 1.0], [100.0, 0.0, 0.0]),
            ([0.0, 0.0, 0.0], [0.0, 0.0, 0.0]),
            ([1.0, 0.0, 0.0], [53.2371, 80.0901, 67.2033]),
            ([0.0, 1.0, 0.0], [87.7355, -86.1816, 83.1866]),
            ([0.0, 0.0, 1.0], [32.3009, 79.1953, -107.8555]),
            ([0.2, 0.05, 0.6], [41.4695, 53.9081, -63.0428]),
            ([0.001, 0.002, 0.003], [1.6797, -0.4032, -1.5504]),
        ];
        for (rgb, [l, a, b]) in corners {
            let lab = Lab::from_linear_srgb(rgb);
            assert!((lab.l - l).abs() < 1e-3, "{rgb:?}: {lab:?}");
            assert!(
                (lab.a - a).abs() < 1e-2 && (lab.b - b).abs() < 1e-2,
                "{rgb:?}: {lab:?}"
            );
        }
    }
}
