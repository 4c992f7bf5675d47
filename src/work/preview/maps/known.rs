//! What maps need to know of whole channels, kept while the channels stay.

use std::sync::{Arc, Weak};

use rayon::prelude::*;

use crate::engine::crop::{span_of, strip_rim};
use crate::engine::frame::{Plane, Rows, RowsError};
use crate::engine::full::Without;
use crate::engine::measure::{Levels, Sampler, glance};
use crate::engine::num::log2;
use crate::engine::ratio::chance::Squares;
use crate::engine::ratio::paint::Span;
use crate::engine::ratio::{Counts, Law, Map, Point, Side, chance, noise};
use crate::engine::recipe::Ratio;
use crate::work::desk::Layer;
use crate::work::preview::pyramid::FIRST_CELL;

/// The longer side of the means from which the scale of a ratio is taken is at
/// least this long, where the channel is.
const LEAST_SIDE: usize = 512;

/// Keeps levels and noise of channels, and the scales of ratios.
#[derive(Default)]
pub struct Known {
    lines: Vec<Line>,
    spans: Vec<Spanned>,
}

struct Line {
    plane: Weak<Plane>,
    side: Option<Side>,
    levels: Option<Levels>,
    // Sigma of means over 4 x 4, 8 x 8, ... pixels.
    noise: Vec<f64>,
    data: Arc<Data>,
}

/// For each row of a channel the columns from the first to beyond the last that
/// its frame reached: an empty rim is no field.
pub type Data = Vec<(usize, usize)>;

struct Spanned {
    planes: [Weak<Plane>; 2],
    ratio: Ratio,
    mark: Option<f64>,
    span: Option<Span>,
}

fn is(weak: &Weak<Plane>, plane: &Arc<Plane>) -> bool {
    std::ptr::eq(weak.as_ptr(), Arc::as_ptr(plane))
}

impl Known {
    /// A channel's sky, and the noise of means over `step` x `step` pixels. None
    /// where it has no noise to measure by.
    pub fn side(&mut self, layer: &Layer, step: f64) -> Option<Side> {
        let line = self.line(layer);
        let side = line.side?;
        // What was full is marked; values that were evened say nothing of it.
        Some(Side {
            noise: noise_at(side.noise, &line.noise, step),
            full: None,
            ..side
        })
    }

    /// The levels of a whole channel, as its side was taken from them.
    pub fn levels(&mut self, layer: &Layer) -> Option<Levels> {
        self.line(layer).levels
    }

    /// Where a channel has data.
    pub fn data(&mut self, layer: &Layer) -> Arc<Data> {
        Arc::clone(&self.line(layer).data)
    }

    /// Measures those of some channels that are not known yet, all at once.
    pub fn measure(&mut self, layers: &[&Arc<Layer>]) {
        self.lines.retain(|line| line.plane.strong_count() > 0);
        let new: Vec<Line> = layers
            .par_iter()
            .filter(|layer| self.place(layer).is_none())
            .map(|layer| measured(layer))
            .collect();
        self.lines.extend(new);
    }

    fn place(&self, layer: &Layer) -> Option<usize> {
        let mut lines = self.lines.iter();
        lines.position(|line| is(&line.plane, &layer.plane))
    }

    fn line(&mut self, layer: &Layer) -> &Line {
        self.lines.retain(|line| line.plane.strong_count() > 0);
        let at = self.place(layer).unwrap_or_else(|| {
            self.lines.push(measured(layer));
            self.lines.len() - 1
        });
        &self.lines[at]
    }

    /// The scale of a ratio of two channels: the recipe's, or one that suits
    /// the whole field. None where there is no ratio anywhere but by chance.
    pub fn span(&mut self, layers: [&Layer; 2], ratio: &Ratio, mark: Option<f64>) -> Option<Span> {
        if let Some([low, high]) = ratio.range {
            let scale = ratio.scale;
            return Some(Span { low, high, scale });
        }
        self.spans
            .retain(|kept| kept.planes.iter().all(|plane| plane.strong_count() > 0));
        let known = self.spans.iter().find(|kept| {
            let same = |at: usize| is(&kept.planes[at], &layers[at].plane);
            same(0) && same(1) && kept.ratio == *ratio && kept.mark == mark
        });
        if let Some(known) = known {
            return known.span;
        }
        let span = self.fitting(layers, ratio, mark);
        self.spans.push(Spanned {
            planes: layers.map(|layer| Arc::downgrade(&layer.plane)),
            ratio: ratio.clone(),
            mark,
            span,
        });
        span
    }

    fn fitting(&mut self, layers: [&Layer; 2], ratio: &Ratio, mark: Option<f64>) -> Option<Span> {
        let coarse = layers[0].reduced.iter().zip(&layers[1].reduced);
        let coarse = coarse.enumerate().take_while(|(_, (plane, _))| {
            let size = plane.size();
            size.width.max(size.height) >= LEAST_SIDE
        });
        let (planes, cell) = match coarse.last() {
            Some((index, (over, under))) => ([over, under], FIRST_CELL << index),
            None => (layers.map(|layer| &layer.plane), 1),
        };
        let [over, under] = layers.map(|layer| self.side(layer, cell as f64));
        let law = Law {
            over: over?,
            under: under?,
            min_snr: ratio.min_snr,
            bin: 1,
        };
        let rows: Vec<Arc<dyn Rows>> = (layers.iter().zip(planes))
            .map(|(layer, plane)| without_full(layer, plane, cell))
            .collect();
        let map = Map::new(&*rows[0], &*rows[1], law)?;
        let size = map.size();
        let mut ratios = vec![f32::NAN; size.pixels()];
        let (mut counts, mut squares) = (Counts::default(), Squares::new(size.width));
        map.look(0, size.height, &mut |at, point| {
            counts.take(point, mark);
            squares.take(&point);
            if let Point::Known { ratio, .. } = point {
                ratios[at] = ratio as f32;
            }
        })
        .ok()?;
        if !chance::stands_out(&counts, &squares, law.min_snr) {
            return None;
        }
        let mut sampler = Sampler::new(size, None);
        sampler.push_band(0, size.width, &ratios);
        let survey = sampler.finish();
        let [low, high] = [0.05, 0.95].map(|share| survey.quantile(share));
        Some(Span::fitting(low?, high?, mark, ratio.scale))
    }
}

// A channel or its means, and no data where pixels went in that were full.
fn without_full(layer: &Layer, plane: &Arc<Plane>, cell: usize) -> Arc<dyn Rows> {
    let rows = || Arc::clone(plane) as Arc<dyn Rows>;
    let Some(marks) = &layer.full else {
        return rows();
    };
    match Without::new(rows(), Arc::new(marks.of_cells(cell))) {
        Some(without) => Arc::new(without),
        None => rows(),
    }
}

fn measured(layer: &Layer) -> Line {
    let survey = glance(&*layer.plane, layer.ceiling).ok();
    let side = survey.as_ref().and_then(noise::side);
    let of_means = |side: &Side| -> Result<Vec<f64>, RowsError> {
        let planes = layer.reduced.iter().enumerate();
        planes
            .map(|(index, plane)| noise::in_means(&**plane, side, FIRST_CELL << index))
            .collect()
    };
    let noise = side.as_ref().and_then(|side| of_means(side).ok());
    Line {
        plane: Arc::downgrade(&layer.plane),
        side,
        levels: survey.and_then(|survey| survey.levels),
        noise: noise.unwrap_or_default(),
        data: reached(&layer.plane).into(),
    }
}

// As `covered` of what is rimless, by all threads.
fn reached(plane: &Plane) -> Data {
    let width = plane.size().width.max(1);
    let values = plane.values().as_slice().unwrap_or_default();
    let of_row = |row: &mut Vec<f32>, values: &[f32]| {
        row.clear();
        row.extend_from_slice(values);
        strip_rim(row);
        span_of(row)
    };
    let rows = values.par_chunks_exact(width);
    rows.map_init(Vec::new, of_row).collect()
}

/// Sigma of means over `step` x `step` pixels, from that of one pixel and those
/// over 4, 8, ...: a power law between two that are known, as white noise has,
/// and on beyond the last.
fn noise_at(one: f64, means: &[f64], step: f64) -> f64 {
    let mut before = (1.0, one);
    for (index, sigma) in means.iter().enumerate() {
        let cell = (FIRST_CELL << index) as f64;
        if step <= cell {
            let log = |value: f64| f64::from(log2(value as f32));
            let share = log(step / before.0) / log(cell / before.0);
            return before.1 * crate::engine::num::exact::pow(sigma / before.1, share);
        }
        before = (cell, *sigma);
    }
    before.1 * before.0 / step
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Means of white noise have a sigma of one over their side.
    #[test]
    fn white_noise_falls_with_the_side_of_the_means() {
        let means = [2.0, 1.0, 0.5];
        for step in [1.0, 1.5, 2.0, 4.0, 6.3, 8.0, 16.0, 40.0] {
            let sigma = noise_at(8.0, &means, step);
            assert!((sigma * step - 8.0).abs() < 1e-4, "{step} {sigma}");
        }
        assert!((noise_at(8.0, &[], 4.0) - 2.0).abs() < 1e-12);
    }

    /// Noise that neighbours share falls less.
    #[test]
    fn shared_noise_is_what_was_measured() {
        let means = [4.0, 2.0];
        assert!((noise_at(8.0, &means, 4.0) - 4.0).abs() < 1e-12);
        let two = noise_at(8.0, &means, 2.0);
        assert!((two - 32.0_f64.sqrt()).abs() < 1e-3, "{two}");
    }
}
