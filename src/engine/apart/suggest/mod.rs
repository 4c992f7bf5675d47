//! Colours that keep the lines of this data furthest apart for every reader.

mod meeting;

mod score;

mod search;

use std::collections::BTreeMap;

pub use meeting::{Meeting, Meetings, Small};
pub use score::Score;

use super::{Alone, DARK, brightness_share};
use crate::engine::color::difference::Lab;
use crate::engine::lines::line;
use crate::engine::mix::assign::{AssignError, assignments};
use crate::engine::palettes::{Palette, apply, built_in};
use crate::engine::recipe::{ColorValue, Recipe, Rendition};
use score::{Field, Group, Hue};

/// What is asked of a suggestion.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Wish {
    /// Hues follow the lines' wavelengths, from red to violet.
    pub keep_order: bool,
    /// Channels whose colour stays or is given.
    pub pinned: BTreeMap<String, ColorValue>,
}

/// Colours for the channels of a rendition.
#[derive(Debug, Clone, PartialEq)]
pub struct Suggestion {
    /// The rendition, with them.
    pub rendition: Rendition,
    /// How good it was.
    pub before: Option<Score>,
    /// How good it is.
    pub after: Score,
}

/// Why nothing can be suggested.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SuggestError {
    /// Fewer than two different lines.
    #[error("the rendition `{0}` holds fewer than two different lines")]
    TooFew(String),
    /// A pin for a channel that takes no part.
    #[error("the channel `{0}` is pinned, but takes no part in the rendition `{1}`")]
    NoChannel(String, String),
    /// A pin that no reader can tell from the night.
    #[error(
        "the channel `{0}` is pinned to a colour as dark as the sky: no line can be told by it"
    )]
    Dark(String),
    /// Two channels of one line, pinned to different colours.
    #[error("the channels `{0}` and `{1}` hold the same line and are pinned to different colours")]
    Differ(String, String),
    /// Every line is pinned.
    #[error("every line is pinned: nothing is left to suggest")]
    AllPinned,
    /// No colours meet the wishes.
    #[error("no colours fit the pinned ones in the order of wavelengths")]
    NoneFit,
    /// A colour cannot be worked out.
    #[error(transparent)]
    Assign(#[from] AssignError),
}

impl SuggestError {
    /// The next step.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::TooFew(_) => "give another line a colour, or take another rendition",
            Self::NoChannel(..) => "pin a channel that has a colour in it",
            Self::Dark(_) => "pin a brighter colour, or leave this line free",
            Self::Differ(..) => "pin one of them, or both to one colour",
            Self::AllPinned => "leave at least one line free",
            Self::NoneFit => "pin other colours, or let the order go",
            Self::Assign(_) => "check the recipe's colors",
        }
    }
}

// A line and the channels that hold it (ids).
struct Line {
    channels: Vec<String>,
    first: usize,
    now: [f64; 3],
}

/// Suggests colours for a rendition of a checked recipe: never worse than it
/// is now, nor than any palette of the program that meets the wishes, by
/// [`Score`]. Blend and finish stay as they are.
///
/// # Errors
/// [`SuggestError`].
pub fn suggest(
    recipe: &Recipe,
    rendition: &Rendition,
    meetings: &Meetings,
    wish: &Wish,
) -> Result<Suggestion, SuggestError> {
    let start = pinned(recipe, rendition, wish)?;
    check_pins(recipe, &start, wish)?;
    let (lines, groups) = lines_of(recipe, &start, wish)?;
    if lines.len() < 2 {
        return Err(SuggestError::TooFew(rendition.id.clone()));
    }
    if groups.iter().all(|group| group.fixed.is_some()) {
        return Err(SuggestError::AllPinned);
    }
    let mut pairs = Vec::new();
    for b in 0..lines.len() {
        for a in 0..b {
            pairs.push(meetings.of_pair(lines[a].first, lines[b].first));
        }
    }
    let alone = Alone::new(rendition);
    let field = Field {
        alone: &alone,
        groups: &groups,
        meetings: &pairs,
        keep_order: wish.keep_order,
    };
    // What is there already: the rendition itself, and our palettes.
    let now: Vec<[f64; 3]> = lines.iter().map(|line| line.now).collect();
    let before = score_of(recipe, rendition, meetings)?;
    let mut known: Vec<(Rendition, Vec<[f64; 3]>)> = vec![(start.clone(), now)];
    for palette in built_in() {
        known.extend(painted(recipe, &start, palette, &lines, wish));
    }
    let seeds: Vec<Vec<Hue>> = known
        .iter()
        .filter_map(|(_, vectors)| vectors.iter().map(|v| Hue::of(*v)).collect())
        .collect();
    let found = search::search(&field, &seeds).map(|(hues, score)| {
        let mut made = start.clone();
        for ((line, group), hue) in lines.iter().zip(&groups).zip(hues) {
            if group.fixed.is_none() {
                for id in &line.channels {
                    made.colors.insert(id.clone(), value(hue));
                }
            }
        }
        (made, score)
    });
    let as_they_are = known.into_iter().filter_map(|(made, vectors)| {
        let score = field.score_of(&vectors)?;
        Some((made, score))
    });
    let mut best: Option<(Rendition, Score)> = found;
    for one in as_they_are {
        if best.as_ref().is_none_or(|best| one.1.total > best.1.total) {
            best = Some(one);
        }
    }
    let (rendition, after) = best.ok_or(SuggestError::NoneFit)?;
    Ok(Suggestion {
        rendition,
        before,
        after,
    })
}

/// How good the colours of a rendition are for this data; None where it holds
/// fewer than two lines.
///
/// # Errors
/// When a colour cannot be worked out, for a recipe that was not checked.
pub fn score_of(
    recipe: &Recipe,
    rendition: &Rendition,
    meetings: &Meetings,
) -> Result<Option<Score>, AssignError> {
    let (lines, groups) = lines_of(recipe, rendition, &Wish::default())?;
    let mut pairs = Vec::new();
    for b in 0..lines.len() {
        for a in 0..b {
            pairs.push(meetings.of_pair(lines[a].first, lines[b].first));
        }
    }
    if pairs.is_empty() {
        return Ok(None);
    }
    let field = Field {
        alone: &Alone::new(rendition),
        groups: &groups,
        meetings: &pairs,
        keep_order: false,
    };
    let vectors: Vec<[f64; 3]> = lines.iter().map(|line| line.now).collect();
    Ok(field.score_of(&vectors))
}

fn value(hue: Hue) -> ColorValue {
    ColorValue::Hue {
        hue: hue.hue,
        saturation: hue.saturation,
        strength: hue.strength,
    }
}

// The rendition with its pinned colours.
fn pinned(recipe: &Recipe, rendition: &Rendition, wish: &Wish) -> Result<Rendition, SuggestError> {
    let mut start = rendition.clone();
    for (id, value) in &wish.pinned {
        let taking_part = recipe.channel(id).is_some() && rendition.colors.contains_key(id);
        if !taking_part {
            return Err(SuggestError::NoChannel(id.clone(), rendition.id.clone()));
        }
        start.colors.insert(id.clone(), value.clone());
    }
    Ok(start)
}

// Pins that can be kept and told apart.
fn check_pins(recipe: &Recipe, start: &Rendition, wish: &Wish) -> Result<(), SuggestError> {
    let mut seen: Vec<(&str, &str, [f64; 3])> = Vec::new();
    for assignment in assignments(recipe, start)? {
        let channel = &recipe.channels[assignment.channel];
        let vector = assignment.linear_srgb;
        if !wish.pinned.contains_key(&channel.id) {
            continue;
        }
        if Lab::from_linear_srgb(vector).l < DARK {
            return Err(SuggestError::Dark(channel.id.clone()));
        }
        let id = line(&channel.line).map_or(channel.line.as_str(), |known| &known.id);
        let differs = |other: &&(&str, &str, [f64; 3])| other.0 == id && other.2 != vector;
        if let Some((_, other, _)) = seen.iter().find(differs) {
            let [one, other] = [*other, &channel.id].map(str::to_owned);
            return Err(SuggestError::Differ(one, other));
        }
        seen.push((id, &channel.id, vector));
    }
    Ok(())
}

// The emission lines of a rendition; channels of one line go together.
fn lines_of(
    recipe: &Recipe,
    rendition: &Rendition,
    wish: &Wish,
) -> Result<(Vec<Line>, Vec<Group>), AssignError> {
    let mut ids: Vec<&str> = Vec::new();
    let mut lines: Vec<Line> = Vec::new();
    let mut groups: Vec<Group> = Vec::new();
    for assignment in assignments(recipe, rendition)? {
        let channel = &recipe.channels[assignment.channel];
        let Some(known) = line(&channel.line).filter(|known| !known.is_broad()) else {
            continue;
        };
        let at = ids
            .iter()
            .position(|id| *id == known.id)
            .unwrap_or_else(|| {
                ids.push(&known.id);
                lines.push(Line {
                    channels: Vec::new(),
                    first: assignment.channel,
                    now: assignment.linear_srgb,
                });
                groups.push(Group {
                    center_nm: channel.center_nm.unwrap_or(known.center_nm),
                    share: 0.0,
                    fixed: None,
                });
                ids.len() - 1
            });
        lines[at].channels.push(channel.id.clone());
        groups[at].share += brightness_share(rendition, &channel.id);
        if wish.pinned.contains_key(&channel.id) {
            lines[at].now = assignment.linear_srgb;
            groups[at].fixed = Some(assignment.linear_srgb);
        }
    }
    Ok((lines, groups))
}

// The rendition in a palette's colours, pins kept; None where it does not fit.
fn painted(
    recipe: &Recipe,
    start: &Rendition,
    palette: &Palette,
    lines: &[Line],
    wish: &Wish,
) -> Option<(Rendition, Vec<[f64; 3]>)> {
    let there: Vec<(&str, &str)> = recipe
        .channels
        .iter()
        .filter(|channel| start.colors.contains_key(&channel.id))
        .map(|channel| (channel.id.as_str(), channel.line.as_str()))
        .collect();
    let colors = apply(palette, &there).ok()?;
    let mut made = start.clone();
    for line in lines {
        if line.channels.iter().any(|id| wish.pinned.contains_key(id)) {
            continue;
        }
        for id in &line.channels {
            made.colors.insert(id.clone(), colors.get(id)?.clone());
        }
    }
    let (lines, _) = lines_of(recipe, &made, wish).ok()?;
    Some((made, lines.into_iter().map(|line| line.now).collect()))
}

#[cfg(test)]
mod tests;
