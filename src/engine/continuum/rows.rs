//! A narrow channel without starlight, as rows.

use std::sync::Arc;

use super::{Blurred, ContinuumError};
use crate::engine::crop::Rimless;
use crate::engine::frame::{Rows, RowsError, Size};

/// Star widths that differ by more than this share are matched.
pub const WIDTHS_DIFFER: f64 = 0.05;

/// Full width at half maximum of a bell over its standard deviation.
const FWHM_PER_SIGMA: f64 = 2.354_820_045_030_949;

/// Two channels of one star width.
#[derive(Clone)]
pub struct Matched {
    /// The narrow channel.
    pub narrow: Arc<dyn Rows>,
    /// The broad channel.
    pub broad: Arc<dyn Rows>,
    /// Variance of the bell that blurred the narrow one, px^2; 0: not blurred.
    pub narrow_blur_px2: f64,
    /// The same of the broad one.
    pub broad_blur_px2: f64,
    /// The full width at half maximum that the stars of both have now, px, above
    /// 0; None: neither was blurred, each keeps its own.
    pub fwhm_px: Option<f64>,
}

/// Blurs the sharper of two channels to the width of the other where the full
/// widths at half maximum (px) differ by more than [`WIDTHS_DIFFER`]; a width
/// that is not known changes nothing. The bell's variance is the difference of
/// the stars' own: right for bells, near for other profiles, whose wings it does
/// not widen.
pub fn match_widths(
    narrow: Arc<dyn Rows>,
    broad: Arc<dyn Rows>,
    fwhm_px: [Option<f64>; 2],
) -> Matched {
    let mut matched = Matched {
        narrow,
        broad,
        narrow_blur_px2: 0.0,
        broad_blur_px2: 0.0,
        fwhm_px: None,
    };
    let [Some(a), Some(b)] = fwhm_px else {
        return matched;
    };
    if a.max(b) <= (1.0 + WIDTHS_DIFFER) * a.min(b) {
        return matched;
    }
    matched.fwhm_px = Some(a.max(b));
    let variance = (a * a - b * b).abs() / (FWHM_PER_SIGMA * FWHM_PER_SIGMA);
    if a < b {
        matched.narrow = Arc::new(Blurred::new(matched.narrow, variance));
        matched.narrow_blur_px2 = variance;
    } else {
        matched.broad = Arc::new(Blurred::new(matched.broad, variance));
        matched.broad_blur_px2 = variance;
    }
    matched
}

/// `N - k (B - sky)`, row by row as it is asked for; NaN where either is NaN.
#[derive(Clone)]
pub struct Subtracted {
    narrow: Arc<dyn Rows>,
    broad: Arc<dyn Rows>,
    k: f64,
    sky: f64,
}

/// Takes `k` times the broad channel's light above its `sky` (file units) from
/// the narrow channel, which keeps its own sky level.
///
/// # Errors
/// [`ContinuumError::Sizes`], [`ContinuumError::BadFactor`].
pub fn subtract(
    narrow: Arc<dyn Rows>,
    broad: Arc<dyn Rows>,
    k: f64,
    sky: f64,
) -> Result<Subtracted, ContinuumError> {
    let sizes = [narrow.size(), broad.size()];
    if sizes[0] != sizes[1] {
        return Err(ContinuumError::Sizes {
            narrow: sizes[0],
            broad: sizes[1],
        });
    }
    if !(k >= 0.0 && k.is_finite()) {
        return Err(ContinuumError::BadFactor { k });
    }
    // Where a frame did not reach there is nothing to take away from, or by.
    Ok(Subtracted {
        narrow: Arc::new(Rimless(narrow)),
        broad: Arc::new(Rimless(broad)),
        k,
        sky,
    })
}

impl Rows for Subtracted {
    fn size(&self) -> Size {
        self.narrow.size()
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        self.narrow.read(first_row, out)?;
        let mut broad = vec![0.0; out.len()];
        self.broad.read(first_row, &mut broad)?;
        for (value, broad) in out.iter_mut().zip(&broad) {
            let rest = f64::from(*value) - self.k * (f64::from(*broad) - self.sky);
            // Beyond what a float holds is no data, as everywhere.
            *value = if rest.abs() <= f64::from(f32::MAX) {
                rest as f32
            } else {
                f32::NAN
            };
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Plane;
    use ndarray::array;

    #[test]
    fn light_above_the_sky_is_taken_away() {
        let narrow = Arc::new(Plane::new(array![[10.0, f32::NAN, 12.0], [3e38, 5.0, 7.0]]));
        let broad = Arc::new(Plane::new(array![
            [120.0, 1.0, f32::NAN],
            [-3e38, 100.0, 90.0]
        ]));
        let rest = subtract(narrow.clone(), broad, 0.25, 100.0).expect("sound");
        let mut out = [0.0; 6];
        rest.read(0, &mut out).expect("in memory");
        assert_eq!(out[0], 5.0);
        assert!(out[1].is_nan() && out[2].is_nan());
        assert!(out[3].is_nan());
        assert_eq!(out[4..], [5.0, 9.5]);
        let mut row = [0.0; 3];
        rest.read(1, &mut row).expect("in memory");
        assert_eq!(row[1..], [5.0, 9.5]);
        let small: Arc<dyn Rows> = Arc::new(Plane::new(array![[1.0]]));
        let error = subtract(narrow.clone(), small, 1.0, 0.0)
            .err()
            .expect("sizes");
        assert!(error.to_string().contains("3 x 2"), "{error}");
        for k in [-0.1, f64::NAN, f64::INFINITY] {
            assert!(subtract(narrow.clone(), narrow.clone(), k, 0.0).is_err());
        }
    }

    /// Zeros where a frame did not reach would become the broad channel's sky.
    #[test]
    fn an_empty_rim_stays_empty() {
        let rim = |light: f32| {
            let mut row = [light; 20];
            row[..9].fill(0.0);
            Arc::new(
                Plane::from_vec(
                    Size {
                        width: 20,
                        height: 1,
                    },
                    row.to_vec(),
                )
                .expect("fits"),
            )
        };
        let rest = subtract(rim(50.0), rim(120.0), 0.5, 100.0).expect("sound");
        let mut out = [0.0; 20];
        rest.read(0, &mut out).expect("in memory");
        assert!(out[..9].iter().all(|value| value.is_nan()), "{out:?}");
        assert!(out[9..].iter().all(|value| *value == 40.0), "{out:?}");
    }

    #[test]
    fn the_sharper_is_blurred_and_like_widths_are_left() {
        let rows: Arc<dyn Rows> = Arc::new(Plane::new(array![[1.0]]));
        let blur = |a, b| {
            let matched = match_widths(rows.clone(), rows.clone(), [a, b]);
            let blurs = [matched.narrow_blur_px2, matched.broad_blur_px2];
            (blurs, matched.fwhm_px)
        };
        assert_eq!(blur(Some(3.0), Some(3.1)), ([0.0; 2], None));
        assert_eq!(blur(None, Some(3.1)), ([0.0; 2], None));
        let expected = (16.0 - 9.0) / (FWHM_PER_SIGMA * FWHM_PER_SIGMA);
        assert_eq!(blur(Some(3.0), Some(4.0)), ([expected, 0.0], Some(4.0)));
        assert_eq!(blur(Some(4.0), Some(3.0)), ([0.0, expected], Some(4.0)));
    }
}
