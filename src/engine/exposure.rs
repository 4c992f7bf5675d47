//! How long a stack was exposed, as far as its header tells.

use super::header::Header;

/// Total exposure and where it is known from.
#[derive(Debug, Clone, PartialEq)]
pub struct Exposure {
    /// Seconds in all; None where the header is silent.
    pub seconds: Option<f64>,
    /// The keyword, in words.
    pub why: String,
    /// What should be settled by a person.
    pub doubt: Option<String>,
}

// XPOSURE is the standard's own word for the effective exposure (FITS 4.0,
// section 9); the others are used for totals only.
const TOTALS: [&str; 3] = ["XPOSURE", "TOTALEXP", "LIVETIME"];
// Used for one frame by cameras and for the total by some stackers.
const EITHER: [&str; 2] = ["EXPTIME", "EXPOSURE"];
const COUNTS: [&str; 3] = ["NCOMBINE", "STACKCNT", "NSUBEXP"];

/// Reads the exposure of a stack in seconds.
pub fn exposure(header: &Header) -> Exposure {
    let first = |keywords: &[&'static str]| {
        keywords.iter().copied().find_map(|keyword| {
            header
                .number(keyword)
                .filter(|value| *value > 0.0)
                .map(|value| (keyword, value))
        })
    };
    if let Some((keyword, seconds)) = first(&TOTALS) {
        return Exposure {
            seconds: Some(seconds),
            why: keyword.to_owned(),
            doubt: None,
        };
    }
    let Some((keyword, seconds)) = first(&EITHER) else {
        return Exposure {
            seconds: None,
            why: "not in the header".to_owned(),
            doubt: None,
        };
    };
    let doubt = first(&COUNTS)
        .filter(|(_, count)| *count > 1.0)
        .map(|(count_keyword, count)| {
            format!(
                "{keyword} = {seconds} s and {count_keyword} = {count}: the total may be {} s; \
                 set `exposure_s` to settle it",
                seconds * count
            )
        });
    // In doubt the total is not known: a person settles it.
    Exposure {
        seconds: doubt.is_none().then_some(seconds),
        why: keyword.to_owned(),
        doubt,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::header::{Card, Value};

    fn header(cards: &[(&str, Value)]) -> Header {
        let cards = cards
            .iter()
            .map(|(keyword, value)| Card {
                keyword: (*keyword).to_owned(),
                value: Some(value.clone()),
                comment: String::new(),
            })
            .collect();
        Header {
            cards,
            inherited: Vec::new(),
        }
    }

    #[test]
    fn totals_come_first_and_doubt_is_told() {
        let both = header(&[
            ("EXPTIME", Value::Integer(300)),
            ("XPOSURE", Value::Real(24000.0)),
        ]);
        assert_eq!(exposure(&both).seconds, Some(24000.0));
        let single = header(&[("EXPOSURE", Value::Text("300".into()))]);
        assert_eq!(
            exposure(&single),
            Exposure {
                seconds: Some(300.0),
                why: "EXPOSURE".into(),
                doubt: None
            }
        );
        let counted = header(&[
            ("EXPTIME", Value::Integer(300)),
            ("NCOMBINE", Value::Integer(80)),
        ]);
        let counted = exposure(&counted);
        assert_eq!(counted.seconds, None);
        assert!(counted.doubt.expect("doubt").contains("24000 s"));
        assert_eq!(
            exposure(&header(&[("EXPTIME", Value::Integer(0))])).seconds,
            None
        );
    }
}
