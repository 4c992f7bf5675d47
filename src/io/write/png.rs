//! PNG (W3C Recommendation, third edition), 8 or 16 bits.
//!
//! Order of chunks: IHDR, iCCP, cICP, iTXt (XMP), IDAT for each band, IEND.
//! The bands are filtered and deflated in parallel: each is a run of deflate
//! blocks that ends on a byte (a sync flush) and refers to nothing before it,
//! so that the runs joined are one zlib stream (RFC 1950, RFC 1951).

use std::borrow::Cow;
use std::io::{self, Write};

use flate2::{Compress, Compression, FlushCompress, Status};
use png::text_metadata::ITXtChunk;
use png::{BitDepth, ColorType, Encoder, EncodingError, Info, chunk};
use rayon::prelude::*;
use simd_adler32::Adler32;

use super::pieces::{Piece, Pieces, Strip};
use super::{Target, icc};
use crate::engine::color::space::Space;
use crate::engine::frame::Depth;

/// Deflate's level. Noise packs hardly better above it, and not faster below.
const LEVEL: u32 = 6;

/// The two bytes that begin a zlib stream: deflate, 32 KiB window, no
/// dictionary, check bits (RFC 1950).
const ZLIB_HEADER: [u8; 2] = [0x78, 0x9c];

/// The name that marks an XMP packet (XMP specification, part 3).
const XMP_KEYWORD: &str = "XML:com.adobe.xmp";

/// The modulus of Adler-32 (RFC 1950).
const ADLER_BASE: u32 = 65_521;

/// Turns rows into the runs of one zlib stream.
pub(crate) struct Packer {
    /// Bytes of a row.
    row: usize,
    /// Bytes of a pixel.
    pixel: usize,
    /// The row above the next one, unfiltered; zero at the top.
    above: Vec<u8>,
    /// Of what was packed.
    adler: u32,
    begun: bool,
}

impl Packer {
    /// At the top of the picture.
    pub(crate) fn new(target: &Target) -> Self {
        let pixel = 3 * target.depth.bytes();
        let row = target.size.width * pixel;
        Self {
            row,
            pixel,
            above: vec![0; row],
            adler: 1,
            begun: false,
        }
    }

    /// Filters and deflates the next rows, in as many threads as the caller's
    /// pool has. The first run brings the stream's head, the last its end.
    pub(crate) fn pack(&mut self, strips: &[Strip<'_>], ended: bool) -> io::Result<Vec<Vec<u8>>> {
        let packed: Vec<Run> = strips
            .par_iter()
            .enumerate()
            .map(|(index, strip)| {
                let above = match index.checked_sub(1) {
                    Some(before) => Cow::Owned(self.last_row(&strips[before])),
                    None => Cow::Borrowed(&self.above[..]),
                };
                let filtered = filter(&bytes_of(strip), &above, self.pixel);
                let mut adler = Adler32::new();
                adler.write(&filtered);
                let last = ended && index + 1 == strips.len();
                Ok(Run {
                    bytes: deflate(&filtered, last)?,
                    adler: adler.finish(),
                    length: filtered.len(),
                })
            })
            .collect::<io::Result<_>>()?;
        if let Some(last) = strips.last() {
            self.above = self.last_row(last);
        }
        let count = packed.len();
        let mut runs = Vec::with_capacity(count);
        for (index, run) in packed.into_iter().enumerate() {
            self.adler = join_adler(self.adler, run.adler, run.length);
            let mut bytes = run.bytes;
            if !self.begun {
                bytes.splice(..0, ZLIB_HEADER);
                self.begun = true;
            }
            if ended && index + 1 == count {
                bytes.extend_from_slice(&self.adler.to_be_bytes());
            }
            runs.push(bytes);
        }
        Ok(runs)
    }

    fn last_row(&self, strip: &Strip<'_>) -> Vec<u8> {
        let samples = self.row / self.pixel * 3;
        match strip {
            Strip::U8(all) => all[all.len() - samples..].to_vec(),
            Strip::U16(all) => big_endian(&all[all.len() - samples..]),
            Strip::F32(_) => vec![0; self.row],
        }
    }
}

/// A strip filtered and deflated.
struct Run {
    bytes: Vec<u8>,
    /// Of the filtered bytes.
    adler: u32,
    /// How many they were.
    length: usize,
}

/// The bytes of a strip; floats are refused long before.
fn bytes_of<'a>(strip: &Strip<'a>) -> Cow<'a, [u8]> {
    match strip {
        Strip::U8(samples) => Cow::Borrowed(samples),
        Strip::U16(samples) => Cow::Owned(big_endian(samples)),
        Strip::F32(_) => Cow::Borrowed(&[]),
    }
}

/// Samples as PNG keeps them.
fn big_endian(samples: &[u16]) -> Vec<u8> {
    let mut out = vec![0; samples.len() * 2];
    for (out, sample) in out.as_chunks_mut::<2>().0.iter_mut().zip(samples) {
        *out = sample.to_be_bytes();
    }
    out
}

/// Filters rows, each by the filter with the smallest sum of differences as
/// signed bytes (the heuristic that the standard recommends), of Sub and Up.
fn filter(rows: &[u8], above: &[u8], pixel: usize) -> Vec<u8> {
    let width = above.len();
    let mut out = Vec::with_capacity(rows.len() + rows.len() / width);
    let mut above = above;
    let (mut sub, mut up) = (vec![0; width], vec![0; width]);
    for row in rows.chunks_exact(width) {
        sub[..pixel].copy_from_slice(&row[..pixel]);
        for ((out, here), left) in sub[pixel..].iter_mut().zip(&row[pixel..]).zip(row) {
            *out = here.wrapping_sub(*left);
        }
        for ((out, here), above) in up.iter_mut().zip(row).zip(above) {
            *out = here.wrapping_sub(*above);
        }
        let (kind, filtered) = if size(&up) < size(&sub) {
            (2, &up)
        } else {
            (1, &sub)
        };
        out.push(kind);
        out.extend_from_slice(filtered);
        above = row;
    }
    out
}

/// The sum of bytes taken as signed, without their signs.
fn size(bytes: &[u8]) -> u64 {
    bytes
        .chunks(1 << 16)
        .map(|bytes| {
            u64::from(
                bytes
                    .iter()
                    .map(|b| u32::from(b.cast_signed().unsigned_abs()))
                    .sum::<u32>(),
            )
        })
        .sum()
}

/// One run of raw deflate, ended by a sync flush or, for the last, for good.
fn deflate(bytes: &[u8], last: bool) -> io::Result<Vec<u8>> {
    let flush = if last {
        FlushCompress::Finish
    } else {
        FlushCompress::Sync
    };
    let mut packer = Compress::new(Compression::new(LEVEL), false);
    let mut out = Vec::with_capacity(bytes.len() / 2 + 64);
    loop {
        let taken = packer.total_in() as usize;
        let status = packer
            .compress_vec(&bytes[taken..], &mut out, flush)
            .map_err(io::Error::other)?;
        // A flush is complete when it left room in the output.
        let done = if last {
            status == Status::StreamEnd
        } else {
            out.len() < out.capacity()
        };
        if done && packer.total_in() as usize == bytes.len() {
            return Ok(out);
        }
        out.reserve(bytes.len() / 4 + 64);
    }
}

/// The Adler-32 of two runs of bytes from those of each and the length of the
/// second: both halves are sums, the second a sum of sums (RFC 1950).
fn join_adler(first: u32, second: u32, second_length: usize) -> u32 {
    let base = u64::from(ADLER_BASE);
    let halves = |adler: u32| (u64::from(adler & 0xffff), u64::from(adler >> 16));
    let ((a1, b1), (a2, b2)) = (halves(first), halves(second));
    let length = second_length as u64 % base;
    let a = (a1 + a2 + base - 1) % base;
    let b = (b1 + b2 + length * ((a1 + base - 1) % base)) % base;
    (b << 16 | a) as u32
}

/// Colour primaries, transfer function, matrix (none), full range: the code
/// points of ITU-T H.273. The decoded samples are what H.273 calls non-linear.
fn code_points(space: Space) -> [u8; 4] {
    match space {
        Space::Srgb => [1, 13, 0, 1],
        Space::DisplayP3 => [12, 13, 0, 1],
        Space::Rec2020 => [9, 14, 0, 1],
    }
}

/// The content of iCCP: a name, the method (0), the profile as a zlib stream.
fn profile_chunk(space: Space) -> io::Result<Vec<u8>> {
    let content = [icc::name(space).as_bytes(), &[0, 0]].concat();
    let mut packer = flate2::write::ZlibEncoder::new(content, Compression::best());
    packer.write_all(icc::profile(space, false))?;
    packer.finish()
}

/// Writes the file.
pub(crate) fn write(target: &Target, pieces: &mut Pieces, out: &mut impl Write) -> io::Result<()> {
    let side = |pixels: usize| u32::try_from(pixels).map_err(io::Error::other);
    let mut info = Info::with_size(side(target.size.width)?, side(target.size.height)?);
    info.color_type = ColorType::Rgb;
    info.bit_depth = if target.depth == Depth::Eight {
        BitDepth::Eight
    } else {
        BitDepth::Sixteen
    };
    let encoder = Encoder::with_info(out, info).map_err(to_io)?;
    let mut file = encoder.write_header().map_err(to_io)?;
    file.write_chunk(chunk::iCCP, &profile_chunk(target.space)?)
        .map_err(to_io)?;
    file.write_chunk(chunk::ChunkType(*b"cICP"), &code_points(target.space))
        .map_err(to_io)?;
    if !target.tags.xmp.is_empty() {
        let packet = ITXtChunk::new(XMP_KEYWORD, &target.tags.xmp[..]);
        file.write_text_chunk(&packet).map_err(to_io)?;
    }
    while let Some(piece) = pieces.next()? {
        if let Piece::Packed(runs) = piece {
            for run in runs {
                file.write_chunk(chunk::IDAT, &run).map_err(to_io)?;
            }
        }
    }
    file.finish().map_err(to_io)
}

fn to_io(error: EncodingError) -> io::Error {
    match error {
        EncodingError::IoError(error) => error,
        other => io::Error::other(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn filters_are_those_of_the_standard() {
        let rows = [1, 2, 3, 5, 6, 7, 1, 2, 3, 5, 6, 8];
        assert_eq!(
            filter(&rows, &[0; 6], 3),
            [1, 1, 2, 3, 4, 4, 4, 2, 0, 0, 0, 0, 0, 1]
        );
    }

    proptest! {
        #[test]
        fn checksums_of_parts_join(first in prop::collection::vec(any::<u8>(), 0..9000),
                                   second in prop::collection::vec(any::<u8>(), 0..9000)) {
            let adler = |bytes: &[u8]| {
                let mut adler = Adler32::new();
                adler.write(bytes);
                adler.finish()
            };
            let whole = [&first[..], &second[..]].concat();
            prop_assert_eq!(join_adler(adler(&first), adler(&second), second.len()), adler(&whole));
        }

        #[test]
        fn runs_join_to_one_stream(first in prop::collection::vec(any::<u8>(), 0..3000),
                                   second in prop::collection::vec(0_u8..3, 0..90_000)) {
            let mut stream = deflate(&first, false).expect("packed");
            stream.extend(deflate(&second, true).expect("packed"));
            let mut out = Vec::new();
            io::Read::read_to_end(&mut flate2::read::DeflateDecoder::new(&stream[..]), &mut out)
                .expect("one stream");
            prop_assert_eq!(out, [first, second].concat());
        }
    }
}
