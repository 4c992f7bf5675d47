//! What one header says about the data behind it: kind, axes, size in bytes.
//!
//! Everything here is checked arithmetic on numbers that a file claims; nothing
//! is allocated from them.

use super::cards::{BLOCK, ParsedHeader};
use super::values::Stored;
use crate::engine::header::{Card, Value};

/// What a header-data unit is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HduKind {
    /// An image; without axes it is a header alone.
    Image,
    /// An image that is kept as compressed tiles in a binary table.
    TiledImage,
    /// A binary table.
    BinaryTable,
    /// A table in ASCII.
    AsciiTable,
    /// Random groups, the old way of radio interferometry.
    RandomGroups,
    /// An extension of another kind.
    Other,
}

/// What is known of one header-data unit.
#[derive(Debug, Clone, PartialEq)]
pub struct HduFacts {
    /// Its place in the file, from 0.
    pub index: usize,
    /// EXTNAME, where it has one.
    pub name: Option<String>,
    /// What it is.
    pub kind: HduKind,
    /// BITPIX, for tiled images ZBITPIX: 8, 16, 32, 64, -32 or -64.
    pub bitpix: i64,
    /// NAXIS1, NAXIS2, ..., for tiled images ZNAXISn.
    pub axes: Vec<u64>,
}

impl std::fmt::Display for HduFacts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "HDU {}", self.index)?;
        if let Some(name) = &self.name {
            write!(f, " `{name}`")?;
        }
        let axes = self
            .axes
            .iter()
            .map(u64::to_string)
            .collect::<Vec<_>>()
            .join(" x ");
        match self.kind {
            HduKind::Image if self.axes.is_empty() => f.write_str(" is a header without data"),
            HduKind::Image => write!(f, " is an image of {axes}"),
            HduKind::TiledImage => write!(f, " is a compressed image of {axes}"),
            HduKind::BinaryTable => f.write_str(" is a binary table"),
            HduKind::AsciiTable => f.write_str(" is an ASCII table"),
            HduKind::RandomGroups => f.write_str(" holds random groups"),
            HduKind::Other => f.write_str(" is an extension of an unknown kind"),
        }
    }
}

impl HduFacts {
    /// Whether it has the shape of a picture: two axes or more, none of them 0.
    pub(super) fn is_picture(&self) -> bool {
        matches!(self.kind, HduKind::Image | HduKind::TiledImage)
            && self.axes.len() >= 2
            && self.axes.iter().all(|axis| *axis > 0)
    }
}

/// One header-data unit: its facts, its header and where its data lie.
#[derive(Debug, Clone)]
pub(super) struct Hdu {
    pub facts: HduFacts,
    pub header: ParsedHeader,
    /// Offset of the header in the (unpacked) file.
    pub start: u64,
    /// Bytes of data without padding.
    pub data_bytes: u64,
}

impl Hdu {
    /// Reads the structure out of a header.
    ///
    /// # Errors
    /// One clause that says what is wrong with it.
    pub fn new(index: usize, start: u64, header: ParsedHeader) -> Result<Self, String> {
        let cards = &header.cards;
        let bitpix = required(cards, "BITPIX")?;
        let stored = Stored::from_bitpix(bitpix)
            .ok_or_else(|| format!("BITPIX is {bitpix}: 8, 16, 32, 64, -32 or -64 exist"))?;
        let axes = axes(cards, "NAXIS")?;
        let mut kind = match first_text(cards, "XTENSION").as_deref() {
            _ if index == 0 => HduKind::Image,
            Some("IMAGE" | "IUEIMAGE") => HduKind::Image,
            Some("BINTABLE" | "A3DTABLE" | "3DTABLE") => HduKind::BinaryTable,
            Some("TABLE") => HduKind::AsciiTable,
            _ => HduKind::Other,
        };
        let groups = index == 0
            && axes.first() == Some(&0)
            && first(cards, "GROUPS") == Some(&Value::Logical(true));
        if groups {
            kind = HduKind::RandomGroups;
        }
        let elements = product(if groups { &axes[1..] } else { &axes })?;
        let plain_primary = index == 0 && !groups;
        let extra = if plain_primary {
            0
        } else {
            count(cards, "PCOUNT", 0)?
        };
        let repeats = if plain_primary {
            1
        } else {
            count(cards, "GCOUNT", 1)?
        };
        let data_bytes = elements
            .checked_add(extra)
            .filter(|_| !axes.is_empty())
            .map_or(Some(0), |all| {
                all.checked_mul(repeats)?.checked_mul(stored.bytes() as u64)
            })
            .filter(|bytes| *bytes <= u64::MAX / 4)
            .ok_or_else(|| {
                format!(
                    "{} values are more than any file can hold",
                    dimensions(&axes)
                )
            })?;
        let mut facts = HduFacts {
            index,
            name: first_text(cards, "EXTNAME"),
            kind,
            bitpix,
            axes,
        };
        let tiled =
            kind == HduKind::BinaryTable && first(cards, "ZIMAGE") == Some(&Value::Logical(true));
        if tiled {
            facts.kind = HduKind::TiledImage;
            facts.bitpix = required(cards, "ZBITPIX")?;
            facts.axes = self::axes(cards, "ZNAXIS")?;
        }
        Ok(Self {
            facts,
            header,
            start,
            data_bytes,
        })
    }

    /// Offset of the first byte of data.
    pub fn data_start(&self) -> u64 {
        self.start.saturating_add(self.header.length as u64)
    }

    /// Offset of the next header: data are padded to whole blocks.
    pub fn next_start(&self) -> u64 {
        let padded = self
            .data_bytes
            .div_ceil(BLOCK as u64)
            .saturating_mul(BLOCK as u64);
        self.data_start().saturating_add(padded)
    }
}

/// `a x b x c` for messages.
pub(super) fn dimensions(axes: &[u64]) -> String {
    axes.iter()
        .map(u64::to_string)
        .collect::<Vec<_>>()
        .join(" x ")
}

/// The value of the first card of that name: for the keywords that give a
/// unit its structure the first one counts.
pub(super) fn first<'a>(cards: &'a [Card], keyword: &str) -> Option<&'a Value> {
    cards
        .iter()
        .find(|card| card.keyword == keyword)?
        .value
        .as_ref()
}

/// The same as trimmed text, None where it is empty.
pub(super) fn first_text(cards: &[Card], keyword: &str) -> Option<String> {
    match first(cards, keyword)? {
        Value::Text(text) | Value::Other(text) => Some(text.trim().to_owned()),
        _ => None,
    }
    .filter(|text| !text.is_empty())
}

/// The same as a whole number: integers, and reals without a fraction.
pub(super) fn first_integer(cards: &[Card], keyword: &str) -> Option<i64> {
    match first(cards, keyword)? {
        Value::Integer(value) => Some(*value),
        Value::Real(value) if value.fract() == 0.0 && value.abs() < 9e15 => Some(*value as i64),
        _ => None,
    }
}

/// The same as a number.
pub(super) fn first_number(cards: &[Card], keyword: &str) -> Option<f64> {
    match first(cards, keyword)? {
        Value::Integer(value) => Some(*value as f64),
        Value::Real(value) => Some(*value),
        _ => None,
    }
}

/// A whole number that must be there.
pub(super) fn required(cards: &[Card], keyword: &str) -> Result<i64, String> {
    match first(cards, keyword) {
        None => Err(format!("{keyword} is missing from the header")),
        Some(_) => {
            first_integer(cards, keyword).ok_or_else(|| format!("{keyword} is no whole number"))
        }
    }
}

/// A whole number from 0 on, or what holds where it is absent.
fn count(cards: &[Card], keyword: &str, absent: u64) -> Result<u64, String> {
    if first(cards, keyword).is_none() {
        return Ok(absent);
    }
    let value = required(cards, keyword)?;
    u64::try_from(value).map_err(|_| format!("{keyword} is {value}, below zero"))
}

/// The axes that `NAXIS`, `NAXIS1`, ... (or `ZNAXIS`, ...) give.
pub(super) fn axes(cards: &[Card], keyword: &str) -> Result<Vec<u64>, String> {
    let number = required(cards, keyword)?;
    if !(0..=999).contains(&number) {
        return Err(format!("{keyword} is {number}: 0 to 999 axes are possible"));
    }
    (1..=number)
        .map(|axis| {
            let name = format!("{keyword}{axis}");
            let length = required(cards, &name)?;
            u64::try_from(length).map_err(|_| format!("{name} is {length}, below zero"))
        })
        .collect()
}

/// All axes multiplied.
pub(super) fn product(axes: &[u64]) -> Result<u64, String> {
    if axes.contains(&0) {
        return Ok(0);
    }
    axes.iter()
        .try_fold(1_u64, |all, axis| all.checked_mul(*axis))
        .ok_or_else(|| {
            format!(
                "{} values are more than any file can hold",
                dimensions(axes)
            )
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hdu(index: usize, values: &[(&str, Value)]) -> Result<Hdu, String> {
        let cards = values
            .iter()
            .map(|(keyword, value)| Card {
                keyword: (*keyword).to_owned(),
                value: Some(value.clone()),
                comment: String::new(),
            })
            .collect();
        Hdu::new(
            index,
            0,
            ParsedHeader {
                cards,
                length: BLOCK,
            },
        )
    }

    use Value::Integer as Int;

    #[test]
    fn sizes_and_their_padding() {
        let unit = hdu(
            0,
            &[
                ("BITPIX", Int(-32)),
                ("NAXIS", Int(2)),
                ("NAXIS1", Int(30)),
                ("NAXIS2", Int(25)),
            ],
        )
        .expect("a sound header");
        assert_eq!(
            (unit.data_bytes, unit.data_start(), unit.next_start()),
            (3000, 2880, 8640)
        );
        assert!(unit.facts.is_picture());
        assert_eq!(unit.facts.to_string(), "HDU 0 is an image of 30 x 25");
    }

    #[test]
    fn impossible_headers_are_refused_in_words() {
        let big = Int(4_000_000_000);
        for (values, word) in [
            (vec![("NAXIS", Int(0))], "BITPIX is missing"),
            (vec![("BITPIX", Int(12)), ("NAXIS", Int(0))], "BITPIX is 12"),
            (vec![("BITPIX", Int(8)), ("NAXIS", Int(-1))], "NAXIS is -1"),
            (
                vec![("BITPIX", Int(8)), ("NAXIS", Int(1))],
                "NAXIS1 is missing",
            ),
            (
                vec![("BITPIX", Int(8)), ("NAXIS", Int(1)), ("NAXIS1", Int(-5))],
                "below zero",
            ),
            (
                vec![
                    ("BITPIX", Int(8)),
                    ("NAXIS", Int(3)),
                    ("NAXIS1", big.clone()),
                    ("NAXIS2", big.clone()),
                    ("NAXIS3", big),
                ],
                "more than any file can hold",
            ),
        ] {
            let message = hdu(0, &values).expect_err("the header is impossible");
            assert!(message.contains(word), "{message}");
        }
    }

    #[test]
    fn random_groups_are_known() {
        let unit = hdu(
            0,
            &[
                ("BITPIX", Int(16)),
                ("NAXIS", Int(2)),
                ("NAXIS1", Int(0)),
                ("NAXIS2", Int(10)),
                ("GROUPS", Value::Logical(true)),
                ("PCOUNT", Int(2)),
                ("GCOUNT", Int(3)),
            ],
        )
        .expect("a sound header");
        assert_eq!(
            (unit.facts.kind, unit.data_bytes),
            (HduKind::RandomGroups, 2 * 3 * 12)
        );
    }
}
