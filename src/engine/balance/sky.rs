//! The sky between nebula and stars.

use super::robust;
use crate::engine::crop::strip_rim;
use crate::engine::frame::{Rows, RowsError, Size};
use crate::engine::measure;

/// Pixels along each side of a block; fewer in small pictures.
const BLOCK: usize = 32;

/// Blocks along the shorter side of a small picture, at least.
const LEAST_BLOCKS: usize = 8;

/// Rows of blocks that are read, at most, evenly spaced.
const MOST_BLOCK_ROWS: usize = 64;

/// The darkest blocks that tell the sky: one in so many.
const DARKEST: usize = 20;

/// The darker blocks, whose chance is measured: one in so many.
const DARKER: usize = 3;

/// So many blocks tell it at least, where there are so many.
const ENOUGH: usize = 12;

/// Pixels farther from their block's median than so many sigma are stars.
const CLIP: f64 = 2.5;

/// A channel's sky.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SkyLevel {
    /// Its level; NaN where the channel has no valid pixel.
    pub level: f64,
    /// How far the level may be off, 1 sigma: by chance, and by how unlike the
    /// places are that tell it.
    pub error: f64,
    /// Sigma of one pixel.
    pub noise: f64,
}

/// By so many sigma of a block's level the dark places must lie lower than the
/// clipped median of a channel to tell its sky instead.
const LOWER: f64 = 3.0;

const NONE: SkyLevel = SkyLevel {
    level: f64::NAN,
    error: f64::NAN,
    noise: f64::NAN,
};

/// Each channel's sky: its level is what becomes black in common, so that the
/// sky is neutral whatever the gains.
///
/// All three are measured at the same places: those blocks of the grid that are
/// dark in each of them. The clipped median of a whole channel lies high
/// wherever faint nebula fills more than a small part of the field, by more in
/// red (where hydrogen is) than in the others, and a sky that is made neutral
/// there is not neutral where it is dark. Which blocks are dark is told by one
/// half of their pixels (a chessboard's), how bright they are by the other, so
/// that chance does not make them darker than they are. Where they are no darker
/// than chance makes them, the clipped medians stand: far more pixels tell them.
///
/// # Errors
/// Where a source fails.
pub fn neutral_sky(channels: [&dyn Rows; 3]) -> Result<[SkyLevel; 3], RowsError> {
    let mut whole = [NONE; 3];
    for (index, sky) in whole.iter_mut().enumerate() {
        let survey = measure::glance(channels[index], None)?;
        if let Some(levels) = survey.levels {
            *sky = SkyLevel {
                level: levels.sky,
                error: levels.sky_error(survey.sample().len()),
                noise: levels.noise,
            };
        }
    }
    let sizes = channels.map(|channel| channel.size());
    if sizes[0] != sizes[1] || sizes[2] != sizes[1] {
        return Ok(whole);
    }
    let noise = whole.map(|sky| sky.noise);
    let blocks = Blocks::read(channels, sizes[1], noise)?;
    let Some(dark) = blocks.darkest(noise) else {
        return Ok(whole);
    };
    let lower: [f64; 3] =
        std::array::from_fn(|index| (whole[index].level - dark[index].level) / dark[index].chance);
    // NaN where chance is not known. Where one channel is bright, not even the
    // darkest places are dark in all.
    let is_known = lower
        .iter()
        .all(|sigma| *sigma > -LOWER && sigma.is_finite());
    Ok(match is_known && lower.iter().any(|sigma| *sigma > LOWER) {
        true => std::array::from_fn(|index| SkyLevel {
            level: dark[index].level,
            error: dark[index].error(),
            noise: whole[index].noise,
        }),
        // By far more pixels, and by chance alone another.
        false => whole,
    })
}

/// The level of a block by each half of its pixels.
#[derive(Debug, Clone, Copy)]
struct Block {
    choosing: f64,
    telling: f64,
}

/// Blocks in rows; None where a channel lacks data.
struct Blocks {
    across: usize,
    all: Vec<Option<[Block; 3]>>,
}

/// The sky of a channel where all are dark.
struct Dark {
    level: f64,
    /// Sigma of one block's level by chance, whether or not neighbours share
    /// their noise.
    chance: f64,
    /// How much brighter the blocks are that are next as dark.
    rise: f64,
}

impl Dark {
    fn error(&self) -> f64 {
        (self.chance * self.chance + self.rise * self.rise).sqrt()
    }
}

impl Blocks {
    fn read(channels: [&dyn Rows; 3], size: Size, noise: [f64; 3]) -> Result<Self, RowsError> {
        let shorter = size.width.min(size.height);
        let side = (shorter / LEAST_BLOCKS).clamp(2, BLOCK);
        let (across, down) = (size.width / side, size.height / side);
        let step = down.div_ceil(MOST_BLOCK_ROWS).max(1);
        let mut band = vec![0.0_f32; size.width * side];
        let mut all = Vec::new();
        for row in (0..down).step_by(step) {
            let mut of_row: [Vec<Option<Block>>; 3] = Default::default();
            for ((channel, noise), blocks) in channels.into_iter().zip(noise).zip(&mut of_row) {
                channel.read(row * side, &mut band)?;
                band.chunks_exact_mut(size.width).for_each(strip_rim);
                blocks.extend((0..across).map(|column| {
                    let lines = band.chunks_exact(size.width);
                    block(lines.map(|line| &line[column * side..][..side]), noise)
                }));
            }
            let [red, green, blue] = &of_row;
            let together = red.iter().zip(green).zip(blue);
            all.extend(together.map(|((red, green), blue)| Some([(*red)?, (*green)?, (*blue)?])));
        }
        Ok(Self { across, all })
    }

    // None where there are no blocks.
    fn darkest(&self, noise: [f64; 3]) -> Option<[Dark; 3]> {
        let places: Vec<usize> = (0..self.all.len())
            .filter(|place| self.all[*place].is_some())
            .collect();
        let blocks: Vec<&[Block; 3]> = self.all.iter().flatten().collect();
        let count = (blocks.len() / DARKEST).max(ENOUGH).min(blocks.len());
        if count == 0 {
            return None;
        }
        // How far a block lies above the low ones in its brightest channel, in
        // sigma of a pixel, says how dark it is.
        let mut above = vec![f64::NEG_INFINITY; blocks.len()];
        for channel in 0..3 {
            let level = |block: &&[Block; 3]| block[channel].choosing;
            let mut levels: Vec<f64> = blocks.iter().map(level).collect();
            levels.sort_unstable_by(f64::total_cmp);
            // Few that are darker than the sky, by faults of the detector, are none.
            let lowest = levels[count - 1];
            let unit = noise[channel].max(f64::MIN_POSITIVE);
            for (above, block) in above.iter_mut().zip(&blocks) {
                *above = above.max((level(block) - lowest) / unit);
            }
        }
        let mut order: Vec<usize> = (0..blocks.len()).collect();
        order.sort_by(|a, b| above[*a].total_cmp(&above[*b]));
        let (dark, rest) = order.split_at(count);
        let next = &rest[..count.min(rest.len())];
        let mut is_darker = vec![false; self.all.len()];
        for index in &order[..order.len().div_ceil(DARKER)] {
            is_darker[places[*index]] = true;
        }
        Some(std::array::from_fn(|channel| {
            let level = |chosen: &[usize]| {
                let levels = chosen.iter().map(|index| blocks[*index][channel].telling);
                robust::median(&levels.collect::<Vec<f64>>())
            };
            let own = level(dark);
            Dark {
                level: own,
                chance: self.chance(channel, &is_darker),
                // NaN, where there are no more, is 0.
                rise: (level(next) - own).max(0.0),
            }
        }))
    }

    // From second differences along the rows, in which what is there cancels,
    // of the darker blocks or of all where they are too few.
    fn chance(&self, channel: usize, is_darker: &[bool]) -> f64 {
        let across = self.across.max(1);
        let rows = self.all.chunks(across).zip(is_darker.chunks(across));
        let (mut of_all, mut of_darker) = (Vec::new(), Vec::new());
        for (row, darker) in rows {
            for (three, darker) in row.windows(3).zip(darker.windows(3)) {
                let [Some(one), Some(middle), Some(other)] = three else {
                    continue;
                };
                let [one, middle, other] = [one, middle, other].map(|block| block[channel].telling);
                let difference = one + other - 2.0 * middle;
                of_all.push(difference);
                if darker.iter().all(|is_darker| *is_darker) {
                    of_darker.push(difference);
                }
            }
        }
        let differences = match of_darker.len() {
            0..ENOUGH => of_all,
            _ => of_darker,
        };
        match differences.len() {
            0 => 0.0,
            _ => robust::spread(&differences, 0.0) / 6.0_f64.sqrt(),
        }
    }
}

// None where half of the pixels or more are no data.
fn block<'a>(lines: impl Iterator<Item = &'a [f32]> + Clone, noise: f64) -> Option<Block> {
    let pixels: usize = lines.clone().map(<[f32]>::len).sum();
    let mut valid: Vec<f32> = lines.clone().flatten().copied().collect();
    valid.retain(|value| value.is_finite());
    if valid.len() * 2 <= pixels {
        return None;
    }
    // A gap that is filled with one value is no sky.
    if noise > 0.0 && valid.iter().all(|value| *value == valid[0]) {
        return None;
    }
    let half = valid.len() / 2;
    let (_, middle, _) = valid.select_nth_unstable_by(half, f32::total_cmp);
    let middle = f64::from(*middle);
    let reach = if noise > 0.0 { CLIP * noise } else { 0.0 };
    let (mut sums, mut counts) = ([0.0; 2], [0_usize; 2]);
    for (y, line) in lines.enumerate() {
        for (x, value) in line.iter().enumerate() {
            let away = f64::from(*value) - middle;
            if away.abs() <= reach {
                sums[(x + y) % 2] += away;
                counts[(x + y) % 2] += 1;
            }
        }
    }
    let mean = |part: usize| middle + sums[part] / counts[part].max(1) as f64;
    Some(Block {
        choosing: mean(0),
        telling: mean(1),
    })
}
