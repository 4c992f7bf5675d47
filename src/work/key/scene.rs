//! The key as a drawing: the spectrum above, the hues below, a thread from
//! each line to the hue that it is shown in.

mod labels;

mod strips;

use super::facts::{Facts, Line, facts};
use super::looks::{Looks, codes};
use crate::engine::key::curve::{blend, controls};
use crate::engine::key::{self, Drawing, Kind, Metrics, Thread};
use crate::engine::mix::assign::AssignError;
use crate::engine::recipe::{Recipe, Rendition};
use crate::io::draw::font::{elided, width};
use crate::io::draw::{Anchor, Ink, Paint, Scene, Shape, Words};
use labels::{Hanging, Standing};

/// Where a key stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Setting {
    /// By itself: with title, manner and credit, on a ground.
    Alone,
    /// Among other things that say these: the drawing alone, without margins.
    Among,
    /// On a picture, on a panel of its own.
    OnPicture,
}

/// How a key is laid out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Its width, units: letters are 15 high. At least [`NARROWEST`] is taken.
    pub width: f64,
    /// Its colours.
    pub looks: Looks,
    /// Where it stands.
    pub setting: Setting,
}

/// The narrowest key, units.
pub const NARROWEST: f64 = 420.0;

// Sizes of letters.
const TITLE: f64 = 21.0;
const SYMBOL: f64 = 15.0;
const SMALL: f64 = 12.5;

// Heights.
const NAME_ROW: f64 = 21.0;
const LEADER: f64 = 11.0;
const BRACKET_ROW: f64 = 19.0;
const NUMBERS: f64 = 18.0;
const SPECTRUM: f64 = 26.0;
const THREADS: f64 = 104.0;
const SCALE: f64 = 14.0;
const BEAD: f64 = 7.0;
const LANE: f64 = 24.0;

/// What all parts draw from.
struct Frame<'a> {
    plan: Plan,
    facts: &'a Facts,
    drawing: Drawing,
    /// Ends of the strips.
    x: [f64; 2],
    /// Margin of everything.
    margin: f64,
    /// Top and bottom.
    spectrum: [f64; 2],
    /// Top and bottom of the hues.
    scale: [f64; 2],
}

impl Frame<'_> {
    fn at(&self, x: f64) -> f64 {
        self.x[0] + x * (self.x[1] - self.x[0])
    }

    fn looks(&self) -> &Looks {
        &self.plan.looks
    }

    // The ground's own colour, behind words and along threads.
    fn plate(&self) -> Ink {
        Ink::full(self.plan.looks.ground)
    }

    fn line(&self, thread: &Thread) -> Option<&Line> {
        self.facts
            .lines
            .iter()
            .find(|line| line.channel == thread.id)
    }
}

/// Lays out the key of a rendition.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn scene(recipe: &Recipe, rendition: &Rendition, plan: Plan) -> Result<Scene, AssignError> {
    Ok(laid(recipe, rendition, plan)?.scene)
}

/// A key, and where its spectrum begins: keys beside each other share that.
#[derive(Debug, Clone, PartialEq)]
pub struct Laid {
    /// The drawing.
    pub scene: Scene,
    /// The upper edge of the spectrum, units.
    pub spectrum: f64,
}

/// The same as [`scene`], with a place to line it up by.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn laid(recipe: &Recipe, rendition: &Rendition, plan: Plan) -> Result<Laid, AssignError> {
    let facts = facts(recipe, rendition)?;
    let plan = Plan {
        width: plan.width.max(NARROWEST),
        ..plan
    };
    let margin = match plan.setting {
        Setting::Alone => 24.0,
        Setting::Among => 0.0,
        Setting::OnPicture => 16.0,
    };
    let left = margin + width("emitted", SMALL, false) + 14.0;
    let right = plan.width - margin - width("white", SMALL, false) - 10.0;
    // Channels that give no colour have no thread in a key.
    let mut shown = recipe.clone();
    shown
        .channels
        .retain(|channel| rendition.colors.contains_key(&channel.id));
    let length = right - left;
    let text = |text: &str| width(text, SYMBOL, true) / length;
    let drawing = key::drawing(
        &shown,
        rendition,
        &Metrics {
            text: &text,
            sign: 0.0,
            bead: 2.0 * BEAD / length,
            gap: 8.0 / length,
            margin: 0.0,
            held: None,
        },
    );
    Ok(draw(Frame {
        plan,
        facts: &facts,
        drawing,
        x: [left, right],
        margin,
        spectrum: [0.0; 2],
        scale: [0.0; 2],
    }))
}

fn draw(mut frame: Frame<'_>) -> Laid {
    let alone = frame.plan.setting == Setting::Alone;
    let mut shapes = Vec::new();
    let mut y = match frame.plan.setting {
        Setting::Alone => head(&frame, &mut shapes),
        Setting::Among => 0.0,
        Setting::OnPicture => 10.0,
    };
    let standing = labels::standing(&frame);
    let rows = count(standing.iter().map(|label| label.row));
    let names_end = y + NAME_ROW * rows;
    y = names_end + if rows > 0.0 { LEADER } else { 0.0 };
    y += BRACKET_ROW * frame.drawing.bracket_rows as f64;
    let brackets_end = y;
    y += NUMBERS;
    frame.spectrum = [y, y + SPECTRUM];
    y += SPECTRUM + THREADS;
    frame.scale = [y, y + SCALE];
    y += SCALE;
    let frame = frame;
    let hanging = labels::hanging(&frame);
    y += 9.0 + LANE * count(hanging.iter().map(|label| label.lane));

    shapes.extend(labels::leaders(&frame, &standing, names_end));
    // The strips lie over the ends of the threads.
    for thread in &frame.drawing.threads {
        shapes.extend(strand(&frame, thread));
    }
    shapes.extend(strips::spectrum(&frame, &standing));
    shapes.extend(strips::brackets(&frame, brackets_end));
    shapes.extend(strips::scale(&frame));
    for label in &hanging {
        shapes.extend(labels::stem(&frame, label));
    }
    for thread in &frame.drawing.threads {
        shapes.push(named(&frame, thread, &standing, &hanging, names_end));
    }
    if alone {
        y = foot(&frame, &mut shapes, y);
    }
    y += match frame.plan.setting {
        Setting::Alone => 18.0,
        Setting::Among => 0.0,
        Setting::OnPicture => 8.0,
    };
    let size = [frame.plan.width, y];
    if frame.plan.setting == Setting::OnPicture {
        let panel = Shape::Box {
            at: [0.0; 2],
            size,
            radius: 8.0,
            paint: frame.plate().into(),
        };
        shapes.insert(0, panel);
    }
    let facts = frame.facts;
    let scene = Scene {
        size,
        title: format!("{}: what the colours mean", facts.title),
        about: format!(
            "The upper strip is the spectrum, the lower one the hues of the picture; a thread \
             joins each line to the hue that it is shown in. {}",
            facts.in_words()
        ),
        ground: alone.then_some(frame.plan.looks.ground),
        pictures: Vec::new(),
        shapes,
    };
    Laid {
        scene,
        spectrum: frame.spectrum[0],
    }
}

fn count(rows: impl Iterator<Item = usize>) -> f64 {
    rows.map(|row| row + 1).max().unwrap_or(0) as f64
}

// Title and manner; gives where they end.
fn head(frame: &Frame<'_>, shapes: &mut Vec<Shape>) -> f64 {
    let (looks, facts) = (frame.looks(), frame.facts);
    let whole = frame.plan.width - 2.0 * frame.margin;
    let rendition = elided(&facts.rendition, SMALL, false, 0.3 * whole);
    let room = whole - width(&rendition, SMALL, false) - 20.0;
    let mut y = frame.margin + 0.76 * TITLE;
    let title = elided(&facts.title, TITLE, true, room);
    shapes.push(Shape::Words(Words {
        bold: true,
        ..looks.words(&title, [frame.margin, y], TITLE)
    }));
    shapes.push(Shape::Words(Words {
        anchor: Anchor::End,
        ink: looks.faint,
        ..looks.words(&rendition, [frame.plan.width - frame.margin, y], SMALL)
    }));
    y += 23.0;
    let manner = elided(facts.manner, 14.0, false, whole);
    shapes.push(Shape::Words(Words {
        ink: looks.faint,
        ..looks.words(&manner, [frame.margin, y], 14.0)
    }));
    y + 20.0
}

// Brightness and credit; gives where they end.
fn foot(frame: &Frame<'_>, shapes: &mut Vec<Shape>, y: f64) -> f64 {
    let (looks, facts) = (frame.looks(), frame.facts);
    if facts.brightness.is_empty() && facts.credit.is_empty() {
        return y;
    }
    let y = y + 24.0;
    let whole = frame.plan.width - 2.0 * frame.margin;
    let bright = elided(&facts.brightness, SMALL, false, 0.6 * whole);
    let room = whole - width(&bright, SMALL, false) - 20.0;
    let faint = |text: &str, x: f64, anchor| {
        Shape::Words(Words {
            anchor,
            ink: looks.faint,
            ..looks.words(text, [x, y], SMALL)
        })
    };
    if !bright.is_empty() {
        shapes.push(faint(&bright, frame.margin, Anchor::Start));
    }
    if !facts.credit.is_empty() {
        let credit = elided(&facts.credit, SMALL, false, room);
        let right = frame.plan.width - frame.margin;
        shapes.push(faint(&credit, right, Anchor::End));
    }
    y
}

// Steps of a thread's colour.
const STOPS: usize = 12;

fn strand(frame: &Frame<'_>, thread: &Thread) -> Vec<Shape> {
    let Some(end) = thread.end else {
        return Vec::new();
    };
    let top = [frame.at(thread.x), frame.spectrum[1]];
    let bottom = [frame.at(end.x), frame.scale[0]];
    let [one, two] = controls(top, bottom);
    let points = [top, one, two, bottom];
    let light = thread.light.map_or(frame.looks().faint.rgb, codes);
    let shown = codes(end.linear_srgb);
    let stops = (0..=STOPS)
        .map(|step| {
            let share = step as f64 / STOPS as f64;
            let part = blend(share);
            let mixed = |i: usize| {
                let (from, to) = (f64::from(light[i]), f64::from(shown[i]));
                (from + part * (to - from)).round() as u8
            };
            (share, std::array::from_fn(mixed))
        })
        .collect();
    let thickness = 2.0 + 1.4 * end.shade.strength.clamp(0.0, 1.6);
    let stroke = |width: f64, paint: Paint| Shape::Curve {
        points,
        width,
        paint,
    };
    // A rim in the ground's colour: where threads cross, one lies above.
    let mut shapes = vec![stroke(thickness + 2.4, frame.plate().into())];
    if let Some(edge) = frame.looks().edge {
        shapes.push(stroke(thickness + 1.6, edge.into()));
    }
    let paint = Paint::Along {
        from: [0.0, top[1]],
        to: [0.0, bottom[1]],
        stops,
    };
    shapes.push(stroke(thickness, paint));
    shapes
}

// Names and end of one thread.
fn named(
    frame: &Frame<'_>,
    thread: &Thread,
    standing: &[Standing],
    hanging: &[Hanging],
    names_end: f64,
) -> Shape {
    let mut shapes = Vec::new();
    if let Some(label) = standing.iter().find(|label| label.channel == thread.id) {
        shapes.extend(labels::upper(frame, label, names_end));
    }
    if let Some(label) = hanging.iter().find(|label| label.channel == thread.id) {
        shapes.extend(labels::lower(frame, label));
    }
    let name = frame.line(thread).map(Line::in_words).unwrap_or_default();
    Shape::Group { name, shapes }
}

fn is_line(thread: &Thread) -> bool {
    thread.kind == Kind::Line
}
