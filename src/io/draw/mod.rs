//! Drawings of plain shapes and words, and three ways to write them: as SVG
//! text, as pixels, and as a page of PDF. All three show the same.
//!
//! Lengths are in units of the drawing, x right, y down; colours are sRGB.

pub mod base;

pub mod file;

pub mod font;

pub mod pdf;

pub mod pixels;

pub mod svg;

mod outline;

/// A place in a drawing.
pub type Point = [f64; 2];

/// A colour with its cover.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ink {
    /// sRGB codes.
    pub rgb: [u8; 3],
    /// 0 is clear, 1 hides what lies beneath.
    pub cover: f64,
}

impl Ink {
    /// A colour that hides what lies beneath.
    pub const fn full(rgb: [u8; 3]) -> Self {
        Self { rgb, cover: 1.0 }
    }

    /// A grey that hides what lies beneath.
    pub const fn grey(code: u8) -> Self {
        Self::full([code; 3])
    }

    /// The same colour with another cover.
    pub const fn with_cover(self, cover: f64) -> Self {
        Self { cover, ..self }
    }
}

/// What a shape is filled or drawn with.
#[derive(Debug, Clone, PartialEq)]
pub enum Paint {
    /// One colour.
    Flat(Ink),
    /// Colours along a line, all of full cover; beyond its ends the last ones.
    Along {
        /// Where the first colour lies.
        from: Point,
        /// Where the last one lies.
        to: Point,
        /// Shares of the way from 0 to 1, rising, with their colours.
        stops: Vec<(f64, [u8; 3])>,
    },
}

impl From<Ink> for Paint {
    fn from(ink: Ink) -> Self {
        Self::Flat(ink)
    }
}

/// Which side of its place a text stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Its left end is there.
    Start,
    /// Its middle is there.
    Middle,
    /// Its right end is there.
    End,
}

/// A line of text.
#[derive(Debug, Clone, PartialEq)]
pub struct Words {
    /// The anchor on the base line.
    pub at: Point,
    /// Which part of the text is there.
    pub anchor: Anchor,
    /// Height of the letters' body.
    pub size: f64,
    /// Whether the face is bold.
    pub bold: bool,
    /// Its colour.
    pub ink: Ink,
    /// The text.
    pub text: String,
}

impl Words {
    /// Where its left end lies.
    pub fn left(&self) -> f64 {
        let width = font::width(&self.text, self.size, self.bold);
        match self.anchor {
            Anchor::Start => self.at[0],
            Anchor::Middle => self.at[0] - 0.5 * width,
            Anchor::End => self.at[0] - width,
        }
    }

    /// The box that it fills: left, top, right, bottom.
    pub fn reach(&self) -> [f64; 4] {
        let left = self.left();
        let width = font::width(&self.text, self.size, self.bold);
        let y = self.at[1];
        [
            left,
            y - 0.75 * self.size,
            left + width,
            y + 0.22 * self.size,
        ]
    }
}

/// A part of a drawing.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A filled rectangle.
    Box {
        /// Upper left corner.
        at: Point,
        /// Width and height.
        size: [f64; 2],
        /// Radius of its corners.
        radius: f64,
        /// What it is filled with.
        paint: Paint,
    },
    /// Straight lines from point to point.
    Line {
        /// The points.
        points: Vec<Point>,
        /// Width.
        width: f64,
        /// Its colour.
        paint: Paint,
    },
    /// A cubic curve: two ends with two control points between them.
    Curve {
        /// The four points.
        points: [Point; 4],
        /// Width.
        width: f64,
        /// Its colour.
        paint: Paint,
    },
    /// A filled circle.
    Disc {
        /// Its middle.
        center: Point,
        /// Its radius.
        radius: f64,
        /// What it is filled with.
        ink: Ink,
    },
    /// A filled area between straight lines.
    Area {
        /// Its corners.
        points: Vec<Point>,
        /// What it is filled with.
        ink: Ink,
    },
    /// A line of text.
    Words(Words),
    /// Shapes that belong together, with a name for readers of the drawing.
    Group {
        /// The name.
        name: String,
        /// The shapes.
        shapes: Vec<Shape>,
    },
}

impl Shape {
    /// The same, `scale` times as large and then moved by `by`.
    #[must_use]
    pub fn moved(&self, by: Point, scale: f64) -> Self {
        let place = |[x, y]: Point| [by[0] + scale * x, by[1] + scale * y];
        let paint = |paint: &Paint| match paint {
            Paint::Flat(ink) => Paint::Flat(*ink),
            Paint::Along { from, to, stops } => Paint::Along {
                from: place(*from),
                to: place(*to),
                stops: stops.clone(),
            },
        };
        match self {
            Self::Box {
                at,
                size,
                radius,
                paint: fill,
            } => Self::Box {
                at: place(*at),
                size: size.map(|side| scale * side),
                radius: scale * radius,
                paint: paint(fill),
            },
            Self::Line {
                points,
                width,
                paint: stroke,
            } => Self::Line {
                points: points.iter().copied().map(place).collect(),
                width: scale * width,
                paint: paint(stroke),
            },
            Self::Curve {
                points,
                width,
                paint: stroke,
            } => Self::Curve {
                points: points.map(place),
                width: scale * width,
                paint: paint(stroke),
            },
            Self::Disc {
                center,
                radius,
                ink,
            } => Self::Disc {
                center: place(*center),
                radius: scale * radius,
                ink: *ink,
            },
            Self::Area { points, ink } => Self::Area {
                points: points.iter().copied().map(place).collect(),
                ink: *ink,
            },
            Self::Words(words) => Self::Words(Words {
                at: place(words.at),
                size: scale * words.size,
                ..words.clone()
            }),
            Self::Group { name, shapes } => Self::Group {
                name: name.clone(),
                shapes: shapes.iter().map(|shape| shape.moved(by, scale)).collect(),
            },
        }
    }
}

/// A picture of pixels: sRGB codes, three bytes a pixel, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Pixels in a row, and rows.
    pub size: [usize; 2],
    /// The codes.
    pub rgb: Vec<u8>,
}

/// A picture in a drawing, one pixel to the unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Its upper left corner.
    pub at: [usize; 2],
    /// The picture.
    pub picture: Picture,
}

/// A whole drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// Width and height.
    pub size: [f64; 2],
    /// What it is called.
    pub title: String,
    /// What it shows, in words, for someone who does not see it.
    pub about: String,
    /// What lies beneath everything; None: nothing does.
    pub ground: Option<[u8; 3]>,
    /// Pictures, above the ground.
    pub pictures: Vec<Placed>,
    /// Shapes, above the pictures, the last one on top.
    pub shapes: Vec<Shape>,
}

impl Scene {
    /// All lines of text, also those in groups.
    pub fn words(&self) -> Vec<&Words> {
        fn collect<'a>(shapes: &'a [Shape], all: &mut Vec<&'a Words>) {
            for shape in shapes {
                match shape {
                    Shape::Words(words) => all.push(words),
                    Shape::Group { shapes, .. } => collect(shapes, all),
                    _ => {}
                }
            }
        }
        let mut all = Vec::new();
        collect(&self.shapes, &mut all);
        all
    }
}

/// Whether a character has no place in a line of text: it would break the line,
/// turn its direction or be invalid in XML.
fn is_unprintable(letter: char) -> bool {
    letter.is_control()
        || matches!(letter, '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}')
}

/// A text on one line: what has no place in a line becomes a space, and
/// spaces do not pile up.
pub fn on_one_line(text: &str) -> String {
    let mut line = String::new();
    for letter in text.chars() {
        let letter = if is_unprintable(letter) { ' ' } else { letter };
        if letter != ' ' || !(line.is_empty() || line.ends_with(' ')) {
            line.push(letter);
        }
    }
    line.truncate(line.trim_end().len());
    line
}
