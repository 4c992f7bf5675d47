//! Image file directories: the tags of each page (TIFF 6.0, section 2, and the
//! BigTIFF design with 64-bit counts and offsets).

use std::collections::{BTreeMap, BTreeSet};

use super::source::Source;
use crate::io::read::ReadError;
use crate::io::read::raster::{damaged, text};

/// The most pages that are followed.
const PAGES_AT_MOST: usize = 65_536;

/// The longest text that is taken from a tag, in bytes.
const TEXT_AT_MOST: u64 = 1 << 20;

/// The chain of directories of one file.
pub struct Directories<'a> {
    source: &'a Source,
    form: Form,
    first: u64,
}

/// Byte order and width of offsets.
#[derive(Clone, Copy)]
struct Form {
    little_endian: bool,
    big: bool,
}

impl Form {
    /// The unsigned integer in 1 to 8 bytes.
    fn number(self, bytes: &[u8]) -> u64 {
        let join = |value: u64, byte: &u8| value << 8 | u64::from(*byte);
        if self.little_endian {
            bytes.iter().rev().fold(0, join)
        } else {
            bytes.iter().fold(0, join)
        }
    }
}

/// The tags of one page.
pub struct Directory<'a> {
    source: &'a Source,
    form: Form,
    entries: BTreeMap<u16, Entry>,
    next: u64,
}

/// One tag: the type of its values, how many, and the bytes of the value field.
struct Entry {
    kind: u16,
    count: u64,
    field: Vec<u8>,
}

impl<'a> Directories<'a> {
    /// Reads the file's header.
    pub fn new(source: &'a Source) -> Result<Self, ReadError> {
        let start = source.bytes(0, 8, "the TIFF header")?;
        let little_endian = start[0] == b'I';
        let mut form = Form {
            little_endian,
            big: false,
        };
        form.big = form.number(&start[2..4]) == 43;
        let first = if form.big {
            if form.number(&start[4..6]) != 8 || form.number(&start[6..8]) != 0 {
                return Err(damaged(source.path(), "the BigTIFF header is not 8, 0"));
            }
            form.number(&source.bytes(8, 8, "the BigTIFF header")?)
        } else {
            form.number(&start[4..8])
        };
        Ok(Self {
            source,
            form,
            first,
        })
    }

    /// All pages, at least one, and a notice if the chain breaks after one.
    ///
    /// # Errors
    /// No directory at all, or a chain that comes back to itself.
    pub fn pages(&self) -> Result<(Vec<Directory<'a>>, Option<String>), ReadError> {
        let mut seen = BTreeSet::new();
        let mut pages = Vec::new();
        let mut next = self.first;
        while next != 0 && pages.len() < PAGES_AT_MOST {
            if !seen.insert(next) {
                return Err(damaged(
                    self.source.path(),
                    format!(
                        "the chain of pages comes back to itself after page {}",
                        pages.len() - 1
                    ),
                ));
            }
            match self.directory(next, pages.len()) {
                Ok(directory) => {
                    next = directory.next;
                    pages.push(directory);
                }
                Err(ReadError::Damaged { what, .. }) if !pages.is_empty() => {
                    return Ok((pages, Some(format!("later pages cannot be read: {what}"))));
                }
                Err(error) => return Err(error),
            }
        }
        if pages.is_empty() {
            return Err(damaged(self.source.path(), "the file has no page"));
        }
        Ok((pages, None))
    }

    /// The directory at `offset`.
    fn directory(&self, offset: u64, page: usize) -> Result<Directory<'a>, ReadError> {
        let Self { source, form, .. } = *self;
        let what = format!("the directory of page {page}");
        let (count_bytes, entry_bytes, next_bytes) = if form.big { (8, 20, 8) } else { (2, 12, 4) };
        let count = form.number(&source.bytes(offset, count_bytes, &what)?);
        if count == 0 || count > u64::from(u16::MAX) {
            return Err(damaged(
                source.path(),
                format!("{what} at {offset} has {count} entries"),
            ));
        }
        let after = offset + count_bytes;
        let block = source.bytes(after, count * entry_bytes, &what)?;
        let mut entries = BTreeMap::new();
        for entry in block.chunks_exact(entry_bytes as usize) {
            let wide = if form.big { 8 } else { 4 };
            let tag = form.number(&entry[..2]) as u16;
            entries.entry(tag).or_insert_with(|| Entry {
                kind: form.number(&entry[2..4]) as u16,
                count: form.number(&entry[4..4 + wide]),
                field: entry[4 + wide..].to_vec(),
            });
        }
        // Some writers leave out the last link.
        let next = source
            .bytes(after + count * entry_bytes, next_bytes, &what)
            .map_or(0, |bytes| form.number(&bytes));
        Ok(Directory {
            source,
            form,
            entries,
            next,
        })
    }
}

impl Directory<'_> {
    /// Whether values are stored least significant byte first.
    pub fn little_endian(&self) -> bool {
        self.form.little_endian
    }

    /// Whether the tag is there.
    pub fn has(&self, tag: u16) -> bool {
        self.entries.contains_key(&tag)
    }

    /// All values of a tag of whole numbers that are not negative.
    pub fn numbers(&self, tag: u16) -> Result<Option<Vec<u64>>, ReadError> {
        let Some(entry) = self.entries.get(&tag) else {
            return Ok(None);
        };
        // TIFF types: 1 byte, 3 short, 4 long, 13 IFD, 16 long8, 18 IFD8 and the
        // signed 6, 8, 9, 17; 7 is undefined and taken as bytes.
        let (size, signed) = match entry.kind {
            1 | 7 => (1, false),
            6 => (1, true),
            3 => (2, false),
            8 => (2, true),
            4 | 13 => (4, false),
            9 => (4, true),
            16 | 18 => (8, false),
            17 => (8, true),
            kind => return Err(self.bad_tag(tag, &format!("has type {kind}, not whole numbers"))),
        };
        let bytes = self.value_bytes(tag, entry, size)?;
        let values: Vec<u64> = bytes
            .chunks_exact(size as usize)
            .map(|bytes| self.form.number(bytes))
            .collect();
        if signed && values.iter().any(|value| value >> (8 * size - 1) == 1) {
            return Err(self.bad_tag(tag, "is negative"));
        }
        Ok(Some(values))
    }

    /// The first value of a tag of whole numbers.
    pub fn number(&self, tag: u16) -> Result<Option<u64>, ReadError> {
        match self.numbers(tag)? {
            None => Ok(None),
            Some(values) => match values.first() {
                Some(value) => Ok(Some(*value)),
                None => Err(self.bad_tag(tag, "has no value")),
            },
        }
    }

    /// The text of a tag; None where it is absent, too long or not there in full.
    pub fn text(&self, tag: u16) -> Option<String> {
        let entry = self.entries.get(&tag)?;
        if !matches!(entry.kind, 1 | 2 | 7) || entry.count > TEXT_AT_MOST {
            return None;
        }
        let bytes = self.value_bytes(tag, entry, 1).ok()?;
        Some(text::decode(bytes.strip_suffix(b"\0").unwrap_or(&bytes)))
    }

    /// The bytes of a tag's values.
    fn value_bytes(&self, tag: u16, entry: &Entry, size: u64) -> Result<Vec<u8>, ReadError> {
        let Some(length) = entry.count.checked_mul(size) else {
            return Err(self.bad_tag(tag, &format!("has {} values", entry.count)));
        };
        match usize::try_from(length) {
            Ok(length) if length <= entry.field.len() => Ok(entry.field[..length].to_vec()),
            _ => {
                let offset = self.form.number(&entry.field);
                self.source
                    .bytes(offset, length, &format!("tag {tag} ({})", tag_name(tag)))
            }
        }
    }

    /// The error for a tag that makes no sense.
    pub fn bad_tag(&self, tag: u16, what: &str) -> ReadError {
        damaged(
            self.source.path(),
            format!("tag {tag} ({}) {what}", tag_name(tag)),
        )
    }
}

/// The standard's name of a tag that is used here.
fn tag_name(tag: u16) -> &'static str {
    match tag {
        254 => "NewSubfileType",
        256 => "ImageWidth",
        257 => "ImageLength",
        258 => "BitsPerSample",
        259 => "Compression",
        262 => "PhotometricInterpretation",
        266 => "FillOrder",
        270 => "ImageDescription",
        273 => "StripOffsets",
        274 => "Orientation",
        277 => "SamplesPerPixel",
        278 => "RowsPerStrip",
        279 => "StripByteCounts",
        284 => "PlanarConfiguration",
        305 => "Software",
        306 => "DateTime",
        317 => "Predictor",
        322 => "TileWidth",
        323 => "TileLength",
        324 => "TileOffsets",
        325 => "TileByteCounts",
        338 => "ExtraSamples",
        339 => "SampleFormat",
        _ => "unknown",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A little-endian file with one directory of these entries at 8.
    fn with_source(entries: &[[u8; 12]], check: impl Fn(&Directories<'_>)) {
        let mut bytes = b"II*\0\x08\0\0\0".to_vec();
        bytes.extend((entries.len() as u16).to_le_bytes());
        entries.iter().for_each(|entry| bytes.extend(entry));
        let file = tempfile::NamedTempFile::new().expect("a temporary file");
        std::fs::write(file.path(), &bytes).expect("room for it");
        let source = Source::open(file.path()).expect("it is there");
        check(&Directories::new(&source).expect("a header"));
    }

    #[test]
    fn numbers_come_from_every_whole_type() {
        let entries = [
            [0, 1, 1, 0, 2, 0, 0, 0, 7, 9, 0, 0],
            [1, 1, 3, 0, 1, 0, 0, 0, 1, 2, 0, 0],
            [2, 1, 4, 0, 1, 0, 0, 0, 1, 2, 3, 4],
            [3, 1, 8, 0, 1, 0, 0, 0, 0xff, 0xff, 0, 0],
            [4, 1, 5, 0, 1, 0, 0, 0, 8, 0, 0, 0],
            [5, 1, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0],
            [6, 1, 4, 0, 0xff, 0xff, 0xff, 0xff, 8, 0, 0, 0],
        ];
        with_source(&entries, |directories| {
            let (pages, notice) = directories.pages().expect("one page without a link");
            let page = &pages[0];
            assert_eq!((pages.len(), notice), (1, None));
            assert_eq!(page.numbers(256).expect("bytes"), Some(vec![7, 9]));
            assert_eq!(page.number(257).expect("a short"), Some(0x201));
            assert_eq!(page.number(258).expect("a long"), Some(0x0403_0201));
            assert_eq!(page.number(400).expect("not there"), None);
            for (tag, word) in [
                (259, "negative"),
                (260, "type 5"),
                (261, "no value"),
                (262, "would need"),
            ] {
                let error = page.number(tag).expect_err("no sense");
                assert!(error.to_string().contains(word), "{error}");
            }
        });
    }

    #[test]
    fn an_empty_or_cut_directory_is_damage() {
        with_source(&[], |directories| assert!(directories.pages().is_err()));
    }
}
