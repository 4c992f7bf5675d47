//! A map as a picture: colours, the scale beside them, and words below.

use super::Made;
use crate::engine::frame::BAND_ROWS;
use crate::engine::ratio::paint::{Ramp, UNKNOWN};
use crate::engine::ratio::words::{INDICATIVE, name};
use crate::engine::ratio::{Map, Point};
use crate::io::draw::font::{elided, width, wrapped};
use crate::io::draw::pixels::{LONGEST, MOST};
use crate::io::draw::{Anchor, Ink, Paint, Picture, Placed, Scene, Shape, file, on_one_line};
use crate::io::write::{Finished, Format};
use crate::work::key::looks::DARK;
use crate::work::{Control, Error};

/// The longer side of a map is at least this long in its picture: small maps
/// are shown with larger pixels.
const LEAST_SIDE: usize = 800;

/// Letters to the longer side of the map.
const LETTERS: f64 = 60.0;

/// Colours that the scale is drawn with.
const STOPS: usize = 64;

/// Lines that a sentence may fill.
const MOST_LINES: usize = 12;

/// Draws the map; it still has to be published.
///
/// # Errors
/// When it is too large, when rows cannot be read or the file cannot be
/// written, or when the job is stopped.
pub fn write(
    made: &Made<'_>,
    map: &Map<'_>,
    format: Format,
    control: Control<'_>,
) -> Result<Finished, Error> {
    let size = map.size();
    let zoom = LEAST_SIDE.div_ceil(size.width.max(size.height)).max(1);
    let sides = [zoom * size.width, zoom * size.height];
    // What stands around the map takes less than it does.
    if 2 * sides[0].max(sides[1]) > LONGEST || 2 * sides[0] * sides[1] > MOST {
        return Err(Error::request(
            format!("{size} is too large for a picture with a scale"),
            "take means over more pixels (--bin 2), or write .fits",
        ));
    }
    let ramp = Ramp::new();
    let picture = painted(made, map, zoom, &ramp, control)?;
    let scene = scene(made, picture, &ramp);
    control.check()?;
    let about = &made.request.recipe.about;
    Ok(file::raster(&scene, &made.request.out, format, 1.0, about)?)
}

// The map in colours, each of its pixels zoom x zoom large.
fn painted(
    made: &Made<'_>,
    map: &Map<'_>,
    zoom: usize,
    ramp: &Ramp,
    control: Control<'_>,
) -> Result<Picture, Error> {
    let size = map.size();
    let row = 3 * zoom * size.width;
    let mut rgb = vec![0; row * zoom * size.height];
    for first_row in (0..size.height).step_by(BAND_ROWS) {
        control.check()?;
        let rows = BAND_ROWS.min(size.height - first_row);
        map.look(first_row, rows, &mut |at, point| {
            let color = match point {
                Point::Known { ratio, .. } => ramp.color(made.span.place(ratio)),
                _ => UNKNOWN,
            };
            let (y, x) = (first_row + at / size.width, at % size.width);
            let from = zoom * y * row + 3 * zoom * x;
            for pixel in rgb[from..from + 3 * zoom].chunks_exact_mut(3) {
                pixel.copy_from_slice(&color);
            }
        })?;
        for y in first_row..first_row + rows {
            let from = zoom * y * row;
            for copy in 1..zoom {
                rgb.copy_within(from..from + row, from + copy * row);
            }
        }
        let (done, total) = (first_row as u64, size.height as u64);
        control.progress.report("painting", done, total);
    }
    Ok(Picture {
        size: [zoom * size.width, zoom * size.height],
        rgb,
    })
}

fn scene(made: &Made<'_>, picture: Picture, ramp: &Ramp) -> Scene {
    let [wide, high] = picture.size.map(|side| side as f64);
    let letter = (wide.max(high) / LETTERS).round();
    let margin = (1.6 * letter).round();
    let name = name(made.over, made.under);
    let object = on_one_line(&made.request.recipe.about.object);
    let title = if object.is_empty() {
        name.clone()
    } else {
        format!("{name}, {object}")
    };
    let top = margin + (3.6 * letter).round();
    let mut shapes = Vec::new();
    let (bar, column) = scale(made, ramp, [margin + wide, top], high, letter);
    let right = margin + wide + column;
    let room = right - margin;
    let mut heading = DARK.words(
        &elided(&title, 1.5 * letter, true, room),
        [margin, margin + 1.2 * letter],
        1.5 * letter,
    );
    heading.bold = true;
    shapes.push(Shape::Words(heading));
    let mut under = DARK.words(INDICATIVE, [margin, margin + 2.7 * letter], letter);
    under.ink = DARK.faint;
    shapes.push(Shape::Words(under));
    shapes.extend(bar);
    let mut y = top + high + 2.0 * letter;
    let square = 0.9 * letter;
    shapes.push(Shape::Box {
        at: [margin, y - 0.75 * letter],
        size: [square; 2],
        radius: 0.0,
        paint: Ink::full(UNKNOWN).into(),
    });
    shapes.push(Shape::Line {
        points: frame([margin, y - 0.75 * letter], [square; 2]),
        width: 0.06 * letter,
        paint: DARK.line.into(),
    });
    let explained = format!(
        "No ratio: one of the lines is less than {} sigma above its sky, or has no data. Beyond \
         the ends of the scale the colours of the ends are shown.",
        made.law.min_snr
    );
    let said = made.words.iter().chain(&made.caveats);
    for (index, text) in std::iter::once(&explained).chain(said).enumerate() {
        let indent = if index == 0 { 1.5 * letter } else { 0.0 };
        for line in wrapped(text, letter, false, room - indent, MOST_LINES) {
            let mut words = DARK.words(&line, [margin + indent, y], letter);
            if index > made.words.len() {
                words.ink = DARK.faint;
            }
            shapes.push(Shape::Words(words));
            y += 1.35 * letter;
        }
        y += 0.35 * letter;
    }
    let about = format!(
        "A map of {name} ({INDICATIVE}): blue is {}, yellow is {}, grey is no ratio. {}",
        made.span.low,
        made.span.high,
        made.words.join(" ")
    );
    Scene {
        size: [(right + margin).ceil(), (y - letter + margin).ceil()],
        title,
        about,
        ground: Some(DARK.ground),
        pictures: vec![Placed {
            at: [margin as usize, top as usize],
            picture,
        }],
        shapes,
    }
}

fn frame([x, y]: [f64; 2], [width, height]: [f64; 2]) -> Vec<[f64; 2]> {
    vec![
        [x, y],
        [x + width, y],
        [x + width, y + height],
        [x, y + height],
        [x, y],
    ]
}

// The scale beside the map, whose upper right corner is `corner`; and how much
// room it takes to the right of it.
fn scale(
    made: &Made<'_>,
    ramp: &Ramp,
    corner: [f64; 2],
    high: f64,
    letter: f64,
) -> (Vec<Shape>, f64) {
    let left = corner[0] + 2.2 * letter;
    let size = [1.8 * letter, high];
    let at = |place: f64| corner[1] + (1.0 - place) * high;
    let stops = (0..STOPS)
        .map(|stop| stop as f64 / (STOPS - 1) as f64)
        .map(|place| (place, ramp.color(place)))
        .collect();
    let mut shapes = vec![Shape::Box {
        at: [left, corner[1]],
        size,
        radius: 0.0,
        paint: Paint::Along {
            from: [left, corner[1] + high],
            to: [left, corner[1]],
            stops,
        },
    }];
    let mark = made.criterion.and_then(|criterion| criterion.mark);
    let mark = mark.filter(|mark| (0.0..=1.0).contains(&made.span.place(*mark)));
    let words_at = left + size[0] + 0.8 * letter;
    let mut widest = 0.0_f64;
    let mut label = |text: &str, y: f64, bold: bool, shapes: &mut Vec<Shape>| {
        let mut words = DARK.words(text, [words_at, y + 0.36 * letter], letter);
        words.bold = bold;
        words.anchor = Anchor::Start;
        widest = widest.max(width(text, letter, bold));
        shapes.push(Shape::Words(words));
    };
    for (value, text) in made.span.ticks() {
        let y = at(made.span.place(value));
        shapes.push(Shape::Line {
            points: vec![[left + size[0], y], [left + size[0] + 0.5 * letter, y]],
            width: 0.1 * letter,
            paint: DARK.text.into(),
        });
        // The mark's own number stands where it is.
        let apart = mark.map(|mark| (at(made.span.place(mark)) - y).abs());
        if apart.is_none_or(|apart| apart > 1.2 * letter) {
            label(&text, y, false, &mut shapes);
        }
    }
    if let Some(mark) = mark {
        let y = at(made.span.place(mark));
        shapes.push(Shape::Line {
            points: vec![[left - 0.5 * letter, y], [left + size[0] + 0.5 * letter, y]],
            width: 0.16 * letter,
            paint: Ink::grey(0).into(),
        });
        shapes.push(Shape::Area {
            points: vec![
                [left - 0.1 * letter, y],
                [left - 1.1 * letter, y - 0.55 * letter],
                [left - 1.1 * letter, y + 0.55 * letter],
            ],
            ink: DARK.text,
        });
        label(&format!("{mark}"), y, true, &mut shapes);
    }
    (shapes, words_at + widest - corner[0])
}
