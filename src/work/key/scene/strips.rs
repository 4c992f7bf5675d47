//! The spectrum with its numbers and brackets, and the hues.

use super::labels::Standing;
use super::{BRACKET_ROW, Frame, SMALL, SYMBOL, codes};
use crate::engine::key::axis::Section;
use crate::engine::key::strip;
use crate::engine::key::{Kind, Thread};
use crate::io::draw::font::width;
use crate::io::draw::{Anchor, Ink, Paint, Shape, Words};

/// Steps of a strip's colours.
const STEPS: usize = 120;

/// The spectrum with its numbers and what the filters let through.
pub fn spectrum(frame: &Frame<'_>, labels: &[Standing]) -> Vec<Shape> {
    let mut shapes = vec![aside(frame, "emitted", frame.spectrum)];
    for section in &frame.drawing.axis.sections {
        shapes.extend(part(frame, section));
    }
    for x in frame.drawing.axis.breaks() {
        let x = frame.at(x);
        for side in [-2.5, 2.5] {
            shapes.push(Shape::Line {
                points: vec![
                    [x + side - 2.5, frame.spectrum[1] + 2.0],
                    [x + side + 2.5, frame.spectrum[0] - 2.0],
                ],
                width: 1.2,
                paint: frame.looks().faint.into(),
            });
        }
    }
    shapes.extend(numbers(frame, labels));
    for thread in frame.drawing.threads.iter().filter(|t| super::is_line(t)) {
        shapes.extend(passband(frame, thread));
    }
    shapes
}

fn aside(frame: &Frame<'_>, word: &str, [top, bottom]: [f64; 2]) -> Shape {
    let at = [frame.x[0] - 14.0, 0.5 * (top + bottom) + 4.5];
    Shape::Words(Words {
        anchor: Anchor::End,
        ink: frame.looks().faint,
        ..frame.looks().words(word, at, SMALL)
    })
}

fn part(frame: &Frame<'_>, section: &Section) -> Vec<Shape> {
    let [left, right] = section.x.map(|x| frame.at(x));
    let [top, bottom] = frame.spectrum;
    let fill = |paint: Paint| Shape::Box {
        at: [left, top],
        size: [right - left, bottom - top],
        radius: 0.0,
        paint,
    };
    let dark = frame.looks().dark;
    if section.folded {
        // What no eye sees: hatched, each line at 45 degrees and cut off at the
        // sides.
        let mut shapes = vec![fill(Ink::full(dark).into())];
        let height = bottom - top;
        let mut x = left - height + 4.0;
        while x < right {
            let from = (left - x).max(0.0);
            let to = (right - x).min(height);
            if to > from {
                shapes.push(Shape::Line {
                    points: vec![[x + from, bottom - from], [x + to, bottom - to]],
                    width: 0.8,
                    paint: Ink::grey(105).into(),
                });
            }
            x += 7.0;
        }
        return shapes;
    }
    let stops = (0..=STEPS)
        .map(|step| {
            let share = step as f64 / STEPS as f64;
            let nm = section.nm[0] + share * (section.nm[1] - section.nm[0]);
            let least = dark[0];
            (share, codes(strip::light(nm)).map(|code| code.max(least)))
        })
        .collect();
    vec![fill(Paint::Along {
        from: [left, top],
        to: [right, top],
        stops,
    })]
}

fn numbers(frame: &Frame<'_>, labels: &[Standing]) -> Vec<Shape> {
    let looks = frame.looks();
    let top = frame.spectrum[0];
    let base = top - 7.5;
    let mut shapes = Vec::new();
    let faint = |text: &str, x: f64, anchor| {
        Shape::Words(Words {
            anchor,
            ink: looks.faint,
            ..looks.words(text, [x, base], 11.5)
        })
    };
    for tick in frame.drawing.axis.ticks() {
        let x = frame.at(tick.x);
        let length = if tick.labelled { 5.0 } else { 3.5 };
        shapes.push(Shape::Line {
            points: vec![[x, top - length], [x, top - 1.5]],
            width: 1.0,
            paint: looks.line.into(),
        });
        // A leader through a number would cross it out.
        if tick.labelled && labels.iter().all(|label| (label.x - x).abs() > 15.0) {
            shapes.push(faint(&format!("{:.0}", tick.nm), x, Anchor::Middle));
        }
    }
    shapes.push(faint("nm", frame.x[1] + 16.0, Anchor::Start));
    shapes
}

// What a filter lets through, to scale.
fn passband(frame: &Frame<'_>, thread: &Thread) -> Vec<Shape> {
    let middle = frame.at(thread.x);
    let half = 0.5 * (frame.at(thread.band[1]) - frame.at(thread.band[0])).max(1.5);
    let [top, bottom] = frame.spectrum;
    let white = Ink::grey(255);
    let upright = |half: f64, ink: Ink| Shape::Box {
        at: [middle - half, top],
        size: [2.0 * half, bottom - top],
        radius: 0.0,
        paint: ink.into(),
    };
    vec![upright(half, white.with_cover(0.34)), upright(0.9, white)]
}

/// What broad bands span, above the numbers; `bottom` of their rows.
pub fn brackets(frame: &Frame<'_>, bottom: f64) -> Vec<Shape> {
    let mut shapes = Vec::new();
    let broad = |thread: &&Thread| thread.kind == Kind::Broad;
    for thread in frame.drawing.threads.iter().filter(broad) {
        let row = frame.drawing.bracket_row(thread).unwrap_or(0);
        let y = bottom - BRACKET_ROW * (row as f64 + 0.5);
        let [from, to] = thread.band.map(|x| frame.at(x.clamp(0.0, 1.0)));
        let foot = y + 5.0;
        shapes.push(Shape::Line {
            points: vec![
                [from + 1.5, foot],
                [from + 1.5, y],
                [to - 1.5, y],
                [to - 1.5, foot],
            ],
            width: 1.4,
            paint: frame.looks().faint.into(),
        });
        let symbol = frame
            .line(thread)
            .map_or(&thread.symbol, |line| &line.symbol);
        let length = width(symbol, SYMBOL, true);
        let x = frame.at(thread.label_x);
        shapes.push(Shape::Box {
            at: [x - 0.5 * length - 5.0, y - 8.0],
            size: [length + 10.0, 16.0],
            radius: 0.0,
            paint: frame.plate().into(),
        });
        shapes.push(Shape::Words(Words {
            anchor: Anchor::Middle,
            bold: true,
            ..frame.looks().words(symbol, [x, y + 5.0], SYMBOL)
        }));
    }
    shapes
}

/// The hues, and white beside them.
pub fn scale(frame: &Frame<'_>) -> Vec<Shape> {
    let [top, bottom] = frame.scale;
    let right = frame.at(strip::SCALE_END);
    let all = strip::hues();
    let stops = (0..=STEPS)
        .map(|step| {
            let share = step as f64 / STEPS as f64;
            (share, codes(all[(3 * step).min(360)]))
        })
        .collect();
    let middle = frame.at(strip::WHITE_STOP);
    let half = frame.x[1] - middle;
    let mut shapes = vec![
        aside(frame, "shown", frame.scale),
        Shape::Box {
            at: [frame.x[0], top],
            size: [right - frame.x[0], bottom - top],
            radius: 0.0,
            paint: Paint::Along {
                from: [frame.x[0], top],
                to: [right, top],
                stops,
            },
        },
    ];
    let stop = |grow: f64, ink: Ink| Shape::Box {
        at: [middle - half - grow, top - grow],
        size: [2.0 * (half + grow), bottom - top + 2.0 * grow],
        radius: 0.0,
        paint: ink.into(),
    };
    shapes.push(stop(1.0, frame.looks().line));
    shapes.push(stop(0.0, Ink::grey(255)));
    let at = [frame.x[1] + 10.0, 0.5 * (top + bottom) + 4.5];
    shapes.push(Shape::Words(Words {
        ink: frame.looks().faint,
        ..frame.looks().words("white", at, SMALL)
    }));
    shapes
}
