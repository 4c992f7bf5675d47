//! FITS 4.0: three planes of 32-bit floats in the primary array.
//!
//! Axis 3 counts R, G, B. The header says where the planes lie on the sky, as
//! the reference's header did; nothing in it depends on the clock, so there is
//! neither DATE nor a CHECKSUM with a time in its comment.

use std::io::{self, Seek, SeekFrom, Write};

use super::Target;
use super::cards::{self, BLOCK, Cards};
use super::pieces::{Piece, Pieces};
use crate::engine::color::space::Space;
use crate::engine::frame::{BAND_ROWS, Coded};

/// Writes the file.
pub(crate) fn write(
    target: &Target,
    pieces: &mut Pieces,
    out: &mut (impl Write + Seek),
) -> io::Result<()> {
    let header = header(target);
    out.write_all(&header)?;
    let start = header.len() as u64;
    let plane = target.size.pixels() as u64 * 4;
    let band = target.size.width * BAND_ROWS * 3;
    let mut bytes = Vec::new();
    let mut done = 0;
    while let Some(piece) = pieces.next()? {
        let Piece::Rows(rows) = piece else { continue };
        let Coded::F32(samples) = &rows.samples else {
            continue;
        };
        for samples in samples.chunks(band) {
            bytes.resize(samples.len() / 3 * 4, 0);
            for index in 0..3 {
                take_plane(samples, index, &mut bytes);
                out.seek(SeekFrom::Start(start + index as u64 * plane + done))?;
                out.write_all(&bytes)?;
            }
            done += bytes.len() as u64;
        }
    }
    out.seek(SeekFrom::Start(start + 3 * plane))?;
    let used = (3 * plane % BLOCK as u64) as usize;
    if used > 0 {
        out.write_all(&[0; BLOCK][used..])?;
    }
    Ok(())
}

/// One of the interleaved samples of each pixel, big-endian.
fn take_plane(samples: &[f32], index: usize, bytes: &mut [u8]) {
    let pixels = samples.as_chunks::<3>().0;
    for (out, pixel) in bytes.as_chunks_mut::<4>().0.iter_mut().zip(pixels) {
        *out = pixel[index].to_be_bytes();
    }
}

/// The header, padded with blanks to whole blocks.
fn header(target: &Target) -> Vec<u8> {
    let mut cards = Cards::new();
    let reference = &target.tags.reference;
    cards.logical("SIMPLE", true);
    cards.integer("BITPIX", -32);
    cards.integer("NAXIS", 3);
    cards.integer("NAXIS1", target.size.width as i64);
    cards.integer("NAXIS2", target.size.height as i64);
    cards.integer("NAXIS3", 3);
    cards.text("CREATOR", &target.tags.software);
    cards::words(reference, &mut cards);
    cards::world_coordinates(reference, true, &mut cards);
    let space = match target.space {
        Space::Srgb => "sRGB (IEC 61966-2-1)",
        Space::DisplayP3 => "Display P3 (P3 primaries, D65)",
        Space::Rec2020 => "ITU-R BT.2020",
    };
    cards.comment(
        "COMMENT",
        "Planes 1, 2, 3 are red, green, blue in linear light, not encoded.",
    );
    cards.comment("COMMENT", &format!("Primaries and white: {space}."));
    for line in &target.tags.history {
        cards.comment("HISTORY", line);
    }
    cards.finish()
}
