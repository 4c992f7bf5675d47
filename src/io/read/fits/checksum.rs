//! CHECKSUM and DATASUM.
//!
//! Source: FITS standard 4.0, section 4.4.2.7 and appendix J. Both are
//! ones'-complement sums of big-endian 32-bit words, DATASUM over the data with
//! their padding, and over a whole unit with the right CHECKSUM the sum is all
//! ones.

use std::fs::File;
use std::path::Path;

use super::cards::BLOCK;
use super::layout::{Hdu, first_text};
use super::walk::{FileForward, Forward, walk};

/// Adds the words of `bytes` (a whole number of them) with end-around carry.
fn add(sum: u32, bytes: &[u8]) -> u32 {
    let (words, _) = bytes.as_chunks::<4>();
    let mut wide = u64::from(sum);
    for block in words.chunks(1 << 20) {
        wide += block
            .iter()
            .map(|word| u64::from(u32::from_be_bytes(*word)))
            .sum::<u64>();
        while wide > u64::from(u32::MAX) {
            wide = (wide & u64::from(u32::MAX)) + (wide >> 32);
        }
    }
    wide as u32
}

/// Reads one unit of an uncompressed file whole and compares its sums; one
/// sentence where they differ. None where they hold, where the unit has none,
/// and where the file is packed or cannot be read.
pub fn checksum_notice(path: &Path, hdu: usize) -> Option<String> {
    let file = File::open(path).ok()?;
    let length = file.metadata().ok()?.len();
    let mut source = FileForward {
        file: &file,
        length,
        position: 0,
    };
    let found = walk(&mut source, |unit| unit.facts.index == hdu);
    let unit = found.hdus.iter().find(|unit| unit.facts.index == hdu)?;
    let cards = &unit.header.cards;
    // Some writers leave DATASUM without quotes.
    let data_expected = first_text(cards, "DATASUM")
        .and_then(|text| text.parse::<u32>().ok())
        .or_else(|| {
            super::layout::first_integer(cards, "DATASUM")?
                .try_into()
                .ok()
        });
    let whole = first_text(cards, "CHECKSUM").is_some_and(|text| text.len() == 16);
    if data_expected.is_none() && !whole {
        return None;
    }
    let header = sum(&file, unit.start, unit.header.length as u64)?;
    let data = sum(&file, unit.data_start(), data_length(unit))?;
    if data_expected.is_some_and(|expected| expected != data) {
        return Some(format!(
            "the checksum of the data of HDU {hdu} does not hold: they were changed or damaged"
        ));
    }
    let all = add(header, &data.to_be_bytes());
    if whole && all != u32::MAX && all != 0 {
        return Some(format!(
            "the checksum of HDU {hdu} does not hold: its header was changed or damaged"
        ));
    }
    None
}

fn data_length(unit: &Hdu) -> u64 {
    unit.data_bytes
        .div_ceil(BLOCK as u64)
        .saturating_mul(BLOCK as u64)
}

/// The sum over a stretch of the file; missing padding counts as zeros.
fn sum(file: &File, position: u64, mut length: u64) -> Option<u32> {
    let mut source = FileForward {
        file,
        length: u64::MAX,
        position,
    };
    let mut bytes = vec![0; 1 << 18];
    let mut all = 0;
    while length > 0 {
        let count = length.min(bytes.len() as u64) as usize;
        let found = source.read(&mut bytes[..count]).ok()?;
        bytes[found..count].fill(0);
        all = add(all, &bytes[..count]);
        if found < count {
            break;
        }
        length -= count as u64;
    }
    Some(all)
}

#[cfg(test)]
mod tests {
    use super::add;

    #[test]
    fn carries_go_around() {
        assert_eq!(add(0, &[0xff, 0xff, 0xff, 0xff, 0, 0, 0, 2]), 2);
        assert_eq!(add(0xffff_ffff, &[0, 0, 0, 1]), 1);
        assert_eq!(add(5, &[]), 5);
    }
}
