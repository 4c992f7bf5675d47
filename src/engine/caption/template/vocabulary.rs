//! The words of one language: how lists, numbers, times and dates are written,
//! and what colours, places and lines are called.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::super::facts::Day;
use super::super::tidy;
use super::{Mistake, Template};
use crate::engine::lines;

/// Everything of a template but its three texts.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Words {
    pub language: String,
    pub unnamed: String,
    pub kinds: Kinds,
    #[serde(default)]
    pub joins: BTreeMap<String, [String; 2]>,
    #[serde(default)]
    pub forms: BTreeMap<String, Vec<[String; 2]>>,
    #[serde(default)]
    pub numbers: Numbers,
    #[serde(default)]
    pub durations: Names,
    #[serde(default)]
    pub dates: Dates,
    #[serde(default)]
    pub colors: Names,
    #[serde(default)]
    pub brightness: Names,
    #[serde(default)]
    pub places: Names,
    #[serde(default)]
    pub ways: Names,
    #[serde(default)]
    pub stars: Names,
    #[serde(default)]
    pub lines: Names,
    // Read apart, with their places.
    #[expect(dead_code, reason = "known here, so that they are no unknown keys")]
    short: Vec<String>,
    #[expect(dead_code, reason = "as above")]
    long: String,
    #[expect(dead_code, reason = "as above")]
    alt: String,
}

type Names = BTreeMap<String, String>;

/// What the colours of a picture are, as a phrase.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Kinds {
    pub natural: String,
    pub mapped: String,
    pub partly: String,
    pub grey: String,
}

/// How numbers are written.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Numbers {
    pub decimal: String,
    pub words: Vec<String>,
}

impl Default for Numbers {
    fn default() -> Self {
        Self {
            decimal: ".".to_owned(),
            words: Vec::new(),
        }
    }
}

/// How dates are written; without months, as yyyy-mm-dd.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Dates {
    pub day: String,
    pub months: Vec<String>,
}

const COLORS: [&str; 9] = [
    "red", "orange", "yellow", "green", "cyan", "blue", "purple", "magenta", "white",
];
const BRIGHTNESS: [&str; 4] = ["very-dark", "dark", "medium", "bright"];
const PLACES: [&str; 10] = [
    "upper-left",
    "top",
    "upper-right",
    "left",
    "centre",
    "right",
    "lower-left",
    "bottom",
    "lower-right",
    "throughout",
];
const WAYS: [&str; 13] = [
    "stars",
    "wcs",
    "given",
    "linear",
    "asinh",
    "log",
    "power",
    "bias",
    "hand",
    "average-star",
    "one-star",
    "patch",
    "catalogue",
];
const STARS: [&str; 3] = ["neutral", "broadband", "none"];
const DURATIONS: [&str; 3] = ["hours", "minutes", "seconds"];
// A phrase of this length leaves room for the rest of a short caption.
const LONGEST_KIND: usize = 120;

impl Words {
    /// Whether everything in it is known and makes sense.
    pub(super) fn check(&self) -> Result<(), Mistake> {
        let tag = |c: char| c.is_ascii_alphanumeric() || c == '-';
        if self.language.is_empty() || !self.language.chars().all(tag) {
            return mistake(
                "language",
                "`language` is no language tag",
                "write one such as \"en\" or \"de-AT\"",
            );
        }
        if tidy::words(&self.unnamed).chars().count() > LONGEST_KIND {
            return mistake(
                "unnamed",
                "`unnamed` is too long",
                "use at most 120 characters",
            );
        }
        for (key, kind) in [
            ("natural", &self.kinds.natural),
            ("mapped", &self.kinds.mapped),
            ("partly", &self.kinds.partly),
            ("grey", &self.kinds.grey),
        ] {
            let length = tidy::words(kind).chars().count();
            if length == 0 || length > LONGEST_KIND {
                return mistake(
                    key,
                    &format!("kinds.{key} has {length} characters"),
                    "use 1 to 120: it must fit into every short caption",
                );
            }
        }
        for (table, names, known) in [
            ("durations", &self.durations, &DURATIONS[..]),
            ("colors", &self.colors, &COLORS),
            ("brightness", &self.brightness, &BRIGHTNESS),
            ("places", &self.places, &PLACES),
            ("ways", &self.ways, &WAYS),
            ("stars", &self.stars, &STARS),
        ] {
            if let Some(key) = names.keys().find(|key| !known.contains(&key.as_str())) {
                return mistake(
                    key,
                    &format!("{table}.{key} is not known"),
                    &format!("{table} takes {}", known.join(", ")),
                );
            }
        }
        if let Some(id) = self.lines.keys().find(|id| lines::line(id).is_none()) {
            let ids: Vec<&str> = lines::lines().iter().map(|line| line.id.as_str()).collect();
            return mistake(
                id,
                &format!("lines.{id} is no line"),
                &format!("the lines are {}", ids.join(", ")),
            );
        }
        if !matches!(self.dates.months.len(), 0 | 12) {
            return mistake(
                "months",
                "dates.months must hold twelve names",
                "or leave it out",
            );
        }
        for (name, forms) in &self.forms {
            if super::piece::FILTERS.contains(&name.as_str()) {
                return mistake(
                    name,
                    &format!("forms.{name} is a filter's name"),
                    "choose another",
                );
            }
            if let Some([pattern, _]) = forms
                .iter()
                .find(|[pattern, _]| Pattern::parse(pattern).is_none())
            {
                return mistake(
                    pattern,
                    &format!("forms.{name}: `{pattern}` is no pattern"),
                    "write \"1\", \"2-4\", \"*1\" (ends in), \"*12-14\" or \"other\"",
                );
            }
            if !forms.iter().any(|[pattern, _]| pattern == "other") {
                return mistake(
                    name,
                    &format!("forms.{name} has no \"other\""),
                    "add it at the end",
                );
            }
        }
        Ok(())
    }

    /// Joins a list, by the words of `join` or by `list`.
    pub fn join(&self, items: &[String], join: &str) -> String {
        let [between, last] = self
            .joins
            .get(join)
            .map_or([", ", ", "], |[between, last]| [between, last]);
        match items {
            [] => String::new(),
            [only] => only.clone(),
            [most @ .., end] => format!("{}{last}{end}", most.join(between)),
        }
    }

    /// The form of a word that goes with a number.
    pub fn form(&self, name: &str, number: f64) -> String {
        let forms = self.forms.get(name).map_or(&[][..], Vec::as_slice);
        forms
            .iter()
            .find(|[pattern, _]| Pattern::parse(pattern).is_some_and(|p| p.fits(number)))
            .map(|[_, word]| word.clone())
            .unwrap_or_default()
    }

    /// A number with at most `decimals` digits after the point, none in vain.
    pub fn number(&self, value: f64, decimals: usize) -> String {
        let mut text = format!("{value:.decimals$}");
        if text.contains('.') {
            text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
        }
        text.replace('.', &self.numbers.decimal)
    }

    /// A number as a word where there is one.
    pub fn spelled(&self, value: f64) -> String {
        let index = (value >= 0.0 && value == value.trunc()).then_some(value as usize);
        index
            .and_then(|index| self.numbers.words.get(index))
            .cloned()
            .unwrap_or_else(|| self.number(value, 0))
    }

    /// An exposure: `6 h 40 min`, `1 min 30 s`, `0.5 s`.
    pub fn duration(&self, seconds: f64) -> String {
        let unit = |key: &str| self.name(|words| &words.durations, key);
        if seconds < 10.0 {
            return format!("{} {}", self.number(seconds, 1), unit("seconds"));
        }
        // Below ten minutes to the second, above to the minute.
        let whole = if seconds < 599.5 {
            seconds.round() as u64
        } else {
            60 * (seconds / 60.0).round() as u64
        };
        let parts = [
            (whole / 3600, "hours"),
            (whole / 60 % 60, "minutes"),
            (whole % 60, "seconds"),
        ];
        let written: Vec<String> = parts
            .iter()
            .filter(|(n, _)| *n > 0)
            .map(|(n, key)| format!("{n} {}", unit(key)))
            .collect();
        written.join(" ")
    }

    /// A day of the calendar.
    pub fn day(&self, day: Day) -> String {
        let Day { year, month, day } = day;
        match self.dates.months.get(usize::from(month) - 1) {
            Some(name) if !self.dates.day.is_empty() => self
                .dates
                .day
                .replace("{day}", &day.to_string())
                .replace("{month}", name)
                .replace("{year}", &format!("{year:04}")),
            _ => format!("{year:04}-{month:02}-{day:02}"),
        }
    }

    /// The word for a colour of the AVM vocabulary.
    pub fn color(&self, avm: &str) -> String {
        let key = match avm {
            "Grayscale" => "white".to_owned(),
            word => word.to_lowercase(),
        };
        self.name(|words| &words.colors, &key)
    }

    /// The language's own name of a line, where it has one.
    pub fn own_line(&self, id: &str) -> Option<&String> {
        let same = |known: &&String| known.eq_ignore_ascii_case(id);
        let key = self.lines.keys().find(same)?;
        self.lines.get(key)
    }

    /// A word of a table; English where this language lacks it.
    pub fn name(&self, table: fn(&Self) -> &Names, key: &str) -> String {
        let own = table(self).get(key);
        // English itself is whole; asking it for itself would never end.
        let found = match own {
            Some(own) => Some(own),
            None if self.language == "en" => None,
            None => table(&Template::english().words).get(key),
        };
        found.cloned().unwrap_or_else(|| key.to_owned())
    }
}

fn mistake(at: &str, what: &str, hint: &str) -> Result<(), Mistake> {
    Err(Mistake {
        at: at.to_owned(),
        what: what.to_owned(),
        hint: hint.to_owned(),
    })
}

// Which numbers a form goes with: from, to, and modulo what.
struct Pattern {
    from: u64,
    to: u64,
    modulo: Option<u64>,
}

impl Pattern {
    fn parse(text: &str) -> Option<Self> {
        if text == "other" {
            return Some(Self {
                from: 0,
                to: u64::MAX,
                modulo: None,
            });
        }
        let (ends, rest) = match text.strip_prefix('*') {
            Some(rest) => (true, rest),
            None => (false, text),
        };
        let (from, to) = rest.split_once('-').unwrap_or((rest, rest));
        let digits =
            |text: &str| (1..=9).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
        if !digits(from) || !digits(to) {
            return None;
        }
        Some(Self {
            from: from.parse().ok()?,
            to: to.parse().ok()?,
            modulo: ends.then(|| 10u64.pow(to.len() as u32)),
        })
    }

    fn fits(&self, number: f64) -> bool {
        if self.to == u64::MAX {
            return true;
        }
        if number < 0.0 || number != number.trunc() {
            return false;
        }
        let whole = number as u64;
        let whole = self.modulo.map_or(whole, |modulo| whole % modulo);
        (self.from..=self.to).contains(&whole)
    }
}
