//! From ratios to colours: a path through Oklab from blue over green to yellow,
//! on which lightness rises evenly and equal steps look equal. It reads the
//! same in grey, and with any colour-vision deficiency by its lightness.

use crate::engine::color::oklab::linear_srgb_of_oklch;
use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::num;
use crate::engine::recipe::Scale;

/// Where no ratio is known: a grey darker than every colour of the path.
pub const UNKNOWN: [u8; 3] = [44; 3];

/// Corners of the path: Oklab lightness, chroma, hue in degrees.
const CORNERS: [[f64; 3]; 5] = [
    [0.40, 0.150, 280.0],
    [0.55, 0.130, 245.0],
    [0.70, 0.115, 195.0],
    [0.83, 0.150, 135.0],
    [0.95, 0.140, 106.0],
];

/// Colours that a picture is made of.
const STEPS: usize = 1024;

/// A scale that suits its ratios covers this part of the highest at least.
const LEAST_SPAN: f64 = 0.1;

/// The highest ratio that a scale may be asked to end with.
pub const MOST: f64 = 1e6;

/// The lowest that it may end with, and that one by logarithms may begin with.
pub const LEAST: f64 = 1e-6;

/// The ends of a scale lie apart by this part of the higher one at least.
pub const LEAST_APART: f64 = 1e-6;

/// Numbers on an even scale at the most.
const MOST_TICKS: f64 = 12.0;

/// Numbers from this one on, and steps below its inverse, are written with a
/// power of ten.
const LONG: f64 = 1e9;

/// Whether a scale can be read from one end of `range` (low, high) to the other.
///
/// # Errors
/// What is wrong, and the next step.
pub fn check_range([low, high]: [f64; 2], scale: Scale) -> Result<(), (String, String)> {
    let said =
        |why: &str, hint: String| Err((format!("`range = [{low:?}, {high:?}]` {why}"), hint));
    if !(LEAST..=MOST).contains(&high) {
        return said(
            "is out of range",
            format!("a scale ends between {LEAST} and {MOST}; ratios of lines are 0.01 to 100"),
        );
    }
    if scale == Scale::Log && low < LEAST {
        return said(
            "begins too low for a logarithm",
            format!("begin at {LEAST} at least, or take the linear scale"),
        );
    }
    if high - low < LEAST_APART * high {
        return said(
            "has its ends too close together",
            format!("they lie apart by {LEAST_APART} of the higher one at least"),
        );
    }
    Ok(())
}

/// The ratios that a scale begins and ends with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// The lowest.
    pub low: f64,
    /// The highest, above it.
    pub high: f64,
    /// How it runs between them.
    pub scale: Scale,
}

impl Span {
    /// Where a ratio lies on the scale: 0 at its low end, 1 at its high end.
    pub fn place(&self, ratio: f64) -> f64 {
        match self.scale {
            Scale::Linear => (ratio - self.low) / (self.high - self.low),
            Scale::Log => {
                // Beyond the range of f32 there would be no logarithm.
                let tiny = f64::from(f32::MIN_POSITIVE);
                let in_f32 = self.low >= tiny && self.high <= f64::from(f32::MAX);
                let log = |value: f64| match in_f32 {
                    true => f64::from(num::log2(value as f32)),
                    false => libm::log2(value),
                };
                (log(ratio) - log(self.low)) / (log(self.high) - log(self.low))
            }
        }
    }

    /// A scale for ratios most of which lie between `low` and `high`, rounded
    /// outwards; a mark that is near belongs to it.
    pub fn fitting(low: f64, high: f64, mark: Option<f64>, scale: Scale) -> Self {
        let (mut low, mut high) = (low.max(1e-6), high.max(2e-6));
        if let Some(mark) = mark {
            if mark < low && mark > low / 2.0 {
                low = mark;
            }
            if mark > high && mark < 2.0 * high {
                high = mark;
            }
        }
        // Of ratios that hardly differ no one wants ten digits.
        let least = LEAST_SPAN * high;
        if high - low < least {
            let middle = 0.5 * (low + high);
            (low, high) = (middle - 0.5 * least, middle + 0.5 * least);
        }
        let (from, to) = match scale {
            Scale::Linear => {
                let step = round_step((high - low) / 4.0).value();
                (
                    (low / step + 1e-9).floor() * step,
                    (high / step - 1e-9).ceil() * step,
                )
            }
            Scale::Log => (
                round_down(low),
                f64::max(round_up(high), 2.0 * round_down(low)),
            ),
        };
        Self {
            low: from,
            high: if to > from { to } else { from + 1.0 },
            scale,
        }
    }

    /// Ratios to write beside the scale, rising, as they are written: two at least.
    pub fn ticks(&self) -> Vec<(f64, String)> {
        let ticks = match self.scale {
            Scale::Linear => return self.even_ticks(),
            Scale::Log => self.log_ticks(),
        };
        match ticks.len() {
            // A scale this narrow runs nearly evenly.
            0..2 => self.even_ticks(),
            2..=10 => ticks,
            _ => ticks.into_iter().step_by(3).collect(),
        }
    }

    // In even steps of 1, 2 or 5.
    fn even_ticks(&self) -> Vec<(f64, String)> {
        let round = round_step((self.high - self.low) / 6.0);
        let step = round.value();
        let first = (self.low / step - 1e-9).ceil();
        let last = (self.high / step + 1e-9).floor();
        let more = (last - first).clamp(0.0, MOST_TICKS - 1.0) as u32;
        let mut ticks: Vec<(f64, String)> = (0..=more)
            .map(|count| (first + f64::from(count)) * step)
            .map(|value| (value, round.written(value, self.high)))
            .collect();
        // Where steps are as fine as numbers are, some are the same.
        ticks.dedup_by(|one, other| one.1 == other.1);
        if ticks.len() < 2 {
            ticks = [self.low, self.high]
                .map(|end| (end, format!("{end:e}")))
                .into();
        }
        ticks
    }

    // All of 1, 2 and 5 times powers of ten.
    fn log_ticks(&self) -> Vec<(f64, String)> {
        (-6..=6)
            .flat_map(|power| [1.0, 2.0, 5.0].map(|digit| (digit, power)))
            .map(|(digit, power)| (digit * ten_to(power), decimals_of(power)))
            .filter(|(value, _)| (self.low * 0.999_999..=self.high * 1.000_001).contains(value))
            .map(|(value, decimals)| (value, format!("{value:.decimals$}")))
            .collect()
    }
}

fn ten_to(power: i32) -> f64 {
    num::exact::pow(10.0, f64::from(power))
}

fn decimals_of(power: i32) -> usize {
    power.min(0).unsigned_abs() as usize
}

/// 1, 2 or 5 times a power of ten.
#[derive(Debug, Clone, Copy)]
struct Round {
    digit: f64,
    power: i32,
}

impl Round {
    fn value(self) -> f64 {
        self.digit * ten_to(self.power)
    }

    // A number of these steps, on a scale that ends with `high`.
    fn written(self, value: f64, high: f64) -> String {
        if self.value() >= LONG.recip() && high < LONG {
            let decimals = decimals_of(self.power);
            return format!("{value:.decimals$}");
        }
        let digits = (libm::floor(libm::log10(high)) as i32 - self.power).clamp(0, 16) as usize;
        format!("{value:.digits$e}")
    }
}

// The least such number that is this at least, of those that f64 has.
fn round_step(least: f64) -> Round {
    (-307..=308)
        .flat_map(|power| [1.0, 2.0, 5.0].map(|digit| Round { digit, power }))
        .find(|round| round.value() >= least * 0.999_999)
        .unwrap_or(Round {
            digit: 1.0,
            power: 308,
        })
}

fn round_up(value: f64) -> f64 {
    round_step(value).value()
}

fn round_down(value: f64) -> f64 {
    (-9..=9)
        .flat_map(|power| [1.0, 2.0, 5.0].map(|digit| digit * ten_to(power)))
        .take_while(|step| *step <= value * 1.000_001)
        .last()
        .unwrap_or(1e-9)
}

/// The path as colours at equal steps along it.
pub struct Ramp(Vec<[u8; 3]>);

impl Ramp {
    /// Works the colours out.
    pub fn new() -> Self {
        let last = (STEPS - 1) as f64;
        Self((0..STEPS).map(|step| codes(step as f64 / last)).collect())
    }

    /// The colour of a ratio; beyond the ends of the scale that of the end.
    pub fn color(&self, place: f64) -> [u8; 3] {
        let last = (STEPS - 1) as f64;
        self.0[(place.clamp(0.0, 1.0) * last + 0.5) as usize]
    }
}

impl Default for Ramp {
    fn default() -> Self {
        Self::new()
    }
}

/// Linear sRGB at a share of the length of the path, 0..1.
pub fn light(share: f64) -> [f64; 3] {
    let corners = CORNERS.map(|[l, chroma, hue]| {
        let turn = hue.to_radians();
        [l, chroma * libm::cos(turn), chroma * libm::sin(turn)]
    });
    let length = |from: &[f64; 3], to: &[f64; 3]| {
        let part = |index: usize| to[index] - from[index];
        (part(0) * part(0) + part(1) * part(1) + part(2) * part(2)).sqrt()
    };
    let legs: Vec<f64> = corners
        .windows(2)
        .map(|pair| length(&pair[0], &pair[1]))
        .collect();
    let mut rest = share.clamp(0.0, 1.0) * legs.iter().sum::<f64>();
    let mut leg = 0;
    while leg + 1 < legs.len() && rest > legs[leg] {
        rest -= legs[leg];
        leg += 1;
    }
    let t = (rest / legs[leg]).min(1.0);
    let [l, a, b] =
        [0, 1, 2].map(|i: usize| corners[leg][i] + t * (corners[leg + 1][i] - corners[leg][i]));
    let hue = num::exact::angle_deg(b, a);
    linear_srgb_of_oklch([l, (a * a + b * b).sqrt(), hue])
}

fn codes(share: f64) -> [u8; 3] {
    light(share).map(|part| (255.0 * srgb_encode_exact(part.clamp(0.0, 1.0))).round() as u8)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::color::difference::{Lab, ciede2000};
    use crate::engine::color::oklab::oklch;
    use crate::engine::color::transfer::srgb_decode_exact;
    use crate::engine::color::vision::Vision;

    /// A map that a reader misorders tells a wrong ratio.
    #[test]
    fn lightness_rises_for_every_reader_and_the_path_fits_the_screen() {
        for vision in Vision::ALL {
            let lightness: Vec<f64> = (0..=64)
                .map(|step| vision.see(light(f64::from(step) / 64.0)))
                .map(|seen| oklch(seen)[0])
                .collect();
            assert!(lightness.is_sorted_by(|a, b| a < b), "{vision:?}");
            let grey = f64::from(UNKNOWN[0]) / 255.0;
            let unknown = oklch([srgb_decode_exact(grey); 3])[0];
            assert!(lightness[0] > unknown + 0.08, "{vision:?}");
        }
        for step in 0..=256 {
            let light = light(f64::from(step) / 256.0);
            assert!(
                light.iter().all(|part| (-2e-3..=1.002).contains(part)),
                "{light:?}"
            );
        }
    }

    /// A scale without numbers tells nothing: whatever its ends, two of its
    /// ticks have them, and they lie within it.
    #[test]
    fn every_scale_has_two_numbers_at_least() {
        for scale in [Scale::Linear, Scale::Log] {
            for low in [1e-4, 0.03, 0.21, 0.3, 0.51, 1.0, 1.1, 2.86, 33.0, 900.0] {
                for factor in [1.0005, 1.01, 1.1, 1.5, 1.9, 2.0, 3.0, 11.0, 1e4] {
                    let span = Span {
                        low,
                        high: low * factor,
                        scale,
                    };
                    let ticks = span.ticks();
                    assert!(ticks.len() >= 2, "{span:?} {ticks:?}");
                    let texts: Vec<&String> = ticks.iter().map(|(_, text)| text).collect();
                    assert!(texts.windows(2).all(|pair| pair[0] != pair[1]), "{texts:?}");
                    for (value, _) in &ticks {
                        assert!((-1e-3..=1.001).contains(&span.place(*value)), "{span:?}");
                    }
                }
            }
        }
    }

    /// Protects against scales that a recipe may ask for and nobody needs: they
    /// filled the memory, or had no two numbers. Few, short and different ones
    /// are what anyone can read; places tell that they lie within.
    #[test]
    fn the_strangest_scales_have_a_few_short_numbers() {
        for [low, high] in [
            [0.0, 1e308],
            [0.0, f64::MAX],
            [1e-300, f64::MAX],
            [0.0, 1e14],
            [3e13, 1e14],
            [1e9, 1e9 + 60.0],
            [0.0, 1e-12],
            [0.0, 1e-300],
            [1e-308, 3e-308],
            [1.0, 1.0 + f64::EPSILON],
            [1e6, 1e6 + 2e-10],
            [1e300, 1.000_000_000_1e300],
        ] {
            for scale in [Scale::Linear, Scale::Log] {
                if scale == Scale::Log && low == 0.0 {
                    continue;
                }
                let span = Span { low, high, scale };
                let ticks = span.ticks();
                assert!((2..=13).contains(&ticks.len()), "{span:?} {ticks:?}");
                for pair in ticks.windows(2) {
                    assert!(pair[0].0 < pair[1].0, "{ticks:?}");
                    assert!(pair[0].1 != pair[1].1, "{ticks:?}");
                }
                for (value, text) in &ticks {
                    assert!(text.len() <= 24, "{text}");
                    let told: f64 = text.parse().expect("a number");
                    assert!((told - value).abs() <= 1e-6 * value.abs(), "{text} {value}");
                    let little = 1e-6 * (high - low);
                    let whole = low - little..=high + little;
                    assert!(whole.contains(value), "{span:?} {value}");
                }
            }
        }
    }

    /// Protects that a range which no scale can show is told from one that is
    /// merely wide or narrow.
    #[test]
    fn ranges_that_no_scale_can_show_are_refused() {
        use Scale::{Linear, Log};
        for (range, scale) in [
            ([0.0, 1e6], Linear),
            ([0.0, 1e-6], Linear),
            ([1e-6, 1e6], Log),
            ([0.3, 0.3001], Linear),
            ([1.0, 1000.0], Log),
        ] {
            assert_eq!(check_range(range, scale), Ok(()), "{range:?}");
        }
        for (range, scale, words) in [
            ([0.0, 1e308], Linear, "1000000"),
            ([0.0, 1_000_001.0], Linear, "1000000"),
            ([0.0, 1e-7], Linear, "0.000001"),
            ([0.0, f64::NAN], Linear, "1000000"),
            ([1e-7, 1.0], Log, "linear"),
            ([1.0, 1.000_000_1], Linear, "apart"),
        ] {
            let (what, hint) = check_range(range, scale).expect_err(words);
            assert!(what.contains("range = ["), "{what}");
            assert!(hint.contains(words), "{hint}");
        }
    }

    /// CIEDE2000 is no part of how the path is made.
    #[test]
    fn equal_steps_look_alike() {
        let steps: Vec<f64> = (0..16)
            .map(|step| {
                let at = |step: i32| Lab::from_linear_srgb(light(f64::from(step) / 16.0));
                ciede2000(at(step), at(step + 1))
            })
            .collect();
        let most = steps.iter().copied().fold(0.0, f64::max);
        let least = steps.iter().copied().fold(f64::INFINITY, f64::min);
        assert!(least > 3.0 && most < 2.5 * least, "{steps:?}");
    }

    #[test]
    fn scales_begin_and_end_on_round_numbers_with_the_mark_among_them() {
        let span = Span::fitting(0.113, 0.37, Some(0.4), Scale::Linear);
        assert!((span.low - 0.1).abs() < 1e-12 && (span.high - 0.4).abs() < 1e-12);
        let texts: Vec<String> = span.ticks().into_iter().map(|(_, text)| text).collect();
        assert_eq!(
            texts,
            ["0.10", "0.15", "0.20", "0.25", "0.30", "0.35", "0.40"]
        );
        let span = Span::fitting(0.113, 7.0, None, Scale::Log);
        assert_eq!((span.low, span.high), (0.1, 10.0));
        assert!((span.place(1.0) - 0.5).abs() < 1e-6);
        let texts: Vec<String> = span.ticks().into_iter().map(|(_, text)| text).collect();
        assert_eq!(texts, ["0.1", "0.2", "0.5", "1", "2", "5", "10"]);
        // Between two steps of a log scale there are others.
        let narrow = Span {
            low: 0.3,
            high: 0.45,
            scale: Scale::Log,
        };
        let texts: Vec<String> = narrow.ticks().into_iter().map(|(_, text)| text).collect();
        assert_eq!(texts, ["0.30", "0.35", "0.40", "0.45"]);
        // One value alone still has a scale.
        for scale in [Scale::Linear, Scale::Log] {
            let span = Span::fitting(0.3, 0.3, None, scale);
            assert!(span.low < 0.3 && span.high > 0.3, "{span:?}");
            let texts = span.ticks();
            assert!(texts.iter().all(|(_, text)| text.len() <= 5), "{texts:?}");
        }
    }
}
