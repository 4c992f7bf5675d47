//! What TIFF tags and PNG text chunks say, as header cards.
//!
//! Only text that is written as `KEY = value` lines becomes cards with values;
//! everything else stays text.

use crate::engine::header::{Card, Value};

/// The most lines that are taken from one text.
const LINES_AT_MOST: usize = 4096;

/// Cards of a free text. Lines of the form `KEY = value / comment`, with a key
/// of 1 to 8 characters out of `A-Z 0-9 _ -`, become cards with values; all
/// others become COMMENT cards.
pub fn cards(text: &str) -> Vec<Card> {
    text.split(['\n', '\r', '\0'])
        .map(clean)
        .filter(|line| !line.is_empty() && line != "END")
        .take(LINES_AT_MOST)
        .map(|line| value_card(&line).unwrap_or_else(|| comment(line)))
        .collect()
}

/// A card with a text value.
pub fn text_card(keyword: &str, text: &str) -> Card {
    Card {
        keyword: keyword.to_owned(),
        value: Some(Value::Text(clean(text))),
        comment: String::new(),
    }
}

/// A COMMENT card.
pub fn comment(text: String) -> Card {
    Card {
        keyword: "COMMENT".to_owned(),
        value: None,
        comment: text,
    }
}

/// `YYYY:MM:DD HH:MM:SS` (TIFF 6.0, DateTime) as the FITS form of a date.
pub fn date(text: &str) -> Option<String> {
    let text = text.trim_matches(['\0', ' ']);
    let fits = text.len() == 19
        && text.char_indices().all(|(index, letter)| match index {
            4 | 7 => letter == ':' || letter == '-',
            10 => letter == ' ' || letter == 'T',
            13 | 16 => letter == ':',
            _ => letter.is_ascii_digit(),
        });
    fits.then(|| {
        format!(
            "{}-{}-{}T{}",
            &text[..4],
            &text[5..7],
            &text[8..10],
            &text[11..]
        )
    })
}

/// Bytes as text: UTF-8 where it is valid, else Latin-1.
pub fn decode(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
    }
}

/// Without control characters, trimmed.
fn clean(text: &str) -> String {
    text.chars()
        .filter(|letter| !letter.is_control())
        .collect::<String>()
        .trim()
        .to_owned()
}

/// `KEY = value / comment`.
fn value_card(line: &str) -> Option<Card> {
    let (keyword, rest) = line.split_once('=')?;
    let keyword = keyword.trim();
    let letters = |letter: char| {
        letter.is_ascii_uppercase() || letter.is_ascii_digit() || letter == '_' || letter == '-'
    };
    if keyword.is_empty() || keyword.len() > 8 || !keyword.chars().all(letters) {
        return None;
    }
    let rest = rest.trim();
    let (value, comment) = match rest.strip_prefix('\'') {
        Some(quoted) => {
            let (text, after) = quoted_text(quoted);
            (
                Value::Text(text),
                after.split_once('/').map_or("", |(_, comment)| comment),
            )
        }
        None => {
            let (bare, comment) = rest.split_once(" /").unwrap_or((rest, ""));
            (bare_value(bare.trim()), comment)
        }
    };
    Some(Card {
        keyword: keyword.to_owned(),
        value: Some(value),
        comment: comment.trim().to_owned(),
    })
}

/// The text up to the closing quote (two quotes stand for one), and the rest.
fn quoted_text(quoted: &str) -> (String, &str) {
    let mut text = String::new();
    let mut letters = quoted.char_indices().peekable();
    let mut rest = "";
    while let Some((index, letter)) = letters.next() {
        if letter != '\'' {
            text.push(letter);
        } else if letters.next_if(|(_, next)| *next == '\'').is_some() {
            text.push('\'');
        } else {
            rest = &quoted[index + 1..];
            break;
        }
    }
    (text.trim_end().to_owned(), rest)
}

/// A value without quotes.
fn bare_value(bare: &str) -> Value {
    if let Ok(value) = bare.parse() {
        return Value::Integer(value);
    }
    let number = bare.starts_with(|first: char| first.is_ascii_digit() || "+-.".contains(first));
    match (bare, bare.replace(['D', 'd'], "E").parse::<f64>()) {
        ("T", _) => Value::Logical(true),
        ("F", _) => Value::Logical(false),
        (_, Ok(value)) if number && value.is_finite() => Value::Real(value),
        _ => Value::Text(bare.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_with_keys_become_cards() {
        let text = "OBJECT  = 'Lantern''s Shell' / the target\nEXPTIME = 300.5\r\nSTACKCNT=24\n\
                    MIRROR = T\nstacked on a calm night\nFILTER = OIII / 3 nm\nEND";
        let cards = cards(text);
        let values: Vec<_> = cards
            .iter()
            .map(|card| (card.keyword.as_str(), card.value.clone()))
            .collect();
        assert_eq!(
            values,
            [
                ("OBJECT", Some(Value::Text("Lantern's Shell".to_owned()))),
                ("EXPTIME", Some(Value::Real(300.5))),
                ("STACKCNT", Some(Value::Integer(24))),
                ("MIRROR", Some(Value::Logical(true))),
                ("COMMENT", None),
                ("FILTER", Some(Value::Text("OIII".to_owned()))),
            ]
        );
        assert_eq!(cards[0].comment, "the target");
        assert_eq!(cards[4].comment, "stacked on a calm night");
    }

    #[test]
    fn lower_case_keys_and_data_are_only_text() {
        for text in [
            "{\"shape\": [4, 4]}",
            "min=3",
            "a longer key = 4",
            "=5",
            "'",
        ] {
            let cards = cards(text);
            assert_eq!(cards.len(), 1, "{text}");
            assert_eq!(cards[0].keyword, "COMMENT", "{text}");
        }
        assert!(cards(" \0\n").is_empty());
        assert_eq!(
            cards("K = 'open")[0].value,
            Some(Value::Text("open".to_owned()))
        );
    }

    #[test]
    fn dates_take_the_fits_form() {
        assert_eq!(
            date("2026:03:01 22:15:09\0").as_deref(),
            Some("2026-03-01T22:15:09")
        );
        assert_eq!(date("2026:03:01"), None);
        assert_eq!(date("yesterday at ten pm"), None);
    }
}
