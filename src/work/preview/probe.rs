//! What is known of one place of the common grid: values, tones, shares in the
//! colour, sky coordinates, line ratios.

use std::sync::Arc;

use crate::engine::align::sky_grid;
use crate::engine::color::transfer::srgb_decode_exact;
use crate::engine::lines;
use crate::engine::measure::GLANCE_PIXELS;
use crate::engine::mix::assign::assignments;
use crate::engine::ratio::noise::side_by;
use crate::engine::ratio::{Law, Point, Side};
use crate::engine::recipe::Recipe;
use crate::engine::stretch::Prepared;
use crate::work::desk::Layer;

/// How much is looked at.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Over {
    /// One pixel.
    #[default]
    Pixel,
    /// The mean of 3 x 3 pixels about it, no data left out.
    Box,
}

impl Over {
    fn reach(self) -> usize {
        match self {
            Self::Pixel => 0,
            Self::Box => 1,
        }
    }
}

/// What is known of one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The pixel, from 0, right and down.
    pub pixel: [usize; 2],
    /// By the recipe's channels; None where one is not in memory or does not
    /// reach there.
    pub channels: Vec<Option<Measured>>,
    /// Right ascension and declination of the pixel's centre, in degrees.
    pub sky: Option<[f64; 2]>,
    /// Ratios of lines that stand out from their noise.
    pub ratios: Vec<Ratio>,
}

/// One channel at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// In file units; None: no data.
    pub value: Option<f64>,
    /// After the stretch, 0..1.
    pub tone: f64,
    /// Its share in the light of the rendition, 0..1: of each channel's light
    /// `m * E(y)` (colour vector times decoded tone, as the blend `light` adds
    /// them, whatever the blend is) the magnitudes of red, green and blue are
    /// added up; the share is that sum over those of all channels together.
    /// None where the channel takes no part, or all of them are black.
    pub share: Option<f64>,
}

/// A ratio of two lines, above their sky, in file units.
#[derive(Debug, Clone, PartialEq)]
pub struct Ratio {
    /// Id of the line above.
    pub upper: &'static str,
    /// Id of the line below.
    pub lower: &'static str,
    /// As it is printed: `[S II] / Hα`.
    pub title: String,
    /// The ratio.
    pub value: f64,
    /// Its standard uncertainty, from the noise and the sky of both.
    pub sigma: f64,
}

/// What goes with every ratio: stacks rarely share a scale of flux.
pub const UNCALIBRATED: &str =
    "uncalibrated: a ratio of file units, unless the stacks share one scale of flux";

/// The ratios that say something about the gas.
const RATIOS: [(&str, &str); 5] = [
    ("SII", "Ha"),
    ("NII", "Ha"),
    ("OIII", "Hb"),
    ("Ha", "Hb"),
    ("OIII", "Ha"),
];

/// Light must stand out so many times its noise and the doubt about its sky.
const CLEAR: f64 = 3.0;

/// Reads one place. None where no layer reaches there.
pub fn probe(
    recipe: &Recipe,
    layers: &[Option<Arc<Layer>>],
    rendition: &str,
    pixel: [usize; 2],
    over: Over,
) -> Option<Reading> {
    let at = |index: usize| {
        let layer = layers.get(index)?.as_ref()?;
        mean(layer, pixel, over)
    };
    let means: Vec<Option<Mean>> = (0..recipe.channels.len()).map(at).collect();
    if means.iter().all(Option::is_none) {
        return None;
    }
    let mut channels: Vec<Option<Measured>> = (recipe.channels.iter().zip(&means))
        .map(|(channel, mean)| {
            mean.as_ref().map(|mean| Measured {
                value: mean.value,
                tone: Prepared::new(&channel.stretch).tone(mean.value.unwrap_or(f64::NAN)),
                share: None,
            })
        })
        .collect();
    shares(recipe, rendition, &mut channels);
    let header = layers.iter().flatten().map(|layer| &layer.header).next();
    let position = pixel.map(|part| part as f64);
    Some(Reading {
        pixel,
        channels,
        sky: header.and_then(|header| sky_grid::place(header, position)),
        ratios: ratios(recipe, layers, &means),
    })
}

// The mean over a few pixels, how many have a value, and whether at one of them
// a detector was full.
struct Mean {
    value: Option<f64>,
    count: usize,
    is_full: bool,
}

fn mean(layer: &Layer, [x, y]: [usize; 2], over: Over) -> Option<Mean> {
    let size = layer.size();
    if x >= size.width || y >= size.height {
        return None;
    }
    let reach = over.reach();
    let (mut sum, mut count, mut is_full) = (0.0, 0, false);
    for row in y.saturating_sub(reach)..=(y + reach).min(size.height - 1) {
        for column in x.saturating_sub(reach)..=(x + reach).min(size.width - 1) {
            let value = layer.plane.values()[[row, column]];
            if !value.is_nan() {
                sum += f64::from(value);
                count += 1;
            }
            let marks = layer.full.as_ref();
            is_full |= marks.is_some_and(|marks| marks.has([column, row]));
        }
    }
    let value = (count > 0).then(|| sum / count as f64);
    Some(Mean {
        value,
        count,
        is_full,
    })
}

fn shares(recipe: &Recipe, rendition: &str, channels: &mut [Option<Measured>]) {
    let assigned = recipe
        .rendition(rendition)
        .and_then(|rendition| assignments(recipe, rendition).ok())
        .unwrap_or_default();
    let light = |channel: &Measured, color: [f64; 3]| {
        let light = srgb_decode_exact(channel.tone);
        color.iter().map(|part| (part * light).abs()).sum::<f64>()
    };
    let lights: Vec<(usize, f64)> = assigned
        .iter()
        .filter_map(|assignment| {
            let channel = channels.get(assignment.channel)?.as_ref()?;
            Some((assignment.channel, light(channel, assignment.linear_srgb)))
        })
        .collect();
    let total: f64 = lights.iter().map(|(_, light)| light).sum();
    if total > 0.0 {
        for (index, light) in lights {
            if let Some(channel) = &mut channels[index] {
                channel.share = Some(light / total);
            }
        }
    }
}

// As a map has them: above their skies, with the doubt about these, where both
// stand out and no detector was full.
fn ratios(recipe: &Recipe, layers: &[Option<Arc<Layer>>], means: &[Option<Mean>]) -> Vec<Ratio> {
    let side = |line: &str| {
        let index = recipe.channels.iter().position(|c| c.line == line)?;
        let layer = layers.get(index)?.as_ref()?;
        let mean = means.get(index)?.as_ref().filter(|mean| !mean.is_full)?;
        let sampled = GLANCE_PIXELS.min(layer.size().pixels());
        let side = side_by(layer.levels.as_ref()?, sampled, None)?;
        let noise = side.noise / (mean.count as f64).sqrt();
        Some((Side { noise, ..side }, mean.value? as f32))
    };
    RATIOS
        .iter()
        .filter_map(|&(upper, lower)| {
            let ((over, above), (under, below)) = (side(upper)?, side(lower)?);
            let law = Law {
                over,
                under,
                min_snr: CLEAR,
                bin: 1,
            };
            let Point::Known { ratio, sigma } = law.of_pixels(above, below) else {
                return None;
            };
            Some(Ratio {
                upper,
                lower,
                title: format!(
                    "{} / {}",
                    lines::line(upper)?.symbol,
                    lines::line(lower)?.symbol
                ),
                value: ratio,
                sigma,
            })
        })
        .collect()
}

/// Right ascension and declination in degrees as they are printed:
/// `05h 41m 12.3s  -02° 27′ 10″`.
pub fn sky_words([right_ascension, declination]: [f64; 2]) -> String {
    const DAY: i64 = 24 * 60 * 60 * 10;
    let tenths = ((right_ascension * 2400.0).round() as i64).rem_euclid(DAY);
    let (hours, rest) = (tenths / 36_000, tenths % 36_000);
    let (minutes, tenths) = (rest / 600, rest % 600);
    let seconds = (declination.abs() * 3600.0).round() as i64;
    let sign = if declination < 0.0 && seconds > 0 {
        '-'
    } else {
        '+'
    };
    format!(
        "{hours:02}h {minutes:02}m {:02}.{}s  {sign}{:02}° {:02}′ {:02}″",
        tenths / 10,
        tenths % 10,
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60,
    )
}

#[cfg(test)]
mod tests {
    use ndarray::Array2;

    use super::*;
    use crate::engine::frame::Plane;
    use crate::engine::header::{Card, Header, Value};
    use crate::engine::measure::{Histogram, Levels};
    use crate::engine::recipe::text::parse;
    use crate::work::desk::keys;

    fn recipe() -> Recipe {
        let text = r##"
recipe = 1
[[channel]]
id = "sii"
file = "sii.fits"
line = "SII"
stretch = { black = 100, white = 200 }
[[channel]]
id = "ha"
file = "ha.fits"
line = "Ha"
stretch = { black = 100, white = 500 }
[[channel]]
id = "r"
file = "r.fits"
line = "R"
stretch = { black = 0, white = 1 }
[[rendition]]
id = "mapped"
colors = { sii = [1, 0, 0], ha = [0, 0.5, -0.5] }
"##;
        parse(text, "test").expect("sound")
    }

    fn header() -> Header {
        let card = |keyword: &str, value: Value| Card {
            keyword: keyword.to_owned(),
            value: Some(value),
            comment: String::new(),
        };
        let text = |keyword: &str, value: &str| card(keyword, Value::Text(value.to_owned()));
        let real = |keyword: &str, value: f64| card(keyword, Value::Real(value));
        Header {
            cards: vec![
                text("CTYPE1", "RA---TAN"),
                text("CTYPE2", "DEC--TAN"),
                real("CRPIX1", 3.0),
                real("CRPIX2", 2.0),
                real("CRVAL1", 85.301_25),
                real("CRVAL2", -2.452_778),
                real("CDELT1", -0.001),
                real("CDELT2", 0.001),
            ],
            inherited: Vec::new(),
        }
    }

    // Light of 150 in the first channel, 300 in the second, 4 x 4 pixels; one
    // pixel has no data.
    fn layers(noise: f64) -> Vec<Option<Arc<Layer>>> {
        let keys = keys(&recipe(), ".".as_ref());
        keys.into_iter()
            .zip([150.0_f32, 300.0])
            .map(|(key, light)| {
                let mut values = Array2::from_elem((4, 4), light);
                values[[0, 1]] = f32::NAN;
                values[[0, 2]] = light + 8.0;
                Some(Arc::new(Layer {
                    key,
                    plane: Arc::new(Plane::new(values)),
                    reduced: Vec::new(),
                    header: Arc::new(header()),
                    levels: Some(Levels {
                        min: 0.0,
                        max: 300.0,
                        median: 100.0,
                        sky: 100.0,
                        spread: 0.0,
                        noise,
                    }),
                    histogram: Arc::new(Histogram {
                        low: 0.0,
                        high: 1.0,
                        sky: 0.0,
                        unit: 1.0,
                        counts: vec![0; Histogram::CELLS],
                    }),
                    ceiling: None,
                    full: None,
                    signal_to_noise: None,
                    origin: [0, 0],
                    exposure_s: None,
                    align: None,
                    level: None,
                    model: None,
                    continuum: None,
                    parts: Default::default(),
                }))
            })
            .chain([None])
            .collect()
    }

    #[test]
    fn values_tones_and_shares() {
        let read = |pixel, over| probe(&recipe(), &layers(3.0), "mapped", pixel, over);
        let reading = read([2, 1], Over::Pixel).expect("inside");
        let [sii, ha, r] = reading.channels[..] else {
            panic!("three channels");
        };
        let (sii, ha) = (sii.expect("there"), ha.expect("there"));
        assert_eq!((sii.value, sii.tone), (Some(150.0), 0.5));
        assert_eq!((ha.value, ha.tone), (Some(300.0), 0.5));
        assert_eq!(r, None);
        // Both tones are the same: |1| to |0.5| + |-0.5|.
        assert_eq!((sii.share, ha.share), (Some(0.5), Some(0.5)));
        // The reference pixel itself.
        let [ra, dec] = reading.sky.expect("a grid");
        assert!((ra - 85.301_25).abs() < 1e-9 && (dec + 2.452_778).abs() < 1e-9);
        assert_eq!(sky_words([ra, dec]), "05h 41m 12.3s  -02° 27′ 10″");

        // Six of nine lie within; one of them has no data, one is 8 brighter.
        let boxed = read([1, 0], Over::Box).expect("inside").channels[0].expect("there");
        assert_eq!(boxed.value, Some(150.0 + 8.0 / 5.0));
        let gap = read([1, 0], Over::Pixel).expect("inside").channels[0].expect("there");
        assert_eq!((gap.value, gap.tone, gap.share), (None, 0.0, None));
        assert_eq!(read([4, 0], Over::Pixel), None);
    }

    #[test]
    fn ratios_are_of_light_above_the_sky() {
        let read = |noise, over| {
            probe(&recipe(), &layers(noise), "mapped", [2, 2], over)
                .expect("inside")
                .ratios
        };
        let [ratio] = &read(10.0, Over::Pixel)[..] else {
            panic!("one ratio");
        };
        assert_eq!(ratio.title, "[S II] / Hα");
        // 50 / 200; relative uncertainties 0.2 and 0.05.
        assert_eq!(ratio.value, 0.25);
        assert!((ratio.sigma - 0.25 * 0.0425_f64.sqrt()).abs() < 1e-12);
        // Nine pixels have a third of the noise.
        let boxed = read(10.0, Over::Box)[0].sigma;
        assert!((boxed - ratio.sigma / 3.0).abs() < 1e-12);
        // 50 is not three times 20; over nine pixels it is.
        assert!(read(20.0, Over::Pixel).is_empty());
        assert_eq!(read(20.0, Over::Box).len(), 1);
    }

    #[test]
    fn coordinates_carry_over() {
        assert_eq!(
            sky_words([359.999_99, -0.000_01]),
            "00h 00m 00.0s  +00° 00′ 00″"
        );
        assert_eq!(
            sky_words([14.999_99, 9.999_99]),
            "01h 00m 00.0s  +10° 00′ 00″"
        );
    }
}
