//! How stars show in a rendition.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, MapAccess, Visitor};
use serde::ser::SerializeMap as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::Recipe;

/// The least `size`: below it a star is less than a pixel.
pub const LEAST_SIZE: f64 = 0.3;

/// The most `brightness`.
pub const MOST_BRIGHTNESS: f64 = 3.0;

/// What becomes of the stars' light, which is told from the nebula's by the
/// stars' places and the measured shape of a star.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StarLook {
    /// Whose colour they have.
    pub show: ShowStars,
    /// Factor on their width, [`LEAST_SIZE`]..1.
    pub size: f64,
    /// Factor on their light, linear, 0..[`MOST_BRIGHTNESS`].
    pub brightness: f64,
}

impl Default for StarLook {
    fn default() -> Self {
        Self {
            show: ShowStars::AsMixed,
            size: 1.0,
            brightness: 1.0,
        }
    }
}

impl StarLook {
    /// Whether stars need not be told from the nebula.
    pub fn is_plain(&self) -> bool {
        *self == Self::default()
    }

    /// Whether their width or light is changed.
    pub fn is_scaled(&self) -> bool {
        self.show != ShowStars::None && (self.size != 1.0 || self.brightness != 1.0)
    }

    pub(super) fn check(&self, recipe: &Recipe) -> Result<(), (String, String)> {
        if !(LEAST_SIZE..=1.0).contains(&self.size) {
            return Err((
                format!("`stars.size = {}` is out of range", self.size),
                format!("it runs from {LEAST_SIZE} (fine points) to 1 (as they are)"),
            ));
        }
        if !(0.0..=MOST_BRIGHTNESS).contains(&self.brightness) {
            return Err((
                format!("`stars.brightness = {}` is out of range", self.brightness),
                format!("it runs from 0 (dark) over 1 (as they are) to {MOST_BRIGHTNESS}"),
            ));
        }
        if self.show == ShowStars::Broadband
            && let Some(missing) = missing_band(recipe)
        {
            return Err((
                format!(
                    "`stars = \"broadband\"` needs R, G and B: there is no channel of {missing}"
                ),
                format!("add one with `line = \"{missing}\"`, or write `stars = \"neutral\"`"),
            ));
        }
        Ok(())
    }
}

/// The first of R, G and B that no channel of the recipe shows.
pub fn missing_band(recipe: &Recipe) -> Option<&'static str> {
    ["R", "G", "B"]
        .into_iter()
        .find(|band| recipe.band(band).is_none())
}

/// Whose colour stars have.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum ShowStars {
    /// What the mix makes of them.
    #[default]
    AsMixed,
    /// None: the same light in grey, the nebula's colour left alone.
    Neutral,
    /// That of the channels R, G and B.
    Broadband,
    /// They are left out.
    None,
}

impl ShowStars {
    /// All, as they are offered.
    pub const ALL: [Self; 4] = [Self::AsMixed, Self::Neutral, Self::Broadband, Self::None];

    /// As a recipe writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::AsMixed => "as mixed",
            Self::Neutral => "neutral",
            Self::Broadband => "broadband",
            Self::None => "none",
        }
    }

    fn from_name<E: de::Error>(name: &str) -> Result<Self, E> {
        Self::ALL
            .into_iter()
            .find(|show| show.name() == name)
            .ok_or_else(|| E::unknown_variant(name, &["as mixed", "neutral", "broadband", "none"]))
    }
}

impl Serialize for StarLook {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.size == 1.0 && self.brightness == 1.0 {
            return serializer.serialize_str(self.show.name());
        }
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry("show", self.show.name())?;
        map.serialize_entry("size", &self.size)?;
        map.serialize_entry("brightness", &self.brightness)?;
        map.end()
    }
}

impl<'de> Deserialize<'de> for StarLook {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(WordOrTable)
    }
}

struct WordOrTable;

impl<'de> Visitor<'de> for WordOrTable {
    type Value = StarLook;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(
            "\"as mixed\", \"neutral\", \"broadband\", \"none\", or { show, size, brightness }",
        )
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<StarLook, E> {
        Ok(StarLook {
            show: ShowStars::from_name(text)?,
            ..StarLook::default()
        })
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<StarLook, A::Error> {
        const KEYS: &[&str] = &["show", "size", "brightness"];
        let (mut show, mut size, mut brightness) = (None::<String>, None::<f64>, None::<f64>);
        while let Some(key) = map.next_key::<String>()? {
            let double = match key.as_str() {
                "show" => show.replace(map.next_value()?).is_some(),
                "size" => size.replace(map.next_value()?).is_some(),
                "brightness" => brightness.replace(map.next_value()?).is_some(),
                unknown => return Err(de::Error::unknown_field(unknown, KEYS)),
            };
            if double {
                return Err(de::Error::custom(format!("duplicate key `{key}`")));
            }
        }
        Ok(StarLook {
            show: match show {
                Some(name) => ShowStars::from_name(&name)?,
                None => ShowStars::AsMixed,
            },
            size: size.unwrap_or(1.0),
            brightness: brightness.unwrap_or(1.0),
        })
    }
}

impl JsonSchema for StarLook {
    fn schema_name() -> Cow<'static, str> {
        "StarLook".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let names: Vec<&str> = ShowStars::ALL.iter().map(|show| show.name()).collect();
        json_schema!({
            "description": "What becomes of the stars' light.",
            "anyOf": [
                { "enum": names },
                {
                    "type": "object",
                    "properties": {
                        "show": { "enum": names },
                        "size": { "type": "number", "minimum": LEAST_SIZE, "maximum": 1 },
                        "brightness": {
                            "type": "number", "minimum": 0, "maximum": MOST_BRIGHTNESS
                        }
                    },
                    "additionalProperties": false
                }
            ]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, PartialEq, Serialize, Deserialize)]
    struct Holder {
        stars: StarLook,
    }

    fn read(text: &str) -> Result<StarLook, String> {
        toml::from_str::<Holder>(&format!("stars = {text}"))
            .map(|holder| holder.stars)
            .map_err(|error| error.message().to_owned())
    }

    #[test]
    fn a_word_or_a_table_reads_and_writes_back() {
        for (text, show, size) in [
            ("\"neutral\"", ShowStars::Neutral, 1.0),
            (
                "{ show = \"broadband\", size = 0.7 }",
                ShowStars::Broadband,
                0.7,
            ),
            ("{ size = 0.5 }", ShowStars::AsMixed, 0.5),
            ("\"none\"", ShowStars::None, 1.0),
        ] {
            let stars = read(text).expect(text);
            assert_eq!(
                (stars.show, stars.size, stars.brightness),
                (show, size, 1.0)
            );
            let written = toml::to_string(&Holder { stars }).expect("writes");
            assert_eq!(
                toml::from_str::<Holder>(&written).expect("reads").stars,
                stars
            );
        }
    }

    #[test]
    fn unknown_words_and_keys_are_named() {
        assert!(read("\"gone\"").expect_err("unknown").contains("gone"));
        assert!(read("{ sise = 1 }").expect_err("unknown").contains("sise"));
        assert!(read("3").is_err());
    }
}
