//! What words and wavelengths stand for.

use std::sync::OnceLock;

use super::reading::Place;
use crate::engine::lines::spelling::arabic;
use crate::engine::lines::table::{Line, lines};

/// How far a whole number of nanometres in a filter's name may lie from the
/// line it is made for.
const NAMED_WITHIN_NM: f64 = 2.0;

/// By how much the nearest line must be nearer than the next.
const CLEARLY_NEARER_NM: f64 = 0.8;

struct Spelling {
    text: String,
    line: &'static Line,
    header_only: bool,
}

/// Every spelling, longest first.
fn spellings() -> &'static [Spelling] {
    static ALL: OnceLock<Vec<Spelling>> = OnceLock::new();
    ALL.get_or_init(|| {
        let mut all = Vec::new();
        for line in lines() {
            let anywhere = line.spellings.iter().map(|text| (text, false));
            let header = line.header_only.iter().map(|text| (text, true));
            for (text, header_only) in anywhere.chain(header) {
                let arabic = if line.is_broad() { None } else { arabic(text) };
                for text in [Some(text.clone()), arabic].into_iter().flatten() {
                    all.push(Spelling {
                        text,
                        line,
                        header_only,
                    });
                }
            }
        }
        all.sort_by(|a, b| b.text.len().cmp(&a.text.len()).then(a.text.cmp(&b.text)));
        all
    })
}

/// The line that a whole word stands for in this place.
pub(super) fn spelled(text: &str, place: Place) -> Option<&'static Line> {
    spellings()
        .iter()
        .find(|spelling| spelling.text == text)
        .filter(|spelling| place == Place::Header || !spelling.header_only)
        .map(|spelling| spelling.line)
}

/// No filter's name runs together to more characters than this.
const LONGEST_WORD: usize = 60;

/// A word made of nothing but spellings of emission lines: `haoiii`.
pub(super) fn run_together(word: &str) -> Option<Vec<&'static Line>> {
    if word.len() > LONGEST_WORD {
        return None;
    }
    if word.is_empty() {
        return Some(Vec::new());
    }
    spellings()
        .iter()
        .filter(|spelling| !spelling.line.is_broad() && !spelling.header_only)
        .filter_map(|spelling| Some((word.strip_prefix(spelling.text.as_str())?, spelling.line)))
        .find_map(|(rest, line)| {
            let mut all = run_together(rest)?;
            all.insert(0, line);
            Some(all)
        })
}

/// The emission line that a filter named after `nm` is made for, or several.
pub(super) fn made_for(nm: f64) -> Vec<&'static str> {
    let mut near: Vec<(f64, &'static str)> = lines()
        .iter()
        .filter_map(|line| {
            let offset = line.made_nm.iter().map(|made| (made - nm).abs());
            Some((offset.min_by(f64::total_cmp)?, line.id.as_str()))
        })
        .filter(|(offset, _)| *offset <= NAMED_WITHIN_NM)
        .collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0));
    if let [(first, _), (second, _), ..] = near.as_slice()
        && second - first > CLEARLY_NEARER_NM
    {
        near.truncate(1);
    }
    near.into_iter().map(|(_, id)| id).collect()
}

/// The lines of the table that a passband lets through by half or more.
pub(super) fn inside(center_nm: f64, width_nm: f64) -> Vec<&'static str> {
    lines()
        .iter()
        .filter(|line| {
            let offset = line.air_nm.iter().map(|nm| (nm - center_nm).abs());
            offset
                .min_by(f64::total_cmp)
                .is_some_and(|offset| offset <= width_nm / 2.0)
        })
        .map(|line| line.id.as_str())
        .collect()
}
