//! The hash of the picture itself, whatever file it sits in.

use sha2::{Digest, Sha256};

use super::atomic::hex;
use crate::engine::frame::Coded;

/// Samples turned to bytes at a time.
const CHUNK: usize = 4096;

/// SHA-256 over samples row by row, interleaved R G B, each little-endian.
///
/// It survives a change of compression, of tags and of the kind of file. For
/// JPEG, which does not keep samples, it is over the samples before coding.
#[derive(Debug, Clone, Default)]
pub struct PixelHash(Sha256);

impl PixelHash {
    /// Nothing hashed yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes the next samples. How they are divided among calls is without effect.
    pub fn update(&mut self, samples: &Coded) {
        match samples {
            Coded::U8(samples) => self.0.update(samples),
            Coded::U16(samples) => self.update_wide(samples, |sample| sample.to_le_bytes()),
            Coded::F32(samples) => self.update_wide(samples, |sample| sample.to_le_bytes()),
        }
    }

    /// The hash in lower-case hex.
    pub fn finish(self) -> String {
        hex(&self.0.finalize())
    }

    fn update_wide<T: Copy, const N: usize>(
        &mut self,
        samples: &[T],
        bytes: impl Fn(T) -> [u8; N],
    ) {
        let mut buffer = [[0; N]; CHUNK];
        for samples in samples.chunks(CHUNK) {
            for (out, sample) in buffer.iter_mut().zip(samples) {
                *out = bytes(*sample);
            }
            self.0.update(buffer[..samples.len()].as_flattened());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_are_hashed_as_little_endian_bytes() {
        // FIPS 180-2, appendix B.2: the message of 56 letters.
        let message = b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
        let expected = "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1";
        let words = message
            .chunks(2)
            .map(|b| u16::from(b[0]) | u16::from(b[1]) << 8)
            .collect();
        let floats = message
            .chunks(4)
            .map(|b| f32::from_bits(u32::from_le_bytes([b[0], b[1], b[2], b[3]])))
            .collect();
        for samples in [
            Coded::U8(message.to_vec()),
            Coded::U16(words),
            Coded::F32(floats),
        ] {
            let mut hash = PixelHash::new();
            hash.update(&samples);
            assert_eq!(hash.finish(), expected);
        }
    }
}
