//! Tops that are cut off at the detector's ceiling.

use super::window::Window;

/// Pixels at the ceiling that hang together.
#[derive(Debug)]
pub(super) struct Plateau {
    /// Sorted by row, then column.
    pixels: Vec<(isize, isize)>,
}

impl Plateau {
    /// The first pixel at the ceiling within `reach` of a place.
    pub fn near(
        window: &Window,
        x: usize,
        y: usize,
        reach: isize,
        ceiling: f32,
    ) -> Option<(isize, isize)> {
        let (x, y) = (x as isize, y as isize);
        (y - reach..=y + reach)
            .flat_map(|row| (x - reach..=x + reach).map(move |column| (row, column)))
            .find(|(row, column)| window.at(*column, *row) >= ceiling)
    }

    /// All pixels at the ceiling that hang together with this one, given as
    /// (row, column), sides and corners alike. None from `most` pixels on.
    pub fn around(
        window: &Window,
        start: (isize, isize),
        ceiling: f32,
        most: usize,
    ) -> Option<Self> {
        let mut seen = std::collections::BTreeSet::from([start]);
        let mut open = vec![start];
        while let Some((row, column)) = open.pop() {
            if seen.len() >= most {
                return None;
            }
            for y in row - 1..=row + 1 {
                for x in column - 1..=column + 1 {
                    if window.at(x, y) >= ceiling && seen.insert((y, x)) {
                        open.push((y, x));
                    }
                }
            }
        }
        Some(Self {
            pixels: seen.into_iter().collect(),
        })
    }

    /// Whether a pixel, (row, column), is part of it.
    pub fn contains(&self, pixel: (isize, isize)) -> bool {
        self.pixels.binary_search(&pixel).is_ok()
    }

    /// How many pixels it has.
    pub fn pixels(&self) -> usize {
        self.pixels.len()
    }

    /// Its middle, px.
    pub fn center(&self) -> [f64; 2] {
        let count = self.pixels.len() as f64;
        let x = self.pixels.iter().map(|pixel| pixel.1 as f64).sum::<f64>();
        let y = self.pixels.iter().map(|pixel| pixel.0 as f64).sum::<f64>();
        [x / count, y / count]
    }

    /// Diameter of a disc of the same area, px.
    pub fn diameter_px(&self) -> f64 {
        2.0 * (self.pixels.len() as f64 / std::f64::consts::PI).sqrt()
    }

    /// Long over short axis of its second moments, each pixel a unit square.
    pub fn elongation(&self) -> f64 {
        let [x0, y0] = self.center();
        let mut sum = [0.0; 3];
        for (row, column) in &self.pixels {
            let (u, v) = (*column as f64 - x0, *row as f64 - y0);
            sum[0] += u * u + 1.0 / 12.0;
            sum[1] += u * v;
            sum[2] += v * v + 1.0 / 12.0;
        }
        super::fit::Shape(sum).elongation()
    }

    /// Mean of the pixels that touch it, file units; NaN where there are none.
    pub fn rim(&self, window: &Window) -> f64 {
        let mut rim = std::collections::BTreeSet::new();
        for (row, column) in &self.pixels {
            for y in row - 1..=row + 1 {
                for x in column - 1..=column + 1 {
                    if !self.contains((y, x)) && !window.at(x, y).is_nan() {
                        rim.insert((y, x));
                    }
                }
            }
        }
        let values = rim.iter().map(|(y, x)| f64::from(window.at(*x, *y)));
        values.sum::<f64>() / rim.len() as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn follows_what_hangs_together() {
        let mut window = Window {
            first_row: 10,
            width: 12,
            values: vec![1.0; 12 * 12],
        };
        for (x, y) in [(3, 3), (4, 3), (5, 3), (3, 4), (4, 4), (5, 4), (10, 10)] {
            window.values[y * 12 + x] = 9.0;
        }
        let start = Plateau::near(&window, 6, 15, 2, 9.0).expect("beside it");
        let plateau = Plateau::around(&window, start, 9.0, 7).expect("six pixels");
        assert!(Plateau::around(&window, start, 9.0, 6).is_none());
        assert_eq!(plateau.center(), [4.0, 13.5]);
        assert!(plateau.contains((13, 3)) && !plateau.contains((20, 10)));
        assert!((plateau.diameter_px() - 2.0 * (6.0 / std::f64::consts::PI).sqrt()).abs() < 1e-12);
        // A 3 x 2 rectangle: variances 3^2/12 and 2^2/12.
        assert!((plateau.elongation() - 1.5).abs() < 1e-12);
        assert_eq!(plateau.rim(&window), 1.0);
        assert_eq!(Plateau::near(&window, 0, 20, 1, 9.0), None);
    }
}
