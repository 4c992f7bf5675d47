//! The words that go under a picture, from what is known of it: nothing is
//! guessed, and every number and colour in them is a fact of the record.

pub mod facts;

pub mod seen;

pub mod template;

pub mod tidy;

pub use facts::{Day, Facts, Kind, Shown};
pub use seen::Seen;
pub use template::{Template, TemplateError};
pub use tidy::Format;

/// Characters that a short caption has at most.
pub const LONGEST_SHORT: usize = 280;

/// Three captions of one picture.
#[derive(
    Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(deny_unknown_fields)]
pub struct Caption {
    /// For a post: a sentence or two, at most 280 characters.
    pub short: String,
    /// For a gallery: what is shown in which colour, for how long, and how it
    /// was made.
    pub long: String,
    /// For someone who does not see the picture.
    pub alt: String,
}

/// Writes the captions of a picture, in English.
pub fn write(facts: &Facts) -> Caption {
    Template::english().write(facts)
}

/// Hours and minutes: `6 h 40 m`, `45 m`, `30 s`.
pub fn hours_minutes(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round() as u64;
    match (minutes / 60, minutes % 60) {
        (0, 0) => format!("{seconds:.0} s"),
        (0, minutes) => format!("{minutes} m"),
        (hours, minutes) => format!("{hours} h {minutes:02} m"),
    }
}

#[cfg(test)]
mod tests;
