//! Palettes: which line becomes which hue, kept apart from any one picture.
//!
//! A palette is a small TOML text. Those in the program stand in
//! `assets/palettes`; a user's own have the same form.
//!
//! ```toml
//! palette = 1                       # format version
//! name = "two lamps"
//! about = "What it is good for."    # optional
//! blend = "light"                   # optional: light, tone or screen
//! gamut = "hold-hue"                # optional: hold-hue or clip
//! needs = ["Ha", "OIII"]            # optional: lines that must be there
//! every = "natural"                 # optional: colour of all lines not below
//!
//! [colors]                          # by id of the line table
//! Ha = "#e0603a"                    # a CSS colour,
//! OIII = [0, 0.8, 1]                # a vector in linear light,
//! SII = { hue = 40, saturation = 1, strength = 0.9 }  # a hue,
//! Hb = "natural"                    # or the line's own
//!
//! [apart]                           # optional: measured separation
//! usual = 31.8
//! protan = 28.0
//! deutan = 26.2
//! tritan = 30.3
//! ```

pub mod measured;

mod text;

mod writing;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

pub use text::parse;
pub use writing::{of_rendition, write};

use super::lines::{line, lines};
use super::recipe::{Blend, ColorValue, Gamut};

/// The format version that this build reads.
pub const VERSION: i64 = 1;

/// Which line becomes which hue.
#[derive(Debug, Clone, PartialEq)]
pub struct Palette {
    /// What it is called; sought in any case.
    pub name: String,
    /// What it does, in a sentence or two; may be empty.
    pub about: String,
    /// How its channels come together.
    pub blend: Blend,
    /// What happens to colours outside the output space.
    pub gamut: Option<Gamut>,
    /// Ids of lines without which it makes no sense.
    pub needs: Vec<String>,
    /// The colour of lines that `colors` does not name; None: they stay out.
    pub every: Option<ColorValue>,
    /// The colour of each line, by its id.
    pub colors: BTreeMap<String, ColorValue>,
    /// How far its lines lie apart.
    pub apart: Option<Apart>,
}

/// The CIEDE2000 difference between the nearest two of hydrogen-alpha, doubly
/// ionised oxygen and ionised sulfur (those of them that the palette names),
/// each alone at a tone of 1, 0.75 or 0.5, as four kinds of readers see them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    /// With usual colour vision.
    pub usual: f64,
    /// Without long-wave cones.
    pub protan: f64,
    /// Without middle-wave cones.
    pub deutan: f64,
    /// Without short-wave cones.
    pub tritan: f64,
}

/// Why a palette cannot be had or does not fit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct PaletteError {
    /// What is wrong, and where.
    pub message: String,
    /// What to do about it.
    pub hint: String,
}

impl PaletteError {
    fn new(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self {
            message: message.into(),
            hint: hint.into(),
        }
    }
}

const BUILT_IN: [(&str, &str); 16] = [
    (
        "natural.toml",
        include_str!("../../../assets/palettes/natural.toml"),
    ),
    (
        "lampwick.toml",
        include_str!("../../../assets/palettes/lampwick.toml"),
    ),
    (
        "saltmarsh.toml",
        include_str!("../../../assets/palettes/saltmarsh.toml"),
    ),
    (
        "moorland.toml",
        include_str!("../../../assets/palettes/moorland.toml"),
    ),
    (
        "rockpool.toml",
        include_str!("../../../assets/palettes/rockpool.toml"),
    ),
    (
        "sho.toml",
        include_str!("../../../assets/palettes/sho.toml"),
    ),
    (
        "soh.toml",
        include_str!("../../../assets/palettes/soh.toml"),
    ),
    (
        "hso.toml",
        include_str!("../../../assets/palettes/hso.toml"),
    ),
    (
        "hos.toml",
        include_str!("../../../assets/palettes/hos.toml"),
    ),
    (
        "osh.toml",
        include_str!("../../../assets/palettes/osh.toml"),
    ),
    (
        "ohs.toml",
        include_str!("../../../assets/palettes/ohs.toml"),
    ),
    (
        "hoo.toml",
        include_str!("../../../assets/palettes/hoo.toml"),
    ),
    (
        "ohh.toml",
        include_str!("../../../assets/palettes/ohh.toml"),
    ),
    (
        "hho.toml",
        include_str!("../../../assets/palettes/hho.toml"),
    ),
    (
        "ooh.toml",
        include_str!("../../../assets/palettes/ooh.toml"),
    ),
    (
        "soo.toml",
        include_str!("../../../assets/palettes/soo.toml"),
    ),
];

/// The palettes of the program, in the order in which they are offered.
///
/// Three letters stand for lines in red, green and blue: S for ionised
/// sulfur, H for hydrogen-alpha, O for doubly ionised oxygen.
pub fn built_in() -> &'static [Palette] {
    static PALETTES: OnceLock<Vec<Palette>> = OnceLock::new();
    PALETTES.get_or_init(|| {
        BUILT_IN
            .iter()
            .map(|(file, text)| parse(text, file))
            .collect::<Result<_, _>>()
            .expect("a test reads these palettes at every build")
    })
}

/// The palette called `name` (in any case) among `own` and then those of the
/// program, so that a user's palette goes before ours of the same name.
///
/// # Errors
/// Where there is none; the hint names the nearest.
pub fn find<'a>(name: &str, own: &'a [Palette]) -> Result<&'a Palette, PaletteError> {
    let all = || own.iter().chain(built_in());
    let wanted = name.trim().to_lowercase();
    all()
        .find(|palette| palette.name.to_lowercase() == wanted)
        .ok_or_else(|| {
            let names: Vec<&str> = all().map(|palette| palette.name.as_str()).collect();
            let hint = match text::nearest(name, names.iter().copied()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("the palettes are {}", names.join(", ")),
            };
            PaletteError::new(format!("there is no palette called `{name}`"), hint)
        })
}

/// The colours that a palette gives to channels, each an id and its line.
///
/// A channel whose line the palette does not name stays out of the mix; so do
/// L, R, G and B in every palette that does not name them or `every`. Where
/// two channels hold the same line, both get its colour.
///
/// # Errors
/// Where a line is not in the table, where a line that the palette needs has
/// no channel, where no channel gets a colour, and where `natural` meets a
/// line that no eye sees (outside 380..780 nm).
pub fn apply(
    palette: &Palette,
    channels: &[(&str, &str)],
) -> Result<BTreeMap<String, ColorValue>, PaletteError> {
    let mut there = BTreeSet::new();
    let mut colors = BTreeMap::new();
    for (channel, id) in channels {
        let Some(held) = line(id) else {
            let ids = lines().iter().map(|line| line.id.as_str());
            return Err(PaletteError::new(
                format!("{channel}: `{id}` is no line of the table"),
                match text::nearest(id, ids.clone()) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!("the lines are {}", ids.collect::<Vec<_>>().join(", ")),
                },
            ));
        };
        there.insert(held.id.as_str());
        let Some(color) = palette.colors.get(&held.id).or(palette.every.as_ref()) else {
            continue;
        };
        if *color == ColorValue::Natural && !(380.0..=780.0).contains(&held.center_nm) {
            return Err(PaletteError::new(
                format!(
                    "{channel}: {} at {} nm has no colour of its own: no eye sees it",
                    held.symbol, held.center_nm
                ),
                format!("give {channel} a mapped colour, or leave it out"),
            ));
        }
        colors.insert((*channel).to_owned(), color.clone());
    }
    let missing: Vec<&str> = palette
        .needs
        .iter()
        .filter(|need| !there.contains(need.as_str()))
        .map(|need| line(need).map_or(need.as_str(), |line| line.symbol.as_str()))
        .collect();
    if !missing.is_empty() {
        return Err(PaletteError::new(
            format!(
                "{}: no channel holds {}",
                palette.name,
                missing.join(" nor ")
            ),
            fitting(&there),
        ));
    }
    if colors.is_empty() {
        return Err(PaletteError::new(
            format!(
                "{}: it has no colour for the lines of these channels ({})",
                palette.name,
                there.into_iter().collect::<Vec<_>>().join(", ")
            ),
            "give the colours by hand, or take the palette `natural`",
        ));
    }
    Ok(colors)
}

/// The palettes of the program that these lines are enough for, as a hint.
fn fitting(there: &BTreeSet<&str>) -> String {
    let has = |id: &String| there.contains(id.as_str());
    let names: Vec<&str> = built_in()
        .iter()
        .filter(|palette| palette.needs.iter().all(has))
        .filter(|palette| palette.every.is_some() || palette.colors.keys().any(has))
        .map(|palette| palette.name.as_str())
        .collect();
    format!("these palettes fit: {}", names.join(", "))
}

#[cfg(test)]
mod tests;
