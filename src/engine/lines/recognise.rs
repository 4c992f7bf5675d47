//! Which line a picture was taken in, from its header and its file's name.

mod known;

mod reading;

use self::reading::{Place, Reading, is_open, read};
use super::table::line;
use crate::engine::header::Header;

/// What could be made of a filter's name.
#[derive(Debug, Clone, PartialEq)]
pub enum Recognition {
    /// One line.
    Known {
        /// Its id in the line table.
        line: String,
        /// The centre of the passband in nm, where the name states one finer
        /// than to a whole nanometre.
        center_nm: Option<f64>,
        /// The full width at half maximum, where the name states one, nm.
        width_nm: Option<f64>,
        /// What said so, as a sentence without its full stop.
        why: String,
    },
    /// More than one line: the user decides.
    Ambiguous {
        /// Their ids, in the table's order.
        candidates: Vec<String>,
        /// What said so.
        why: String,
    },
    /// No line.
    Unknown {
        /// What was looked at.
        why: String,
    },
}

impl Recognition {
    /// The line, where there is one.
    pub fn line(&self) -> Option<&str> {
        match self {
            Self::Known { line, .. } => Some(line),
            _ => None,
        }
    }

    /// What the answer rests on.
    pub fn why(&self) -> &str {
        match self {
            Self::Known { why, .. } | Self::Ambiguous { why, .. } | Self::Unknown { why } => why,
        }
    }
}

/// Which line a picture was taken in.
///
/// The header's filter keywords count first (none is reserved by the FITS
/// standard, so their text is free): FILTER and FILTERn, FILTERID, FILTNAM and
/// FILTNAMn, INSFILTE, BAND, `ESO INS FILTn NAME`. Empty slots of a second
/// wheel are passed over. The file's name helps where the header is silent or
/// says nothing that can be understood, and `why` says so. Where both are
/// clear and disagree, the answer is [`Recognition::Ambiguous`].
///
/// `file_name` may carry folders; they are not looked at.
pub fn recognise(header: &Header, file_name: &str) -> Recognition {
    let name = file_name.rsplit(['/', '\\']).next().unwrap_or(file_name);
    let from_name = read(name, Place::FileName);
    match from_header(header) {
        None => alone(from_name, name),
        Some((from_header, said)) => together(from_header, &said, from_name, name),
    }
}

/// The keywords that may name a filter, in the order in which they count.
fn filter_texts(header: &Header) -> Vec<(String, String)> {
    let numbered = |keyword: &str, stem: &str| {
        keyword
            .strip_prefix(stem)
            .is_some_and(|rest| rest.chars().all(|c| c.is_ascii_digit()))
    };
    let rank = |keyword: &str| match keyword {
        "FILTER" => Some(0),
        _ if numbered(keyword, "FILTER") => Some(1),
        _ if numbered(keyword, "FILTNAM") => Some(2),
        "INSFILTE" => Some(3),
        _ if keyword.ends_with(" NAME") && keyword.starts_with("ESO INS FILT") => Some(4),
        "FILTERID" => Some(5),
        "BAND" => Some(6),
        _ => None,
    };
    let mut keywords: Vec<(i32, &str)> = [&header.cards, &header.inherited]
        .into_iter()
        .flatten()
        .filter_map(|card| Some((rank(&card.keyword)?, card.keyword.as_str())))
        .collect();
    keywords.sort();
    keywords.dedup();
    keywords
        .into_iter()
        .filter_map(|(_, keyword)| Some((keyword.to_owned(), header.text(keyword)?)))
        .collect()
}

/// The header's answer, and what it rests on; None where it is silent.
fn from_header(header: &Header) -> Option<(Reading, String)> {
    let mut texts = filter_texts(header);
    if texts.iter().any(|(_, text)| !is_open(text)) {
        texts.retain(|(_, text)| !is_open(text));
    }
    let readings: Vec<(Reading, String)> = texts
        .iter()
        .map(|(keyword, text)| {
            (
                read(text, Place::Header),
                format!("{keyword} says `{text}`"),
            )
        })
        .collect();
    let mut telling = readings
        .iter()
        .filter(|(reading, _)| !reading.lines.is_empty());
    let Some((first, said)) = telling.next() else {
        return readings.into_iter().next();
    };
    let (mut whole, mut said) = (first.clone(), said.clone());
    for (other, other_said) in telling {
        if other.lines != whole.lines {
            whole.lines.extend(other.lines.iter().copied());
            said = format!("{said}, {other_said}");
        }
        whole.center_nm = whole.center_nm.or(other.center_nm);
        whole.width_nm = whole.width_nm.or(other.width_nm);
    }
    Some((whole.in_order(), said))
}

fn alone(reading: Reading, name: &str) -> Recognition {
    let why = match reading.lines.len() {
        0 => format!(
            "the header names no filter, and the file's name, `{name}`, names no line{}",
            reading.remark()
        ),
        _ => format!(
            "the header names no filter; the file's name is `{name}`{}",
            reading.remark()
        ),
    };
    reading.into_recognition(why)
}

fn together(header: Reading, said: &str, name: Reading, file: &str) -> Recognition {
    match (header.lines.as_slice(), name.lines.as_slice()) {
        ([a], [b]) if a != b => Reading {
            lines: vec![a, b],
            ..Reading::default()
        }
        .in_order()
        .into_recognition(format!(
            "{said}{}, which is {}, but the file's name, `{file}`, says {}",
            header.remark(),
            symbol(a),
            symbol(b)
        )),
        ([_], _) => {
            let width_nm = header.width_nm.or(match name.lines.as_slice() {
                [_] => name.width_nm,
                _ => None,
            });
            let why = format!("{said}{}", header.remark());
            Reading { width_nm, ..header }.into_recognition(why)
        }
        ([], []) => {
            let why = format!(
                "{said}{}, which names no line, and neither does the file's name, `{file}`",
                header.remark()
            );
            header.into_recognition(why)
        }
        ([], _) => {
            let why = format!(
                "{said}{}, which names no line; the file's name is `{file}`{}",
                header.remark(),
                name.remark()
            );
            name.into_recognition(why)
        }
        _ => {
            let why = format!("{said}{}", header.remark());
            header.into_recognition(why)
        }
    }
}

fn symbol(id: &str) -> &str {
    line(id).map_or(id, |line| line.symbol.as_str())
}

#[cfg(test)]
mod tests;
