//! Where pictures, labels, captions and keys of a comparison lie.

use super::split::joined;
use super::{Request, Split};
use crate::engine::frame::Size;
use crate::engine::recipe::Recipe;
use crate::io::draw::font::{elided, width};
use crate::io::draw::{Ink, Picture, Placed, Scene, Shape, Words};
use crate::work::Error;
use crate::work::key::facts::Facts;
use crate::work::key::looks::Looks;
use crate::work::key::scene::{Laid, NARROWEST as NARROWEST_KEY};
use crate::work::sheet::page::{Page, title};

/// A rendition that is compared.
pub struct Part {
    /// What it looks like.
    pub picture: Picture,
    /// What is said of it.
    pub facts: Facts,
    /// Its key.
    pub key: Option<Laid>,
}

/// The narrowest picture, pixels.
const NARROWEST: f64 = 100.0;

/// Pixels to the unit of a key below which it cannot be read.
const LEAST_KEY_SCALE: f64 = 0.75;

/// Measures of a comparison, pixels.
pub struct Layout {
    page: Page,
    split: Option<Split>,
    /// Columns of captions and keys, and of pictures where there are several.
    columns: usize,
    gap: f64,
    /// Width that a column has at least.
    least: f64,
    /// Width and height of a picture.
    picture: [f64; 2],
}

impl Layout {
    /// Measures for pictures of a size.
    ///
    /// # Errors
    /// Where they would be too narrow.
    pub fn new(request: &Request, size: Size, looks: Looks) -> Result<Self, Error> {
        let count = request.renditions.len();
        let columns = match count {
            // Captions of one picture stand below each other.
            _ if request.split.is_some() && !request.key => 1,
            0..=3 => count.max(1),
            4 => 2,
            _ => 3,
        };
        // Fewer where a key would have no room; a small picture gets a wider page.
        let page = Page::new(request.width as f64, looks);
        let room = request.width as f64 - 2.0 * page.margin;
        let least = match request.key {
            true => (LEAST_KEY_SCALE * NARROWEST_KEY).ceil().min(room),
            false => 0.0,
        };
        let fitting = ((room + page.letters) / (least + page.letters)) as usize;
        let columns = columns.min(fitting.max(1));
        let side_by_side = if request.split.is_some() { 1 } else { columns };
        let measures = |width: f64| {
            let page = Page::new(width, looks);
            let gaps = page.letters * (side_by_side - 1) as f64;
            let room = width - 2.0 * page.margin - gaps;
            (page, (room / side_by_side as f64).floor())
        };
        let (mut page, mut across) = measures(request.width as f64);
        if across > size.width as f64 {
            // Nothing is enlarged: of a small picture the page is narrower.
            let whole = size.width as f64 * side_by_side as f64;
            (page, _) = measures(whole * (request.width as f64 / (across * side_by_side as f64)));
            across = size.width as f64;
        }
        if across < NARROWEST {
            return Err(Error::request(
                format!("pictures {across} pixels wide are too narrow to compare"),
                "ask for a larger --width, or name fewer renditions",
            ));
        }
        let flatness = size.height as f64 / size.width as f64;
        Ok(Self {
            page,
            split: request.split,
            columns,
            gap: page.letters,
            least,
            picture: [across, (across * flatness).round().max(1.0)],
        })
    }

    /// The longer side of a picture.
    pub fn long_edge(&self) -> usize {
        self.picture[0].max(self.picture[1]) as usize
    }

    // Pictures may be narrower than what stands below them.
    fn column(&self) -> f64 {
        let fitting = match self.split {
            None => self.picture[0],
            Some(_) => (self.picture[0] - self.gaps()) / self.columns as f64,
        };
        fitting.max(self.least)
    }

    fn gaps(&self) -> f64 {
        self.gap * (self.columns - 1) as f64
    }

    /// How wide a key is in its own units: its letters are as high as the
    /// page's, where there is room.
    pub fn key_units(&self) -> f64 {
        (14.0 * self.column() / self.page.letters).max(NARROWEST_KEY)
    }

    /// Lays everything out; all pictures have the size `small`.
    pub fn scene(mut self, recipe: &Recipe, small: Size, parts: Vec<Part>) -> Scene {
        self.picture = [small.width as f64, small.height as f64];
        let all = self.column() * self.columns as f64 + self.gaps();
        let across = all.max(self.picture[0]);
        let wanted = self.page.width;
        self.page.width = across + 2.0 * self.page.margin;
        if (0.0..self.columns as f64 + 1.0).contains(&(wanted - self.page.width)) {
            self.page.width = wanted;
        }
        let mut shapes = Vec::new();
        let what = format!("{} renditions of the same data", parts.len());
        let top = self.page.head(recipe, &what, &mut shapes).round();
        let about = about(&parts);
        let mut pictures = Vec::new();
        let mut y = top;
        match self.split {
            Some(split) => {
                let all: Vec<Picture> = parts.iter().map(|part| part.picture.clone()).collect();
                if let Some(picture) = joined(&all, split) {
                    let at = [self.page.margin as usize, top as usize];
                    pictures.push(Placed { at, picture });
                }
                shapes.extend(self.dividers(split, parts.len(), top));
                shapes.extend(self.labels(split, &parts, top));
                y += self.picture[1];
                for row in parts.chunks(self.columns) {
                    y = self.below(row, y, &mut shapes);
                }
            }
            None => {
                let columns = self.columns;
                for row in parts.chunks(columns) {
                    for (index, part) in row.iter().enumerate() {
                        let x = self.left(index).round();
                        pictures.push(Placed {
                            at: [x as usize, y as usize],
                            picture: part.picture.clone(),
                        });
                        let at = [x + self.inset(), y + self.inset()];
                        let room = self.picture[0] - 2.0 * self.inset();
                        shapes.extend(self.label(&part.facts.rendition, at, room, false));
                    }
                    y = self.below(row, y + self.picture[1], &mut shapes);
                    y = (y + 0.6 * self.gap).round();
                }
            }
        }
        y = self.page.foot(recipe, y, &mut shapes) + self.page.margin;
        Scene {
            size: [self.page.width.round(), y.round()],
            title: match title(recipe) {
                title if title.is_empty() => "Renditions".to_owned(),
                title => format!("{title}: renditions"),
            },
            about,
            ground: Some(self.page.looks.ground),
            pictures,
            shapes,
        }
    }

    fn left(&self, index: usize) -> f64 {
        self.page.margin + index as f64 * (self.column() + self.gap)
    }

    fn inset(&self) -> f64 {
        (0.6 * self.page.letters).round()
    }

    // Captions and keys of a row of renditions; gives where they end.
    fn below(&self, row: &[Part], y: f64, shapes: &mut Vec<Shape>) -> f64 {
        let page = &self.page;
        let (room, letters) = (self.column(), page.letters);
        let base = y + 1.4 * letters;
        let mut end = base + 0.5 * letters;
        // Keys in a row have their strips at one height.
        let keys = row.iter().filter_map(|part| part.key.as_ref());
        let spectrum = keys.map(|key| key.spectrum).fold(0.0, f64::max);
        for (index, part) in row.iter().enumerate() {
            let x = self.left(index);
            let mut left = x;
            if self.split.is_some() {
                let name = page.bold(&part.facts.rendition, [x, base], letters, 0.4 * room);
                left += width(&name.text, letters, true) + 0.6 * letters;
                shapes.push(Shape::Words(name));
            }
            let room_left = x + room - left;
            let caption = caption(&part.facts, letters, room_left);
            let words = page.faint(&caption, [left, base], letters, room_left);
            shapes.push(Shape::Words(words));
            if let Some(key) = &part.key {
                let Scene {
                    size,
                    shapes: key_shapes,
                    ..
                } = &key.scene;
                let scale = room / size[0];
                let top = base + 1.1 * letters + scale * (spectrum - key.spectrum);
                let moved = key_shapes.iter().map(|shape| shape.moved([x, top], scale));
                shapes.extend(moved);
                end = end.max(top + scale * size[1] + 0.5 * letters);
            }
        }
        end
    }

    // A name on a plate of its own, which can be read on any picture.
    fn label(&self, name: &str, [x, y]: [f64; 2], room: f64, from_right: bool) -> [Shape; 2] {
        let size = 1.1 * self.page.letters;
        let pad = 0.5 * size;
        let text = elided(name, size, true, (room - 2.0 * pad).max(size));
        let across = width(&text, size, true) + 2.0 * pad;
        let x = if from_right { x - across } else { x };
        [
            Shape::Box {
                at: [x, y],
                size: [across, 1.7 * size],
                radius: 0.3 * size,
                paint: Ink::grey(10).with_cover(0.8).into(),
            },
            Shape::Words(Words {
                bold: true,
                ink: Ink::grey(255),
                ..self
                    .page
                    .looks
                    .words(&text, [x + pad, y + 1.2 * size], size)
            }),
        ]
    }

    fn labels(&self, split: Split, parts: &[Part], top: f64) -> Vec<Shape> {
        let (inset, [across, down]) = (self.inset(), self.picture);
        let left = self.page.margin;
        let high = 1.7 * 1.1 * self.page.letters;
        let mut shapes = Vec::new();
        for (index, part) in parts.iter().enumerate() {
            let share = across / parts.len() as f64;
            let name = &part.facts.rendition;
            let last = index + 1 == parts.len();
            shapes.extend(match (split, last) {
                (Split::Diagonal, true) => {
                    let at = [left + across - inset, top + down - inset - high];
                    self.label(name, at, 0.45 * across, true)
                }
                (Split::Diagonal, false) => {
                    self.label(name, [left + inset, top + inset], 0.45 * across, false)
                }
                // The last part has its name at the right edge.
                (Split::Vertical, true) => {
                    let at = [left + across - inset, top + inset];
                    self.label(name, at, share - 2.0 * inset, true)
                }
                (Split::Vertical, false) => {
                    let at = [left + index as f64 * share + inset, top + inset];
                    self.label(name, at, share - 2.0 * inset, false)
                }
            });
        }
        shapes
    }

    // White within dark: seen on any picture.
    fn dividers(&self, split: Split, count: usize, top: f64) -> Vec<Shape> {
        let [across, down] = self.picture;
        let (left, bottom) = (self.page.margin, top + down);
        let thin = (self.page.letters / 12.0).max(1.0);
        let line = |points: [[f64; 2]; 2]| {
            let stroke = |width: f64, ink: Ink| Shape::Line {
                points: points.to_vec(),
                width,
                paint: ink.into(),
            };
            [
                stroke(3.0 * thin, Ink::grey(0).with_cover(0.55)),
                stroke(thin, Ink::grey(255)),
            ]
        };
        match split {
            // Ends are round: they stay within the picture.
            Split::Diagonal => {
                let inside = 1.5 * thin;
                line([
                    [left + inside, bottom - inside],
                    [left + across - inside, top + inside],
                ])
                .to_vec()
            }
            Split::Vertical => (1..count)
                .flat_map(|part| {
                    let x = left + (part * across as usize / count) as f64;
                    line([[x, top + 1.5 * thin], [x, bottom - 1.5 * thin]])
                })
                .collect(),
        }
    }
}

// As much as has room: colours and manner, or the colours alone.
fn caption(facts: &Facts, letters: f64, room: f64) -> String {
    let brief = facts.brief();
    let manner = facts.manner.split([',', ':']).next().unwrap_or_default();
    let whole = format!("{manner}: {brief}");
    if width(&whole, letters, false) <= room {
        whole
    } else {
        brief
    }
}

fn about(parts: &[Part]) -> String {
    let all: Vec<String> = parts
        .iter()
        .map(|part| format!("{}: {}", part.facts.rendition, part.facts.in_words()))
        .collect();
    format!(
        "The same data in {} renditions. {}",
        parts.len(),
        all.join(" ")
    )
}

#[cfg(test)]
#[path = "layout_tests.rs"]
mod tests;
