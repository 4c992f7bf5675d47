//! From TOML to a palette.

use std::collections::BTreeMap;

use toml::de::DeTable;
use toml::{Table, Value};

use super::{Apart, Palette, PaletteError, VERSION};
use crate::engine::lines::lines;
use crate::engine::recipe::{Blend, ColorValue, Gamut};

const KEYS: [&str; 9] = [
    "palette", "name", "about", "blend", "gamut", "needs", "every", "colors", "apart",
];

const LONGEST_NAME: usize = 60;

/// The one of `known` that `word` was perhaps meant to be.
pub(super) fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    known
        .into_iter()
        .map(|name| (strsim::jaro_winkler(&word, &name.to_lowercase()), name))
        .filter(|(likeness, _)| *likeness > 0.7)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

/// What is read, and where from, for messages.
struct Source<'a> {
    text: &'a str,
    origin: &'a str,
}

impl Source<'_> {
    /// An error about the key at the end of `path`.
    fn error(&self, path: &[&str], what: &str, hint: impl Into<String>) -> PaletteError {
        let at = match self.line_of(path) {
            Some(line) => format!("{}, line {line}", self.origin),
            None => self.origin.to_owned(),
        };
        PaletteError::new(format!("{at}: {what}"), hint)
    }

    fn line_of(&self, path: &[&str]) -> Option<usize> {
        let root = DeTable::parse(self.text).ok()?;
        let mut table = root.get_ref();
        let mut start = None;
        for key in path {
            let (spanned, value) = table.iter().find(|(k, _)| k.get_ref() == key)?;
            start = Some(spanned.span().start);
            match value.get_ref().as_table() {
                Some(inner) => table = inner,
                None => break,
            }
        }
        let before = self.text.get(..start?)?;
        Some(before.matches('\n').count() + 1)
    }

    /// Refuses keys that mean nothing, naming the nearest that does.
    fn only(&self, table: &Table, path: &[&str], known: &[&str]) -> Result<(), PaletteError> {
        for key in table.keys() {
            if !known.contains(&key.as_str()) {
                let full: Vec<&str> = path.iter().copied().chain([key.as_str()]).collect();
                let hint = match nearest(key, known.iter().copied()) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!("known here are {}", known.join(", ")),
                };
                return Err(self.error(&full, &format!("`{key}` means nothing here"), hint));
            }
        }
        Ok(())
    }

    fn words(&self, table: &Table, key: &str) -> Result<Option<String>, PaletteError> {
        match table.get(key) {
            None => Ok(None),
            Some(Value::String(text)) => Ok(Some(text.trim().to_owned())),
            Some(other) => Err(self.error(
                &[key],
                &format!("`{key}` is {}, not a text", other.type_str()),
                format!("write it in quotes: {key} = \"...\""),
            )),
        }
    }

    /// One of a few words.
    fn choice<T: Copy>(
        &self,
        table: &Table,
        key: &str,
        of: &[(&str, T)],
    ) -> Result<Option<T>, PaletteError> {
        let Some(word) = self.words(table, key)? else {
            return Ok(None);
        };
        match of.iter().find(|(name, _)| *name == word) {
            Some((_, value)) => Ok(Some(*value)),
            None => {
                let names: Vec<&str> = of.iter().map(|(name, _)| *name).collect();
                Err(self.error(
                    &[key],
                    &format!("`{word}` is no {key}"),
                    format!("write one of {}", names.join(", ")),
                ))
            }
        }
    }

    fn needs(&self, table: &Table) -> Result<Vec<String>, PaletteError> {
        let Some(value) = table.get("needs") else {
            return Ok(Vec::new());
        };
        let ids: Vec<&str> = lines().iter().map(|line| line.id.as_str()).collect();
        let wrong = |what: String, hint: String| Err(self.error(&["needs"], &what, hint));
        let Some(list) = value.as_array() else {
            return wrong(
                "`needs` is no list".into(),
                "write needs = [\"Ha\", \"OIII\"]".into(),
            );
        };
        let mut needs = Vec::new();
        for entry in list {
            match entry.as_str() {
                Some(id) if ids.contains(&id) => needs.push(id.to_owned()),
                _ => {
                    let near = nearest(entry.as_str().unwrap_or(""), ids.iter().copied());
                    return wrong(
                        format!("{entry} is no line of the table"),
                        near.map_or(format!("the lines are {}", ids.join(", ")), |near| {
                            format!("did you mean `{near}`?")
                        }),
                    );
                }
            }
        }
        Ok(needs)
    }

    fn colors(&self, table: &Table) -> Result<BTreeMap<String, ColorValue>, PaletteError> {
        let Some(colors) = self.table(table, "colors")? else {
            return Ok(BTreeMap::new());
        };
        let ids: Vec<&str> = lines().iter().map(|line| line.id.as_str()).collect();
        self.only(colors, &["colors"], &ids)?;
        colors
            .iter()
            .map(|(id, value)| Ok((id.clone(), self.color(&["colors", id], value)?)))
            .collect()
    }

    fn table<'t>(&self, table: &'t Table, key: &str) -> Result<Option<&'t Table>, PaletteError> {
        match table.get(key) {
            None => Ok(None),
            Some(Value::Table(inner)) => Ok(Some(inner)),
            Some(_) => Err(self.error(
                &[key],
                &format!("`{key}` is no table"),
                format!("write [{key}] on a line of its own, its entries below"),
            )),
        }
    }

    fn color(&self, path: &[&str], value: &Value) -> Result<ColorValue, PaletteError> {
        let name = path.last().copied().unwrap_or_default();
        let hint = "write \"#e0603a\", [1, 0.4, 0], { hue = 40, saturation = 1 } or \"natural\"";
        let wrong = |what: String| self.error(path, &format!("{name}: {what}"), hint);
        match value {
            Value::String(text) if text.trim() == "natural" => Ok(ColorValue::Natural),
            Value::String(text) => match ::color::parse_color(text.trim()) {
                Ok(_) => Ok(ColorValue::Css(text.trim().to_owned())),
                Err(_) => Err(wrong(format!("`{text}` is no colour of CSS"))),
            },
            Value::Array(list) => {
                let numbers: Option<Vec<f64>> = list.iter().map(number).collect();
                match numbers.as_deref() {
                    Some([r, g, b]) => Ok(ColorValue::Vector([*r, *g, *b])),
                    _ => Err(wrong("a vector has three finite numbers".to_owned())),
                }
            }
            Value::Table(table) => {
                self.only(table, path, &["hue", "saturation", "strength"])?;
                let part = |key: &str, otherwise: Option<f64>| match table.get(key) {
                    None => otherwise.ok_or_else(|| wrong(format!("`{key}` is missing"))),
                    Some(value) => {
                        number(value).ok_or_else(|| wrong(format!("`{key}` is no finite number")))
                    }
                };
                let (hue, saturation) = (part("hue", None)?, part("saturation", Some(1.0))?);
                let strength = part("strength", Some(1.0))?;
                if !(0.0..=1.0).contains(&saturation) {
                    return Err(wrong("`saturation` lies outside 0 to 1".to_owned()));
                }
                if strength < 0.0 {
                    return Err(wrong("`strength` is below 0".to_owned()));
                }
                Ok(ColorValue::Hue {
                    hue,
                    saturation,
                    strength,
                })
            }
            other => Err(wrong(format!("{} is no colour", other.type_str()))),
        }
    }

    fn apart(&self, table: &Table) -> Result<Option<Apart>, PaletteError> {
        let Some(apart) = self.table(table, "apart")? else {
            return Ok(None);
        };
        self.only(apart, &["apart"], &["usual", "protan", "deutan", "tritan"])?;
        let part = |key: &str| {
            apart.get(key).and_then(number).ok_or_else(|| {
                self.error(
                    &["apart"],
                    &format!("`{key}` is missing or no number"),
                    "give all four differences, or leave `apart` out",
                )
            })
        };
        Ok(Some(Apart {
            usual: part("usual")?,
            protan: part("protan")?,
            deutan: part("deutan")?,
            tritan: part("tritan")?,
        }))
    }
}

fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Integer(number) => Some(*number as f64),
        Value::Float(number) => Some(*number).filter(|number| number.is_finite()),
        _ => None,
    }
}

/// Reads a palette. `origin` names the text in messages, usually its file.
///
/// # Errors
/// Where the text is no TOML or no palette: with the line, and what would do.
pub fn parse(text: &str, origin: &str) -> Result<Palette, PaletteError> {
    let source = Source { text, origin };
    let table: Table = text.parse().map_err(|error: toml::de::Error| {
        let line = error
            .span()
            .and_then(|span| text.get(..span.start))
            .map_or(1, |before| before.matches('\n').count() + 1);
        PaletteError::new(
            format!("{origin}, line {line}: {}", error.message()),
            "the text must be TOML 1.0",
        )
    })?;
    match table.get("palette") {
        Some(Value::Integer(VERSION)) => {}
        Some(other) => {
            return Err(source.error(
                &["palette"],
                &format!("palette format {other} is not known here"),
                format!("this program reads format {VERSION}"),
            ));
        }
        None => {
            return Err(source.error(
                &[],
                "this is no palette: `palette` is missing",
                format!("start the file with palette = {VERSION}"),
            ));
        }
    }
    source.only(&table, &[], &KEYS)?;
    let name = source.words(&table, "name")?.unwrap_or_default();
    if name.is_empty() || name.chars().count() > LONGEST_NAME || name.contains(char::is_control) {
        return Err(source.error(
            &["name"],
            "the palette has no name that could be shown",
            format!("write name = \"...\" on one line, with 1 to {LONGEST_NAME} characters"),
        ));
    }
    let blends = [
        ("light", Blend::Light),
        ("tone", Blend::Tone),
        ("screen", Blend::Screen),
    ];
    let gamuts = [("hold-hue", Gamut::HoldHue), ("clip", Gamut::Clip)];
    let every = match table.get("every") {
        None => None,
        Some(value) => Some(source.color(&["every"], value)?),
    };
    let palette = Palette {
        name,
        about: source.words(&table, "about")?.unwrap_or_default(),
        blend: source.choice(&table, "blend", &blends)?.unwrap_or_default(),
        gamut: source.choice(&table, "gamut", &gamuts)?,
        needs: source.needs(&table)?,
        every,
        colors: source.colors(&table)?,
        apart: source.apart(&table)?,
    };
    if palette.colors.is_empty() && palette.every.is_none() {
        return Err(source.error(
            &["colors"],
            "the palette gives no line a colour",
            "add [colors] and below it a line such as Ha = \"#e0603a\"",
        ));
    }
    Ok(palette)
}
