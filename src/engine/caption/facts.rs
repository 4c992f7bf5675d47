//! What a caption may say: facts, none of them guessed, as plain data.

use super::seen::Seen;
use crate::engine::recipe::{AlignMethod, BalancedBy, Shape, ShowStars};

/// A line or band of the picture, as a caption speaks of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Shown {
    /// Id of the line table.
    pub line: String,
    /// In words: `hydrogen-alpha`.
    pub name: String,
    /// As print has it: `Hα`, `[O III]`.
    pub symbol: String,
    /// Centre of the passband, nm.
    pub center_nm: f64,
    /// Width of the passband, nm.
    pub width_nm: Option<f64>,
    /// Whether it is L, R, G or B.
    pub broad: bool,
    /// Symbols of lines that the filter lets through as well: `[N II]`.
    pub also_passes: Vec<String>,
    /// A colour word of the AVM standard for what is on the screen; None where
    /// the channel gives brightness only.
    pub color_name: Option<String>,
    /// Whether that is the light's own colour.
    pub natural: bool,
    /// Whether the picture takes brightness from it.
    pub brightens: bool,
    /// Seconds of exposure.
    pub exposure_s: Option<f64>,
    /// Frames that were stacked.
    pub frames: Option<u64>,
    /// By what it was brought onto the reference's grid.
    pub align: Option<AlignMethod>,
    /// Whether the sky glow was taken out.
    pub leveled: bool,
    /// The shape of its stretch.
    pub shape: Shape,
    /// Whether a curve follows the stretch.
    pub curved: bool,
    /// Whether the stars' light was taken out by a broad channel.
    pub emission: bool,
    /// Whether noise was smoothed away.
    pub smoothed: bool,
}

/// A day of the calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day {
    /// 0 to 9999.
    pub year: u16,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
}

impl Day {
    /// The day of `yyyy-mm-dd`, perhaps with a time after it; None for any other
    /// writing and for days that are in no calendar.
    pub fn parse(text: &str) -> Option<Self> {
        let (date, rest) = text.trim().split_at_checked(10)?;
        if !(rest.is_empty() || rest.starts_with(['T', ' ', 'Z'])) {
            return None;
        }
        let bytes = date.as_bytes();
        let number = |from: usize, to: usize| -> Option<u16> {
            let digits = &bytes[from..to];
            digits
                .iter()
                .all(u8::is_ascii_digit)
                .then(|| digits.iter().fold(0, |n, d| n * 10 + u16::from(d - b'0')))
        };
        let (year, month, day) = (number(0, 4)?, number(5, 7)?, number(8, 10)?);
        let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
        let length = match month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            _ => return None,
        };
        let sound = bytes[4] == b'-' && bytes[7] == b'-' && (1..=length).contains(&day);
        sound.then_some(Self {
            year,
            month: month as u8,
            day: day as u8,
        })
    }
}

/// What the colours of a picture are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Every light in its own hue.
    Natural,
    /// No light in its own hue.
    Mapped,
    /// Some in their own hue, some not.
    Partly,
    /// No colour at all.
    Grey,
}

/// Everything that a caption may say of a picture.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Facts {
    /// The picture's title; may be empty.
    pub title: String,
    /// What is seen; may be empty.
    pub object: String,
    /// Who made it; may be empty.
    pub creator: String,
    /// The line to print under it; may be empty.
    pub credit: String,
    /// The terms of use; may be empty.
    pub rights: String,
    /// Id of the rendition.
    pub rendition: String,
    /// What takes part, in the recipe's order.
    pub lines: Vec<Shown>,
    /// Whether Oklab's a and b are kept at all.
    pub colorless: bool,
    /// Whether natural lines are weighed by how bright an eye sees them.
    pub eye: bool,
    /// How much of the brightness comes from chosen channels, 0..1; None: all of
    /// it from the mix.
    pub luminance_amount: Option<f64>,
    /// Whether the fine structure of the brightness was brought out.
    pub detail: bool,
    /// Whether colours are smoother than brightness.
    pub smooth_color: bool,
    /// How stars show.
    pub stars: ShowStars,
    /// Whether stars have another size or brightness than they had.
    pub stars_scaled: bool,
    /// How the broad bands were balanced, and on how many stars.
    pub balance: Option<(BalancedBy, Option<usize>)>,
    /// The first and the last day in the headers.
    pub days: Option<[Day; 2]>,
    /// Whether a part of the reference's grid is left out.
    pub cropped: bool,
    /// What was measured in the finished picture.
    pub seen: Option<Seen>,
}

impl Facts {
    /// The lines that have a colour.
    pub fn colored(&self) -> impl Iterator<Item = &Shown> {
        self.lines.iter().filter(|line| line.color_name.is_some())
    }

    /// What the colours are.
    pub fn kind(&self) -> Kind {
        let has_hue = |line: &Shown| line.color_name.as_deref().is_some_and(|w| w != "Grayscale");
        if self.colorless || !self.colored().any(has_hue) {
            return Kind::Grey;
        }
        let natural = self.colored().filter(|line| line.natural).count();
        match natural {
            0 => Kind::Mapped,
            n if n == self.colored().count() => Kind::Natural,
            _ => Kind::Partly,
        }
    }

    /// Seconds of exposure of all lines together, as far as they are known; None
    /// where none is.
    pub fn integration_s(&self) -> Option<f64> {
        let known = self.lines.iter().filter_map(|line| line.exposure_s);
        let total: f64 = known.filter(|seconds| sensible_s(*seconds)).sum();
        (total > 0.0).then_some(total)
    }
}

/// Whether a number of seconds can be an exposure: more than nothing, less than
/// a lifetime.
pub fn sensible_s(seconds: f64) -> bool {
    (0.05..3e9).contains(&seconds)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_of_the_calendar() {
        let day = |text| Day::parse(text).map(|d| (d.year, d.month, d.day));
        assert_eq!(day("2031-08-11T20:52:10"), Some((2031, 8, 11)));
        assert_eq!(day(" 2032-02-29"), Some((2032, 2, 29)));
        for text in [
            "2031-02-29",
            "2031-13-01",
            "2031-00-10",
            "11/08/31",
            "2031-8-1",
            "2031-08-111",
            "",
            "２０３１-08",
            "2031-08-1x",
            "2031/08/11",
        ] {
            assert_eq!(day(text), None, "{text}");
        }
    }
}
