//! A finished picture to draw upon: read whole, given back as a copy with a
//! drawing on it or below it.

use std::fs::File;
use std::io::{BufReader, Read as _};
use std::path::Path;

use rayon::prelude::*;
use tiff::tags::Tag;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::on_one_line;
use super::pixels::{LONGEST, Layer, MOST};
use crate::engine::color::space::{Space, apply};
use crate::engine::color::transfer::{rec2020_encode, srgb_decode_exact, srgb_encode_exact};
use crate::engine::frame::{Coded, Plane, Size};
use crate::io::read::{self, Container, Pick, ReadError, SampleKind};
use crate::io::write::icc;

/// A picture in memory.
#[derive(Debug, Clone, PartialEq)]
pub struct Base {
    /// Its size.
    pub size: Size,
    /// Its samples, R G B: [`Coded::U8`] or [`Coded::U16`].
    pub samples: Coded,
    /// The space that they are in.
    pub space: Space,
}

/// Reads a PNG, a TIFF or a JPEG. A profile that is none of ours is refused:
/// colours would be drawn wrong.
///
/// # Errors
/// [`ReadError`].
pub fn read(path: &Path) -> Result<Base, ReadError> {
    let mut begins = Vec::new();
    File::open(path)
        .and_then(|file| file.take(3).read_to_end(&mut begins))
        .map_err(|error| ReadError::System {
            path: path.to_owned(),
            what: error.to_string(),
        })?;
    if begins == [0xff, 0xd8, 0xff] {
        return jpeg(path);
    }
    let plane = |plane: usize| Pick {
        plane: Some(plane),
        ..Pick::default()
    };
    let first = read::open(path, plane(0))?;
    let (facts, size) = (first.facts, first.rows.size());
    let profile = match facts.container {
        Container::Png => png_profile(path),
        Container::Tiff => tiff_profile(path),
        _ => {
            return Err(refusal(
                path,
                "a key is drawn on finished pictures",
                "name a PNG, TIFF or JPEG that was composed",
            ));
        }
    };
    let bits = facts.sample.bits;
    if facts.sample.kind != SampleKind::Unsigned || !matches!(bits, 8 | 16) {
        return Err(refusal(
            path,
            "a key is drawn on codes of 8 or 16 bits, this file has others",
            "compose it with `--depth 16` first",
        ));
    }
    not_too_large(path, size)?;
    let space = space_of(path, profile.as_deref())?;
    let planes = (0..3)
        .into_par_iter()
        .map(|index| {
            let index = if facts.planes < 3 { 0 } else { index };
            let rows = read::open(path, plane(index))?.rows;
            Plane::from_rows(&*rows).map_err(|error| refusal(path, &error.message, &error.hint))
        })
        .collect::<Result<Vec<Plane>, ReadError>>()?;
    let mut codes = vec![0_u16; 3 * size.pixels()];
    for (index, plane) in planes.iter().enumerate() {
        let out = codes.iter_mut().skip(index).step_by(3);
        for (code, value) in out.zip(plane.values()) {
            *code = *value as u16;
        }
    }
    let samples = if bits == 16 {
        Coded::U16(codes)
    } else {
        Coded::U8(codes.iter().map(|code| (*code).min(255) as u8).collect())
    };
    Ok(Base {
        size,
        samples,
        space,
    })
}

fn refusal(path: &Path, what: &str, hint: &str) -> ReadError {
    ReadError::Unsuitable {
        path: path.to_owned(),
        what: what.to_owned(),
        hint: hint.to_owned(),
    }
}

fn not_too_large(path: &Path, size: Size) -> Result<(), ReadError> {
    let longest = size.width.max(size.height);
    if longest > LONGEST || size.pixels() > MOST {
        return Err(refusal(
            path,
            &format!("{size} is too large to draw on"),
            "compose it with `--long-edge` first",
        ));
    }
    Ok(())
}

fn jpeg(path: &Path) -> Result<Base, ReadError> {
    let bytes = std::fs::read(path).map_err(|error| ReadError::System {
        path: path.to_owned(),
        what: error.to_string(),
    })?;
    let options = DecoderOptions::default()
        .set_max_width(LONGEST)
        .set_max_height(LONGEST)
        .jpeg_set_out_colorspace(ColorSpace::RGB);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(&bytes[..]), options);
    let damaged = |what: String| ReadError::Damaged {
        path: path.to_owned(),
        what: format!("it is no whole JPEG: {}", on_one_line(&what)),
    };
    decoder
        .decode_headers()
        .map_err(|error| damaged(error.to_string()))?;
    let (width, height) = decoder
        .dimensions()
        .ok_or_else(|| damaged("it has no size".to_owned()))?;
    let size = Size { width, height };
    not_too_large(path, size)?;
    let space = space_of(path, decoder.icc_profile().as_deref())?;
    let samples = decoder
        .decode()
        .map_err(|error| damaged(error.to_string()))?;
    if samples.len() != 3 * size.pixels() {
        return Err(damaged("it is cut short".to_owned()));
    }
    Ok(Base {
        size,
        samples: Coded::U8(samples),
        space,
    })
}

fn png_profile(path: &Path) -> Option<Vec<u8>> {
    let file = BufReader::new(File::open(path).ok()?);
    let reader = png::Decoder::new(file).read_info().ok()?;
    reader.info().icc_profile.as_ref().map(|icc| icc.to_vec())
}

fn tiff_profile(path: &Path) -> Option<Vec<u8>> {
    let file = BufReader::new(File::open(path).ok()?);
    let mut decoder = tiff::decoder::Decoder::new(file).ok()?;
    decoder.get_tag_u8_vec(Tag::IccProfile).ok()
}

fn space_of(path: &Path, profile: Option<&[u8]>) -> Result<Space, ReadError> {
    let Some(profile) = profile else {
        return Ok(Space::Srgb);
    };
    [Space::Srgb, Space::DisplayP3, Space::Rec2020]
        .into_iter()
        .find(|space| icc::profile(*space, false) == profile)
        .ok_or_else(|| {
            refusal(
                path,
                "its colour profile is none that Linehue writes",
                "bring the picture to sRGB first, or name the composite itself",
            )
        })
}

impl Base {
    /// The same with `rows` more below, in one colour.
    #[must_use]
    pub fn extended(self, rows: usize, rgb: [u8; 3]) -> Self {
        let Self {
            size,
            samples,
            space,
        } = self;
        let color = codes(space, rgb);
        let pixels = rows * size.width;
        let samples = match samples {
            Coded::U8(mut all) => {
                let pixel = color.map(|code| (255.0 * code).round() as u8);
                all.extend(std::iter::repeat_n(pixel, pixels).flatten());
                Coded::U8(all)
            }
            Coded::U16(mut all) => {
                let pixel = color.map(|code| (65_535.0 * code).round() as u16);
                all.extend(std::iter::repeat_n(pixel, pixels).flatten());
                Coded::U16(all)
            }
            other => other,
        };
        Self {
            size: Size {
                height: size.height + rows,
                ..size
            },
            samples,
            space,
        }
    }

    /// Lays pixels on it, their upper left corner at `left`, `top`. What reaches
    /// beyond its sides is left out.
    pub fn lay(&mut self, layer: &Layer, [left, top]: [usize; 2]) {
        let width = self.size.width;
        let columns = layer.size[0].min(width.saturating_sub(left));
        let rows = layer.rgba.chunks_exact(4 * layer.size[0].max(1));
        for (y, row) in (top..self.size.height).zip(rows) {
            for (x, pixel) in (left..left + columns).zip(row.chunks_exact(4)) {
                let cover = f64::from(pixel[3]) / 255.0;
                if cover == 0.0 {
                    continue;
                }
                let color = codes(
                    self.space,
                    std::array::from_fn(|i| (f64::from(pixel[i]) / cover).round().min(255.0) as u8),
                );
                let at = 3 * (y * width + x);
                let mixed =
                    |old: f64, most: f64, i: usize| (old + cover * (most * color[i] - old)).round();
                for i in 0..3 {
                    match &mut self.samples {
                        Coded::U8(all) => {
                            all[at + i] = mixed(f64::from(all[at + i]), 255.0, i) as u8;
                        }
                        Coded::U16(all) => {
                            all[at + i] = mixed(f64::from(all[at + i]), 65_535.0, i) as u16;
                        }
                        Coded::F32(_) => {}
                    }
                }
            }
        }
    }

    /// The same in 8 bits.
    #[must_use]
    pub fn in_eight_bits(self) -> Self {
        let samples = match self.samples {
            Coded::U16(all) => Coded::U8(
                all.iter()
                    .map(|code| ((u32::from(*code) + 128) / 257) as u8)
                    .collect(),
            ),
            other => other,
        };
        Self { samples, ..self }
    }
}

// From sRGB codes to those of a space, 0..1.
fn codes(space: Space, rgb: [u8; 3]) -> [f64; 3] {
    let code = rgb.map(|code| f64::from(code) / 255.0);
    if space == Space::Srgb {
        return code;
    }
    let light = apply(&space.from_linear_srgb(), code.map(srgb_decode_exact));
    light.map(|light| {
        let light = light.clamp(0.0, 1.0);
        if space == Space::Rec2020 {
            f64::from(rec2020_encode(light as f32))
        } else {
            srgb_encode_exact(light)
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grey(width: usize, height: usize, space: Space) -> Base {
        Base {
            size: Size { width, height },
            samples: Coded::U16(vec![10_000; 3 * width * height]),
            space,
        }
    }

    #[test]
    fn what_is_laid_on_changes_its_own_pixels_alone() {
        let mut base = grey(4, 3, Space::Srgb);
        let layer = Layer {
            size: [2, 1],
            rgba: vec![255, 0, 0, 255, 0, 0, 0, 0],
        };
        base.lay(&layer, [1, 1]);
        let Coded::U16(codes) = &base.samples else {
            panic!("16 bits");
        };
        assert_eq!(codes[3 * 5..3 * 6], [65_535, 0, 0]);
        let others = codes.iter().filter(|code| **code == 10_000).count();
        assert_eq!(others, codes.len() - 3);
        // Beyond the sides nothing happens.
        base.lay(&layer, [3, 2]);
        base.lay(&layer, [9, 9]);
    }

    #[test]
    fn more_rows_are_in_the_colour_asked_for() {
        let base = grey(4, 3, Space::DisplayP3).extended(2, [255; 3]);
        assert_eq!(base.size.height, 5);
        let Coded::U8(codes) = base.in_eight_bits().samples else {
            panic!("8 bits");
        };
        assert_eq!(codes.len(), 60);
        assert_eq!((codes[0], codes[59]), (39, 255));
    }
}
