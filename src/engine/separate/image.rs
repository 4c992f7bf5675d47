//! The image of a point made ready to be drawn many times.
//!
//! A whole number of nodes to a pixel, so that all pixels of one star lie at the
//! same place between their nodes: one set of cubic weights (Catmull & Rom 1974)
//! serves the whole star. Nodes a whole pixel apart lie side by side in memory,
//! so that a row is sixteen plain sums.

use super::psf::{Psf, TABLE_WIDTHS};

/// Nodes to a full width at half maximum, at least: between so close nodes the
/// cubic misses a star's height by less than 3 parts in 10,000.
const NODES: f64 = 12.0;

/// Nodes beyond the reach, px.
const MARGIN: i64 = 2;

/// See the module's words.
#[derive(Debug, Clone)]
pub(super) struct Image {
    pub psf: Psf,
    /// Nodes to a pixel.
    per_px: i64,
    /// Beyond this the profile alone counts, px.
    reach: i64,
    side: usize,
    /// By phase down, phase across, pixel down, pixel across.
    nodes: Vec<f32>,
}

/// Where a star lies between the nodes, one axis.
#[derive(Clone, Copy)]
struct Between {
    /// For four nodes: phase, and pixels from the picture's to the table's.
    nodes: [(usize, i64); 4],
    weights: [f32; 4],
    slopes: [f32; 4],
}

/// Where a star lies between the nodes.
#[derive(Clone, Copy)]
pub(super) struct Placed {
    x: f64,
    y: f64,
    across: Between,
    down: Between,
}

/// What of the image is wanted.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Want {
    /// Its height.
    Height,
    /// Its rise as the star moves right.
    Right,
    /// Its rise as the star moves down.
    Down,
}

impl Image {
    pub fn new(psf: &Psf) -> Self {
        let per_px = libm::ceil(NODES / psf.fwhm_px).max(1.0) as i64;
        let reach = libm::ceil(TABLE_WIDTHS * psf.fwhm_px) as i64 + 1;
        let far = reach + MARGIN;
        let side = (2 * far + 1) as usize;
        let count = per_px as usize;
        let mut nodes = Vec::with_capacity(count * count * side * side);
        let at =
            |pixel: usize, phase: usize| (pixel as i64 - far) as f32 + phase as f32 / per_px as f32;
        for down in 0..count {
            for across in 0..count {
                for row in 0..side {
                    let dy = at(row, down);
                    let line = (0..side).map(|column| psf.at(at(column, across), dy).max(0.0));
                    nodes.extend(line);
                }
            }
        }
        Self {
            psf: psf.clone(),
            per_px,
            reach,
            side,
            nodes,
        }
    }

    fn between(&self, at: f64) -> Between {
        let scaled = at * self.per_px as f64;
        let above = libm::ceil(scaled);
        let t = (above - scaled) as f32;
        let above = above as i64;
        Between {
            nodes: [-1, 0, 1, 2].map(|node: i64| {
                let from = node - above;
                (
                    from.rem_euclid(self.per_px) as usize,
                    from.div_euclid(self.per_px) + self.reach + MARGIN,
                )
            }),
            weights: cubic(t),
            // The star's move is the node's, backwards.
            slopes: slopes(t).map(|slope| -slope * self.per_px as f32),
        }
    }

    /// A star at this place, px.
    pub fn place(&self, x: f64, y: f64) -> Placed {
        Placed {
            x,
            y,
            across: self.between(x),
            down: self.between(y),
        }
    }

    /// The columns of a row that the table knows about: first, and one past the
    /// last; may lie outside the picture.
    pub fn known(&self, star: &Placed, y: usize) -> (i64, i64) {
        let dy = y as f64 - star.y;
        let square = (self.reach * self.reach) as f64 - dy * dy;
        if square <= 0.0 {
            return (0, 0);
        }
        let half = square.sqrt();
        (
            libm::ceil(star.x - half) as i64,
            libm::floor(star.x + half) as i64 + 1,
        )
    }

    /// Writes a part of a row, from column `first` on; all of it must be within
    /// what [`Image::known`] says.
    fn table(&self, star: &Placed, want: Want, y: usize, first: i64, out: &mut [f32]) {
        out.fill(0.0);
        let across = if want == Want::Right {
            star.across.slopes
        } else {
            star.across.weights
        };
        let down = if want == Want::Down {
            star.down.slopes
        } else {
            star.down.weights
        };
        let count = self.per_px as usize;
        for ((down_phase, down_shift), down) in star.down.nodes.iter().zip(down) {
            let row = (y as i64 + down_shift) as usize;
            let line = |node: usize| {
                let (phase, shift) = star.across.nodes[node];
                let start = ((down_phase * count + phase) * self.side + row) * self.side
                    + (first + shift) as usize;
                &self.nodes[start..start + out.len()]
            };
            let [a, b, c, d] = [line(0), line(1), line(2), line(3)];
            let [p, q, r, s] = across.map(|across| across * down);
            for (((out, a), (b, c)), d) in out.iter_mut().zip(a).zip(b.iter().zip(c)).zip(d) {
                *out += p * a + q * b + (r * c + s * d);
            }
        }
    }

    /// Writes a row's columns from `first` on: the image of a star of height 1,
    /// without arms, as far out as the columns go.
    pub fn row(&self, star: &Placed, want: Want, y: usize, first: usize, out: &mut [f32]) {
        let (start, end) = self.known(star, y);
        let columns = first as i64..first as i64 + out.len() as i64;
        let start = start.clamp(columns.start, columns.end);
        let end = end.clamp(start, columns.end);
        let (left, rest) = out.split_at_mut((start - columns.start) as usize);
        let (middle, right) = rest.split_at_mut((end - start) as usize);
        if !middle.is_empty() {
            self.table(star, want, y, start, middle);
        }
        if want == Want::Height {
            middle.iter_mut().for_each(|value| *value = value.max(0.0));
        }
        let dy = (y as f64 - star.y) as f32;
        for (side, first) in [(left, columns.start), (right, end)] {
            for (index, value) in side.iter_mut().enumerate() {
                let dx = ((first + index as i64) as f64 - star.x) as f32;
                let distance = (dx * dx + dy * dy).sqrt();
                *value = match want {
                    Want::Height => self.psf.round(distance),
                    Want::Right => self.fall(distance) * dx,
                    Want::Down => self.fall(distance) * dy,
                };
            }
        }
    }

    /// The profile's fall per pixel, over the distance.
    fn fall(&self, distance: f32) -> f32 {
        let (a, b) = (
            self.psf.round(distance - 0.25),
            self.psf.round(distance + 0.25),
        );
        2.0 * (a - b) / distance
    }
}

pub(super) fn cubic(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [
        -0.5 * t3 + t2 - 0.5 * t,
        1.5 * t3 - 2.5 * t2 + 1.0,
        -1.5 * t3 + 2.0 * t2 + 0.5 * t,
        0.5 * t3 - 0.5 * t2,
    ]
}

fn slopes(t: f32) -> [f32; 4] {
    let t2 = t * t;
    [
        -1.5 * t2 + 2.0 * t - 0.5,
        4.5 * t2 - 5.0 * t,
        -4.5 * t2 + 4.0 * t + 0.5,
        1.5 * t2 - t,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drawn_from_nodes_it_is_the_image() {
        for fwhm_px in [1.4, 3.1, 7.0] {
            let psf = Psf::moffat(fwhm_px, 2.5);
            let image = Image::new(&psf);
            for (x, y) in [(40.0, 40.0), (40.31, 39.72), (41.875, 40.5)] {
                let star = image.place(x, y);
                for row in 0..80 {
                    let mut line = [[0.0; 80]; 3];
                    for (line, want) in line.iter_mut().zip([Want::Height, Want::Right, Want::Down])
                    {
                        image.row(&star, want, row, 0, line);
                    }
                    for column in 0..80 {
                        let (dx, dy) = (column as f64 - x, row as f64 - y);
                        let at = |dx: f64, dy: f64| psf.at(dx as f32, dy as f32);
                        let [height, right, down] = [0, 1, 2].map(|want: usize| line[want][column]);
                        assert!((height - at(dx, dy)).abs() < 1e-3, "{fwhm_px} {dx} {dy}");
                        let step = 0.02 * fwhm_px;
                        let rise = [
                            at(dx - step, dy) - at(dx + step, dy),
                            at(dx, dy - step) - at(dx, dy + step),
                        ]
                        .map(|rise| rise / (2.0 * step as f32));
                        let near = (0.03 / fwhm_px) as f32;
                        assert!(
                            (right - rise[0]).abs() < near,
                            "{fwhm_px} {dx} {dy} {right} {rise:?}"
                        );
                        assert!(
                            (down - rise[1]).abs() < near,
                            "{fwhm_px} {dx} {dy} {down} {rise:?}"
                        );
                    }
                    // A part of a row has the same bits.
                    let mut part = [0.0; 21];
                    image.row(&star, Want::Height, row, 33, &mut part);
                    assert_eq!(part, line[0][33..54]);
                }
            }
        }
    }
}
