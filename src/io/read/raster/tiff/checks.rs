//! Tags of a page that stand for a choice: which are understood, which are
//! refused, and in which words.

use super::directory::Directory;
use super::source::Source;
use super::tag;
use super::unpack::Compression;
use crate::engine::frame::Size;
use crate::io::read::raster::{damaged, unsuitable};
use crate::io::read::{ReadError, SampleKind, SampleType};

/// The longest side of a picture that is believed, in pixels.
pub const SIDE_AT_MOST: u64 = 1 << 30;

/// Width and height.
pub fn size(directory: &Directory<'_>) -> Result<Size, ReadError> {
    Ok(Size {
        width: small(directory, tag::IMAGE_WIDTH, 0, SIDE_AT_MOST)?,
        height: small(directory, tag::IMAGE_LENGTH, 0, SIDE_AT_MOST)?,
    })
}

/// A number from 1 to `most`; `absent` where the tag is not there, 0 if it must be.
pub fn small(
    directory: &Directory<'_>,
    tag: u16,
    absent: u64,
    most: u64,
) -> Result<usize, ReadError> {
    match directory.number(tag)? {
        None if absent > 0 => Ok(absent as usize),
        None => Err(directory.bad_tag(tag, "is missing")),
        Some(value) if (1..=most).contains(&value) => Ok(value as usize),
        Some(value) => Err(directory.bad_tag(tag, &format!("is {value}"))),
    }
}

/// Bits and kind of the samples, which must agree.
pub fn sample(
    source: &Source,
    directory: &Directory<'_>,
    samples: usize,
) -> Result<SampleType, ReadError> {
    let path = source.path();
    let agreed = |tag, absent: u64| {
        let values = directory.numbers(tag)?.unwrap_or_else(|| vec![absent]);
        match values.first() {
            Some(first) if values.iter().take(samples).all(|value| value == first) => Ok(*first),
            Some(_) => Err(unsuitable(
                path,
                "the samples of a pixel are of different kinds",
                "save each plane as a picture of its own",
            )),
            None => Err(directory.bad_tag(tag, "has no value")),
        }
    };
    let bits = agreed(tag::BITS_PER_SAMPLE, 1)?;
    let kind = match agreed(tag::SAMPLE_FORMAT, 1)? {
        1 | 4 => SampleKind::Unsigned,
        2 => SampleKind::Signed,
        3 => SampleKind::Float,
        format => {
            return Err(unsuitable(
                path,
                format!("sample format {format} is not a real number"),
                "save it as 16-bit integers or 32-bit floats",
            ));
        }
    };
    match u8::try_from(bits) {
        Ok(bits @ 1..=64) => Ok(SampleType { bits, kind }),
        _ => Err(directory.bad_tag(tag::BITS_PER_SAMPLE, &format!("is {bits}"))),
    }
}

/// How many samples are no extra samples, for kinds of pictures that have
/// planes a channel can be taken from.
pub fn photometric(
    source: &Source,
    photometric: u64,
    samples: usize,
    extra: usize,
) -> Result<usize, ReadError> {
    let refuse = |what: &str| {
        Err(unsuitable(
            source.path(),
            what,
            "save it as a grey picture of 16 bits or 32-bit floats",
        ))
    };
    let expected = match photometric {
        0 | 1 => 1,
        2 => 3,
        5 => 1,
        3 => return refuse("this is a palette picture: its values are colour numbers"),
        4 => return refuse("this page is a transparency mask"),
        6 => return refuse("this is a YCbCr colour picture"),
        8..=10 => return refuse("this is a CIE Lab colour picture"),
        32803 => {
            return refuse("this is the raw mosaic of a colour sensor, not a stacked picture");
        }
        32844 | 32845 => return refuse("this is a LogLuv picture"),
        34892 => return refuse("these are linear raw colours of a camera"),
        code => return refuse(&format!("photometric interpretation {code} is unknown")),
    };
    match samples.checked_sub(extra) {
        Some(colours) if colours >= expected => Ok(colours),
        _ => Err(damaged(
            source.path(),
            format!("of {samples} samples for each pixel {extra} are said to be extra"),
        )),
    }
}

/// The compression, if it is lossless and known.
pub fn compression(source: &Source, directory: &Directory<'_>) -> Result<Compression, ReadError> {
    let name = match directory.number(tag::COMPRESSION)?.unwrap_or(1) {
        1 => return Ok(Compression::None),
        5 => return Ok(Compression::Lzw),
        8 | 32946 => return Ok(Compression::Deflate),
        32773 => return Ok(Compression::PackBits),
        2..=4 => "fax".to_owned(),
        6 | 7 => "JPEG".to_owned(),
        34712 => "JPEG 2000".to_owned(),
        34887 => "LERC".to_owned(),
        34925 => "LZMA".to_owned(),
        50000 => "Zstandard".to_owned(),
        50001 => "WebP".to_owned(),
        50002 | 52546 => "JPEG XL".to_owned(),
        code => format!("unknown (code {code})"),
    };
    Err(unsuitable(
        source.path(),
        format!("its compression is {name}, which is not read"),
        "save it again with Deflate, LZW or no compression",
    ))
}
