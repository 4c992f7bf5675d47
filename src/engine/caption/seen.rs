//! What a picture looks like, measured: how bright, where, and in which
//! colours, so that it can be told to someone who does not see it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::engine::color::oklab::oklch;
use crate::engine::color::words::color_name;

/// A place in a picture, as its rows are stored: the first row is the top.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[expect(missing_docs, reason = "the names say it")]
pub enum Place {
    UpperLeft,
    Top,
    UpperRight,
    Left,
    Centre,
    Right,
    LowerLeft,
    Bottom,
    LowerRight,
    /// Nowhere more than elsewhere.
    Throughout,
}

const ZONES: [Place; 9] = [
    Place::UpperLeft,
    Place::Top,
    Place::UpperRight,
    Place::Left,
    Place::Centre,
    Place::Right,
    Place::LowerLeft,
    Place::Bottom,
    Place::LowerRight,
];

/// One of the leading colours of a picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Hue {
    /// A colour word of the AVM standard.
    pub color_name: String,
    /// Its part of all the coloured light, 0..1.
    pub share: f64,
    /// Where most of it is.
    pub place: Place,
}

/// What was measured in a finished picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Seen {
    /// Oklab lightness of the mean light, 0..1.
    pub lightness: f64,
    /// Mean light of three by three zones, row by row from the upper left:
    /// linear light on the sRGB primaries.
    pub zones: [[f64; 3]; 9],
    /// The leading colours, the strongest first.
    pub hues: Vec<Hue>,
}

// A colour with less of the coloured light than this goes unmentioned.
const WORTH_NAMING: f64 = 0.12;
// From this much more light than the mean on, a zone is brighter than the rest.
const STANDS_OUT: f64 = 1.25;

impl Seen {
    /// Measures a picture by samples on a regular grid, row by row from the top:
    /// finished light, linear on the sRGB primaries. None where there are none.
    ///
    /// The light of a sample is coloured by its largest less its smallest
    /// component, so that the noise of a dark sky hardly counts.
    pub fn measure(samples: &[[f32; 3]], width: usize) -> Option<Self> {
        let height = samples.len().checked_div(width).filter(|rows| *rows > 0)?;
        let mut light = [[0.0; 3]; 9];
        let mut count = [0.0f64; 9];
        let mut colored: Vec<(&'static str, [f64; 9])> = Vec::new();
        for (y, row) in samples.chunks_exact(width).enumerate() {
            for (x, sample) in row.iter().enumerate() {
                let zone = 3 * (3 * y / height) + 3 * x / width;
                let rgb = sample.map(f64::from);
                if !rgb.iter().all(|c| c.is_finite()) {
                    continue;
                }
                count[zone] += 1.0;
                for (sum, c) in light[zone].iter_mut().zip(rgb) {
                    *sum += c;
                }
                let most = rgb.iter().copied().fold(f64::MIN, f64::max);
                let least = rgb.iter().copied().fold(f64::MAX, f64::min);
                let word = color_name(rgb);
                if most <= least || word == "Grayscale" {
                    continue;
                }
                let at = match colored.iter().position(|(name, _)| *name == word) {
                    Some(at) => at,
                    None => {
                        colored.push((word, [0.0; 9]));
                        colored.len() - 1
                    }
                };
                colored[at].1[zone] += most - least;
            }
        }
        let mut zones = [[0.0; 3]; 9];
        for zone in 0..9 {
            zones[zone] = light[zone].map(|sum| rounded(sum / count[zone].max(1.0)));
        }
        let pixels: f64 = count.iter().sum();
        let sum = |c: usize| light.iter().map(|zone| zone[c]).sum::<f64>() / pixels.max(1.0);
        let [lightness, ..] = oklch([sum(0), sum(1), sum(2)]);
        Some(Self {
            lightness: rounded(lightness),
            zones,
            hues: leading(&colored),
        })
    }

    /// How bright the picture is, in a word: `very-dark`, `dark`, `medium`,
    /// `bright`.
    pub fn brightness(&self) -> &'static str {
        match self.lightness {
            l if l < 0.2 => "very-dark",
            l if l < 0.45 => "dark",
            l if l < 0.7 => "medium",
            _ => "bright",
        }
    }

    /// The zone that is brighter than the rest; None: evenly bright.
    pub fn brightest(&self) -> Option<Place> {
        let light = self
            .zones
            .map(|[r, g, b]| 0.2126 * r + 0.7152 * g + 0.0722 * b);
        let mean = light.iter().sum::<f64>() / 9.0;
        let (zone, most) = largest(&light);
        (mean > 0.0 && most >= STANDS_OUT * mean).then_some(ZONES[zone])
    }
}

// Enough digits to tell anything by, few enough to read.
fn rounded(value: f64) -> f64 {
    (value * 1e5).round() / 1e5
}

fn largest(values: &[f64; 9]) -> (usize, f64) {
    let mut found = (0, values[0]);
    for (zone, value) in values.iter().enumerate() {
        if *value > found.1 {
            found = (zone, *value);
        }
    }
    found
}

fn leading(colored: &[(&'static str, [f64; 9])]) -> Vec<Hue> {
    let total: f64 = colored.iter().flat_map(|(_, zones)| zones).sum();
    if total <= 0.0 {
        return Vec::new();
    }
    let mut hues: Vec<Hue> = colored
        .iter()
        .map(|(word, zones)| Hue {
            color_name: (*word).to_owned(),
            share: rounded(zones.iter().sum::<f64>() / total),
            place: place(zones),
        })
        .filter(|hue| hue.share >= WORTH_NAMING)
        .collect();
    hues.sort_by(|a, b| {
        b.share
            .total_cmp(&a.share)
            .then_with(|| a.color_name.cmp(&b.color_name))
    });
    hues.truncate(3);
    hues
}

// Where most of something is: half of it at one side, or a good part of it in
// one zone.
fn place(zones: &[f64; 9]) -> Place {
    let total: f64 = zones.iter().sum();
    let share = |of: [usize; 3]| of.iter().map(|zone| zones[*zone]).sum::<f64>() / total;
    let (zone, most) = largest(zones);
    if most >= 0.4 * total || (zone == 4 && most >= 0.2 * total) {
        return ZONES[zone];
    }
    let sides = [
        (Place::Left, share([0, 3, 6])),
        (Place::Right, share([2, 5, 8])),
        (Place::Top, share([0, 1, 2])),
        (Place::Bottom, share([6, 7, 8])),
    ];
    let mut side = sides[0];
    for other in sides {
        if other.1 > side.1 {
            side = other;
        }
    }
    if side.1 >= 0.5 {
        return side.0;
    }
    if most >= 0.25 * total {
        return ZONES[zone];
    }
    Place::Throughout
}

#[cfg(test)]
mod tests {
    use super::*;

    // 9 x 9 samples, one colour for each zone.
    fn picture(zones: [[f32; 3]; 9]) -> Vec<[f32; 3]> {
        (0..81).map(|i| zones[3 * (i / 27) + i % 9 / 3]).collect()
    }

    #[test]
    fn colours_are_told_with_their_places() {
        let (sky, red, blue) = ([0.01; 3], [0.6, 0.05, 0.02], [0.05, 0.1, 0.5]);
        let mut zones = [sky; 9];
        zones[4] = blue;
        for zone in [2, 5, 8] {
            zones[zone] = red;
        }
        let seen = Seen::measure(&picture(zones), 9).expect("samples");
        let told: Vec<(&str, Place)> = seen
            .hues
            .iter()
            .map(|hue| (hue.color_name.as_str(), hue.place))
            .collect();
        assert_eq!(told, [("Red", Place::Right), ("Blue", Place::Centre)]);
        assert!((seen.hues.iter().map(|hue| hue.share).sum::<f64>() - 1.0).abs() < 1e-4);
        assert_eq!(seen.brightness(), "dark");
        assert_eq!(seen.brightest(), Some(Place::UpperRight));
        assert!((seen.zones[4][2] - 0.5).abs() < 1e-5);
    }

    #[test]
    fn a_grey_even_picture_has_no_colours() {
        let seen = Seen::measure(&[[0.002; 3]; 30], 6).expect("samples");
        assert_eq!((seen.hues.len(), seen.brightest()), (0, None));
        assert_eq!(seen.brightness(), "very-dark");
        assert_eq!(Seen::measure(&[], 0), None);
        // Fewer samples than zones, and one that is no number.
        let one = Seen::measure(&[[f32::NAN, 0.0, 0.0], [0.2, 0.0, 0.0]], 2).expect("samples");
        assert_eq!(one.hues[0].color_name, "Red");
    }
}
