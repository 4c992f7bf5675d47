//! A channel's pixels into memory, and what is measured of them on the way.

use rayon::prelude::*;

use crate::engine::frame::{BAND_ROWS, Plane, Rows};
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Size;
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
}
