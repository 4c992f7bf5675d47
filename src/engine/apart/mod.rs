//! Whether readers can tell the lines of a rendition apart.
//!
//! Each line is shown alone, through mix, finish and gamut as the picture is
//! made, at several tones; two lines are as far apart as they are at the tone
//! where they come nearest, for each kind of colour vision (CIEDE2000).

pub mod advice;

mod render;

pub mod suggest;

pub use render::{Alone, Distances, Seen, TONES, brightness_share};

use super::color::vision::Vision;
use super::lines::line;
use super::mix::assign::{AssignError, assignments};
use super::recipe::{Recipe, Rendition};

/// Below this difference (CIEDE2000) two lines are taken for one when they do
/// not lie side by side: a choice of ours, ten times what is just noticeable.
pub const LOOK_ALIKE: f64 = 10.0;

/// Below this L* at full tone a line is as good as not there.
const DARK: f64 = 12.0;

/// A line of a rendition.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Index of its channel in the recipe.
    pub channel: usize,
    /// The channel's id.
    pub id: String,
    /// The line's symbol, with the channel's id where several channels have it.
    pub name: String,
    /// Centre of its passband in nm.
    pub center_nm: f64,
    /// Its colour vector, linear sRGB, unbounded.
    pub vector: [f64; 3],
    /// What is shown of it alone at full tone, linear sRGB, 0..1.
    pub shown: [f64; 3],
    /// Alone it is dark, as where the brightness comes from other channels.
    pub dark: bool,
    seen: Seen,
    share: f64,
}

/// Two lines, by their places in [`Told::lines`], and how far they lie apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// One.
    pub one: usize,
    /// The other.
    pub other: usize,
    /// The least difference over [`TONES`], by [`Vision::ALL`].
    pub apart: [f64; Vision::ALL.len()],
    /// At which tone, by [`Vision::ALL`].
    pub tones: [f64; Vision::ALL.len()],
}

impl Pair {
    /// The least over all kinds of vision.
    pub fn least(&self) -> f64 {
        self.apart.iter().copied().fold(f64::INFINITY, f64::min)
    }
}

/// How far the lines of a rendition lie apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// The emission lines that take part, in the recipe's order.
    pub lines: Vec<Line>,
    /// Every two of them that are not the same line.
    pub pairs: Vec<Pair>,
}

impl Told {
    /// The nearest pair for a kind of vision (an index of [`Vision::ALL`]).
    pub fn nearest(&self, vision: usize) -> Option<&Pair> {
        self.pairs
            .iter()
            .min_by(|a, b| a.apart[vision].total_cmp(&b.apart[vision]))
    }

    /// The least difference of all; None where there are not two lines.
    pub fn least(&self) -> Option<f64> {
        self.pairs.iter().map(Pair::least).min_by(f64::total_cmp)
    }

    /// The names of a pair.
    pub fn names(&self, pair: &Pair) -> [&str; 2] {
        [&self.lines[pair.one].name, &self.lines[pair.other].name]
    }
}

/// Measures a rendition of a checked recipe. Broad bands are left out: their
/// light is no line's.
///
/// # Errors
/// When a colour cannot be worked out, for a recipe that was not checked.
pub fn told(recipe: &Recipe, rendition: &Rendition) -> Result<Told, AssignError> {
    let alone = Alone::new(rendition);
    let mut lines = Vec::new();
    for assignment in assignments(recipe, rendition)? {
        let channel = &recipe.channels[assignment.channel];
        let Some(known) = line(&channel.line).filter(|known| !known.is_broad()) else {
            continue;
        };
        let share = brightness_share(rendition, &channel.id);
        let shown = alone.shown(assignment.linear_srgb, share);
        let seen = Seen::of(&shown);
        lines.push(Line {
            channel: assignment.channel,
            id: channel.id.clone(),
            name: name(recipe, assignment.channel),
            center_nm: channel.center_nm.unwrap_or(known.center_nm),
            vector: assignment.linear_srgb,
            shown: shown[TONES.len() - 1],
            dark: seen.lightness() < DARK,
            seen,
            share,
        });
    }
    let mut pairs = Vec::new();
    for other in 0..lines.len() {
        for one in 0..other {
            let id = |index: usize| &recipe.channels[lines[index].channel].line;
            if !id(one).eq_ignore_ascii_case(id(other)) {
                pairs.push(pair(&lines, one, other));
            }
        }
    }
    Ok(Told { lines, pairs })
}

fn pair(lines: &[Line], one: usize, other: usize) -> Pair {
    let distances = lines[one].seen.apart(&lines[other].seen);
    let nearest = distances.map(|by_tone| {
        let mut least = (by_tone[0], TONES[0]);
        for (distance, tone) in by_tone.into_iter().zip(TONES) {
            if distance < least.0 {
                least = (distance, tone);
            }
        }
        least
    });
    Pair {
        one,
        other,
        apart: nearest.map(|(distance, _)| distance),
        tones: nearest.map(|(_, tone)| tone),
    }
}

/// What a channel is called: its line's symbol, with its id where several
/// channels hold the same line.
pub fn name(recipe: &Recipe, channel: usize) -> String {
    let symbol = |id: &str| line(id).map_or_else(|| id.to_owned(), |known| known.symbol.clone());
    let channel = &recipe.channels[channel];
    let own = symbol(&channel.line);
    let same = |other: &&super::recipe::Channel| symbol(&other.line) == own;
    if recipe.channels.iter().filter(same).count() > 1 {
        format!("{own} ({})", channel.id)
    } else {
        own
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::text::parse;

    pub(super) fn recipe(colors: &str, more: &str) -> Recipe {
        let channel = |id: &str, line: &str| {
            format!(
                "[[channel]]\nid = \"{id}\"\nfile = \"f\"\nline = \"{line}\"\n\
                 [channel.stretch]\nblack = 0\nwhite = 1\n"
            )
        };
        let text = format!(
            "recipe = 1\n{}{}{}{}{}[[rendition]]\nid = \"r\"\ngamut = \"hold-hue\"\n{more}\n\
             colors = {{ {colors} }}\n",
            channel("ha", "Ha"),
            channel("oiii", "OIII"),
            channel("sii", "SII"),
            channel("ha-2", "Ha"),
            channel("l", "L"),
        );
        parse(&text, "test").expect("sound")
    }

    fn measure(colors: &str, more: &str) -> Told {
        let recipe = recipe(colors, more);
        told(&recipe, &recipe.renditions[0]).expect("sound")
    }

    #[test]
    fn equal_colours_are_not_apart_at_all() {
        let told = measure(
            "ha = \"#c08040\", oiii = \"#c08040\", sii = \"#2040f0\"",
            "",
        );
        assert_eq!(told.pairs.len(), 3);
        assert_eq!(told.pairs[0].apart, [0.0; 4]);
        assert_eq!(told.least(), Some(0.0));
        assert!(
            told.nearest(0)
                .is_some_and(|pair| (pair.one, pair.other) == (0, 1))
        );
    }

    #[test]
    fn a_pair_is_as_far_apart_from_either_side() {
        let there = measure("ha = \"#e05030\", oiii = \"#30a0e0\"", "saturation = 1.2");
        let back = measure("ha = \"#30a0e0\", oiii = \"#e05030\"", "saturation = 1.2");
        for (a, b) in there.pairs[0].apart.iter().zip(back.pairs[0].apart) {
            assert!((a - b).abs() < 1e-9, "{a} {b}");
        }
    }

    #[test]
    fn one_line_in_two_channels_and_broad_bands_are_no_pair() {
        let told = measure("ha = \"natural\", ha-2 = \"natural\", l = \"natural\"", "");
        assert_eq!(told.lines.len(), 2);
        assert_eq!(told.lines[0].name, "Hα (ha)");
        assert_eq!(told.least(), None);
    }

    #[test]
    fn finish_counts() {
        let full = measure("ha = \"#e05030\", oiii = \"#30a0e0\"", "");
        let grey = measure("ha = \"#e05030\", oiii = \"#30a0e0\"", "saturation = 0.2");
        assert!(grey.least() < full.least());
        let taken = measure(
            "ha = \"#e05030\", oiii = \"#30a0e0\"",
            "luminance = { from = { ha = 1 } }",
        );
        assert!(taken.lines[1].dark && !taken.lines[0].dark);
    }
}
