//! Small choices of the user.

use std::collections::BTreeSet;
use std::path::Path;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::{folder, read, write};
use crate::work::Error;

/// What the user has chosen, once and for all windows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Name of the theme; empty: as the system has it.
    pub theme: String,
    /// Size of the window's text and controls, as a factor from 0.5 to 3.
    pub ui_scale: f32,
    /// Names of hints that need not be shown again.
    pub hints_seen: BTreeSet<String>,
    /// What the last composite was written as.
    pub export: ExportChoices,
}

/// What a composite is written as.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ExportChoices {
    /// `tif`, `png`, `jpg` or `fits`.
    pub ending: String,
    /// `srgb`, `display-p3` or `rec2020`.
    pub space: String,
    /// `8`, `16` or `32f`; empty: what the format is mostly used with.
    pub depth: String,
    /// `none`, `fast` or `small`; TIFF only.
    pub packing: String,
    /// JPEG only, 1 to 100.
    pub quality: u8,
}

impl Default for ExportChoices {
    fn default() -> Self {
        Self {
            ending: "tif".to_owned(),
            space: "srgb".to_owned(),
            depth: String::new(),
            packing: "none".to_owned(),
            quality: 92,
        }
    }
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            theme: String::new(),
            ui_scale: 1.0,
            hints_seen: BTreeSet::new(),
            export: ExportChoices::default(),
        }
    }
}

const NAME: &str = "settings.json";

impl Settings {
    /// The user's; what is missing or damaged is as at first.
    pub fn load() -> Self {
        folder().map_or_else(Self::default, |folder| Self::load_from(&folder))
    }

    /// Those kept in a folder.
    pub fn load_from(folder: &Path) -> Self {
        let kept: Value = read(&folder.join(NAME))
            .and_then(|text| serde_json::from_str(&text).ok())
            .unwrap_or_default();
        let mut settings: Self = tolerant(&kept);
        settings.export = tolerant(kept.get("export").unwrap_or(&Value::Null));
        settings.mend();
        settings
    }

    /// Keeps them.
    ///
    /// # Errors
    /// When they cannot be written.
    pub fn save(&self) -> Result<(), Error> {
        folder().map_or(Ok(()), |folder| self.save_to(&folder))
    }

    /// Keeps them in a folder.
    ///
    /// # Errors
    /// When they cannot be written.
    pub fn save_to(&self, folder: &Path) -> Result<(), Error> {
        let text = serde_json::to_string_pretty(self).map_err(|error| {
            Error::request(
                format!("the settings cannot be written: {error}"),
                "please report it",
            )
        })?;
        write(&folder.join(NAME), &format!("{text}\n"))
    }

    // Values that nothing can be done with.
    fn mend(&mut self) {
        let first = Self::default();
        if !(0.5..=3.0).contains(&self.ui_scale) {
            self.ui_scale = first.ui_scale;
        }
        let known = |value: &str, all: &[&str]| all.contains(&value);
        let (export, first) = (&mut self.export, first.export);
        if !known(&export.ending, &["tif", "png", "jpg", "fits"]) {
            export.ending = first.ending;
        }
        if !known(&export.space, &["srgb", "display-p3", "rec2020"]) {
            export.space = first.space;
        }
        if !known(&export.depth, &["", "8", "16", "32f"]) {
            export.depth = first.depth;
        }
        if !known(&export.packing, &["none", "fast", "small"]) {
            export.packing = first.packing;
        }
        if !(1..=100).contains(&export.quality) {
            export.quality = first.quality;
        }
    }
}

// Each key that fits is taken; one that does not leaves the others alone.
fn tolerant<T: Default + Serialize + for<'a> Deserialize<'a>>(kept: &Value) -> T {
    let mut good = T::default();
    let Value::Object(kept) = kept else {
        return good;
    };
    for (key, value) in kept {
        let Ok(Value::Object(mut all)) = serde_json::to_value(&good) else {
            return good;
        };
        if all.contains_key(key) {
            all.insert(key.clone(), value.clone());
            if let Ok(better) = serde_json::from_value(Value::Object(Map::from_iter(all))) {
                good = better;
            }
        }
    }
    good
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_bad_key_leaves_the_others() {
        let root = tempfile::tempdir().expect("folder");
        let at = root.path();
        assert_eq!(Settings::load_from(at), Settings::default());
        let mut settings = Settings {
            theme: "night".to_owned(),
            ui_scale: 1.25,
            ..Settings::default()
        };
        settings.hints_seen.insert("drop files".to_owned());
        settings.export.ending = "png".to_owned();
        settings.save_to(at).expect("kept");
        assert_eq!(Settings::load_from(at), settings);
        let text = r#"{"theme": "night", "ui_scale": "big", "later": 1,
            "export": {"quality": 0, "ending": "png", "depth": 16}}"#;
        std::fs::write(at.join(NAME), text).expect("file");
        let read = Settings::load_from(at);
        assert_eq!((read.theme.as_str(), read.ui_scale), ("night", 1.0));
        assert_eq!(
            (read.export.quality, read.export.ending.as_str()),
            (92, "png")
        );
        read.save_to(at).expect("kept");
        let text = std::fs::read_to_string(at.join(NAME)).expect("text");
        assert!(!text.contains("later"));
        for damage in ["", "[]", "{\"theme\":"] {
            std::fs::write(at.join(NAME), damage).expect("file");
            assert_eq!(Settings::load_from(at), Settings::default());
        }
    }
}
