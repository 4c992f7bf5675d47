//! Which part of the reference's grid is kept, as a recipe says it.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Which part of the reference's grid is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crop {
    /// `"common"`: the largest rectangle that all used channels cover.
    Common,
    /// `[x, y, width, height]` in pixels of the reference.
    Part([usize; 4]),
}

impl Serialize for Crop {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Common => serializer.serialize_str("common"),
            Self::Part(part) => part.serialize(serializer),
        }
    }
}

impl<'de> Deserialize<'de> for Crop {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(EitherWay)
    }
}

struct EitherWay;

impl<'de> Visitor<'de> for EitherWay {
    type Value = Crop;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("\"common\" or [x, y, width, height]")
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<Crop, E> {
        match text {
            "common" => Ok(Crop::Common),
            _ => Err(E::unknown_variant(text, &["common"])),
        }
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Crop, A::Error> {
        let four = "four whole numbers [x, y, width, height]";
        let mut part = [0; 4];
        for (index, number) in part.iter_mut().enumerate() {
            *number = seq
                .next_element::<usize>()?
                .ok_or_else(|| de::Error::invalid_length(index, &four))?;
        }
        if seq.next_element::<usize>()?.is_some() {
            return Err(de::Error::invalid_length(5, &four));
        }
        Ok(Crop::Part(part))
    }
}

impl JsonSchema for Crop {
    fn schema_name() -> Cow<'static, str> {
        "Crop".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "`common`, or [x, y, width, height] in pixels of the reference.",
            "anyOf": [
                { "const": "common" },
                {
                    "type": "array",
                    "items": { "type": "integer", "minimum": 0 },
                    "minItems": 4,
                    "maxItems": 4
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
        crop: Crop,
    }

    #[test]
    fn both_ways_read_and_write() {
        for (text, crop) in [
            ("crop = \"common\"", Crop::Common),
            ("crop = [1, 2, 30, 40]", Crop::Part([1, 2, 30, 40])),
        ] {
            let read: Holder = toml::from_str(text).expect(text);
            assert_eq!(read, Holder { crop });
            let again = toml::to_string(&read).expect("writes");
            assert_eq!(toml::from_str::<Holder>(&again).expect("reads"), read);
        }
        for text in [
            "crop = \"comon\"",
            "crop = [1, 2, 3]",
            "crop = [1, 2, 3, 4, 5]",
            "crop = -1",
        ] {
            assert!(toml::from_str::<Holder>(text).is_err(), "{text}");
        }
    }
}
