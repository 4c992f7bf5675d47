//! How wide the field's stars are, from its bright ones.

use std::ops::Range;

use super::fit::{Bell, Plane, Shape, Task};
use super::mesh::{CELL, Clipped, middle};
use super::window::Window;

/// Rows around a band that the search looks at.
pub(super) const MARGIN: usize = 40;

/// No star is wider, px.
const WIDEST_PX: f64 = 16.0;

/// So many of the brightest peaks of each band are fitted.
const PEAKS: usize = 48;

/// A peak must stand out of its cell by so many sigma.
const BRIGHT_SIGMA: f64 = 8.0;

/// Shapes of bright peaks in one band. `cells` are the band's own, row by row.
/// Peaks at or above `ceiling` are left out.
pub(super) fn shapes(
    window: &Window,
    band: Range<usize>,
    cells: &[(usize, Option<Clipped>)],
    ceiling: f32,
) -> Vec<Bell> {
    let columns = window.width.div_ceil(CELL);
    let mut peaks = Vec::new();
    for y in band.clone() {
        let row = window.row(y);
        for column in 0..columns {
            let Some(cell) = cells[(y - band.start) / CELL * columns + column].1 else {
                continue;
            };
            let bright = (cell.median + BRIGHT_SIGMA * cell.sigma) as f32;
            let end = ((column + 1) * CELL).min(window.width);
            for (x, value) in (column * CELL..end).zip(&row[column * CELL..end]) {
                if *value > bright && *value < ceiling && is_peak(window, x, y) {
                    peaks.push((f64::from(*value) - cell.median, x, y, cell));
                }
            }
        }
    }
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.2, a.1).cmp(&(b.2, b.1))));
    peaks.truncate(PEAKS);
    peaks
        .into_iter()
        .filter_map(|(height, x, y, cell)| shape(window, x, y, height, cell, ceiling))
        .collect()
}

/// The highest of 7 x 7 pixels, the first of equals, with light on all sides.
fn is_peak(window: &Window, x: usize, y: usize) -> bool {
    let (x, y) = (x as isize, y as isize);
    let value = window.at(x, y);
    for v in -3..=3 {
        for u in -3..=3 {
            let other = window.at(x + u, y + v);
            let earlier = (v, u) < (0, 0);
            if other > value || (earlier && other == value) {
                return false;
            }
        }
    }
    true
}

fn shape(
    window: &Window,
    x: usize,
    y: usize,
    height: f64,
    cell: Clipped,
    ceiling: f32,
) -> Option<Bell> {
    let (x, y) = (x as isize, y as isize);
    let above = |u: isize, v: isize| f64::from(window.at(x + u, y + v)) - cell.median;
    // A hot pixel or a ray's track is dark on two opposite sides.
    for (u, v) in [(1, 0), (0, 1)] {
        let sides = 0.5 * (above(u, v) + above(-u, -v));
        if sides.is_nan() || sides < 0.08 * height {
            return None;
        }
    }
    // Half the height, sought along the four axes.
    let mut reach = [0.0; 4];
    for (reach, (u, v)) in reach.iter_mut().zip([(1, 0), (-1, 0), (0, 1), (0, -1)]) {
        let mut last = height;
        let mut steps = 1;
        loop {
            let value = above(u * steps, v * steps);
            if value.is_nan() || steps as f64 > WIDEST_PX {
                return None;
            }
            if value < 0.5 * height {
                *reach = steps as f64 - 1.0 + (last - 0.5 * height) / (last - value);
                break;
            }
            last = value;
            steps += 1;
        }
    }
    reach.sort_by(f64::total_cmp);
    let fwhm_px = (reach[1] + reach[2]).clamp(1.0, WIDEST_PX);
    let task = Task {
        window,
        start: [x as f64, y as f64],
        radius_px: (1.2 * fwhm_px).max(2.5),
        background: Plane::level(cell.median),
        ceiling,
        neighbours: &[],
    };
    let bell = task.fit(Shape::round(fwhm_px), true)?;
    let clean = bell.residual < 0.1 * bell.amplitude + 3.0 * cell.sigma;
    let width = bell.shape.fwhm_px();
    (clean && width > 0.9 && width < WIDEST_PX && bell.shape.elongation() < 2.2).then_some(bell)
}

/// The shape that most bright peaks share: stars are all alike, knots and
/// rays are not. None where fewer than three agree.
pub(super) fn common(bells: &[Bell]) -> Option<Shape> {
    let mut widths: Vec<(f64, usize)> = bells
        .iter()
        .enumerate()
        .map(|(index, bell)| (bell.shape.fwhm_px(), index))
        .collect();
    widths.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    // The fullest interval whose ends differ by 20 %; the narrowest of equals.
    let mut best = 0..0;
    let mut end = 0;
    for start in 0..widths.len() {
        while end < widths.len() && widths[end].0 <= 1.2 * widths[start].0 {
            end += 1;
        }
        if end - start > best.len() {
            best = start..end;
        }
    }
    if best.len() < 3 {
        return None;
    }
    let part = |index: usize| {
        let values = widths[best.clone()].iter();
        middle(
            values
                .map(|(_, bell)| bells[*bell].shape.0[index])
                .collect(),
        )
    };
    Some(Shape([part(0)?, part(1)?, part(2)?]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_most_common_width_wins() {
        let bell = |fwhm: f64| Bell {
            x: 0.0,
            y: 0.0,
            amplitude: 1.0,
            shape: Shape::round(fwhm),
            residual: 0.0,
        };
        let mut bells: Vec<_> = [3.0, 3.1, 2.95, 3.05, 3.0].map(bell).into();
        bells.extend([5.0, 6.5, 8.0, 9.9, 12.5, 1.1, 1.4].map(bell));
        let shape = common(&bells).expect("five agree");
        assert!((shape.fwhm_px() - 3.0).abs() < 1e-9);
        assert_eq!(common(&[bell(2.0), bell(4.0), bell(8.0)]), None);
        assert_eq!(common(&[]), None);
    }
}
