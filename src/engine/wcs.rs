//! World coordinates of a grid: the linear part, as headers give it.

use super::frame::Size;
use super::header::{Header, Value};
use super::num::exact;

/// The linear world coordinates of a FITS header (Greisen & Calabretta 2002,
/// A&A 395, 1061): pixel (1, 1) is the centre of the first pixel.
#[derive(Debug, Clone, PartialEq)]
pub struct Wcs {
    /// Projection code: `TAN`, `SIN` ...
    pub projection: String,
    /// The pixel that the reference value belongs to, counted from 1.
    pub reference_pixel: [f64; 2],
    /// Right ascension and declination there, degrees.
    pub reference_value: [f64; 2],
    /// Degrees per pixel: `[[CD1_1, CD1_2], [CD2_1, CD2_2]]`.
    pub cd: [[f64; 2]; 2],
    /// `ICRS`, `FK5` or `FK4`.
    pub frame: String,
    /// Years; None for ICRS without EQUINOX.
    pub equinox: Option<f64>,
    /// Whether the header also gives distortion terms (SIP).
    pub distorted: bool,
}

impl Wcs {
    /// Reads CD, else PC with CDELT, else CDELT with CROTA2. None where the
    /// axes are not right ascension and declination in that order, or where
    /// the matrix has no inverse.
    pub fn from_header(header: &Header) -> Option<Self> {
        let (first, second) = (header.text("CTYPE1")?, header.text("CTYPE2")?);
        if !first.starts_with("RA--") || !second.starts_with("DEC-") {
            return None;
        }
        let projection = first.get(5..8)?.to_owned();
        let number = |keyword: &str| header.number(keyword);
        let cd = if ["CD1_1", "CD1_2", "CD2_1", "CD2_2"]
            .iter()
            .any(|k| number(k).is_some())
        {
            let entry = |keyword: &str| number(keyword).unwrap_or(0.0);
            [
                [entry("CD1_1"), entry("CD1_2")],
                [entry("CD2_1"), entry("CD2_2")],
            ]
        } else {
            let steps = [number("CDELT1")?, number("CDELT2")?];
            let turn = match ["PC1_1", "PC1_2", "PC2_1", "PC2_2"].map(number) {
                [None, None, None, None] => {
                    let angle = number("CROTA2").unwrap_or(0.0).to_radians();
                    let (sin, cos) = (libm::sin(angle), libm::cos(angle));
                    // The old convention turns before it scales.
                    let ratio = steps[1] / steps[0];
                    [[cos, -sin * ratio], [sin / ratio, cos]]
                }
                [a, b, c, d] => [
                    [a.unwrap_or(1.0), b.unwrap_or(0.0)],
                    [c.unwrap_or(0.0), d.unwrap_or(1.0)],
                ],
            };
            [turn[0].map(|v| v * steps[0]), turn[1].map(|v| v * steps[1])]
        };
        let determinant = cd[0][0] * cd[1][1] - cd[0][1] * cd[1][0];
        if determinant == 0.0 || !determinant.is_finite() {
            return None;
        }
        let equinox = number("EQUINOX").or_else(|| number("EPOCH"));
        let frame = header
            .text("RADESYS")
            .or_else(|| header.text("RADECSYS"))
            .unwrap_or_else(|| {
                match equinox {
                    None => "ICRS",
                    Some(year) if year < 1984.0 => "FK4",
                    Some(_) => "FK5",
                }
                .to_owned()
            });
        Some(Self {
            projection,
            reference_pixel: [number("CRPIX1")?, number("CRPIX2")?],
            reference_value: [number("CRVAL1")?, number("CRVAL2")?],
            cd,
            frame,
            equinox,
            distorted: first.ends_with("-SIP"),
        })
    }

    /// Degrees per pixel along x and y.
    pub fn scale_deg(&self) -> [f64; 2] {
        let [[a, b], [c, d]] = self.cd;
        [(a * a + c * c).sqrt(), (b * b + d * d).sqrt()]
    }

    /// The angle that FITS calls CROTA2, in degrees, -180..180.
    pub fn rotation_deg(&self) -> f64 {
        let [[_, b], [_, d]] = self.cd;
        let degrees = exact::angle_deg(-b, d);
        if degrees > 180.0 {
            degrees - 360.0
        } else {
            degrees
        }
    }

    /// Whether the grid, with its y axis up, shows the sky as seen from below
    /// (east to the left when north is up).
    pub fn shows_sky_as_seen(&self) -> bool {
        let [[a, b], [c, d]] = self.cd;
        a * d - b * c < 0.0
    }

    /// The same grid counted from the bottom row of a picture whose rows are
    /// stored from the top.
    pub fn from_bottom(&self, size: Size) -> Self {
        let [[a, b], [c, d]] = self.cd;
        let [x, y] = self.reference_pixel;
        Self {
            reference_pixel: [x, size.height as f64 + 1.0 - y],
            cd: [[a, -b], [c, -d]],
            ..self.clone()
        }
    }
}

/// The header of a grid whose first pixel is another one, (x, y): the reference
/// pixel moves, the rest stays.
pub fn moved(grid: &Header, [x, y]: [usize; 2]) -> Header {
    let mut grid = grid.clone();
    for card in grid.cards.iter_mut().chain(&mut grid.inherited) {
        let offset = match card.keyword.as_str() {
            "CRPIX1" => x,
            "CRPIX2" => y,
            _ => continue,
        };
        let value = match &card.value {
            Some(Value::Integer(value)) => Some(*value as f64),
            Some(Value::Real(value)) => Some(*value),
            _ => None,
        };
        if let Some(value) = value.filter(|_| offset != 0) {
            card.value = Some(Value::Real(value - offset as f64));
        }
    }
    grid
}

/// The header of a grid whose pixels are `step` times as long (right, down)
/// from the same upper left corner on: reference pixel, scale and SIP terms
/// are brought to the new pixels, the rest stays.
pub fn scaled(grid: &Header, step: [f64; 2]) -> Header {
    let mut grid = grid.clone();
    if step == [1.0; 2] {
        return grid;
    }
    for card in grid.cards.iter_mut().chain(&mut grid.inherited) {
        let value = match &card.value {
            Some(Value::Integer(value)) => *value as f64,
            Some(Value::Real(value)) => *value,
            _ => continue,
        };
        let value = match card.keyword.as_str() {
            "CRPIX1" => (value - 0.5) / step[0] + 0.5,
            "CRPIX2" => (value - 0.5) / step[1] + 0.5,
            "CD1_1" | "CD2_1" | "CDELT1" => value * step[0],
            "CD1_2" | "CD2_2" | "CDELT2" => value * step[1],
            // CDELT scales the axes of the sky here: the difference goes into PC.
            "PC1_2" => value * (step[1] / step[0]),
            "PC2_1" => value * (step[0] / step[1]),
            keyword => match sip_factor(keyword, step) {
                Some(factor) => value * factor,
                None => continue,
            },
        };
        card.value = Some(Value::Real(value));
    }
    grid
}

// What a SIP coefficient, A_p_q and its like, is multiplied by: it takes
// u^p v^q to u (A, AP) or v (B, BP), all in pixels.
fn sip_factor(keyword: &str, step: [f64; 2]) -> Option<f64> {
    let (name, powers) = keyword.split_once('_')?;
    let side = match name {
        "A" | "AP" => 0,
        "B" | "BP" => 1,
        _ => return None,
    };
    let (p, q) = powers.split_once('_')?;
    let (p, q): (u8, u8) = (p.parse().ok()?, q.parse().ok()?);
    let power = |step: f64, times: u8| (0..times).fold(1.0, |product, _| product * step);
    Some(power(step[0], p) * power(step[1], q) / step[side])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::header::Card;

    fn header(cards: &[(&str, f64)]) -> Header {
        let text = |keyword: &str, value: &str| Card {
            keyword: keyword.to_owned(),
            value: Some(Value::Text(value.to_owned())),
            comment: String::new(),
        };
        let mut all = vec![text("CTYPE1", "RA---TAN"), text("CTYPE2", "DEC--TAN")];
        all.extend(cards.iter().map(|(keyword, value)| Card {
            keyword: (*keyword).to_owned(),
            value: Some(Value::Real(*value)),
            comment: String::new(),
        }));
        Header {
            cards: all,
            inherited: Vec::new(),
        }
    }

    const PLACE: [(&str, f64); 4] = [
        ("CRPIX1", 50.0),
        ("CRPIX2", 20.0),
        ("CRVAL1", 93.0),
        ("CRVAL2", 17.0),
    ];

    #[test]
    fn the_three_notations_agree() {
        // 1 arc second per pixel, turned by 30 degrees.
        let step = 1.0 / 3600.0;
        let (sin, cos) = (0.5, 0.866_025_403_784_438_6);
        let old = [("CDELT1", -step), ("CDELT2", step), ("CROTA2", 30.0)];
        let new = [
            ("CD1_1", -step * cos),
            ("CD1_2", -step * sin),
            ("CD2_1", -step * sin),
            ("CD2_2", step * cos),
        ];
        let pc = [
            ("CDELT1", -step),
            ("CDELT2", step),
            ("PC1_1", cos),
            ("PC1_2", sin),
            ("PC2_1", -sin),
            ("PC2_2", cos),
        ];
        for cards in [&old[..], &new[..], &pc[..]] {
            let wcs = Wcs::from_header(&header(&[&PLACE[..], cards].concat())).expect("complete");
            assert!((wcs.rotation_deg() - 30.0).abs() < 1e-9, "{wcs:?}");
            assert!(
                wcs.scale_deg()
                    .iter()
                    .all(|scale| (scale - step).abs() < 1e-12),
                "{wcs:?}"
            );
            assert!(wcs.shows_sky_as_seen());
            assert_eq!(wcs.frame, "ICRS");
        }
    }

    #[test]
    fn counting_from_the_bottom_mirrors_y() {
        let step = 1e-3;
        let cards = [&PLACE[..], &[("CDELT1", -step), ("CDELT2", step)]].concat();
        let wcs = Wcs::from_header(&header(&cards)).expect("complete");
        let turned = wcs.from_bottom(Size {
            width: 100,
            height: 60,
        });
        assert_eq!(turned.reference_pixel, [50.0, 41.0]);
        assert!(!turned.shows_sky_as_seen());
    }

    /// Two pixels of the old grid under one of the new one, three down: the
    /// offset on the sky of a place stays, in each notation.
    #[test]
    fn larger_pixels_point_to_the_same_sky() {
        let step = 1.0 / 3600.0;
        let old = [("CDELT1", -step), ("CDELT2", step), ("CROTA2", 30.0)];
        let new = [
            ("CD1_1", -step),
            ("CD1_2", 0.1 * step),
            ("CD2_1", 0.2 * step),
            ("CD2_2", step),
        ];
        let pc = [
            ("CDELT1", -step),
            ("CDELT2", 2.0 * step),
            ("PC1_2", 0.5),
            ("PC2_1", -0.25),
        ];
        for cards in [&old[..], &new[..], &pc[..]] {
            let header = header(&[&PLACE[..], cards].concat());
            let before = Wcs::from_header(&header).expect("complete");
            let after = Wcs::from_header(&scaled(&header, [2.0, 3.0])).expect("complete");
            let sky = |wcs: &Wcs, [x, y]: [f64; 2]| {
                // Corners are counted from 0, pixel centres from 1.
                let offset = [
                    x + 0.5 - wcs.reference_pixel[0],
                    y + 0.5 - wcs.reference_pixel[1],
                ];
                wcs.cd.map(|row| row[0] * offset[0] + row[1] * offset[1])
            };
            for [x, y] in [[0.0, 0.0], [31.0, 8.0]] {
                let (one, other) = (sky(&before, [x, y]), sky(&after, [x / 2.0, y / 3.0]));
                assert!((one[0] - other[0]).abs() < 1e-12, "{one:?} {other:?}");
                assert!((one[1] - other[1]).abs() < 1e-12, "{one:?} {other:?}");
            }
        }
        assert_eq!(sip_factor("A_2_1", [2.0, 3.0]), Some(6.0));
        assert_eq!(sip_factor("BP_0_2", [2.0, 3.0]), Some(3.0));
        assert_eq!(sip_factor("A_ORDER", [2.0, 3.0]), None);
    }

    #[test]
    fn what_is_no_sky_grid_gives_none() {
        assert_eq!(Wcs::from_header(&Header::default()), None);
        assert_eq!(Wcs::from_header(&header(&PLACE)), None);
        let flat = [&PLACE[..], &[("CD1_1", 1.0), ("CD2_1", 1.0)]].concat();
        assert_eq!(Wcs::from_header(&header(&flat)), None);
    }
}
