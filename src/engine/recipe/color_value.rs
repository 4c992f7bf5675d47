//! A colour as a recipe writes it.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, MapAccess, SeqAccess, Visitor};
use serde::ser::SerializeMap as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A colour as a recipe writes it, in one of four ways.
#[derive(Debug, Clone, PartialEq)]
pub enum ColorValue {
    /// A CSS Color 4 string: `"#e0603a"`, `"oklch(0.7 0.15 150)"`.
    Css(String),
    /// Linear light on the sRGB primaries, unbounded.
    Vector([f64; 3]),
    /// A hue on the edge of the sRGB gamut, mixed with white and scaled.
    Hue {
        /// Oklch hue angle in degrees.
        hue: f64,
        /// 0 is white, 1 the pure colour.
        saturation: f64,
        /// Factor on the vector, at least 0.
        strength: f64,
    },
    /// Computed from the channel's wavelength: `"natural"`.
    Natural,
}

const EXPECTED: &str =
    "a CSS color string, \"natural\", [r, g, b], or { hue, saturation, strength }";

impl Serialize for ColorValue {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Css(text) => serializer.serialize_str(text),
            Self::Natural => serializer.serialize_str("natural"),
            Self::Vector(vector) => vector.serialize(serializer),
            Self::Hue {
                hue,
                saturation,
                strength,
            } => {
                let mut map = serializer.serialize_map(None)?;
                map.serialize_entry("hue", hue)?;
                map.serialize_entry("saturation", saturation)?;
                map.serialize_entry("strength", strength)?;
                map.end()
            }
        }
    }
}

impl<'de> Deserialize<'de> for ColorValue {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(AnyOfFour)
    }
}

struct AnyOfFour;

impl<'de> Visitor<'de> for AnyOfFour {
    type Value = ColorValue;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(EXPECTED)
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<ColorValue, E> {
        if text == "natural" {
            return Ok(ColorValue::Natural);
        }
        crate::engine::color::css::linear_srgb(text)
            .map(|_| ColorValue::Css(text.to_owned()))
            .map_err(|error| E::custom(error.to_string()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<ColorValue, A::Error> {
        let mut vector = [0.0; 3];
        for (index, component) in vector.iter_mut().enumerate() {
            *component = seq
                .next_element::<f64>()?
                .ok_or_else(|| de::Error::invalid_length(index, &"three numbers [r, g, b]"))?;
        }
        if seq.next_element::<f64>()?.is_some() {
            return Err(de::Error::invalid_length(4, &"three numbers [r, g, b]"));
        }
        Ok(ColorValue::Vector(vector))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<ColorValue, A::Error> {
        const KEYS: &[&str] = &["hue", "saturation", "strength"];
        let [mut hue, mut saturation, mut strength] = [None::<f64>; 3];
        while let Some(key) = map.next_key::<String>()? {
            let (slot, name) = match key.as_str() {
                "hue" => (&mut hue, KEYS[0]),
                "saturation" => (&mut saturation, KEYS[1]),
                "strength" => (&mut strength, KEYS[2]),
                unknown => return Err(de::Error::unknown_field(unknown, KEYS)),
            };
            if slot.replace(map.next_value()?).is_some() {
                return Err(de::Error::duplicate_field(name));
            }
        }
        Ok(ColorValue::Hue {
            hue: hue.ok_or_else(|| de::Error::missing_field("hue"))?,
            saturation: saturation.unwrap_or(1.0),
            strength: strength.unwrap_or(1.0),
        })
    }
}

impl JsonSchema for ColorValue {
    fn schema_name() -> Cow<'static, str> {
        "ColorValue".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "A color: CSS Color 4 text, \"natural\", a vector in linear sRGB, or a hue.",
            "anyOf": [
                { "type": "string" },
                { "type": "array", "items": { "type": "number" }, "minItems": 3, "maxItems": 3 },
                {
                    "type": "object",
                    "properties": {
                        "hue": { "type": "number" },
                        "saturation": { "type": "number" },
                        "strength": { "type": "number" }
                    },
                    "required": ["hue"],
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
        color: ColorValue,
    }

    fn parse(text: &str) -> Result<ColorValue, String> {
        toml::from_str::<Holder>(text)
            .map(|h| h.color)
            .map_err(|e| e.message().to_owned())
    }

    #[test]
    fn all_four_ways_read_and_write() {
        for (text, value) in [
            ("color = \"#e0603a\"", ColorValue::Css("#e0603a".into())),
            ("color = \"natural\"", ColorValue::Natural),
            (
                "color = [0, 1.5, -0.25]",
                ColorValue::Vector([0.0, 1.5, -0.25]),
            ),
            (
                "color = { hue = 264 }",
                ColorValue::Hue {
                    hue: 264.0,
                    saturation: 1.0,
                    strength: 1.0,
                },
            ),
        ] {
            let parsed = parse(text).expect(text);
            assert_eq!(parsed, value);
            let written = toml::to_string(&Holder { color: parsed }).expect("writes");
            assert_eq!(parse(&written).expect("reads again"), value);
        }
    }

    #[test]
    fn mistakes_are_named() {
        for (text, word) in [
            ("color = \"#e0603\"", "#e0603"),
            ("color = [1, 2]", "three numbers"),
            ("color = [1, 2, 3, 4]", "three numbers"),
            ("color = { hue = 1, sat = 2 }", "sat"),
            ("color = { saturation = 1 }", "hue"),
            ("color = true", "CSS color"),
        ] {
            let error = parse(text).expect_err(text);
            assert!(error.contains(word), "{text}: {error}");
        }
    }
}
