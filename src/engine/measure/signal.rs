//! How far the bright part of a channel stands out of its noise.

use super::Survey;

/// The share of the valid pixels that counts as the bright part.
const BRIGHT: f64 = 0.01;

/// Signal to noise of the brightest hundredth: how far above the sky the value
/// lies that 1 % of the valid pixels exceed, in sigma of one pixel's noise.
///
/// ```text
/// (q(0.99) - sky) / noise
/// ```
///
/// An estimate to compare channels of one field by: it counts whatever is
/// bright, nebula and stars alike, and a single pixel's noise of the sky, not
/// the noise that bright light brings along. None where there is no value or
/// no noise.
pub fn signal_to_noise(survey: &Survey) -> Option<f64> {
    let levels = survey.levels?;
    let bright = survey.quantile(1.0 - BRIGHT)?;
    let ratio = (bright - levels.sky) / levels.noise;
    (levels.noise > 0.0 && ratio.is_finite()).then_some(ratio)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Size;
    use crate::engine::measure::Levels;

    fn survey(noise: f64, sample: Vec<f32>) -> Survey {
        Survey {
            size: Size {
                width: sample.len(),
                height: 1,
            },
            valid: sample.len() as u64,
            missing: 0,
            empty: 0,
            saturated: 0,
            saturation: None,
            levels: (!sample.is_empty()).then_some(Levels {
                min: 0.0,
                max: 1.0,
                median: 100.0,
                sky: 100.0,
                spread: noise,
                noise,
            }),
            sample,
        }
    }

    /// 0 to 1000 in equal steps: 99 % lie below 990.
    #[test]
    fn the_bright_part_is_told_in_sigma_of_the_noise() {
        let sample: Vec<f32> = (0..=1000).map(|value| value as f32).collect();
        let ratio = signal_to_noise(&survey(10.0, sample)).expect("there is noise");
        assert!((ratio - 89.0).abs() < 1e-9, "{ratio}");
    }

    #[test]
    fn without_noise_or_values_there_is_none() {
        assert_eq!(signal_to_noise(&survey(0.0, vec![1.0; 10])), None);
        assert_eq!(signal_to_noise(&survey(1.0, vec![])), None);
    }
}
