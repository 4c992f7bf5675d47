//! A drawing as one page of PDF 1.7: pictures with their colour profile, shapes
//! as shapes, text as text in the program's own typeface.
//!
//! Nothing depends on the clock: the same drawing gives the same bytes.

mod letters;

use std::io::Write as _;

use flate2::Compression;
use flate2::write::ZlibEncoder;
use pdf_writer::types::{
    ColorSpaceOperand, FunctionShadingType, LineCapStyle, LineJoinStyle, OutputIntentSubtype,
    Predictor,
};
use pdf_writer::writers::ColorSpace;
use pdf_writer::{Content, Filter, Finish as _, Name, Pdf, Rect, Ref, Str, TextStr};
use sha2::{Digest as _, Sha256};

use super::font;
use super::outline::{self, Piece};
use super::{Ink, Paint, Picture, Point, Scene, Shape, Words, on_one_line};
use crate::engine::color::space::Space;
use crate::io::write::icc;
use letters::Letters;

// Numbers of the objects that every file has; others follow.
const CATALOG: Ref = Ref::new(1);
const PAGES: Ref = Ref::new(2);
const PAGE: Ref = Ref::new(3);
const CONTENT: Ref = Ref::new(4);
const PROFILE: Ref = Ref::new(5);
const ABOUT: Ref = Ref::new(6);
const FIRST_FREE: i32 = 7;

/// Steps of a gradient.
const STEPS: usize = 256;

/// The longest side of a page, points (ISO 32000-1, annex C).
const LONGEST_PT: f64 = 14_400.0;

/// Writes a drawing on a page of its own size, `points` to the unit. `author`
/// may be empty.
pub fn write(scene: &Scene, points: f64, author: &str, software: &str) -> Vec<u8> {
    let longest = scene.size[0].max(scene.size[1]);
    let points = points.min(LONGEST_PT / longest);
    let [width, height] = scene.size.map(|side| (side * points) as f32);
    let mut page = Page {
        pdf: Pdf::new(),
        content: Content::new(),
        next: FIRST_FREE,
        // From the drawing's units, y down, to the page's points, y up.
        matrix: [points as f32, 0.0, 0.0, -(points as f32), 0.0, height],
        images: Vec::new(),
        patterns: Vec::new(),
        covers: Vec::new(),
        letters: Letters::default(),
    };
    page.draw(scene);
    page.finish(scene, [width, height], author, software)
}

struct Page {
    pdf: Pdf,
    content: Content,
    next: i32,
    matrix: [f32; 6],
    images: Vec<(String, Ref)>,
    patterns: Vec<(String, Ref)>,
    /// Covers in use, in thousandths, each with its graphics state.
    covers: Vec<(u32, Ref)>,
    letters: Letters,
}

impl Page {
    fn id(&mut self) -> Ref {
        let id = Ref::new(self.next);
        self.next += 1;
        id
    }

    fn draw(&mut self, scene: &Scene) {
        self.content.save_state().transform(self.matrix);
        self.content
            .set_line_cap(LineCapStyle::RoundCap)
            .set_line_join(LineJoinStyle::RoundJoin);
        if let Some(ground) = scene.ground {
            let all = outline::round_box([0.0; 2], scene.size, 0.0);
            self.fill(&all, &Ink::full(ground).into());
        }
        for placed in &scene.pictures {
            let [x, y] = placed.at.map(|at| at as f32);
            let [width, height] = placed.picture.size.map(|side| side as f32);
            let name = self.image(&placed.picture);
            self.content
                .save_state()
                .transform([width, 0.0, 0.0, -height, x, y + height])
                .x_object(Name(name.as_bytes()))
                .restore_state();
        }
        for shape in &scene.shapes {
            self.shape(shape);
        }
        self.content.restore_state();
    }

    fn shape(&mut self, shape: &Shape) {
        match shape {
            Shape::Box {
                at,
                size,
                radius,
                paint,
            } => self.fill(&outline::round_box(*at, *size, *radius), paint),
            Shape::Disc {
                center,
                radius,
                ink,
            } => self.fill(&outline::disc(*center, *radius), &(*ink).into()),
            Shape::Area { points, ink } => {
                let mut pieces = outline::lines(points);
                pieces.push(Piece::Close);
                self.fill(&pieces, &(*ink).into());
            }
            Shape::Line {
                points,
                width,
                paint,
            } => self.stroke(&outline::lines(points), *width, paint),
            Shape::Curve {
                points: [from, one, two, to],
                width,
                paint,
            } => {
                let pieces = [Piece::Move(*from), Piece::Cubic(*one, *two, *to)];
                self.stroke(&pieces, *width, paint);
            }
            Shape::Words(words) => self.words(words),
            Shape::Group { shapes, .. } => {
                for shape in shapes {
                    self.shape(shape);
                }
            }
        }
    }

    fn path(&mut self, pieces: &[Piece]) {
        let at = |[x, y]: Point| (x as f32, y as f32);
        for piece in pieces {
            match *piece {
                Piece::Move(point) => {
                    let (x, y) = at(point);
                    self.content.move_to(x, y);
                }
                Piece::Line(point) => {
                    let (x, y) = at(point);
                    self.content.line_to(x, y);
                }
                Piece::Cubic(one, two, to) => {
                    let ((x1, y1), (x2, y2), (x, y)) = (at(one), at(two), at(to));
                    self.content.cubic_to(x1, y1, x2, y2, x, y);
                }
                Piece::Close => {
                    self.content.close_path();
                }
            }
        }
    }

    fn fill(&mut self, pieces: &[Piece], paint: &Paint) {
        self.content.save_state();
        match paint {
            Paint::Flat(ink) => self.fill_ink(*ink),
            Paint::Along { from, to, stops } => {
                let name = self.gradient(*from, *to, stops);
                self.content
                    .set_fill_color_space(ColorSpaceOperand::Pattern)
                    .set_fill_pattern(None, Name(name.as_bytes()));
            }
        }
        self.path(pieces);
        self.content.fill_nonzero().restore_state();
    }

    fn fill_ink(&mut self, ink: Ink) {
        self.cover(ink.cover);
        let [r, g, b] = ink.rgb.map(|code| f32::from(code) / 255.0);
        self.content.set_fill_rgb(r, g, b);
    }

    fn stroke(&mut self, pieces: &[Piece], width: f64, paint: &Paint) {
        self.content.save_state().set_line_width(width as f32);
        match paint {
            Paint::Flat(ink) => {
                self.cover(ink.cover);
                let [r, g, b] = ink.rgb.map(|code| f32::from(code) / 255.0);
                self.content.set_stroke_rgb(r, g, b);
            }
            Paint::Along { from, to, stops } => {
                let name = self.gradient(*from, *to, stops);
                self.content
                    .set_stroke_color_space(ColorSpaceOperand::Pattern)
                    .set_stroke_pattern(None, Name(name.as_bytes()));
            }
        }
        self.path(pieces);
        self.content.stroke().restore_state();
    }

    // Within a saved state.
    fn cover(&mut self, cover: f64) {
        let thousandths = (1000.0 * cover.clamp(0.0, 1.0)).round() as u32;
        if thousandths == 1000 {
            return;
        }
        if !self.covers.iter().any(|(known, _)| *known == thousandths) {
            let id = self.id();
            let share = thousandths as f32 / 1000.0;
            self.pdf
                .ext_graphics(id)
                .stroking_alpha(share)
                .non_stroking_alpha(share);
            self.covers.push((thousandths, id));
        }
        let name = format!("C{thousandths}");
        self.content.set_parameters(Name(name.as_bytes()));
    }

    fn words(&mut self, words: &Words) {
        let glyphs = font::line(&words.text, words.size, words.bold);
        let left = words.left();
        self.content.save_state();
        self.fill_ink(words.ink);
        self.content.begin_text();
        for run in glyphs.chunk_by(|a, b| a.file == b.file) {
            let Some(first) = run.first() else { continue };
            let name = self.letters.used(run);
            let x = (left + first.x) as f32;
            let codes: Vec<u8> = run
                .iter()
                .flat_map(|glyph| glyph.id.to_be_bytes())
                .collect();
            self.content
                .set_font(Name(name.as_bytes()), words.size as f32)
                .set_text_matrix([1.0, 0.0, 0.0, -1.0, x, words.at[1] as f32])
                .show(Str(&codes));
        }
        self.content.end_text().restore_state();
    }

    fn gradient(&mut self, from: Point, to: Point, stops: &[(f64, [u8; 3])]) -> String {
        let (function, pattern) = (self.id(), self.id());
        let samples: Vec<u8> = (0..STEPS)
            .flat_map(|step| color_at(stops, step as f64 / (STEPS - 1) as f64))
            .collect();
        let packed = deflated(&samples);
        let mut sampled = self.pdf.sampled_function(function, &packed);
        sampled.filter(Filter::FlateDecode);
        sampled
            .domain([0.0, 1.0])
            .range([0.0, 1.0, 0.0, 1.0, 0.0, 1.0])
            .size([STEPS as i32])
            .bits_per_sample(8);
        sampled.finish();
        let mut shading = self.pdf.shading_pattern(pattern);
        shading.matrix(self.matrix);
        let mut axial = shading.function_shading();
        axial
            .shading_type(FunctionShadingType::Axial)
            .coords([from[0], from[1], to[0], to[1]].map(|place| place as f32))
            .function(function)
            .extend([true, true]);
        axial.color_space().icc_based(PROFILE);
        axial.finish();
        shading.finish();
        let name = format!("P{}", self.patterns.len() + 1);
        self.patterns.push((name.clone(), pattern));
        name
    }

    fn image(&mut self, picture: &Picture) -> String {
        let id = self.id();
        let [width, height] = picture.size;
        let packed = deflated(&differences(picture));
        let mut image = self.pdf.image_xobject(id, &packed);
        image.filter(Filter::FlateDecode);
        image
            .width(width as i32)
            .height(height as i32)
            .bits_per_component(8);
        image.color_space().icc_based(PROFILE);
        image
            .decode_parms()
            .predictor(Predictor::PngSub)
            .colors(3)
            .bits_per_component(8)
            .columns(width as i32);
        image.finish();
        let name = format!("I{}", self.images.len() + 1);
        self.images.push((name.clone(), id));
        name
    }

    fn finish(mut self, scene: &Scene, size: [f32; 2], author: &str, software: &str) -> Vec<u8> {
        let fonts = self.letters.fonts(&mut self.pdf, self.next);
        let content = deflated(&self.content.finish());
        self.pdf
            .stream(CONTENT, &content)
            .filter(Filter::FlateDecode);
        let profile = icc::profile(Space::Srgb, false);
        let packed = deflated(profile);
        let mut stream = self.pdf.icc_profile(PROFILE, &packed);
        stream.filter(Filter::FlateDecode);
        stream.n(3);
        stream.finish();

        let mut catalog = self.pdf.catalog(CATALOG);
        catalog.pages(PAGES).lang(TextStr("en"));
        catalog.viewer_preferences().display_doc_title(true);
        catalog
            .output_intents()
            .push()
            .subtype(OutputIntentSubtype::PDFA)
            .output_condition_identifier(TextStr("sRGB IEC61966-2.1"))
            .info(TextStr("sRGB IEC61966-2.1"))
            .dest_output_profile(PROFILE);
        catalog.finish();
        self.pdf.pages(PAGES).kids([PAGE]).count(1);
        let mut page = self.pdf.page(PAGE);
        page.parent(PAGES)
            .contents(CONTENT)
            .media_box(Rect::new(0.0, 0.0, size[0], size[1]));
        let mut resources = page.resources();
        resources
            .color_spaces()
            .insert(Name(b"DefaultRGB"))
            .start::<ColorSpace<'_>>()
            .icc_based(PROFILE);
        name_all(&mut resources.x_objects(), &self.images);
        name_all(&mut resources.patterns(), &self.patterns);
        name_all(&mut resources.fonts(), &fonts);
        let mut states = resources.ext_g_states();
        for (cover, id) in &self.covers {
            states.pair(Name(format!("C{cover}").as_bytes()), *id);
        }
        states.finish();
        resources.finish();
        page.finish();
        let title = on_one_line(&scene.title);
        let subject = on_one_line(&scene.about);
        let mut about = self.pdf.document_info(ABOUT);
        about
            .title(TextStr(&title))
            .subject(TextStr(&subject))
            .producer(TextStr(software));
        if !author.is_empty() {
            about.author(TextStr(author));
        }
        about.finish();
        let mut hash = Sha256::new();
        hash.update(&content);
        for (_, id) in &self.images {
            hash.update(id.get().to_be_bytes());
        }
        hash.update(title.as_bytes());
        let id = hash.finalize()[..16].to_vec();
        self.pdf.set_file_id((id.clone(), id));
        self.pdf.finish()
    }
}

fn name_all(dictionary: &mut pdf_writer::Dict<'_>, all: &[(String, Ref)]) {
    for (name, id) in all {
        dictionary.pair(Name(name.as_bytes()), *id);
    }
}

fn color_at(stops: &[(f64, [u8; 3])], share: f64) -> [u8; 3] {
    let after = stops.iter().position(|(at, _)| *at >= share);
    let last = stops.last().map_or([0; 3], |stop| stop.1);
    let Some(after) = after else { return last };
    let (to_at, to) = stops[after];
    if after == 0 {
        return to;
    }
    let (from_at, from) = stops[after - 1];
    let part = (share - from_at) / (to_at - from_at).max(1e-9);
    std::array::from_fn(|i| {
        let (from, to) = (f64::from(from[i]), f64::from(to[i]));
        (from + part * (to - from)).round() as u8
    })
}

// Each sample less the one of the pixel to its left, as PNG has it: these pack
// better.
fn differences(picture: &Picture) -> Vec<u8> {
    let row_bytes = 3 * picture.size[0].max(1);
    let mut out = Vec::with_capacity(picture.rgb.len() + picture.size[1]);
    for row in picture.rgb.chunks_exact(row_bytes) {
        out.push(1);
        out.extend(row.iter().take(3));
        out.extend(
            row.iter()
                .skip(3)
                .zip(row)
                .map(|(now, before)| now.wrapping_sub(*before)),
        );
    }
    out
}

/// Packs bytes. Writing to memory cannot fail.
pub(super) fn deflated(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::new(6));
    encoder.write_all(bytes).ok();
    encoder.finish().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::io::draw::{Anchor, Placed};

    #[test]
    fn the_same_drawing_gives_the_same_bytes_and_odd_titles_do_no_harm() {
        let scene = Scene {
            size: [200.0, 100.0],
            title: "Lantern) /Type /Catalog >> endobj \u{202e}\u{0}α".to_owned(),
            about: "a (b) \\".to_owned(),
            ground: Some([10; 3]),
            pictures: vec![Placed {
                at: [5, 5],
                picture: Picture {
                    size: [2, 2],
                    rgb: vec![9; 12],
                },
            }],
            shapes: vec![
                Shape::Words(Words {
                    at: [10.0, 50.0],
                    anchor: Anchor::Start,
                    size: 12.0,
                    bold: true,
                    ink: Ink::grey(255).with_cover(0.5),
                    text: "Hα (656.3 nm)".to_owned(),
                }),
                Shape::Curve {
                    points: [[0.0; 2], [0.0, 50.0], [90.0, 50.0], [90.0, 90.0]],
                    width: 2.0,
                    paint: Paint::Along {
                        from: [0.0; 2],
                        to: [0.0, 90.0],
                        stops: vec![(0.0, [255, 0, 0]), (1.0, [0, 0, 255])],
                    },
                },
            ],
        };
        let bytes = write(&scene, 0.24, "", "Linehue");
        assert_eq!(bytes, write(&scene, 0.24, "", "Linehue"));
        assert!(bytes.starts_with(b"%PDF-1.7"));
        let text = String::from_utf8_lossy(&bytes);
        assert_eq!(text.matches("/Type /Catalog").count(), 1, "escaped");
        assert!(text.contains("/FontFile2") && text.contains("/ICCBased"));
    }

    #[test]
    fn gradients_pass_through_their_stops() {
        let stops = [(0.0, [0, 0, 0]), (0.5, [200, 0, 0]), (1.0, [0, 100, 0])];
        assert_eq!(color_at(&stops, 0.0), [0, 0, 0]);
        assert_eq!(color_at(&stops, 0.25), [100, 0, 0]);
        assert_eq!(color_at(&stops, 0.5), [200, 0, 0]);
        assert_eq!(color_at(&stops, 1.0), [0, 100, 0]);
    }

    #[test]
    fn differences_are_as_png_has_them() {
        let picture = Picture {
            size: [2, 1],
            rgb: vec![5, 6, 7, 4, 8, 7],
        };
        assert_eq!(differences(&picture), [1, 5, 6, 7, 255, 2, 0]);
    }
}
