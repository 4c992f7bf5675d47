//! The program's own typeface: widths and outlines of its letters.

use std::sync::OnceLock;

use ttf_parser::{Face, GlyphId};

/// The files of the typeface.
pub const FILES: [&[u8]; 3] = [
    include_bytes!("../../../assets/fonts/noto-sans-regular.ttf"),
    include_bytes!("../../../assets/fonts/noto-sans-bold.ttf"),
    include_bytes!("../../../assets/fonts/noto-sans-math-signs.ttf"),
];

/// A file of the typeface, by its place in [`FILES`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct File(pub usize);

/// A letter as it is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glyph {
    /// The character that it stands for.
    pub letter: char,
    /// The file that it comes from.
    pub file: File,
    /// Its number there; 0 is the box of a letter that no file has.
    pub id: u16,
    /// Where it begins, in units of the drawing.
    pub x: f64,
    /// How far it takes the text, in units of the drawing.
    pub advance: f64,
}

/// The parsed files.
pub fn faces() -> &'static [Face<'static>] {
    static FACES: OnceLock<Vec<Face<'static>>> = OnceLock::new();
    FACES.get_or_init(|| {
        FILES
            .iter()
            .filter_map(|bytes| Face::parse(bytes, 0).ok())
            .collect()
    })
}

fn glyph(letter: char, bold: bool) -> (File, GlyphId) {
    let own = usize::from(bold);
    [own, 2]
        .into_iter()
        .find_map(|file| {
            let id = faces().get(file)?.glyph_index(letter)?;
            Some((File(file), id))
        })
        .unwrap_or((File(own), GlyphId(0)))
}

/// The letters of a line of this size, the first one at 0.
pub fn line(text: &str, size: f64, bold: bool) -> Vec<Glyph> {
    let mut x = 0.0;
    text.chars()
        .map(|letter| {
            let (file, id) = glyph(letter, bold);
            let advance = faces().get(file.0).map_or(0.0, |face| {
                let units = f64::from(face.units_per_em().max(1));
                size * f64::from(face.glyph_hor_advance(id).unwrap_or(0)) / units
            });
            let begin = x;
            x += advance;
            Glyph {
                letter,
                file,
                id: id.0,
                x: begin,
                advance,
            }
        })
        .collect()
}

/// How long a line of this size is.
pub fn width(text: &str, size: f64, bold: bool) -> f64 {
    line(text, size, bold)
        .last()
        .map_or(0.0, |glyph| glyph.x + glyph.advance)
}

/// A line that is no longer than `room`: what is too much gives way to `…`.
pub fn elided(text: &str, size: f64, bold: bool, room: f64) -> String {
    if width(text, size, bold) <= room {
        return text.to_owned();
    }
    let room = room - width("…", size, bold);
    let kept: String = line(text, size, bold)
        .iter()
        .take_while(|glyph| glyph.x + glyph.advance <= room)
        .map(|glyph| glyph.letter)
        .collect();
    format!("{}…", kept.trim_end())
}

/// A text in lines no longer than `room`, at most `most` of them; the last one
/// is elided.
pub fn wrapped(text: &str, size: f64, bold: bool, room: f64, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut words = text.split(' ').filter(|word| !word.is_empty()).peekable();
    while let Some(word) = words.next() {
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match longer {
            Some(longer) if width(&longer, size, bold) <= room => {
                lines.pop();
                lines.push(longer);
            }
            _ if lines.len() < most => lines.push(word.to_owned()),
            Some(longer) => {
                let rest: Vec<&str> = words.collect();
                lines.pop();
                lines.push(format!("{longer} {}", rest.join(" ")));
                break;
            }
            None => break,
        }
    }
    lines
        .iter()
        .map(|line| elided(line, size, bold, room))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_files_are_read_and_have_the_letters_of_a_key() {
        assert_eq!(faces().len(), FILES.len());
        for letter in "Hα [O III] 656.3 nm … · –".chars() {
            for bold in [false, true] {
                assert_ne!(glyph(letter, bold).1, GlyphId(0), "{letter} {bold}");
            }
        }
    }

    #[test]
    fn long_lines_end_in_an_ellipsis_and_fit() {
        let text = "Lantern Shell in three lines";
        assert_eq!(elided(text, 20.0, false, 1e9), text);
        let short = elided(text, 20.0, false, 120.0);
        assert!(
            short.ends_with('…') && short.starts_with("Lantern"),
            "{short}"
        );
        assert!(width(&short, 20.0, false) <= 120.0);
    }

    #[test]
    fn texts_break_between_words_and_stop_at_the_last_line() {
        let text = "sulfur red, hydrogen gold, oxygen blue, and a few words more";
        let lines = wrapped(text, 10.0, false, 120.0, 9);
        assert_eq!(lines.join(" "), text);
        assert!(lines.iter().all(|line| width(line, 10.0, false) <= 120.0));
        let two = wrapped(text, 10.0, false, 120.0, 2);
        assert_eq!(two.len(), 2);
        assert!(two[1].ends_with('…'));
        assert_eq!(wrapped("", 10.0, false, 50.0, 2).len(), 0);
    }
}
