//! What pages of pictures share: title above, credit below, measures.

use crate::engine::recipe::Recipe;
use crate::io::draw::font::{elided, width};
use crate::io::draw::{Anchor, Shape, Words, on_one_line};
use crate::work::key::looks::Looks;

/// Measures and colours of a page; lengths are pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Page {
    /// From side to side.
    pub width: f64,
    /// Around everything.
    pub margin: f64,
    /// Height of plain letters.
    pub letters: f64,
    /// Colours.
    pub looks: Looks,
}

impl Page {
    /// Measures for a page of this width.
    pub fn new(width: f64, looks: Looks) -> Self {
        let letters = (width / 96.0).clamp(12.0, 60.0).round();
        Self {
            width,
            margin: (1.6 * letters).round(),
            letters,
            looks,
        }
    }

    /// A line of plain text, elided to `room`.
    pub fn words(&self, text: &str, at: [f64; 2], size: f64, room: f64) -> Words {
        let text = elided(text, size, false, room);
        self.looks.words(&text, at, size)
    }

    /// The same in bold.
    pub fn bold(&self, text: &str, at: [f64; 2], size: f64, room: f64) -> Words {
        Words {
            bold: true,
            ..self.looks.words(&elided(text, size, true, room), at, size)
        }
    }

    /// The same in the lesser colour.
    pub fn faint(&self, text: &str, at: [f64; 2], size: f64, room: f64) -> Words {
        Words {
            ink: self.looks.faint,
            ..self.words(text, at, size, room)
        }
    }

    /// Title and what it is; gives where they end.
    pub fn head(&self, recipe: &Recipe, what: &str, shapes: &mut Vec<Shape>) -> f64 {
        let size = 1.5 * self.letters;
        let whole = self.width - 2.0 * self.margin;
        let base = self.margin + 0.8 * size;
        let mut left = self.margin;
        let title = title(recipe);
        if !title.is_empty() {
            let words = self.bold(&title, [left, base], size, 0.62 * whole);
            left += width(&words.text, size, true) + self.letters;
            shapes.push(Shape::Words(words));
        }
        let room = self.width - self.margin - left;
        let words = self.faint(what, [left, base], self.letters, room);
        shapes.push(Shape::Words(words));
        base + 1.2 * self.letters
    }

    /// The credit at the lower right; gives where it ends.
    pub fn foot(&self, recipe: &Recipe, y: f64, shapes: &mut Vec<Shape>) -> f64 {
        let credit = on_one_line(&recipe.about.credit);
        if credit.is_empty() {
            return y;
        }
        let base = y + 1.5 * self.letters;
        let size = 0.86 * self.letters;
        let room = self.width - 2.0 * self.margin;
        shapes.push(Shape::Words(Words {
            anchor: Anchor::End,
            ..self.faint(&credit, [self.width - self.margin, base], size, room)
        }));
        base
    }
}

/// What a recipe calls its picture; may be empty.
pub fn title(recipe: &Recipe) -> String {
    let about = &recipe.about;
    [&about.title, &about.object]
        .map(|text| on_one_line(text))
        .into_iter()
        .find(|text| !text.is_empty())
        .unwrap_or_default()
}
