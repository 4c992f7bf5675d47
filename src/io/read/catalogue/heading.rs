//! What may stand between the names of the columns and the first star.

use csv::StringRecord;

/// Words for what angles are written in that this reader takes: degrees, or
/// parts of sixty. Hours with a fraction and radians are not among them.
const ANGLES: &[&str] = &[
    "deg", "degree", "degrees", "\u{b0}", "h:m:s", "d:m:s", "hms", "dms", "hh:mm:ss", "dd:mm:ss",
];

/// Words for what else angles are written in, which would be misread.
const MISREAD: &[&str] = &[
    "h",
    "hr",
    "hour",
    "hours",
    "hourangle",
    "rad",
    "radian",
    "radians",
];

/// Whether a row belongs to the names above it: it gives units, or draws a line.
pub(super) fn belongs(record: &StringRecord) -> bool {
    is_line(record) || gives_units(record)
}

// Nothing but strokes.
fn is_line(record: &StringRecord) -> bool {
    let stroke = |c: char| c.is_whitespace() || "-=+:|_\u{2500}\u{2014}".contains(c);
    record.iter().all(|cell| cell.chars().all(stroke))
}

// An angle's unit, and not one number.
fn gives_units(record: &StringRecord) -> bool {
    let words = || {
        let bare = |cell: &str| {
            cell.trim_matches(['[', ']', '(', ')', ' ', '"'])
                .to_lowercase()
        };
        record.iter().map(bare)
    };
    let is_number = |word: &String| word.parse::<f64>().is_ok_and(f64::is_finite);
    let has = |known: &[&str]| words().any(|word| known.contains(&word.as_str()));
    has(ANGLES) && !has(MISREAD) && !words().any(|word| is_number(&word))
}
