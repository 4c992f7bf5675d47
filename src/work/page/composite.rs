//! A finished composite at the size of a page, for when its inputs are gone:
//! area-true means in linear light.

use std::path::Path;
use std::sync::Arc;

use rayon::prelude::*;

use crate::engine::color::space::Space;
use crate::engine::color::transfer::{rec2020_encode, srgb_decode_exact, srgb_encode};
use crate::engine::frame::{Coded, Plane, Rows, Size};
use crate::engine::num::exact;
use crate::engine::reduce::{Reduced, reduced_size};
use crate::io::draw::base::{self, Base};
use crate::io::write::{self, Format};
use crate::work::{Control, Error};

/// A composite as a page shows it.
pub struct Small {
    /// Its size.
    pub size: Size,
    /// Codes of 8 bits, R G B.
    pub codes: Vec<u8>,
    /// The space that they are in.
    pub space: Space,
    /// Whether the file can be shown as it is.
    pub as_it_is: bool,
}

/// Reads a composite, its longer side brought to `long_edge` pixels, never
/// enlarged.
///
/// # Errors
/// When it cannot be read, has another profile than ours, or the job is stopped.
pub fn read(path: &Path, long_edge: usize, control: Control<'_>) -> Result<Small, Error> {
    control.progress.report("reading the composite", 0, 2);
    let base = base::read(path)?;
    control.check()?;
    control.progress.report("reading the composite", 1, 2);
    let whole = base.size;
    let Some(size) = reduced_size(whole, long_edge) else {
        let Base { space, .. } = base;
        let shown = matches!(write::format_of(path), Ok(Format::Png | Format::Jpeg));
        let as_it_is = shown && matches!(base.samples, Coded::U8(_));
        let Coded::U8(codes) = base.in_eight_bits().samples else {
            return Err(Error::request(
                format!("{} has no codes of 8 or 16 bits", path.display()),
                "compose it as a PNG, TIFF or JPEG",
            ));
        };
        return Ok(Small {
            size: whole,
            codes,
            space,
            as_it_is,
        });
    };
    let space = base.space;
    let light = light_of(space, &base.samples);
    let channels = (0..3)
        .into_par_iter()
        .map(|channel| {
            control.check()?;
            small(&base.samples, channel, &light, whole, long_edge)
        })
        .collect::<Result<Vec<Plane>, Error>>()?;
    let mut codes = vec![0; 3 * size.pixels()];
    for (channel, plane) in channels.iter().enumerate() {
        let out = codes.iter_mut().skip(channel).step_by(3);
        for (code, light) in out.zip(plane.values()) {
            *code = encoded(space, *light);
        }
    }
    Ok(Small {
        size,
        codes,
        space,
        as_it_is: false,
    })
}

// The light of every code.
fn light_of(space: Space, samples: &Coded) -> Vec<f32> {
    let most = match samples {
        Coded::U8(_) => 255_u32,
        _ => 65_535,
    };
    let decode = |code: u32| {
        let code = f64::from(code) / f64::from(most);
        match space {
            Space::Rec2020 => rec2020_decode(code),
            _ => srgb_decode_exact(code),
        }
    };
    (0..=most).map(|code| decode(code) as f32).collect()
}

// ITU-R BT.2020-2, table 4, solved for the light.
fn rec2020_decode(code: f64) -> f64 {
    const ALPHA: f64 = 1.099_296_826_809_44;
    const BETA: f64 = 0.018_053_968_510_807;
    if code < 4.5 * BETA {
        code / 4.5
    } else {
        exact::pow((code + ALPHA - 1.0) / ALPHA, 1.0 / 0.45)
    }
}

fn encoded(space: Space, light: f32) -> u8 {
    let light = light.clamp(0.0, 1.0);
    let tone = match space {
        Space::Rec2020 => rec2020_encode(light),
        _ => srgb_encode(light),
    };
    (255.0 * tone + 0.5).floor().clamp(0.0, 255.0) as u8
}

fn small(
    samples: &Coded,
    channel: usize,
    light: &[f32],
    size: Size,
    long_edge: usize,
) -> Result<Plane, Error> {
    let values: Vec<f32> = match samples {
        Coded::U8(all) => all[channel..]
            .iter()
            .step_by(3)
            .map(|code| light[usize::from(*code)])
            .collect(),
        Coded::U16(all) => all[channel..]
            .iter()
            .step_by(3)
            .map(|code| light[usize::from(*code)])
            .collect(),
        Coded::F32(all) => all[channel..].iter().step_by(3).copied().collect(),
    };
    let plane = Plane::from_vec(size, values)
        .ok_or_else(|| Error::request("the composite has no pixels", "compose it again"))?;
    let plane: Arc<dyn Rows> = Arc::new(plane);
    Ok(Plane::from_rows(&*Reduced::within(plane, long_edge))?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_come_back_through_light() {
        for space in [Space::Srgb, Space::DisplayP3, Space::Rec2020] {
            let light = light_of(space, &Coded::U8(Vec::new()));
            for code in 0..=255_u8 {
                assert_eq!(encoded(space, light[usize::from(code)]), code, "{space:?}");
            }
        }
    }

    #[test]
    fn means_are_of_light_not_of_codes() {
        // Black and white in equal parts: half the light, which sRGB codes as
        // 188 (IEC 61966-2-1: 1.055 * 0.5^(1/2.4) - 0.055 = 0.7354).
        let size = Size {
            width: 4,
            height: 2,
        };
        let codes: Vec<u8> = [0, 0, 0, 255, 255, 255].repeat(4);
        let samples = Coded::U8(codes);
        let light = light_of(Space::Srgb, &samples);
        let plane = small(&samples, 1, &light, size, 2).expect("small");
        assert_eq!(plane.values().len(), 2);
        assert!(
            plane
                .values()
                .iter()
                .all(|v| encoded(Space::Srgb, *v) == 188)
        );
    }
}
