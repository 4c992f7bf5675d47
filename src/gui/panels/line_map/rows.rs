//! Where the rows of the drawing lie, in points.

use egui::{Pos2, Rangef, Rect, pos2};

/// Room for the words left of the strips.
pub const LEFT: f32 = 62.0;
/// Room right of them.
pub const RIGHT: f32 = 58.0;
/// Height of the drawing without broad bands.
pub const LEAST: f32 = height(1, 0, 0);

const NAME: f32 = 15.0;
const LEADER: f32 = 8.0;
const BRACKET: f32 = 13.0;
const SPECTRUM: f32 = 18.0;
const NUMBERS: f32 = 13.0;
const THREADS: f32 = 56.0;
const SCALE: f32 = 10.0;
// Room for three lanes of ends; more of them make the drawing higher.
const BEADS: f32 = 47.0;
const LANES: usize = 3;
const LANE: f32 = 14.5;
const HINT: f32 = 14.0;

const fn beads(lanes: usize) -> f32 {
    BEADS + LANE * lanes.saturating_sub(LANES) as f32
}

/// The height of the drawing.
pub const fn height(label_rows: usize, bracket_rows: usize, lanes: usize) -> f32 {
    let names = if label_rows == 0 { 1 } else { label_rows };
    NAME * names as f32
        + LEADER
        + BRACKET * bracket_rows as f32
        + NUMBERS
        + SPECTRUM
        + THREADS
        + SCALE
        + beads(lanes)
        + HINT
}

/// The length of the strips in a panel of this width.
pub fn length(width: f32) -> f32 {
    (width - LEFT - RIGHT).max(120.0)
}

/// Where the rows lie.
pub struct Rows {
    /// Left and right end of the strips.
    pub x: Rangef,
    /// Upper names, nearest to the spectrum last.
    pub names: Rangef,
    /// Leaders from names to the spectrum, brackets within.
    pub brackets: Rangef,
    /// Where the numbers of wavelengths stand.
    pub numbers: Rangef,
    /// The spectrum.
    pub spectrum: Rangef,
    /// The hue scale.
    pub scale: Rangef,
    /// Where ends hang.
    pub beads: Rangef,
    /// The line of hints.
    pub hint: Rangef,
    /// The whole drawing.
    pub all: Rect,
}

impl Rows {
    /// The rows within a rectangle.
    pub fn within(rect: Rect, label_rows: usize, bracket_rows: usize, lanes: usize) -> Self {
        let mut y = rect.top();
        let mut next = |height: f32| {
            let range = Rangef::new(y, y + height);
            y += height;
            range
        };
        let names = next(NAME * label_rows.max(1) as f32);
        next(LEADER);
        let brackets = next(BRACKET * bracket_rows as f32);
        let numbers = next(NUMBERS);
        let spectrum = next(SPECTRUM);
        next(THREADS);
        let scale = next(SCALE);
        let beads = next(beads(lanes));
        let hint = next(HINT);
        let left = rect.left() + LEFT;
        Self {
            x: Rangef::new(left, left + length(rect.width())),
            names,
            brackets,
            numbers,
            spectrum,
            scale,
            beads,
            hint,
            all: rect,
        }
    }

    /// A place along the drawing, in points.
    pub fn at(&self, x: f64) -> f32 {
        self.x.min + x as f32 * self.x.span()
    }

    /// A place along the drawing, on a height.
    pub fn point(&self, x: f64, y: f32) -> Pos2 {
        pos2(self.at(x), y)
    }

    /// The middle of the name in this row.
    pub fn name(&self, row: usize) -> f32 {
        self.names.max - NAME * (row as f32 + 0.5)
    }

    /// The middle of a bracket's line.
    pub fn bracket(&self, row: usize) -> f32 {
        self.brackets.max - BRACKET * (row as f32 + 0.5)
    }

    /// The middle of an end in this lane.
    pub fn bead(&self, lane: usize) -> f32 {
        self.beads.min + super::BEAD + 4.0 + LANE * lane as f32
    }
}
