//! TIFF 6.0, and BigTIFF where it must be.
//!
//! One directory behind the strips, each strip [`BAND_ROWS`] rows, samples
//! interleaved in the machine's byte order. Packed strips are zlib streams
//! (Compression 8) behind a predictor: 2 (differences) for integers, 3 (byte
//! planes, then differences; Adobe Photoshop TIFF Technical Note 3) for floats.

use std::borrow::Cow;
use std::io::{self, Seek, Write};

use rayon::prelude::*;
use tiff::encoder::{DirectoryEncoder, Rational, TiffEncoder, TiffKind, TiffValue};
use tiff::tags::{Tag, Type};
use tiff::{TiffError, TiffResult};

use super::pieces::{Piece, Pieces, Strip};
use super::{Packing, Target, icc};
use crate::engine::frame::{BAND_ROWS, Coded, Depth};

/// Above this many bytes of samples a file is a BigTIFF: classic offsets end
/// at 4 GiB, and what does not shrink grows a little.
const LARGEST_CLASSIC: u64 = 3_900_000_000;

/// The level for [`Packing::Small`].
const SMALL_LEVEL: u32 = 6;

/// Tag 700, `XMLPacket`, of the XMP specification, part 3.
const XMP: Tag = Tag::Unknown(700);

/// Predicts and deflates strips, in as many threads as the caller's pool has.
pub(crate) fn pack(
    strips: &[Strip<'_>],
    width: usize,
    packing: Packing,
) -> io::Result<Vec<Vec<u8>>> {
    let row = width * 3;
    strips
        .par_iter()
        .map(|strip| {
            let predicted = match strip {
                Strip::U8(samples) => differences(samples, row, u8::wrapping_sub, |s| [s]),
                Strip::U16(samples) => {
                    differences(samples, row, u16::wrapping_sub, u16::to_ne_bytes)
                }
                Strip::F32(samples) => byte_planes(samples, row),
            };
            deflate(&predicted, packing)
        })
        .collect()
}

/// Predictor 2: each sample less the same colour's sample to its left.
fn differences<T: Copy, const N: usize>(
    samples: &[T],
    row: usize,
    less: impl Fn(T, T) -> T,
    bytes: impl Fn(T) -> [u8; N],
) -> Vec<u8> {
    let mut out = Vec::with_capacity(samples.len() * N);
    for row in samples.chunks(row) {
        for first in &row[..3] {
            out.extend_from_slice(&bytes(*first));
        }
        for (left, here) in row.iter().zip(&row[3..]) {
            out.extend_from_slice(&bytes(less(*here, *left)));
        }
    }
    out
}

/// Predictor 3: the bytes of a row sorted into planes, the most significant
/// first, then each byte less the one three places before it.
fn byte_planes(samples: &[f32], row: usize) -> Vec<u8> {
    let mut out = vec![0; samples.len() * 4];
    for (samples, out) in samples.chunks(row).zip(out.chunks_mut(row * 4)) {
        for (index, sample) in samples.iter().enumerate() {
            for (plane, byte) in sample.to_be_bytes().into_iter().enumerate() {
                out[plane * row + index] = byte;
            }
        }
        for index in (3..out.len()).rev() {
            out[index] = out[index].wrapping_sub(out[index - 3]);
        }
    }
    out
}

fn deflate(bytes: &[u8], packing: Packing) -> io::Result<Vec<u8>> {
    if packing == Packing::Fast {
        return Ok(fdeflate::compress_to_vec(bytes));
    }
    let out = Vec::with_capacity(bytes.len() / 2);
    let mut out = flate2::write::ZlibEncoder::new(out, flate2::Compression::new(SMALL_LEVEL));
    out.write_all(bytes)?;
    out.finish()
}

/// Writes the file.
pub(crate) fn write(
    target: &Target,
    pieces: &mut Pieces,
    out: &mut (impl Write + Seek),
) -> io::Result<()> {
    let raw = target.size.pixels() as u64 * 3 * target.depth.bytes() as u64;
    write_sized(target, pieces, out, raw > LARGEST_CLASSIC)
}

fn write_sized(
    target: &Target,
    pieces: &mut Pieces,
    out: &mut (impl Write + Seek),
    big: bool,
) -> io::Result<()> {
    if big {
        let mut file = TiffEncoder::new_big(out).map_err(to_io)?;
        let dir = file.image_directory().map_err(to_io)?;
        write_image(target, pieces, dir, |dir, tag, values| {
            dir.write_tag(tag, values)
        })
    } else {
        let mut file = TiffEncoder::new(out).map_err(to_io)?;
        let dir = file.image_directory().map_err(to_io)?;
        write_image(target, pieces, dir, |dir, tag, values| {
            let values = values.iter().map(|value| u32::try_from(*value));
            dir.write_tag(tag, &values.collect::<Result<Vec<_>, _>>()?[..])
        })
    }
}

fn write_image<W: Write + Seek, K: TiffKind>(
    target: &Target,
    pieces: &mut Pieces,
    mut dir: DirectoryEncoder<'_, W, K>,
    write_long: impl Fn(&mut DirectoryEncoder<'_, W, K>, Tag, &[u64]) -> TiffResult<()>,
) -> io::Result<()> {
    let (mut offsets, mut lengths) = (Vec::new(), Vec::new());
    let strip = BAND_ROWS * target.size.width * 3;
    while let Some(piece) = pieces.next()? {
        match &piece {
            Piece::Rows(band) => match &band.samples {
                Coded::U8(samples) => {
                    write_strips(&mut dir, samples.chunks(strip), &mut offsets, &mut lengths)
                }
                Coded::U16(samples) => {
                    write_strips(&mut dir, samples.chunks(strip), &mut offsets, &mut lengths)
                }
                Coded::F32(samples) => {
                    write_strips(&mut dir, samples.chunks(strip), &mut offsets, &mut lengths)
                }
            },
            Piece::Packed(strips) => write_strips(
                &mut dir,
                strips.iter().map(|s| &s[..]),
                &mut offsets,
                &mut lengths,
            ),
            Piece::End => Ok(()),
        }
        .map_err(to_io)?;
    }
    write_tags(target, &mut dir)
        .and_then(|()| write_even(&mut dir))
        .and_then(|()| write_long(&mut dir, Tag::StripOffsets, &offsets))
        .and_then(|()| write_long(&mut dir, Tag::StripByteCounts, &lengths))
        .and_then(|()| dir.finish())
        .map_err(to_io)
}

fn write_strips<'a, W, K, T>(
    dir: &mut DirectoryEncoder<'_, W, K>,
    strips: impl Iterator<Item = &'a [T]>,
    offsets: &mut Vec<u64>,
    lengths: &mut Vec<u64>,
) -> TiffResult<()>
where
    W: Write + Seek,
    K: TiffKind,
    T: 'a,
    [T]: TiffValue,
{
    for strip in strips {
        write_even(dir)?;
        offsets.push(dir.write_data(strip)?);
        lengths.push(strip.bytes() as u64);
    }
    Ok(())
}

fn write_tags<W: Write + Seek, K: TiffKind>(
    target: &Target,
    dir: &mut DirectoryEncoder<'_, W, K>,
) -> TiffResult<()> {
    let (bits, is_float) = match target.depth {
        Depth::Eight => (8_u16, false),
        Depth::Sixteen => (16, false),
        Depth::Float32 => (32, true),
    };
    let packed = target.options.packing != Packing::None;
    dir.write_tag(Tag::ImageWidth, u32::try_from(target.size.width)?)?;
    dir.write_tag(Tag::ImageLength, u32::try_from(target.size.height)?)?;
    dir.write_tag(Tag::BitsPerSample, &[bits; 3][..])?;
    dir.write_tag(Tag::Compression, if packed { 8_u16 } else { 1 })?;
    dir.write_tag(Tag::PhotometricInterpretation, 2_u16)?;
    dir.write_tag(Tag::SamplesPerPixel, 3_u16)?;
    dir.write_tag(Tag::RowsPerStrip, BAND_ROWS as u32)?;
    dir.write_tag(Tag::PlanarConfiguration, 1_u16)?;
    dir.write_tag(
        Tag::SampleFormat,
        &[if is_float { 3_u16 } else { 1 }; 3][..],
    )?;
    if packed {
        dir.write_tag(Tag::Predictor, if is_float { 3_u16 } else { 2 })?;
    }
    // The standard asks for a resolution. There is none: pixels are square,
    // and how large they are printed is not known here.
    for tag in [Tag::XResolution, Tag::YResolution] {
        write_even(dir)?;
        dir.write_tag(tag, Rational { n: 1, d: 1 })?;
    }
    dir.write_tag(Tag::ResolutionUnit, 1_u16)?;
    for (tag, text) in [
        (Tag::Software, &target.tags.software),
        (Tag::ImageDescription, &target.tags.description),
    ] {
        let text = ascii_line(text);
        if !text.is_empty() {
            write_even(dir)?;
            dir.write_tag(tag, &text[..])?;
        }
    }
    if !target.tags.xmp.is_empty() {
        write_even(dir)?;
        dir.write_tag(XMP, target.tags.xmp.as_bytes())?;
    }
    write_even(dir)?;
    let profile = icc::profile(target.space, target.depth == Depth::Float32);
    dir.write_tag(Tag::IccProfile, Undefined(profile))
}

/// TIFF wants what offsets point to on even bytes.
fn write_even<W: Write + Seek, K: TiffKind>(
    dir: &mut DirectoryEncoder<'_, W, K>,
) -> TiffResult<()> {
    let at = dir.write_data(&[0_u8; 0][..])?;
    if !at.is_multiple_of(2) {
        dir.write_data(&[0_u8][..])?;
    }
    Ok(())
}

/// One line of 7-bit ASCII; what is not ASCII is shown by a `?`.
fn ascii_line(text: &str) -> String {
    text.trim()
        .chars()
        .map(|c| match c {
            c if c.is_control() => ' ',
            c if c.is_ascii() => c,
            _ => '?',
        })
        .collect()
}

/// Bytes of the type that the ICC tag must have.
struct Undefined<'a>(&'a [u8]);

impl TiffValue for Undefined<'_> {
    const BYTE_LEN: u8 = 1;
    const FIELD_TYPE: Type = Type::UNDEFINED;

    fn count(&self) -> usize {
        self.0.len()
    }

    fn data(&self) -> Cow<'_, [u8]> {
        Cow::Borrowed(self.0)
    }
}

fn to_io(error: TiffError) -> io::Error {
    match error {
        TiffError::IoError(error) => error,
        other => io::Error::other(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::color::space::Space;
    use crate::engine::frame::{CodedBand, Size};
    use crate::io::write::{Format, Options, Tags};
    use std::sync::Arc;

    #[test]
    fn integers_are_predicted_from_the_left() {
        // Two rows of two pixels; differences do not cross rows and wrap.
        let samples = [10_u16, 20, 30, 11, 19, 30, 5, 6, 7, 0, 0, 65535];
        let expected = [10_u16, 20, 30, 1, 65535, 0, 5, 6, 7, 65531, 65530, 65528];
        let bytes = differences(&samples, 6, u16::wrapping_sub, u16::to_ne_bytes);
        let expected: Vec<u8> = expected.iter().flat_map(|v| v.to_ne_bytes()).collect();
        assert_eq!(bytes, expected);
    }

    #[test]
    fn floats_are_sorted_into_byte_planes() {
        // 1.0 is 3f800000, 2.0 is 40000000, -0.5 is bf000000.
        let bytes = byte_planes(&[1.0, 2.0, -0.5, 2.0, 1.0, -0.5], 6);
        let planes: [u8; 12] = [
            0x3f, 0x40, 0xbf, 0x40, 0x3f, 0xbf, 0x80, 0x00, 0x00, 0x00, 0x80, 0x00,
        ];
        assert_eq!(bytes[..3], planes[..3]);
        for index in 3..12 {
            assert_eq!(bytes[index], planes[index].wrapping_sub(planes[index - 3]));
        }
        assert!(bytes[15..].iter().all(|byte| *byte == 0));
    }

    #[test]
    fn text_is_cut_to_ascii() {
        assert_eq!(ascii_line("Hα in\nred "), "H? in red");
    }

    #[test]
    fn a_big_file_reads_back() {
        let samples: Vec<u8> = (0..70 * 5 * 3).map(|v| (v % 251) as u8).collect();
        let target = Target {
            path: "a.tif".into(),
            format: Format::Tiff,
            size: Size {
                width: 5,
                height: 70,
            },
            depth: Depth::Eight,
            space: Space::Srgb,
            options: Options::default(),
            tags: Tags::default(),
        };
        let band = CodedBand {
            first_row: 0,
            rows: 70,
            samples: Coded::U8(samples.clone()),
        };
        let mut out = io::Cursor::new(Vec::new());
        let mut pieces = Pieces::of(vec![Piece::Rows(Arc::new(band))]);
        write_sized(&target, &mut pieces, &mut out, true).expect("written");
        // Version 43, offsets of 8 bytes, in the machine's own order.
        let head = [43_u16, 8].map(u16::to_ne_bytes);
        assert_eq!(out.get_ref()[2..6], *head.as_flattened());
        let out = io::Cursor::new(out.into_inner());
        let mut decoder = tiff::decoder::Decoder::new(out).expect("a BigTIFF");
        match decoder.read_image().expect("decoded") {
            tiff::decoder::DecodingResult::U8(found) => assert_eq!(found, samples),
            _ => panic!("another depth"),
        }
        let profile = decoder.get_tag_u8_vec(Tag::IccProfile).expect("a profile");
        assert_eq!(profile, icc::profile(Space::Srgb, false));
    }
}
