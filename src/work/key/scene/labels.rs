//! Names above the spectrum and below the hues.

use super::{BEAD, Frame, LANE, NAME_ROW, SMALL, SYMBOL, is_line};
use crate::engine::key::spread::spread;
use crate::io::draw::font::{elided, width};
use crate::io::draw::{Ink, Paint, Shape, Words};

/// The longest symbol, units: a channel's id may be in it.
const LONGEST: f64 = 190.0;
/// Between a symbol and what stands behind it.
const SPACE: f64 = 6.0;
/// Between two labels.
const GAP: f64 = 14.0;

/// A name above the spectrum.
pub struct Standing {
    /// The channel's id.
    pub channel: String,
    symbol: String,
    number: String,
    /// Its middle.
    middle: f64,
    /// Its row, 0 nearest to the spectrum.
    pub row: usize,
    /// Where its line lies.
    pub x: f64,
}

impl Standing {
    fn width(&self) -> f64 {
        both(&self.symbol, &self.number)
    }
}

/// A name below the hues.
pub struct Hanging {
    /// The channel's id.
    pub channel: String,
    symbol: String,
    word: String,
    x: f64,
    from: f64,
    /// Its lane, 0 nearest to the hues.
    pub lane: usize,
    linear_srgb: [f64; 3],
}

fn both(symbol: &str, more: &str) -> f64 {
    width(symbol, SYMBOL, true) + SPACE + width(more, SMALL, false)
}

/// Places the names of the lines.
pub fn standing(frame: &Frame<'_>) -> Vec<Standing> {
    let mut labels: Vec<Standing> = frame
        .drawing
        .threads
        .iter()
        .filter(|thread| is_line(thread))
        .filter_map(|thread| {
            let line = frame.line(thread)?;
            Some(Standing {
                channel: thread.id.clone(),
                symbol: elided(&line.symbol, SYMBOL, true, LONGEST),
                number: format!("{:.1} nm", thread.center_nm),
                middle: 0.0,
                row: 0,
                x: frame.at(thread.x),
            })
        })
        .collect();
    let wished: Vec<(f64, f64)> = labels
        .iter()
        .map(|label| (label.x, label.width()))
        .collect();
    let ends = [frame.margin, frame.plan.width - frame.margin];
    for (label, slot) in labels.iter_mut().zip(spread(&wished, GAP, ends)) {
        label.middle = slot.x;
        label.row = slot.row;
    }
    labels
}

/// From each name to its place on the spectrum; `bottom` of the names.
pub fn leaders(frame: &Frame<'_>, labels: &[Standing], bottom: f64) -> Vec<Shape> {
    labels
        .iter()
        .map(|label| {
            let from = bottom - NAME_ROW * label.row as f64 - 3.0;
            Shape::Line {
                points: vec![
                    [label.middle, from],
                    [label.x, bottom + 7.0],
                    [label.x, frame.spectrum[0]],
                ],
                width: 1.0,
                paint: frame.looks().line.into(),
            }
        })
        .collect()
}

/// A name above the spectrum.
pub fn upper(frame: &Frame<'_>, label: &Standing, bottom: f64) -> Vec<Shape> {
    let base = bottom - NAME_ROW * label.row as f64 - 7.0;
    let left = label.middle - 0.5 * label.width();
    // Leaders of the rows above pass behind.
    let mut shapes = vec![plate(frame, left, base, label.width())];
    shapes.extend(pair(frame, &label.symbol, &label.number, [left, base]));
    shapes
}

fn plate(frame: &Frame<'_>, left: f64, base: f64, width: f64) -> Shape {
    Shape::Box {
        at: [left - 3.0, base - 12.0],
        size: [width + 6.0, 16.0],
        radius: 0.0,
        paint: Paint::Flat(frame.plate()),
    }
}

fn pair(frame: &Frame<'_>, symbol: &str, more: &str, [x, base]: [f64; 2]) -> [Shape; 2] {
    let looks = frame.looks();
    let after = x + width(symbol, SYMBOL, true) + SPACE;
    [
        Shape::Words(Words {
            bold: true,
            ..looks.words(symbol, [x, base], SYMBOL)
        }),
        Shape::Words(Words {
            ink: looks.faint,
            ..looks.words(more, [after, base], SMALL)
        }),
    ]
}

/// Places the ends, each in the highest lane where it touches none.
pub fn hanging(frame: &Frame<'_>) -> Vec<Hanging> {
    let mut taken: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut labels = Vec::new();
    let lines = &frame.facts.lines;
    let partly = lines.iter().any(|line| line.natural) && lines.iter().any(|line| !line.natural);
    for thread in &frame.drawing.threads {
        let (Some(end), Some(line)) = (thread.end, frame.line(thread)) else {
            continue;
        };
        let word = if partly && line.natural {
            format!("{}, natural", line.word)
        } else {
            line.word.clone()
        };
        let x = frame.at(end.x);
        let reach = BEAD + 7.0;
        let right = frame.plan.width - frame.margin - x - reach;
        let left = x - reach - frame.margin;
        let symbol = elided(&line.symbol, SYMBOL, true, LONGEST);
        // Near the right end the name stands left of its dot.
        let to_the_left = both(&symbol, &word) > right && left > right;
        let room = if to_the_left { left } else { right };
        let symbol = elided(&symbol, SYMBOL, true, room - both("", &word));
        let length = both(&symbol, &word);
        let from = if to_the_left {
            x - reach - length
        } else {
            x + reach
        };
        let span = if to_the_left {
            [from, x + BEAD + 3.0]
        } else {
            [x - BEAD - 3.0, from + length]
        };
        let free = |lane: &Vec<[f64; 2]>| {
            lane.iter()
                .all(|other| span[1] + GAP <= other[0] || other[1] + GAP <= span[0])
        };
        let lane = taken.iter().position(free).unwrap_or(taken.len());
        if lane == taken.len() {
            taken.push(Vec::new());
        }
        taken[lane].push(span);
        labels.push(Hanging {
            channel: thread.id.clone(),
            symbol,
            word,
            x,
            from,
            lane,
            linear_srgb: end.linear_srgb,
        });
    }
    labels
}

fn bead_y(frame: &Frame<'_>, label: &Hanging) -> f64 {
    frame.scale[1] + 20.0 + LANE * label.lane as f64
}

/// From the hues to an end.
pub fn stem(frame: &Frame<'_>, label: &Hanging) -> Vec<Shape> {
    let line = |from: f64, to: f64, width: f64, ink: Ink| Shape::Line {
        points: vec![[label.x, from], [label.x, to]],
        width,
        paint: ink.into(),
    };
    let ([top, bottom], bead) = (frame.scale, bead_y(frame, label));
    let dark = Ink::full(frame.looks().dark);
    let color = Ink::full(super::codes(label.linear_srgb));
    let mut shapes = Vec::new();
    if let Some(edge) = frame.looks().edge {
        shapes.push(line(bottom, bead, 3.6, edge));
    }
    shapes.push(line(bottom + 1.0, bead, 2.0, color));
    // Across the hues in the dark, so that the place can be read on them.
    shapes.push(line(top + 2.5, bottom - 2.5, 5.0, dark));
    shapes.push(line(top + 1.0, bottom + 1.0, 2.0, color));
    shapes
}

/// An end and its name.
pub fn lower(frame: &Frame<'_>, label: &Hanging) -> Vec<Shape> {
    let y = bead_y(frame, label);
    let length = both(&label.symbol, &label.word);
    let base = y + 5.0;
    let rim = Shape::Disc {
        center: [label.x, y],
        radius: BEAD + 3.0,
        ink: frame.plate(),
    };
    let mut shapes = vec![plate(frame, label.from, base, length), rim];
    shapes.extend(frame.looks().dot([label.x, y], BEAD, label.linear_srgb));
    shapes.extend(pair(frame, &label.symbol, &label.word, [label.from, base]));
    shapes
}
