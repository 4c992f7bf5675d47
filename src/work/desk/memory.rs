//! A channel's pixels into memory, and what is measured of them on the way.

use std::sync::Arc;

use rayon::prelude::*;

use crate::engine::frame::{BAND_ROWS, Plane, Rows, Size};
use crate::engine::measure::{Sampler, Survey};
use crate::work::{Control, Error};

/// How rows may be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// From the top down, as sources want it that are decoded in order.
    TopDown,
    /// By all threads at once.
    Any,
}

/// Reads a whole picture and measures it; there is never a second copy of it.
///
/// # Errors
/// When the source fails, or the job is stopped.
pub fn read(
    rows: &dyn Rows,
    ceiling: Option<f64>,
    order: Order,
    step: &str,
    control: Control<'_>,
) -> Result<(Plane, Survey), Error> {
    let size = rows.size();
    let mut values = vec![0.0_f32; size.pixels()];
    let mut sampler = Sampler::new(size, ceiling);
    let band = size.width * BAND_ROWS;
    // Rows that are read in one go before they are measured: enough for all
    // threads, and not much more than what the processor's cache holds.
    let together = match order {
        Order::TopDown => 1,
        Order::Any => 4 * rayon::current_num_threads(),
    };
    for (index, chunk) in values.chunks_mut(band * together).enumerate() {
        control.check()?;
        let first_row = index * BAND_ROWS * together;
        match order {
            Order::TopDown => rows.read(first_row, chunk)?,
            Order::Any => chunk
                .par_chunks_mut(band)
                .enumerate()
                .try_for_each(|(index, band)| rows.read(first_row + index * BAND_ROWS, band))?,
        }
        sampler.push_band(first_row, size.width, chunk);
        let done = first_row + chunk.len() / size.width.max(1);
        control
            .progress
            .report(step, done as u64, size.height as u64);
    }
    control.check()?;
    let plane = Plane::from_vec(size, values)
        .ok_or_else(|| Error::request("the picture has no pixels", "choose another file"))?;
    Ok((plane, sampler.finish()))
}

/// Smaller pictures of a plane: `work::preview` will lend its own in this one place.
pub fn reduced(plane: &Plane) -> Vec<Arc<Plane>> {
    /// The last picture's larger side is at most this.
    const SMALL: usize = 400;
    let size = plane.size();
    let mut all: Vec<Arc<Plane>> = Vec::new();
    let mut factor = 4;
    while size.width.max(size.height) * 4 > SMALL * factor {
        let next = match all.last() {
            None => means(plane, 4),
            Some(last) => means(last, 2),
        };
        match next {
            Some(next) => all.push(Arc::new(next)),
            None => break,
        }
        factor *= 2;
    }
    all
}

// Means over squares of `side` pixels; NaN counts for nothing.
fn means(plane: &Plane, side: usize) -> Option<Plane> {
    let size = plane.size();
    let small = Size {
        width: size.width.div_ceil(side),
        height: size.height.div_ceil(side),
    };
    let values = plane.values().as_slice()?;
    let mut out = vec![0.0_f32; small.pixels()];
    out.par_chunks_mut(small.width)
        .zip(values.par_chunks(size.width * side))
        .for_each_init(
            || vec![(0.0_f32, 0_u32); small.width],
            |sums, (out, rows)| {
                sums.fill((0.0, 0));
                for row in rows.chunks_exact(size.width) {
                    for (sum, square) in sums.iter_mut().zip(row.chunks(side)) {
                        for value in square {
                            let there = !value.is_nan();
                            sum.0 += if there { *value } else { 0.0 };
                            sum.1 += u32::from(there);
                        }
                    }
                }
                for (out, (sum, count)) in out.iter_mut().zip(sums.iter()) {
                    *out = if *count == 0 {
                        f32::NAN
                    } else {
                        sum / *count as f32
                    };
                }
            },
        );
    Plane::from_vec(small, out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::progress::Silent;
    use std::sync::atomic::AtomicBool;

    fn plane(width: usize, height: usize) -> Plane {
        let values = (0..width * height).map(|i| ((i * 7919) % 1009) as f32);
        Plane::from_vec(Size { width, height }, values.collect()).expect("pixels")
    }

    #[test]
    fn both_orders_give_the_same_plane_and_survey() {
        let source = plane(130, 1000);
        let cancel = AtomicBool::new(false);
        let control = Control {
            progress: &Silent,
            cancel: &cancel,
        };
        let one = read(&source, None, Order::TopDown, "x", control).expect("reads");
        let other = read(&source, None, Order::Any, "x", control).expect("reads");
        assert_eq!(one.0, source);
        assert_eq!(one, other);
    }

    #[test]
    fn reduced_pictures_hold_means_without_gaps() {
        let size = Size {
            width: 1001,
            height: 9,
        };
        let mut values = vec![2.0; size.pixels()];
        values[0] = f32::NAN;
        values[1] = 4.0;
        let all = reduced(&Plane::from_vec(size, values).expect("pixels"));
        let sizes: Vec<Size> = all.iter().map(|plane| plane.size()).collect();
        assert_eq!(
            sizes.first().copied(),
            Some(Size {
                width: 251,
                height: 3
            })
        );
        let first = all[0].values()[(0, 0)];
        assert!((first - 32.0 / 15.0).abs() < 1e-6, "{first}");
        let last = sizes.last().expect("one");
        assert!(last.width <= 400, "{last}");
    }
}
