//! Protects the means that exports and the screen are made of: against a plain
//! double loop, over gaps, across bands.

use std::sync::Arc;

use ndarray::Array2;
use proptest::prelude::*;

use super::*;
use crate::engine::frame::{Plane, Rows};

fn plane(width: usize, height: usize) -> Plane {
    Plane::new(Array2::from_shape_fn((height, width), |(y, x)| {
        if (x * 5 + y * 3) % 17 == 0 || (x < 6 && y < 5) {
            f32::NAN
        } else {
            1000.0 + ((x * 37 + y * 91) % 101) as f32
        }
    }))
}

// The mean over a rectangle, pixel by pixel.
fn mean(plane: &Plane, low: [f64; 2], high: [f64; 2]) -> f64 {
    let (mut sum, mut area) = (0.0, 0.0);
    for ((y, x), value) in plane.values().indexed_iter() {
        let shared =
            |at: usize, low: f64, high: f64| ((at + 1) as f64).min(high) - (at as f64).max(low);
        let (w, h) = (shared(x, low[0], high[0]), shared(y, low[1], high[1]));
        if w > 0.0 && h > 0.0 && !value.is_nan() {
            sum += w * h * f64::from(*value);
            area += w * h;
        }
    }
    sum / area
}

proptest! {
    #[test]
    fn means_are_those_of_the_area(
        x in -9.3_f64..20.0, y in -7.7_f64..15.0, step in 1.0_f64..9.0,
    ) {
        let plane = plane(37, 23);
        let size = Size { width: 8, height: 6 };
        let window = Window { corner: [x, y], step: [step, step], size };
        let reducer = Reducer::new(&window, plane.size(), 1);
        let mut out = vec![0.0; size.pixels()];
        let source = plane.values().as_slice().expect("in order");
        reducer.rows(source, 0, &mut out);
        for (index, value) in out.iter().enumerate() {
            let low = [x + (index % 8) as f64 * step, y + (index / 8) as f64 * step];
            let truth = mean(&plane, low, low.map(|edge| edge + step));
            prop_assert_eq!(truth.is_nan(), value.is_nan());
            prop_assert!(truth.is_nan() || (f64::from(*value) - truth).abs() < 1e-3);
        }
    }
}

#[test]
fn sizes_keep_the_proportion_and_never_grow() {
    let size = |width, height| Size { width, height };
    assert_eq!(reduced_size(size(600, 400), 300), Some(size(300, 200)));
    assert_eq!(reduced_size(size(401, 600), 300), Some(size(201, 300)));
    assert_eq!(reduced_size(size(1000, 2), 10), Some(size(10, 1)));
    assert_eq!(reduced_size(size(600, 400), 600), None);
    assert_eq!(reduced_size(size(600, 400), 0), None);
}

#[test]
fn bands_in_any_order_give_the_same_bits() {
    let plane = plane(97, 211);
    for long_edge in [1, 3, 64, 150, 210] {
        let size = reduced_size(plane.size(), long_edge).expect("smaller");
        let window = Window::whole(plane.size(), size);
        let mut whole = vec![0.0; size.pixels()];
        let source = plane.values().as_slice().expect("in order");
        Reducer::new(&window, plane.size(), 1).rows(source, 0, &mut whole);
        let rows = Reduced::within(Arc::new(plane.clone()), long_edge);
        assert_eq!(rows.size(), size);
        let mut bands = vec![0.0; size.pixels()];
        let mut order: Vec<usize> = (0..size.height).step_by(7).collect();
        let third = order.len() / 3;
        order.rotate_left(third);
        for first in order {
            let end = (first + 7).min(size.height);
            let out = &mut bands[first * size.width..end * size.width];
            rows.read(first, out).expect("in memory");
        }
        let bits = |values: &[f32]| values.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
        assert_eq!(bits(&bands), bits(&whole), "{long_edge}");
    }
}

/// Cells that tile an output pixel give the mean of its pixels, the cut ones
/// at the edges with the area that they have.
#[test]
fn means_of_means_weigh_by_area() {
    let plane = Plane::new(Array2::from_shape_fn((10, 14), |(y, x)| {
        (y * 20 + x) as f32
    }));
    let size = |width, height| Size { width, height };
    let source = plane.values().as_slice().expect("in order");
    let reduce = |source: &[f32], cell: usize, step: f64, size: Size| {
        let window = Window {
            corner: [0.0; 2],
            step: [step; 2],
            size,
        };
        let mut out = vec![0.0; size.pixels()];
        Reducer::new(&window, plane.size(), cell).rows(source, 0, &mut out);
        out
    };
    let cells = reduce(source, 1, 4.0, size(4, 3));
    assert_eq!(
        reduce(&cells, 4, 8.0, size(2, 2)),
        reduce(source, 1, 8.0, size(2, 2))
    );
}
