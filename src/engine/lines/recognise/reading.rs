//! One text, read for the lines it names.

use super::Recognition;
use super::known::{inside, made_for, run_together, spelled};
use crate::engine::lines::spelling::{Piece, pieces};
use crate::engine::lines::table::{Line, lines};

/// Where a text stands: what is clear in a header may be chance in a file name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    Header,
    FileName,
}

/// What a text says.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Reading {
    /// Ids, each once.
    pub lines: Vec<&'static str>,
    pub center_nm: Option<f64>,
    pub width_nm: Option<f64>,
    /// What else is worth saying; empty or a clause.
    pub note: String,
}

impl Reading {
    /// The same, its lines each once and in the table's order.
    pub fn in_order(mut self) -> Self {
        let place = |id: &&'static str| lines().iter().position(|line| line.id == *id);
        self.lines.sort_by_key(place);
        self.lines.dedup();
        self
    }

    /// The note in brackets, to follow what it is about.
    pub fn remark(&self) -> String {
        match self.note.as_str() {
            "" => String::new(),
            note => format!(" ({note})"),
        }
    }

    pub fn into_recognition(self, why: String) -> Recognition {
        match self.lines.as_slice() {
            [] => Recognition::Unknown { why },
            [id] => Recognition::Known {
                line: (*id).to_owned(),
                center_nm: self.center_nm,
                width_nm: self.width_nm,
                why,
            },
            many => Recognition::Ambiguous {
                candidates: many.iter().map(|id| (*id).to_owned()).collect(),
                why,
            },
        }
    }
}

/// A filter whose stated centre lies farther from its line holds something
/// else by that number.
const CENTER_WITHIN_NM: f64 = 15.0;

/// A passband wider than this is a broad band.
const BROAD_NM: f64 = 40.0;

/// Words that change nothing about a broadband letter before them.
const NEUTRAL: &[&str] = &[
    "filter",
    "band",
    "broadband",
    "prime",
    "sdss",
    "sloan",
    "bessell",
    "bessel",
    "bess",
    "johnson",
    "cousins",
    "kron",
    "stack",
    "stacked",
    "master",
    "light",
    "lights",
    "integration",
    "integrated",
    "drizzle",
    "drizzled",
    "bin",
    "final",
    "linear",
    "crop",
    "cropped",
    "aligned",
    "registered",
    "reg",
    "cal",
    "calibrated",
    "sub",
    "subt",
    "wcs",
    "mosaic",
    "combined",
    "mean",
    "median",
    "sum",
    "copy",
    "version",
    "s",
    "sec",
    "secs",
    "second",
    "seconds",
    "min",
    "h",
    "x",
    "nm",
    "fit",
    "fits",
    "fts",
    "fz",
    "gz",
    "bz",
    "z",
    "tif",
    "tiff",
    "png",
];

/// Words for a slot of a wheel without glass that colours.
const OPEN: &[&str] = &[
    "open", "clear", "empty", "none", "no", "filter", "blank", "hole", "air", "null", "free", "n",
    "a", "l", "s",
];

/// Whether a text names an empty or clear slot.
pub(super) fn is_open(text: &str) -> bool {
    let pieces = pieces(text);
    let mut words = pieces.iter().filter(|piece| piece.number.is_none());
    let first = words.next();
    match first {
        None => pieces.is_empty(),
        Some(word) if word.is("l") || word.is("s") || word.is("a") || word.is("filter") => false,
        Some(word) => {
            OPEN.contains(&word.text.as_str())
                && (!word.is("n") || pieces.len() > 1 && pieces[1].is("a"))
                && words.all(|word| OPEN.contains(&word.text.as_str()))
        }
    }
}

/// What a text says.
pub(super) fn read(text: &str, place: Place) -> Reading {
    let pieces = pieces(text);
    let mut found = Found::default();
    let mut at = 0;
    while at < pieces.len() {
        at += found.take(&pieces, at, place);
    }
    found.finish(&pieces, place)
}

/// What has been found on the way through a text.
#[derive(Default)]
struct Found {
    narrow: Vec<&'static str>,
    broad_words: Vec<&'static str>,
    /// Single letters, with the index of the piece after them.
    letters: Vec<(&'static str, usize)>,
    center_nm: Option<f64>,
    width_nm: Option<f64>,
    /// Whether the centre stands as a name of its own: `F656N`, `656 nm`.
    named_by_center: bool,
    /// Whether the centre is given no finer than to a nanometre.
    rounded: bool,
    continuum: bool,
    note: String,
}

impl Found {
    /// Takes what starts at piece `at`; returns how many pieces that was.
    fn take(&mut self, pieces: &[Piece], at: usize, place: Place) -> usize {
        let piece = &pieces[at];
        if piece.number.is_some() {
            return self.take_number(pieces, at);
        }
        if let Some(count) = self.take_coded(pieces, at, place) {
            return count;
        }
        if let Some(count) = self.take_line(pieces, at, place) {
            return count;
        }
        let subtracted = pieces
            .get(at + 1)
            .is_some_and(|next| next.text.starts_with("sub"));
        let before = at.checked_sub(1).map(|i| pieces[i].text.as_str());
        let removed = matches!(before, Some("no" | "minus" | "less" | "without"));
        match piece.text.as_str() {
            "cont" | "continuum" | "offband" if !subtracted && !removed => self.continuum = true,
            word => {
                if let Some(lines) = run_together(word) {
                    self.narrow
                        .extend(lines.iter().map(|line| line.id.as_str()));
                }
            }
        }
        1
    }

    /// A number with its unit.
    fn take_number(&mut self, pieces: &[Piece], at: usize) -> usize {
        let Some(number) = pieces[at].number else {
            return 1;
        };
        let unit = pieces.get(at + 1).map(|piece| piece.text.as_str());
        let nm = match unit {
            Some("nm") => number,
            Some("angstrom" | "angstroms" | "ang") => number / 10.0,
            _ => return 1,
        };
        self.take_nm(nm);
        2
    }

    fn take_nm(&mut self, nm: f64) {
        if (300.0..=1100.0).contains(&nm) {
            self.state_center(nm, nm == libm::floor(nm));
            self.named_by_center = true;
        } else if (0.1..300.0).contains(&nm) {
            self.width_nm.get_or_insert(nm);
        }
    }

    /// Names that are a wavelength: `F656N`, `NB656`, `N662`.
    fn take_coded(&mut self, pieces: &[Piece], at: usize, place: Place) -> Option<usize> {
        let next = pieces.get(at + 1)?;
        let nm = next.number.filter(|_| next.text.len() == 3)?;
        match pieces[at].text.as_str() {
            "f" if next.glued => {
                let kind = pieces.get(at + 2).filter(|piece| piece.glued)?;
                match kind.text.as_str() {
                    "n" => self.name_by_number(nm),
                    "m" | "w" | "x" | "lp" => {
                        self.note = format!("a band about {nm} nm, too wide to belong to one line");
                    }
                    _ => return None,
                }
                Some(3)
            }
            "nb" => {
                self.name_by_number(nm);
                // Such filters are about 10 nm wide: red of H-alpha they hold
                // both it and [N II].
                if (657.0..=661.0).contains(&nm) {
                    self.narrow.extend(["Ha", "NII"]);
                }
                Some(2)
            }
            "n" if place == Place::Header && next.glued => {
                self.name_by_number(nm);
                Some(2)
            }
            _ => None,
        }
    }

    /// The first centre counts.
    fn state_center(&mut self, nm: f64, rounded: bool) {
        if self.center_nm.is_none() {
            (self.center_nm, self.rounded) = (Some(nm), rounded);
        }
    }

    fn name_by_number(&mut self, nm: f64) {
        if (300.0..=1100.0).contains(&nm) {
            self.state_center(nm, true);
            self.named_by_center = true;
        }
    }

    /// The longest spelling of a line that starts at piece `at`.
    fn take_line(&mut self, pieces: &[Piece], at: usize, place: Place) -> Option<usize> {
        for count in (1..=4.min(pieces.len() - at)).rev() {
            let run = &pieces[at..at + count];
            // "[O] 3 nm" is no "O3".
            let unit = pieces.get(at + count).is_some_and(|next| next.is("nm"));
            if run
                .last()
                .is_some_and(|last| last.number.is_some() && !last.glued)
                && unit
            {
                continue;
            }
            // In a file name, a figure that stands apart counts something else.
            if place == Place::FileName
                && run[1..]
                    .iter()
                    .any(|piece| piece.number.is_some() && !piece.glued)
            {
                continue;
            }
            let text: String = run.iter().map(|piece| piece.text.as_str()).collect();
            if let Some(line) = spelled(&text, place) {
                self.name(line, &text, pieces, at, count);
                return Some(count + self.take_tail(line, pieces, at + count, place));
            }
        }
        self.take_figure_and_width(pieces, at)
    }

    fn name(&mut self, line: &'static Line, text: &str, pieces: &[Piece], at: usize, count: usize) {
        if !line.is_broad() {
            self.narrow.push(&line.id);
        } else if text.len() > 2 {
            self.broad_words.push(&line.id);
        } else if !pieces[at].glued && !pieces.get(at + count).is_some_and(|next| next.glued) {
            self.letters.push((&line.id, at + count));
        }
    }

    /// A bare number right behind a line: its width, or its wavelength.
    fn take_tail(&mut self, line: &Line, pieces: &[Piece], at: usize, place: Place) -> usize {
        let Some(piece) = pieces.get(at) else {
            return 0;
        };
        let Some(number) = piece.number else { return 0 };
        if pieces.get(at + 1).is_some_and(|unit| unit.is("nm")) || line.is_broad() {
            return 0;
        }
        let nm = if number >= 3000.0 {
            number / 10.0
        } else {
            number
        };
        if line.air_nm.iter().any(|air| (air - nm).abs() <= 3.0) && piece.text.len() >= 3 {
            self.state_center(nm, number == libm::floor(number) && number < 3000.0);
            return 1;
        }
        if piece.glued && place == Place::Header && (2.5..=20.0).contains(&number) {
            self.width_nm.get_or_insert(number);
            return 1;
        }
        0
    }

    /// `O37nm`: the numeral and the width in one run of figures.
    fn take_figure_and_width(&mut self, pieces: &[Piece], at: usize) -> Option<usize> {
        let figures = pieces
            .get(at + 1)
            .filter(|next| next.glued && next.number.is_some())?;
        pieces.get(at + 2).filter(|unit| unit.is("nm"))?;
        let (numeral, width) = figures.text.split_at_checked(1)?;
        let line = spelled(&format!("{}{numeral}", pieces[at].text), Place::Header)?;
        let width_nm = width.parse().ok().filter(|nm| (0.5..=50.0).contains(nm))?;
        self.narrow.push(&line.id);
        self.width_nm.get_or_insert(width_nm);
        Some(3)
    }

    /// Centre and width in angstrom as the last two numbers of a name.
    fn take_last_two(&mut self, pieces: &[Piece]) -> bool {
        let [.., center, width] = pieces else {
            return false;
        };
        let (Some(center), Some(width), false) = (center.number, width.number, width.glued) else {
            return false;
        };
        if !(3000.0..=11000.0).contains(&center) || !(5.0..=4000.0).contains(&width) {
            return false;
        }
        (self.center_nm, self.rounded) = (Some(center / 10.0), false);
        self.width_nm = Some(width / 10.0);
        true
    }

    fn finish(mut self, pieces: &[Piece], place: Place) -> Reading {
        let mut lines = std::mem::take(&mut self.narrow);
        let before = (self.center_nm, self.width_nm, self.rounded);
        let both = place == Place::Header && self.take_last_two(pieces);
        if !lines.is_empty() && !self.center_fits(&lines) {
            (self.center_nm, self.width_nm, self.rounded) = if both {
                before
            } else {
                (None, before.1, false)
            };
        }
        if self.continuum {
            lines.clear();
            self.note = "a filter for the continuum beside a line".to_owned();
        } else {
            if lines.is_empty() {
                lines = self.by_wavelength(both);
            }
            // Names of objects hold colours: there a line says more.
            if lines.is_empty() || place == Place::Header {
                lines.extend(self.broad(pieces, both));
            }
        }
        if lines.is_empty() && self.note.is_empty() {
            self.note = self.nothing(pieces);
        }
        let mut reading = Reading {
            lines,
            // The table knows the line better than a name in whole nanometres.
            center_nm: self.center_nm.filter(|_| !self.rounded),
            width_nm: self.width_nm,
            note: self.note,
        }
        .in_order();
        if reading.lines.len() > 1 && reading.note.is_empty() {
            reading.note = "more than one line".to_owned();
        }
        reading
    }

    /// Whether the stated centre, if there is one, can be that of these lines.
    fn center_fits(&self, ids: &[&str]) -> bool {
        self.center_nm.is_none_or(|center| {
            lines()
                .iter()
                .filter(|line| ids.contains(&line.id.as_str()))
                .flat_map(|line| &line.air_nm)
                .any(|nm| (nm - center).abs() <= CENTER_WITHIN_NM)
        })
    }

    /// The lines that the stated wavelength speaks for.
    fn by_wavelength(&mut self, both: bool) -> Vec<&'static str> {
        match (self.center_nm, self.width_nm) {
            (Some(center), Some(width)) if both && width <= BROAD_NM => {
                let lines = inside(center, width);
                self.note = match lines.len() {
                    0 => format!("{center} nm, {width} nm wide, holds no line of the table"),
                    1 => format!("{center} nm, {width} nm wide"),
                    _ => format!("{center} nm, {width} nm wide, holds more than one line"),
                };
                lines
            }
            (Some(center), _) if self.named_by_center => {
                let lines = made_for(center);
                self.note = match lines.len() {
                    0 => format!("{center} nm, at no line of the table"),
                    1 => format!("{center} nm"),
                    _ => format!("{center} nm, between lines"),
                };
                lines
            }
            _ => Vec::new(),
        }
    }

    /// Broad bands by word, or by a letter with nothing but small talk behind.
    fn broad(&self, pieces: &[Piece], both: bool) -> Vec<&'static str> {
        let wide = both && self.width_nm.is_some_and(|width| width > BROAD_NM);
        let letters = self.letters.iter().filter(|(_, after)| {
            wide || pieces[*after..].iter().all(|piece| {
                piece.number.is_some()
                    || NEUTRAL.contains(&piece.text.as_str())
                    || self
                        .letters
                        .iter()
                        .any(|(id, _)| piece.text.eq_ignore_ascii_case(id))
            })
        });
        self.broad_words
            .iter()
            .copied()
            .chain(letters.map(|(id, _)| *id))
            .collect()
    }

    /// Why nothing was found, as far as that can be told.
    fn nothing(&self, pieces: &[Piece]) -> String {
        let mut words = pieces.iter().filter(|piece| piece.number.is_none());
        let slot = |word: &Piece| {
            matches!(
                word.text.as_str(),
                "filter" | "slot" | "pos" | "position" | "filt"
            )
        };
        if pieces.is_empty() || pieces.iter().all(|piece| piece.number.is_none()) {
            String::new()
        } else if words.all(slot) {
            "a slot number".to_owned()
        } else {
            String::new()
        }
    }
}
