//! Which line leads where: of the lines of a rendition, the one that gives the
//! most of what is looked at, pixel by pixel, and how clearly.
//!
//! A pixel counts where at least one line stands 3 sigma above its sky. There
//! each line has an amount, its sky taken off, and an uncertainty from the
//! noise of its sky (bright light's own noise is not known to a stack, and is
//! left out):
//!
//! ```text
//! shown light       a = s (E(y(v)) - E(y(sky))),  s the largest part of its colour
//! signal to noise   a = (v - sky) / noise
//! clearness         (a1 - a2) / (a1 + a2)         of the first two, 0..1
//! decided           a1 - a2 > sqrt(u1^2 + u2^2)
//! ```
//!
//! A clipped line (white or above) has no uncertainty and no lead over another.

mod paint;

pub use paint::{line_color, undecided_color};

use super::color::transfer::{srgb_decode, srgb_decode_exact};
use super::num::{Block, LANES};
use super::recipe::Stretch;
use super::stretch::Prepared;
use paint::{Painter, Point};

/// So many sigma above the sky a line is there.
pub const DETECTED_SIGMA: f64 = 3.0;

/// What lines are compared by.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum By {
    /// The light that the rendition shows of each, above that of its sky.
    #[default]
    Shown,
    /// How far each stands out of its noise.
    Noise,
}

impl By {
    /// As the command line and JSON write it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Shown => "shown",
            Self::Noise => "noise",
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Shown => "the light that this rendition shows of each, above that of its sky",
            Self::Noise => "the signal of each above its sky, in sigma of its own noise",
        }
    }
}

impl std::str::FromStr for By {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        [Self::Shown, Self::Noise]
            .into_iter()
            .find(|by| by.name() == text)
            .ok_or_else(|| "shown or noise".to_owned())
    }
}

/// One of the lines.
#[derive(Debug, Clone)]
pub struct Line<'a> {
    /// From file units to tones.
    pub stretch: &'a Stretch,
    /// Its colour vector in the rendition.
    pub vector: [f64; 3],
    /// What is shown of it alone, linear sRGB: its hue in the picture.
    pub shown: [f64; 3],
    /// Its sky in file units.
    pub sky: f64,
    /// Sigma of the noise of one pixel, file units, above 0.
    pub noise: f64,
}

/// How many pixels each line leads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counts {
    /// Pixels with data of at least one line.
    pub valid: u64,
    /// Of those, with at least one line 3 sigma above its sky.
    pub nebula: u64,
    /// Of those, led by each line for certain (1 sigma).
    pub led: Vec<u64>,
    /// Where each line leads, but by less than the uncertainty.
    pub leaning: Vec<u64>,
}

impl Counts {
    fn none(lines: usize) -> Self {
        Self {
            valid: 0,
            nebula: 0,
            led: vec![0; lines],
            leaning: vec![0; lines],
        }
    }

    /// Adds those of another part of the picture.
    pub fn add(&mut self, other: &Self) {
        self.valid += other.valid;
        self.nebula += other.nebula;
        for (sum, more) in self.led.iter_mut().zip(&other.led) {
            *sum += more;
        }
        for (sum, more) in self.leaning.iter_mut().zip(&other.leaning) {
            *sum += more;
        }
    }

    /// Pixels of the nebula in which no line leads for certain.
    pub fn undecided(&self) -> u64 {
        self.leaning.iter().sum()
    }
}

/// Lines that are ready to be compared.
pub struct Leading {
    by: By,
    lines: Vec<Ready>,
    painter: Painter,
}

struct Ready {
    stretch: Prepared,
    strength: f32,
    sky: f32,
    sky_light: f32,
    noise: f32,
    threshold: f32,
}

impl Leading {
    /// For lines of one rendition.
    pub fn new(lines: &[Line<'_>], by: By) -> Self {
        let ready = |line: &Line<'_>| {
            let stretch = Prepared::new(line.stretch);
            let strength = line.vector.into_iter().fold(0.0, f64::max);
            let sky_light = srgb_decode_exact(stretch.tone(line.sky));
            Ready {
                stretch,
                strength: strength as f32,
                sky: line.sky as f32,
                sky_light: sky_light as f32,
                noise: line.noise as f32,
                threshold: (line.sky + DETECTED_SIGMA * line.noise) as f32,
            }
        };
        Self {
            by,
            lines: lines.iter().map(ready).collect(),
            painter: Painter::new(lines),
        }
    }

    /// Looks at pixels: `inputs` holds a slice of values for each line (file
    /// units, NaN: no data), `codes` takes R G B of each, encoded sRGB.
    pub fn run(&self, inputs: &[&[f32]], codes: &mut [u16]) -> Counts {
        let mut counts = Counts::none(self.lines.len());
        let pixels = inputs.first().map_or(0, |values| values.len());
        for start in (0..pixels).step_by(LANES) {
            let length = LANES.min(pixels - start);
            let amounts: Vec<(Block, Block)> = self
                .lines
                .iter()
                .zip(inputs)
                .map(|(line, input)| self.amounts(line, &input[start..start + length]))
                .collect();
            for i in 0..length {
                let mut is_there = false;
                let mut is_valid = false;
                for (line, input) in self.lines.iter().zip(inputs) {
                    let value = input[start + i];
                    is_valid |= !value.is_nan();
                    is_there |= value >= line.threshold;
                }
                counts.valid += u64::from(is_valid);
                let point = if is_there {
                    counts.nebula += 1;
                    leader(amounts.iter().map(|(a, u)| (a[i], u[i])))
                } else {
                    Point::Nothing
                };
                match point {
                    Point::Led { line, .. } => counts.led[line] += 1,
                    Point::Leaning { line } => counts.leaning[line] += 1,
                    Point::Nothing => {}
                }
                let at = 3 * (start + i);
                codes[at..at + 3].copy_from_slice(&self.painter.code(point));
            }
        }
        counts
    }

    // Amounts above the sky, and their uncertainties; no data is nothing.
    fn amounts(&self, line: &Ready, input: &[f32]) -> (Block, Block) {
        let mut values: Block = [f32::NAN; LANES];
        values[..input.len()].copy_from_slice(input);
        let (mut amount, mut uncertain): (Block, Block) = ([0.0; LANES], [0.0; LANES]);
        match self.by {
            By::Noise => {
                for i in 0..LANES {
                    if !values[i].is_nan() {
                        amount[i] = at_least_zero((values[i] - line.sky) / line.noise);
                        uncertain[i] = 1.0;
                    }
                }
            }
            By::Shown => {
                let light = |values: &Block| {
                    let mut tones = [0.0; LANES];
                    line.stretch.tones(values, &mut tones);
                    tones.map(|tone| line.strength * srgb_decode(tone))
                };
                let sky = line.strength * line.sky_light;
                let here = light(&values);
                let above = light(&values.map(|value| value + line.noise));
                let below = light(&values.map(|value| value - line.noise));
                for i in 0..LANES {
                    if !values[i].is_nan() {
                        amount[i] = at_least_zero(here[i] - sky);
                        uncertain[i] = (above[i] - below[i]) / 2.0;
                    }
                }
            }
        }
        (amount, uncertain)
    }
}

fn at_least_zero(value: f32) -> f32 {
    if value > 0.0 { value } else { 0.0 }
}

// Who leads among amounts and their uncertainties; the first of equals leans.
fn leader(amounts: impl Iterator<Item = (f32, f32)>) -> Point {
    let mut first: Option<(usize, f32, f32)> = None;
    let mut second: (f32, f32) = (0.0, 0.0);
    for (line, (amount, uncertain)) in amounts.enumerate() {
        match first {
            None => first = Some((line, amount, uncertain)),
            Some((_, most, its)) if amount > most => {
                second = (most, its);
                first = Some((line, amount, uncertain));
            }
            Some(_) if amount > second.0 || line == 1 => second = (amount, uncertain),
            Some(_) => {}
        }
    }
    let Some((line, most, its)) = first else {
        return Point::Nothing;
    };
    let lead = most - second.0;
    if lead > 0.0 && lead * lead > its * its + second.1 * second.1 {
        Point::Led {
            line,
            clearness: lead / (most + second.0),
        }
    } else {
        Point::Leaning { line }
    }
}

#[cfg(test)]
mod tests;
