//! What to do where two lines look alike.

use super::{Alone, LOOK_ALIKE, Pair, Told};
use crate::engine::color::oklab::oklch;
use crate::engine::color::vision::Vision;
use crate::engine::color::words::color_name;
use crate::engine::mix::assign::hue_vector;
use crate::engine::recipe::Rendition;

/// Hues that are tried.
const HUES: u32 = 24;

/// Something to know about a rendition's lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Warning {
    /// What is wrong, a whole sentence.
    pub what: String,
    /// What would help, a whole sentence.
    pub hint: String,
}

/// How readers with a kind of vision are called.
pub fn readers(vision: Vision) -> &'static str {
    match vision {
        Vision::Usual => "with usual colour vision",
        Vision::Protan => "without red cones",
        Vision::Deutan => "without green cones",
        Vision::Tritan => "without blue cones",
    }
}

/// A warning for every two lines that lie nearer than [`LOOK_ALIKE`] for some
/// reader, the nearest pair first, and one for lines that are dark alone.
pub fn warnings(told: &Told, rendition: &Rendition) -> Vec<Warning> {
    let mut near: Vec<&Pair> = told
        .pairs
        .iter()
        .filter(|pair| pair.least() < LOOK_ALIKE)
        .collect();
    near.sort_by(|a, b| a.least().total_cmp(&b.least()));
    let mut warnings: Vec<Warning> = near
        .into_iter()
        .map(|pair| alike(told, pair, rendition))
        .collect();
    let dark: Vec<&str> = told
        .lines
        .iter()
        .filter(|line| line.dark)
        .map(|line| line.name.as_str())
        .collect();
    if !dark.is_empty() {
        let taken = rendition.luminance.is_some();
        warnings.push(Warning {
            what: format!("Alone, {} can hardly be seen.", dark.join(" and ")),
            hint: if taken {
                "The brightness comes from other channels: give it a part in it, or take less."
            } else {
                "Give it more strength."
            }
            .to_owned(),
        });
    }
    warnings
}

fn alike(told: &Told, pair: &Pair, rendition: &Rendition) -> Warning {
    let [one, other] = told.names(pair);
    let near: Vec<(Vision, f64)> = Vision::ALL
        .into_iter()
        .zip(pair.apart)
        .filter(|(_, apart)| *apart < LOOK_ALIKE)
        .collect();
    let what = if near.len() == Vision::ALL.len() {
        let nearest = pair.least();
        format!("{one} and {other} look alike to every reader (ΔE {nearest:.0}).")
    } else {
        let whom: Vec<String> = near
            .iter()
            .map(|(vision, apart)| format!("{} (ΔE {apart:.0})", readers(*vision)))
            .collect();
        format!(
            "{one} and {other} look alike to readers {}.",
            whom.join(" and ")
        )
    };
    let hint = way_out(told, pair, rendition);
    Warning { what, hint }
}

// The least difference of line `index` from all others, were it this colour.
fn least_with(told: &Told, alone: &Alone, index: usize, vector: [f64; 3]) -> f64 {
    let line = &told.lines[index];
    let seen = alone.seen(vector, line.share);
    told.pairs
        .iter()
        .filter_map(|pair| match index {
            _ if pair.one == index => Some(pair.other),
            _ if pair.other == index => Some(pair.one),
            _ => None,
        })
        .flat_map(|other| seen.apart(&told.lines[other].seen))
        .flatten()
        .fold(f64::INFINITY, f64::min)
}

// Another hue for a line.
struct Way {
    index: usize,
    least: f64,
    turn: f64,
    word: &'static str,
}

impl Way {
    // Clear by enough that the next change of a stretch does not undo it.
    fn is_clear(&self) -> bool {
        self.least >= 1.2 * LOOK_ALIKE
    }

    fn is_better(&self, other: &Self) -> bool {
        match (self.is_clear(), other.is_clear()) {
            (true, true) => self.turn < other.turn,
            (false, false) => self.least > other.least,
            (clear, _) => clear,
        }
    }
}

// Tries other hues and strengths for either line, and says what helps most.
fn way_out(told: &Told, pair: &Pair, rendition: &Rendition) -> String {
    let alone = Alone::new(rendition);
    // The smallest turn of hue that keeps it clear of all others; else what
    // comes farthest.
    let mut best: Option<Way> = None;
    for index in [pair.other, pair.one] {
        let vector = told.lines[index].vector;
        let strength = vector.into_iter().fold(0.0, f64::max).clamp(0.5, 1.0);
        let own = oklch(told.lines[index].shown)[2];
        for step in 0..HUES {
            let hue = 360.0 / f64::from(HUES) * f64::from(step);
            let tried = hue_vector(hue, 1.0, strength);
            let off = (hue - own).abs() % 360.0;
            let way = Way {
                index,
                least: least_with(told, &alone, index, tried),
                turn: off.min(360.0 - off),
                word: color_name(tried),
            };
            if best.as_ref().is_none_or(|best| way.is_better(best)) {
                best = Some(way);
            }
        }
    }
    let now = pair.least();
    let mut ways = Vec::new();
    if let Some(way) = &best
        && way.least > now + 1.0
    {
        let name = &told.lines[way.index].name;
        ways.push(format!("move {name} towards {}", way.word.to_lowercase()));
    }
    let moved = best.map_or(pair.other, |way| way.index);
    for (factor, word) in [(0.4, "darker"), (2.5, "brighter")] {
        let vector = told.lines[moved].vector.map(|part| part * factor);
        // Brighter than full only washes out.
        let fits = factor < 1.0 || vector.into_iter().fold(0.0, f64::max) <= 1.0;
        if fits && least_with(told, &alone, moved, vector) > now + 1.0 {
            ways.push(if ways.is_empty() {
                format!("make {} {word}", told.lines[moved].name)
            } else {
                format!("make it {word}")
            });
            break;
        }
    }
    let mut text = ways.join(", or ");
    if let Some(first) = text.get(..1).map(str::to_uppercase) {
        text.replace_range(..1, &first);
        text.push('.');
    } else {
        text = "No one line can be moved clear of the others: move several.".to_owned();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::super::tests::recipe;
    use super::super::told;
    use super::*;

    fn warned(colors: &str, more: &str) -> Vec<Warning> {
        let recipe = recipe(colors, more);
        let rendition = &recipe.renditions[0];
        warnings(&told(&recipe, rendition).expect("sound"), rendition)
    }

    #[test]
    fn two_reds_are_warned_of_and_a_way_out_is_named() {
        let warned = warned(
            "ha = \"#d82020\", sii = \"#d02424\", oiii = \"#3080ff\"",
            "",
        );
        assert_eq!(warned.len(), 1, "{warned:?}");
        assert!(
            warned[0]
                .what
                .starts_with("Hα (ha) and [S II] look alike to every reader"),
            "{warned:?}"
        );
        assert!(warned[0].hint.starts_with("Move "), "{warned:?}");
    }

    #[test]
    fn what_lies_apart_is_not_warned_of() {
        assert_eq!(warned("ha = \"#ffd040\", oiii = \"#3060ff\"", ""), []);
    }

    #[test]
    fn red_and_green_of_one_lightness_are_named_for_whom_they_merge() {
        let warned = warned("ha = \"#c86418\", oiii = \"#8c8c00\"", "");
        assert!(
            warned
                .iter()
                .any(|w| w.what.contains("green cones") && !w.what.contains("usual")),
            "{warned:?}"
        );
    }

    #[test]
    fn a_line_without_its_own_brightness_is_told() {
        let warned = warned(
            "ha = \"#ffd040\", oiii = \"#3060ff\"",
            "luminance = { from = { ha = 1 } }",
        );
        assert!(
            warned
                .iter()
                .any(|w| w.what == "Alone, [O III] can hardly be seen."),
            "{warned:?}"
        );
    }
}
