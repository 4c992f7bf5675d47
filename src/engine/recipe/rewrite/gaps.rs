//! What stands between the values of an array, and between the keys of a table
//! in braces: blanks, line ends, comments. A comment on the line of a value
//! belongs to it, one on lines of its own to the value below.

use std::collections::BTreeMap;

use toml_edit::{Array, Decor, InlineTable, RawString, Value};

// What belongs to one value: what stands before it on its own lines, and what
// follows it on its line.
#[derive(Debug, Clone, Default)]
struct Gap {
    lead: String,
    tail: String,
}

// Cuts what stands before each value, and behind the last, at the first line
// end: what comes before that belongs to the value above. The second part is
// what stands before the closing bracket on lines of its own.
fn cut(befores: &[String], behind: &str) -> (Vec<Gap>, String) {
    let split = |text: &str| match text.find('\n') {
        Some(at) => (text[..at].to_owned(), text[at..].to_owned()),
        None => (String::new(), text.to_owned()),
    };
    let mut gaps: Vec<Gap> = Vec::new();
    for before in befores {
        let lead = match gaps.last_mut() {
            Some(above) => {
                let (tail, lead) = split(before);
                above.tail = tail;
                lead
            }
            None => before.clone(),
        };
        gaps.push(Gap {
            lead,
            tail: String::new(),
        });
    }
    let rest = match gaps.last_mut() {
        Some(last) => {
            let (tail, rest) = split(behind);
            last.tail = tail;
            rest
        }
        None => behind.to_owned(),
    };
    (gaps, rest)
}

// And puts them together again: what stands before each value, and behind the
// last.
fn joined(gaps: &[Gap], rest: &str) -> (Vec<String>, String) {
    let mut tail = String::new();
    let mut befores = Vec::new();
    for gap in gaps {
        let broken = !tail.is_empty() && !gap.lead.starts_with('\n');
        let line_end = if broken { "\n" } else { "" };
        befores.push(format!("{tail}{line_end}{}", gap.lead));
        tail.clone_from(&gap.tail);
    }
    let broken = tail.contains('#') && !rest.starts_with('\n');
    let line_end = if broken { "\n" } else { "" };
    (befores, format!("{tail}{line_end}{rest}"))
}

// A new value among others stands as they do: on a line of its own, as far in.
fn like(others: &[Gap]) -> Gap {
    let lead = others.last().map_or("", |gap| &gap.lead);
    let lead = match lead.rfind('\n') {
        Some(at) => {
            let blanks = lead[at..].chars();
            blanks.take_while(|c| c.is_whitespace()).collect()
        }
        None => " ".to_owned(),
    };
    Gap {
        lead,
        tail: String::new(),
    }
}

fn words(raw: Option<&RawString>) -> String {
    raw.and_then(RawString::as_str)
        .unwrap_or_default()
        .to_owned()
}

// What stands between a value and the comma or bracket after it.
fn suffix(decor: &Decor) -> String {
    words(decor.suffix())
}

/// Other rows in an array, each with the place that it had, if it had one.
pub(super) fn fill_array(own: &mut Array, rows: Vec<(Option<usize>, Value)>) {
    let unchanged = rows.len() == own.len()
        && rows
            .iter()
            .enumerate()
            .all(|(at, (was, _))| *was == Some(at));
    if unchanged {
        for (at, (_, row)) in rows.into_iter().enumerate() {
            own.replace_formatted(at, row);
        }
        return;
    }
    let befores: Vec<String> = own.iter().map(|v| words(v.decor().prefix())).collect();
    // Without a comma at the end, what follows the last value is its own.
    let last = own.iter().last().map(|value| suffix(value.decor()));
    let behind = format!(
        "{}{}",
        last.unwrap_or_default(),
        words(Some(own.trailing()))
    );
    let (gaps, rest) = cut(&befores, &behind);
    let on_lines = befores.iter().any(|before| before.contains('\n')) || rest.contains('\n');
    let gaps: Vec<Gap> = rows
        .iter()
        .map(|(was, _)| match was {
            Some(was) => gaps[*was].clone(),
            None => like(&gaps),
        })
        .collect();
    let (mut befores, behind) = joined(&gaps, &rest);
    if !on_lines && let Some(first) = befores.first_mut() {
        first.clear();
    }
    own.clear();
    for (before, (_, mut row)) in befores.iter().zip(rows) {
        *row.decor_mut() = Decor::new(before.as_str(), "");
        own.push_formatted(row);
    }
    own.set_trailing(if on_lines { behind } else { String::new() });
    own.set_trailing_comma(on_lines);
}

/// An edit of a table in braces that takes keys away or adds some: blanks and
/// comments stay with the keys that they belong to.
pub(super) fn keep_in_table(own: &mut InlineTable, edit: impl FnOnce(&mut InlineTable)) {
    let keys =
        |own: &InlineTable| -> Vec<String> { own.iter().map(|(key, _)| key.to_owned()).collect() };
    let before = |own: &InlineTable, key: &str| {
        words(own.key(key).and_then(|key| key.leaf_decor().prefix()))
    };
    let old = keys(own);
    let befores: Vec<String> = old.iter().map(|key| before(own, key)).collect();
    let last = own.iter().last().map(|(_, value)| suffix(value.decor()));
    let behind = format!(
        "{}{}",
        last.unwrap_or_default(),
        words(Some(own.trailing()))
    );
    edit(own);
    let new = keys(own);
    if new == old {
        return;
    }
    let on_lines = befores.iter().any(|before| before.contains('\n')) || behind.contains('\n');
    if !on_lines {
        own.fmt();
        own.set_trailing("");
        own.set_trailing_comma(false);
        return;
    }
    let (gaps, rest) = cut(&befores, &behind);
    let known: BTreeMap<&String, &Gap> = old.iter().zip(&gaps).collect();
    let gaps: Vec<Gap> = new
        .iter()
        .map(|key| {
            known
                .get(key)
                .map_or_else(|| like(&gaps), |gap| (*gap).clone())
        })
        .collect();
    let (befores, behind) = joined(&gaps, &rest);
    for (key, before) in new.iter().zip(befores) {
        if let Some(mut key) = own.key_mut(key) {
            key.leaf_decor_mut().set_prefix(before);
        }
        if let Some(value) = own.get_mut(key) {
            value.decor_mut().set_suffix("");
        }
    }
    own.set_trailing(behind);
    own.set_trailing_comma(true);
}
