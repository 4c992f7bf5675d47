//! Header cards: 80 bytes each, 36 to a block of 2880, closed by END.
//!
//! Source: FITS standard 4.0, sections 4.1 and 4.2 (cards, values, CONTINUE)
//! and the registered HIERARCH convention. Writers break these rules in many
//! ways; whatever still has one plain meaning is read, and the rest is kept
//! word for word as [`Value::Other`].

use crate::engine::header::{Card, Value};

/// Bytes of one card.
pub const CARD: usize = 80;

/// Bytes of one block: headers and data are padded to whole ones.
pub const BLOCK: usize = 2880;

/// A header that has been read.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ParsedHeader {
    /// The cards in file order, without END; CONTINUE cards are joined to the
    /// card they continue.
    pub cards: Vec<Card>,
    /// Bytes from the first card to the end of the block that holds END.
    pub length: usize,
}

/// Reads the header at the start of `bytes`; None where no END card is found.
///
/// Any bytes may come in. Lower-case keywords, Latin-1 and UTF-8 text, missing
/// quotes, a missing blank after `=`, and keywords of more than eight letters
/// are understood; of repeated keywords all are kept.
pub fn parse_header(bytes: &[u8]) -> Option<ParsedHeader> {
    let end = bytes.chunks_exact(CARD).position(is_end)?;
    let mut cards: Vec<Card> = Vec::new();
    for raw in bytes.chunks_exact(CARD).take(end) {
        let card = parse_card(raw);
        if !(card.keyword == "CONTINUE" && join(cards.last_mut(), &card)) {
            cards.push(card);
        }
    }
    Some(ParsedHeader {
        cards,
        length: ((end + 1) * CARD).next_multiple_of(BLOCK),
    })
}

/// Whether a card closes the header.
pub(super) fn is_end(card: &[u8]) -> bool {
    card.strip_prefix(b"END").is_some_and(|rest| {
        rest.iter()
            .all(|byte| *byte == b' ' || byte.is_ascii_control())
    })
}

/// Hangs a CONTINUE card onto the string before it, where that string asks for
/// it with a closing `&`; says whether it did.
fn join(before: Option<&mut Card>, card: &Card) -> bool {
    let (Some(before), Some(Value::Text(more))) = (before, &card.value) else {
        return false;
    };
    let Some(Value::Text(text)) = &mut before.value else {
        return false;
    };
    let Some(begun) = text.strip_suffix('&') else {
        return false;
    };
    *text = format!("{begun}{more}");
    if !card.comment.is_empty() {
        if !before.comment.is_empty() {
            before.comment.push(' ');
        }
        before.comment.push_str(&card.comment);
    }
    true
}

/// One card of 80 bytes.
fn parse_card(raw: &[u8]) -> Card {
    let (name, rest) = raw.split_at(8);
    let keyword = text_of(name).trim().to_uppercase();
    match keyword.as_str() {
        "COMMENT" | "HISTORY" | "" => return remark(keyword, rest),
        "CONTINUE" => return valued(keyword, rest),
        "HIERARCH" => {
            if let Some(equals) = rest.iter().position(|byte| *byte == b'=') {
                let words = text_of(&rest[..equals]).to_uppercase();
                let joined = words.split_whitespace().collect::<Vec<_>>().join(" ");
                return valued(joined, &rest[equals + 1..]);
            }
            return remark(keyword, rest);
        }
        _ => {}
    }
    if rest.first() == Some(&b'=') && !name.contains(&b'=') {
        return valued(keyword, &rest[1..]);
    }
    // `EXPTIME= 10`, or a keyword of more than eight letters.
    if let Some(equals) = raw.iter().position(|byte| *byte == b'=') {
        let long = text_of(&raw[..equals]).trim().to_uppercase();
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_' || c == '.';
        if !long.is_empty() && long.chars().all(plain) {
            return valued(long, &raw[equals + 1..]);
        }
    }
    remark(keyword, rest)
}

/// A card without a value.
fn remark(keyword: String, text: &[u8]) -> Card {
    Card {
        keyword,
        value: None,
        comment: text_of(text).trim_end().to_owned(),
    }
}

/// A card whose `field` is a value, with a comment after a slash.
fn valued(keyword: String, field: &[u8]) -> Card {
    let field = text_of(field);
    let field = field.trim();
    let (value, comment) = match field.strip_prefix('\'') {
        Some(quoted) => quoted_text(quoted),
        None => bare(field),
    };
    Card {
        keyword,
        value,
        comment,
    }
}

/// A string after its opening quote; inner quotes are doubled.
fn quoted_text(quoted: &str) -> (Option<Value>, String) {
    let mut text = String::new();
    let mut letters = quoted.char_indices().peekable();
    while let Some((at, letter)) = letters.next() {
        if letter != '\'' {
            text.push(letter);
        } else if letters.next_if(|(_, next)| *next == '\'').is_some() {
            text.push('\'');
        } else {
            let rest = &quoted[at + 1..];
            let comment = rest.split_once('/').map_or(rest, |(_, comment)| comment);
            text.truncate(text.trim_end().len());
            return (Some(Value::Text(text)), comment.trim().to_owned());
        }
    }
    // The closing quote is missing: a slash between blanks opens the comment.
    let (text, comment) = text.split_once(" /").unwrap_or((&text, ""));
    (
        Some(Value::Text(text.trim_end().to_owned())),
        comment.trim().to_owned(),
    )
}

/// A value without quotes: a number, T or F, or loose text.
fn bare(field: &str) -> (Option<Value>, String) {
    let (first, comment) = field.split_once('/').unwrap_or((field, ""));
    let first = first.trim();
    if first.is_empty() {
        return (None, comment.trim().to_owned());
    }
    if let Some(value) = number(first) {
        return (Some(value), comment.trim().to_owned());
    }
    match first {
        "T" | "t" => (Some(Value::Logical(true)), comment.trim().to_owned()),
        "F" | "f" => (Some(Value::Logical(false)), comment.trim().to_owned()),
        // A slash inside loose text belongs to it unless a blank stands before.
        _ => {
            let (text, comment) = field.split_once(" /").unwrap_or((field, ""));
            (
                Some(Value::Other(text.trim().to_owned())),
                comment.trim().to_owned(),
            )
        }
    }
}

/// An integer or a real, with `D` as well as `E` for the exponent.
fn number(text: &str) -> Option<Value> {
    let allowed = |c: char| c.is_ascii_digit() || "+-.eEdD".contains(c);
    if !text.chars().all(allowed) || !text.contains(|c: char| c.is_ascii_digit()) {
        return None;
    }
    if let Ok(value) = text.parse() {
        return Some(Value::Integer(value));
    }
    text.replace(['d', 'D'], "E")
        .parse()
        .ok()
        .filter(|v: &f64| v.is_finite())
        .map(Value::Real)
}

/// Bytes as text: UTF-8 where they are that, Latin-1 otherwise; control
/// characters become blanks.
fn text_of(bytes: &[u8]) -> String {
    let blank = |c: char| if c.is_control() { ' ' } else { c };
    match std::str::from_utf8(bytes) {
        Ok(text) => text.chars().map(blank).collect(),
        Err(_) => bytes.iter().map(|byte| blank(char::from(*byte))).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(lines: &[&str]) -> Vec<u8> {
        let mut bytes = Vec::new();
        for line in lines.iter().chain(&["END"]) {
            bytes.extend_from_slice(format!("{line:<80}").as_bytes());
        }
        bytes.resize(bytes.len().next_multiple_of(BLOCK), b' ');
        bytes
    }

    fn one(line: &str) -> Card {
        let parsed = parse_header(&header(&[line])).expect("there is an END");
        assert_eq!(parsed.cards.len(), 1, "{line}");
        parsed.cards[0].clone()
    }

    fn value(line: &str) -> Value {
        one(line)
            .value
            .unwrap_or_else(|| panic!("`{line}` has a value"))
    }

    #[test]
    fn values_of_every_kind() {
        for (line, expected) in [
            (
                "NAXIS1  =                  300 / columns",
                Value::Integer(300),
            ),
            ("SIMPLE  =                    T", Value::Logical(true)),
            ("EXPTIME =               1.5D+2", Value::Real(150.0)),
            (
                "BZERO   =  9223372036854775808",
                Value::Real(9_223_372_036_854_775_808.0),
            ),
            (
                "FILTER  = 'H-alpha ''5 nm''  ' / wheel",
                Value::Text("H-alpha '5 nm'".to_owned()),
            ),
            ("FILTER  = '  led'", Value::Text("  led".to_owned())),
            ("FILTER  = ''", Value::Text(String::new())),
            ("FILTER  ='OIII'", Value::Text("OIII".to_owned())),
            ("filter  = 'SII'", Value::Text("SII".to_owned())),
            (
                "FILTER  = 'no end / of it",
                Value::Text("no end".to_owned()),
            ),
            ("EXPTIME = 12,5", Value::Other("12,5".to_owned())),
            ("EXPTIME= 12", Value::Integer(12)),
            (
                "OBJECT  = Shell 12/7 east / field",
                Value::Other("Shell 12/7 east".to_owned()),
            ),
            (
                "CPLX    = (1.0, 2.0)",
                Value::Other("(1.0, 2.0)".to_owned()),
            ),
            ("SOME    = nan", Value::Other("nan".to_owned())),
            ("FILTERNAME_LONG = 'Ha'", Value::Text("Ha".to_owned())),
            (
                "HIERARCH obs ins filt1 name = 'NB_2.25' / it",
                Value::Text("NB_2.25".to_owned()),
            ),
        ] {
            assert_eq!(value(line), expected, "{line}");
        }
        assert_eq!(one("filter  = 'SII'").keyword, "FILTER");
        assert_eq!(one("FILTERNAME_LONG = 'Ha'").keyword, "FILTERNAME_LONG");
        let card = one("HIERARCH obs ins  filt1 name = 'NB_2.25' / it");
        assert_eq!(
            (card.keyword.as_str(), card.comment.as_str()),
            ("OBS INS FILT1 NAME", "it")
        );
    }

    #[test]
    fn cards_without_a_value() {
        for line in [
            "COMMENT = not a value",
            "HISTORY stacked",
            "        = 3",
            "BLANKED =",
            "WORDS",
        ] {
            assert_eq!(one(line).value, None, "{line}");
        }
        assert_eq!(one("HISTORY   stacked ").comment, "  stacked");
        assert_eq!(
            one("UNSET   =       / no value yet").comment,
            "no value yet"
        );
    }

    #[test]
    fn long_strings_are_joined() {
        let parsed = parse_header(&header(&[
            "FILTER  = 'a long &'           / first",
            "CONTINUE  'name of &'",
            "CONTINUE  'a filter'           / last",
            "CONTINUE  'that follows nothing'",
            "NAXIS   = 0",
        ]))
        .expect("there is an END");
        assert_eq!(parsed.cards.len(), 3);
        assert_eq!(
            parsed.cards[0].value,
            Some(Value::Text("a long name of a filter".to_owned()))
        );
        assert_eq!(parsed.cards[0].comment, "first last");
        assert_eq!(parsed.cards[1].keyword, "CONTINUE");
    }

    #[test]
    fn text_in_latin_1_and_in_utf_8() {
        let mut latin = header(&["OBJECT  = 'Nebel Sud'"]);
        let at = latin
            .iter()
            .position(|byte| *byte == b'u')
            .expect("there is a u");
        latin[at] = 0xfc;
        let parsed = parse_header(&latin).expect("there is an END");
        assert_eq!(
            parsed.cards[0].value,
            Some(Value::Text("Nebel Süd".to_owned()))
        );
        // `format!` pads by letters, so the card has a byte too many: cut a blank.
        let mut utf = header(&["OBJECT  = 'Hα'"]);
        utf.remove(40);
        let parsed = parse_header(&utf).expect("there is an END");
        assert_eq!(parsed.cards[0].value, Some(Value::Text("Hα".to_owned())));
    }

    #[test]
    fn the_end_and_its_absence() {
        let bytes = header(&["SIMPLE  = T"; 40]);
        assert_eq!(
            parse_header(&bytes).map(|header| header.length),
            Some(2 * BLOCK)
        );
        assert_eq!(parse_header(&bytes[..BLOCK]), None);
        assert_eq!(parse_header(b""), None);
        assert_eq!(parse_header(&[0xff; 5000]), None);
    }

    proptest::proptest! {
        #[test]
        fn any_bytes_are_read_without_a_panic(
            mut bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..20 * CARD),
            keyword in "[A-Z =']{0,12}",
        ) {
            let start = keyword.len().min(bytes.len());
            bytes[..start].copy_from_slice(&keyword.as_bytes()[..start]);
            bytes.resize(bytes.len().next_multiple_of(CARD), b'\'');
            let cards = bytes.len() / CARD;
            bytes.extend_from_slice(format!("{:<80}", "END").as_bytes());
            let parsed = parse_header(&bytes);
            proptest::prop_assert!(parsed.is_some_and(|header| header.cards.len() <= cards));
        }
    }
}
