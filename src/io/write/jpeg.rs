//! JPEG (ITU-T T.81, JFIF), 8 bits, every pixel with its own colour (4:4:4).
//!
//! The coder goes over the picture twice, first to fit the Huffman tables to
//! it, so the rows wait in memory until the last has come: 3 bytes a pixel, the
//! bands themselves, not a copy.

use std::io::{self, Write};
use std::sync::Arc;

use jpeg_encoder::{
    Encoder, EncodingError, ImageBuffer, JpegColorType, SamplingFactor, rgb_to_ycbcr,
};

use super::pieces::{Piece, Pieces};
use super::{Target, icc, xmp};
use crate::engine::frame::{Coded, CodedBand};

/// What an APP1 segment with an XMP packet begins with (XMP specification, part 3).
const XMP_HEAD: &[u8] = b"http://ns.adobe.com/xap/1.0/\0";

/// The longest packet that fits one segment: a length of 65535 counts itself
/// (2 bytes) and the head; the specification asks for two bytes less.
pub(crate) const LONGEST_PACKET: usize = 65_535 - 2 - XMP_HEAD.len() - 2;

/// Writes the file.
pub(crate) fn write(target: &Target, pieces: &mut Pieces, out: &mut impl Write) -> io::Result<()> {
    let side = |pixels: usize| u16::try_from(pixels).map_err(io::Error::other);
    let mut picture = Picture {
        width: side(target.size.width)?,
        height: side(target.size.height)?,
        bands: Vec::new(),
    };
    while let Some(piece) = pieces.next()? {
        if let Piece::Rows(band) = piece {
            picture.bands.push(band);
        }
    }
    let mut encoder = Encoder::new(out, target.options.quality);
    encoder.set_sampling_factor(SamplingFactor::R_4_4_4);
    encoder.set_optimized_huffman_tables(true);
    let mut packet = std::borrow::Cow::Borrowed(&target.tags.xmp[..]);
    if packet.len() > LONGEST_PACKET {
        packet = xmp::without_fits_header(&target.tags.xmp);
    }
    if !packet.is_empty() {
        encoder
            .add_app_segment(1, [XMP_HEAD, packet.as_bytes()].concat())
            .map_err(to_io)?;
    }
    encoder
        .add_icc_profile(icc::profile(target.space, false))
        .map_err(to_io)?;
    encoder.encode_image(picture).map_err(to_io)
}

/// The bands in order, read by rows.
struct Picture {
    width: u16,
    height: u16,
    bands: Vec<Arc<CodedBand>>,
}

impl ImageBuffer for Picture {
    fn get_jpeg_color_type(&self) -> JpegColorType {
        JpegColorType::Ycbcr
    }

    fn width(&self) -> u16 {
        self.width
    }

    fn height(&self) -> u16 {
        self.height
    }

    fn fill_buffers(&self, y: u16, buffers: &mut [Vec<u8>; 4]) {
        let (y, row) = (usize::from(y), usize::from(self.width) * 3);
        let index = self
            .bands
            .partition_point(|band| band.first_row + band.rows <= y);
        let Some(band) = self.bands.get(index) else {
            return;
        };
        let Coded::U8(samples) = &band.samples else {
            return;
        };
        let start = (y - band.first_row) * row;
        let [luma, blue, red, _] = buffers;
        for pixel in samples[start..start + row].as_chunks::<3>().0 {
            let (y, cb, cr) = rgb_to_ycbcr(pixel[0], pixel[1], pixel[2]);
            luma.push(y);
            blue.push(cb);
            red.push(cr);
        }
    }
}

fn to_io(error: EncodingError) -> io::Error {
    match error {
        EncodingError::IoError(error) => error,
        other => io::Error::other(other.to_string()),
    }
}
