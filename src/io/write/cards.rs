//! Header cards as FITS 4.0 wants them, and what is carried over from the header
//! of another picture.

use crate::engine::header::{Header, Value};

/// Bytes of a card.
const CARD: usize = 80;

/// Bytes of a block; headers and data are whole blocks.
pub(super) const BLOCK: usize = 2880;

/// Characters of HISTORY and COMMENT in one card.
const LINE: usize = 70;

/// Characters of a quoted string in one card, quotes doubled.
const TEXT: usize = 68;

/// Words about target and instrument that are carried over.
const CARRIED: [&str; 7] = [
    "OBJECT", "TELESCOP", "INSTRUME", "OBSERVER", "DATE-OBS", "DATE-BEG", "TIMESYS",
];

/// Carries the words about target and instrument over.
pub(super) fn words(reference: &Header, cards: &mut Cards) {
    for keyword in CARRIED {
        if let Some(text) = reference.text(keyword) {
            cards.text(keyword, &text);
        }
    }
}

/// Carries the celestial axes 1 and 2 over and, for `planes`, adds the plain third one.
///
/// The third axis is linear and counts the planes from 1 (`CTYPE3 = 'RGB'`).
/// With a CD matrix its element is CD3_3, because where one CD card is given all
/// others default to zero; CDELT, CROTA and PC are left out then, which may not
/// stand beside CD (FITS 4.0, section 8.1).
pub(super) fn world_coordinates(reference: &Header, planes: bool, cards: &mut Cards) {
    let types = ["CTYPE1", "CTYPE2"].map(|keyword| reference.text(keyword));
    let [Some(first), Some(second)] = types else {
        return;
    };
    let has = |keywords: &[&str]| keywords.iter().any(|k| reference.number(k).is_some());
    let matrix: [&str; 4] = ["CD1_1", "CD1_2", "CD2_1", "CD2_2"];
    let with_matrix = has(&matrix);
    cards.integer("WCSAXES", if planes { 3 } else { 2 });
    cards.text("CTYPE1", &first);
    cards.text("CTYPE2", &second);
    if planes {
        cards.text("CTYPE3", "RGB");
    }
    for keyword in ["CUNIT1", "CUNIT2"] {
        if let Some(unit) = reference.text(keyword) {
            cards.text(keyword, &unit);
        }
    }
    let mut numbers = vec!["CRVAL1", "CRVAL2", "CRPIX1", "CRPIX2"];
    if with_matrix {
        numbers.extend(matrix);
    } else {
        numbers.extend(["CDELT1", "CDELT2", "PC1_1", "PC1_2", "PC2_1", "PC2_2"]);
        // CROTA is the older way to say what PC says; never both.
        if !has(&["PC1_1", "PC1_2", "PC2_1", "PC2_2"]) {
            numbers.extend(["CROTA1", "CROTA2"]);
        }
    }
    for keyword in numbers {
        cards.number_of(reference, keyword);
    }
    if planes {
        cards.real("CRVAL3", 1.0);
        cards.real("CRPIX3", 1.0);
        cards.real(if with_matrix { "CD3_3" } else { "CDELT3" }, 1.0);
    }
    for keyword in ["LONPOLE", "LATPOLE", "EQUINOX"] {
        cards.number_of(reference, keyword);
    }
    if let Some(frame) = reference
        .text("RADESYS")
        .or_else(|| reference.text("RADECSYS"))
    {
        cards.text("RADESYS", &frame);
    }
    // Parameters of the projection and the SIP polynomials, in file order.
    let mut written: Vec<&str> = Vec::new();
    for card in reference.cards.iter().chain(&reference.inherited) {
        let keyword = &card.keyword[..];
        if (is_parameter(keyword) || is_distortion(keyword)) && !written.contains(&keyword) {
            cards.number_of(reference, keyword);
            written.push(keyword);
        }
    }
}

/// PV1_0 to PV2_99.
fn is_parameter(keyword: &str) -> bool {
    keyword
        .strip_prefix("PV1_")
        .or_else(|| keyword.strip_prefix("PV2_"))
        .is_some_and(|number| (1..=2).contains(&number.len()) && all_digits(number))
}

/// A_ORDER, A_2_0, AP_1_1, A_DMAX and their like (SIP, Shupe et al. 2005).
fn is_distortion(keyword: &str) -> bool {
    let Some((name, rest)) = keyword.split_once('_') else {
        return false;
    };
    matches!(name, "A" | "B" | "AP" | "BP")
        && match rest.split_once('_') {
            Some((p, q)) => p.len() == 1 && q.len() == 1 && all_digits(p) && all_digits(q),
            None => rest == "ORDER" || rest == "DMAX",
        }
}

fn all_digits(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_digit())
}

/// Cards of 80 characters as they are made.
pub(super) struct Cards(Vec<u8>);

impl Cards {
    /// No cards yet.
    pub(super) fn new() -> Self {
        Self(Vec::new())
    }

    fn push(&mut self, card: &str) {
        let start = self.0.len();
        self.0.extend(card.bytes().take(CARD));
        self.0.resize(start + CARD, b' ');
    }

    pub(super) fn logical(&mut self, keyword: &str, value: bool) {
        self.push(&format!(
            "{keyword:<8}= {:>20}",
            if value { "T" } else { "F" }
        ));
    }

    pub(super) fn integer(&mut self, keyword: &str, value: i64) {
        self.push(&format!("{keyword:<8}= {value:>20}"));
    }

    pub(super) fn real(&mut self, keyword: &str, value: f64) {
        self.push(&format!("{keyword:<8}= {:>20}", real(value)));
    }

    /// A number of the reference, as whole or real as it was.
    pub(super) fn number_of(&mut self, reference: &Header, keyword: &str) {
        match reference.get(keyword) {
            Some(Value::Integer(value)) => self.integer(keyword, *value),
            _ => {
                if let Some(value) = reference.number(keyword) {
                    self.real(keyword, value);
                }
            }
        }
    }

    /// A string, continued over as many cards as it needs (FITS 4.0, 4.2.1.2);
    /// nothing for an empty one.
    pub(super) fn text(&mut self, keyword: &str, text: &str) {
        let text = printable(text);
        let text = text.trim_end();
        if text.is_empty() {
            return;
        }
        let mut parts = Vec::new();
        let mut part = String::new();
        for character in text.chars() {
            let width = if character == '\'' { 2 } else { 1 };
            // One column is kept for the `&` of a part that goes on.
            if part.len() + width > TEXT - 1 {
                parts.push(std::mem::take(&mut part));
            }
            part.extend(std::iter::repeat_n(character, width));
        }
        parts.push(part);
        let last = parts.len() - 1;
        for (index, part) in parts.into_iter().enumerate() {
            let head = if index == 0 {
                format!("{keyword:<8}= ")
            } else {
                "CONTINUE  ".to_owned()
            };
            let on = if index < last { "&" } else { "" };
            self.push(&format!("{head}'{:<8}'", part + on));
        }
    }

    /// HISTORY or COMMENT, wrapped at blanks where it can be.
    pub(super) fn comment(&mut self, keyword: &str, text: &str) {
        for line in text.lines() {
            let line = printable(line);
            let mut rest = line.trim_end();
            loop {
                let cut = match rest.len() {
                    0..=LINE => rest.len(),
                    _ => match rest[..LINE].rfind(' ') {
                        Some(blank) if !rest[..blank].trim().is_empty() => blank,
                        _ => LINE,
                    },
                };
                self.push(&format!("{keyword:<8}{}", &rest[..cut]));
                rest = rest[cut..].trim_start();
                if rest.is_empty() {
                    break;
                }
            }
        }
    }

    pub(super) fn finish(mut self) -> Vec<u8> {
        self.push("END");
        self.0.resize(self.0.len().next_multiple_of(BLOCK), b' ');
        self.0
    }
}

/// Only the characters that a header may hold; `?` stands for any other.
fn printable(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            ' '..='~' => c,
            '\t' => ' ',
            _ => '?',
        })
        .collect()
}

/// The shortest decimal number that reads back as the same double, with a
/// decimal point and an upper-case exponent.
fn real(value: f64) -> String {
    let text = format!("{value:?}");
    match text.split_once('e') {
        Some((digits, exponent)) if digits.contains('.') => format!("{digits}E{exponent}"),
        Some((digits, exponent)) => format!("{digits}.0E{exponent}"),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(cards: Cards) -> Vec<String> {
        cards
            .0
            .chunks(CARD)
            .map(|card| String::from_utf8_lossy(card).trim_end().to_owned())
            .collect()
    }

    #[test]
    fn numbers_read_back_the_same() {
        for value in [
            1.0,
            -2.7e-4,
            1e-9,
            123_456_789.123_456_78,
            6.02e23,
            -0.1 + 0.3,
            0.0,
        ] {
            let text = real(value);
            assert!(text.contains('.') && !text.contains('e'), "{text}");
            assert_eq!(
                text.parse::<f64>().expect("a number").to_bits(),
                value.to_bits()
            );
        }
    }

    #[test]
    fn strings_are_quoted_and_continued() {
        let mut cards = Cards(Vec::new());
        cards.text("OBJECT", "Lantern's Shell");
        cards.text("OBSERVER", "");
        cards.text("TELESCOP", &"ab'".repeat(30));
        let lines = lines(cards);
        assert_eq!(lines[0], "OBJECT  = 'Lantern''s Shell'");
        assert_eq!(lines.len(), 3);
        assert!(
            lines[1].ends_with("&'") && lines[1].len() <= 80,
            "{}",
            lines[1]
        );
        assert!(lines[2].starts_with("CONTINUE  '"));
        let text = |line: &str| {
            line[11..line.len() - 1]
                .trim_end_matches('&')
                .replace("''", "'")
        };
        assert_eq!(text(&lines[1]) + &text(&lines[2]), "ab'".repeat(30));
    }

    #[test]
    fn history_is_wrapped() {
        let mut cards = Cards(Vec::new());
        let words = "stretch ha asinh ".repeat(10);
        cards.comment("HISTORY", &words);
        cards.comment("HISTORY", &"x".repeat(150));
        cards.comment("HISTORY", "α");
        let lines = lines(cards);
        assert!(
            lines
                .iter()
                .all(|line| line.len() <= 78 && line.starts_with("HISTORY "))
        );
        let text: Vec<_> = lines.iter().map(|line| &line[8..]).collect();
        let (wrapped, rest) = text.split_at(text.len() - 4);
        assert_eq!(wrapped.join(" "), words.trim());
        assert_eq!(
            rest,
            [&"x".repeat(70)[..], &"x".repeat(70), &"x".repeat(10), "?"]
        );
    }

    #[test]
    fn distortion_words_are_told_from_others() {
        for keyword in ["A_ORDER", "B_0_2", "AP_1_1", "BP_ORDER", "A_DMAX"] {
            assert!(is_distortion(keyword), "{keyword}");
        }
        for keyword in [
            "A",
            "A_",
            "CD1_1",
            "A_X",
            "C_0_1",
            "A_1_",
            "A_11_2",
            "AP_ORDERS",
        ] {
            assert!(!is_distortion(keyword), "{keyword}");
        }
        assert!(is_parameter("PV2_1") && is_parameter("PV1_12"));
        assert!(!is_parameter("PV2_") && !is_parameter("PV3_1") && !is_parameter("PV2_1A"));
    }
}
