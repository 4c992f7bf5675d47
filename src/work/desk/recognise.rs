//! What a stack is: its facts, its line, or what has to be asked.

use std::path::{Path, PathBuf};

use crate::engine::exposure::exposure;
use crate::engine::header::Header;
use crate::engine::lines::{self, Line, Recognition, recognise};
use crate::engine::recipe::Channel;
use crate::io::read::{self, Facts, Pick, ReadError};
use crate::work::Error;
use crate::work::draft::UNSTRETCHED;

/// What became of a file.
pub enum Seen {
    /// It holds these channels; ids and file names are still to come.
    Channels {
        /// One, or R, G and B of a colour picture.
        channels: Vec<Channel>,
        /// What a person should know.
        notices: Vec<String>,
    },
    /// Its line is not clear.
    Unclear {
        /// Why.
        why: String,
        /// Ids of lines, the likeliest first.
        guesses: Vec<String>,
    },
}

/// Lines that most narrowband sets hold, in the order in which they are offered.
const COMMON: [&str; 8] = ["Ha", "OIII", "SII", "NII", "L", "R", "G", "B"];

/// A wavelength that lies this near to a line's may mean it, nm.
const NEAR_NM: f64 = 12.0;

/// Looks at a file. `named` is the line that the user said.
///
/// # Errors
/// When it cannot be read, or `named` is no line.
pub fn look(path: &Path, named: Option<&str>) -> Result<Seen, Error> {
    if path.to_str().is_none() {
        return Err(Error::request(
            format!("{}: the name is not UTF-8, as a recipe is", path.display()),
            "rename the file",
        ));
    }
    let facts = match read::open(path, Pick::default()) {
        Ok(opened) => opened.facts,
        Err(error @ ReadError::Pick { .. }) => {
            return color_picture(path).ok_or_else(|| error.into());
        }
        Err(error) => return Err(error.into()),
    };
    let name = name_of(path);
    let recognition = recognise(&facts.header, &name);
    let (line, center_nm, width_nm) = match (named, recognition) {
        (Some(id), recognition) => {
            let Some(line) = lines::line(id) else {
                return Err(Error::request(
                    format!("`{id}` is not in the line table"),
                    "choose one of the lines that are offered",
                ));
            };
            match recognition {
                Recognition::Known {
                    line: seen,
                    width_nm,
                    ..
                } if seen == line.id => (seen, None, width_nm),
                _ => (line.id.clone(), None, None),
            }
        }
        (
            None,
            Recognition::Known {
                line,
                center_nm,
                width_nm,
                ..
            },
        ) => (line, center_nm, width_nm),
        (None, Recognition::Ambiguous { candidates, why }) => {
            let why = format!("its line is {}: {why}", candidates.join(" or "));
            let guesses = guesses(&candidates, &facts.header, &name);
            return Ok(Seen::Unclear { why, guesses });
        }
        (None, Recognition::Unknown { why }) => {
            let why = format!("its line is not known: {why}");
            let guesses = guesses(&[], &facts.header, &name);
            return Ok(Seen::Unclear { why, guesses });
        }
    };
    let (channel, notices) = channel(path, &facts, line, Pick::default());
    Ok(Seen::Channels {
        channels: vec![Channel {
            center_nm,
            width_nm,
            ..channel
        }],
        notices,
    })
}

fn name_of(path: &Path) -> String {
    path.file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}

fn channel(path: &Path, facts: &Facts, line: String, pick: Pick) -> (Channel, Vec<String>) {
    let exposed = exposure(&facts.header);
    let doubt = exposed
        .doubt
        .map(|doubt| format!("{}: {doubt}", path.display()));
    let channel = Channel {
        id: String::new(),
        file: String::new(),
        line,
        center_nm: None,
        width_nm: None,
        exposure_s: exposed.seconds,
        plane: pick.plane,
        hdu: pick.hdu,
        align: None,
        level: None,
        continuum: None,
        denoise: None,
        stretch: UNSTRETCHED,
    };
    (channel, doubt.into_iter().collect())
}

// The planes of a picture of three are taken for red, green and blue.
fn color_picture(path: &Path) -> Option<Seen> {
    let mut channels = Vec::new();
    let mut doubts = Vec::new();
    for (plane, line) in ["R", "G", "B"].into_iter().enumerate() {
        let pick = Pick {
            hdu: None,
            plane: Some(plane),
        };
        let facts = read::open(path, pick).ok()?.facts;
        let fits = matches!(
            facts.container,
            read::Container::Fits | read::Container::FitsTiled
        );
        // Beside the colours, a raster may hold which pixels are opaque.
        if !(facts.planes == 3 || (!fits && facts.planes == 4)) {
            return None;
        }
        let (channel, doubt) = channel(path, &facts, line.to_owned(), pick);
        channels.push(channel);
        doubts = doubt;
    }
    let mut notices = vec![format!(
        "{}: its three planes are taken for R, G and B",
        path.display()
    )];
    notices.extend(doubts);
    Some(Seen::Channels { channels, notices })
}

// Likely lines first, then the common ones, then all others.
fn guesses(candidates: &[String], header: &Header, name: &str) -> Vec<String> {
    let mut guesses: Vec<String> = Vec::new();
    let mut add = |id: &str| {
        if lines::line(id).is_some() && !guesses.iter().any(|guess| guess == id) {
            guesses.push(id.to_owned());
        }
    };
    candidates.iter().for_each(|id| add(id));
    let filter = header.text("FILTER").unwrap_or_default();
    let said = format!("{filter} {name}").to_lowercase();
    for line in lines::lines() {
        if spelled(&said, line) {
            add(&line.id);
        }
    }
    for nm in wavelengths(&said) {
        let mut near: Vec<(f64, &Line)> = lines::lines()
            .iter()
            .map(|line| ((line.center_nm - nm).abs(), line))
            .filter(|(off, line)| *off <= NEAR_NM && !line.is_broad())
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        near.iter().for_each(|(_, line)| add(&line.id));
    }
    COMMON.iter().for_each(|id| add(id));
    lines::lines().iter().for_each(|line| add(&line.id));
    guesses
}

// Whether the words hold one that the line's ion or name begins with.
fn spelled(said: &str, line: &Line) -> bool {
    let element = line.name.split(['-', ' ']).next().unwrap_or_default();
    let element = element.to_lowercase();
    said.split(|c: char| !c.is_alphanumeric())
        .filter(|word| word.chars().count() >= 4)
        .any(|word| element.starts_with(word) || word.starts_with(element.as_str()))
        && element.len() >= 4
}

fn wavelengths(said: &str) -> Vec<f64> {
    said.split(|c: char| !(c.is_ascii_digit() || c == '.'))
        .filter_map(|number| number.trim_matches('.').parse::<f64>().ok())
        .flat_map(|number| [number, number / 10.0])
        .filter(|nm| (300.0..1000.0).contains(nm))
        .collect()
}

/// Whether two names mean one file.
pub fn same_file(one: &Path, other: &Path) -> bool {
    one == other || matches!((one.canonicalize(), other.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

/// What the user said of a file.
pub fn said<'a>(lines: &'a [(PathBuf, String)], path: &Path) -> Option<&'a str> {
    lines
        .iter()
        .find(|(named, _)| same_file(named, path))
        .map(|(_, line)| line.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn likely_lines_come_first_and_none_is_missing() {
        let header = Header::default();
        let all = guesses(&[], &header, "sulphur 6724.fits");
        assert_eq!(all.len(), lines::lines().len());
        let at = |id: &str| all.iter().position(|guess| guess == id);
        assert!(at("SII") < at("Ha"), "{all:?}");
        let plain = guesses(&[], &header, "stack.fits");
        assert_eq!(plain[..3], ["Ha", "OIII", "SII"]);
        let doubtful = guesses(&["NII".into(), "Ha".into()], &header, "x.fits");
        assert_eq!(doubtful[..2], ["NII", "Ha"]);
    }
}
