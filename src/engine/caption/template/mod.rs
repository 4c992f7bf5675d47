//! Templates of captions: text with places to fill, and the words of one
//! language. English is one of them; `assets/captions/english.toml` explains
//! how they are written.

mod piece;

mod values;

mod vocabulary;

use serde::Deserialize;
use std::sync::OnceLock;
use toml::Spanned;

use super::facts::{Facts, Kind};
use super::{Caption, LONGEST_SHORT, tidy};
use piece::Piece;
use vocabulary::Words;

/// Words and texts of one language, ready to be filled.
#[derive(Debug, Clone)]
pub struct Template {
    words: Words,
    short: Vec<Vec<Piece>>,
    long: Vec<Piece>,
    alt: Vec<Piece>,
}

/// What is wrong with a template, where, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{origin}, line {line}: {what}")]
pub struct TemplateError {
    /// The file's name.
    pub origin: String,
    /// Counted from 1.
    pub line: usize,
    /// What is wrong.
    pub what: String,
    /// The next step.
    pub hint: String,
}

/// A mistake inside one text: what stands there, what is wrong, what to do.
#[derive(Debug)]
struct Mistake {
    at: String,
    what: String,
    hint: String,
}

impl Template {
    /// The English one.
    pub fn english() -> &'static Self {
        static ENGLISH: OnceLock<Template> = OnceLock::new();
        ENGLISH.get_or_init(|| {
            Self::parse(ENGLISH_TEXT, "english.toml").expect("a test reads this at every build")
        })
    }

    /// Reads a template. `origin` names it in messages.
    ///
    /// # Errors
    /// The first mistake: its line, what is wrong, and what is known instead.
    pub fn parse(text: &str, origin: &str) -> Result<Self, TemplateError> {
        let fail = |line: usize, what: String, hint: String| TemplateError {
            origin: origin.to_owned(),
            line,
            what,
            hint,
        };
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let in_toml = |error: toml::de::Error| {
            let line = error.span().map_or(1, |span| line_of(text, span.start));
            let what = error.message().lines().next().unwrap_or_default();
            fail(
                line,
                what.to_owned(),
                "`linehue caption --print-template` shows a whole template".to_owned(),
            )
        };
        let texts: Texts = toml::from_str(text).map_err(in_toml)?;
        let words: Words = toml::from_str(text).map_err(in_toml)?;
        if let Err(mistake) = words.check() {
            let line = line_of_word(text, &mistake.at);
            return Err(fail(line, mistake.what, mistake.hint));
        }
        let read = |source: &Spanned<String>| {
            piece::parse(source.get_ref(), &words).map_err(|mistake| {
                let span = source.span();
                let inside = text.get(span.clone()).unwrap_or_default();
                let at = span.start + inside.find(&mistake.at).unwrap_or(0);
                fail(line_of(text, at), mistake.what, mistake.hint)
            })
        };
        let short = texts.short.iter().map(read).collect::<Result<_, _>>()?;
        let (long, alt) = (read(&texts.long)?, read(&texts.alt)?);
        Ok(Self {
            words,
            short,
            long,
            alt,
        })
    }

    /// Its language tag, such as `en`.
    pub fn language(&self) -> &str {
        &self.words.language
    }

    /// Writes the captions of a picture: tidied plain text, paragraphs apart by
    /// an empty line.
    pub fn write(&self, facts: &Facts) -> Caption {
        let values = values::all(facts, &self.words);
        let fill = |pieces: &[Piece], values: &values::Values| {
            tidy::paragraphs(&piece::fill(pieces, values, &self.words))
        };
        Caption {
            short: self.short(facts, values.clone(), fill),
            long: fill(&self.long, &values),
            alt: fill(&self.alt, &values),
        }
    }

    // The first text that is short enough; else the last one with fewer words
    // of the subject, down to none; else what the colours are, alone.
    fn short(
        &self,
        facts: &Facts,
        mut values: values::Values,
        fill: impl Fn(&[Piece], &values::Values) -> String,
    ) -> String {
        let fits = |text: &str| text.chars().count() <= LONGEST_SHORT;
        for pieces in &self.short {
            let text = fill(pieces, &values).replace("\n\n", " ");
            if fits(&text) {
                return text;
            }
        }
        if let Some(briefest) = self.short.last() {
            let subject = values::subject(facts, &self.words);
            let mut end = subject.len();
            while let Some(blank) = subject[..end].rfind(' ') {
                end = blank;
                let cut = subject[..end].trim_end_matches(|c: char| !c.is_alphanumeric());
                if cut.is_empty() {
                    continue;
                }
                values.insert("subject", values::Value::Text(format!("{cut}…")));
                let text = fill(briefest, &values).replace("\n\n", " ");
                if fits(&text) {
                    return text;
                }
            }
            values.insert(
                "subject",
                values::Value::Text(tidy::words(&self.words.unnamed)),
            );
            let text = fill(briefest, &values).replace("\n\n", " ");
            if fits(&text) {
                return text;
            }
        }
        let kind = self.words.kind(facts.kind());
        format!("{}.", tidy::words(kind).trim_end_matches('.'))
    }
}

#[derive(Deserialize)]
struct Texts {
    short: Vec<Spanned<String>>,
    long: Spanned<String>,
    alt: Spanned<String>,
}

/// The text of the English template.
pub const ENGLISH_TEXT: &str = include_str!("../../../../assets/captions/english.toml");

fn line_of(text: &str, at: usize) -> usize {
    text.get(..at)
        .map_or(1, |before| before.matches('\n').count() + 1)
}

// Where a key or a quoted word stands, outside comments.
fn line_of_word(text: &str, word: &str) -> usize {
    let quoted = format!("\"{word}\"");
    let holds = |line: &str| {
        let line = line.trim_start();
        let key = line.strip_prefix(word).map(str::trim_start);
        !line.starts_with('#')
            && (key.is_some_and(|rest| rest.starts_with('=')) || line.contains(&quoted))
    };
    text.lines().position(holds).map_or(1, |line| line + 1)
}

impl Words {
    fn kind(&self, kind: Kind) -> &str {
        match kind {
            Kind::Natural => &self.kinds.natural,
            Kind::Mapped => &self.kinds.mapped,
            Kind::Partly => &self.kinds.partly,
            Kind::Grey => &self.kinds.grey,
        }
    }
}
