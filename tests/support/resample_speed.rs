//! Times the resampling of a made-up plane and prints the figures as JSON:
//! `resample_speed [WIDTH HEIGHT [DEGREES [SCALE]]]`.

use std::error::Error;
use std::num::NonZeroUsize;
use std::sync::Arc;
use std::time::Instant;

use linehue::engine::align::resample::Aligned;
use linehue::engine::align::transform::Transform;
use linehue::engine::frame::{Plane, Rows, Size};
use ndarray::Array2;

/// Rows asked for at a time.
const ROWS: usize = 256;
/// Bytes that may be held.
const MEMORY: NonZeroUsize = NonZeroUsize::new(256 << 20).expect("not 0");
/// Runs; the quickest counts.
const RUNS: usize = 5;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let mut next = |default: f64| arguments.next().map_or(Ok(default), |text| text.parse());
    let (width, height) = (next(6248.0)? as usize, next(4176.0)? as usize);
    let (degrees, scale) = (next(3.0)?, next(1.0)?);
    let size = Size { width, height };
    let source = Arc::new(Plane::new(field(size)));
    let transform = turn(size, degrees, scale).ok_or("the transform has no inverse")?;
    let mut band = vec![0.0; width * ROWS];
    let (mut best, mut busy) = (f64::INFINITY, f64::INFINITY);
    let mut sum = 0.0_f64;
    for _ in 0..RUNS {
        let (start, busy_before) = (Instant::now(), processor_seconds());
        let aligned = Aligned::new(source.clone(), &transform, size, Some(SIGMA), MEMORY);
        for row in (0..height).step_by(ROWS) {
            let band = &mut band[..width * ROWS.min(height - row)];
            aligned.read(row, band)?;
        }
        best = best.min(start.elapsed().as_secs_f64());
        busy = busy.min(processor_seconds() - busy_before);
        sum = band
            .iter()
            .filter(|value| !value.is_nan())
            .map(|value| f64::from(*value))
            .sum();
    }
    println!(
        "{}",
        serde_json::json!({
            "width": width,
            "height": height,
            "degrees": degrees,
            "scale": scale,
            "threads": rayon::current_num_threads(),
            "seconds": best,
            "processor_seconds": busy,
            "last_band_sum": sum,
        })
    );
    Ok(())
}

/// Time that all threads of this process were at work, in seconds: on a busy
/// machine a better measure than the clock. NaN where the system does not say
/// (Linux does, in hundredths of a second).
fn processor_seconds() -> f64 {
    let ticks = |text: String| -> Option<f64> {
        // The name, in brackets, may hold blanks; user time is field 14.
        let after = text.rsplit_once(')')?.1;
        let mut fields = after.split_whitespace().skip(11);
        Some(fields.next()?.parse::<f64>().ok()? + fields.next()?.parse::<f64>().ok()?)
    };
    std::fs::read_to_string("/proc/self/stat")
        .ok()
        .and_then(ticks)
        .map_or(f64::NAN, |ticks| ticks / 100.0)
}

/// Noise of the made-up plane.
const SIGMA: f32 = 12.0;

/// Sky with noise, and a star in every 48 x 48 pixels: about 11 000 of them.
fn field(size: Size) -> Array2<f32> {
    let mut state = 1_u32;
    let mut uniform = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as f32 / (1 << 24) as f32
    };
    let mut values = Array2::from_shape_simple_fn((size.height, size.width), || {
        // The sum of twelve uniform numbers has a sigma of 1.
        let total: f32 = (0..12).map(|_| uniform()).sum();
        400.0 + SIGMA * (total - 6.0)
    });
    for top in (0..size.height.saturating_sub(48)).step_by(48) {
        for left in (0..size.width.saturating_sub(48)).step_by(48) {
            let (x, y) = (12.0 + 24.0 * uniform(), 12.0 + 24.0 * uniform());
            let peak = 60.0 / (uniform() + 0.001);
            for j in 0..48 {
                for i in 0..48 {
                    let (dx, dy) = (i as f32 - x, j as f32 - y);
                    let width = 1.0 + (dx * dx + dy * dy) / 4.0;
                    values[(top + j, left + i)] += peak / (width * width * width);
                }
            }
        }
    }
    values
}

/// A turn and a change of scale about the middle.
fn turn(size: Size, degrees: f64, scale: f64) -> Option<Transform> {
    let angle = degrees.to_radians();
    let (sin, cos) = (scale * libm::sin(angle), scale * libm::cos(angle));
    let [x, y] = [size.width as f64 / 2.0, size.height as f64 / 2.0];
    Transform::from_matrix([
        [cos, -sin, x - cos * x + sin * y],
        [sin, cos, y - sin * x - cos * y],
        [0.0, 0.0, 1.0],
    ])
}
