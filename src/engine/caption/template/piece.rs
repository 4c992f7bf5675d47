//! The texts of a template: read once, filled for each picture.

use super::Mistake;
use super::values::{self, Value, Values};
use super::vocabulary::Words;

/// A part of a text.
#[derive(Debug, Clone)]
pub enum Piece {
    Text(String),
    /// A value, and what is done to it.
    Show(String, Vec<String>),
    /// The items of a list, joined by the words of that name, or not at all.
    Each(String, Option<String>, Vec<Piece>),
    /// One text where a value is there, another where it is not.
    If(bool, String, Vec<Piece>, Vec<Piece>),
}

/// What can be done to a value besides choosing the form of a word by it.
pub const FILTERS: [&str; 3] = ["number", "capital", "sentence"];

enum Token {
    Text(String),
    Tag(String),
}

/// Reads a text.
pub fn parse(text: &str, words: &Words) -> Result<Vec<Piece>, Mistake> {
    let tokens = tokens(text)?;
    let mut reader = Reader {
        tokens: &tokens,
        next: 0,
        words,
        lists: Vec::new(),
    };
    let (pieces, end) = reader.until_end()?;
    match end {
        None => Ok(pieces),
        Some(tag) => Err(Mistake {
            at: format!("{{{tag}}}"),
            what: format!("{{{tag}}} ends nothing"),
            hint: "it goes with {if ...}, {list ...} or {each ...}".to_owned(),
        }),
    }
}

fn tokens(text: &str) -> Result<Vec<Token>, Mistake> {
    let fail = |at: &str, what: &str| Mistake {
        at: at.to_owned(),
        what: what.to_owned(),
        hint: "write {{ and }} for braces themselves".to_owned(),
    };
    let mut out = Vec::new();
    let mut plain = String::new();
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        if rest.starts_with("{{") || rest.starts_with("}}") {
            plain.push(c);
            rest = &rest[2..];
        } else if c == '{' {
            let end = rest
                .find('}')
                .ok_or_else(|| fail(rest.lines().next().unwrap_or(rest), "a { is never closed"))?;
            out.push(Token::Text(std::mem::take(&mut plain)));
            out.push(Token::Tag(rest[1..end].to_owned()));
            rest = &rest[end + 1..];
        } else if c == '}' {
            return Err(fail(
                rest.lines().next().unwrap_or(rest),
                "a } closes nothing",
            ));
        } else {
            plain.push(c);
            rest = &rest[c.len_utf8()..];
        }
    }
    out.push(Token::Text(plain));
    Ok(out)
}

struct Reader<'a> {
    tokens: &'a [Token],
    next: usize,
    words: &'a Words,
    // The lists that are open, from the outermost.
    lists: Vec<String>,
}

// Loops within loops deeper than this are a mistake, or worse.
const DEEPEST: usize = 16;

impl Reader<'_> {
    // Up to an `else` or an `end`, which is given back, or to the end.
    fn until_end(&mut self) -> Result<(Vec<Piece>, Option<String>), Mistake> {
        let mut pieces = Vec::new();
        while let Some(token) = self.tokens.get(self.next) {
            self.next += 1;
            match token {
                Token::Text(text) => pieces.push(Piece::Text(flowing(text))),
                Token::Tag(tag) => {
                    let parts: Vec<&str> = tag.split_whitespace().collect();
                    match parts[..] {
                        ["end"] | ["else"] => return Ok((pieces, Some(parts[0].to_owned()))),
                        ["if", "not", name] => pieces.push(self.condition(tag, name, true)?),
                        ["if", name] => pieces.push(self.condition(tag, name, false)?),
                        ["list", name] => pieces.push(self.list(tag, name, Some("list"))?),
                        ["list", name, "by", join] => {
                            pieces.push(self.list(tag, name, Some(join))?);
                        }
                        ["each", name] => pieces.push(self.list(tag, name, None)?),
                        [_] => pieces.push(self.show(tag)?),
                        _ => {
                            return Err(wrong(
                                tag,
                                "is not understood",
                                "write {name}, {name|filter}, {if name}, {if not name}, \
                                 {list name}, {list name by join}, {each name}, {else} or {end}",
                            ));
                        }
                    }
                }
            }
        }
        Ok((pieces, None))
    }

    fn show(&self, tag: &str) -> Result<Piece, Mistake> {
        let mut parts = tag.trim().split('|');
        let name = parts.next().unwrap_or_default();
        self.known(tag, name, &["text", "number"])?;
        let filters: Vec<String> = parts.map(str::to_owned).collect();
        for filter in &filters {
            if !FILTERS.contains(&filter.as_str()) && !self.words.forms.contains_key(filter) {
                let forms = self.words.forms.keys().map(String::as_str);
                let known: Vec<&str> = FILTERS.into_iter().chain(forms).collect();
                return Err(wrong(
                    tag,
                    &format!("has the unknown filter `{filter}`"),
                    &format!("the filters and forms are {}", known.join(", ")),
                ));
            }
        }
        Ok(Piece::Show(name.to_owned(), filters))
    }

    fn condition(&mut self, tag: &str, name: &str, not: bool) -> Result<Piece, Mistake> {
        self.known(tag, name, &["text", "number", "flag", "list"])?;
        self.deeper(tag)?;
        let (then, mut end) = self.until_end()?;
        let mut otherwise = Vec::new();
        if end.as_deref() == Some("else") {
            (otherwise, end) = self.until_end()?;
        }
        self.closed(tag, end)?;
        self.lists.pop();
        Ok(Piece::If(not, name.to_owned(), then, otherwise))
    }

    fn list(&mut self, tag: &str, name: &str, join: Option<&str>) -> Result<Piece, Mistake> {
        self.known(tag, name, &["list"])?;
        if let Some(join) = join.filter(|join| *join != "list")
            && !self.words.joins.contains_key(join)
        {
            let known: Vec<&str> = self.words.joins.keys().map(String::as_str).collect();
            return Err(wrong(
                tag,
                &format!("joins by `{join}`, which is not in [joins]"),
                &format!("there are {}", known.join(", ")),
            ));
        }
        self.deeper(tag)?;
        if let Some(open) = self.lists.last_mut() {
            name.clone_into(open);
        }
        let (body, end) = self.until_end()?;
        self.closed(tag, end)?;
        self.lists.pop();
        Ok(Piece::Each(name.to_owned(), join.map(str::to_owned), body))
    }

    // Conditions count as levels too; they open no list.
    fn deeper(&mut self, tag: &str) -> Result<(), Mistake> {
        self.lists.push(String::new());
        if self.lists.len() > DEEPEST {
            return Err(wrong(tag, "lies too deep in others", "write it flatter"));
        }
        Ok(())
    }

    fn closed(&self, tag: &str, end: Option<String>) -> Result<(), Mistake> {
        match end.as_deref() {
            Some("end") => Ok(()),
            Some(_) => Err(wrong(tag, "has one {else} too many", "leave one")),
            None => Err(wrong(tag, "has no {end}", "add {end} where it ends")),
        }
    }

    // Whether a name is known here and of a kind that goes here.
    fn known(&self, tag: &str, name: &str, kinds: &[&str]) -> Result<(), Mistake> {
        let levels = || {
            std::iter::once("").chain(
                self.lists
                    .iter()
                    .map(String::as_str)
                    .filter(|l| !l.is_empty()),
            )
        };
        let here = || {
            levels()
                .flat_map(values::known)
                .filter(|(_, kind)| kinds.contains(kind))
                .map(|(name, _)| *name)
        };
        if here().any(|known| known == name) {
            return Ok(());
        }
        let mut names: Vec<&str> = here().collect();
        names.sort_unstable();
        names.dedup();
        Err(wrong(
            tag,
            "is not known",
            &format!("what can stand here: {}", names.join(", ")),
        ))
    }
}

fn wrong(tag: &str, what: &str, hint: &str) -> Mistake {
    Mistake {
        at: format!("{{{tag}}}"),
        what: format!("{{{tag}}} {what}"),
        hint: hint.to_owned(),
    }
}

// Line ends are blanks, empty lines paragraphs: seen here and not in what is
// filled in, so that a line whose places stay empty parts nothing.
fn flowing(text: &str) -> String {
    let lines: Vec<&str> = text.split('\n').collect();
    let mut out = String::new();
    for (i, line) in lines.iter().enumerate() {
        // The ends of a text may be the middle of a line.
        let whole = i > 0 && i + 1 < lines.len();
        if whole && line.trim().is_empty() {
            out.push_str("\n\n");
        } else {
            if i > 0 {
                out.push(' ');
            }
            out.push_str(line);
        }
    }
    out
}

/// Fills a text.
pub fn fill(pieces: &[Piece], values: &Values, words: &Words) -> String {
    let mut out = String::new();
    write(pieces, &[values], words, &mut out);
    out
}

// `levels`: the values of the picture, then those of the items of open lists.
fn write(pieces: &[Piece], levels: &[&Values], words: &Words, out: &mut String) {
    let find = |name: &str| levels.iter().rev().find_map(|values| values.get(name));
    for piece in pieces {
        match piece {
            Piece::Text(text) => out.push_str(text),
            Piece::Show(name, filters) => out.push_str(&shown(find(name), filters, words)),
            Piece::If(not, name, then, otherwise) => {
                let there = find(name).is_some_and(Value::is_there);
                let chosen = if there != *not { then } else { otherwise };
                write(chosen, levels, words, out);
            }
            Piece::Each(name, join, body) => {
                let Some(Value::List(items)) = find(name) else {
                    continue;
                };
                let filled: Vec<String> = items
                    .iter()
                    .map(|item| {
                        let mut text = String::new();
                        let inner: Vec<&Values> = levels.iter().copied().chain([item]).collect();
                        write(body, &inner, words, &mut text);
                        text
                    })
                    .collect();
                match join {
                    Some(join) => out.push_str(&words.join(&filled, join)),
                    None => out.push_str(&filled.concat()),
                }
            }
        }
    }
}

fn shown(value: Option<&Value>, filters: &[String], words: &Words) -> String {
    let number = match value {
        Some(Value::Number(number)) => Some(*number),
        _ => None,
    };
    let mut text = match value {
        Some(Value::Text(text)) => text.clone(),
        Some(Value::Number(number)) => words.number(*number, 0),
        _ => String::new(),
    };
    for filter in filters {
        text = match filter.as_str() {
            "number" => number.map_or(text, |number| words.spelled(number)),
            "capital" => {
                let mut chars = text.chars();
                chars.next().map_or_else(String::new, |first| {
                    first.to_uppercase().chain(chars).collect()
                })
            }
            "sentence" if text.is_empty() || text.ends_with(['.', '!', '?', '…', '。']) => text,
            "sentence" => text + ".",
            form => number.map_or(text, |number| words.form(form, number)),
        };
    }
    text
}
