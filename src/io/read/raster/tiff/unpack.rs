//! Packed strips and tiles as streams of bytes.

use std::io::{self, BufRead, BufReader, Read};

use flate2::bufread::ZlibDecoder;

use super::source::Section;
use crate::io::read::raster::DEFLATE_FACTOR;

/// How the bytes of strips and tiles are packed (the Compression tag).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Compression {
    /// Not at all.
    None,
    /// LZW, most significant bit first (TIFF 6.0, section 13).
    Lzw,
    /// Zlib streams (TIFF Technical Note of 2002, codes 8 and 32946).
    Deflate,
    /// Byte runs (TIFF 6.0, section 9).
    PackBits,
}

impl Compression {
    /// The most bytes that one packed byte can become, with some slack.
    pub fn factor(self) -> u64 {
        match self {
            Self::None => 1,
            // The longest table entry, 3838 bytes, for each 12-bit code.
            Self::Lzw => 2600,
            Self::Deflate => DEFLATE_FACTOR,
            // 128 bytes for two.
            Self::PackBits => 64,
        }
    }

    /// The name for people; empty for none.
    pub fn name(self) -> &'static str {
        match self {
            Self::None => "",
            Self::Lzw => "LZW",
            Self::Deflate => "Deflate",
            Self::PackBits => "PackBits",
        }
    }

    /// The unpacked bytes of a section, buffered.
    pub fn unpack(self, section: Section<'_>) -> Box<dyn Read + '_> {
        let packed = BufReader::with_capacity(1 << 16, section);
        match self {
            Self::None => Box::new(packed),
            Self::Lzw => Box::new(LzwReader {
                packed,
                decoder: weezl::decode::Configuration::with_tiff_size_switch(
                    weezl::BitOrder::Msb,
                    8,
                )
                .with_yield_on_full_buffer(true)
                .build(),
            }),
            Self::Deflate => Box::new(ZlibDecoder::new(packed)),
            Self::PackBits => Box::new(PackBitsReader {
                packed,
                run: Run::Literal(0),
            }),
        }
    }
}

/// Unpacks LZW.
struct LzwReader<R> {
    packed: R,
    decoder: weezl::decode::Decoder,
}

impl<R: BufRead> Read for LzwReader<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if out.is_empty() {
            return Ok(0);
        }
        // The decoder may turn a few times on bits it has taken in before, as it
        // does at a clear code; more than that would be no way on.
        let mut idle = 0;
        while idle < 16 {
            let packed = self.packed.fill_buf()?;
            let result = self.decoder.decode_bytes(packed, out);
            self.packed.consume(result.consumed_in);
            match result.status {
                Err(error) => return Err(io::Error::new(io::ErrorKind::InvalidData, error)),
                Ok(weezl::LzwStatus::Done) => return Ok(result.consumed_out),
                Ok(_) if result.consumed_out > 0 => return Ok(result.consumed_out),
                Ok(_) if result.consumed_in == 0 => idle += 1,
                Ok(_) => idle = 0,
            }
        }
        Ok(0)
    }
}

/// What is left of the current run.
enum Run {
    Literal(usize),
    Repeat(usize, u8),
}

/// Unpacks byte runs.
struct PackBitsReader<R> {
    packed: R,
    run: Run,
}

impl<R: BufRead> Read for PackBitsReader<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        loop {
            match self.run {
                Run::Literal(0) | Run::Repeat(0, _) => {
                    let mut head = [0];
                    if self.packed.read(&mut head)? == 0 {
                        return Ok(0);
                    }
                    let head = head[0] as i8;
                    if head >= 0 {
                        self.run = Run::Literal(head as usize + 1);
                    } else if head > i8::MIN {
                        let mut value = [0];
                        self.packed.read_exact(&mut value)?;
                        self.run = Run::Repeat(usize::from(head.unsigned_abs()) + 1, value[0]);
                    }
                }
                Run::Literal(left) => {
                    let most = left.min(out.len());
                    let read = self.packed.read(&mut out[..most])?;
                    self.run = Run::Literal(left - read);
                    return Ok(read);
                }
                Run::Repeat(left, value) => {
                    let most = left.min(out.len());
                    out[..most].fill(value);
                    self.run = Run::Repeat(left - most, value);
                    return Ok(most);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn byte_runs_unpack_as_in_the_standard() {
        // The worked example of TIFF 6.0, section 9 (from Apple's technical note).
        let packed = [
            0xfe_u8, 0xaa, 0x02, 0x80, 0x00, 0x2a, 0xfd, 0xaa, 0x03, 0x80, 0x00, 0x2a, 0x22, 0xf7,
            0xaa,
        ];
        let mut expected = vec![0xaa, 0xaa, 0xaa, 0x80, 0x00, 0x2a, 0xaa, 0xaa, 0xaa, 0xaa];
        expected.extend([0x80, 0x00, 0x2a, 0x22]);
        expected.extend([0xaa; 10]);
        let mut out = Vec::new();
        PackBitsReader {
            packed: &packed[..],
            run: Run::Literal(0),
        }
        .read_to_end(&mut out)
        .expect("a sound stream");
        assert_eq!(out, expected);
        let mut cut = PackBitsReader {
            packed: &packed[..1],
            run: Run::Literal(0),
        };
        assert!(cut.read_to_end(&mut out).is_err());
    }

    #[test]
    fn lzw_that_never_ends_stops() {
        let decoder = || {
            weezl::decode::Configuration::with_tiff_size_switch(weezl::BitOrder::Msb, 8)
                .with_yield_on_full_buffer(true)
                .build()
        };
        for packed in [&[][..], &[0x80], &[0x80, 0x00], &[0xff; 9]] {
            let mut out = Vec::new();
            LzwReader {
                packed,
                decoder: decoder(),
            }
            .take(1 << 20)
            .read_to_end(&mut out)
            .ok();
            assert!(out.len() < 100);
        }
    }
}
