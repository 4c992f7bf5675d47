//! A drawing as SVG (version 1.1): shapes as shapes, text as text.
//!
//! Pictures of pixels are left out: drawings that are written so have none.

use std::fmt::Write as _;

use super::{Anchor, Ink, Paint, Scene, Shape, Words, is_unprintable};

/// The faces that a reader's machine is asked for.
const FAMILY: &str = "'Noto Sans', 'Open Sans', 'DejaVu Sans', Verdana, Arial, sans-serif";

/// Writes a drawing, `width_px` wide where it is shown without other orders.
pub fn write(scene: &Scene, width_px: f64) -> String {
    let mut text = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    text.push_str(&element(
        scene,
        width_px,
        "",
        " xmlns=\"http://www.w3.org/2000/svg\"",
    ));
    text
}

/// The same as a part of an HTML page. Names of parts begin with `prefix`, so
/// that several drawings can stand in one page.
pub fn within(scene: &Scene, width_px: f64, prefix: &str) -> String {
    element(scene, width_px, prefix, "")
}

// In HTML the name of an element tells its namespace.
fn element(scene: &Scene, width_px: f64, prefix: &str, namespace: &str) -> String {
    let [width, height] = scene.size;
    let mut text = String::new();
    let shown = number(width_px * height / width);
    write!(
        text,
        "<svg{namespace} width=\"{}\" height=\"{shown}\" \
         viewBox=\"0 0 {} {}\" role=\"img\" \
         aria-labelledby=\"{prefix}title {prefix}about\" font-family=\"{FAMILY}\">\n\
         <title id=\"{prefix}title\">{}</title>\n<desc id=\"{prefix}about\">{}</desc>\n",
        number(width_px),
        number(width),
        number(height),
        escaped(&scene.title),
        escaped(&scene.about),
    )
    .ok();
    let mut writer = Writer {
        prefix,
        body: String::new(),
        gradients: String::new(),
        count: 0,
    };
    if let Some(ground) = scene.ground {
        let fill = hex(ground);
        writeln!(
            writer.body,
            "<rect width=\"{}\" height=\"{}\" fill=\"{fill}\"/>",
            number(width),
            number(height)
        )
        .ok();
    }
    for shape in &scene.shapes {
        writer.shape(shape);
    }
    if !writer.gradients.is_empty() {
        write!(text, "<defs>\n{}</defs>\n", writer.gradients).ok();
    }
    text.push_str(&writer.body);
    text.push_str("</svg>\n");
    text
}

struct Writer<'a> {
    prefix: &'a str,
    body: String,
    gradients: String,
    count: usize,
}

impl Writer<'_> {
    fn shape(&mut self, shape: &Shape) {
        let line = match shape {
            Shape::Box {
                at,
                size,
                radius,
                paint,
            } => {
                let fill = self.paint("fill", paint);
                let round = if *radius > 0.0 {
                    format!(" rx=\"{}\"", number(*radius))
                } else {
                    String::new()
                };
                format!(
                    "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"{round} {fill}/>",
                    number(at[0]),
                    number(at[1]),
                    number(size[0]),
                    number(size[1])
                )
            }
            Shape::Line {
                points,
                width,
                paint,
            } => {
                let stroke = self.stroke(*width, paint);
                let points = path(points);
                format!("<path d=\"{points}\" {stroke}/>")
            }
            Shape::Curve {
                points: [from, one, two, to],
                width,
                paint,
            } => {
                let stroke = self.stroke(*width, paint);
                let pair = |point: &[f64; 2]| format!("{} {}", number(point[0]), number(point[1]));
                format!(
                    "<path d=\"M{} C{} {} {}\" {stroke}/>",
                    pair(from),
                    pair(one),
                    pair(two),
                    pair(to)
                )
            }
            Shape::Disc {
                center,
                radius,
                ink,
            } => {
                let fill = flat("fill", *ink);
                format!(
                    "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {fill}/>",
                    number(center[0]),
                    number(center[1]),
                    number(*radius)
                )
            }
            Shape::Area { points, ink } => {
                format!("<path d=\"{}Z\" {}/>", path(points), flat("fill", *ink))
            }
            Shape::Words(words) => text_of(words),
            Shape::Group { name, shapes } => {
                writeln!(self.body, "<g><title>{}</title>", escaped(name)).ok();
                for shape in shapes {
                    self.shape(shape);
                }
                "</g>".to_owned()
            }
        };
        self.body.push_str(&line);
        self.body.push('\n');
    }

    fn stroke(&mut self, width: f64, paint: &Paint) -> String {
        format!(
            "fill=\"none\" stroke-width=\"{}\" stroke-linecap=\"round\" stroke-linejoin=\"round\" {}",
            number(width),
            self.paint("stroke", paint)
        )
    }

    fn paint(&mut self, attribute: &str, paint: &Paint) -> String {
        let (from, to, stops) = match paint {
            Paint::Flat(ink) => return flat(attribute, *ink),
            Paint::Along { from, to, stops } => (from, to, stops),
        };
        self.count += 1;
        let id = format!("{}g{}", self.prefix, self.count);
        write!(
            self.gradients,
            "<linearGradient id=\"{id}\" gradientUnits=\"userSpaceOnUse\" x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\">",
            number(from[0]),
            number(from[1]),
            number(to[0]),
            number(to[1])
        )
        .ok();
        for (share, rgb) in stops {
            write!(
                self.gradients,
                "<stop offset=\"{}\" stop-color=\"{}\"/>",
                number(*share),
                hex(*rgb)
            )
            .ok();
        }
        self.gradients.push_str("</linearGradient>\n");
        format!("{attribute}=\"url(#{id})\"")
    }
}

fn text_of(words: &Words) -> String {
    let anchor = match words.anchor {
        Anchor::Start => "",
        Anchor::Middle => " text-anchor=\"middle\"",
        Anchor::End => " text-anchor=\"end\"",
    };
    let weight = if words.bold {
        " font-weight=\"bold\""
    } else {
        ""
    };
    format!(
        "<text x=\"{}\" y=\"{}\" font-size=\"{}\"{weight}{anchor} {}>{}</text>",
        number(words.at[0]),
        number(words.at[1]),
        number(words.size),
        flat("fill", words.ink),
        escaped(&words.text)
    )
}

fn path(points: &[[f64; 2]]) -> String {
    let mut path = String::new();
    for (index, [x, y]) in points.iter().enumerate() {
        let letter = if index == 0 { 'M' } else { 'L' };
        write!(path, "{letter}{} {}", number(*x), number(*y)).ok();
    }
    path
}

fn flat(attribute: &str, ink: Ink) -> String {
    let color = hex(ink.rgb);
    if ink.cover >= 1.0 {
        format!("{attribute}=\"{color}\"")
    } else {
        let cover = number(ink.cover);
        format!("{attribute}=\"{color}\" {attribute}-opacity=\"{cover}\"")
    }
}

fn hex([r, g, b]: [u8; 3]) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

// At most three decimals, without a tail of zeros.
fn number(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.to_owned()
}

/// A text as XML has it. What XML cannot hold becomes a space.
pub fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            letter if is_unprintable(letter) => safe.push(' '),
            letter => safe.push(letter),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_words_stay_words() {
        let hostile = "</title><script>alert('x')</script> & \"\u{0}\u{202e}\u{ffff}";
        let scene = Scene {
            size: [100.0, 50.0],
            title: hostile.to_owned(),
            about: hostile.to_owned(),
            ground: Some([0; 3]),
            pictures: Vec::new(),
            shapes: vec![Shape::Group {
                name: hostile.to_owned(),
                shapes: vec![Shape::Words(Words {
                    at: [1.0, 2.0],
                    anchor: Anchor::Middle,
                    size: 10.0,
                    bold: true,
                    ink: Ink::grey(200).with_cover(0.5),
                    text: hostile.to_owned(),
                })],
            }],
        };
        let text = write(&scene, 200.0);
        let document = roxmltree::Document::parse(&text).expect("well-formed");
        assert!(
            document
                .descendants()
                .all(|node| !node.has_tag_name("script"))
        );
        let words = document
            .descendants()
            .find(|node| node.has_tag_name("text"));
        let words = words.and_then(|node| node.text()).expect("a text");
        assert!(words.starts_with("</title><script>alert('x')"), "{words}");
        assert!(!words.contains('\u{202e}'));
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!(number(1.0), "1");
        assert_eq!(number(-0.0001), "0");
        assert_eq!(number(100.0), "100");
        assert_eq!(number(0.12345), "0.123");
    }
}
