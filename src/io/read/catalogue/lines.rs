//! In which line of the file a row stands.

/// The lines of a table, gone through once from the first to the last.
pub(super) struct Lines<'a> {
    rest: &'a [u8],
    /// Bytes before the rest.
    at: usize,
    number: u64,
}

impl<'a> Lines<'a> {
    pub fn new(table: &'a str) -> Self {
        Self {
            rest: table.as_bytes(),
            at: 0,
            number: 1,
        }
    }

    /// The line, from 1, of the row that is the next one from `byte` on: empty
    /// lines and comments are none. Never back again.
    pub fn number_at(&mut self, byte: usize) -> u64 {
        while let Some(end) = self.end()
            && (self.at < byte || end == 0 || self.rest.first() == Some(&b'#'))
        {
            let width = if self.rest[end..].starts_with(b"\r\n") {
                2
            } else {
                1
            };
            self.rest = &self.rest[end + width..];
            self.at += end + width;
            self.number += 1;
        }
        self.number
    }

    // Where this line ends; None in the last one.
    fn end(&self) -> Option<usize> {
        self.rest.iter().position(|byte| b"\r\n".contains(byte))
    }
}
