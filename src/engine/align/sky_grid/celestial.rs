//! One grid on the sky: pixel to direction and back.

use super::sip::Distortion;
use crate::engine::header::Header;
use crate::engine::wcs::Wcs;

/// A unit vector: x to right ascension 0, y to 90 degrees, z to the north pole.
pub(super) type Direction = [f64; 3];

#[derive(Debug, Clone, Copy, PartialEq)]
enum Projection {
    Tan,
    Sin,
    Arc,
}

/// A grid of pixels on the sky.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    /// How positions are counted, in words: equal for grids that agree.
    pub frame: String,
    projection: Projection,
    // Counted from 0.
    reference_pixel: [f64; 2],
    cd: [[f64; 2]; 2],
    inverse: [[f64; 2]; 2],
    // Rows: the native x, y and z axes on the sky.
    axes: [Direction; 3],
    distortion: Option<Distortion>,
}

impl Grid {
    /// Reads a header; the error says what is missing or not understood.
    pub fn read(header: &Header) -> Result<Self, String> {
        let (Some(first), Some(second)) = (header.text("CTYPE1"), header.text("CTYPE2")) else {
            return Err("it gives no sky coordinates (CTYPE1 and CTYPE2)".to_owned());
        };
        if !first.starts_with("RA--") || !second.starts_with("DEC-") {
            return Err(format!(
                "its axes are `{first}` and `{second}`, not right ascension and declination"
            ));
        }
        for keyword in ["CUNIT1", "CUNIT2"] {
            if let Some(unit) = header.text(keyword)
                && !unit.eq_ignore_ascii_case("deg")
                && !unit.to_ascii_lowercase().starts_with("degree")
            {
                return Err(format!("{keyword} is `{unit}`, not degrees"));
            }
        }
        let wcs = Wcs::from_header(header).ok_or_else(|| {
            "its sky coordinates are incomplete or have no inverse \
             (CRPIX, CRVAL and CD, or CDELT)"
                .to_owned()
        })?;
        let other = |axis: &str| axis.get(5..8) != Some(wcs.projection.as_str());
        let projection = match wcs.projection.as_str() {
            "TAN" => Projection::Tan,
            "SIN" => Projection::Sin,
            "ARC" => Projection::Arc,
            _ => return Err(format!("the projection of `{first}` is not understood")),
        };
        if other(&second) {
            return Err(format!(
                "`{first}` and `{second}` are different projections"
            ));
        }
        // Slant SIN and shifted zenithal projections are other projections.
        for keyword in ["PV2_1", "PV2_2", "PV1_1", "PV1_2"] {
            if projection != Projection::Tan || keyword.starts_with("PV1") {
                let value = header.number(keyword).unwrap_or(0.0);
                if value != 0.0 {
                    return Err(format!("{keyword} = {value} is not understood"));
                }
            }
        }
        let [[a, b], [c, d]] = wcs.cd;
        let determinant = a * d - b * c;
        let inverse = [
            [d / determinant, -b / determinant],
            [-c / determinant, a / determinant],
        ];
        if !inverse.iter().flatten().all(|entry| entry.is_finite()) {
            return Err("its pixels have no size on the sky".to_owned());
        }
        let [right_ascension, declination] = wcs.reference_value;
        if !(-90.0..=90.0).contains(&declination) {
            return Err(format!("CRVAL2 = {declination} is no declination"));
        }
        // The native pole is the reference point: phi_0 = 0, theta_0 = 90.
        let default = if declination >= 90.0 { 0.0 } else { 180.0 };
        let pole = ["LONPOLE", "PV1_3"]
            .iter()
            .find_map(|keyword| header.number(keyword))
            .unwrap_or(default);
        Ok(Self {
            frame: frame(&wcs)?,
            projection,
            reference_pixel: wcs.reference_pixel.map(|pixel| pixel - 1.0),
            cd: wcs.cd,
            inverse,
            axes: axes(right_ascension, declination, pole),
            distortion: Distortion::read(header)?,
        })
    }

    /// Where a pixel position points; None where the projection ends.
    pub fn direction(&self, [x, y]: [f64; 2]) -> Option<Direction> {
        let offset = [x - self.reference_pixel[0], y - self.reference_pixel[1]];
        let offset = match &self.distortion {
            Some(distortion) => distortion.apply(offset),
            None => offset,
        };
        let [x, y] = product(&self.cd, offset).map(f64::to_radians);
        let radius = (x * x + y * y).sqrt();
        // Native: the pole in z; x = R sin(phi), y = -R cos(phi).
        let (along, up) = match self.projection {
            Projection::Tan => {
                let length = (1.0 + radius * radius).sqrt();
                (1.0 / length, 1.0 / length)
            }
            Projection::Sin => {
                if radius > 1.0 {
                    return None;
                }
                (1.0, (1.0 - radius * radius).sqrt())
            }
            Projection::Arc => {
                if radius > std::f64::consts::PI {
                    return None;
                }
                let along = if radius > 0.0 {
                    libm::sin(radius) / radius
                } else {
                    1.0
                };
                (along, libm::cos(radius))
            }
        };
        let native = [-y * along, x * along, up];
        let direction = [0, 1, 2].map(|k| {
            native[0] * self.axes[0][k] + native[1] * self.axes[1][k] + native[2] * self.axes[2][k]
        });
        direction
            .iter()
            .all(|part| part.is_finite())
            .then_some(direction)
    }

    /// The pixel position of a direction; None where the projection does not
    /// show it, or the distortion has no inverse.
    pub fn pixel(&self, direction: Direction) -> Option<[f64; 2]> {
        let native = self
            .axes
            .map(|axis| axis[0] * direction[0] + axis[1] * direction[1] + axis[2] * direction[2]);
        let (y, x, up) = (-native[0], native[1], native[2]);
        let along = match self.projection {
            Projection::Tan if up > 1e-6 => 1.0 / up,
            Projection::Sin if up >= 0.0 => 1.0,
            Projection::Arc => {
                let side = (x * x + y * y).sqrt();
                if side > 0.0 {
                    libm::atan2(side, up) / side
                } else if up > 0.0 {
                    1.0
                } else {
                    return None;
                }
            }
            _ => return None,
        };
        let offset = product(&self.inverse, [x * along, y * along].map(f64::to_degrees));
        let [x, y] = match &self.distortion {
            Some(distortion) => distortion.undo(offset)?,
            None => offset,
        };
        let position = [x + self.reference_pixel[0], y + self.reference_pixel[1]];
        position
            .iter()
            .all(|part| part.is_finite())
            .then_some(position)
    }
}

fn product([[a, b], [c, d]]: &[[f64; 2]; 2], [x, y]: [f64; 2]) -> [f64; 2] {
    [a * x + b * y, c * x + d * y]
}

fn frame(wcs: &Wcs) -> Result<String, String> {
    let equinox = wcs.equinox.unwrap_or(2000.0);
    match wcs.frame.trim().to_ascii_uppercase().as_str() {
        "ICRS" => Ok("ICRS".to_owned()),
        "FK5" if (equinox - 2000.0).abs() < 1e-3 => Ok("ICRS".to_owned()),
        "FK5" => Err(format!("its positions are of equinox {equinox}, not 2000")),
        other => Err(format!(
            "its positions are counted in {other}, not in ICRS or FK5 of equinox 2000"
        )),
    }
}

// Native axes on the sky (Calabretta & Greisen 2002, equations 2 and 5, for a
// native pole at the given right ascension and declination), all in degrees.
fn axes(right_ascension: f64, declination: f64, pole: f64) -> [Direction; 3] {
    let (sin_a, cos_a) = sin_cos(right_ascension);
    let (sin_d, cos_d) = sin_cos(declination);
    let (sin_p, cos_p) = sin_cos(pole);
    let up = [cos_d * cos_a, cos_d * sin_a, sin_d];
    // Away from the celestial pole and to the east, seen from the native pole.
    let south = [sin_d * cos_a, sin_d * sin_a, -cos_d];
    let east = [-sin_a, cos_a, 0.0];
    let along = |phi_south: f64, phi_east: f64| {
        [0, 1, 2].map(|k| phi_south * south[k] + phi_east * east[k])
    };
    // Native longitude `pole` runs towards the celestial pole, against `south`.
    [along(-cos_p, sin_p), along(-sin_p, -cos_p), up]
}

// Exact at whole quarter turns.
fn sin_cos(degrees: f64) -> (f64, f64) {
    let degrees = degrees % 360.0;
    let quarter = (degrees / 90.0).round();
    let rest = (degrees - 90.0 * quarter).to_radians();
    let (sin, cos) = (libm::sin(rest), libm::cos(rest));
    match (quarter as i64).rem_euclid(4) {
        0 => (sin, cos),
        1 => (cos, -sin),
        2 => (-sin, -cos),
        _ => (-cos, sin),
    }
}
