//! Where every thread begins and ends, and where its names stand.

use std::collections::BTreeMap;

use super::axis::Axis;
use super::shade::Shade;
use super::spread::spread;
use super::strip;
use crate::engine::color::oklab::oklch;
use crate::engine::lines::{Line, line};
use crate::engine::mix::assign::{assignments, natural_color, vector};
use crate::engine::recipe::{Channel, ColorValue, Recipe, Rendition};

/// What a channel holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// An emission line.
    Line,
    /// A broad band: L, R, G or B.
    Broad,
}

/// A channel in the drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct Thread {
    /// Index of the channel in the recipe.
    pub channel: usize,
    /// Its id.
    pub id: String,
    /// As it is printed: "Hα".
    pub symbol: String,
    /// The same, with the id where two channels share a symbol.
    pub name: String,
    /// Line or broad band.
    pub kind: Kind,
    /// Middle of the passband, nm in air.
    pub center_nm: f64,
    /// Full width of the passband, nm; None where it is not known.
    pub width_nm: Option<f64>,
    /// The colour of its light as a screen can hint at it, linear sRGB; None:
    /// invisible.
    pub light: Option<[f64; 3]>,
    /// The Oklch hue of its light, degrees; None: invisible or white.
    pub natural_hue: Option<f64>,
    /// Where its light lies.
    pub x: f64,
    /// Where its passband lies.
    pub band: [f64; 2],
    /// Middle of its upper name.
    pub label_x: f64,
    /// Row of its upper name, 0 nearest to the spectrum.
    pub label_row: usize,
    /// Its lower end; None: the rendition leaves it out.
    pub end: Option<End>,
}

/// The lower end of a thread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct End {
    /// The colour, linear sRGB, unbounded.
    pub linear_srgb: [f64; 3],
    /// The same as hue, saturation and strength.
    pub shade: Shade,
    /// Whether it is the light's own colour.
    pub natural: bool,
    /// Where it hangs: on the hue scale, or at the white stop.
    pub x: f64,
    /// How many ends hang above it, so that none hides another.
    pub lane: usize,
}

/// Everything that is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// Wavelengths.
    pub axis: Axis,
    /// By wavelength, rising.
    pub threads: Vec<Thread>,
    /// Rows of upper names.
    pub label_rows: usize,
    /// Rows of brackets for broad bands; see [`Self::bracket_row`].
    pub bracket_rows: usize,
    /// Lanes of lower ends.
    pub lanes: usize,
}

/// Sizes of what is written, as shares of the drawing's length.
pub struct Metrics<'a> {
    /// Width of a text.
    pub text: &'a dyn Fn(&str) -> f64,
    /// Width of the sign that gives a channel a colour.
    pub sign: f64,
    /// Width of an end.
    pub bead: f64,
    /// The least distance between two things.
    pub gap: f64,
    /// How far names may reach beyond the ends of the drawing.
    pub margin: f64,
    /// Lanes of ends by their channels' ids, to be kept as they are: while a hand
    /// pulls an end across others, none of them jumps aside.
    pub held: Option<&'a BTreeMap<String, usize>>,
}

/// What stands behind the symbol of an end in its light's own colour.
pub const NATURAL_MARK: &str = "natural";

impl Drawing {
    /// The row of a broad band's bracket, 0 nearest to the spectrum; None for
    /// lines. L spans the others and lies above them.
    pub fn bracket_row(&self, thread: &Thread) -> Option<usize> {
        (thread.kind == Kind::Broad)
            .then_some(usize::from(thread.symbol == "L" && self.bracket_rows > 1))
    }

    /// The lane of each end by its channel's id, for [`Metrics::held`].
    pub fn held(&self) -> BTreeMap<String, usize> {
        self.threads
            .iter()
            .filter_map(|thread| Some((thread.id.clone(), thread.end?.lane)))
            .collect()
    }

    /// The thread of a channel.
    pub fn thread(&self, id: &str) -> Option<&Thread> {
        self.threads.iter().find(|thread| thread.id == id)
    }
}

/// Lays out a rendition. Channels whose line the table does not know are left
/// out: a checked recipe has none.
pub fn drawing(recipe: &Recipe, rendition: &Rendition, metrics: &Metrics<'_>) -> Drawing {
    let known: Vec<(usize, &Channel, &Line)> = recipe
        .channels
        .iter()
        .enumerate()
        .filter_map(|(index, channel)| Some((index, channel, line(&channel.line)?)))
        .collect();
    let center = |channel: &Channel, line: &Line| channel.center_nm.unwrap_or(line.center_nm);
    let axis = Axis::for_lines(
        known
            .iter()
            .filter(|(_, _, line)| !line.is_broad())
            .map(|(_, channel, line)| center(channel, line)),
    );
    let weighed = assignments(recipe, rendition).unwrap_or_default();
    let mut threads: Vec<Thread> = known
        .iter()
        .map(|&(index, channel, line)| {
            let center_nm = center(channel, line);
            let width_nm = channel.width_nm.or(line.width_nm);
            let half = 0.5 * width_nm.unwrap_or(0.0);
            let own = natural_color(&line.id, channel.center_nm);
            let shared = known.iter().filter(|(_, _, l)| l.symbol == line.symbol);
            let name = if shared.count() > 1 {
                format!("{} ({})", line.symbol, channel.id)
            } else {
                line.symbol.clone()
            };
            let end = rendition.colors.get(&channel.id).and_then(|value| {
                let by_eye = weighed.iter().find(|a| a.channel == index);
                let linear_srgb = match by_eye {
                    Some(assignment) => assignment.linear_srgb,
                    None => vector(value, &channel.line, channel.center_nm).ok()??,
                };
                Some(end_of(value, linear_srgb, own))
            });
            Thread {
                channel: index,
                id: channel.id.clone(),
                symbol: line.symbol.clone(),
                name,
                kind: if line.is_broad() {
                    Kind::Broad
                } else {
                    Kind::Line
                },
                center_nm,
                width_nm,
                light: if line.is_broad() {
                    own
                } else {
                    strip::line(center_nm)
                },
                natural_hue: own.and_then(hue_of),
                x: axis.place(center_nm),
                band: [axis.place(center_nm - half), axis.place(center_nm + half)],
                label_x: 0.0,
                label_row: 0,
                end,
            }
        })
        .collect();
    threads.sort_by(|a, b| a.center_nm.total_cmp(&b.center_nm));
    let label_rows = place_names(&mut threads, metrics);
    let lanes = place_ends(&mut threads, metrics);
    let has = |l: bool| {
        threads
            .iter()
            .any(|thread| thread.kind == Kind::Broad && (thread.symbol == "L") == l)
    };
    let bracket_rows = usize::from(has(true)) + usize::from(has(false));
    Drawing {
        axis,
        threads,
        label_rows,
        bracket_rows,
        lanes,
    }
}

fn hue_of(linear_srgb: [f64; 3]) -> Option<f64> {
    let shade = Shade::of_vector(linear_srgb);
    (!shade.is_white()).then(|| oklch(linear_srgb)[2])
}

fn end_of(value: &ColorValue, linear_srgb: [f64; 3], own: Option<[f64; 3]>) -> End {
    let natural = *value == ColorValue::Natural;
    let mut shade = Shade::of(value, linear_srgb);
    // A line weighed by the eye is darker, and its hue is that of its light.
    if let Some(hue) = own.filter(|_| natural).and_then(hue_of) {
        shade.hue = hue;
    }
    End {
        linear_srgb,
        shade,
        natural,
        x: if shade.is_white() {
            strip::WHITE_STOP
        } else {
            strip::hue_place(shade.hue)
        },
        lane: 0,
    }
}

// Names of lines above the spectrum. A broad band has its name on its bracket.
fn place_names(threads: &mut [Thread], metrics: &Metrics<'_>) -> usize {
    let named: Vec<usize> = (0..threads.len())
        .filter(|i| threads[*i].kind == Kind::Line)
        .collect();
    let wished: Vec<(f64, f64)> = named
        .iter()
        .map(|i| (threads[*i].x, name_width(&threads[*i], metrics)))
        .collect();
    let slots = spread(
        &wished,
        metrics.gap,
        [-metrics.margin, 1.0 + metrics.margin],
    );
    for (index, slot) in named.iter().zip(&slots) {
        threads[*index].label_x = slot.x;
        threads[*index].label_row = slot.row;
    }
    for l in [false, true] {
        let named: Vec<usize> = (0..threads.len())
            .filter(|i| threads[*i].kind == Kind::Broad && (threads[*i].symbol == "L") == l)
            .collect();
        let wished: Vec<(f64, f64)> = named
            .iter()
            .map(|i| (threads[*i].x, name_width(&threads[*i], metrics)))
            .collect();
        for (index, slot) in named.iter().zip(spread(&wished, metrics.gap, [0.0, 1.0])) {
            threads[*index].label_x = slot.x;
        }
    }
    slots.iter().map(|slot| slot.row + 1).max().unwrap_or(0)
}

/// Width of a channel's upper name; one that is left out has a sign beside it.
pub fn name_width(thread: &Thread, metrics: &Metrics<'_>) -> f64 {
    let sign = if thread.end.is_none() {
        metrics.sign
    } else {
        0.0
    };
    (metrics.text)(&thread.symbol) + sign
}

/// From where to where an end and its name reach.
pub fn end_reach(thread: &Thread, end: &End, metrics: &Metrics<'_>) -> [f64; 2] {
    let mut width = (metrics.text)(&thread.symbol) + metrics.gap;
    if end.natural {
        width += (metrics.text)(NATURAL_MARK) + metrics.gap;
    }
    [
        end.x - 0.5 * metrics.bead,
        end.x + 0.5 * metrics.bead + width,
    ]
}

// Every end into the highest lane where it touches none that hangs there.
fn place_ends(threads: &mut [Thread], metrics: &Metrics<'_>) -> usize {
    let mut taken: Vec<Vec<[f64; 2]>> = Vec::new();
    if let Some(held) = metrics.held {
        for thread in threads.iter_mut() {
            if let Some(end) = &mut thread.end {
                end.lane = held.get(&thread.id).copied().unwrap_or(0);
            }
        }
        return held.values().map(|lane| lane + 1).max().unwrap_or(0);
    }
    for index in 0..threads.len() {
        let Some(end) = threads[index].end else {
            continue;
        };
        let [from, to] = end_reach(&threads[index], &end, metrics);
        let free = |lane: &Vec<[f64; 2]>| {
            lane.iter()
                .all(|other| to + metrics.gap <= other[0] || other[1] + metrics.gap <= from)
        };
        let lane = taken.iter().position(free).unwrap_or(taken.len());
        if lane == taken.len() {
            taken.push(Vec::new());
        }
        taken[lane].push([from, to]);
        if let Some(end) = &mut threads[index].end {
            end.lane = lane;
        }
    }
    taken.len()
}

#[cfg(test)]
#[path = "layout_tests.rs"]
mod tests;
