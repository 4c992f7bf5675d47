//! Outlines that pixels and PDF share: curves and letters as pieces of a path.

use ttf_parser::{GlyphId, OutlineBuilder};

use super::font::{self, Glyph};
use super::{Point, Words};

/// A piece of a path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Piece {
    /// A new part begins here.
    Move(Point),
    /// A straight line to here.
    Line(Point),
    /// A cubic curve to the third point.
    Cubic(Point, Point, Point),
    /// Back to where the part began.
    Close,
}

// Control points of a quarter of a circle lie this share of the radius out.
const QUARTER: f64 = 0.552_284_749_831;

/// A rectangle with round corners.
pub fn round_box([x, y]: Point, [width, height]: [f64; 2], radius: f64) -> Vec<Piece> {
    let (right, bottom) = (x + width, y + height);
    let r = radius.min(0.5 * width).min(0.5 * height).max(0.0);
    if r == 0.0 {
        return vec![
            Piece::Move([x, y]),
            Piece::Line([right, y]),
            Piece::Line([right, bottom]),
            Piece::Line([x, bottom]),
            Piece::Close,
        ];
    }
    let c = r * (1.0 - QUARTER);
    vec![
        Piece::Move([x + r, y]),
        Piece::Line([right - r, y]),
        Piece::Cubic([right - c, y], [right, y + c], [right, y + r]),
        Piece::Line([right, bottom - r]),
        Piece::Cubic(
            [right, bottom - c],
            [right - c, bottom],
            [right - r, bottom],
        ),
        Piece::Line([x + r, bottom]),
        Piece::Cubic([x + c, bottom], [x, bottom - c], [x, bottom - r]),
        Piece::Line([x, y + r]),
        Piece::Cubic([x, y + c], [x + c, y], [x + r, y]),
        Piece::Close,
    ]
}

/// A circle.
pub fn disc([x, y]: Point, radius: f64) -> Vec<Piece> {
    round_box([x - radius, y - radius], [2.0 * radius; 2], radius)
}

/// Lines from point to point.
pub fn lines(points: &[Point]) -> Vec<Piece> {
    points
        .iter()
        .enumerate()
        .map(|(index, point)| match index {
            0 => Piece::Move(*point),
            _ => Piece::Line(*point),
        })
        .collect()
}

/// The letters of a line of text.
pub fn words(words: &Words) -> Vec<Piece> {
    let origin = [words.left(), words.at[1]];
    let mut pieces = Vec::new();
    for glyph in font::line(&words.text, words.size, words.bold) {
        letter(&glyph, origin, words.size, &mut pieces);
    }
    pieces
}

fn letter(glyph: &Glyph, origin: Point, size: f64, pieces: &mut Vec<Piece>) {
    let Some(face) = font::faces().get(glyph.file.0) else {
        return;
    };
    let mut pen = Pen {
        scale: size / f64::from(face.units_per_em().max(1)),
        origin: [origin[0] + glyph.x, origin[1]],
        at: origin,
        pieces,
    };
    face.outline_glyph(GlyphId(glyph.id), &mut pen);
}

struct Pen<'a> {
    scale: f64,
    origin: Point,
    at: Point,
    pieces: &'a mut Vec<Piece>,
}

impl Pen<'_> {
    // Letters are drawn with y up.
    fn place(&self, x: f32, y: f32) -> Point {
        [
            self.origin[0] + self.scale * f64::from(x),
            self.origin[1] - self.scale * f64::from(y),
        ]
    }
}

impl OutlineBuilder for Pen<'_> {
    fn move_to(&mut self, x: f32, y: f32) {
        self.at = self.place(x, y);
        self.pieces.push(Piece::Move(self.at));
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.at = self.place(x, y);
        self.pieces.push(Piece::Line(self.at));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let (from, knee, to) = (self.at, self.place(x1, y1), self.place(x, y));
        let toward = |end: Point| {
            [
                end[0] + (knee[0] - end[0]) * 2.0 / 3.0,
                end[1] + (knee[1] - end[1]) * 2.0 / 3.0,
            ]
        };
        self.pieces.push(Piece::Cubic(toward(from), toward(to), to));
        self.at = to;
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.at = self.place(x, y);
        self.pieces.push(Piece::Cubic(
            self.place(x1, y1),
            self.place(x2, y2),
            self.at,
        ));
    }

    fn close(&mut self) {
        self.pieces.push(Piece::Close);
    }
}
