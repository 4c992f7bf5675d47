//! How good a set of colours is for telling this data's lines apart.

use super::meeting::Meeting;
use super::search::LEAST_LIGHTNESS;
use crate::engine::apart::{Alone, Seen, TONES};
use crate::engine::color::oklab::oklch;
use crate::engine::color::vision::Vision;
use crate::engine::mix::assign::hue_vector;

/// How far apart lines are kept:
///
/// ```text
/// least = min over pairs and readers of  d / need
/// total = least + 0.02 * mean of d / need
/// ```
///
/// where d is the least CIEDE2000 over the tones that occur in both lines, and
/// `need` is 1 where the two always meet in this data, less where they do not
/// ([`Meeting`]). All four kinds of readers count alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// The least of all pairs and readers.
    pub least: f64,
    /// What is made as large as can be.
    pub total: f64,
}

/// What the mean counts beside the least.
const MEAN_WEIGHT: f64 = 0.02;

impl Score {
    // No two colours on a screen lie farther apart by any need.
    pub(super) const MOST_MEAN: f64 = 500.0;

    /// From the least and the mean.
    pub(super) fn weigh(least: f64, mean: f64) -> f64 {
        least + MEAN_WEIGHT * mean
    }
}

/// A colour as the search handles it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hue {
    pub hue: f64,
    pub saturation: f64,
    pub strength: f64,
}

impl Hue {
    pub(super) fn vector(self) -> [f64; 3] {
        hue_vector(self.hue, self.saturation, self.strength)
    }

    /// A vector without negative parts as hue, saturation and strength: all of
    /// them can be written so. None for black and what lies outside.
    pub(super) fn of(vector: [f64; 3]) -> Option<Self> {
        let strength = vector.into_iter().fold(0.0, f64::max);
        let least = vector.into_iter().fold(f64::INFINITY, f64::min);
        if least < 0.0 || strength <= 0.0 {
            return None;
        }
        let saturation = 1.0 - least / strength;
        let pure = if saturation > 0.0 {
            vector.map(|part| (part / strength - (1.0 - saturation)) / saturation)
        } else {
            [1.0, 0.0, 0.0]
        };
        Some(Self {
            hue: oklch(pure)[2],
            saturation,
            strength,
        })
    }
}

/// A line of the search: all channels that hold it.
pub(super) struct Group {
    /// Its wavelength in nm.
    pub center_nm: f64,
    /// Its part in the brightness, where that is taken from channels.
    pub share: f64,
    /// Its colour, where that must stay.
    pub fixed: Option<[f64; 3]>,
}

/// All that the search knows.
pub(super) struct Field<'a> {
    pub alone: &'a Alone,
    pub groups: &'a [Group],
    /// For groups a < b at b (b - 1) / 2 + a.
    pub meetings: &'a [Meeting],
    pub keep_order: bool,
}

// Where the order of hues along the spectrum is cut, Oklch degrees: reds lie
// just above, and from here to beyond blue no purple of the eye's own follows.
const SPECTRUM_START: f64 = 350.0;

const SPECTRUM_LENGTH: f64 = 330.0;

// Hues in order keep at least so far from each other, degrees.
const LEAST_STEP: f64 = 10.0;

/// How far along the spectrum a colour lies: from red, 0, to violet.
pub(super) fn along(vector: [f64; 3]) -> f64 {
    (oklch(vector)[2] - SPECTRUM_START).rem_euclid(360.0)
}

/// The least difference of two lines over the tones that count, by reader.
pub(super) fn nearest(
    one: &Seen,
    other: &Seen,
    tones: [bool; TONES.len()],
) -> [f64; Vision::ALL.len()] {
    one.apart_at(other, tones)
        .map(|by_tone| by_tone.into_iter().fold(f64::INFINITY, f64::min))
}

impl Meeting {
    // Least and mean of the differences by reader, by what is needed.
    pub(super) fn weigh(&self, distances: [f64; Vision::ALL.len()]) -> (f64, f64) {
        let (mut least, mut sum) = (f64::INFINITY, 0.0);
        for distance in distances {
            least = least.min(distance / self.need);
            sum += distance / self.need;
        }
        (least, sum / Vision::ALL.len() as f64)
    }
}

impl Field<'_> {
    pub(super) fn is_fixed(&self, group: usize) -> bool {
        self.groups[group].fixed.is_some()
    }

    pub(super) fn fixed_or_any(&self) -> Vec<Hue> {
        let any = Hue {
            hue: 0.0,
            saturation: 1.0,
            strength: 1.0,
        };
        vec![any; self.groups.len()]
    }

    pub(super) fn meeting(&self, one: usize, other: usize) -> &Meeting {
        let (a, b) = (one.min(other), one.max(other));
        &self.meetings[b * (b - 1) / 2 + a]
    }

    // Least and mean over readers of two lines.
    fn pair(&self, one: usize, seen: &Seen, other: usize, other_seen: &Seen) -> (f64, f64) {
        let meeting = self.meeting(one, other);
        meeting.weigh(nearest(seen, other_seen, meeting.tones))
    }

    /// Whether two lines, so far along the spectrum, are in the order asked for.
    pub(super) fn in_order(&self, one: usize, a: f64, other: usize, b: f64) -> bool {
        let (its, theirs) = (self.groups[one].center_nm, self.groups[other].center_nm);
        if !self.keep_order || its == theirs {
            return true;
        }
        let (long, short) = if its > theirs { (a, b) } else { (b, a) };
        long + LEAST_STEP <= short && short <= SPECTRUM_LENGTH
    }

    /// Least and summed means of a line, so far along the spectrum, and all
    /// fixed ones; minus infinity where the order is wrong.
    pub(super) fn with_fixed(&self, group: usize, place: f64, seen: &Seen) -> (f64, f64) {
        let (mut least, mut sum) = (f64::INFINITY, 0.0);
        for (other, fixed) in self.groups.iter().enumerate() {
            let Some(vector) = fixed.fixed else { continue };
            if !self.in_order(group, place, other, along(vector)) {
                return (f64::NEG_INFINITY, 0.0);
            }
            let fixed = self.alone.seen(vector, fixed.share);
            let pair = self.pair(group, seen, other, &fixed);
            least = least.min(pair.0);
            sum += pair.1;
        }
        (least, sum)
    }

    /// The score of vectors, whatever they are; None where the order is wrong.
    pub(super) fn score_of(&self, vectors: &[[f64; 3]]) -> Option<Score> {
        let seen: Vec<Seen> = vectors
            .iter()
            .zip(self.groups)
            .map(|(vector, group)| self.alone.seen(*vector, group.share))
            .collect();
        let places: Vec<f64> = vectors.iter().map(|vector| along(*vector)).collect();
        let (mut least, mut sum) = (f64::INFINITY, 0.0);
        for b in 0..vectors.len() {
            for a in 0..b {
                if !self.in_order(a, places[a], b, places[b]) {
                    return None;
                }
                let pair = self.pair(a, &seen[a], b, &seen[b]);
                least = least.min(pair.0);
                sum += pair.1;
            }
        }
        Some(Score {
            least,
            total: Score::weigh(least, sum / self.meetings.len().max(1) as f64),
        })
    }

    /// The vectors of hues, fixed lines as they are.
    pub(super) fn vectors(&self, hues: &[Hue]) -> Vec<[f64; 3]> {
        let vector = |(hue, group): (&Hue, &Group)| group.fixed.unwrap_or_else(|| hue.vector());
        hues.iter().zip(self.groups).map(vector).collect()
    }

    /// The score of hues; None where the order is wrong or a line is too dark
    /// to be suggested.
    pub(super) fn score(&self, hues: &[Hue]) -> Option<Score> {
        let vectors = self.vectors(hues);
        let score = self.score_of(&vectors)?;
        let bright = |(index, vector): (usize, &[f64; 3])| {
            self.is_fixed(index)
                || self
                    .alone
                    .seen(*vector, self.groups[index].share)
                    .lightness()
                    >= LEAST_LIGHTNESS
        };
        vectors.iter().enumerate().all(bright).then_some(score)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_vector_without_negative_parts_is_a_hue() {
        for vector in [[1.0, 0.0, 0.0], [0.2, 0.5, 0.9], [0.4, 0.4, 0.1], [0.7; 3]] {
            let back = Hue::of(vector).expect("inside").vector();
            for (a, b) in vector.iter().zip(back) {
                assert!((a - b).abs() < 1e-6, "{vector:?} {back:?}");
            }
        }
        assert_eq!(Hue::of([0.0; 3]), None);
        assert_eq!(Hue::of([1.0, -0.1, 0.0]), None);
    }

    #[test]
    fn the_spectrum_runs_from_red_to_violet() {
        let hues = [
            [1.0, 0.0, 0.0],
            [1.0, 0.9, 0.0],
            [0.0, 1.0, 0.0],
            [0.0, 0.8, 1.0],
        ];
        let mut places: Vec<f64> = hues.into_iter().map(along).collect();
        places.push(along([0.0, 0.0, 1.0]));
        assert!(places.is_sorted(), "{places:?}");
    }
}
