//! Header cards as plain data: what a file says about itself.

/// The value of a card.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A quoted string, quotes undoubled, trailing blanks gone, CONTINUE joined.
    Text(String),
    /// A whole number.
    Integer(i64),
    /// A number with a point or an exponent.
    Real(f64),
    /// T or F.
    Logical(bool),
    /// Something that is none of these, verbatim.
    Other(String),
}

/// One card, or for TIFF and PNG one tag that has a FITS meaning.
#[derive(Debug, Clone, PartialEq)]
pub struct Card {
    /// Upper case; HIERARCH keywords joined by blanks (`ESO INS FILT1 NAME`).
    pub keyword: String,
    /// None for COMMENT, HISTORY and blank cards and for undefined values.
    pub value: Option<Value>,
    /// The comment; for COMMENT and HISTORY the text.
    pub comment: String,
}

/// All cards that hold for a picture.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Header {
    /// The cards of the picture's own header, in file order.
    pub cards: Vec<Card>,
    /// Where the picture lies in an extension: the cards of the primary header,
    /// which hold where its own are silent.
    pub inherited: Vec<Card>,
}

impl Header {
    /// The value of `keyword`; of repeated cards in one header the last counts.
    pub fn get(&self, keyword: &str) -> Option<&Value> {
        [&self.cards, &self.inherited]
            .into_iter()
            .find_map(|cards| {
                cards
                    .iter()
                    .rev()
                    .find(|card| card.keyword == keyword && card.value.is_some())
                    .and_then(|card| card.value.as_ref())
            })
    }

    /// A value as a number: integers, reals, and strings that hold one.
    pub fn number(&self, keyword: &str) -> Option<f64> {
        match self.get(keyword)? {
            Value::Integer(value) => Some(*value as f64),
            Value::Real(value) => Some(*value),
            Value::Text(text) | Value::Other(text) => text.trim().replace(',', ".").parse().ok(),
            Value::Logical(_) => None,
        }
        .filter(|value: &f64| value.is_finite())
    }

    /// A value as text, trimmed; None where it is empty.
    pub fn text(&self, keyword: &str) -> Option<String> {
        let text = match self.get(keyword)? {
            Value::Text(text) | Value::Other(text) => text.trim().to_owned(),
            Value::Integer(value) => value.to_string(),
            Value::Real(value) => value.to_string(),
            Value::Logical(value) => if *value { "T" } else { "F" }.to_owned(),
        };
        (!text.is_empty()).then_some(text)
    }
}
