//! The LZW of the Unix `compress` program (`.Z` files).
//!
//! T. A. Welch, "A Technique for High-Performance Data Compression", IEEE
//! Computer 17 (6), 1984. Codes start at 9 bits and grow to at most 16, least
//! significant bit first; whenever their length changes, the rest of a group
//! of eight codes is unused. In block mode code 256 empties the table.

use std::io::{self, BufReader, Read};

/// The first two bytes of such a file.
pub(super) const MAGIC: [u8; 2] = [0x1f, 0x9d];

const CLEAR: usize = 256;

/// Unpacks a `.Z` stream; holds tables of some 200 KiB whatever comes in.
pub(super) struct LzwReader<R> {
    codes: Codes<R>,
    block_mode: bool,
    /// First code that is free for a new entry.
    free: usize,
    prefix: Vec<u16>,
    last: Vec<u8>,
    /// The code before, and the first byte of what it stood for.
    before: Option<(usize, u8)>,
    /// Unpacked bytes in reverse, not yet handed out.
    stack: Vec<u8>,
}

/// Cuts a stream into codes.
struct Codes<R> {
    inner: BufReader<R>,
    longest: u32,
    bits: u32,
    group: [u8; 16],
    /// Bits in `group`, and how many of them are used.
    held: u32,
    used: u32,
}

impl<R: Read> LzwReader<R> {
    /// Reads the three bytes at the start.
    ///
    /// # Errors
    /// Where they are not those of a `.Z` file, or the stream fails.
    pub fn new(inner: R) -> io::Result<Self> {
        let mut inner = BufReader::with_capacity(1 << 16, inner);
        let mut start = [0; 3];
        inner.read_exact(&mut start)?;
        let longest = u32::from(start[2] & 0x1f);
        if start[..2] != MAGIC || !(9..=16).contains(&longest) {
            return Err(wrong("no .Z stream"));
        }
        let block_mode = start[2] & 0x80 != 0;
        Ok(Self {
            codes: Codes {
                inner,
                longest,
                bits: 9,
                group: [0; 16],
                held: 0,
                used: 0,
            },
            block_mode,
            free: if block_mode { CLEAR + 1 } else { CLEAR },
            prefix: vec![0; 1 << longest],
            last: vec![0; 1 << longest],
            before: None,
            stack: Vec::with_capacity(1 << 16),
        })
    }

    /// Unpacks one more code onto the stack; false at the end.
    fn advance(&mut self) -> io::Result<bool> {
        let most = 1_usize << self.codes.longest;
        let code = loop {
            let Some(code) = self.codes.next(self.free)? else {
                return Ok(false);
            };
            if code != CLEAR || !self.block_mode {
                break code;
            }
            self.codes.start_again();
            self.free = CLEAR + 1;
            self.before = None;
        };
        let Some((before, first)) = self.before else {
            let byte = u8::try_from(code).map_err(|_| wrong("the first code is no byte"))?;
            self.before = Some((code, byte));
            self.stack.push(byte);
            return Ok(true);
        };
        let mut walk = code;
        if code >= self.free {
            // The entry that is just being made: what came before and its own first byte.
            if code > self.free || self.free >= most {
                return Err(wrong("a code that is not in the table"));
            }
            self.stack.push(first);
            walk = before;
        }
        while walk > 255 {
            self.stack.push(self.last[walk]);
            walk = usize::from(self.prefix[walk]);
        }
        let first = walk as u8;
        self.stack.push(first);
        if self.free < most {
            self.prefix[self.free] = before as u16;
            self.last[self.free] = first;
            self.free += 1;
        }
        self.before = Some((code, first));
        Ok(true)
    }
}

impl<R: Read> Codes<R> {
    /// The next code; None at the end. `free` tells how long codes are.
    fn next(&mut self, free: usize) -> io::Result<Option<usize>> {
        if self.bits < self.longest && free > (1 << self.bits) - 1 {
            self.bits += 1;
            self.held = 0;
        }
        if self.used + self.bits > self.held || self.held == 0 {
            let mut filled = 0;
            let group = &mut self.group[..self.bits as usize];
            while filled < group.len() {
                match self.inner.read(&mut group[filled..])? {
                    0 => break,
                    count => filled += count,
                }
            }
            self.held = filled as u32 * 8;
            self.used = 0;
            if self.held < self.bits {
                return Ok(None);
            }
        }
        let at = (self.used / 8) as usize;
        let window = self.group[at..]
            .iter()
            .take(4)
            .rev()
            .fold(0_u32, |w, b| w << 8 | u32::from(*b));
        let code = window >> (self.used % 8) & ((1 << self.bits) - 1);
        self.used += self.bits;
        Ok(Some(code as usize))
    }

    /// Codes of 9 bits again, from a new group on.
    fn start_again(&mut self) {
        self.bits = 9;
        self.held = 0;
    }
}

impl<R: Read> Read for LzwReader<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let mut filled = 0;
        while filled < out.len() {
            match self.stack.pop() {
                Some(byte) => {
                    out[filled] = byte;
                    filled += 1;
                }
                None if !self.advance()? => break,
                None => {}
            }
        }
        Ok(filled)
    }
}

fn wrong(what: &str) -> io::Error {
    io::Error::new(
        io::ErrorKind::InvalidData,
        format!("damaged LZW data: {what}"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unpack(bytes: &[u8]) -> io::Result<Vec<u8>> {
        let mut out = Vec::new();
        LzwReader::new(bytes)?
            .take(10_000_000)
            .read_to_end(&mut out)
            .map(|_| out)
    }

    /// Codes of 9 bits packed by hand: a, b, 257 (ab), 259 (aba, just being made).
    #[test]
    fn codes_packed_by_hand() {
        let codes = [97_u64, 98, 257, 259];
        let packed = codes.iter().rev().fold(0_u64, |all, code| all << 9 | code);
        let mut bytes = vec![0x1f, 0x9d, 0x90];
        bytes.extend_from_slice(&packed.to_le_bytes()[..5]);
        assert_eq!(unpack(&bytes).expect("a sound stream"), b"abababa");
    }

    #[test]
    fn any_bytes_end_in_data_or_in_words() {
        let mut seed = 1_u32;
        for round in 0..300 {
            let mut bytes = vec![0x1f, 0x9d, 0x80 | (9 + (round % 8) as u8)];
            for _ in 0..2000 {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                bytes.push((seed >> 24) as u8);
            }
            unpack(&bytes).ok();
        }
        assert!(unpack(b"\x1f\x9d").is_err());
        assert!(unpack(b"\x1f\x9d\x85abc").is_err());
    }
}
