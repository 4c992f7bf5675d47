//! A tile of the result: positions, then pixels.

use super::kernel::Kernel;
use fearless_simd::Simd;

use super::pixel::{Limit, Missed, Place, Scratch, careful, sum_row, sum_wide};
use super::place::{Patch, Row, is_affine, place, split};
use super::six;
use super::window::View;
use crate::engine::align::transform::{Map, Transform};
use crate::engine::frame::Size;

/// Pixels of a tile along each side. A tile and its part of the source stay
/// within a core's own memory, whichever way the source is turned.
pub(super) const TILE: usize = 64;

/// Positions this close to whole pixels (px) count as being there.
const ON_PIXEL: f64 = 1e-6;

/// Steps at which positions are looked at to find the source rows of a tile.
const LOOK: usize = 16;

/// Pixels that are copied together for a tile at the most; four tiles' worth
/// and their margins.
const MOST_COPIED: usize = 1 << 15;

/// A rectangle of the result.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rect {
    pub x: usize,
    pub y: usize,
    pub width: usize,
    pub height: usize,
}

/// How pixels are made, settled once for a picture.
#[derive(Debug)]
pub(super) struct Work {
    map: Map,
    kind: Kind,
    kernel_x: Kernel,
    kernel_y: Kernel,
    limit: Limit,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    /// Whole-pixel shifts, quarter and half turns and mirror images: source
    /// x = a x + b y + c, y = d x + e y + f, all whole numbers.
    Copy([[i64; 3]; 2]),
    /// x depends on x alone, y on y alone, both linearly.
    Straight,
    /// Everything else.
    Free,
}

impl Work {
    pub fn new(transform: &Transform, size: Size, limit: Limit) -> Self {
        let mut map = transform.to_source.clone();
        // What a fit leaves of an unturned map's turn.
        let span = size.width.max(size.height) as f64;
        if map.matrix[0][1].abs().max(map.matrix[1][0].abs()) < ON_PIXEL / span {
            (map.matrix[0][1], map.matrix[1][0]) = (0.0, 0.0);
        }
        let kind = kind(&map, size);
        let [x, y] = footprint(&map, size);
        Self {
            map,
            kind,
            kernel_x: Kernel::new(x),
            kernel_y: Kernel::new(y),
            limit,
        }
    }

    /// Source rows (first, end) that a rectangle of the result needs; None
    /// where it lies outside the source.
    pub fn rows(&self, rect: Rect, source: Size) -> Option<(usize, usize)> {
        let ([left, top], [right, bottom]) = self.bounds(rect);
        let [width, height] = [source.width as f64, source.height as f64];
        if right < -0.5 || left > width - 0.5 || bottom < -0.5 || top > height - 0.5 {
            return None;
        }
        Some(reach(top, bottom, &self.kernel_y, source.height))
    }

    // Least and greatest position of a rectangle in the source.
    fn bounds(&self, rect: Rect) -> ([f64; 2], [f64; 2]) {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        let looks = |from: usize, length: usize| {
            (0..length)
                .step_by(LOOK)
                .chain([length - 1])
                .map(move |i| (from + i) as f64)
        };
        // Between the places looked at, a bent map strays less than this.
        let stray = if self.is_straight_lined() { 0.001 } else { 2.0 };
        for y in looks(rect.y, rect.height) {
            for x in looks(rect.x, rect.width) {
                let position = self.map.apply([x, y]);
                for axis in 0..2 {
                    // A position beyond all bounds may have anything beside it.
                    if position[axis].is_finite() {
                        low[axis] = low[axis].min(position[axis] - stray);
                        high[axis] = high[axis].max(position[axis] + stray);
                    } else {
                        (low[axis], high[axis]) = (f64::NEG_INFINITY, f64::INFINITY);
                    }
                }
            }
        }
        (low, high)
    }

    // The part of the source under a rectangle, copied together: rows of a wide
    // picture lie too far apart to be stepped through pixel by pixel.
    fn patch<'a>(&self, view: &View<'a>, rect: Rect, room: &'a mut Vec<f32>) -> Patch<'a> {
        let ([left, top], [right, bottom]) = self.bounds(rect);
        // The last group of eight taps goes beyond the last tap.
        let (x, x_end) = reach(left, right + 2.0, &self.kernel_x, view.width);
        let (y, y_end) = reach(top, bottom, &self.kernel_y, view.height);
        let (y, y_end) = (y.max(view.first), y_end.min(view.first + view.rows));
        let (width, height) = (x_end - x, y_end.saturating_sub(y));
        if width.saturating_mul(height) > MOST_COPIED {
            return Patch {
                values: view.values,
                x: 0,
                y: view.first,
                width: view.width,
                height: view.rows,
            };
        }
        room.clear();
        for row in y..y + height {
            let from = (row - view.first) * view.width + x;
            room.extend_from_slice(&view.values[from..from + width]);
        }
        Patch {
            values: room,
            x,
            y,
            width,
            height,
        }
    }

    fn is_straight_lined(&self) -> bool {
        self.map.correction.is_none() && is_affine(&self.map)
    }

    /// Whether the source is read downwards as the result is made downwards.
    pub fn descends(&self, size: Size) -> bool {
        let [x, middle] = [size.width as f64 / 2.0, size.height as f64 / 2.0];
        let above = self.map.apply([x, middle - 1.0])[1];
        self.map.apply([x, middle + 1.0])[1] > above
    }

    /// Fills `out` (row by row) with a rectangle of the result.
    pub fn fill(
        &self,
        level: fearless_simd::Level,
        view: &View<'_>,
        rect: Rect,
        out: &mut [f32],
    ) -> Result<(), Missed> {
        match self.kind {
            Kind::Copy(steps) => copy(view, steps, rect, out),
            Kind::Straight => {
                fearless_simd::dispatch!(level, _simd => self.straight(view, rect, out))
            }
            Kind::Free if self.kernel_x.taps == 6 && self.kernel_y.taps == 6 => {
                fearless_simd::dispatch!(level, simd => self.free_six(simd, view, rect, out))
            }
            Kind::Free => {
                fearless_simd::dispatch!(level, _simd => self.free_wide(view, rect, out))
            }
        }
    }

    #[inline(always)]
    fn free_six<S: Simd>(
        &self,
        simd: S,
        view: &View<'_>,
        rect: Rect,
        out: &mut [f32],
    ) -> Result<(), Missed> {
        let (kernel_x, kernel_y) = (&self.kernel_x, &self.kernel_y);
        let mut scratch = Scratch::default();
        let mut room = Vec::new();
        let patch = self.patch(view, rect, &mut room);
        let mut row = Row::default();
        let mut starts = [six::NONE; TILE];
        let (mut values, mut is_calm) = ([0.0; TILE], [false; TILE]);
        let lead = [kernel_x.lead(), kernel_y.lead()];
        for (j, out) in out.chunks_exact_mut(rect.width).enumerate() {
            row.locate(&self.map, rect.x, rect.y + j, view);
            for (i, start) in starts.iter_mut().enumerate() {
                *start = row.start(i, lead, kernel_x.stride, kernel_y.taps, &patch);
            }
            let taps = six::Taps {
                values: patch.values,
                width: patch.width,
                starts: &starts,
                parts: [&row.part_x, &row.part_y],
                kernels: [kernel_x, kernel_y],
            };
            six::row(simd, &taps, self.limit.calm(), &mut values, &mut is_calm);
            for (i, out) in out.iter_mut().enumerate() {
                let stands = is_calm[i]
                    || starts[i] != six::NONE && is_between(values[i], &patch, starts[i], lead);
                *out = if stands {
                    values[i]
                } else {
                    self.careful(view, row.place(i), &mut scratch)?
                };
            }
        }
        Ok(())
    }

    #[inline(always)]
    fn free_wide(&self, view: &View<'_>, rect: Rect, out: &mut [f32]) -> Result<(), Missed> {
        let (kernel_x, kernel_y) = (&self.kernel_x, &self.kernel_y);
        let mut scratch = Scratch::default();
        let patch = Patch {
            values: view.values,
            x: 0,
            y: view.first,
            width: view.width,
            height: view.rows,
        };
        let mut row = Row::default();
        let (mut across, mut down) = (vec![0.0; kernel_x.stride], vec![0.0; kernel_y.stride]);
        let lead = [kernel_x.lead(), kernel_y.lead()];
        for (j, out) in out.chunks_exact_mut(rect.width).enumerate() {
            row.locate(&self.map, rect.x, rect.y + j, view);
            for (i, out) in out.iter_mut().enumerate() {
                let start = row.start(i, lead, kernel_x.stride, kernel_y.taps, &patch);
                if start != six::NONE {
                    kernel_x.weights(row.part_x[i], &mut across);
                    kernel_y.weights(row.part_y[i], &mut down);
                    let down = &down[..kernel_y.taps];
                    let sum = sum_wide(patch.values, patch.width, start, &across, down);
                    if sum.is_calm(self.limit.calm()) {
                        *out = sum.value;
                        continue;
                    }
                }
                *out = self.careful(view, row.place(i), &mut scratch)?;
            }
        }
        Ok(())
    }

    // Rarely needed: kept out of line, so that the loops around it stay small.
    #[inline(never)]
    fn careful(
        &self,
        view: &View<'_>,
        place: Option<Place>,
        scratch: &mut Scratch,
    ) -> Result<f32, Missed> {
        let Some(place) = place else {
            return Ok(f32::NAN);
        };
        careful(
            view,
            (&self.kernel_x, &self.kernel_y),
            place,
            self.limit,
            scratch,
        )
    }

    // First across, once for every source row, then down.
    #[inline(always)]
    fn straight(&self, view: &View<'_>, rect: Rect, out: &mut [f32]) -> Result<(), Missed> {
        let (kernel_x, kernel_y) = (&self.kernel_x, &self.kernel_y);
        let calm = self.limit.calm();
        let mut scratch = Scratch::default();
        // Columns from the first row, rows from the first column.
        let mut grid = Row::default();
        grid.locate(&self.map, rect.x, rect.y, view);
        for (j, y) in grid.ys.iter_mut().enumerate() {
            *y = self.map.apply([rect.x as f64, (rect.y + j) as f64])[1];
        }
        split(&grid.ys, view.height, &mut grid.whole_y, &mut grid.part_y);
        let Row {
            whole_x,
            whole_y,
            part_x,
            part_y,
            ..
        } = grid;
        let last_left = view.width as i64 - kernel_x.stride as i64;
        let last_top = (view.first + view.rows) as i64 - kernel_y.taps as i64;
        let in_view = |top: i64| top >= view.first as i64 && top <= last_top;
        let tops = || {
            whole_y[..rect.height]
                .iter()
                .map(|whole| i64::from(*whole) - kernel_y.lead())
                .filter(|top| in_view(*top))
        };
        let first = tops().min().unwrap_or(0);
        let rows = tops()
            .max()
            .map_or(0, |last| (last - first) as usize + kernel_y.taps);
        let mut across = vec![0.0; rect.width * kernel_x.stride];
        for (across, part) in across.chunks_exact_mut(kernel_x.stride).zip(part_x) {
            kernel_x.weights(part, across);
        }
        let (mut sums, mut lows, mut highs) = (
            vec![[f32::NAN; TILE]; rows],
            vec![[0.0; TILE]; rows],
            vec![[0.0; TILE]; rows],
        );
        for row in 0..rows {
            let from = (first as usize - view.first + row) * view.width;
            let values = &view.values[from..from + view.width];
            for i in 0..rect.width {
                let left = i64::from(whole_x[i]) - kernel_x.lead();
                // Columns whose taps are not all there stay NaN.
                if left >= 0 && left <= last_left {
                    let across = &across[i * kernel_x.stride..(i + 1) * kernel_x.stride];
                    let sum = sum_row(&values[left as usize..][..across.len()], across);
                    (sums[row][i], lows[row][i], highs[row][i]) = (sum.value, sum.low, sum.high);
                }
            }
        }
        let mut down = vec![0.0; kernel_y.stride];
        for (j, out) in out.chunks_exact_mut(rect.width).enumerate() {
            let top = i64::from(whole_y[j]) - kernel_y.lead();
            let mut values = [f32::NAN; TILE];
            let (mut low, mut high) = ([f32::INFINITY; TILE], [f32::NEG_INFINITY; TILE]);
            if in_view(top) {
                kernel_y.weights(part_y[j], &mut down);
                let from = (top - first) as usize;
                values = [0.0; TILE];
                for (row, weight) in (from..from + kernel_y.taps).zip(&down) {
                    for i in 0..TILE {
                        values[i] += weight * sums[row][i];
                        low[i] = if lows[row][i] < low[i] {
                            lows[row][i]
                        } else {
                            low[i]
                        };
                        high[i] = if highs[row][i] > high[i] {
                            highs[row][i]
                        } else {
                            high[i]
                        };
                    }
                }
            }
            for (i, out) in out.iter_mut().enumerate() {
                let is_calm = values[i].abs() < f32::INFINITY && high[i] - low[i] <= calm;
                *out = if is_calm {
                    values[i]
                } else {
                    let place = place((whole_x[i], part_x[i]), (whole_y[j], part_y[j]));
                    self.careful(view, place, &mut scratch)?
                };
            }
        }
        Ok(())
    }
}

// Whether a plain sum lies within the range of the four pixels around its
// position: then it does not ring, and `careful` would leave it alone. A NaN
// among all taps makes the sum NaN, which lies in no range.
#[inline(always)]
fn is_between(value: f32, patch: &Patch<'_>, start: usize, lead: [i64; 2]) -> bool {
    let first = start + lead[1] as usize * patch.width + lead[0] as usize;
    let second = first + patch.width;
    let near = [
        patch.values[first],
        patch.values[first + 1],
        patch.values[second],
        patch.values[second + 1],
    ];
    let (mut low, mut high) = (near[0], near[0]);
    for pixel in near {
        low = if pixel < low { pixel } else { low };
        high = if pixel > high { pixel } else { high };
    }
    value >= low && value <= high && value.abs() < f32::INFINITY
}

// Pixels (first, end) under the taps of positions from `low` to `high`.
fn reach(low: f64, high: f64, kernel: &Kernel, length: usize) -> (usize, usize) {
    let (half, length) = ((kernel.taps / 2) as f64, length as f64);
    let first = (low - half).floor().clamp(0.0, length - 1.0) as usize;
    let end = (high + half + 1.0).ceil().clamp(1.0, length) as usize;
    (first, end.max(first + 1))
}

fn kind(map: &Map, size: Size) -> Kind {
    if map.correction.is_some() || !is_affine(map) {
        return Kind::Free;
    }
    // The linear part may stray by so much that the far corner is still there.
    let span = size.width.max(size.height) as f64;
    let whole = |value: f64, slack: f64| {
        let rounded = value.round();
        ((value - rounded).abs() <= slack && rounded.abs() < 1e9).then_some(rounded as i64)
    };
    let row = |[a, b, c]: [f64; 3]| -> Option<[i64; 3]> {
        let slack = ON_PIXEL / span / 4.0;
        Some([
            whole(a, slack)?,
            whole(b, slack)?,
            whole(c, ON_PIXEL / 4.0)?,
        ])
    };
    if let (Some(x), Some(y)) = (row(map.matrix[0]), row(map.matrix[1])) {
        let turn = [x[0].abs(), x[1].abs(), y[0].abs(), y[1].abs()];
        if turn == [1, 0, 0, 1] || turn == [0, 1, 1, 0] {
            return Kind::Copy([x, y]);
        }
    }
    if map.matrix[0][1] == 0.0 && map.matrix[1][0] == 0.0 {
        Kind::Straight
    } else {
        Kind::Free
    }
}

// Source pixels in a pixel of the result along the source's x and y, at the
// middle of the result.
fn footprint(map: &Map, size: Size) -> [f64; 2] {
    let middle = [size.width as f64 / 2.0, size.height as f64 / 2.0];
    let at = |dx: f64, dy: f64| map.apply([middle[0] + dx, middle[1] + dy]);
    let (right, left, down, up) = (at(0.5, 0.0), at(-0.5, 0.0), at(0.0, 0.5), at(0.0, -0.5));
    [0, 1].map(|axis| {
        let (across, along) = (right[axis] - left[axis], down[axis] - up[axis]);
        (across * across + along * along).sqrt()
    })
}

fn copy(view: &View<'_>, steps: [[i64; 3]; 2], rect: Rect, out: &mut [f32]) -> Result<(), Missed> {
    let [[a, b, c], [d, e, f]] = steps;
    let (width, height) = (view.width as i64, view.height as i64);
    for (j, out) in out.chunks_exact_mut(rect.width).enumerate() {
        let y = (rect.y + j) as i64;
        for (i, out) in out.iter_mut().enumerate() {
            let x = (rect.x + i) as i64;
            let (from_x, from_y) = (a * x + b * y + c, d * x + e * y + f);
            *out = if (0..width).contains(&from_x) && (0..height).contains(&from_y) {
                let row = usize::try_from(from_y - view.first as i64).map_err(|_| Missed)?;
                if row >= view.rows {
                    return Err(Missed);
                }
                view.values[row * view.width + from_x as usize]
            } else {
                f32::NAN
            };
        }
    }
    Ok(())
}
