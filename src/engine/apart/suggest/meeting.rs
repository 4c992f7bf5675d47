//! Which lines shine in this data, how bright, and where they meet.

use crate::engine::apart::TONES;
use crate::engine::recipe::Stretch;
use crate::engine::stretch::Prepared;

/// A tone so far above the sky's is lit: clear of the noise of a mean over
/// many pixels, and seen as more than the sky.
const LIT: f64 = 0.08;

/// A line that lights less than this share of the field is not there.
const PRESENT: f64 = 0.001;

/// What is not there asks for this little, what never meets for half.
const ABSENT_NEED: f64 = 0.25;

/// A channel made small: area means in file units, NaN where there is no data.
#[derive(Debug, Clone)]
pub struct Small {
    /// Row by row; all channels of one field have as many.
    pub values: Vec<f32>,
    /// The sky in file units.
    pub sky: f64,
}

/// What two channels have to do with each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meeting {
    /// Of the pixels that the scarcer of the two lights, the share that the
    /// other lights too (the overlap coefficient), 0..1.
    pub overlap: f64,
    /// How far apart they must be kept, 0..1: 0.5 where they never meet, 1
    /// where one never shines without the other, 0.25 where one is not there.
    pub need: f64,
    /// Which of [`TONES`] occur in both.
    pub tones: [bool; TONES.len()],
}

/// All pairs of a field's channels.
#[derive(Debug, Clone)]
pub struct Meetings {
    lit: Vec<Option<Lit>>,
}

#[derive(Debug, Clone)]
struct Lit {
    pixels: Vec<bool>,
    count: usize,
    // The tone that one in a hundred of the lit pixels exceeds.
    brightest: f64,
}

impl Meetings {
    /// From small pictures of the channels and their stretches, in the
    /// recipe's order; None: nothing is known of that one, it is taken to
    /// shine everywhere.
    pub fn of(channels: &[(Option<Small>, &Stretch)]) -> Self {
        let lit = |(small, stretch): &(Option<Small>, &Stretch)| {
            small.as_ref().map(|small| lit(small, stretch))
        };
        Self {
            lit: channels.iter().map(lit).collect(),
        }
    }

    /// Where nothing is known of the data.
    pub fn unknown(channels: usize) -> Self {
        Self {
            lit: vec![None; channels],
        }
    }

    /// Of two channels, by their indices in the recipe.
    pub fn of_pair(&self, one: usize, other: usize) -> Meeting {
        let get = |index: usize| self.lit.get(index).and_then(Option::as_ref);
        let (Some(one), Some(other)) = (get(one), get(other)) else {
            return Meeting {
                overlap: 1.0,
                need: 1.0,
                tones: [true; TONES.len()],
            };
        };
        let field = one.pixels.len().min(other.pixels.len()).max(1) as f64;
        let scarcer = one.count.min(other.count) as f64;
        let brightest = one.brightest.min(other.brightest);
        // The faintest tone always occurs: where the nebula fades.
        let tones = std::array::from_fn(|i| i == 0 || TONES[i] <= brightest + 0.1);
        if scarcer < PRESENT * field {
            return Meeting {
                overlap: 0.0,
                need: ABSENT_NEED,
                tones,
            };
        }
        let both = one.pixels.iter().zip(&other.pixels);
        let overlap = both.filter(|(a, b)| **a && **b).count() as f64 / scarcer;
        Meeting {
            overlap,
            need: 0.5 + 0.5 * overlap,
            tones,
        }
    }
}

fn lit(small: &Small, stretch: &Stretch) -> Lit {
    let stretch = Prepared::new(stretch);
    let threshold = stretch.tone(small.sky) + LIT;
    let tones: Vec<f64> = small
        .values
        .iter()
        .map(|value| stretch.tone(f64::from(*value)))
        .collect();
    let pixels: Vec<bool> = tones.iter().map(|tone| *tone > threshold).collect();
    let mut bright: Vec<f64> = tones.into_iter().filter(|tone| *tone > threshold).collect();
    bright.sort_unstable_by(f64::total_cmp);
    let at = bright.len().saturating_sub(1) * 99 / 100;
    Lit {
        count: bright.len(),
        brightest: bright.get(at).copied().unwrap_or(0.0),
        pixels,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::Shape;

    fn stretch() -> Stretch {
        Stretch {
            black: 0.0,
            white: 1.0,
            shape: Shape::Linear,
            amount: None,
            curve: None,
        }
    }

    fn small(lit: std::ops::Range<usize>, tone: f32) -> Option<Small> {
        let values = (0..1000)
            .map(|i| if lit.contains(&i) { tone } else { 0.05 })
            .collect();
        Some(Small { values, sky: 0.05 })
    }

    #[test]
    fn overlap_is_counted_on_the_scarcer_line() {
        let stretch = stretch();
        let meetings = Meetings::of(&[
            (small(0..400, 0.9), &stretch),
            (small(300..500, 0.5), &stretch),
            (small(600..700, 0.9), &stretch),
            (small(0..0, 0.9), &stretch),
        ]);
        let meeting = meetings.of_pair(0, 1);
        assert_eq!(meeting.overlap, 0.5);
        assert_eq!(meeting.need, 0.75);
        assert_eq!(meeting.tones, [true, true, false, false]);
        assert_eq!(meetings.of_pair(1, 0), meeting);
        assert_eq!(meetings.of_pair(0, 2).need, 0.5);
        assert_eq!(meetings.of_pair(0, 3).need, ABSENT_NEED);
        // A gap in the data is not lit.
        let gap = Some(Small {
            values: vec![f32::NAN; 1000],
            sky: 0.05,
        });
        let with_gap = Meetings::of(&[(gap, &stretch), (small(0..10, 0.9), &stretch)]);
        assert_eq!(with_gap.of_pair(0, 1).overlap, 0.0);
    }

    #[test]
    fn what_is_unknown_counts_in_full() {
        assert_eq!(Meetings::unknown(2).of_pair(0, 1).need, 1.0);
    }
}
